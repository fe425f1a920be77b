"""Which fault it is: probabilities, evidence, what to try next."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from satdiag.findings.common import Instant


@dataclass(frozen=True)
class Verdict:
    """Where the vehicle stood at the last row."""

    state: Literal["works", "filling", "explained", "fault", "cannot-tell"]
    as_of: Instant | None
    class_: str | None
    fault: str | None
    probability: float | None
    sure: bool
    text: str
    do_next: str
    customer: str = ""


@dataclass(frozen=True)
class Earlier:
    """A fault that was there and is gone at the last row."""

    fault: str
    from_: Instant | None
    to: Instant | None
    probability: float
    ended_by: str


@dataclass(frozen=True)
class Evidence:
    """One item of evidence. `weight_db`: what it is worth on its own (leave-one-out), in decibans for `for_`."""

    item: str
    state: str
    for_: str
    weight_db: float
    text: str
    rows: tuple[str, ...] = ()


@dataclass(frozen=True)
class NextTest:
    """A test worth doing: what it saves (expected minutes), what it costs, what it tells (bits)."""

    test: str
    worth_minutes: float
    minutes: float
    gain_bits: float
    text: str
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True)
class DiagnosisFindings:
    """Marginal probabilities of faults and classes, the evidence, and the next tests."""

    faults: Mapping[str, float]
    classes: Mapping[str, float]
    earlier: tuple[Earlier, ...]
    evidence: tuple[Evidence, ...]
    conflict_bits: float
    next_tests: tuple[NextTest, ...]
