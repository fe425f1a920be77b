"""What the estimators return and `analyse --json` prints: frozen dataclasses, ready for JSON.

A field's name is its key in the document; a trailing underscore (from_, class_, for_) is dropped there. Units stand
in the names. None means unknown, and `could_not` says why.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

SCHEMA = 1

Interval = tuple[float, float]
"""A 90 % interval: (5 %, 95 %) quantile."""

Instant = str
"""ISO 8601, UTC."""


@dataclass(frozen=True)
class Quantiles:
    """A predicted time in seconds: median, 5 % and 95 % quantile."""

    median: float
    p05: float
    p95: float


@dataclass(frozen=True)
class Verdict:
    """Where the vehicle stood at the last row."""

    state: Literal["works", "filling", "explained", "fault", "cannot-tell"]
    as_of: Instant | None
    class_: str | None
    fault: str | None
    probability: float | None
    sure: bool
    text: str
    do_next: str
    customer: str = ""


@dataclass(frozen=True)
class Earlier:
    """A fault that was there and is gone at the last row."""

    fault: str
    from_: Instant | None
    to: Instant | None
    probability: float
    ended_by: str


@dataclass(frozen=True)
class Evidence:
    """One item of evidence. `weight_db`: what it is worth on its own (leave-one-out), in decibans for `for_`."""

    item: str
    state: str
    for_: str
    weight_db: float
    text: str
    rows: tuple[str, ...] = ()


@dataclass(frozen=True)
class NextTest:
    """A test worth doing: what it saves (expected minutes), what it costs, what it tells (bits)."""

    test: str
    worth_minutes: float
    minutes: float
    gain_bits: float
    text: str
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True)
class DiagnosisFindings:
    """Marginal probabilities of faults and classes, the evidence, and the next tests."""

    faults: Mapping[str, float]
    classes: Mapping[str, float]
    earlier: tuple[Earlier, ...]
    evidence: tuple[Evidence, ...]
    conflict_bits: float
    next_tests: tuple[NextTest, ...]


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


@dataclass(frozen=True)
class ChannelFinding:
    """One channel: its state at the last row, the chance that it will play, how long still, and why."""

    channel: int
    state: Literal["authorised", "refused", "missing", "no-signal", "unchecked"]
    p_will_come: float | None
    remaining_s: Quantiles | None
    reason: Literal["plays", "late", "not-in-package", "account", "lost", "not-listed", "cannot-tell"]


@dataclass(frozen=True)
class FillCurve:
    """The fill-in over exposure: channels authorised by then, model band and what was seen for certain."""

    exposure_s: tuple[float, ...]
    median: tuple[float, ...]
    p05: tuple[float, ...]
    p95: tuple[float, ...]
    seen_s: tuple[float, ...]
    seen_low: tuple[float, ...]
    seen_high: tuple[float, ...]


@dataclass(frozen=True)
class EntitlementFindings:
    """What was authorised, and what may still come. Times run on the exposure clock."""

    exposure_s: float | None = None
    exposure_max_s: float | None = None
    exposure_since_resend_s: float | None = None
    exposure_origin: Literal["confirmed", "first-row"] | None = None
    exposure_basis: Literal["lock", "level", "awake"] | None = None
    awake_s: float | None = None
    expected_from: Literal["package", "lineup", "seen"] | None = None
    expected: int | None = None
    checked: int | None = None
    authorised: int | None = None
    refused: int | None = None
    beyond_package: tuple[int, ...] = ()
    entitled_fraction: float | None = None
    entitled_fraction_90: Interval | None = None
    p_all_expected: float | None = None
    p_account_dead: float | None = None
    time_to_first_s: Quantiles | None = None
    time_to_share_s: Mapping[str, Quantiles | None] | None = None
    remaining_to_last_s: Quantiles | None = None
    complete: bool | None = None
    channels: tuple[ChannelFinding, ...] = ()
    curve: FillCurve | None = None
    arrival_events: int | None = None
    could_not: tuple[str, ...] = ()


@dataclass(frozen=True)
class DelayFindings:
    """A delay after a channel change (Kaplan-Meier); `timed_out`: attempts given up, right-censored there."""

    median: float | None
    p90: float | None
    n: int
    timed_out: int
    median_90: tuple[float, float | None] | None = None


@dataclass(frozen=True)
class TuningFindings:
    """How long channel changes took to audio and to title."""

    audio_s: DelayFindings | None = None
    title_s: DelayFindings | None = None
    block_loss: float | None = None
    block_loss_90: Interval | None = None
    p_slow: float | None = None
    could_not: tuple[str, ...] = ()


@dataclass(frozen=True)
class BiasFindings:
    """The DC feed to the antenna's amplifier. `path` is the lead the figures belong to, on a dual lead."""

    state: Literal["normal", "open", "short", "low", "high", "absent"] | None
    voltage_v: float | None
    current_ma: float | None
    path: str | None = None


@dataclass(frozen=True)
class RingFindings:
    """The optical ring: open or closed at the last report, nodes that answered, other sources."""

    state: Literal["closed", "open"] | None
    nodes_present: tuple[str, ...] = ()
    nodes_absent: tuple[str, ...] = ()
    other_sources: Literal["working", "lost"] | None = None
    open_s: float | None = None


@dataclass(frozen=True)
class SupplyFindings:
    """The supply at the receiver and the unexpected restarts."""

    state: Literal["normal", "low", "dropouts"] | None
    minimum_v: float | None
    median_v: float | None
    resets: int


@dataclass(frozen=True)
class FeedlineFindings:
    """The antenna lead from a reflection sweep."""

    fault_m: float | None


@dataclass(frozen=True)
class WiringFindings:
    """States of feed, ring, supply and lead, from their rows."""

    bias: BiasFindings | None = None
    ring: RingFindings | None = None
    supply: SupplyFindings | None = None
    feedline: FeedlineFindings | None = None
    could_not: tuple[str, ...] = ()


@dataclass(frozen=True)
class Findings:
    """The whole findings document of one job."""

    satdiag: str
    job: str
    from_: Instant | None
    to: Instant | None
    visits: int
    verdict: Verdict
    diagnosis: DiagnosisFindings
    sky: SkyFindings
    signal: SignalFindings
    entitlement: EntitlementFindings
    tuning: TuningFindings
    wiring: WiringFindings
    could_not: tuple[str, ...] = ()
    schema: int = SCHEMA

    def to_dict(self) -> dict[str, Any]:
        """The document as plain JSON values, `schema` first."""
        plain: dict[str, Any] = _plain(self)
        return {"schema": plain.pop("schema"), **plain}


def _plain(value: Any) -> Any:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {key_of(part.name): _plain(getattr(value, part.name)) for part in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {str(key): _plain(part) for key, part in value.items()}
    if isinstance(value, (tuple, list)):
        return [_plain(part) for part in value]
    if isinstance(value, bool) or value is None or isinstance(value, str):
        return value
    if isinstance(value, int):
        return value
    number = float(value)
    if not math.isfinite(number):
        raise ValueError(f"a finding is {number}: unknown must be None")
    return _short(number)


def _short(number: float) -> float:
    """Six significant digits: more than any figure here is worth, and stable between machines."""
    return float(f"{number:.6g}")


def key_of(name: str) -> str:
    """The document's key of a field."""
    return name.removesuffix("_")


def instant_text(moment: Any) -> Instant | None:
    """A numpy datetime64[us] (UTC) as ISO 8601 with Z; None stays None."""
    if moment is None:
        return None
    text = str(moment.astype("datetime64[us]"))
    return text.removesuffix(".000000") + "Z"
