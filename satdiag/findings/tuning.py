"""How long channel changes took."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from satdiag.findings.common import Instant, Interval


@dataclass(frozen=True)
class DelayFindings:
    """A delay after a channel change (Kaplan-Meier); `timed_out`: attempts given up, right-censored there."""

    median: float | None
    p90: float | None
    n: int
    timed_out: int
    median_90: tuple[float, float | None] | None = None
    p90_90: tuple[float, float | None] | None = None


@dataclass(frozen=True)
class StopFindings:
    """May the timing of channel changes stop? Two tests that hold whenever one stops.

    `e_slow`, `e_normal`: evidence (1 is none, 20 decides); `beyond`, `within`, `unclear`: changes that took longer
    than `line_s`, that did not, that do not tell; `more`: about how many further changes settle it; `error_*`: how
    often a wrong `slow` or `normal` is said at most.
    """

    state: Literal["slow", "normal", "go-on"]
    e_slow: float
    e_normal: float
    line_s: float
    beyond: int
    within: int
    unclear: int
    decided_after: int | None
    more: int | None
    error_slow: float
    error_normal: float
    text: str


@dataclass(frozen=True)
class LevelLossFindings:
    """The block loss of changes below and above a level of the best path."""

    below: float
    unit: str
    n_low: int
    n_high: int
    loss_low: float
    loss_low_90: Interval
    loss_high: float
    loss_high_90: Interval
    p_low_more: float


@dataclass(frozen=True)
class ChangeFindings:
    """Time to audio at the last visit beside the visit before it. `shift_s`: how much longer; an open end is None.

    `noticeable_s`: the difference that would matter; `needed`: changes a visit that would tell, where they cannot.
    """

    state: Literal["slower", "faster", "no difference seen", "cannot tell"]
    test: Literal["mann-whitney", "log-rank"]
    p_value: float | None
    shift_s: float | None
    shift_s_90: tuple[float | None, float | None] | None
    n_before: int
    n_after: int
    noticeable_s: float
    needed: int | None
    text: str


@dataclass(frozen=True)
class TuningFindings:
    """How long channel changes took to audio and to title.

    `audio_s`, `title_s`, `p_slow` and `stop` speak of the changes since `since` (None: of all). `baseline_s`: the
    usual time to audio (of common practice the upper end); a median above `slow_above_s` counts as slow.
    """

    audio_s: DelayFindings | None = None
    title_s: DelayFindings | None = None
    block_loss: float | None = None
    block_loss_90: Interval | None = None
    p_slow: float | None = None
    could_not: tuple[str, ...] = ()
    since: Instant | None = None
    baseline_from: Literal["common practice", "earlier visit"] | None = None
    baseline_s: float | None = None
    slow_above_s: float | None = None
    stop: StopFindings | None = None
    loss_by_level: LevelLossFindings | None = None
    loss_by_level_text: str = ""
    earlier_visit: ChangeFindings | None = None
    refused: int = 0
    refused_channels: tuple[int, ...] = ()
    text: str = ""
