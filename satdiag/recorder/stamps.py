"""Moments of lines that came together: never two at once, so that their order holds and none overrides another."""

from __future__ import annotations

from satdiag.recorder.heard import Moment

STEP_NS = 1000
"""One microsecond: the finest step of a row's time."""


class Stamps:
    """Gives each line of one source a moment of its own, at least `STEP_NS` after the one before on both clocks."""

    def __init__(self) -> None:
        self._last_mono_ns: int | None = None

    def next(self, at: Moment) -> Moment:
        """The moment of the next line, heard at `at`."""
        mono_ns = at.mono_ns
        if self._last_mono_ns is not None:
            mono_ns = max(mono_ns, self._last_mono_ns + STEP_NS)
        self._last_mono_ns = mono_ns
        return Moment(at.wall_ns + mono_ns - at.mono_ns, mono_ns)
