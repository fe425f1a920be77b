"""What `compare --json` prints: frozen dataclasses, ready for JSON, and their JSON Schema. Unknown is None."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from satdiag.findings import Instant, plain_values

SCHEMA = 1

Kind = Literal["difference", "share", "rank", "ratio", "shift", "state"]
ItemState = Literal["better", "worse", "changed", "no change seen", "cannot tell"]
Became = Literal["gone", "less", "still there", "new", "more", "never probable"]
Whole = Literal["repaired", "better, not repaired", "worse", "no change seen", "cannot tell"]


@dataclass(frozen=True)
class Item:
    """One measure before and after.

    `effect`: after less before (difference, share, shift), after over before (ratio), the chance that a reading after
    is the higher one (rank: 0.5 is no effect); none for a state. An open end of `effect_90` is None. `margin`: the
    smallest change that would matter. `n_before`, `n_after`: readings, events or tries; `n_effective`: for how many
    independent readings those of either side stand. `p_holm`: the p-value with all others allowed for.
    `times_needed`: so many times as many readings would tell.
    """

    name: str
    path: str | None
    title: str
    kind: Kind
    unit: str
    before: float | None
    after: float | None
    before_text: str
    after_text: str
    effect: float | None
    effect_90: tuple[float | None, float | None] | None
    effect_text: str
    margin: float | None
    n_before: int
    n_after: int
    n_effective: tuple[float, float] | None
    p_value: float | None
    p_holm: float | None
    state: ItemState
    text: str
    times_needed: int | None = None


@dataclass(frozen=True)
class FaultChange:
    """The probability of a fault before and after."""

    fault: str
    title: str
    before: float
    after: float
    state: Became


@dataclass(frozen=True)
class Side:
    """One of the two jobs, or of two visits of one: where it stood at its last row. `from_`: its own begin."""

    job: str
    job_sha256: str
    from_: Instant | None
    to: Instant | None
    rows: int
    verdict: str
    visit: int | None = None


@dataclass(frozen=True)
class Comparison:
    """Two jobs compared: what changed from `before` to `after`, item by item and in whole.

    `to_log`: what would tell where nothing can be told yet. `warnings`: where the two differ in more than the repair.
    """

    satdiag: str
    state: Whole
    text: str
    to_log: tuple[str, ...]
    before: Side
    after: Side
    items: tuple[Item, ...]
    faults: tuple[FaultChange, ...]
    warnings: tuple[str, ...]
    could_not: tuple[str, ...]
    schema: int = SCHEMA

    def to_dict(self) -> dict[str, Any]:
        """The document as plain JSON values, `schema` first."""
        plain: dict[str, Any] = plain_values(self)
        return {"schema": plain.pop("schema"), **plain}


def compare_schema() -> dict[str, Any]:
    """The JSON Schema (2020-12) of the document, made from the dataclasses."""
    from satdiag.findings_schema import schema_of

    definitions: dict[str, Any] = {}
    whole = schema_of(Comparison, definitions)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "satdiag comparison",
        "description": "What `satdiag compare A B --json` prints. Unknown is null. Units stand in the keys.",
        **whole,
        "$defs": definitions,
    }
