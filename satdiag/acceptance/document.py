"""What `confirm --json` prints: frozen dataclasses, ready for JSON, and their JSON Schema.

Units stand in the names. None means unknown, and `could_not` says why.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any, Literal

from satdiag.findings import Instant

SCHEMA = 1

State = Literal["holds", "fails", "open"]
Overall = Literal["confirmed", "not-confirmed", "go-on"]


@dataclass(frozen=True)
class Criterion:
    """One thing that must hold. `checks_left`, `minutes_left`: about how many more would settle it, if known."""

    name: str
    title: str
    state: State
    evidence: str
    lacking: str = ""
    checks_left: int | None = None
    minutes_left: float | None = None


@dataclass(frozen=True)
class ChecksFound:
    """What the channel checks weigh, in decibans for an activated account, and how the looks were counted.

    `looks`: all that judged an expected channel since the clock's origin; `counted`: separate checks among them;
    `good`: those that passed; `p_pass_dead`, `p_pass_live`: chances of a pass that the test stands for (judgements).
    """

    looks: int
    counted: int
    good: int
    channels_playing: int
    channels_refused: int
    weight_db: float
    confirm_at_db: float
    reject_at_db: float
    p_pass_dead: float
    p_pass_dead_range: tuple[float, float]
    p_pass_live: tuple[float, float]


@dataclass(frozen=True)
class Acceptance:
    """Whether the activation is confirmed as of the last row, criterion by criterion.

    `alpha`: highest chance to confirm an account that is not activated; `beta`: highest chance to call an activated
    one not activated.
    """

    satdiag: str
    job: str
    as_of: Instant | None
    state: Overall
    alpha: float
    beta: float
    text: str
    criteria: tuple[Criterion, ...]
    checks: ChecksFound
    checks_left: int | None
    minutes_left: float | None
    could_not: tuple[str, ...] = ()
    schema: int = SCHEMA

    def to_dict(self) -> dict[str, Any]:
        """The document as plain JSON values, `schema` first; numbers with six digits."""
        plain: dict[str, Any] = _rounded(dataclasses.asdict(self))
        return {"schema": plain.pop("schema"), **plain}


def _rounded(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _rounded(part) for key, part in value.items()}
    if isinstance(value, (tuple, list)):
        return [_rounded(part) for part in value]
    return float(f"{value:.6g}") if isinstance(value, float) else value


def acceptance_schema() -> dict[str, Any]:
    """The JSON Schema (2020-12) of the document, made from the dataclasses."""
    from satdiag.findings_schema import schema_of

    definitions: dict[str, Any] = {}
    whole = schema_of(Acceptance, definitions)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "satdiag acceptance",
        "description": "What `satdiag confirm PATH --json` prints. Unknown is null. Units stand in the keys.",
        **whole,
        "$defs": definitions,
    }
