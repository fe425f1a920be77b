"""What the checklist looks at, and how signs become a state: the latest counts, and an old one is no proof of now."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from satdiag.acceptance.checklist_document import State
from satdiag.acceptance.seen import Seen
from satdiag.diagnosis.seen import changes_s, heard_since_s, names_of, settled_since_s
from satdiag.entry_words import words_of
from satdiag.findings import Findings
from satdiag.job import Job
from satdiag.language import tell
from satdiag.rows import Row

RATE = 0.05
"""Error rates of the criteria taken over from `confirm`."""


@dataclass(frozen=True)
class Sign:
    """Something that speaks for (`good`) or against an item, seen at `t_s`: `seen` is the row in words, `text` reads
    it."""

    t_s: float
    good: bool
    text: str
    seen: str
    rows: tuple[str, ...] = ()


@dataclass(frozen=True)
class Judged:
    """The state of one item with its reason."""

    state: State
    text: str
    earlier: bool = False
    seen: str = ""
    t_s: float | None = None
    rows: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Known:
    """A job with its findings, and since when what was seen speaks of the vehicle as it is now."""

    job: Job
    findings: Findings

    @cached_property
    def seen(self) -> Seen:
        """As the criteria of `confirm` take it."""
        return Seen(self.job, self.findings, RATE, RATE)

    @cached_property
    def visit_s(self) -> float:
        """When the last visit began."""
        return self.job.visits[-1].start_s if self.job.visits else 0.0

    @cached_property
    def fitted_s(self) -> float:
        """When antenna, lead or receiver were last tried against another, in this visit or at its begin."""
        swaps = self.job.select("swap")
        swaps = swaps[swaps["subject"].isin(["antenna", "lead", "receiver"]).to_numpy(dtype=bool)]
        return max(self.visit_s, float(swaps["t_s"].iloc[-1]) if len(swaps) else 0.0)

    @cached_property
    def ring_s(self) -> float:
        """When the ring last changed between open and closed, or the receiver was exchanged."""
        changed = changes_s(self.job.select("ring", "bus"))
        receiver = self.job.select("swap", "receiver")["t_s"]
        latest = [float(changed[-1])] if len(changed) > 1 else []
        latest += [float(receiver.iloc[-1])] if len(receiver) else []
        return max([self.visit_s, *latest])

    @cached_property
    def listed_s(self) -> float:
        """Since when the head unit has had the receiver as it has now."""
        return max(self.ring_s, heard_since_s(self.job))

    @cached_property
    def stands_s(self) -> float:
        """Since when the vehicle has stood where it stands, with the parts that it has."""
        return max(self.fitted_s, settled_since_s(self.job))

    @cached_property
    def era_s(self) -> float:
        """Since when this receiver is fitted."""
        return self.seen.clock.era_start_s

    def rows(self, kind: str, *subjects: str) -> pd.DataFrame:
        """The readable rows of a kind, of these subjects if any are named."""
        found = self.job.select(kind)
        return found[found["subject"].isin(subjects).to_numpy(dtype=bool)] if subjects else found

    @cached_property
    def heard(self) -> tuple[Sign, ...]:
        """Every time that a channel was heard: audio that plays, and the sound after a channel change."""
        audio, tune = self.rows("audio", "output"), self.rows("tune")
        parts = [audio[(audio["value"] == "playing").to_numpy()], tune[(tune["value"] == "audio").to_numpy()]]
        return tuple(sign for part in parts for sign in signs(part, {"playing": True, "audio": True}, ""))

    def heard_says(self, text: str) -> tuple[Sign, ...]:
        """The last time that a channel was heard; `text` reads it for one item: what had to work at that moment."""
        if not self.heard:
            return ()
        last = max(self.heard, key=lambda sign: sign.t_s)
        return (Sign(last.t_s, True, text, last.seen, last.rows),)


def entry_words(kind: object, subject: object, value: object, unit: object = "") -> str:
    """'optical ring: closed', 'supply: 12.4 V': an entry in words, in the language in use."""
    return words_of(Row("", str(kind), str(subject), str(value), str(unit)))


def row_sign(row: pd.DataFrame, good: bool, text: str) -> Sign:
    """A sign that rests on one row; of several the last."""
    one = row.iloc[-1]
    seen = entry_words(one["kind"], one["subject"], one["value"], one["unit"])
    return Sign(float(one["t_s"]), good, text, seen, names_of(row))


def signs(rows: pd.DataFrame, meaning: dict[str, bool], text: str, against: str = "") -> tuple[Sign, ...]:
    """The last row of each value that means something; `text` reads a good one, `against` a bad one."""
    found = []
    told = rows[rows["value"].isin(list(meaning)).to_numpy(dtype=bool)]
    for place in np.flatnonzero(~told.duplicated("value", keep="last").to_numpy(dtype=bool)):
        row = told.iloc[[int(place)]]
        one = row.iloc[0]
        good = meaning[str(one["value"])]
        seen = entry_words(one["kind"], one["subject"], one["value"], one["unit"])
        found.append(Sign(float(one["t_s"]), good, text if good else against, seen, names_of(row)))
    return tuple(found)


def settle(found: Sequence[Sign], since_s: float, missing: str) -> Judged:
    """The latest sign decides; of two at one instant the one against. Before `since_s` it proves nothing of now."""
    if not found:
        return Judged("missing", missing)
    last = max(found, key=lambda sign: (sign.t_s, not sign.good))
    if last.t_s >= since_s:
        return Judged("proved" if last.good else "contradicted", last.text, False, last.seen, last.t_s, last.rows)
    before = last.text[:1].lower() + last.text[1:]
    text = tell("Earlier, before the last visit, swap or change: {before} Look again.", before=before)
    return Judged("partly" if last.good else "missing", text, True, last.seen, last.t_s, last.rows)


def not_for(text: str) -> Judged:
    """An item that does not apply."""
    return Judged("does-not-apply", text)


def by_hand(known: Known) -> Judged:
    """An item that no row can prove."""
    return Judged("missing", tell("The log cannot show this: look yourself, and tick by hand."))


Judge = Callable[[Known], Judged]
