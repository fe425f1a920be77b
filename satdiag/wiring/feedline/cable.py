"""Cable loss at a frequency, by class of cable: what it is likely to be, and how far makers differ.

`loss(dB) = length * (a*sqrt(f_MHz) + b*f_MHz)`: a is the conductor (skin effect), b the dielectric. The coefficients
are published fits to makers' tables, mostly below 1 GHz: at 2.3 GHz they are extrapolations. A class is not a
specification: of three published RG-174 cables one loses 1.2 and another 1.9 dB/m.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple, TypeVar

from satdiag.errors import SatdiagError
from satdiag.lead_keys import CABLES
from satdiag.wiring.feedline.reflection import gamma_of_return_loss, vswr

LIGHT_M_PER_S = 299_792_458.0
SDARS_MHZ = 2332.5
"""The middle of 2320 .. 2345 MHz."""
ONE_FIT_SPREAD = 0.10
"""Of a class with one published fit the loss is taken to be within this share of it (judgement, no source)."""
VELOCITY_SPREAD = 0.02
"""The velocity factor of a reel is taken to be within this share of the stated one (judgement, no source)."""
TEMPERATURE_PER_K = 0.002
"""Growth of the conductor's part of the loss (from memory)."""
REFERENCE_C = 20.0
"""Tables of loss are taken to speak of this temperature (from memory)."""
CONNECTOR_DB = (0.1, 0.2)
"""Loss of one good pair of connectors (common practice, no source)."""
ANY_VELOCITY = (0.66, 0.85)
"""From solid polyethylene to foamed dielectric: the velocity factor of a cable of which nothing is known."""

Mhz = TypeVar("Mhz", float, Any)


class Fit(NamedTuple):
    """One published fit: conductor part in dB/m per sqrt(MHz), dielectric part in dB/m per MHz."""

    a: float
    b: float

    def db_per_m(self, mhz: Mhz, temperature_c: float = REFERENCE_C) -> Mhz:
        """Loss at a frequency (a number or an array)."""
        warmer = 1.0 + TEMPERATURE_PER_K * (temperature_c - REFERENCE_C)
        loss: Mhz = self.a * warmer * mhz**0.5 + self.b * mhz
        return loss


@dataclass(frozen=True)
class CableClass:
    """A class of cable as the trade calls it; `velocity` is (low, usual, high)."""

    name: str
    velocity: tuple[float, float, float]
    fits: tuple[Fit, ...]


def _around(velocity: float) -> tuple[float, float, float]:
    return velocity * (1 - VELOCITY_SPREAD), velocity, velocity * (1 + VELOCITY_SPREAD)


# Fit constants published per 100 ft in an open line calculator's table, divided by 30.48; velocity factors from
# there. Of the 195 type two makers' entries give 0.76 and 0.80 at nearly the same loss.
CLASSES = {
    one.name: one
    for one in (
        CableClass(
            "rg-174", _around(0.66), (Fit(0.025520, 2.8527e-4), Fit(0.022656, 4.4488e-5), Fit(0.028478, 9.7966e-5))
        ),
        CableClass("rg-58", _around(0.66), (Fit(0.013249, 2.8743e-4), Fit(0.010539, 1.5404e-4))),
        CableClass("rg-316", _around(0.695), (Fit(0.026260, 1.1601e-4),)),
        CableClass("195-type", (0.76, 0.78, 0.80), (Fit(0.011763, 1.3911e-5),)),
        CableClass("240-type", _around(0.84), (Fit(0.007857, 1.4665e-5),)),
    )
}
assert tuple(CLASSES) == CABLES


class Range(NamedTuple):
    """A quantity with its lowest, middle and highest value among the cables of a class."""

    low: float
    middle: float
    high: float

    def times(self, factor: float) -> Range:
        """All three multiplied."""
        return Range(self.low * factor, self.middle * factor, self.high * factor)


def cable_class(name: str) -> CableClass:
    """The class of that name. Raises SatdiagError."""
    if name not in CLASSES:
        raise SatdiagError(f"'{name}' is not a known class of cable. Known: {', '.join(CLASSES)}.")
    return CLASSES[name]


def fits_of(name: str | None) -> tuple[tuple[Fit, float], ...]:
    """The fits of a class, each with a factor on its loss, from low loss to high; None: of all classes.

    A class with several fits spans them; a class with one is spread by `ONE_FIT_SPREAD`.
    """
    classes = CLASSES.values() if name is None else (cable_class(name),)
    found = []
    for one in classes:
        if len(one.fits) > 1:
            found += [(fit, 1.0) for fit in one.fits]
        else:
            found += [(one.fits[0], factor) for factor in (1 - ONE_FIT_SPREAD, 1.0, 1 + ONE_FIT_SPREAD)]
    return tuple(sorted(found, key=lambda part: part[1] * part[0].db_per_m(SDARS_MHZ)))


def spread(values: list[float]) -> Range:
    """Lowest, middle (median) and highest."""
    ordered = sorted(values)
    half = len(ordered) // 2
    middle = ordered[half] if len(ordered) % 2 else 0.5 * (ordered[half - 1] + ordered[half])
    return Range(ordered[0], middle, ordered[-1])


def loss_db_per_m(name: str | None, mhz: float, temperature_c: float = REFERENCE_C) -> Range:
    """Loss per metre in a class of cable; None: in any."""
    return spread([factor * fit.db_per_m(mhz, temperature_c) for fit, factor in fits_of(name)])


@dataclass(frozen=True)
class CableLoss:
    """What a length of a class of cable does to a signal. `open_end`: how an open far end looks from the near one."""

    cable: str | None
    length_m: float
    mhz: float
    temperature_c: float
    db_per_m: Range
    connectors: int
    loss_db: Range
    velocity_factor: Range
    delay_ns: Range
    open_end_return_loss_db: Range
    open_end_vswr: Range


def cable_loss(
    name: str | None,
    length_m: float,
    mhz: float = SDARS_MHZ,
    temperature_c: float = REFERENCE_C,
    connectors: int = 0,
) -> CableLoss:
    """Loss, delay and the look of an open end of a cable with so many pairs of connectors in the way."""
    per_m = loss_db_per_m(name, mhz, temperature_c)
    pairs = (CONNECTOR_DB[0], sum(CONNECTOR_DB) / 2, CONNECTOR_DB[1])
    loss = Range(*(one * length_m + pair * connectors for one, pair in zip(per_m, pairs, strict=True)))
    velocity = (
        Range(*CLASSES[name].velocity) if name else Range(ANY_VELOCITY[0], sum(ANY_VELOCITY) / 2, ANY_VELOCITY[1])
    )
    delays = sorted(length_m / (LIGHT_M_PER_S * part) * 1e9 for part in velocity)
    twice = loss.times(2.0)
    return CableLoss(
        cable=name,
        length_m=length_m,
        mhz=mhz,
        temperature_c=temperature_c,
        db_per_m=per_m,
        connectors=connectors,
        loss_db=loss,
        velocity_factor=velocity,
        delay_ns=Range(*delays),
        open_end_return_loss_db=twice,
        open_end_vswr=Range(*sorted(vswr(gamma_of_return_loss(part)) for part in twice)),
    )


def one_port_loss_db(return_loss_db: float) -> float:
    """One-way loss of a lead whose far end is open or shorted: half of its return loss (everything came back)."""
    return return_loss_db / 2.0
