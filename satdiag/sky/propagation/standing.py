"""Where a formula or number comes from, and the check that it is used where it holds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from satdiag.errors import SatdiagError

Floats = NDArray[np.float64]

Standing = Literal[
    "recommendation",
    "textbook",
    "published",
    "definition",
    "the user's figure",
    "common practice, no source",
    "from memory",
    "judgement, no source",
]


@dataclass(frozen=True)
class Source:
    """What a number rests on. A recommendation was read in open implementations that name it, not in its own text."""

    name: str
    standing: Standing

    def __str__(self) -> str:
        """The source with its standing, as it is read out."""
        return f"{self.name} ({self.standing})"


class OutsideDomain(SatdiagError):
    """A model was asked for a value where it does not hold. Example: roadside trees with the satellite at 5 deg."""


def within(value: ArrayLike, low: float, high: float, what: str, model: str, unit: str = "") -> Floats:
    """The values as an array, once all of them lie in low..high. Raises OutsideDomain (NaN included)."""
    found = np.asarray(value, dtype=float)
    inside = (found >= low) & (found <= high)
    if not inside.all():
        shown = f"{_rounded(float(found[~inside].flat[0]), low, high, unit):g} {unit}".strip()
        span = f"{low:g} to {high:g} {unit}".strip()
        raise OutsideDomain(f"{model}: {what} {shown} is outside {span}, where the model holds.")
    return found


def _rounded(value: float, low: float, high: float, unit: str) -> float:
    """An angle to a tenth of a degree, unless that would lie inside; anything else as it is."""
    tenths = round(value, 1) if unit == "deg" else value
    return value if low <= tenths <= high else tenths
