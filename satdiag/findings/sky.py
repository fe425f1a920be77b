"""What the sky allows and what was received."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from satdiag.findings.common import Instant, Interval


@dataclass(frozen=True)
class SatelliteSky:
    """One broadcast satellite as seen from a site; azimuth from true north, clockwise.

    `as_of` is set where the direction changes: the instant it holds for.
    """

    name: str
    azimuth_deg: float | None
    elevation_deg: float | None
    range_km: float | None
    p_clear: float | None
    p_clear_90: Interval | None
    from_: Literal["gnss", "horizon", "obstacles", "place", "none"]
    as_of: Instant | None = None


@dataclass(frozen=True)
class Mask:
    """The skyline by azimuth with its 90 % band; `measured` tells readings from what is only inferred."""

    azimuth_deg: tuple[float, ...]
    edge_elevation_deg: tuple[float, ...]
    edge_p05_deg: tuple[float, ...]
    edge_p95_deg: tuple[float, ...]
    measured: tuple[bool, ...]


@dataclass(frozen=True)
class SiteSky:
    """The sky over one site."""

    name: str
    satellites: tuple[SatelliteSky, ...]
    visible_fraction: float | None
    visible_fraction_90: Interval | None
    mask: Mask | None = None
    place: str | None = None


@dataclass(frozen=True)
class SkyFindings:
    """What the sky allows, site by site."""

    sites: tuple[SiteSky, ...] = ()
    coverage_min_elevation_deg: float | None = None
    could_not: tuple[str, ...] = ()


@dataclass(frozen=True)
class Share:
    """Shares of time. Locks without levels tell `blocked` alone: clear and shadowed are then None."""

    clear: float | None
    shadowed: float | None
    blocked: float


@dataclass(frozen=True)
class ShareIntervals:
    """90 % intervals of the shares of time."""

    clear: Interval | None
    shadowed: Interval | None
    blocked: Interval


@dataclass(frozen=True)
class PathSignal:
    """What was received on one path; levels in `unit`. `observed_s`: how much time the shares rest on."""

    unit: str | None
    clear_level: float | None
    expected_level: float | None
    deficit: float | None
    deficit_90: Interval | None
    deficit_db: float | None
    share: Share | None
    share_90: ShareIntervals | None
    dropouts_per_h: float | None
    mean_dropout_s: float | None
    dropouts_per_h_90: Interval | None = None
    mean_dropout_s_90: Interval | None = None
    observed_s: float | None = None


@dataclass(frozen=True)
class Stretch:
    """A stretch of time in one state on one path, for the timeline; received: a lock without a level."""

    path: str
    from_: Instant
    to: Instant
    state: Literal["clear", "shadowed", "received", "blocked"]


@dataclass(frozen=True)
class SignalFindings:
    """What was received, path by path."""

    paths: Mapping[str, PathSignal] = field(default_factory=dict)
    any_path_share: float | None = None
    together_share: float | None = None
    any_path_share_90: Interval | None = None
    together_share_90: Interval | None = None
    timeline: tuple[Stretch, ...] = ()
    could_not: tuple[str, ...] = ()
