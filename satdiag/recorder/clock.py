"""Two clocks: the wall clock for people, and one that only ever goes on, also while the computer sleeps."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from satdiag.recorder.heard import Moment

STEP_S = 2.0
"""A change of the wall clock against the monotonic one that is logged as a step."""

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def _monotonic() -> Callable[[], int]:
    """The monotonic clock of this system that counts a sleep of the computer (man 2 clock_gettime, by system)."""
    if sys.platform == "win32":
        return time.perf_counter_ns
    kind = getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC)  # Linux has both, macOS the latter, which counts it
    return lambda: time.clock_gettime_ns(kind)


class Clock:
    """The clocks of this computer. Tests hand in others."""

    def __init__(self, wall_ns: Callable[[], int] = time.time_ns, mono_ns: Callable[[], int] | None = None) -> None:
        self._wall_ns = wall_ns
        self._mono_ns = mono_ns or _monotonic()

    def now(self) -> Moment:
        """This instant on both clocks."""
        return Moment(self._wall_ns(), self._mono_ns())


class StepWatch:
    """Finds steps of the wall clock: its lead over the monotonic clock changed by more than `STEP_S` at once."""

    def __init__(self, at: Moment) -> None:
        self._lead_ns = at.wall_ns - at.mono_ns

    def step_s(self, at: Moment) -> float | None:
        """By how much the wall clock was stepped since the last call (forward positive), or None."""
        lead_ns = at.wall_ns - at.mono_ns
        step = (lead_ns - self._lead_ns) / 1e9
        self._lead_ns = lead_ns
        return step if abs(step) > STEP_S else None


def time_text(wall_ns: int) -> str:
    """Nanoseconds since 1970 as ISO 8601, UTC, microseconds: the time of a row."""
    moment = _EPOCH + timedelta(microseconds=wall_ns // 1000)
    return moment.replace(tzinfo=None).isoformat(timespec="microseconds") + "Z"
