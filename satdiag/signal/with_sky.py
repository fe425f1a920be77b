"""What was received beside what the sky allows: tells a hidden satellite from an antenna that does not hear it.

The sky's chances come from skyline readings, navigation satellites or the word for the place, never from the levels
judged here: the sky room cannot import this one.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

import numpy as np

from satdiag.findings import Interval, SatelliteSky, SkyAgreement, SkyFindings
from satdiag.job import Job
from satdiag.language import chance_text, mark, tell, translated
from satdiag.paths import the_satellite
from satdiag.signal.chain import Floats, History, chain_draws, interval_of
from satdiag.signal.states import PathStates

FAR = 0.2
"""Judgement, no source: shares that differ by less than this need no explanation."""
SAID_BELOW = 0.1
"""A chance from which down it is said that the sky alone does not explain what was received."""
_LEAST_S = 60.0
_AROUND_S = 1800.0  # how long the direction of a satellite that moves holds, either way
_RANDOM_SEED = 20260105

State = Literal["agrees", "undecided", "more-blocked", "less-blocked"]
_SOURCES = {
    "gnss": mark("by the skyline that navigation satellites show the way is clear with a chance of {chance}"),
    "horizon": mark("by the skyline that was measured the way is clear with a chance of {chance}"),
    "obstacles": mark("by the obstacles that were noted the way is clear with a chance of {chance}"),
    "place": mark("by the word for the place the way is clear with a chance of {chance}"),
}
_ANY_SOURCE = mark("by what is known of the sky the way is clear with a chance of {chance}")


def beside_sky(job: Job, states: Mapping[str, PathStates], sky: SkyFindings | None) -> tuple[SkyAgreement, ...]:
    """For each site and satellite with a chance to be clear and a path that was read there for a minute."""
    found = []
    for site in sky.sites if sky else ():
        for number, satellite in enumerate(site.satellites):
            path = states.get(f"satellite:{satellite.name}")
            if path is None or satellite.p_clear is None or satellite.p_clear_90 is None:
                continue
            history = _at(job, site.name, satellite, path)
            if history is not None:
                found.append(_compared(site.name, satellite, history, number))
    return tuple(found)


def _at(job: Job, site: str, satellite: SatelliteSky, path: PathStates) -> History | None:
    """Received or not while the vehicle stood at a site (and a moving satellite near where it was worked out)."""
    moves = job.select("site")
    names = np.array([job.sheet.sites[0].name, *moves["value"]], dtype=object)
    parts = [read.pieces for read in path.reads]
    start_s = np.concatenate([part.start_s for part in parts]) if parts else np.empty(0)
    if not len(start_s):
        return None
    keep = names[np.searchsorted(moves["t_s"].to_numpy(dtype=float), start_s, side="right")] == site
    if satellite.as_of is not None and job.start is not None:
        at_s = (np.datetime64(satellite.as_of.removesuffix("Z")) - job.start) / np.timedelta64(1, "s")
        keep &= np.abs(start_s - at_s) <= _AROUND_S
    end_s = np.concatenate([part.end_s for part in parts])[keep]
    history = History(start_s[keep], end_s, np.concatenate([part.received for part in parts])[keep])
    return history if history.watched_s >= _LEAST_S else None


def _compared(site: str, satellite: SatelliteSky, history: History, stream: int) -> SkyAgreement:
    """Two things may make a share, and the likelier one counts: a way that is clear or not for the whole stay, as the
    chance says, or a way that is clear for that share of time."""
    assert satellite.p_clear is not None
    assert satellite.p_clear_90 is not None
    blocked = 1.0 - history.yes_s / history.watched_s
    share = 1.0 - chain_draws(history, 9000 + stream).share
    clear = _drawn(satellite.p_clear, satellite.p_clear_90, len(share))
    allowed = 1.0 - clear
    if blocked >= float(allowed.mean()):
        chance = max(float(allowed.mean()), float(np.mean(share <= allowed + FAR)))
        word: State = "more-blocked"
    else:
        chance = max(float(clear.mean()), float(np.mean(share >= allowed - FAR)))
        word = "less-blocked"
    far = abs(blocked - (1.0 - satellite.p_clear)) > FAR
    state: State = "agrees" if not far else word if chance <= SAID_BELOW else "undecided"
    return SkyAgreement(
        path=f"satellite:{satellite.name}",
        site=site,
        from_=satellite.from_,
        p_clear=satellite.p_clear,
        p_clear_90=satellite.p_clear_90,
        blocked_share=blocked,
        blocked_share_90=interval_of(share, blocked),
        state=state,
        chance_by_sky=chance,
        text=_text(site, satellite, blocked, state, chance),
    )


def _drawn(value: float, interval: Interval, count: int) -> Floats:
    """Draws of a chance known by its middle and 90 % interval, normal on the logistic scale."""
    middle, low, high = (float(np.log(part / (1.0 - part))) for part in np.clip([value, *interval], 1e-3, 1.0 - 1e-3))
    spread = max((high - low) / (2.0 * 1.645), 0.0)
    normal = np.random.default_rng(_RANDOM_SEED).standard_normal(count)
    return np.asarray(1.0 / (1.0 + np.exp(-(middle + spread * normal))))


def _text(site: str, satellite: SatelliteSky, blocked: float, state: State, chance: float) -> str:
    low = satellite.elevation_deg
    if low is not None and low <= 0.0:
        return _below_horizon(site, satellite.name, -low, blocked, state)
    seen = tell(
        "{path} at {site}: not received {percent:.0f} % of the time",
        path=the_satellite(satellite.name),
        site=site,
        percent=100.0 * blocked,
    )
    source = translated(_SOURCES.get(satellite.from_, _ANY_SOURCE))
    allows = source.format(chance=chance_text(satellite.p_clear or 0.0))
    if state == "agrees":
        return tell("{seen}; {allows}: the two agree", seen=seen, allows=allows)
    if state == "undecided":
        return tell(
            "{seen}; {allows}: the sky alone does that {share} of the time, too often to rule it out",
            seen=seen,
            allows=allows,
            share=chance_text(chance),
        )
    alone = tell("about {percent:.0f} % of the time", percent=100.0 * chance)
    if chance < 0.01:
        alone = tell("less than one time in a hundred")
    if state == "more-blocked":
        return tell(
            "{seen}, though {allows}: the sky alone does that {how_often}; look at antenna, lead and receiver",
            seen=seen,
            allows=allows,
            how_often=alone,
        )
    return tell(
        "{seen}, though {allows}: the sky alone allows that {how_often}; is the skyline right, and the site?",
        seen=seen,
        allows=allows,
        how_often=alone,
    )


def _below_horizon(site: str, name: str, below_deg: float, blocked: float, state: State) -> str:
    path = the_satellite(name)
    if state == "agrees":
        return tell(
            "{path} at {site}: it stands {below:.1f} degrees below the horizon there, "
            "and was not received {percent:.0f} % of the time: the two agree",
            path=path,
            site=site,
            below=below_deg,
            percent=100.0 * blocked,
        )
    return tell(
        "{path} at {site}: it stands {below:.1f} degrees below the horizon there, "
        "but was received {percent:.0f} % of the time: is it the right satellite, site and time?",
        path=path,
        site=site,
        below=below_deg,
        percent=100.0 * (1.0 - blocked),
    )
