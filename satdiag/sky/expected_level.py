"""The level to expect of a satellite's path under an open sky by the link budget; what nobody stated is a range."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from satdiag.errors import SatdiagError
from satdiag.language import mark, tell, translated
from satdiag.sky.link_budget import GIVEN, Budget, Inputs, link_budget, system_temperature_k
from satdiag.sky.propagation.standing import Floats, Source

PLACE = Source(mark("the site and the satellite's place"), "definition")
SATELLITE = Source(mark("stated for the satellite in the constellation"), "the user's figure")
ASSUMED = Source(mark("assumed for a small antenna on a vehicle's roof"), "judgement, no source")


@dataclass(frozen=True)
class Assumed:
    """A figure that no job states: middle, and the ends of the range it is taken to lie in (evenly)."""

    middle: float
    low: float
    high: float


# Judgement, no source: a small circularly polarised antenna on a metal roof, with its amplifier beside it. A broad
# antenna sees the warm ground in its lower lobes: 60 to 150 K (from memory). Other losses: polarisation, and that a
# satellite's stated power holds for the middle of its beam.
ASSUMPTIONS: Mapping[str, Assumed] = {
    "antenna_gain_dbic": Assumed(3.0, 0.0, 6.0),
    "feed_loss_db": Assumed(0.3, 0.1, 1.0),
    "antenna_k": Assumed(100.0, 60.0, 150.0),
    "noise_figure_db": Assumed(1.0, 0.6, 2.0),
    "other_losses_db": Assumed(0.5, 0.0, 2.0),
}
LOWEST_ASSUMED_ELEVATION_DEG = 20.0
"""Judgement, no source: below it the gain of a roof antenna falls too fast for the range above to hold it."""
SYSTEM = "system_k"
"""The name, among what is known, of the noise temperature of the whole system."""
_LABELS: Mapping[str, tuple[str, str]] = {
    "antenna_gain_dbic": (mark("antenna gain"), "dBic"),
    "feed_loss_db": (mark("loss before the amplifier"), "dB"),
    "antenna_k": (mark("noise seen by the antenna"), "K"),
    "noise_figure_db": (mark("noise figure of the amplifier"), "dB"),
    "other_losses_db": (mark("other losses: polarisation, away from the middle of the beam"), "dB"),
    SYSTEM: (mark("noise temperature of the system"), "K"),
}
_NOISE = ("antenna_k", "noise_figure_db")
_DRAWS = 4000
_SEED = 525

Known = float | tuple[float, float]
"""A figure that someone stated, or the two ends that it lies between."""


@dataclass(frozen=True)
class Figure:
    """One input of an expected level: its value, the range that was carried through (the same twice: none)."""

    label: str
    value: float
    low: float
    high: float
    unit: str
    source: Source


@dataclass(frozen=True)
class ExpectedLevel:
    """The level of a clear path, with its 90 % range over what was assumed or stated as a range, and the budget of
    the middle. `figures`: every input; `assumed`: which of them nobody stated."""

    value: float
    low: float
    high: float
    unit: str
    budget: Budget
    assumed: tuple[str, ...]
    figures: tuple[Figure, ...] = ()


def expected_cn(
    eirp_dbw: float | None,
    frequency_hz: float | None,
    range_km: float | None,
    elevation_deg: float | None,
    bandwidth_hz: float | None,
    unit: str,
    known: Mapping[str, Known] | None = None,
) -> ExpectedLevel | str:
    """The level of a clear path in 'dB' (C/N in `bandwidth_hz`) or 'dB-Hz' (C/N0), or a sentence why there is none.

    `known` holds figures that someone stated, or ranges of them, by the names in `ASSUMPTIONS` or `SYSTEM`; the rest
    is assumed there. The 90 % range is that of the sum with each range's figure anywhere in it (drawn with a fixed
    seed). Raises ValueError for a name that is not one of these.
    """
    if unknown := set(known or {}) - set(_LABELS):
        raise ValueError(f"no such figure: {', '.join(sorted(unknown))}")
    if eirp_dbw is None or frequency_hz is None or range_km is None or elevation_deg is None:
        missing = _missing(eirp_dbw, frequency_hz, range_km, elevation_deg, bandwidth_hz if unit == "dB" else 1.0)
        return tell("expected level not computed: missing {missing}", missing=", ".join(missing))
    if unit == "dB" and bandwidth_hz is None:
        return tell("expected level not computed: missing {missing}", missing="noise_bandwidth_hz")
    if unit not in ("dB", "dB-Hz"):
        return tell("expected level not computed: '{unit}' is an order only, not a ratio to noise", unit=unit)
    if elevation_deg < LOWEST_ASSUMED_ELEVATION_DEG and "antenna_gain_dbic" not in (known or {}):
        return tell(
            "expected level not computed: at {elevation:.0f}° the antenna's gain is not known well enough to "
            "assume it",
            elevation=elevation_deg,
        )
    ranges = _ranges(known or {})
    band = bandwidth_hz if unit == "dB" else None
    try:
        budget = link_budget(_inputs(eirp_dbw, range_km, frequency_hz, band, ranges, known or {}))
    except SatdiagError as trouble:
        return tell("expected level not computed: {why}", why=str(trouble))
    value = budget.cn_db if budget.cn_db is not None else budget.cn0_db_hz
    low, high = (value + shift for shift in _spread_db(ranges))
    figures = (*_sure_figures(eirp_dbw, range_km, frequency_hz, band), *_figures(ranges, known or {}))
    assumed = tuple(name for name in ranges if name not in (known or {}))
    return ExpectedLevel(value, low, high, unit, budget, assumed, figures)


def _missing(*values: float | None) -> list[str]:
    words = (
        "eirp_dbw",
        "frequency_mhz",
        tell("the satellite's distance"),
        tell("its elevation"),
        "noise_bandwidth_hz",
    )
    return [word for word, value in zip(words, values, strict=True) if value is None]


def _ranges(known: Mapping[str, Known]) -> dict[str, Assumed]:
    """Every figure with its range; a stated one has the range that was stated, or none."""
    found = {name: part for name, part in ASSUMPTIONS.items() if not (SYSTEM in known and name in _NOISE)}
    for name, stated in known.items():
        if name in found or name == SYSTEM:
            low, high = stated if isinstance(stated, tuple) else (stated, stated)
            found[name] = Assumed((low + high) / 2.0, low, high)
    return found


def _inputs(
    eirp_dbw: float,
    range_km: float,
    frequency_hz: float,
    bandwidth_hz: float | None,
    ranges: Mapping[str, Assumed],
    known: Mapping[str, Known],
) -> Inputs:
    figures = {name: part.middle for name, part in {**ASSUMPTIONS, **ranges}.items()}
    sources = {name: GIVEN if name in known else ASSUMED for name in ranges}
    sources["range_km"] = PLACE
    return Inputs(eirp_dbw, range_km, frequency_hz, **figures, bandwidth_hz=bandwidth_hz, sources=sources)


def _sure_figures(
    eirp_dbw: float, range_km: float, frequency_hz: float, bandwidth_hz: float | None
) -> tuple[Figure, ...]:
    rows = [
        (tell("radiated power, EIRP"), eirp_dbw, "dBW", SATELLITE),
        (tell("distance"), range_km, "km", PLACE),
        (tell("frequency"), frequency_hz / 1e6, "MHz", SATELLITE),
        (tell("noise bandwidth"), bandwidth_hz, "Hz", GIVEN),
    ]
    return tuple(
        Figure(label, part, part, part, unit, source) for label, part, unit, source in rows if part is not None
    )


def _figures(ranges: Mapping[str, Assumed], known: Mapping[str, Known]) -> tuple[Figure, ...]:
    return tuple(
        Figure(
            translated(_LABELS[name][0]),
            part.middle,
            part.low,
            part.high,
            _LABELS[name][1],
            GIVEN if name in known else ASSUMED,
        )
        for name, part in ranges.items()
    )


def _spread_db(ranges: Mapping[str, Assumed]) -> tuple[float, float]:
    """5 and 95 % of what the ranges move the level by, around the level of their middles."""
    random = np.random.default_rng(_SEED)
    drawn = {name: random.uniform(part.low, part.high, _DRAWS) for name, part in ranges.items()}
    moved = _level_part_db(drawn) - _level_part_db({name: np.asarray(part.middle) for name, part in ranges.items()})
    return float(min(np.quantile(moved, 0.05), 0.0)), float(max(np.quantile(moved, 0.95), 0.0))


def _level_part_db(figures: Mapping[str, Floats]) -> Floats:
    """The part of C/N0 that the ranges make: gain, losses and noise."""
    if SYSTEM in figures:
        system = figures[SYSTEM]
    else:
        system = system_temperature_k(figures["antenna_k"], figures["feed_loss_db"], figures["noise_figure_db"])
    gain = figures["antenna_gain_dbic"] - figures["feed_loss_db"] - figures["other_losses_db"]
    return np.asarray(gain - 10.0 * np.log10(system))
