"""What the job sheet holds on the antenna's feed: [feed] for the noise-rise test, and lists of learnt readings."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

Trouble = Callable[[Any], str | None]

LIMITS: Mapping[str, tuple[float, float]] = {
    "gain_db": (-10, 60),
    "noise_figure_db": (0, 20),
    "lead_loss_db": (0, 60),
    "receiver_noise_db": (0, 30),
    "antenna_k": (3, 1000),
}
"""The keys of [feed] and what each may be."""

LEARNT_MOST = 200
LEARNT_SCHEMA = {"type": "array", "items": {"type": "number", "minimum": 0}, "maxItems": LEARNT_MOST}


def learnt_trouble(value: Any) -> str | None:
    """What is wrong with a list of readings, or None."""
    if not isinstance(value, list) or not all(_is_number(part) and part >= 0 for part in value):
        return "is not a list of numbers such as [41, 42.5]"
    return None if len(value) <= LEARNT_MOST else f"holds more than {LEARNT_MOST} numbers"


def range_trouble(low: float, high: float) -> Trouble:
    """A check for a number within limits, or a pair of such numbers that it lies between."""

    def trouble(value: Any) -> str | None:
        ends = value if isinstance(value, list) else [value]
        if not all(_is_number(end) for end in ends) or (isinstance(value, list) and len(value) != 2):
            return "is not a number or a pair of numbers such as [25, 30]"
        if not all(low <= end <= high for end in ends):
            return f"is outside {low:g} .. {high:g}"
        return None if ends[0] <= ends[-1] else "does not rise from the first number to the second"

    return trouble


def range_schema(low: float, high: float) -> dict[str, Any]:
    """The same as JSON Schema."""
    one = {"type": "number", "minimum": low, "maximum": high}
    return {"anyOf": [one, {"type": "array", "items": one, "minItems": 2, "maxItems": 2}]}


def ranges_of(table: Mapping[str, Any]) -> dict[str, tuple[float, float]]:
    """[feed] as ranges; of a single number both ends are the same."""
    pairs = {key: value if isinstance(value, list) else [value, value] for key, value in table.items()}
    return {key: (float(low), float(high)) for key, (low, high) in pairs.items()}


def _is_number(value: Any) -> bool:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return False
    try:
        return math.isfinite(value)
    except OverflowError:  # a whole number with hundreds of digits
        return False
