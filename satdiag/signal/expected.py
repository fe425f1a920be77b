"""The level that a clear path should have here: by what this vehicle had before, else by the link budget.

A path that is clear and weak is no matter of the sky: antenna, lead or receiver take the same from it always. So a
deficit is told only of the place where the vehicle stands now and with the parts that are fitted now, and only if
nothing there may stand in the way. What never rose above the floor under an open sky lacks a least amount.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple

import numpy as np

from satdiag.findings import ExpectedInput, Interval, SkyFindings
from satdiag.job import Job
from satdiag.language import tell, translated
from satdiag.signal.moves import moves_s, parts_by_era, swaps_s
from satdiag.signal.open_sky import OpenSky
from satdiag.signal.states import PathStates
from satdiag.signal.stays import LEAST_READINGS, LEAST_S, Stay, differ_by, spot_of, stays_of
from satdiag.sky.constellation import Constellation, Satellite
from satdiag.sky.expected_level import SATELLITE, SYSTEM, ExpectedLevel, Figure, Known, expected_cn
from satdiag.sky.look_angles import LookAngles, geostationary_position_km, look_angles

SIGMAS_90 = 1.645
_WORTH_STAYS = 3.0  # how many stays the judgement of their spread counts for, beside those that were seen
DECIBEL_UNITS = ("dB", "dB-Hz")

From = Literal["open-sky", "remembered", "earlier-visit", "link-budget"]


class Compared(NamedTuple):
    """What an expected level may rest on beside the log itself."""

    constellation: Constellation | None = None
    sky: SkyFindings | None = None
    kept: OpenSky | None = None


@dataclass(frozen=True)
class Expected:
    """The level now, the level expected, what is missing, and 90 % intervals, in the path's unit.

    `stays`: how many earlier stays it rests on; `inputs`: of a link budget. `censored`: nothing rose above the floor,
    `level` is the floor, and no more than the low end of `deficit_90` is known.
    """

    level: float
    expected: float
    expected_90: Interval
    deficit: float
    deficit_90: Interval
    from_: From
    stays: int = 0
    inputs: tuple[ExpectedInput, ...] = ()
    censored: bool = False


def expected_level(job: Job, path: str, states: PathStates, unit: str, beside: Compared) -> Expected | str | None:
    """The level to expect of a path in one of its units, or a sentence why there is none; None for a path that was
    never received and of which nothing says that it should have been.

    Percent and bars have a history only.
    """
    stays = stays_of(job, path, states, unit, beside.sky)
    now = next((stay for stay in stays if stay.present), None)
    if now is None:
        floor = _at_floor(job, path, states, unit, beside)
        if floor is not None:
            found = _compared(job, path, floor, stays, unit, beside)
            return replace(found, censored=True) if isinstance(found, Expected) else found
        if stays:
            return tell(
                "too few levels were read since the vehicle was moved or a part exchanged, or in the last visit"
            )
        return tell("too few levels were read in one place") if states.last_chain(unit) else None
    if now.hidden:
        return tell("{why}: a level that is missing there may be the place's, not the antenna's", why=now.hidden)
    return _compared(job, path, now, [stay for stay in stays if stay is not now], unit, beside)


def _at_floor(job: Job, path: str, states: PathStates, unit: str, beside: Compared) -> Stay | None:
    """The stay that is now going on, under an open sky, if no level in it rose above the floor: as of the floor."""
    floor = job.sheet.receiver.floor_of(unit)
    if floor is None or not states.reads or states.reads[-1].unit != unit:
        return None
    read, moves, swaps = states.reads[-1], moves_s(job), swaps_s(job)
    since_s = max([float(part[-1]) for part in (moves, swaps) if len(part)], default=-np.inf)
    pieces = read.pieces.only((read.pieces.start_s >= since_s) & ~np.isnan(read.pieces.level))
    if len(pieces.start_s) < LEAST_READINGS or float(pieces.length_s.sum()) < LEAST_S:
        return None
    if pieces.received.any() or (pieces.level > floor).any():
        return None
    begin_s = float(pieces.start_s[0])
    spot = spot_of(job, path, begin_s, beside.sky)
    if spot.open_by is None:
        return None
    told, parts = spot.word is not None, parts_by_era(job)[read.era]
    return Stay(read.visit, begin_s, floor, 0.0, spot.open_by, told, era=read.era, parts=parts, moved=len(moves))


def _compared(job: Job, path: str, now: Stay, others: Sequence[Stay], unit: str, beside: Compared) -> Expected | str:
    """What a stay lacks beside stays with the same parts, kept levels, or the link budget."""
    before = [stay for stay in others if stay.parts == now.parts]
    opened = [(stay.level, stay.error) for stay in before if stay.open_by is not None]
    kept = [(one.level, one.error) for one in beside.kept.of(path, unit, job.sheet.id)] if beside.kept else []
    if opened or kept:
        return by_history(now, [*opened, *kept], "open-sky" if opened else "remembered", unit)
    earlier = [
        (stay.level, stay.error) for stay in before if not stay.told and not stay.hidden and stay.visit < now.visit
    ]
    if earlier:
        return by_history(now, earlier, "earlier-visit", unit)
    if unit not in DECIBEL_UNITS:
        if unit == "percent":
            return tell("no earlier level under an open sky to compare with, and percent has no link budget")
        return tell("no earlier level under an open sky to compare with, and {unit} has no link budget", unit=unit)
    if now.open_by is None:
        return tell(
            "no earlier level under an open sky to compare with, and nothing says that the sky is open here, as a "
            "link budget takes for granted"
        )
    return _by_budget(job, path, now, unit, beside.constellation)


def by_history(now: Stay, history: Sequence[tuple[float, float]], from_: From, unit: str) -> Expected:
    """The mean of what was before (levels and their standard errors).

    Three things make the interval: the error of each level (noise and fading while it was read), the error of the
    mean, and the spread from one stay to the next, which counts for today's stay once more. The spread is a judgement
    worth three stays, moved by the stays that were seen.
    """
    level, error = np.array(history).T
    spread = differ_by(unit) ** 2
    if len(level) > 1:
        seen = max(float(np.sum((level - level.mean()) ** 2)) - float(np.sum(error**2)) * (1 - 1 / len(level)), 0.0)
        spread = (_WORTH_STAYS * spread + seen) / (_WORTH_STAYS + len(level) - 1)
    weight = 1.0 / (error**2 + spread)
    expected = float(weight @ level / weight.sum())
    of_mean = float(1.0 / weight.sum())
    short, half = expected - now.level, SIGMAS_90 * float(np.sqrt(of_mean + now.error**2 + spread))
    mean_90 = _about(expected, SIGMAS_90 * float(np.sqrt(of_mean + spread)))
    return Expected(now.level, expected, mean_90, short, _about(short, half), from_, len(level))


def _about(value: float, half: float) -> Interval:
    return value - half, value + half


# --- by the link budget ------------------------------------------------------------------------------------------


def _by_budget(job: Job, path: str, now: Stay, unit: str, constellation: Constellation | None) -> Expected | str:
    satellite = satellite_of(path, constellation)
    if satellite is None and not path.startswith("satellite:"):
        return tell(
            "no earlier level under an open sky to compare with, and a link budget needs a satellite that is named"
        )
    if satellite is None:
        return tell(
            "no earlier level under an open sky to compare with, and no satellite of that name for a link budget"
        )
    seen = look_of(job, satellite)
    range_km, elevation_deg = (None, None) if seen is None else (float(seen.range_km), float(seen.elevation_deg))
    frequency = None if satellite.frequency_mhz is None else satellite.frequency_mhz * 1e6
    bandwidth = job.sheet.receiver.noise_bandwidth_hz
    found = expected_cn(satellite.eirp_dbw, frequency, range_km, elevation_deg, bandwidth, unit, stated_in(job))
    if isinstance(found, str):
        return tell("no earlier level under an open sky to compare with; {why}", why=found)
    error = SIGMAS_90 * float(np.hypot(now.error, differ_by(unit)))
    short = found.value - now.level
    low = short - float(np.hypot(found.value - found.low, error))
    high = short + float(np.hypot(found.high - found.value, error))
    return Expected(
        level=now.level,
        expected=found.value,
        expected_90=(found.low, found.high),
        deficit=short,
        deficit_90=(low, high),
        from_="link-budget",
        inputs=_inputs(found, satellite),
    )


def stated_in(job: Job) -> dict[str, Known]:
    """What the job sheet states of antenna and noise, by the names of the budget's figures."""
    receiver, feed = job.sheet.receiver, job.sheet.feed
    stated: dict[str, Known] = {}
    if receiver.antenna_gain_dbic is not None:
        stated["antenna_gain_dbic"] = receiver.antenna_gain_dbic
    for name in ("antenna_k", "noise_figure_db"):
        if name in feed:
            stated[name] = feed[name]
    if receiver.noise_temperature_k is not None:
        stated[SYSTEM] = receiver.noise_temperature_k
    return stated


def _inputs(found: ExpectedLevel, satellite: Satellite) -> tuple[ExpectedInput, ...]:
    return tuple(
        ExpectedInput(
            one.label,
            one.value,
            (one.low, one.high) if one.low < one.high else None,
            one.unit,
            *_told(one, satellite),
        )
        for one in found.figures
    )


def _told(figure: Figure, satellite: Satellite) -> tuple[str, str]:
    """Where a figure comes from, and its standing; a satellite's own status says more than that it was stated."""
    if figure.source == SATELLITE:
        status = translated(satellite.status) if satellite.status else tell("stated, no source named")
        return figure.source.said()[0], status
    return figure.source.said()


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
