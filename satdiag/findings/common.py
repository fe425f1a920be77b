"""What all findings share: predicted times, intervals, instants."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Interval = tuple[float, float]
"""A 90 % interval: (5 %, 95 %) quantile."""

Instant = str
"""ISO 8601, UTC."""


@dataclass(frozen=True, slots=True)
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


def instant_texts(start: np.datetime64 | None, t_s: NDArray[np.float64]) -> list[Instant]:
    """As `instant_text`, of many instants (n,), given in seconds since `start`; empty without a start."""
    if start is None:
        return []
    moments = start + np.rint(t_s * 1e6).astype("timedelta64[us]")
    return [text.removesuffix(".000000") + "Z" for text in np.datetime_as_string(moments, unit="us").tolist()]
