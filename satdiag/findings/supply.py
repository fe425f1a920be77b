"""The findings on the supply at the receiver."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from satdiag.findings.common import Instant, Interval

Code = Literal["A", "B", "C", "D"]
Shape = Literal["cranking", "contact", "lasting"]
Standing = Literal["tied", "not-tied", "cannot-tell"]
Charge = Literal["full", "three-quarters", "half", "low", "discharged"]


@dataclass(frozen=True)
class SupplyPoint:
    """One voltage as logged, for the drawing. `span_s`: it is the lowest of so many seconds; None: an instant."""

    at: Instant
    voltage_v: float
    span_s: float | None = None


@dataclass(frozen=True)
class SupplyEvent:
    """A stretch below 10.5 V (a dip) or above 16 V, the ends of the tightest supply code.

    `from_` and `to` are the first and the last reading beyond, or the ends of the time that a lowest value covers
    (None: not known since when). The time it lasted lies between `at_least_s` and `at_most_s` (None: no end seen).
    `extreme_v`: the lowest, or highest, that was read; `depth_v`: how far below the reading before it. `seen_in`
    says which rows showed it. `shape`: cranking (charging follows a start), contact (over too soon for a start),
    lasting (too long for one); None where the readings do not tell. `restarts`: how many are tied to it.
    """

    from_: Instant | None
    to: Instant
    at_least_s: float
    at_most_s: float | None
    extreme_v: float
    depth_v: float | None
    seen_in: Literal["readings", "minimum", "both"]
    shape: Shape | None = None
    restarts: int = 0


@dataclass(frozen=True)
class Restart:
    """An unexpected restart, and whether it falls into or just after a dip."""

    at: Instant
    tied: bool


@dataclass(frozen=True)
class RestartTie:
    """Restarts against dips: how many fall together, and how easily chance alone would do that.

    `clear`: restarts just before which the supply was seen sound. `window_share` is the share of the time watched
    that lies in or just after a dip, `expected` the number of restarts that would fall there by chance, `p_chance`
    the exact chance of `tied` or more.
    """

    tied: int
    restarts: int
    clear: int
    window_share: float
    expected: float
    p_chance: float
    standing: Standing


@dataclass(frozen=True)
class LoadDrop:
    """How far the supply falls when the receiver, and the vehicle with it, goes from off or standby to awake.

    The middle over `changes` changes. With a current named in job.toml also the resistance of all that lies between,
    the battery itself included.
    """

    drop_v: float
    drop_v_90: Interval
    changes: int
    current_a: float | None = None
    resistance_mohm: float | None = None
    resistance_mohm_90: Interval | None = None


@dataclass(frozen=True)
class RestingVoltage:
    """The last voltage read after at least 4 h off, as far as the log knows.

    `charge` None: more than a battery at rest shows, so a charger, or charge that has not settled.
    """

    at: Instant
    voltage_v: float
    rested_s: float
    charge: Charge | None


@dataclass(frozen=True)
class BatteryBudget:
    """What a time awake takes from the battery, without a charger and with the engine off.

    Where current or capacity is not known, usual ones stand for it, and `_90` holds their range (common practice, no
    source). Shares are of the capacity. `end_share` needs a known start. `to_stop_s`: how long until half the charge
    is left, where a battery at rest reads 12.2 V.
    """

    awake_s: float
    current_a: float
    current_a_90: Interval | None
    capacity_ah: float
    capacity_ah_90: Interval | None
    used_ah: float
    used_ah_90: Interval | None
    used_share: float
    used_share_90: Interval | None
    used_wh: float
    used_wh_90: Interval | None
    start_share: float | None
    end_share: float | None
    end_share_90: Interval | None
    to_stop_s: float | None
    needs_charger: bool
    text: str


@dataclass(frozen=True)
class SupplyFindings:
    """The supply at the receiver and the unexpected restarts.

    `code`: the tightest supply code (A 6, B 8, C 9, D 10.5, each to 16 V) whose range every reading kept; None with
    readings: none of them. `code_needed`: what the receiver is made for (job.toml; C where it does not say).
    `readings`, `interval_s`: how many voltages there are, and the middle time between two. `dips`, `over_voltages`
    and `restarts` hold the first ones, `dip_count`, `over_count` and `resets` all of them. `charging`: by the last
    reading of the last visit. `sentences` say all that in words, and what readings so far apart cannot show.
    """

    state: Literal["normal", "low", "dropouts"] | None
    minimum_v: float | None
    median_v: float | None
    resets: int
    maximum_v: float | None = None
    code: Code | None = None
    code_needed: Code = "C"
    readings: int = 0
    interval_s: float | None = None
    minimum_rows: int = 0
    charging: bool | None = None
    dip_count: int = 0
    dips: tuple[SupplyEvent, ...] = ()
    over_count: int = 0
    over_voltages: tuple[SupplyEvent, ...] = ()
    restarts: tuple[Restart, ...] = ()
    tie: RestartTie | None = None
    load_drop: LoadDrop | None = None
    resting: RestingVoltage | None = None
    budget: BatteryBudget | None = None
    points: tuple[SupplyPoint, ...] = ()
    sentences: tuple[str, ...] = ()
