"""Sentences of the signal findings: what could not be done, and where two readings of the log differ."""

from __future__ import annotations

from collections.abc import Mapping

from satdiag.findings import PathSignal, Share
from satdiag.job import Job
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
            said.append(
                f"{name}: levels in {path.unit} without lock rows and without level_floor in job.toml do not tell "
                "received from noise: no shares of time, and clear_level is only the upper level that was read"
            )
        elif path.share is None:
            said.append(f"{name}: no reading that could be used: no shares of time")
        elif path.share.clear is None:
            said.append(f"{name}: locks without levels tell received from blocked, not clear from shadowed")
        if path.share is None or path.observed_s is None:
            continue
        if path.observed_s > FORGETS_WITHIN_S[1] and _one_state(path.share):
            said.append(
                f"{name}: its state never changed in {path.observed_s / 60.0:.0f} minutes: the intervals of its "
                "shares hold only if such a state lasts ten minutes at most; how long it lasts was not seen"
            )
    in_decibel = {name for name, path in paths.items() if path.unit in DECIBEL_UNITS}
    said += [f"{name}: {why}" for name, why in expected.items() if isinstance(why, str) and name in in_decibel]
    units = {path.unit for path in paths.values() if path.unit}
    if units and not units & set(DECIBEL_UNITS):
        said.append("percent and bars are an order only: levels were not compared with a link budget")
    return tuple(said)


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
        lower = path.unit in ("dB", "dB-Hz")
        why = "noise of the readings" if chain < plain else "levels that are low for long and lie near the threshold"
        said.append(
            f"{name}: taken one by one, {plain:.0%} of the time reads as weakened; taken with their neighbours, "
            f"{chain:.0%} does: the difference is {why if lower else 'made by readings next to the cut'}"
        )
    return tuple(said)
