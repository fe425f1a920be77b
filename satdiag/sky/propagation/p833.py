"""Loss in foliage: ITU-R P.833 and two older fits, which differ by more than any of them is exact.

For a drive along trees use `p681`; these explain a single tree or a wood over a vehicle that stands still. Leaves wet
or dry, season and species shift them further.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from satdiag.language import in_figures, mark, tell
from satdiag.sky.propagation.standing import Floats, Source, within

MODEL = mark("woodland (ITU-R P.833)")
TERRESTRIAL = Source(
    mark("ITU-R P.833-9, path that ends in a wood, with its table of measured parameters"), "recommendation"
)
SLANT = Source(mark("ITU-R P.833, slanted path through a wood (coefficients of one pine wood)"), "from memory")
OLDER = Source(mark("the modified exponential fit (Weissberger) and an early CCIR fit"), "from memory")

# ITU-R P.833-9, as one open implementation prints it (949 MHz in a second one too).
TABLE_MHZ = np.array([105.9, 466.475, 949.0, 1852.2, 2117.5])
TABLE_DB_PER_M = np.array([0.04, 0.12, 0.17, 0.30, 0.34])
TABLE_MOST_DB = np.array([9.4, 18.0, 26.5, 29.0, 34.1])
BEYOND_TABLE = 1.15
"""Judgement, no source: up to 15 % beyond the last row it is used with a sentence, and not beyond that."""


class Wood(NamedTuple):
    """Parameters of a wood: loss of the first metres, the most it takes, and what must be said about them ('')."""

    db_per_m: float
    most_db: float
    note: str


def wood_at(frequency_mhz: float) -> Wood:
    """The wood's parameters, linear between the table's frequencies (our choice); OutsideDomain outside them.

    A little beyond the last row (2117.5 MHz) that row is used, and `note` says so.
    """
    frequency = float(
        within(frequency_mhz, TABLE_MHZ[0], TABLE_MHZ[-1] * BEYOND_TABLE, mark("a frequency of"), MODEL, "MHz")
    )
    note = ""
    if frequency > TABLE_MHZ[-1]:
        note = tell(
            "the table ends at {end} MHz and its last row was used at {frequency} MHz; its trend "
            "would give some 5 to 10 % more per metre there",
            end=in_figures(f"{TABLE_MHZ[-1]:g}"),
            frequency=in_figures(f"{frequency:g}"),
        )
    slope, most = (float(np.interp(frequency, TABLE_MHZ, column)) for column in (TABLE_DB_PER_M, TABLE_MOST_DB))
    return Wood(slope, most, note)


def woodland_db(depth_m: ArrayLike, db_per_m: ArrayLike, most_db: ArrayLike) -> Floats:
    """Loss over a depth of wood: most (1 - exp(-depth slope / most)), dB."""
    depth = within(depth_m, 0.0, np.inf, mark("a depth of"), MODEL, "m")
    return np.asarray(-np.asarray(most_db) * np.expm1(-depth * np.asarray(db_per_m) / np.asarray(most_db)))


def slant_woodland_db(depth_m: ArrayLike, elevation_deg: ArrayLike, frequency_mhz: ArrayLike) -> Floats:
    """Loss of a slanted path through a wood: 0.25 f^0.39 d^0.25 el^0.05, f in MHz (all from memory), dB.

    From 1 m of wood, 10 to 90 deg and 1 to 15 GHz, a range that is from memory too. Raises OutsideDomain.
    """
    depth = within(depth_m, 1.0, 200.0, mark("a depth of"), MODEL, "m")
    elevation = within(elevation_deg, 10.0, 90.0, mark("an elevation of"), MODEL, "deg")
    frequency = within(frequency_mhz, 1000.0, 15_000.0, mark("a frequency of"), MODEL, "MHz")
    return np.asarray(0.25 * frequency**0.39 * depth**0.25 * elevation**0.05)


def modified_exponential_db(depth_m: ArrayLike, frequency_ghz: ArrayLike) -> Floats:
    """Weissberger's fit for 0 to 14 m of dry trees in leaf: 0.45 f^0.284 d (from memory), 0.23 to 95 GHz, dB."""
    depth = within(depth_m, 0.0, 14.0, mark("a depth of"), mark("the modified exponential fit"), "m")
    frequency = within(frequency_ghz, 0.23, 95.0, mark("a frequency of"), mark("the modified exponential fit"), "GHz")
    return np.asarray(0.45 * frequency**0.284 * depth)


def early_fit_db(depth_m: ArrayLike, frequency_mhz: ArrayLike) -> Floats:
    """The early CCIR fit 0.2 f^0.3 d^0.6 (from memory), 200 MHz to 95 GHz, under 400 m, dB."""
    depth = within(depth_m, 0.0, 400.0, mark("a depth of"), mark("the early fit"), "m")
    frequency = within(frequency_mhz, 200.0, 95_000.0, mark("a frequency of"), mark("the early fit"), "MHz")
    return np.asarray(0.2 * frequency**0.3 * depth**0.6)


class Canopy(NamedTuple):
    """What the models say of one depth of leaves: smallest and largest, and what must be said with them."""

    low_db: float
    high_db: float
    note: str


def canopy_range_db(depth_m: float, elevation_deg: float, frequency_mhz: float) -> Canopy:
    """The span of the models for one to 14 m of leaves over a standing vehicle. Raises OutsideDomain."""
    wood = wood_at(frequency_mhz)
    found = [
        float(woodland_db(depth_m, wood.db_per_m, wood.most_db)),
        float(slant_woodland_db(depth_m, elevation_deg, frequency_mhz)),
        float(modified_exponential_db(depth_m, frequency_mhz / 1000.0)),
        float(early_fit_db(depth_m, frequency_mhz)),
    ]
    return Canopy(min(found), max(found), wood.note)
