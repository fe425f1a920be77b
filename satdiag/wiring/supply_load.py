"""What the supply says beyond its dips: the drop under load, a battery at rest, and whether something charges it."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from satdiag.exposure import exposure_clock
from satdiag.findings import LoadDrop, RestingVoltage, instant_text
from satdiag.findings.supply import Charge
from satdiag.job import Job
from satdiag.wiring.supply_dips import CHARGING_V
from satdiag.wiring.supply_log import SupplyLog

Floats = NDArray[np.float64]

NEAR_S = 600.0
"""A reading farther from the change of load speaks of another state of the battery (judgement, no source)."""

FEWEST_SPREAD = 3
"""From fewer changes of load their spread is not told: then only the last digits of the meter count."""

_DIGIT_90 = 1.0 - math.sqrt(0.1)
"""The difference of two rounded readings of digit d has a triangular error on -d .. d; 90 % lie within this part."""

RESTED_S = 4 * 3600.0
RESTING: tuple[tuple[float, Charge], ...] = ((12.6, "full"), (12.4, "three-quarters"), (12.2, "half"))
DISCHARGED_V = 12.0
"""Lead-acid at 25 degrees after at least 4 h at rest: 12.6 V to 12.8 V full, 12.4 V 75 %, 12.2 V 50 %, 12.0 V and
less discharged (a published table of resting voltages)."""

SURFACE_V = 12.9
"""More than a rested battery shows: a charger, or charge that has not settled (judgement, no source)."""

_ASLEEP = ("off", "standby")


def load_drop(log: SupplyLog, current_a: float | None) -> LoadDrop | None:
    """The drop from off or standby to awake, V, with its 90 % interval; None without a reading on both sides.

    R = V / I (Ohm) where the current that is switched is named. Readings under charge are left out: there the
    charging sets the voltage, not the load.
    """
    pairs = _pairs(log)
    if not pairs:
        return None
    drops = np.array([before - after for before, after, _ in pairs])
    half = max(digit for _, _, digit in pairs) * _DIGIT_90 / math.sqrt(len(pairs))
    middle = float(drops.mean())
    if len(pairs) >= FEWEST_SPREAD:
        spread = float(drops.std(ddof=1)) / math.sqrt(len(pairs))
        half = max(half, float(stdtrit(len(pairs) - 1, 0.95)) * spread)
    ends = (middle - half, middle + half)
    if not current_a:
        return LoadDrop(middle, ends, len(pairs))
    mohm = 1000.0 / current_a
    return LoadDrop(middle, ends, len(pairs), current_a, middle * mohm, (ends[0] * mohm, ends[1] * mohm))


def _pairs(log: SupplyLog) -> list[tuple[float, float, float]]:
    """Of each change between asleep and awake: the voltage asleep, the voltage awake, the worse last digit."""
    power = log.job.select("power")
    times, values = power["t_s"].to_numpy(dtype=float), [str(value) for value in power["value"]]
    found = []
    for number in range(1, len(values)):
        wakes = values[number - 1] in _ASLEEP and values[number] == "awake"
        sleeps = values[number - 1] == "awake" and values[number] in _ASLEEP
        if not wakes and not sleeps:
            continue
        earlier = _last_between(log, max(times[number - 1], times[number] - NEAR_S), times[number])
        until_s = times[number + 1] if number + 1 < len(values) else math.inf
        later = _first_between(log, times[number], min(until_s, times[number] + NEAR_S))
        if earlier is None or later is None or max(log.volts[earlier], log.volts[later]) >= CHARGING_V:
            continue
        asleep, awake = (earlier, later) if wakes else (later, earlier)
        digit_v = max(float(log.digit_v[earlier]), float(log.digit_v[later]))
        found.append((float(log.volts[asleep]), float(log.volts[awake]), digit_v))
    return found


def _last_between(log: SupplyLog, start_s: float, end_s: float) -> int | None:
    place = int(np.searchsorted(log.t_s, end_s, side="left")) - 1
    return place if place >= 0 and log.t_s[place] >= start_s else None


def _first_between(log: SupplyLog, start_s: float, end_s: float) -> int | None:
    place = int(np.searchsorted(log.t_s, start_s, side="right"))
    return place if place < len(log.t_s) and log.t_s[place] <= end_s else None


def resting_voltage(log: SupplyLog) -> RestingVoltage | None:
    """The last reading after at least 4 h off or in standby without a sign of waking; None where there is none.

    A reading under charge is none of a battery at rest, whatever the log says.
    """
    job: Job = log.job
    found = None
    for start_s, woken_s in exposure_clock(job).asleep.tolist():
        rested = (log.t_s >= start_s + RESTED_S) & ((log.t_s < woken_s) | (woken_s >= job.end_s))
        rested &= (log.t_s <= woken_s) & (log.volts < CHARGING_V)
        for place in np.flatnonzero(rested)[-1:]:
            found = (int(place), float(log.t_s[place]) - start_s)
    if found is None:
        return None
    place, rested_s = found
    volts = float(log.volts[place])
    return RestingVoltage(
        instant_text(job.instant(float(log.t_s[place]))) or "", volts, rested_s, charge_at_rest(volts)
    )


def charge_at_rest(volts: float) -> Charge | None:
    """What a rested lead-acid battery of 12 V holds at least; None above what one shows at rest."""
    if volts >= SURFACE_V:
        return None
    at_least: Sequence[Charge] = [charge for limit_v, charge in RESTING if volts >= limit_v]
    if at_least:
        return at_least[0]
    return "discharged" if volts <= DISCHARGED_V else "low"


def is_charging(log: SupplyLog) -> bool | None:
    """True if the last reading of the last visit stands above what a battery gives; None without a reading there."""
    if not len(log.volts) or log.visit[-1] != len(log.job.visits) - 1:
        return None
    return bool(log.volts[-1] >= CHARGING_V)
