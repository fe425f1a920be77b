"""The contract that every source keeps, as tests. A source joins with a rig and three lines:

    class TestMySource(LiveContract):  # or Contract, for one that reads a file
        @pytest.fixture
        def rig(self, tmp_path):
            with MyRig(tmp_path) as rig:
                yield rig

A rig makes the source and plays the other side of it. Lines are told apart by number; `say` sends some of them to a
live source, while one that reads a file gets them when it is made.
"""

from __future__ import annotations

import itertools
import threading
import time
from abc import ABC, abstractmethod
from collections.abc import Callable, Iterable
from contextlib import suppress

import pytest

from satdiag.recorder.clock import Clock
from satdiag.recorder.heard import WAIT_S, Line, Source, SourceEnded, SourceTrouble
from tests.recorder.devices import quickest, until

SLACK_S = 0.25
"""What the quickest of several waits may take longer than it may."""

MOST_READS = 5
"""A loss is noticed within so many reads; a busy computer makes each of them longer, not more of them."""

IDLE_S = 60.0
"""After so long without a line no more are waited for."""

SETTLE_S = 0.06
"""A live source is given so long after opening: a line that begins earlier may count as cut."""


class Rig(ABC):
    """The other side of a source. A subclass is a context manager that leaves nothing behind.

    `live`: lines come when `say` sends them, the source can be unplugged and never ends; otherwise all lines stand in
    a file from the beginning and the source ends behind them. `half` is the beginning of a line, for a live source,
    and the methods from `say` on are for one, too.
    """

    live = True
    half = b""

    @abstractmethod
    def source(self, clock: Clock, stored: Iterable[int] = ()) -> Source:
        """A new source, not opened. One that is not live will hear the lines `stored`."""

    @abstractmethod
    def line(self, number: int) -> bytes:
        """What `Line.data` is for a line; different for different numbers."""

    def say(self, numbers: Iterable[int]) -> None:
        """Send lines."""
        raise NotImplementedError

    def say_bytes(self, data: bytes) -> None:
        """Send bytes as they are."""
        raise NotImplementedError

    def unplug(self) -> None:
        """Take the device away."""
        raise NotImplementedError

    def replug(self) -> None:
        """Bring it back."""
        raise NotImplementedError


def until_ended(source: Source, seconds: float = 60.0) -> list[Line]:
    """Everything up to the end of a source that ends."""
    lines: list[Line] = []
    end = time.monotonic() + seconds
    try:
        while time.monotonic() < end:
            lines += source.read()
    except SourceEnded:
        return lines + source.close()
    raise AssertionError("it does not end")


def heard(rig: Rig, source: Source, numbers: range) -> list[Line]:
    """The lines of an open source: said and waited for, or read to the end."""
    if not rig.live:
        return until_ended(source)
    time.sleep(SETTLE_S)
    sender = threading.Thread(target=rig.say, args=(numbers,))
    sender.start()
    lines: list[Line] = []
    last = time.monotonic()
    while len(lines) < len(numbers) and time.monotonic() < last + IDLE_S:
        if more := source.read():
            lines, last = lines + more, time.monotonic()
    sender.join()
    return lines


def until_lost(source: Source, is_gone: Callable[[], bool] = lambda: True) -> tuple[SourceTrouble, list[Line]]:
    """Read on until the source is lost: the trouble, and what came before it. Reads count from when it `is_gone`."""
    lines: list[Line] = []
    reads = 0
    while reads < MOST_READS:
        reads += is_gone()
        try:
            lines += source.read()
        except SourceTrouble as trouble:
            return trouble, lines
    raise AssertionError("the loss was not noticed")


