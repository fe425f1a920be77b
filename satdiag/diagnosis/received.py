"""Evidence of reception: path by path as it is now, one satellite against the other, and here against elsewhere; and
whether the antenna's current stays while it is watched."""

from __future__ import annotations

import numpy as np

from satdiag.diagnosis.log import AT_ONCE_S, Currents, Log, Part, log_of
from satdiag.diagnosis.reception import NONE, Graded, best_of_bins, graded, word_of
from satdiag.diagnosis.seen import MOST_REPEATS, Seen, name_row
from satdiag.diagnosis.space import Floats
from satdiag.job import Job
from satdiag.trials import LENT

BETTER = ("none", "weak", "varying", "recovered", "good")
TELLS_MORE = ("good", "varying")
CLEARLY_BETTER = 0.7
"""Of the two steps from nothing to strong (judgement, no source)."""

FEWEST_CURRENTS = 3
"""So many readings of the current in a row watch it; two changes within a minute are a jump (judgement)."""


def reception_evidence(job: Job) -> list[Seen]:
    """Satellites and repeater each for itself.

    'Any path' is the best of them, so that it counts only where they were not read apart, or where it tells more than
    either: they fill each other's gaps, or only the lamp for all of them shows that something comes and goes.
    """
    log, whole = log_of(job), graded(job)
    whole = whole.where(log.with_ours(whole.t_s) & (whole.t_s >= log.feed_mended_s))
    now = whole.where(whole.t_s >= log.settled_since_s)
    table = now if len(now) else whole
    satellites, repeater = table.of_group("satellite"), table.of_group("repeater")
    found = []
    beside = word_of(repeater.bin, repeater.grade) not in (None, "none")
    for item, part in (("satellite-beside" if beside else "satellite", satellites), ("repeater", repeater)):
        found += _worded(log, item, part)
    whole_word = _worded(log, "any-path", table)
    least = max((BETTER.index(one.state) for one in found), default=-1)
    if not found or (whole_word[0].state in TELLS_MORE and BETTER.index(whole_word[0].state) > least):
        found += whole_word
    return found + _elsewhere(log, whole) + _one_of_several(table) + _current_watched(log)


def _worded(log: Log, item: str, part: Graded) -> list[Seen]:
    """An item of reception; where channels show that something is received again after the last reading, that too."""
    word = word_of(part.bin, part.grade)
    if word is None:
        return []
    if word == "none" and float(part.t_s.max()) < log.received_again_s < np.inf:
        if item == "repeater":  # channels do not tell which path it is that came back
            return []
        word = "recovered"
    rows = tuple(name_row(row) for row in part.row[-3:].tolist())
    return [Seen(item, word, rows, min(len(set(part.bin.tolist())), MOST_REPEATS))]


def _one_of_several(table: Graded) -> list[Seen]:
    shares = [
        float((table.grade[table.path == path] > NONE).mean())
        for path in sorted(path for path in set(table.path.tolist()) if path.startswith("satellite:"))
    ]
    if len(shares) < 2:
        return []
    missing = min(shares) < 0.3 and max(shares) > 0.7
    moments = len(set(table.bin.tolist()))
    return [Seen("one-satellite", "one-missing" if missing else "alike", repeats=min(moments, MOST_REPEATS))]


def _same_spot(log: Log, moved: Floats) -> list[int]:
    """Stretches between moves that were spent where the vehicle stands now: it was driven somewhere and came back.

    What was not written down yet says nothing against it.
    """
    said = [[_last_word(log.of(kind, "vehicle"), at_s) for kind in ("site", "place")] for at_s in moved.tolist()]
    return [
        number
        for number, words in enumerate(said, start=1)
        if all(word in ("", now) for word, now in zip(words, said[-1], strict=True))
    ]


def _last_word(rows: Part, at_s: float) -> str:
    known = rows.value[rows.t_s <= at_s]
    return str(known[-1]) if len(known) else ""


def _elsewhere(log: Log, table: Graded) -> list[Seen]:
    """Reception where the vehicle stands now against the best of the other places it stood at in this log."""
    moved = np.unique(np.concatenate([log.of(kind, "vehicle").changes_s() for kind in ("place", "site")]))
    if not len(table) or len(moved) < 2:
        return []
    stretch = np.searchsorted(moved, table.t_s, side="right").clip(1)
    back = _same_spot(log, moved)
    stretch = np.where(np.isin(stretch, back), len(moved), stretch)
    means = {
        int(one): float(best_of_bins(table.bin[stretch == one], table.grade[stretch == one]).mean())
        for one in np.unique(stretch)
    }
    here = means.pop(len(moved), None)
    if here is None or not means:
        return []
    return [Seen("elsewhere", "better" if max(means.values()) - here >= CLEARLY_BETTER else "no-better")]


def _current_watched(log: Log) -> list[Seen]:
    """Whether the antenna's current stays while it is read again and again, as when somebody moves the lead.

    The last time that it was watched counts, on the lead where it jumps, since nothing was put in or mended.
    """
    kept_s = max([one.in_s for part in LENT for one in log.trials_of(part) if one.back_s is None], default=0.0)
    since_s = max(log.settled_since_s, kept_s, log.era_s)
    watched = [_last_run(one.where(one.t_s >= since_s)) for one in log.our_currents]
    watched = [one for one in watched if len(one.t_s) >= FEWEST_CURRENTS]
    if not watched:
        return []
    most = max(watched, key=_jumps)
    rows = tuple(name_row(row) for row in most.row[-FEWEST_CURRENTS:].tolist())
    if not (number := _jumps(most)):
        return [Seen("feed-watched", "steady", rows)]
    return [Seen("feed-watched", "jumps", rows, min(number, MOST_REPEATS))]


def _last_run(currents: Currents) -> Currents:
    """The last run of readings that has enough of them, each within a minute of the one before; else none."""
    runs = np.concatenate([[0], np.cumsum(np.diff(currents.t_s) > AT_ONCE_S)]) if len(currents.t_s) else np.empty(0)
    long = [run for run in np.unique(runs) if (runs == run).sum() >= FEWEST_CURRENTS]
    return currents.where(np.isin(runs, long[-1:]))


def _jumps(currents: Currents) -> int:
    """How often the current went and came back, or came and went, within a minute; no change counts twice."""
    changed_s = currents.t_s[1:][np.diff(currents.is_bad().astype(int)) != 0].tolist()
    number, last_s = 0, -np.inf
    for at_s in changed_s:
        if at_s - last_s <= AT_ONCE_S:
            number, last_s = number + 1, -np.inf
        else:
            last_s = at_s
    return number
