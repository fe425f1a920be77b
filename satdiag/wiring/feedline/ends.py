"""Where the lead ends against where the antenna should be, and where a fault of the lead shows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from satdiag.findings.feedline import LeadEnd, ReflectionKind
from satdiag.wiring.feedline.cable import Range
from satdiag.wiring.feedline.distance import Distance
from satdiag.wiring.feedline.kinds import WHOLE
from satdiag.wiring.feedline.peaks import Peak

SURE = 0.9
"""An end is called before, at or beyond the antenna from this probability on."""
MARGIN_M, MARGIN_SHARE = 0.10, 0.02
"""A stated length is taken to be right within 10 cm and 2 % of it (judgement, no source)."""
LIKELY = 0.9
"""With the lossiest cable of its class the last reflection must come to this to be an end (judgement, no source)."""
POOR = 0.2
"""A joint that reflects this much (14 dB) is a fault of the lead (judgement, no source)."""


@dataclass(frozen=True)
class Place:
    """One peak with what was worked out of it; `share` is how much of a whole reflection would be seen from there."""

    peak: Peak
    distance: Distance
    share: Range
    kind: ReflectionKind

    @property
    def corrected(self) -> Range:
        """|Gamma| with the loss taken off, from the least lossy cable of the class to the most."""
        return corrected_by(self.peak, self.share)


def corrected_by(peak: Peak, share: Range) -> Range:
    """|Gamma| of a peak with the cable's loss taken off, at most 1."""
    low, middle, high = (min(1.0, peak.gamma / max(part, 1e-6)) for part in reversed(share))
    return Range(low, middle, high)


Why = Literal[
    "probable", "no-length", "between", "beyond-range", "coarse", "nothing", "partial", "through", "unplugged"
]


@dataclass(frozen=True)
class End:
    """The end of the lead: `at` is its place, `why` how it came to be judged so.

    through: most of the wave comes back `most` of the way, yet some passes and shows the end. unplugged: all comes
    back at the plane of calibration or at the lead's own plug.
    """

    state: LeadEnd
    why: Why
    at: Place | None = None
    p_before: float | None = None
    p_at: float | None = None
    p_beyond: float | None = None
    most: Place | None = None


def margin_m(length_m: float, width_m: float) -> float:
    """Within this of the expected length an end is at the antenna."""
    return max(width_m, MARGIN_M + MARGIN_SHARE * length_m)


def end_of(
    places: Sequence[Place], expected_m: float | None, width_m: float, range_m: float, plane_m: float = 0.0
) -> End:
    """The end among the real reflections; ghosts and skirts of the window do not count.

    `plane_m` is how far the lead's plug stands beyond the plane of calibration.
    """
    real = [one for one in places if one.peak.role == "reflection" and one.distance.usual_m > -width_m]
    whole = _whole_end(real)
    if expected_m is not None and expected_m + margin_m(expected_m, width_m) > range_m:
        return End("unknown", "beyond-range")
    coarse = expected_m is not None and width_m > expected_m / 3.0
    if not coarse and _unplugged(places, expected_m, width_m, plane_m):
        return End("unknown", "unplugged")
    if not real:
        return End("none", "nothing")
    if expected_m is None:
        return End("unknown", "no-length", whole)
    if coarse:
        return End("unknown", "coarse")
    if whole is None:
        return _at_antenna(real, expected_m, width_m) or End("none", "partial")
    judged = _judged(whole, expected_m, width_m)
    if judged.state != "before":
        return judged
    behind = [one for one in real if one.peak.delay_s > whole.peak.delay_s]
    through = _at_antenna(behind, expected_m, width_m)
    return judged if through is None else replace(through, why="through", most=whole)


def _at_antenna(real: Sequence[Place], expected_m: float, width_m: float) -> End | None:
    """The highest of the reflections that more likely than not stand at the antenna; None without one."""
    judged = [(one, _judged(one, expected_m, width_m)) for one in real]
    there = [(one.peak.gamma, end) for one, end in judged if (end.p_at or 0.0) >= 0.5]
    return max(there, key=lambda pair: pair[0])[1] if there else None


def _unplugged(places: Sequence[Place], expected_m: float | None, width_m: float, plane_m: float) -> bool:
    """True if all comes back right at the plane of calibration or at the lead's plug, none from the antenna."""
    real = [one for one in places if one.peak.role == "reflection"]
    at_plug = [min(abs(one.distance.usual_m), abs(one.distance.usual_m + plane_m)) <= 0.5 * width_m for one in real]
    first = [one for one, near in zip(real, at_plug, strict=True) if near and one.corrected.low >= LIKELY]
    others = [one for one, near in zip(real, at_plug, strict=True) if not near]
    return bool(first) and (expected_m is None or _at_antenna(others, expected_m, width_m) is None)


def _whole_end(real: Sequence[Place]) -> Place | None:
    """The farthest of the reflections that send most of the wave back; else the last of all, if it well may.

    What lies behind such a one is hardly seen.
    """
    sure = [one for one in real if one.corrected.low >= WHOLE]
    if sure:
        most = max(one.corrected.middle for one in sure)
        return [one for one in sure if one.corrected.middle >= 0.5 * most][-1]
    last = real[-1] if real else None
    likely = last is not None and last.corrected.middle >= WHOLE and last.corrected.high >= LIKELY
    return last if likely else None


def _judged(one: Place, expected_m: float, width_m: float) -> End:
    margin = margin_m(expected_m, width_m)
    before = one.distance.below(expected_m - margin)
    beyond = 1.0 - one.distance.below(expected_m + margin)
    at = max(0.0, 1.0 - before - beyond)
    chances: tuple[tuple[float, LeadEnd], ...] = ((before, "before"), (at, "at"), (beyond, "beyond"))
    best, state = max(chances)
    if best < SURE:
        return End("unknown", "between", one, before, at, beyond)
    return End(state, "probable", one, before, at, beyond)


def fault_of(places: Sequence[Place], end: End, expected_m: float | None, width_m: float) -> Place | None:
    """Where a fault of the lead shows: an end before the antenna, else the worst joint on the way; None: nowhere."""
    if end.why in ("beyond-range", "coarse", "unplugged"):
        return None
    if end.most is not None:
        return end.most
    if end.state == "before":
        return end.at
    until = end.at.distance.usual_m if end.at is not None else expected_m
    if until is None:
        return None
    on_the_way = [
        one
        for one in places
        if one.peak.role == "reflection"
        and -width_m < one.distance.usual_m < until - width_m
        and one.corrected.middle >= POOR
    ]
    return max(on_the_way, key=lambda one: one.corrected.middle, default=None)
