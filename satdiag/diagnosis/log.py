"""The readable rows of a log by kind as plain arrays: what evidence is drawn from, many small questions at a time."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from satdiag.diagnosis.space import Flags, Floats
from satdiag.exposure import era_start_s
from satdiag.job import Job
from satdiag.trials import LENT, Trial, trials
from satdiag.vocabulary import UNREADABLE
from satdiag.wiring.bias import bias_readings

Words = NDArray[np.object_]
Places = NDArray[np.int64]
MOST_NAMED = 3
BAD = ("no", "open", "lost")
SAID_AFTERWARDS = ("finding", "note")
"""Rows that may be written at the desk, long after the last look at the vehicle."""

FEWEST_LOOKS = 3
"""So many looks at channels tell that reception was lost, or is there again: one may be a slip of the pen."""

FEWEST_NEW = 2
"""So many channels that were refused and play after a resend are no slip of the pen (judgement, no source)."""

AT_ONCE_S = 60.0
"""Readings of the antenna's current so close together belong to one measurement: nothing was mended in between."""

NO_CURRENT, TOO_MUCH, DRAWS = "none", "limit", "normal"
"""Words of the antenna's current: none flows, what a short draws, what the amplifier draws."""


class FeedSpell(NamedTuple):
    """A time for which the antenna drew no current, or that of a short: the word for it, first reading, the end."""

    word: str
    since_s: float
    end_s: float


class Currents(NamedTuple):
    """Currents of the antenna's feed on one lead, taken while it was fed: seconds since the first row, word, row."""

    t_s: Floats
    word: Words
    row: Places

    def where(self, kept: Flags) -> Currents:
        """The readings that are kept."""
        return Currents(self.t_s[kept], self.word[kept], self.row[kept])

    def is_bad(self) -> Flags:
        """Which of them show no current, or that of a short."""
        return np.isin(self.word.astype(str), (NO_CURRENT, TOO_MUCH))


@dataclass(frozen=True, eq=False)
class Part:
    """Some rows in the order of time: seconds since the first row, subject, value, number, unit, row, id."""

    t_s: Floats
    subject: Words
    value: Words
    number: Floats
    unit: Words
    row: Places
    id: Words

    def __len__(self) -> int:
        return len(self.t_s)

    def where(self, kept: Flags | Places | slice) -> Part:
        """The rows that are kept."""
        return Part(
            self.t_s[kept],
            self.subject[kept],
            self.value[kept],
            self.number[kept],
            self.unit[kept],
            self.row[kept],
            self.id[kept],
        )

    def since(self, t_s: float) -> Part:
        """The rows from an instant on."""
        return self if not len(self) or t_s <= self.t_s[0] else self.where(self.t_s >= t_s)

    def about(self, wanted: Callable[[str], bool]) -> Part:
        """The rows whose subject is wanted."""
        return self.where(np.array([wanted(subject) for subject in self.subject], dtype=bool))

    def said(self, *values: str) -> Part:
        """The rows with one of these values."""
        return self.where(np.array([value in values for value in self.value], dtype=bool))

    def trailing(self) -> Part:
        """The last rows, as far back as they say the same as the very last one."""
        differs = np.flatnonzero(self.value != self.value[-1])
        return self.where(slice(int(differs[-1]) + 1 if len(differs) else 0, None))

    def last_of_each(self) -> Part:
        """The last row of each subject."""
        places = {subject: place for place, subject in enumerate(self.subject)}
        return self.where(np.array(sorted(places.values()), dtype=np.int64))

    def names(self, most: int = MOST_NAMED) -> tuple[str, ...]:
        """How the last rows are called."""
        last = self.where(slice(max(len(self) - most, 0), None))
        return tuple(one or f"row {row + 1}" for one, row in zip(last.id, last.row.tolist(), strict=True))

    def changes_s(self) -> Floats:
        """When the value differed from the one before, the first row included."""
        if not len(self):
            return self.t_s
        when: Floats = self.t_s[np.concatenate([[True], self.value[1:] != self.value[:-1]])]
        return when


