"""Feed, ring, supply and feedline."""

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


@dataclass(frozen=True)
class RingFindings:
    """The optical ring: open or closed at the last report, nodes that answered, other sources."""

    state: Literal["closed", "open"] | None
    nodes_present: tuple[str, ...] = ()
    nodes_absent: tuple[str, ...] = ()
    other_sources: Literal["working", "lost"] | None = None
    open_s: float | None = None


@dataclass(frozen=True)
class SupplyFindings:
    """The supply at the receiver and the unexpected restarts."""

    state: Literal["normal", "low", "dropouts"] | None
    minimum_v: float | None
    median_v: float | None
    resets: int


@dataclass(frozen=True)
class FeedlineFindings:
    """The antenna lead from a reflection sweep."""

    fault_m: float | None


@dataclass(frozen=True)
class WiringFindings:
    """States of feed, ring, supply and lead, from their rows."""

    bias: BiasFindings | None = None
    ring: RingFindings | None = None
    supply: SupplyFindings | None = None
    feedline: FeedlineFindings | None = None
    could_not: tuple[str, ...] = ()
