"""How far a reading of the feed may be off: from the readings' own scatter, else by the meter's stated accuracy."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal, NamedTuple

from satdiag.findings import Interval

Quantity = Literal["voltage", "current"]

# 90 % limits of a hand meter: a share of the reading, and a fixed part in V or mA (judgement, no source).
ACCURACY: dict[Quantity, tuple[float, float]] = {"voltage": (0.01, 0.02), "current": (0.02, 0.5)}

LAST_READINGS = 3
"""The median of so many withstands one bad contact of the probe and still follows a change (judgement, no source)."""

ALIKE = 5.0
"""A reading farther from the median than so many times the meter's accuracy is of another state, or a bad contact
(judgement, no source): it takes no part in the scatter."""

NORMAL_95 = 1.6449
"""95 % quantile of the standard normal distribution."""


class Estimate(NamedTuple):
    """A value with its 90 % interval, what that rests on, and the standard error that the meter's own is added to."""

    value: float
    interval: Interval
    source: Literal["readings", "meter"]
    error: float


def accuracy(quantity: Quantity, value: float) -> float:
    """Half the width of the 90 % interval of one reading by the meter's stated accuracy, V or mA."""
    share, fixed = ACCURACY[quantity]
    return share * abs(value) + fixed


def estimate(quantity: Quantity, numbers: Sequence[float], steps: Sequence[float]) -> Estimate | None:
    """What the last readings say, oldest first; `steps` are the last digits they were written with.

    The median of the last three; of fewer the last one: between two states there is no middle. The interval is
    Student's over the last three where they agree, with the rounding in it, else the meter's. `error` holds the
    meter's accuracy in either case: readings that repeat each other can all be off alike.
    """
    if not numbers:
        return None
    if len(numbers) < LAST_READINGS:
        return _by_meter(quantity, numbers[-1])
    last = list(numbers[-LAST_READINGS:])
    middle = sorted(last)[LAST_READINGS // 2]
    off = accuracy(quantity, middle)
    if any(abs(number - middle) > ALIKE * off for number in last):
        return _by_meter(quantity, middle)
    mean = sum(last) / LAST_READINGS
    variance = sum((number - mean) ** 2 for number in last) / (LAST_READINGS - 1)
    rounding = max(steps[-LAST_READINGS:]) ** 2 / 12.0
    half = student_95(LAST_READINGS - 1) * math.sqrt((variance + rounding) / LAST_READINGS)
    return Estimate(middle, (mean - half, mean + half), "readings", math.hypot(half, off) / NORMAL_95)


def _by_meter(quantity: Quantity, value: float) -> Estimate:
    off = accuracy(quantity, value)
    return Estimate(value, (value - off, value + off), "meter", off / NORMAL_95)


def student_95(freedom: int) -> float:
    """95 % quantile of Student's distribution."""
    from scipy.special import stdtrit

    return float(stdtrit(freedom, 0.95))


def chance_below(limit: float, found: Estimate) -> float:
    """How probable it is that the true value lies below a limit, with normal errors around the value."""
    if math.isinf(limit):
        return 1.0 if limit > 0 else 0.0
    return 0.5 * (1.0 + math.erf((limit - found.value) / (found.error * math.sqrt(2.0))))


def step_of(text: str) -> float:
    """The last digit that a number was written with: 0.01 of '4.60', 1 of '42'."""
    mantissa, _, power = text.lower().partition("e")
    decimals = len(mantissa.partition(".")[2])
    return float(10.0 ** (int(power or 0) - decimals))
