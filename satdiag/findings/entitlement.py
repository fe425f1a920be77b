"""What was authorised, and what may still come."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from satdiag.findings.common import Interval, Quantiles


@dataclass(frozen=True, slots=True)
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
class StepFinding:
    """Turnbull's estimate: by `upper_s` (and after `lower_s`) this share of `channels` has come.

    Where in between is not determined. `held`: channels that play and tell nothing of the wait, not among them.
    """

    lower_s: tuple[float, ...]
    upper_s: tuple[float, ...]
    share: tuple[float, ...]
    channels: int
    held: int


@dataclass(frozen=True)
class SilenceCurve:
    """The chance that the account gives nothing if every channel is still refused after so much exposure."""

    exposure_s: tuple[float, ...]
    p_account_dead: tuple[float, ...]


@dataclass(frozen=True)
class EntitlementFindings:
    """What was authorised, and what may still come. Times run on the exposure clock.

    `typical_wait_s` alone runs on the clock of full reception: within it 63 % of those channels that come have come.
    `wait_prior_jobs`: how many other jobs a prior of that wait was pooled from; 0: none was used.
    """

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
    remaining_to_share_s: Mapping[str, Quantiles | None] | None = None
    p_not_begun: float | None = None
    silence: SilenceCurve | None = None
    dead_sure_after_s: float | None = None
    last_look_s: float | None = None
    outside_categories: Mapping[str, float] | None = None
    reception_scale: float | None = None
    reception_scale_90: Interval | None = None
    law_weights: Mapping[str, float] | None = None
    dispersion: float | None = None
    curve: FillCurve | None = None
    steps: StepFinding | None = None
    arrival_events: int | None = None
    typical_wait_s: Quantiles | None = None
    wait_prior_jobs: int = 0
    text: str = ""
    could_not: tuple[str, ...] = ()
