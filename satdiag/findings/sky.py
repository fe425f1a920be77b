"""What the sky allows and what was received."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from satdiag.findings.common import Instant, Interval


@dataclass(frozen=True)
class SatelliteSky:
    """One broadcast satellite as seen from a site; azimuth from true north, clockwise.

    `as_of` is set where the direction changes: the instant it holds for. Where navigation satellites were recorded
    while parked: `looks` is how many of them close by support `p_clear`, `nearest_deg` how far the nearest look was
    and `nearest` at which satellite, `stay_s` how much longer to stay parked until the interval is useful (0: it is
    now; None: hours would not do).
    """

    name: str
    azimuth_deg: float | None
    elevation_deg: float | None
    range_km: float | None
    p_clear: float | None
    p_clear_90: Interval | None
    from_: Literal["gnss", "horizon", "obstacles", "place", "none"]
    as_of: Instant | None = None
    looks: float | None = None
    nearest_deg: float | None = None
    nearest: str | None = None
    stay_s: float | None = None


@dataclass(frozen=True)
class SkyPoint:
    """One look at a navigation satellite: where, and how strong; C/N0 is None if it was listed and not tracked.

    `deficit_db` is how far below a clear satellite's level; 6 dB and more count as blocked.
    """

    satellite: str
    azimuth_deg: float
    elevation_deg: float
    cn0_db_hz: float | None
    deficit_db: float | None


@dataclass(frozen=True)
class NavigationSky:
    """What the record of navigation satellites at a site rests on; `points` are a selection for drawing.

    `standing_s`: how long the receiver stood there. `level_db_hz`: what a clear satellite at the zenith is received
    with; `level_from`: whether drives of the same record helped to learn it. `outage_share`: share of the instants
    set aside because all satellites were weak together. `edge_width_deg`: how soft the skyline is (trees).
    """

    standing_s: float
    satellites: int
    looks: int
    level_db_hz: float
    level_from: Literal["site", "site-and-drive"]
    outage_share: float
    edge_width_deg: float
    points: tuple[SkyPoint, ...] = ()


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
    navigation: NavigationSky | None = None


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
    """What was received on one path; levels in `unit`. `observed_s`: how much time the shares rest on.

    `plain_share`: the same shares if each reading is judged by itself, against a threshold below the median level.
    `expected_from`: what `deficit` is counted from; `level_here` is the clear level that it is counted to.
    """

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
    plain_share: Share | None = None
    expected_from: Literal["open-sky", "earlier-visit", "link-budget"] | None = None
    level_here: float | None = None


@dataclass(frozen=True)
class Stretch:
    """A stretch of time in one state on one path, for the timeline; received: a lock without a level."""

    path: str
    from_: Instant
    to: Instant
    state: Literal["clear", "shadowed", "received", "blocked"]


@dataclass(frozen=True)
class SignalFindings:
    """What was received, path by path.

    `repeats_at`: whether drop-outs come back at the same positions, `repeats_place_db` the weight of evidence for
    that [dB]. `turns_with`: what a weakness seen at several headings is fixed to, `turns_vehicle_db` the weight of
    evidence for the vehicle. `disagreements`: where single readings and the chain of states tell different things.
    """

    paths: Mapping[str, PathSignal] = field(default_factory=dict)
    any_path_share: float | None = None
    together_share: float | None = None
    any_path_share_90: Interval | None = None
    together_share_90: Interval | None = None
    timeline: tuple[Stretch, ...] = ()
    could_not: tuple[str, ...] = ()
    repeats_at: Literal["place", "vehicle"] | None = None
    repeats_place_db: float | None = None
    repeats_positions: int | None = None
    turns_with: Literal["site", "vehicle"] | None = None
    turns_vehicle_db: float | None = None
    turns_vehicle_db_90: Interval | None = None
    turns_headings: int | None = None
    disagreements: tuple[str, ...] = ()
