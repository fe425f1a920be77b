"""Sentences of the signal findings: what could not be done, and where two readings of the log differ."""

from __future__ import annotations

from collections.abc import Mapping

from satdiag.findings import PathSignal, Share
from satdiag.job import Job
from satdiag.language import tell
from satdiag.signal.chain import FORGETS_WITHIN_S
from satdiag.signal.expected import DECIBEL_UNITS, Expected

DIFFER_BY = 0.05
"""Judgement, no source: shares of time that differ by less are the same to whoever reads them."""


def could_not(
    job: Job, paths: Mapping[str, PathSignal], expected: Mapping[str, Expected | str | None]
) -> tuple[str, ...]:
    """What is missing, path by path, and why there is no level to compare with."""
    said = []
    for name, path in paths.items():
        if path.share is None and path.unit in ("dB", "dB-Hz"):
            said.append(_levels_alone(name, path.unit))
        elif path.share is None:
            said.append(tell("{path}: no reading that could be used: no shares of time", path=name))
        elif path.share.clear is None:
            said.append(
                tell("{path}: locks without levels tell received from blocked, not clear from shadowed", path=name)
            )
        if path.share is None or path.observed_s is None:
            continue
        if path.observed_s > FORGETS_WITHIN_S[1] and _one_state(path.share):
            said.append(_one_state_only(name, path.observed_s))
    in_decibel = {name for name, path in paths.items() if path.unit in DECIBEL_UNITS}
    said += [
        tell("{path}: {why}", path=name, why=why)
        for name, why in expected.items()
        if isinstance(why, str) and name in in_decibel
    ]
    units = {path.unit for path in paths.values() if path.unit}
    if units and not units & set(DECIBEL_UNITS):
        said.append(tell("percent and bars are an order only: levels were not compared with a link budget"))
    return tuple(said)


def _levels_alone(name: str, unit: str) -> str:
    return tell(
        "{path}: levels in {unit} without lock rows and without level_floor in job.toml do not tell "
        "received from noise: no shares of time, and clear_level is only the upper level that was read",
        path=name,
        unit=unit,
    )


def _one_state_only(name: str, observed_s: float) -> str:
    return tell(
        "{path}: its state never changed in {minutes:.0f} minutes: the intervals of its "
        "shares hold only if such a state lasts ten minutes at most; how long it lasts was not seen",
        path=name,
        minutes=observed_s / 60.0,
    )


def _one_state(share: Share) -> bool:
    """True for a state that never changed: clear or shadowed, if levels tell them apart."""
    return 1.0 in (share.clear, share.shadowed, share.blocked) or (share.clear is None and share.blocked == 0.0)


def disagreements(paths: Mapping[str, PathSignal]) -> tuple[str, ...]:
    """Where the chain of states and the single readings tell clearly different shares."""
    said = []
    for name, path in paths.items():
        if path.share is None or path.plain_share is None or path.share.shadowed is None:
            continue
        plain, chain = path.plain_share.shadowed, path.share.shadowed
        if plain is None or abs(plain - chain) < DIFFER_BY:
            continue
        said.append(_differ(name, 100.0 * plain, 100.0 * chain, _why_differ(path, plain, chain)))
    return tuple(said)


def _why_differ(path: PathSignal, plain: float, chain: float) -> str:
    if path.unit not in ("dB", "dB-Hz"):
        return tell("the difference is made by readings next to the cut")
    if chain < plain:
        return tell("the difference is noise of the readings")
    return tell("the difference is levels that are low for long and lie near the threshold")


def _differ(name: str, plain_percent: float, chain_percent: float, why: str) -> str:
    return tell(
        "{path}: taken one by one, {plain:.0f}% of the time reads as weakened; taken with their neighbours, "
        "{chain:.0f}% does: {why}",
        path=name,
        plain=plain_percent,
        chain=chain_percent,
        why=why,
    )
