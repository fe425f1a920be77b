"""What the sky allows and what was received."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from satdiag.findings.common import Instant, Interval


@dataclass(frozen=True)
class SkyAt:
    """A direction at an instant, and the chance that it was clear then."""

    at: Instant
    azimuth_deg: float
    elevation_deg: float
    p_clear: float | None


@dataclass(frozen=True)
class SkyPass:
    """One time above the service's least elevation; `rise`, `set` are None where it began before or ended after."""

    rise: Instant | None
    highest: Instant
    highest_elevation_deg: float
    set: Instant | None


@dataclass(frozen=True)
class SatelliteStay:
    """A satellite that moves, over the time that a vehicle stood at a site (within the job's visits).

    `stood_s`: how long that was; `high_s`: for how much of it the satellite stood above the least elevation of the
    service. `p_clear`: the share of the whole time in which it is expected to have been clear. `way`: its directions,
    close enough to take one between two of them along a straight line.
    """

    stood_s: float
    high_s: float
    passes: tuple[SkyPass, ...]
    p_clear: float | None
    p_clear_90: Interval | None
    way: tuple[SkyAt, ...]


@dataclass(frozen=True)
class HighestChange:
    """The instant from which another satellite (None: none that stands high enough) was the highest over a site."""

    at: Instant
    from_: str | None
    to: str | None


@dataclass(frozen=True)
class SatelliteSky:
    """One broadcast satellite as seen from a site; azimuth from true north, clockwise.

    `as_of` is set where the direction changes: the instant it holds for. Where navigation satellites were recorded
    while parked: `looks` is how many of them close by support `p_clear`, `nearest_deg` how far the nearest look was
    and `nearest` at which satellite, `stay_s` how much longer to stay parked until the interval is useful (0: it is
    now; None: cannot be foretold within eight hours). `while_there`: of one that moves, the whole time at the site.
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
    while_there: SatelliteStay | None = None


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
    """The sky over one site.

    `p_any_clear`: the chance that at least one broadcast satellite is clear, `p_all_clear` that all above the horizon
    are; both jointly, for they share their obstacles, and unknown where one of the satellites' own chances is.
    `handovers`: when another satellite became the highest while the vehicle stood there.
    """

    name: str
    satellites: tuple[SatelliteSky, ...]
    visible_fraction: float | None
    visible_fraction_90: Interval | None
    mask: Mask | None = None
    place: str | None = None
    navigation: NavigationSky | None = None
    p_any_clear: float | None = None
    p_any_clear_90: Interval | None = None
    p_all_clear: float | None = None
    p_all_clear_90: Interval | None = None
    handovers: tuple[HighestChange, ...] = ()


@dataclass(frozen=True)
class PathElsewhere:
    """One satellite in a kind of place; losses against an open sky that 10, 50 and 90 % of cases reach or pass.

    `works_share`: the share of cases in which less than the margin is lost.
    """

    name: str
    elevation_deg: float
    exceeded_10_db: float | None
    exceeded_50_db: float | None
    exceeded_90_db: float | None
    works_share: float | None


@dataclass(frozen=True)
class PlaceElsewhere:
    """What a kind of place would give; `share_of` says what a case is (a metre driven, a garage).

    `any_path_share_range`: least and most share of cases in which at least one path works.
    """

    place: str
    words: str
    share_of: str
    paths: tuple[PathElsewhere, ...]
    any_path_share_range: tuple[float, float] | None


@dataclass(frozen=True)
class MoveGain:
    """What moving under an open sky is expected to gain where a fault of the surroundings holds.

    For the satellite that stands highest. `gain_db_90`: the 90 % range over places of that kind. Where the gain is
    unknown, `text` says why.
    """

    fault: str
    satellite: str
    elevation_deg: float
    gain_db: float | None
    gain_db_90: Interval | None
    text: str


@dataclass(frozen=True)
class ModelSource:
    """A model or figure behind a result, and its standing: recommendation, textbook, judgement, from memory."""

    name: str
    standing: str


@dataclass(frozen=True)
class ElsewhereFindings:
    """What other kinds of place would give, for the satellites above the horizon where the vehicle stands.

    From models of kinds of place, not from measurements. `margin_db`: what a path has in hand under an open sky.
    """

    site: str | None = None
    frequency_mhz: float | None = None
    margin_db: float | None = None
    places: tuple[PlaceElsewhere, ...] = ()
    moves: tuple[MoveGain, ...] = ()
    weather: str = ""
    sources: tuple[ModelSource, ...] = ()
    notes: tuple[str, ...] = ()
    could_not: tuple[str, ...] = ()


@dataclass(frozen=True)
class SkyFindings:
    """What the sky allows, site by site, and what other kinds of place would give.

    `cautions` (slots from memory) must be shown wherever these findings are; they stand in `could_not` as well.
    """

    sites: tuple[SiteSky, ...] = ()
    coverage_min_elevation_deg: float | None = None
    could_not: tuple[str, ...] = ()
    elsewhere: ElsewhereFindings | None = None
    cautions: tuple[str, ...] = ()


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
class ExpectedInput:
    """One input of an expected level: its value, the range carried into the result (None: taken as exact), where it
    comes from, and the standing of that."""

    label: str
    value: float
    range: tuple[float, float] | None
    unit: str
    source: str
    standing: str


@dataclass(frozen=True)
class PathSignal:
    """What was received on one path; levels in `unit`. `observed_s`: how much time the shares rest on.

    `plain_share`: the same shares if each reading is judged by itself, against a threshold below the median level.
    `expected_from`: what `deficit` is counted from; `level_here` is the clear level that it is counted to.
    `expected_stays`: how many earlier stays it rests on, `expected_inputs`: what a link budget was given.
    `deficit_db` is None for percent and bars, whose `deficit` is in their own unit, from their history alone.
    `deficit_at_least`: for a path of which nothing rose above the floor under an open sky, what it lacks at the least
    (the low end of the 90 % interval, in `unit`); `deficit` and `level_here` are then None.
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
    expected_from: Literal["open-sky", "remembered", "earlier-visit", "link-budget"] | None = None
    level_here: float | None = None
    expected_90: Interval | None = None
    expected_stays: int | None = None
    expected_inputs: tuple[ExpectedInput, ...] = ()
    deficit_at_least: float | None = None


