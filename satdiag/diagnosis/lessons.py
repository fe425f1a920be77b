"""What a closed job teaches: what it turned out to be, by its `finding` rows, and what had been seen."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from satdiag.csv_text import quoted, quoted_value
from satdiag.diagnosis.model import load_model
from satdiag.errors import bad_input
from satdiag.job import Job
from satdiag.vocabulary import FAULTS, REASONS

FORM = 1
MEND = "Take the file as `satdiag learn` wrote it, or remove it with `satdiag user remove`."


@dataclass(frozen=True)
class Lesson:
    """One closed job. `faults`: what was confirmed ('other' too; none where nothing was wrong); `evidence`: states by
    item; `hash`: of the job it was taken from.
    """

    job: str
    hash: str
    reason: str
    faults: frozenset[str]
    evidence: Mapping[str, str]

    def text(self) -> str:
        """The lesson as it is kept: JSON, keys in a fixed order."""
        whole = {
            "form": FORM,
            "job": self.job,
            "hash": self.hash,
            "reason": self.reason,
            "faults": sorted(self.faults),
            "evidence": dict(sorted(self.evidence.items())),
        }
        return json.dumps(whole, indent=1, ensure_ascii=False) + "\n"


def confirmed_faults(job: Job) -> frozenset[str] | None:
    """What the job turned out to be: the faults confirmed and not excluded later; None if it was not closed.

    `none confirmed` says that nothing was wrong. A job where things were only excluded is not closed.
    """
    rows = job.select("finding")
    last = dict(zip(rows["subject"], rows["value"], strict=True))  # later rows replace earlier ones
    confirmed = frozenset(str(name) for name, value in last.items() if value == "confirmed")
    if not confirmed:
        return None
    return confirmed - {"none"}


def lesson_from(value: Mapping[str, Any], file: str) -> Lesson:
    """A lesson from a file's JSON object. Raises BadInput."""
    if value.get("form") != FORM:
        what = f"its form is {quoted_value(value.get('form'))}, this version reads form {FORM}"
        raise bad_input(file, what, MEND, 1)
    for key, kind in (("job", str), ("hash", str), ("reason", str), ("faults", list), ("evidence", dict)):
        if not isinstance(value.get(key), kind):
            raise bad_input(file, f"'{key}' is missing or is not what it should be", MEND, 1)
    faults, evidence = frozenset(map(str, value["faults"])), value["evidence"]
    if unknown := sorted(faults - {*FAULTS, "other"}):
        raise bad_input(file, f"{quoted(unknown[0])} is no fault that satdiag knows", MEND, 1)
    if value["reason"] not in REASONS:
        raise bad_input(file, f"{quoted(value['reason'])} is no reason that satdiag knows", MEND, 1)
    items = load_model().items
    known = {k: v for k, v in evidence.items() if k in items and v in items[k].states}
    return Lesson(value["job"], value["hash"], value["reason"], faults, known)
