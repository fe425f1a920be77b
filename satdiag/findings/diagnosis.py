"""Which fault it is: probabilities, evidence, what to try next."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from satdiag.findings.common import Instant, Interval


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
class Explanation:
    """The diagnosis in words.

    `kind`: works; not-yet: nothing is wrong and channels still come; not-paid: the account does not hold it;
    not-sent: paid for, and the provider has to send or correct something; not-here: the place; broken; unknown.
    """

    kind: Literal["works", "not-yet", "not-paid", "not-sent", "not-here", "broken", "unknown"]
    kind_text: str
    of_hundred: str
    scale: str
    change_mind: tuple[str, ...]


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
    """One item of evidence. `weight_db`: what it is worth on its own (leave-one-out), in decibans for `for_`.

    `strength`: the weight in a word. `likelihood`: where the state was told only in part, of each state, relative.
    """

    item: str
    state: str
    for_: str
    weight_db: float
    text: str
    rows: tuple[str, ...] = ()
    strength: str = ""
    likelihood: Mapping[str, float] | None = None


@dataclass(frozen=True)
class NextTest:
    """A test worth doing: what it saves (expected minutes), what it costs, what it tells (bits).

    `net_minutes`: what it saves less what it costs, if the best one more test is done afterwards where that pays.
    `p_sure`: the chance that the verdict is sure after it; only where that was the aim.
    """

    test: str
    worth_minutes: float
    minutes: float
    gain_bits: float
    text: str
    cautions: tuple[str, ...] = ()
    net_minutes: float | None = None
    p_sure: float | None = None


@dataclass(frozen=True)
class Answer:
    """What a test may show: how likely that is, and which fault would lead then, with what probability."""

    state: str
    text: str
    chance: float
    fault: str
    probability: float


@dataclass(frozen=True)
class PlanStep:
    """One step of the plan: a test and its possible answers; the next step follows the likeliest of them."""

    test: str
    text: str
    minutes: float
    answers: tuple[Answer, ...]
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True)
class Repair:
    """A repair to try: the chance that its fault is there, and the work in minutes."""

    fault: str
    probability: float
    minutes: float
    text: str


@dataclass(frozen=True)
class OddReading:
    """The reading that fits worst with the rest. `bits`: conflict gone without it; `chance`: P(it | rest)."""

    item: str
    bits: float
    chance: float
    text: str
    rows: tuple[str, ...] = ()


@dataclass(frozen=True)
class BesidePath:
    """One path of this receiver less the same path of the one beside it, over readings at the same minutes.

    `pairs` of readings in `blocks` of two minutes, which count as independent.
    """

    path: str
    unit: str
    pairs: int
    blocks: int
    difference: float
    difference_90: Interval | None = None


@dataclass(frozen=True)
class BesideFindings:
    """This receiver and a known-good one beside it at the same minutes: paired differences take the sky out."""

    state: Literal["alike-good", "ours-worse", "alike-bad"] | None = None
    reference: str | None = None
    paths: tuple[BesidePath, ...] = ()
    received_share: float | None = None
    reference_received_share: float | None = None
    minutes: float = 0.0
    text: str = ""


@dataclass(frozen=True)
class Swing:
    """How far the leading fault's probability moves when one figure of the model moves within its stated range.

    `what`: 'prior', 'kind' or an item of evidence; `of`: the fault (or 'none', 'other') whose figure was moved, or
    the 'fault/kind' whose share of that fault was.
    """

    what: str
    of: str
    low: float
    high: float
    changes_lead: bool


@dataclass(frozen=True)
class DiagnosisFindings:
    """Marginal probabilities of faults and classes, the evidence, the next tests and how firmly all this stands.

    `stop`: why no test is offered: 'sure', 'nothing-pays' or 'needs ...'; empty where one is. `repairs`: what to try,
    in that order, where no test is offered. `sets_up_to`: how many
    faults at once were allowed for; `beyond_sets`: how far allowing for any number would move a fault.
    `learned_jobs`: closed jobs of this user's that moved the packaged figures. `aim`: 'repair', tests for the least
    expected work, or 'proof', tests until the verdict is sure; `stop` is then 'sure', 'nothing-left' (all that can be
    done was done) or 'cannot-be-sure' (what is left to test would not do).
    """

    faults: Mapping[str, float]
    classes: Mapping[str, float]
    earlier: tuple[Earlier, ...]
    evidence: tuple[Evidence, ...]
    conflict_bits: float
    next_tests: tuple[NextTest, ...]
    plan: tuple[PlanStep, ...] = ()
    stop: str = ""
    stop_text: str = ""
    repairs: tuple[Repair, ...] = ()
    explanation: Explanation | None = None
    odd_reading: OddReading | None = None
    swings: tuple[Swing, ...] = ()
    sets_up_to: int = 2
    beyond_sets: float | None = None
    learned_jobs: int = 0
    beside: BesideFindings | None = None
    aim: Literal["repair", "proof"] = "repair"
