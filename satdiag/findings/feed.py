"""The findings on the DC feed to the antenna's amplifier, the noise-rise test, and what the lead is connected to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from satdiag.findings.common import Instant, Interval

BiasState = Literal["normal", "open", "short", "low", "high", "absent"]
WindowSource = Literal["sheet", "learnt", "common practice"]


@dataclass(frozen=True)
class LearntNormal:
    """What was usual while the receiver worked: a robust centre, the spread (None of fewer than three), the window.

    `n` readings in all, of these `n_job` from this job and `n_kept` from the job sheet (the user's own store).
    """

    centre: float
    spread: float | None
    window: tuple[float, float]
    n: int
    n_job: int
    n_kept: int


@dataclass(frozen=True)
class FeedWindows:
    """Where the words on voltage and current begin and end on one lead, and where that was taken from."""

    no_voltage_v: float
    normal_v: tuple[float, float]
    unloaded_v: float | None
    no_current_ma: float
    normal_ma: tuple[float, float]
    limit_ma: float
    voltage_from: WindowSource
    current_from: WindowSource
    learnt_v: LearntNormal | None = None
    learnt_ma: LearntNormal | None = None


@dataclass(frozen=True)
class LeadFindings:
    """One antenna lead at the last row. `path` is None on a lead that is not dual.

    `state_p`: how probable each state is, given how far the reading may be off and nothing else (a flat prior);
    'unknown' is what voltage and current leave open. `antenna_v`: the voltage less what the series resistance takes.
    `n_voltage`, `n_current`: live readings since the last change; `*_from`: what the 90 % interval rests on.
    """

    path: str | None
    state: BiasState | None
    state_p: Mapping[str, float]
    voltage_v: float | None
    current_ma: float | None
    antenna_v: float | None
    n_voltage: int
    n_current: int
    windows: FeedWindows
    voltage_v_90: Interval | None = None
    current_ma_90: Interval | None = None
    antenna_v_90: Interval | None = None
    voltage_from: Literal["readings", "meter"] | None = None
    current_from: Literal["readings", "meter"] | None = None
    text: str = ""


@dataclass(frozen=True)
class FeedReading:
    """Voltage and current of a lead measured together. `live`: not a reading of nothing while the feed was off."""

    at: Instant
    path: str | None
    voltage_v: float | None
    current_ma: float | None
    live: bool
    worked: bool


@dataclass(frozen=True)
class BiasFindings:
    """The DC feed to the antenna's amplifier. `path` is the lead the figures belong to, on a dual lead.

    The fields before `leads` speak of the lead that looks worst. `readings`: the latest ones, for the figure.
    """

    state: BiasState | None
    voltage_v: float | None
    current_ma: float | None
    path: str | None = None
    voltage_v_90: Interval | None = None
    current_ma_90: Interval | None = None
    state_p: Mapping[str, float] | None = None
    leads: tuple[LeadFindings, ...] = ()
    readings: tuple[FeedReading, ...] = ()


@dataclass(frozen=True)
class RiseInput:
    """One figure that the expected rise is computed from: the range it is taken to lie in, and where that is from."""

    name: str
    words: str
    low: float
    high: float
    unit: str
    standing: str


@dataclass(frozen=True)
class NoiseBlock:
    """The noise between two switchings of the feed: the median of its readings. `test` counts from 1.

    `above_off_db`: above the mean level with the feed off in the same test; the readout itself is relative.
    """

    test: int
    at: Instant
    feed: Literal["on", "off"]
    noise_db: float
    above_off_db: float
    n: int


@dataclass(frozen=True)
class NoiseRiseFindings:
    """How far the noise rises when the feed is switched on, beside what it should.

    `interval_from`: the scatter of the blocks, or a stated scatter of the readout where there are too few.
    `extra_loss_db`: the loss behind the amplifier that would explain a low rise (an open upper end is None);
    `g_over_t_cost_db`: what it costs of G/T.
    """

    rise_db: float | None
    rise_db_90: Interval | None
    interval_from: Literal["blocks", "stated scatter"] | None
    drift_removed: bool
    tests: int
    switchings: int
    place: str | None
    expected_db: float
    expected_db_90: Interval
    inputs: tuple[RiseInput, ...]
    meaning: Literal["none", "low", "as expected", "high", "cannot tell"]
    text: str
    extra_loss_db: float | None = None
    extra_loss_db_90: tuple[float, float | None] | None = None
    g_over_t_cost_db: float | None = None
    g_over_t_cost_db_90: tuple[float, float | None] | None = None
    blocks: tuple[NoiseBlock, ...] = ()


@dataclass(frozen=True)
class AdaptorReason:
    """A sentence for or against, and the rows it rests on."""

    text: str
    rows: tuple[str, ...] = ()


@dataclass(frozen=True)
class AdaptorFindings:
    """Does the conductor on the receiver's input fit? `also_possible`: what would look the same.

    `satellite`, `repeater`: how each path was received lately, as far as lock or level rows tell.
    """

    conclusion: Literal["fits", "wrong-conductor", "other-service", "cannot-tell"]
    antenna_lead: str
    adaptor: str
    satellite: Literal["received", "varying", "nothing"] | None
    repeater: Literal["received", "varying", "nothing"] | None
    place: str | None
    text: str
    reasons: tuple[AdaptorReason, ...] = ()
    also_possible: tuple[str, ...] = ()