class Contract:
    """The tests. Threads, descriptors and processes left over are found by the check around every test here."""

    def test_it_says_what_it_is(self, rig: Rig) -> None:
        source = rig.source(Clock(), range(3))
        assert source.name
        assert source.where
        assert source.keeps in ("raw", "nmea", "nothing")
        assert source.can_wait is not rig.live
        assert source.silent_after_s is None or source.silent_after_s > 0
        assert isinstance(source.summary(), str)

    def test_every_line_comes_once_in_order_byte_for_byte(self, rig: Rig) -> None:
        source = rig.source(Clock(), range(300))
        source.open()
        lines = heard(rig, source, range(300))
        assert [line.data for line in lines] == [rig.line(number) for number in range(300)]
        assert not [line.why for line in lines if line.why]
        assert source.close() == []

    def test_nothing_is_invented(self, rig: Rig) -> None:
        source = rig.source(Clock())
        source.open()
        if rig.live:
            assert source.read() == []
        else:
            assert until_ended(source) == []
        assert source.close() == []

    def test_moments_lie_between_opening_and_now_and_strictly_increase(self, rig: Rig) -> None:
        clock = Clock()
        source = rig.source(clock, range(300))
        source.open()
        before = clock.now()
        lines = heard(rig, source, range(300))
        after = clock.now()
        source.close()
        assert len(lines) == 300
        assert before.mono_ns <= lines[0].at.mono_ns
        assert lines[-1].at.mono_ns <= after.mono_ns + 300 * 1000  # one microsecond a line of the same chunk
        assert before.wall_ns <= lines[0].at.wall_ns
        for a, b in itertools.pairwise(lines):
            assert a.at.mono_ns // 1000 < b.at.mono_ns // 1000
            assert a.at.wall_ns // 1000 < b.at.wall_ns // 1000

    def test_read_does_not_wait_longer_than_it_may(self, rig: Rig) -> None:
        source = rig.source(Clock(), range(3))
        source.open()

        def read() -> None:
            with suppress(SourceEnded):
                source.read()

        for _ in range(2):
            assert quickest(read, WAIT_S + SLACK_S) < WAIT_S + SLACK_S
        source.close()

    def test_it_may_be_closed_twice_and_before_it_was_opened(self, rig: Rig) -> None:
        source = rig.source(Clock(), range(3))
        assert source.close() == []
        source.open()
        source.close()
        assert source.close() == []

    def test_it_may_be_opened_again(self, rig: Rig) -> None:
        source = rig.source(Clock(), range(3))
        for _ in range(2):
            source.open()
            assert [line.data for line in heard(rig, source, range(3))] == [rig.line(number) for number in range(3)]
            source.close()

    def test_a_summary_may_be_asked_for_from_another_thread(self, rig: Rig) -> None:
        source = rig.source(Clock(), range(300))
        told: list[object] = []
        stop = threading.Event()

        def ask() -> None:
            while not stop.wait(0.002):
                told.append(source.summary())

        asking = threading.Thread(target=ask)
        asking.start()
        try:
            assert until(lambda: told)
            source.open()
            heard(rig, source, range(300))
            source.close()
            before = len(told)
            assert until(lambda: len(told) > before)
        finally:
            stop.set()
            asking.join()
        assert {type(text) for text in told} == {str}


class LiveContract(Contract):
    """What is asked besides of a source that listens to a device."""

    def test_what_cannot_be_opened_is_trouble_and_nothing_else(self, rig: Rig) -> None:
        source = rig.source(Clock())
        rig.unplug()
        for _ in range(2):
            with pytest.raises(SourceTrouble) as caught:
                source.open()
            assert caught.value.reason in ("missing", "denied", "busy")
            assert len(str(caught.value)) > 20
            assert source.close() == []
        rig.replug()
        source.open()
        assert [line.data for line in heard(rig, source, range(2))] == [rig.line(0), rig.line(1)]
        source.close()

    def test_the_loss_is_noticed_and_a_half_line_comes_from_close(self, rig: Rig) -> None:
        source = rig.source(Clock())
        for _ in range(2):
            source.open()
            lines = heard(rig, source, range(2))
            rig.say_bytes(rig.half)
            time.sleep(0.03)
            assert source.read() == []
            rig.unplug()
            trouble, more = until_lost(source)
            assert trouble.reason == "gone"
            assert more == []
            (half,) = source.close()
            assert half.data == rig.half
            assert half.why
            assert half.readings == ()
            assert half.at.mono_ns > lines[-1].at.mono_ns
            assert source.close() == []
            rig.replug()

    def test_the_loss_is_noticed_while_a_read_waits(self, rig: Rig) -> None:
        source = rig.source(Clock())
        source.open()
        heard(rig, source, range(1))
        puller = threading.Timer(0.05, rig.unplug)
        puller.start()
        trouble, more = until_lost(source, lambda: not puller.is_alive())
        puller.join()
        assert (trouble.reason, more) == ("gone", [])
        assert source.close() == []
