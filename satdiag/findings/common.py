"""What all findings share: predicted times, intervals, instants."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

Interval = tuple[float, float]
"""A 90 % interval: (5 %, 95 %) quantile."""

Instant = str
"""ISO 8601, UTC."""


@dataclass(frozen=True)
class Quantiles:
    """A predicted time in seconds: median, 5 % and 95 % quantile."""

    median: float
    p05: float
    p95: float


def instant_text(moment: Any) -> Instant | None:
    """A numpy datetime64[us] (UTC) as ISO 8601 with Z; None stays None."""
    if moment is None:
        return None
    text = str(moment.astype("datetime64[us]"))
    return text.removesuffix(".000000") + "Z"
