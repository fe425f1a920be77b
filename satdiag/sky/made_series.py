"""A made level series of a drive in a kind of place, for planning and for trying out programs: `made_series`.

It is the two-state model of ITU-R P.681-11 drawn along a road (see propagation.synthesise), at a constant speed. Made
of a model, it proves nothing about a place. Several satellites are drawn each for itself, though in a street their
shadows are correlated.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from satdiag.errors import SatdiagError
from satdiag.sky.propagation.p681_table import Environment as Table
from satdiag.sky.propagation.standing import Floats
from satdiag.sky.propagation.synthesise import synthesise
from satdiag.sky.propagation.two_state import column_at

TABLE_OF: Mapping[str, Table] = {"street": "urban", "trees": "rural-wooded"}
SAMPLES_A_SECOND = 20
_LIGHT_M_S = 299_792_458.0


@dataclass(frozen=True, eq=False)
class Series:
    """A level each second, arrays (n,): its middle `time_s`, `level_db` against the open sky, and whether the better
    part of the second was in the model's good state. `note` says which elevation of the table stands for this one."""

    time_s: Floats
    level_db: Floats
    good: NDArray[np.bool_]
    note: str


def made_series(
    environment: str, elevation_deg: float, frequency_hz: float, minutes: float, speed_m_s: float, seed: int
) -> Series:
    """The mean power of each second of a drive, in dB; the same seed gives the same series.

    Raises SatdiagError for an environment without such a model, OutsideDomain where the model does not hold.
    """
    if environment not in TABLE_OF:
        known = " and ".join(TABLE_OF)
        raise SatdiagError(
            f"no level series can be made for '{environment}': there is a model of it for {known} only."
        )
    chosen = column_at(TABLE_OF[environment], elevation_deg, frequency_hz / 1e9)
    seconds = max(1, round(60.0 * minutes))
    step_m = speed_m_s / SAMPLES_A_SECOND
    # Half a step more, so that rounding leaves none out.
    length_m = (seconds * SAMPLES_A_SECOND + 0.5) * step_m
    drive = synthesise(chosen.column, length_m, step_m, _LIGHT_M_S / frequency_hz, seed)
    shape = (seconds, SAMPLES_A_SECOND)
    power = 10.0 ** (drive.level_db[: seconds * SAMPLES_A_SECOND].reshape(shape) / 10.0)
    good = drive.good[: seconds * SAMPLES_A_SECOND].reshape(shape).mean(axis=1) >= 0.5
    middle: Floats = np.arange(seconds, dtype=np.float64) + 0.5
    return Series(middle, 10.0 * np.log10(power.mean(axis=1)), good, chosen.note)
