"""The findings on the DC feed to the antenna's amplifier."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class BiasFindings:
    """The DC feed to the antenna's amplifier. `path` is the lead the figures belong to, on a dual lead."""

    state: Literal["normal", "open", "short", "low", "high", "absent"] | None
    voltage_v: float | None
    current_ma: float | None
    path: str | None = None
