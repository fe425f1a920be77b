"""The findings on the antenna lead from a reflection sweep."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class FeedlineFindings:
    """The antenna lead from a reflection sweep."""

    fault_m: float | None
