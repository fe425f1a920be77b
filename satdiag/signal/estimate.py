"""What was received on each path of a job: `estimate_signal`.

Each visit is taken by itself; visits are pooled by the time watched in them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import betaincinv

from satdiag.findings import Interval, PathSignal, SignalFindings, SkyFindings, Stretch, instant_texts
from satdiag.job import Job
from satdiag.language import tell
from satdiag.signal.chain import interval_of
from satdiag.signal.expected import DECIBEL_UNITS, Compared, Expected, expected_level
from satdiag.signal.levels import clear_level
from satdiag.signal.markov import States
from satdiag.signal.moves import swaps_s
from satdiag.signal.open_sky import KeptStay, OpenSky
from satdiag.signal.patterns import patterns_of
from satdiag.signal.pieces import Pieces, Readings, read_pieces, readings_of
from satdiag.signal.pooled import Pooled, dropout_interval, plain_share, pooled, shares_of
from satdiag.signal.said import could_not, disagreements
from satdiag.signal.segments import CLEAR, SHADOWED
from satdiag.signal.states import NAMES, PathStates, Read, path_states
from satdiag.signal.stays import kept_stays
from satdiag.signal.swaps import swap_gains
from satdiag.signal.together import ANY, LEAST_EVENTS, any_history, compared_paths, joint_dropouts, overruled
from satdiag.signal.with_sky import beside_sky
from satdiag.sky.estimate import constellation_of


def estimate_signal(job: Job, sky: SkyFindings | None = None, kept: OpenSky | None = None) -> SignalFindings:
    """Shares of time, levels and drop-outs per path, and of the paths together.

    `sky`: what the sky allows, to compare with; `kept`: what this receiver had under an open sky in other jobs.
    Raises BadInput or SatdiagError if the constellation that the job names cannot be read.
    """
    readings = readings_of(job)
    names = readings.paths
    if not names:
        return SignalFindings(could_not=(tell("no lock and no level rows: what was received is unknown"),))
    constellation = constellation_of(job)
    visits = _read_visits(readings)
    states = _states(visits, names)
    beside = Compared(constellation, sky, kept)
    expected = {
        name: _expected(job, name, states[name], _unit_of(readings, name, states[name].reads), beside)
        for name in names
    }
    paths = {
        name: _path_signal(readings, name, states[name], expected[name], stream) for stream, name in enumerate(names)
    }
    timeline = [
        stretch
        for name in names
        for read, state in zip(states[name].reads, states[name].likely, strict=True)
        for stretch in _stretches(job, name, read.pieces, state)
    ]
    together = _paths_together(visits, len(names))
    patterns, not_told = patterns_of(job, states, constellation)
    return SignalFindings(
        paths=paths,
        any_path_share=together.any_share,
        together_share=together.joint_share,
        any_path_share_90=together.any_share_90,
        together_share_90=together.joint_share_90,
        together_events=together.events,
        together_taken=together.taken,
        timeline=tuple(timeline),
        could_not=(*could_not(job, paths, expected), *not_told),
        disagreements=disagreements(paths),
        sky_agreement=beside_sky(job, states, sky),
        swap_gains=swap_gains(job, states, sky),
        **patterns,
    )


def open_sky_stays(job: Job, sky: SkyFindings | None) -> tuple[KeptStay, ...]:
    """The clear levels of this job's satellites under an open sky, worth keeping for later jobs of the receiver."""
    readings = readings_of(job)
    states = _states(_read_visits(readings), readings.paths)
    return tuple(stay for name, found in states.items() for stay in kept_stays(job, name, found, sky))


# --- reading -----------------------------------------------------------------------------------------------------


def _states(visits: Sequence[Mapping[str, Read]], names: Sequence[str]) -> dict[str, PathStates]:
    return {name: path_states([visit[name] for visit in visits if name in visit]) for name in names}


def _read_visits(readings: Readings) -> list[dict[str, Read]]:
    """For each visit, the paths in it that tell received from not, with what `any` rules out taken out; a visit in
    which antenna or lead was exchanged counts as one before and one after it."""
    visits, swaps = [], swaps_s(readings.job)
    for number, visit in enumerate(readings.job.visits):
        found = {name: read_pieces(readings, name, visit) for name in readings.paths}
        any_path = found.get(ANY)
        by_era: dict[int, dict[str, Read]] = {}
        for name, pieces in found.items():
            if pieces is not None and len(pieces.start_s):
                kept = pieces if name == ANY else overruled(pieces, any_path)
                eras = np.searchsorted(swaps, kept.start_s, side="right")
                for era in np.unique(eras):
                    read = Read(kept.only(eras == era), readings.unit_in(name, visit), number, int(era))
                    by_era.setdefault(int(era), {})[name] = read
        visits += [by_era[era] for era in sorted(by_era)]
    return visits


# --- one path ----------------------------------------------------------------------------------------------------


def _expected(job: Job, name: str, states: PathStates, unit: str | None, beside: Compared) -> Expected | str | None:
    """The level to expect of a path that has levels; None for a path that has none."""
    return None if unit is None else expected_level(job, name, states, unit, beside)


