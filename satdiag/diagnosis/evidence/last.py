"""States that the last row of a kind tells, and whether a bad state came and went before."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from satdiag.diagnosis.log import Log, Part, log_of
from satdiag.diagnosis.seen import MOST_REPEATS, Seen, softly
from satdiag.job import Job

_LAST: tuple[tuple[str, str, str | None, dict[str, str]], ...] = (
    ("swap-place", "swap", "place", {}),
    ("place", "place", "vehicle", {"underground": "indoors"}),
    (
        "account",
        "account",
        None,
        {"resend-requested": "resent", "resend-confirmed": "resent"},
    ),
)

# Item, kind, subject; the word for good and for bad in the log, and what the item calls them.
_SPELLS: tuple[tuple[str, str, str, tuple[str, str], tuple[str, str]], ...] = (
    ("listing", "listing", "source", ("yes", "no"), ("offered", "not-offered")),
    ("ring", "ring", "bus", ("closed", "open"), ("closed", "open")),
    ("node", "ring", "node:receiver", ("present", "absent"), ("answers", "silent")),
    ("other-sources", "ring", "other-sources", ("working", "lost"), ("working", "lost")),
)
OF_SOUND = ("other-sources",)
"""Items that tell of sound: only sound ends their bad state."""

ONCE, AT_TIMES = "once", "at-times"
"""A bad state that ended: once, or again and again."""

# Judgement, no source: how often a compared identifier is called different though it is the same, and how often a
# difference is missed.
FALSE_MISMATCH, MISSED_MISMATCH = 0.02, 0.12


def last_states(job: Job) -> list[Seen]:
    """Items whose state is the last row's value, or the way it came and went."""
    log = log_of(job)
    found = []
    for item, kind, subject, words in _LAST:
        rows = log.of(kind, subject)
        if len(rows):
            value, alike = str(rows.value[-1]), rows.trailing()
            seen = Seen(item, words.get(value, value), alike.names(), min(len(alike), MOST_REPEATS))
            found.append(_unanswered(job, seen) if item == "account" and answer_is_out(job) else seen)
    found += [_spells(log, *entry) for entry in _SPELLS if len(log.of(entry[1], entry[2]))]
    identity = log.of("identity")
    return [*found, _identity(log, identity)] if len(identity) else found


def _spells(log: Log, item: str, kind: str, subject: str, said: tuple[str, str], called: tuple[str, str]) -> Seen:
    """Bad now; good now and never bad; or good now after it was bad, once or again and again, with nothing done."""
    rows = log.of(kind, subject)
    alike = rows.trailing()
    ended, bad_now = spells(log, rows, said[1], _sounds_s(log) if item in OF_SOUND else heard_s(log))
    if bad_now:
        return Seen(item, called[1], alike.names(), min(len(alike), MOST_REPEATS))
    if ended:
        return Seen(item, AT_TIMES if ended > 1 else ONCE, rows.said(said[1]).names())
    return Seen(item, called[0], alike.names(), min(len(alike), MOST_REPEATS))


def spells(log: Log, rows: Part, bad: str, proofs_s: Sequence[float]) -> tuple[int, bool]:
    """How often the bad state ended by itself, and whether it holds now.

    What ended after the receiver was exchanged or the stored equipment changed may have been mended by that.
    `proofs_s`: when something else was seen that takes what was bad, which ends it too.
    """
    acts = [*log.of("swap", "receiver").t_s.tolist(), *log.of("configuration").changes_s()[1:].tolist()]
    marks = [(t_s, value == bad) for t_s, value in zip(rows.t_s.tolist(), rows.value, strict=True)]
    marks += [(t_s, False) for t_s in proofs_s]
    count, since = 0, None
    for t_s, is_bad in sorted(marks):
        if is_bad:
            since = t_s if since is None else since
        elif since is not None:
            count += not any(since < act <= t_s for act in acts)
            since = None
    return count, since is not None


def heard_s(log: Log) -> list[float]:
    """When sound was heard or a channel was shown as playing: either takes source, ring and receiver."""
    return [*_sounds_s(log), *log.of("channel").said("authorised").t_s.tolist()]


def _sounds_s(log: Log) -> list[float]:
    """When sound was heard. A channel may be shown as playing before loudspeakers that are silent."""
    played = (log.of("audio").said("playing"), log.of("tune").said("audio"))
    return [t_s for part in played for t_s in part.t_s.tolist()]


def _identity(log: Log, rows: Part) -> Seen:
    """Compared more than once with different answers: one comparison may have been missed or misread.

    What was compared before the provider was last asked or told something may have been put right since.
    """
    told = log.of("account").t_s
    fresh = rows.since(float(told[-1])) if len(told) else rows
    rows = fresh if len(fresh) else rows
    alike = rows.trailing()
    if len(alike) == len(rows):
        return Seen("identity", str(rows.value[-1]), alike.names(), min(len(alike), MOST_REPEATS))
    no = int((rows.value == "mismatch").sum())
    yes = len(rows) - no
    chance = {
        "match": FALSE_MISMATCH**no * (1 - FALSE_MISMATCH) ** yes,
        "mismatch": (1 - MISSED_MISMATCH) ** no * MISSED_MISMATCH**yes,
    }
    return softly("identity", chance, rows.names())


def _unanswered(job: Job, seen: Seen) -> Seen:
    """An activation that was submitted a short while ago may have any outcome whose answer is still on its way.

    Most answers take minutes: the longer none comes, the more this speaks for one that will not come by itself.
    """
    waited_s = job.end_s - float(log_of(job).of("account").t_s[-1])
    still = max(float(np.exp(-waited_s / ANSWER_USUAL_S)), LEAST_CHANCE)
    return Seen(seen.item, seen.state, seen.rows, soft=dict.fromkeys(OUTCOMES, still) | {seen.state: 1.0})


ANSWER_USUAL_S, LEAST_CHANCE = 480.0, 0.01
"""How long a provider's answer takes on average: some minutes, now and then a quarter of an hour (judgement)."""

OUTCOMES = ("confirmed", "resent", "none", "rejected", "lapsed")
ANSWER_WITHIN_S = 2 * 3600.0
"""A provider's answer may take so long without anything being wrong (judgement, no source)."""


def answer_is_out(job: Job) -> bool:
    """True if the activation was submitted a short while ago and the provider has not answered yet.

    That says nothing: every vehicle stands there once, and refuses its channels until the answer is in.
    """
    rows = log_of(job).of("account")
    waits = len(rows) > 0 and rows.value[-1] == "submitted"
    return bool(waits and job.end_s - float(rows.t_s[-1]) < ANSWER_WITHIN_S)
