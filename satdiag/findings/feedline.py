"""The findings on the antenna lead from a reflection sweep."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from satdiag.findings.common import Interval

ReflectionKind = Literal["open", "short", "step", "ghost", "sidelobe", "unknown"]
LeadEnd = Literal["before", "at", "beyond", "none", "unknown"]


@dataclass(frozen=True)
class Reflection:
    """One place along the lead that sends part of the wave back; they are numbered from 1 in order of delay.

    Distances count from the receiver's end of the lead. `gamma` is as measured, `gamma_corrected` with the cable's
    loss out and back taken off (null without a class of cable; the interval is then that of any cable). `kind`: a
    step is a partial reflection, a ghost an echo of the reflections `of`, a sidelobe what the window makes beside the
    reflection `of`; unknown: a large reflection whose sign the sweep does not show.
    """

    distance_m: float | None
    distance_m_90: Interval
    delay_ns: float
    gamma: float
    gamma_corrected: float | None
    gamma_corrected_90: Interval
    return_loss_db: float
    return_loss_corrected_db: float | None
    kind: ReflectionKind
    of: tuple[int, ...] = ()


@dataclass(frozen=True)
class LeadProfile:
    """The measured reflection along the lead for drawing; `distance_m` is null without a velocity factor."""

    delay_ns: tuple[float, ...]
    distance_m: tuple[float, ...] | None
    level_db: tuple[float, ...]


@dataclass(frozen=True)
class FeedlineFindings:
    """The antenna lead from a reflection sweep.

    `fault_m` is where a fault of the lead shows, null where none does or its place is not known. `end` says where the
    lead ends against the expected length: before, at or beyond the antenna, no clear end, or cannot be told;
    `p_before`, `p_at`, `p_beyond` are its probabilities. `return_loss` of the band is that of the whole lead from the
    receiver's end, corrected by the cable's loss out and back up to the strongest reflection; `end_return_loss_db` is
    that of the far end alone, null with a range where a bad joint in front of it leaves only that.
    """

    fault_m: float | None
    fault_m_90: Interval | None = None
    verdict: str = ""
    sentences: tuple[str, ...] = ()
    reflections: tuple[Reflection, ...] = ()
    end: LeadEnd = "unknown"
    end_m: float | None = None
    end_m_90: Interval | None = None
    p_before: float | None = None
    p_at: float | None = None
    p_beyond: float | None = None
    expected_length_m: float | None = None
    expected_margin_m: float | None = None
    joints_m: tuple[float, ...] = ()
    reference_plane_m: float = 0.0
    velocity_factor: float | None = None
    velocity_factor_range: Interval | None = None
    velocity_from: Literal["stated", "class", "unknown"] = "unknown"
    cable: str | None = None
    range_m: float | None = None
    resolution_m: float | None = None
    noise_floor_db: float | None = None
    smeared_m: tuple[Interval, ...] = ()
    band_mhz: tuple[float, float] | None = None
    band_return_loss_db: float | None = None
    band_return_loss_corrected_db: float | None = None
    band_return_loss_corrected_db_90: Interval | None = None
    end_return_loss_db: float | None = None
    end_return_loss_db_90: Interval | None = None
    loss_db: float | None = None
    loss_db_90: Interval | None = None
    loss_mhz: float | None = None
    loss_length_m: float | None = None
    profile: LeadProfile | None = None
    cautions: tuple[str, ...] = ()
