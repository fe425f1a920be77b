"""The level that a clear path should have here: by what this vehicle had before, else by the link budget.

A path that is clear and weak is no matter of the sky: antenna, lead or receiver take the same from it always.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from satdiag.findings import Interval
from satdiag.job import Job
from satdiag.signal.levels import clear_level
from satdiag.signal.pieces import Flags, Floats
from satdiag.signal.readings import LevelNoise
from satdiag.signal.segments import Segmented
from satdiag.signal.states import Read
from satdiag.sky.constellation import Constellation, Satellite
from satdiag.sky.link_budget import expected_cn
from satdiag.sky.look_angles import LookAngles, geostationary_position_km, look_angles

# Judgement, no source: what the same clear path differs by from one stay to the next (temperature, wet antenna,
# another spot on the yard), 1 sigma.
STAYS_DIFFER_DB = 0.7
_LEAST_READINGS, _LEAST_S = 3, 20.0
_SIGMAS_90 = 1.645

From = Literal["open-sky", "earlier-visit", "link-budget"]


@dataclass(frozen=True)
class Expected:
    """The level now, the level expected, what is missing, and its 90 % interval, in dB (or dB-Hz for levels)."""

    level: float
    expected: float
    deficit: float
    deficit_90: Interval
    from_: From


@dataclass(frozen=True)
class _Stay:
    """The vehicle in one place: what it looks like, which visit, the clear level there and its standard error."""

    place: str | None
    visit: int
    level: float
    error_db: float


def expected_level(
    job: Job, path: str, reads: Sequence[Read], found: Segmented | None, constellation: Constellation | None
) -> Expected | str:
    """The level to expect of a path read in dB or dB-Hz, or a sentence why there is none."""
    unit = next((read.unit for read in reversed(reads) if read.unit in ("dB", "dB-Hz")), None)
    if unit is None or found is None:
        return "no level in dB was read while the path was received"
    stays = _stays(job, [read if read.unit == unit else None for read in reads], found, unit)
    if not stays:
        return "too few levels were read in one place"
    now = stays[-1]
    for from_, history in (
        ("open-sky", [stay for stay in stays[:-1] if stay.place == "open-sky"]),
        ("earlier-visit", [stay for stay in stays if stay.place is None and stay.visit < now.visit]),
    ):
        if history:
            return _by_history(now, history, "open-sky" if from_ == "open-sky" else "earlier-visit")
    return _by_budget(job, path, now, unit, constellation)


def _stays(job: Job, reads: Sequence[Read | None], found: Segmented, unit: str) -> list[_Stay]:
    """Stays between changes of place, site or visit, in time order; those with too few levels left out."""
    places = job.select("place", "vehicle")
    changes = np.union1d(places["t_s"].to_numpy(dtype=float), job.select("site")["t_s"].to_numpy(dtype=float))
    stays = []
    for number, read in enumerate(reads):
        if read is None:
            continue
        part = read.pieces.only(read.with_level)
        stretch = np.searchsorted(changes, part.start_s, side="right")
        for one in np.unique(stretch):
            here = stretch == one
            level = clear_level(part.level[here], part.length_s[here], unit)
            enough = here.sum() >= _LEAST_READINGS and float(part.length_s[here].sum()) >= _LEAST_S
            if level is None or not enough:
                continue
            said = places[places["t_s"] <= (changes[one - 1] if one else -1.0)]
            word = str(said["value"].iloc[-1]) if len(said) else None
            stays.append(_Stay(word, number, level, _error_db(part.start_s, here, found)))
    return stays


def _error_db(start_s: Floats, here: Flags, found: Segmented) -> float:
    """Standard error of a median level: n readings that repeat each other are worth n (1 - r) / (1 + r) of them
    (Bayley and Hammersley 1946, from memory), and a median takes pi / 2 as many as a mean (textbook)."""
    noise = found.chain.noise
    if not isinstance(noise, LevelNoise):
        return STAYS_DIFFER_DB
    count = int(here.sum())
    step_s = float(np.median(np.diff(start_s[here]))) if count > 1 else np.inf
    alike = float(np.exp(-step_s / noise.tau_s)) if noise.tau_s > 0.0 else 0.0
    worth = max(1.0, count * (1.0 - alike) / (1.0 + alike))
    return float(noise.sd[-1] * np.sqrt(np.pi / 2.0 / worth))


def _by_history(now: _Stay, history: Sequence[_Stay], from_: From) -> Expected:
    """The mean of what was before; the spread between stays counts once for it and once for now."""
    errors = np.array([stay.error_db**2 + STAYS_DIFFER_DB**2 for stay in history])
    weight = (1.0 / errors) / (1.0 / errors).sum()
    expected = float(weight @ np.array([stay.level for stay in history]))
    error = float(np.sqrt(1.0 / (1.0 / errors).sum() + now.error_db**2 + STAYS_DIFFER_DB**2))
    short = expected - now.level
    return Expected(now.level, expected, short, (short - _SIGMAS_90 * error, short + _SIGMAS_90 * error), from_)


# --- by the link budget ------------------------------------------------------------------------------------------


def _by_budget(job: Job, path: str, now: _Stay, unit: str, constellation: Constellation | None) -> Expected | str:
    satellite = satellite_of(path, constellation)
    if satellite is None:
        return "no earlier open-sky stay of this job to compare with, and no satellite of that name for a link budget"
    seen = look_of(job, satellite)
    range_km, elevation_deg = (None, None) if seen is None else (float(seen.range_km), float(seen.elevation_deg))
    frequency = None if satellite.frequency_mhz is None else satellite.frequency_mhz * 1e6
    bandwidth = job.sheet.receiver.noise_bandwidth_hz
    found = expected_cn(satellite.eirp_dbw, frequency, range_km, elevation_deg, bandwidth, unit)
    if isinstance(found, str):
        return f"no earlier open-sky stay of this job to compare with; {found}"
    error = _SIGMAS_90 * float(np.hypot(now.error_db, STAYS_DIFFER_DB))
    low = found.value - now.level - float(np.hypot(found.value - found.low, error))
    high = found.value - now.level + float(np.hypot(found.high - found.value, error))
    return Expected(now.level, found.value, found.value - now.level, (low, high), "link-budget")


def satellite_of(path: str, constellation: Constellation | None) -> Satellite | None:
    """The satellite that a path names, if the constellation has it."""
    name = path.partition(":")[2]
    return next((one for one in constellation.satellites if one.name == name), None) if constellation else None


def look_of(job: Job, satellite: Satellite) -> LookAngles | None:
    """Where a geostationary satellite stands as seen from the vehicle's last site; of others None."""
    moves = job.select("site")["value"]
    sites = {site.name: site for site in job.sheet.sites}
    site = sites.get(str(moves.iloc[-1])) if len(moves) else next(iter(sites.values()), None)
    if site is None or satellite.longitude_deg is None:
        return None
    position = geostationary_position_km(satellite.longitude_deg)
    return look_angles(position, site.latitude_deg, site.longitude_deg, site.height_m)
