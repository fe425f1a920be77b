"""Evidence from how reception behaves: missing level, drop-outs together or apart, at places, by heading."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from scipy.special import ndtr

from satdiag.chances import normal_density
from satdiag.diagnosis.evidence.known import Known
from satdiag.diagnosis.seen import Seen
from satdiag.findings import PathSignal
from satdiag.vocabulary import bars_of

# What is missing of the level under an open sky, by state: middle and spread, in dB and as a share of what is
# expected (percent and bars are an order only). Judgement, no source.
MISSING_DB: Mapping[str, tuple[float, float]] = {"none": (0.0, 1.2), "some": (5.0, 2.5), "much": (12.0, 4.0)}
MISSING_PART: Mapping[str, tuple[float, float]] = {"none": (0.0, 0.1), "some": (0.35, 0.15), "much": (0.8, 0.2)}
OUTLIERS = 0.05
OUTLIER_SPAN = 12.0
"""One reading in twenty is something else: it may lie anywhere within so many spreads."""

DOUBT = 0.25
DECIBELS = ("dB", "dB-Hz")
APART_BELOW, TOGETHER_ABOVE = 0.5, 0.6
HALF_90 = 1.6448536269514722
# Judgement, no source: so much of the received time must be weakened, so long and so much of it watched.
FADES_FROM, FADING_WATCHED_S, FADING_RECEIVED = 0.05, 90.0, 0.05


def _deficit(known: Known) -> Seen | None:
    """How much level is missing, over all satellite paths that have something to be compared with."""
    parts = [part for part in (_missing(one) for one in known.signal.paths.values()) if part is not None]
    if not parts:
        return None
    logs = {state: float(np.mean([np.log(part[state]) for part in parts])) for state in MISSING_DB}
    top = max(logs.values())
    soft = {state: float(np.exp(value - top)) for state, value in logs.items()}
    return Seen("deficit", max(soft, key=lambda state: soft[state]), soft=soft)


def _missing(path: PathSignal) -> dict[str, float] | None:
    """The likelihood of a path's deficit under each state: normal, with some outliers, so that none decides alone."""
    if path.unit is None or (path.deficit is None and path.deficit_at_least is None):
        return None
    if path.deficit is None or path.deficit_90 is None:
        return None if path.deficit_at_least is None else _at_least(path.deficit_at_least, path)
    value, half = path.deficit, (path.deficit_90[1] - path.deficit_90[0]) / (2 * HALF_90)
    table = MISSING_DB
    if path.unit == "percent" or bars_of(path.unit) is not None:
        if not path.expected_level or path.expected_level <= 0:
            return None
        value, half, table = value / path.expected_level, half / path.expected_level, MISSING_PART
    found = {}
    for state, (middle, spread) in table.items():
        wide = float(np.hypot(spread, half))
        found[state] = (1 - OUTLIERS) * normal_density(value, middle, wide) + OUTLIERS / (OUTLIER_SPAN * wide)
    return found


def _at_least(bound: float, path: PathSignal) -> dict[str, float] | None:
    """The likelihood of a deficit known only from below, since nothing rose above the floor under an open sky.

    Much has no upper end: a whole level may be missing. It counts in part only: the same silence is reception's too.
    """
    if path.unit not in DECIBELS:
        return None
    found = {state: float(ndtr((middle - bound) / spread)) for state, (middle, spread) in MISSING_DB.items()}
    return {state: (1 - DOUBT) * chance + DOUBT / 2 for state, chance in {**found, "much": 1.0}.items()}


def _together(known: Known) -> Seen | None:
    """Whether drop-outs take all paths at once, where enough of them were seen to tell."""
    share, interval = known.signal.together_share, known.signal.together_share_90
    if share is None or interval is None:
        return None
    if interval[0] > TOGETHER_ABOVE:
        return Seen("together", "together")
    return Seen("together", "apart") if interval[1] < APART_BELOW else None


def _repeats(known: Known) -> Seen | None:
    found = known.signal
    return None if found.repeats_positions is None else Seen("repeats-at", found.repeats_at or "neither")


def _turns(known: Known) -> Seen | None:
    found = known.signal
    return None if found.turns_headings is None else Seen("turns-with", found.turns_with or "neither")


def _fading(known: Known) -> Seen | None:
    """Whether a satellite that is received is weaker at times than at others, held against its own clear level."""
    parts = [part for part in (_weakened(path) for path in _satellites(known)) if part is not None]
    if not parts:
        return None
    return Seen("fading", "fades" if max(parts) >= FADES_FROM else "steady")


def _satellites(known: Known) -> list[PathSignal]:
    return [path for name, path in known.signal.paths.items() if name.startswith("satellite")]


def _weakened(path: PathSignal) -> float | None:
    """The share of the received time in which the path was weakened; None where too little was received to tell."""
    share = path.share
    if share is None or share.shadowed is None or (path.observed_s or 0.0) < FADING_WATCHED_S:
        return None
    received = 1.0 - share.blocked
    return None if received < FADING_RECEIVED else share.shadowed / received


LOOKS = (_deficit, _together, _repeats, _turns, _fading)
