"""What a fleet of jobs taught, as it is kept: counts of closed jobs, and how long channels take by package.

The counts move the packaged model as lessons do, but for how much the packaged priors count: that is `strength`, in
vehicles, and was chosen by how unlike them the fleet is. A person's own lessons move the model so made.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from satdiag.diagnosis.counts import FaultCounts
from satdiag.entitlement.wait_prior import WaitPrior
from satdiag.errors import BadInput, bad_input
from satdiag.vocabulary import FAULTS, REASONS

FORM = 2
"""Counts of the kinds of faults came with form 2; in form 1 a fault's rows were counted without its kinds."""

FORMS = (1, 2)
NAMES = (*FAULTS, "none", "other")
MEND = "Take the file as `satdiag fleet learn` wrote it, or remove it with `satdiag fleet learn --forget`."
SHORT_DIGEST = 16
ROUNDED = 1e-3
"""Counts are kept rounded: so much may one lie above another."""


@dataclass(frozen=True)
class DeadShare:
    """How often an account gives nothing as a whole, by so many jobs."""

    share: float
    jobs: int


@dataclass(frozen=True)
class Pool:
    """What is kept of a fleet. `waits`: by package, '' for any other; `dead`: accounts that give nothing.

    `known`: digests of the ids of its closed jobs, whose own lessons must not count once more; `said`: in words and
    figures, how it fared on held-out jobs.
    """

    faults: FaultCounts | None = None
    waits: Mapping[str, WaitPrior] = field(default_factory=dict)
    known: frozenset[str] = frozenset()
    said: Mapping[str, Any] = field(default_factory=dict)
    dead: DeadShare | None = None

    def holds(self, job: str) -> bool:
        """True if a job of that id was counted."""
        return self.faults is not None and id_digest(job) in self.known

    def wait_of(self, package: str) -> WaitPrior | None:
        """What is known of the typical wait of a package (of any where that is not among them) and of its account."""
        wait = self.waits.get(package, self.waits.get(""))
        if self.dead is None:
            return wait
        return replace(wait or WaitPrior(None, jobs=self.dead.jobs), account_dead=self.dead.share)

    def text(self) -> str:
        """The pool as it is kept: JSON, keys in a fixed order."""
        faults = None
        if self.faults is not None:
            faults = {name: _plain(value) for name, value in vars(self.faults).items()}
        waits = {
            name: {"mean_log_s": one.mean_log_s, "sd_log": one.sd_log, "jobs": one.jobs}
            for name, one in sorted(self.waits.items())
        }
        dead = None if self.dead is None else vars(self.dead)
        known = {"known": sorted(self.known), "said": dict(self.said)}
        whole = {"form": FORM, "faults": faults, "waits": waits, "dead": dead, **known}
        return json.dumps(whole, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def id_digest(job: str) -> str:
    """A short digest of a job's id: enough to know it again, and no list of a fleet's jobs."""
    return hashlib.sha256(job.encode()).hexdigest()[:SHORT_DIGEST]


def _plain(value: Any) -> Any:
    """Mappings in order of their keys, weights rounded to what they are worth."""
    if isinstance(value, Mapping):
        return {key: _plain(value[key]) for key in sorted(value)}
    return round(value, 4) if isinstance(value, float) else value


# --- from a file -------------------------------------------------------------------------------------------------


def pool_from(value: Mapping[str, Any], file: str) -> Pool:
    """A pool from a file's JSON object. Raises BadInput."""
    if value.get("form") not in FORMS:
        raise bad_input(file, f"its form is none of {FORMS}, which this version reads", MEND, 1)
    try:
        faults = None if value["faults"] is None else _faults_from(value["faults"])
        waits = {str(name): _wait_from(one) for name, one in value["waits"].items()}
        known = frozenset(str(one) for one in value["known"])
        dead = None if value.get("dead") is None else _dead_from(value["dead"])
        return Pool(faults, waits, known, dict(value["said"]), dead)
    except (KeyError, TypeError, ValueError, OverflowError, AttributeError) as error:
        raise _broken(file, error) from None


def _broken(file: str, error: Exception) -> BadInput:
    what = f"the key {error} is missing" if isinstance(error, KeyError) else "something in it is not as it should be"
    return bad_input(file, what, MEND, 1)


def _faults_from(value: Mapping[str, Any]) -> FaultCounts:
    closed = _counts(value["closed"], REASONS)
    comes = {reason: _counts(one, NAMES) for reason, one in value["comes"].items()}
    if any(one > closed.get(reason, 0.0) + ROUNDED for reason, found in comes.items() for one in found.values()):
        raise ValueError  # a fault in more jobs than there were
    return FaultCounts(
        jobs=int(value["jobs"]),
        strength=_positive(value["strength"]),
        closed=closed,
        comes=comes,
        rows={item: {row: _counts(one) for row, one in rows.items()} for item, rows in value["rows"].items()},
        kinds={fault: _counts(one) for fault, one in value.get("kinds", {}).items()},
    )


def _counts(value: Mapping[str, Any], names: tuple[str, ...] | None = None) -> dict[str, float]:
    counts = {str(name): float(one) for name, one in value.items()}
    if any(not math.isfinite(one) or one < 0.0 for one in counts.values()) or (names and set(counts) - set(names)):
        raise ValueError
    return counts


def _positive(value: Any) -> float:
    number = float(value)
    if not math.isfinite(number) or number <= 0.0:
        raise ValueError
    return number


def _dead_from(value: Mapping[str, Any]) -> DeadShare:
    share = _positive(value["share"])
    if share >= 1.0:
        raise ValueError
    return DeadShare(share, int(value["jobs"]))


def _wait_from(value: Mapping[str, Any]) -> WaitPrior:
    mean = float(value["mean_log_s"])
    if not math.isfinite(mean):
        raise ValueError
    return WaitPrior(mean, _positive(value["sd_log"]), int(value["jobs"]))
