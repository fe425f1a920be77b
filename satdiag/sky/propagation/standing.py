"""Where a formula or number comes from, and the check that it is used where it holds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from satdiag.errors import SatdiagError
from satdiag.language import in_figures, mark, tell, translated

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
        name, standing = self.said()
        return f"{name} ({standing})"

    def said(self) -> tuple[str, str]:
        """Name and standing in the language in use."""
        return translated(self.name), translated(_STANDINGS[self.standing])


_STANDINGS: dict[Standing, str] = {
    "recommendation": mark("recommendation"),
    "textbook": mark("textbook"),
    "published": mark("published"),
    "definition": mark("definition"),
    "the user's figure": mark("the user's figure"),
    "common practice, no source": mark("common practice, no source"),
    "from memory": mark("from memory"),
    "judgement, no source": mark("judgement, no source"),
}


class OutsideDomain(SatdiagError):
    """A model was asked for a value where it does not hold. Example: roadside trees with the satellite at 5 deg."""


def within(value: ArrayLike, low: float, high: float, what: str, model: str, unit: str = "") -> Floats:
    """The values as an array, once all of them lie in low..high. Raises OutsideDomain (NaN included).

    `what` and `model` are marked texts (`satdiag.language`).
    """
    found = np.asarray(value, dtype=float)
    inside = (found >= low) & (found <= high)
    if not inside.all():
        wrong = _rounded(float(found[~inside].flat[0]), low, high, unit)
        raise OutsideDomain(_outside(wrong, low, high, (translated(what), translated(model), unit)))
    return found


def _outside(value: float, low: float, high: float, words: tuple[str, str, str]) -> str:
    """The sentence of what was asked for and where the model holds; it may stand among what could not be done."""
    what, model, unit = words
    return tell(
        "{model}: {what} {shown} is outside {low} to {high}, where the model holds.",
        model=model,
        what=what,
        shown=f"{in_figures(f'{value:g}')} {unit}".strip(),
        low=in_figures(f"{low:g}"),
        high=f"{in_figures(f'{high:g}')} {unit}".strip(),
    )


def _rounded(value: float, low: float, high: float, unit: str) -> float:
    """An angle to a tenth of a degree, unless that would lie inside; anything else as it is."""
    tenths = round(value, 1) if unit == "deg" else value
    return value if low <= tenths <= high else tenths