@dataclass(frozen=True, eq=False)
class Log:
    """A job's readable rows by kind. `era_s`: rows before it speak of another receiver; `currents`: of each lead."""

    parts: dict[str, Part]
    nothing: Part
    era_s: float
    last_visit_s: float
    end_s: float
    currents: tuple[Currents, ...] = ()

    def of(self, kind: str, subject: str | None = None) -> Part:
        """The rows of a kind, and of a subject."""
        part = self.parts.get(kind, self.nothing)
        return part if subject is None or not len(part) else part.where(part.subject == subject)

    def ours(self, kind: str) -> Part:
        """The rows of a kind since the receiver was last exchanged."""
        return self.of(kind).since(self.era_s)

    def last_change_s(self, *subjects: tuple[str, str]) -> float:
        """When one of these last took another value; 0 if none ever did. A bad first value counts as a change."""
        since = 0.0
        for kind, subject in subjects:
            rows = self.of(kind, subject)
            changed = rows.changes_s()
            if len(changed) > 1 or (len(rows) and rows.value[0] in BAD):
                since = max(since, float(changed[-1]))
        return since

    @cached_property
    def settled_since_s(self) -> float:
        """Since when the vehicle has stood where it stands, with an antenna that is fed as it is now."""
        moved_s = self.last_change_s(("place", "vehicle"), ("site", "vehicle"))
        return max(self.last_visit_s, moved_s, self.feed_mended_s)

    def trials_of(self, part: str) -> list[Trial]:
        """The trials of a known-good part, oldest first."""
        rows = self.of("swap", part)
        return trials(zip(rows.t_s.tolist(), rows.value.tolist(), strict=True))

    @cached_property
    def lent_s(self) -> tuple[tuple[float, float], ...]:
        """When a lent antenna or lead was in, as far as the log tells: what was read then does not tell of ours."""
        every = [one for part in LENT for one in self.trials_of(part)]
        return tuple((one.in_s, one.back_s) for one in every if one.back_s is not None)

    def with_ours(self, t_s: Floats) -> Flags:
        """Which of these instants fall outside the times of a lent part."""
        kept = np.ones(len(t_s), dtype=bool)
        for begin_s, end_s in self.lent_s:
            kept &= (t_s < begin_s) | (t_s >= end_s)
        return kept

    @cached_property
    def our_currents(self) -> tuple[Currents, ...]:
        """The currents of each lead, without those into a lent part."""
        return tuple(one.where(self.with_ours(one.t_s)) for one in self.currents)

    @cached_property
    def feed_spells(self) -> tuple[FeedSpell, ...]:
        """When the antenna drew no current, or too much, and a normal one later; a current that jumps is no cure."""
        found = [spell for one in self.our_currents for spell in _feed_spells(one)]
        return tuple(sorted(found, key=lambda spell: spell.end_s))

    @cached_property
    def feed_mended_s(self) -> float:
        """Since when the antenna draws its current after it drew none, or too much; 0 if it never came to that.

        What was received before speaks of the antenna as it was then. Where the current came back more than once, or
        went again, it comes and goes by itself.
        """
        if len(self.feed_spells) != 1:
            return 0.0
        end_s = self.feed_spells[0].end_s
        again = any((one.is_bad() & (one.t_s > end_s)).any() for one in self.our_currents)
        return 0.0 if again else end_s

    @cached_property
    def resend_came_s(self) -> tuple[float, float, float] | None:
        """Of the last resend that brought channels: since when these were refused, when it was asked for, and when
        the first of them played; None where none did."""
        looks = self.ours("channel").said("authorised", "refused")
        for asked_s in self.of("account").said("resend-requested", "resend-confirmed").t_s[::-1].tolist():
            before = looks.where(looks.t_s < asked_s)
            refused = set(before.last_of_each().said("refused").subject)
            came = looks.since(asked_s).said("authorised").about(refused.__contains__)
            names = set(came.subject)
            if len(names) >= FEWEST_NEW:
                since_s = float(before.said("refused").about(names.__contains__).t_s[0])
                return since_s, asked_s, float(came.t_s[0])
        return None

    @cached_property
    def received_again_s(self) -> float:
        """Since when channels show that something is received, after looks that found no signal; infinite if never.

        What was measured of reception and feed before it speaks of a trouble that is over.
        """
        looks = self.ours("channel")
        looks = looks.where(self.with_ours(looks.t_s))
        lost = looks.said("no-signal").t_s
        if len(lost) < FEWEST_LOOKS:
            return np.inf
        after = looks.said("authorised", "refused").since(float(lost[-1])).t_s
        return float(after[0]) if len(after) >= FEWEST_LOOKS else np.inf

    def is_over(self, rows: Part) -> bool:
        """True if rows tell of a trouble with reception after which something was received again."""
        return len(rows) > 0 and float(rows.t_s[-1]) < self.received_again_s < np.inf

    @cached_property
    def heard_since_s(self) -> float:
        """Since when the head unit has had the receiver as it has now: source listed or not, ring open or closed.

        What was heard before says nothing of now.
        """
        return self.last_change_s(("listing", "source"), ("ring", "bus"), ("ring", "other-sources"))


