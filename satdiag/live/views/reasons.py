"""Why the verdict is what it is: what speaks for and against it, how much that weighs, and the rows it comes from."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from satdiag.entry_words import words_of
from satdiag.language import tell
from satdiag.report import words
from satdiag.report.local_time import LocalTime, local_time_of, utc
from satdiag.report.numbers import percent
from satdiag.report.opening import WORTH_SAYING_DB

if TYPE_CHECKING:
    from satdiag.findings import Evidence, Findings
    from satdiag.job import Job

CONFLICT_BITS = 1.0
PRIVATE = ("note", "site")
"""Kinds of rows whose words are somebody's own."""


class Rows:
    """Rows of the log by the names that findings have for them, with their time and their words."""

    def __init__(self, job: Job) -> None:
        self.local: LocalTime = local_time_of(job)
        self._job = job
        self._place = {row.id: n for n, row in enumerate(job.rows) if row.id}
        log = job.log
        self._t_s = dict(zip(log["row"].tolist(), log["t_s"].tolist(), strict=True))

    def told(self, names: Iterable[str]) -> list[dict[str, str]]:
        """Each row as {id, at, words}; a name that is not found keeps its name alone."""
        return [self._one(name) for name in names]

    def _one(self, name: str) -> dict[str, str]:
        place = self._place.get(name)
        if place is None and name.startswith("row ") and name[4:].isdigit():
            place = int(name[4:]) - 1
        if place is None or not 0 <= place < len(self._job.rows):
            return {"id": name, "at": "", "words": ""}
        row, t_s = self._job.rows[place], self._t_s.get(place)
        at = "" if t_s is None else self._clock(t_s)
        said = "" if row.kind in PRIVATE else words_of(row)
        return {"id": words.row_words([name]), "at": at, "words": said}

    def _clock(self, t_s: float) -> str:
        instant = self._job.instant(t_s)
        return "" if instant is None else f"{self.local.wall(utc(instant)):%H:%M:%S}"


def evidence(findings: Findings, rows: Rows) -> dict[str, Any]:
    """What speaks for the verdict and against it, the strongest first; what hardly weighs apart; what fits badly.

    What speaks for another cause speaks against this one.
    """
    found = findings.diagnosis
    ours = {findings.verdict.fault, findings.verdict.class_} - {None} or {"none"}
    ranked = sorted(found.evidence, key=lambda one: -abs(one.weight_db))
    weighty = [one for one in ranked if abs(one.weight_db) >= WORTH_SAYING_DB]
    speaks_for = [one for one in weighty if one.for_ in ours and one.weight_db > 0]
    against = [one for one in weighty if (one.weight_db < 0 if one.for_ in ours else one.weight_db > 0)]
    rest = [one for one in ranked if one not in speaks_for and one not in against]
    odd = found.odd_reading
    return {
        "for": [_reason(one, rows) for one in speaks_for],
        "against": [_reason(one, rows) for one in against],
        "slight": [_reason(one, rows) for one in rest],
        "scale": found.explanation.scale if found.explanation else "",
        "odd": None
        if odd is None
        else {
            "item": odd.item,
            "text": words.sentence(odd.text),
            "said": tell("Given all else its chance is {chance}.", chance=percent(odd.chance)),
            "rows": rows.told(odd.rows),
        },
        "conflict": _conflict(found.conflict_bits),
    }


def _conflict(bits: float) -> str:
    if bits < CONFLICT_BITS:
        return ""
    return tell(
        "Some pieces of evidence fit badly together ({bits:.1f} bits of conflict): look at them again.", bits=bits
    )


def _reason(one: Evidence, rows: Rows) -> dict[str, Any]:
    return {
        "item": one.item,
        "strength": one.strength,
        "text": words.sentence(one.text),
        "rows": rows.told(one.rows),
    }
