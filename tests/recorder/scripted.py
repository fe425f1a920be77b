"""A source that does what a test tells it, and clocks that a test sets."""

from __future__ import annotations

import time
from collections import deque

from satdiag.recorder.clock import Clock
from satdiag.recorder.heard import Line, Moment, Reading, Source, SourceEnded, SourceTrouble


class SetClock(Clock):
    """Real clocks plus what a test adds: `wall` and `both` are seconds."""

    def __init__(self):
        super().__init__()
        self.wall = self.both = 0.0

    def now(self) -> Moment:
        real = super().now()
        both = int(self.both * 1e9)
        return Moment(real.wall_ns + both + int(self.wall * 1e9), real.mono_ns + both)


def level(number, path="any"):
    """A line that says a level."""
    text = f"signal {path} {number} dB"
    return text.encode(), (Reading("signal", path, str(number), "dB"),), ""


def rubbish(data=b"\xff\x00"):
    """A line that says nothing."""
    return data, (), "no observation in it"


class Scripted(Source):
    """Hands over what stands in `script`: lines (data, readings, why), a SourceTrouble, SourceEnded, or any error."""

    def __init__(self, clock, name="serial:test", **attributes):
        self.name, self.where, self.keeps = name, "a test", "raw"
        self.clock = clock
        self.script = deque()
        self.cannot_open = None
        self.opened = self.closed = 0
        for key, value in attributes.items():
            setattr(self, key, value)

    def open(self):
        if self.cannot_open:
            raise SourceTrouble(*self.cannot_open)
        self.opened += 1

    def read(self):
        lines = []
        while self.script:
            item = self.script.popleft()
            if item is SourceEnded or isinstance(item, Exception):
                if lines:
                    self.script.appendleft(item)
                    return lines
                raise item
            at = self.clock.now()
            lines.append(Line(at._replace(mono_ns=at.mono_ns + len(lines) * 1000), *item))
        if not lines:
            time.sleep(0.01)
        return lines

    def close(self):
        self.closed += 1
        return []