def _path_signal(
    readings: Readings, name: str, states: PathStates, expected: Expected | str | None, stream: int
) -> PathSignal:
    received = pooled(states.received(), 2 * stream)
    unit = _unit_of(readings, name, states.reads)
    level = _clear_level(readings, name, states, unit)
    if received is None:
        return PathSignal(unit, level, None, None, None, None, None, None, None, None)
    drawn = [states.graded(path) for path in states.drawn]
    graded = pooled(states.graded(states.likely), 2 * stream + 1, drawn)
    share, share_90 = shares_of(received, graded, _apart(states, stream))
    plain = plain_share(received, states.graded(states.plain))
    dropouts_per_h = received.losses / received.watched_s * 3600.0
    mean_dropout_s = received.no_s / received.gains if received.gains else None
    known = expected if isinstance(expected, Expected) else None
    full = known if known and not known.censored else None
    at_least = known.deficit_90[0] if known and known.censored else 0.0
    return PathSignal(
        unit=unit,
        clear_level=level,
        expected_level=known.expected if known else None,
        deficit=full.deficit if full else None,
        deficit_90=full.deficit_90 if full else None,
        deficit_db=full.deficit if full and unit in DECIBEL_UNITS else None,
        share=share,
        share_90=share_90,
        dropouts_per_h=dropouts_per_h,
        mean_dropout_s=mean_dropout_s,
        dropouts_per_h_90=interval_of(received.losses_per_h, dropouts_per_h),
        mean_dropout_s_90=dropout_interval(received, mean_dropout_s),
        observed_s=received.watched_s,
        plain_share=plain,
        expected_from=known.from_ if known else None,
        level_here=full.level if full else None,
        expected_90=known.expected_90 if known else None,
        expected_stays=known.stays if known and known.stays else None,
        expected_inputs=known.inputs if known else (),
        deficit_at_least=at_least if at_least > 0.0 else None,
    )


def _apart(states: PathStates, stream: int) -> tuple[Pooled | None, Pooled | None]:
    """Clear, and shadowed, each against everything else; None where not all of the received time is graded."""
    if not states.all_graded or not states.drawn:
        return None, None
    clear, shadowed = (
        pooled(states.are(states.likely, wanted), 5000 + stream, [states.are(way, wanted) for way in states.drawn])
        for wanted in (CLEAR, SHADOWED)
    )
    return clear, shadowed


def _unit_of(readings: Readings, name: str, reads: Sequence[Read]) -> str | None:
    """The unit that most of the path's received time was read in; without any such time the last one logged."""
    watched: dict[str, float] = {}
    for read in reads:
        if read.unit is not None:
            length_s = float(read.pieces.length_s[read.with_level].sum())
            watched[read.unit] = watched.get(read.unit, 0.0) + length_s
    if watched:
        return max(watched, key=lambda unit: watched[unit])
    logged = _levels(readings, name)["unit"]
    return str(logged.iloc[-1]) if len(logged) else None


def _levels(readings: Readings, name: str) -> pd.DataFrame:
    level = readings.level
    return level[((level["subject"] == name) & level["number"].notna()).to_numpy()]


def _clear_level(readings: Readings, name: str, states: PathStates, unit: str | None) -> float | None:
    """The path's clear level in its unit. Where nothing tells received from not, the upper level, noise or not."""
    chain = states.last_chain(unit)
    if chain is not None:
        return chain.clear_level
    if unit is None or states.reads:
        return None
    rows = _levels(readings, name)
    level = rows["number"].to_numpy(dtype=float)[(rows["unit"].astype(str) == unit).to_numpy()]
    return clear_level(level, np.ones(len(level)), unit)


# --- paths side by side ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Together:
    """At least one path received; drop-outs that took all at once."""

    any_share: float | None = None
    any_share_90: Interval | None = None
    joint_share: float | None = None
    joint_share_90: Interval | None = None
    events: int | None = None
    taken: int | None = None


def _paths_together(visits: list[dict[str, Read]], stream: int) -> _Together:
    by_visit = [{name: read.pieces for name, read in visit.items()} for visit in visits if visit]
    some = pooled([any_history(paths) for paths in by_visit], 2 * stream)
    names = sorted({name for paths in by_visit for name in paths})
    compared = compared_paths(names)
    counts = [joint_dropouts({name: paths[name] for name in compared if name in paths}) for paths in by_visit]
    joint, telling = sum(count[0] for count in counts), sum(count[1] for count in counts)
    joint_90, enough = None, telling >= LEAST_EVENTS
    if enough:
        # Jeffreys interval of a proportion (Brown, Cai and DasGupta 2001, Statistical Science 16, 101).
        low, high = (float(betaincinv(joint + 0.5, telling - joint + 0.5, level)) for level in (0.05, 0.95))
        joint_90 = (min(low, joint / telling), max(high, joint / telling))
    return _Together(
        any_share=some.share if some else None,
        any_share_90=interval_of(some.draws, some.share) if some else None,
        joint_share=joint / telling if enough else None,
        joint_share_90=joint_90,
        events=telling if compared else None,
        taken=joint if compared else None,
    )


# --- timeline -----------------------------------------------------------------------------------------------------


def _stretches(job: Job, name: str, pieces: Pieces, states: States) -> list[Stretch]:
    """Touching pieces of one state as one stretch, up to the job's last row."""
    ends_s = np.minimum(pieces.end_s, job.end_s)
    new = np.ones(len(states), dtype=bool)
    new[1:] = (states[1:] != states[:-1]) | (pieces.start_s[1:] > pieces.end_s[:-1])
    first = np.flatnonzero(new)
    last = np.append(first[1:], len(states)) - 1
    some = pieces.start_s[first] < ends_s[last]
    began, ended = (instant_texts(job.start, t_s) for t_s in (pieces.start_s[first][some], ends_s[last][some]))
    named = [NAMES[state] for state in states[first][some].tolist()]
    return [Stretch(name, *one) for one in zip(began, ended, named, strict=True)]
