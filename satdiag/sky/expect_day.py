"""What to expect in a kind of place on one day: `day_expectation`, at instants at which all satellites are taken."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from satdiag.errors import SatdiagError
from satdiag.findings import Instant, plain_values
from satdiag.sky.day_plan import DayPlan
from satdiag.sky.expect import KINDS, Expectation, environment
from satdiag.sky.moments import Direction, Moment, Word
from satdiag.sky.propagation.atmosphere import LOWEST_ELEVATION_DEG, weather_text
from satdiag.sky.propagation.standing import OutsideDomain
from satdiag.sky.propagation.street import Street


@dataclass(frozen=True)
class MomentExpectation:
    """What to expect at one instant of the satellites that stand high enough; `too_low`: those that do not count."""

    word: Word
    at: Instant
    satellites: tuple[Direction, ...]
    too_low: tuple[Direction, ...]
    kinds: tuple[Expectation, ...]


@dataclass(frozen=True)
class DayExpectation:
    """What to expect in an environment; `street_from`: who says what the street is like."""

    environment: str
    coverage_min_elevation_deg: float
    street: Street | None
    street_from: Literal["asked", "obstacles"] | None
    moments: tuple[MomentExpectation, ...]
    weather: str | None

    def to_dict(self) -> dict[str, Any]:
        """The expectation as plain JSON values, numbers with six digits."""
        plain: dict[str, Any] = plain_values(self)
        return plain


def day_expectation(plan: DayPlan, environment_word: str, street: Street | None = None) -> DayExpectation:
    """What to expect of a plan's satellites; `environment_word` is one of `KINDS` ('garage': both).

    A `street` goes before the one that listed obstacles form. Raises SatdiagError without a frequency or for a word
    that is not there.
    """
    if environment_word not in KINDS:
        raise SatdiagError(f"'{environment_word}' is not an environment; there are: {', '.join(KINDS)}.")
    if plan.frequency_mhz is None:
        raise SatdiagError(
            "What to expect in a kind of place needs a constellation that states band_mhz or frequency_mhz."
        )
    known = (street or plan.street) if KINDS[environment_word] == ("street",) else None
    origin: Literal["asked", "obstacles"] = "asked" if street is not None else "obstacles"
    found = tuple(_at(moment, plan, environment_word, known) for moment in plan.moments)
    return DayExpectation(
        environment_word,
        plan.coverage_min_elevation_deg,
        known,
        origin if known is not None else None,
        found,
        _weather(found, plan.frequency_mhz),
    )


def counts(one: Direction, minimum_deg: float) -> bool:
    """True of a satellite above the horizon and above the least elevation of the service."""
    return one.elevation_deg > 0.0 and one.elevation_deg >= minimum_deg


def _at(moment: Moment, plan: DayPlan, word: str, street: Street | None) -> MomentExpectation:
    minimum = plan.coverage_min_elevation_deg
    high = tuple(one for one in moment.directions if counts(one, minimum))
    low = tuple(one for one in moment.directions if not counts(one, minimum))
    elevations = [one.elevation_deg for one in high]
    azimuths = [one.azimuth_deg for one in high]
    frequency_hz = (plan.frequency_mhz or 0.0) * 1e6
    kinds = tuple(environment(kind, elevations, azimuths, frequency_hz, street=street) for kind in KINDS[word])
    return MomentExpectation(moment.word, moment.at, high, low, kinds if high else ())


def _weather(found: tuple[MomentExpectation, ...], frequency_mhz: float) -> str | None:
    heights = [one.elevation_deg for moment in found for one in moment.satellites]
    known = [height for height in heights if height >= LOWEST_ELEVATION_DEG]
    try:
        return weather_text(min(known), frequency_mhz / 1e3) if known else None
    except OutsideDomain:
        return None
