"""A serial level logger: one row a path every few seconds while it is plugged in."""

from __future__ import annotations

from random import Random

from satdiag.simulate.kit import Kit
from satdiag.simulate.notebook import Notebook, Row
from satdiag.simulate.technician import Technician
from satdiag.simulate.world import World

SOURCE = "serial:levels"
MOST_ROWS = 300  # the person unplugs it again; a visit stays readable


class Logger:
    """Watches the world and writes level and lock rows, and a gap row when the receiver falls silent."""

    def __init__(self, technician: Technician, rng: Random) -> None:
        self.technician = technician
        self.kit: Kit = technician.kit
        self.book: Notebook = technician.book
        self.rng = rng
        self.step_s = int(self.kit.logger_step_s or 10)
        self.rows_left = rng.randint(150, MOST_ROWS)
        self.on = False
        self.silent_from: float | None = None
        technician.world.watchers.append(self.tick)

    def plug(self, on: bool) -> None:
        """Plug in or pull out."""
        self.on = on

    def tick(self, world: World) -> None:
        """Called once a second by the world."""
        if not self.on or self.rows_left <= 0 or world.tick_s % self.step_s:
            return
        if not world.awake:
            self.silent_from = world.tick_s if self.silent_from is None else self.silent_from
            return
        self._close_gap(world)
        jitter = self.rng.uniform(0.0, 0.4)
        for path in self.kit.level_paths:
            self._row(world, jitter, "signal", path, self._level(path), self.kit.scale.unit)
        if world.tick_s % (self.step_s * 6) == 0:
            for path in self.kit.lock_paths:
                self._row(world, jitter, "lock", path, "yes" if self.technician.reading(path)[1] else "no", "")

    def _level(self, path: str) -> str:
        return self.kit.scale.read(*self.technician.reading(path), self.rng)

    def _close_gap(self, world: World) -> None:
        if self.silent_from is None:
            return
        span_s = world.tick_s - self.silent_from + self.step_s
        if "span_s" in self.book.extra and span_s >= 10:
            row = Row(world.tick_s, "gap", SOURCE, "silent", source=SOURCE, span_s=span_s, fine=True)
            self.book.add(row)
        self.silent_from = None

    def _row(self, world: World, jitter: float, kind: str, path: str, value: str, unit: str) -> None:
        self.book.add(Row(world.tick_s + jitter, kind, path, value, unit, source=SOURCE, fine=True))
        self.rows_left -= 1
