"""The findings on the optical ring."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class RingFindings:
    """The optical ring: open or closed at the last report, nodes that answered, other sources."""

    state: Literal["closed", "open"] | None
    nodes_present: tuple[str, ...] = ()
    nodes_absent: tuple[str, ...] = ()
    other_sources: Literal["working", "lost"] | None = None
    open_s: float | None = None
