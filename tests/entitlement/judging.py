"""Jobs of the made worlds, estimated and held against their truth; each is made once in a run of the tests."""

from functools import cache
from typing import NamedTuple

import numpy as np

import satdiag
from satdiag.entitlement.outlook import OPEN_PRIOR, PACKAGE_PRIOR
from satdiag.entitlement.posterior import posterior_of
from satdiag.entitlement.predict import p_account_dead, predict
from tests.entitlement.worlds import UNFORESEEABLE, WORLDS, Made, as_rows, lineup_of, two_speed_carousel
from tests.helpers import make_job

EVERYDAY, LONG = 25, 100
"""Jobs of each world in the everyday and in the long size."""

SEED = 2031
FEWEST_JOBS = 12  # in which something was there to be judged, before its share is held against a bound
QUANTITIES = ("number still to come", "time to the last", "remaining to the last", "wait of a channel")
ROWS = "two-speed carousel, as a log"
ALL = (*WORLDS, ROWS)


class Job(NamedTuple):
    """Whether each interval held (empty: there was nothing to judge) and each channel's chance and outcome.

    `below`: whether the truth lay below the upper end, for the times to and remaining to the last.
    """

    held: dict[str, list[bool]]
    chance: np.ndarray
    came: np.ndarray
    below: dict[str, bool]


def holds(interval, truth):
    """Truth in [p05, p95], within a microsecond."""
    return bool(interval.p05 - 1e-6 <= truth <= interval.p95 + 1e-6)


def judged(wait_s, waiting, now_s, found):
    """Compare predictions with the truth. `waiting`: channels that no check saw play, in the order of `found`."""
    comes = np.isfinite(wait_s)
    later = wait_s[waiting & comes]
    low, high = found["share"]
    held, below = {name: [] for name in QUANTITIES}, {}
    held[QUANTITIES[0]].append(bool(low - 1e-9 <= comes.mean() <= high + 1e-9))
    if found["last"] is not None and comes.any():
        held[QUANTITIES[1]].append(holds(found["last"], wait_s[comes].max()))
        below[QUANTITIES[1]] = bool(wait_s[comes].max() <= found["last"].p95)
    if found["rest"] is not None and len(later):
        held[QUANTITIES[2]].append(holds(found["rest"], max(later.max() - now_s, 0.0)))
        below[QUANTITIES[2]] = bool(max(later.max() - now_s, 0.0) <= found["rest"].p95)
    waits = zip(found["waits"], wait_s[waiting], strict=True)
    held[QUANTITIES[3]] += [holds(x, max(t - now_s, 0.0)) for x, t in waits if x is not None and np.isfinite(t)]
    return Job(held, np.array(found["chance"]), comes[waiting], below)


def by_fill(made: Made) -> Job:
    """Straight from what was seen, every check taken at its word."""
    fill, priors = made.fill(), PACKAGE_PRIOR if made.packaged else OPEN_PRIOR
    posterior = posterior_of(fill, priors, made.wake_ups_s, starts=made.starts())
    dead = p_account_dead(posterior.log_evidence, priors.account_dead) if fill.is_silent else 0.0
    said = predict(fill, posterior, dead, outside=priors.category_outside)
    found = {
        "share": said.fraction_90,
        "last": said.time_to_share_s[1.0],
        "rest": said.remaining_to_last_s,
        "waits": said.remaining_s,
        "chance": said.p_will_come,
    }
    return judged(made.wait_s, ~made.seen, made.now_s, found)


def by_analysis(made: Made, rng) -> Job:
    """The whole analysis of a log with sleep and slips; a channel that no longer counts as awaited is left out."""
    sheet = '[service]\npackage = "music"\n'
    found = satdiag.analyse(make_job(as_rows(made, rng), sheet, lineup_of(made))).entitlement
    by_channel = {channel.channel - 1: channel for channel in found.channels}
    waiting = np.array([by_channel[k].p_will_come not in (None, 1.0) for k in range(len(made.wait_s))])
    awaited = [by_channel[k] for k in np.flatnonzero(waiting)]
    predictions = {
        "share": found.entitled_fraction_90,
        "last": found.time_to_share_s["1.0"],
        "rest": found.remaining_to_last_s,
        "waits": [channel.remaining_s for channel in awaited],
        "chance": [channel.p_will_come for channel in awaited],
    }
    return judged(made.wait_s, waiting, made.now_s, predictions)


@cache
def jobs_of(name: str, number: int) -> tuple[Job, ...]:
    """The first jobs of a world, each from its own seed."""
    place = [*ALL, *UNFORESEEABLE].index(name)
    found = []
    for k in range(number):
        rng = np.random.default_rng([SEED, place, k])
        if name == ROWS:
            found.append(by_analysis(two_speed_carousel(rng), rng))
        else:
            found.append(by_fill((WORLDS | UNFORESEEABLE)[name](rng)))
    return tuple(found)


def coverage(jobs) -> dict[str, tuple[float, int, int]]:
    """For each quantity the share of intervals that held, and from how many of them in how many jobs."""
    table = {}
    for name in QUANTITIES:
        held = [x for job in jobs for x in job.held[name]]
        share = float(np.mean(held)) if held else np.nan
        table[name] = (share, len(held), sum(bool(job.held[name]) for job in jobs))
    return table