@dataclass(frozen=True)
class SwapGain:
    """What a path's level gained by another antenna or lead at the same spot, in `unit`; `at`: when it was put in.

    `back`: it is the old part that went back after a trial of a known-good one.
    """

    path: str
    part: str
    at: Instant | None
    unit: str
    before: float
    after: float
    gain: float
    gain_90: Interval
    back: bool = False


@dataclass(frozen=True)
class SkyAgreement:
    """What was not received of a satellite at a site, beside what the sky there allows.

    `chance_by_sky`: how often the sky alone, if it is as said, makes a share at least that far off. `undecided`: far
    off, but not so seldom that the sky would be ruled out.
    """

    path: str
    site: str
    from_: Literal["gnss", "horizon", "obstacles", "place", "none"]
    p_clear: float
    p_clear_90: Interval
    blocked_share: float
    blocked_share_90: Interval
    state: Literal["agrees", "undecided", "more-blocked", "less-blocked"]
    chance_by_sky: float
    text: str


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
    that [dB]. `turns_with`: what a weakness seen at several headings is fixed to; `turns_vehicle_db` is the weight of
    evidence [dB] that something turns with the vehicle, against nothing that does, `turns_site_db` that paths differ
    by what stays. With `turns_both` there is something of either, and `turns_with` names the vehicle.
    `together_events`: how many drop-outs can tell whether all paths were lost at once, and `together_taken` of how
    many they were; the share is None below three. `swap_gains`: what other parts gained. `disagreements`: where
    single readings and the chain of states tell different things. `sky_agreement`: where what was received and what
    the sky allows agree or not.
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
    sky_agreement: tuple[SkyAgreement, ...] = ()
    together_events: int | None = None
    together_taken: int | None = None
    turns_site_db: float | None = None
    turns_both: bool = False
    swap_gains: tuple[SwapGain, ...] = ()
