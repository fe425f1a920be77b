"""How far the noise should rise when a healthy antenna is powered, with a range for what is not known."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from satdiag.findings import Interval, RiseInput
from satdiag.language import mark, tell, translated
from satdiag.wiring.cascade import Chain, noise_rise_db

Floats = NDArray[np.float64]
Range = tuple[float, float]

GIVEN = mark("the user's figure")
MEMORY = mark("common practice, from memory")
JUDGED = mark("judgement, no source")

POINTS, SKIPPED = 10_000, 20
"""Points of a fixed quasi-random set, so that equal inputs give equal results; its first ones lie on a line."""


class _Usual(NamedTuple):
    words: str
    unit: str
    range: Range
    standing: str


# In the order of `Chain`: what is taken where the user states nothing, evenly spread over the range.
USUAL: Mapping[str, _Usual] = {
    "gain_db": _Usual(mark("gain of the antenna's amplifier"), "dB", (25.0, 35.0), MEMORY),
    "noise_figure_db": _Usual(mark("noise figure of that amplifier"), "dB", (0.6, 1.2), MEMORY),
    "lead_loss_db": _Usual(mark("loss of the lead to the receiver"), "dB", (3.0, 9.0), JUDGED),
    "receiver_noise_db": _Usual(mark("noise figure of the receiver"), "dB", (4.0, 10.0), JUDGED),
    "antenna_k": _Usual(mark("noise that the antenna collects"), "K", (60.0, 150.0), MEMORY),
}

OPEN_SKY = "open-sky"
# Warm walls and leaves radiate like a body of their own temperature: the noise collected grows towards 290 K.
PLACE_K: Mapping[str, Range] = {
    "street": (80.0, 220.0),
    "canopy": (120.0, 270.0),
    "indoors": (250.0, 300.0),
    "underground": (280.0, 300.0),
}
WARMEST_K = 300.0
_COLLECTED = {
    "open-sky": mark("noise that the antenna collects, open sky"),
    "street": mark("noise that the antenna collects, street"),
    "canopy": mark("noise that the antenna collects, canopy"),
    "indoors": mark("noise that the antenna collects, indoors"),
    "underground": mark("noise that the antenna collects, underground"),
    None: mark("noise that the antenna collects, place not known"),
}


class Expected(NamedTuple):
    """The inputs with their ranges, and over these the chains and rises; `spare` is one more even coordinate."""

    inputs: tuple[RiseInput, ...]
    chain: Chain
    rise_db: Floats
    spare: Floats

    @property
    def middle_db(self) -> float:
        """The median rise."""
        return float(np.median(self.rise_db))

    @property
    def interval(self) -> Interval:
        """5 and 95 % of the rise over the ranges of the inputs."""
        return interval_90(self.rise_db)


def interval_90(values: Floats) -> Interval:
    """5 % and 95 % quantile."""
    low, high = np.quantile(values, [0.05, 0.95], method="inverted_cdf")
    return float(low), float(high)


def expected_rise(known: Mapping[str, Range], place: str | None) -> Expected:
    """The rise to expect of a healthy antenna at a kind of place (None: not known).

    `known`: ranges by the keys of [feed] in job.toml. Each input lies evenly in its range, independent of the others.
    """
    inputs = tuple(_input(name, known, place) for name in USUAL)
    even = _even_points(len(inputs) + 1)
    gain, figure, loss, receiver, antenna = (
        one.low + (one.high - one.low) * even[:, nth] for nth, one in enumerate(inputs)
    )
    chain = Chain(gain, figure, loss, receiver, antenna)
    return Expected(inputs, chain, noise_rise_db(chain), even[:, -1])


def _even_points(dimensions: int) -> Floats:
    """A Halton set without scrambling: values inside (0, 1)."""
    from scipy.stats.qmc import Halton

    return np.asarray(Halton(dimensions, scramble=False).random(POINTS + SKIPPED)[SKIPPED:], dtype=np.float64)


def _input(name: str, known: Mapping[str, Range], place: str | None) -> RiseInput:
    usual = USUAL[name]
    if name == "antenna_k":
        return _antenna_input(usual, known.get(name), place)
    low, high = known.get(name, usual.range)
    standing = translated(GIVEN if name in known else usual.standing)
    return RiseInput(name, translated(usual.words), low, high, usual.unit, standing)


def _antenna_input(usual: _Usual, known: Range | None, place: str | None) -> RiseInput:
    """What was stated holds under an open sky; elsewhere the surroundings count, and an unknown place may be any."""
    words, unit = translated(_COLLECTED[place]), usual.unit
    low, high = known or usual.range
    standing = translated(GIVEN if known else usual.standing)
    if place == OPEN_SKY:
        return RiseInput("antenna_k", words, low, high, unit, standing)
    if place is None:
        both = tell("{before}; {part}", before=standing, part=translated(JUDGED))
        return RiseInput("antenna_k", words, low, max(high, WARMEST_K), unit, both)
    low, high = PLACE_K.get(place, (low, WARMEST_K))
    return RiseInput("antenna_k", words, low, high, unit, translated(JUDGED))
