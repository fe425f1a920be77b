"""Chances that several rooms need, by `scipy.special` alone: `scipy.stats` takes a third of a second to import.

Each is what `scipy.stats` gives; a test compares them.
"""

from __future__ import annotations

import math

from scipy.special import bdtr, bdtrik, betainc


def at_least(least: int, tries: int, chance: float) -> float:
    """The chance of `least` hits or more in so many independent tries (binomial law)."""
    if least <= 0:
        return 1.0
    return float(betainc(least, tries - least + 1, chance)) if least <= tries else 0.0


def most_hits(level: float, tries: int, chance: float) -> int:
    """The fewest hits that are not exceeded with this level (quantile of the binomial law)."""
    if tries == 0:
        return 0  # bdtrik has no answer there
    above = math.ceil(bdtrik(level, tries, chance))
    below = max(above - 1, 0)
    return below if bdtr(below, tries, chance) >= level else above


def normal_density(value: float, middle: float, spread: float) -> float:
    """Density of a normal law."""
    return math.exp(-(((value - middle) / spread) ** 2) / 2.0) / math.sqrt(2.0 * math.pi) / spread
