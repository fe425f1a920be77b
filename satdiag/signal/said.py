"""Sentences of the signal findings: what could not be done, and where two readings of the log differ."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from satdiag.findings import PathSignal, Share
from satdiag.job import Job
from satdiag.language import listed, tell, tell_many
from satdiag.paths import the_path
from satdiag.signal.chain import FORGETS_WITHIN_S
from satdiag.signal.expected import DECIBEL_UNITS, Expected

DIFFER_BY = 0.05
"""Judgement, no source: shares of time that differ by less are the same to whoever reads them."""


def could_not(
    job: Job, paths: Mapping[str, PathSignal], expected: Mapping[str, Expected | str | None]
) -> tuple[str, ...]:
    """What is missing, and why there is no level to compare with; paths of which the same is true stand together."""
    said = [*_together((name, _without_share(path)) for name, path in paths.items()), *_one_state_only(paths)]
    in_decibel = {name for name, path in paths.items() if path.unit in DECIBEL_UNITS}
    said += _together(
        (name, why if isinstance(why, str) else "") for name, why in expected.items() if name in in_decibel
    )
    units = {path.unit for path in paths.values() if path.unit}
    if units and not units & set(DECIBEL_UNITS):
        said.append(
            tell("levels in percent or bars can only be put in order: they were not compared with a link budget")
        )
    return tuple(said)


def _together(said: Iterable[tuple[str, str]]) -> list[str]:
    """Each text once, with the paths that it is true of; empty texts are left out."""
    of: dict[str, list[str]] = {}
    for name, text in said:
        if text:
            of.setdefault(text, []).append(the_path(name))
    return [tell("{paths}: {what}", paths=listed(names), what=text) for text, names in of.items()]


def _without_share(path: PathSignal) -> str:
    """Why there are no shares of time, or not all of them; empty if there are."""
    if path.share is None and path.unit in ("dB", "dB-Hz"):
        return tell(
            "levels in {unit} without lock rows and without level_floor in job.toml do not tell received from noise, "
            "so there are no shares of time, and clear_level is only the upper level that was read",
            unit=path.unit,
        )
    if path.share is None:
        return tell("there is no reading that could be used, so there are no shares of time")
    if path.share.clear is None:
        return tell("locks without levels tell received from blocked, not clear from shadowed")
    return ""


def _one_state_only(paths: Mapping[str, PathSignal]) -> list[str]:
    """Paths whose state never changed, those that were watched for as many minutes in one sentence."""
    watched: dict[int, list[str]] = {}
    for name, path in paths.items():
        if path.share is None or path.observed_s is None:
            continue
        if path.observed_s > FORGETS_WITHIN_S[1] and _one_state(path.share):
            watched.setdefault(round(path.observed_s / 60.0), []).append(the_path(name))
    return [
        tell_many(
            "{paths}: the state never changed in {minutes} minutes, so how long such a state lasts was not seen; "
            "the ranges of its shares of time hold only if that is ten minutes at most",
            "{paths}: the state never changed in {minutes} minutes, so how long such a state lasts was not seen; "
            "the ranges of their shares of time hold only if that is ten minutes at most",
            len(names),
            paths=listed(names),
            minutes=minutes,
        )
        for minutes, names in watched.items()
    ]


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
        "{path}: taken one by one, {plain:.0f} % of the time reads as weakened; taken with their neighbours, "
        "{chain:.0f} % does: {why}",
        path=the_path(name),
        plain=plain_percent,
        chain=chain_percent,
        why=why,
    )