_LOGS: WeakKeyDictionary[Job, Log] = WeakKeyDictionary()


def log_of(job: Job) -> Log:
    """The job's rows by kind, made once."""
    if job not in _LOGS:
        _LOGS[job] = _made(job)
    return _LOGS[job]


def _made(job: Job) -> Log:
    table = job.log
    value = table["value"].to_numpy(dtype=object)
    whole = Part(
        table["t_s"].to_numpy(dtype=float),
        table["subject"].to_numpy(dtype=object),
        value,
        table["number"].to_numpy(dtype=float),
        table["unit"].to_numpy(dtype=object),
        table["row"].to_numpy(dtype=np.int64),
        table["id"].to_numpy(dtype=object),
    )
    code, readable = table["kind"].cat.codes.to_numpy(), (table["value"] != UNREADABLE).to_numpy()
    places = {kind: np.flatnonzero((code == n) & readable) for n, kind in enumerate(table["kind"].cat.categories)}
    parts = {str(kind): whole.where(at) for kind, at in places.items() if len(at)}
    era_s = era_start_s(job) if "swap" in parts else 0.0
    looked = whole.t_s[~table["kind"].isin(SAID_AFTERWARDS).to_numpy()]
    starts_s = [visit.start_s for visit in job.visits if len(looked) and visit.start_s <= looked[-1]]
    last_visit_s = starts_s[-1] if starts_s else 0.0
    currents = _currents(job) if "bias" in parts else ()
    return Log(parts, whole.where(slice(0, 0)), era_s, last_visit_s, job.end_s, currents)


def _currents(job: Job) -> tuple[Currents, ...]:
    """The readable currents of each lead, without those while feed or receiver was off."""
    table = bias_readings(job)
    live = (table["live"] & (table["quantity"] == "current") & (table["word"] != UNREADABLE)).to_numpy(dtype=bool)
    return tuple(
        Currents(
            own["t_s"].to_numpy(dtype=float), own["word"].to_numpy(dtype=object), own["row"].to_numpy(dtype=np.int64)
        )
        for _, own in table[live].groupby("path", sort=True)
    )


def _feed_spells(currents: Currents) -> list[FeedSpell]:
    """Spells of one lead that ended in a normal current, lasted and stayed away for longer than one measurement."""
    found: list[FeedSpell] = []
    well_s, bad, sudden = -np.inf, None, False
    for at_s, word in zip(currents.t_s.tolist(), currents.word, strict=True):
        if word in (NO_CURRENT, TOO_MUCH):
            if found and at_s - found[-1].end_s <= AT_ONCE_S:
                found.pop()
            if bad is None:
                bad, sudden = (word, at_s), at_s - well_s <= AT_ONCE_S
        elif word == DRAWS:
            if bad is not None and not sudden and at_s - bad[1] > AT_ONCE_S:
                found.append(FeedSpell(*bad, at_s))
            well_s, bad = at_s, None
    return found
