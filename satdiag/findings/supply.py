"""The findings on the supply at the receiver."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class SupplyFindings:
    """The supply at the receiver and the unexpected restarts."""

    state: Literal["normal", "low", "dropouts"] | None
    minimum_v: float | None
    median_v: float | None
    resets: int
