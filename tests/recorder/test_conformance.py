"""The serial source and the replay keep the contract of all sources; contract and check find what is wrong."""

import math
import socket
import subprocess
import sys
import threading

import pytest

from satdiag.recorder.profile import load_profile
from satdiag.recorder.serial_source import SerialSource
from tests.recorder.conformance import Contract, LiveContract
from tests.recorder.conftest import held, left_after
from tests.recorder.devices import PtyDevice, TcpDevice
from tests.recorder.rigs import ReplayRig, SerialRig

posix = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX")


@posix
class TestSerialOverPty(LiveContract):
    @pytest.fixture
    def rig(self, tmp_path):
        with PtyDevice(tmp_path) as device:
            yield SerialRig(device)


class TestSerialOverTcp(LiveContract):
    @pytest.fixture
    def rig(self):
        with TcpDevice() as device:
            yield SerialRig(device)


class TestReplayAtFullSpeed(Contract):
    @pytest.fixture
    def rig(self, tmp_path):
        return ReplayRig(tmp_path, math.inf)


class TestReplayAtAPace(Contract):
    @pytest.fixture
    def rig(self, tmp_path):
        return ReplayRig(tmp_path, 5000)


# --- the contract finds what is wrong --------------------------------------------------------------------------


class _Changed(SerialSource):
    """A source that does one thing wrong to the lines it hands over."""

    def change(self, lines):
        return lines

    def read(self):
        return self.change(super().read())


class _Drops(_Changed):
    def change(self, lines):
        return [line for line in lines if line.data != b"signal any 7 dB"]


class _Doubles(_Changed):
    def change(self, lines):
        return [each for line in lines for each in (line, line)]


class _Strips(_Changed):
    def change(self, lines):
        return [line._replace(data=line.data[:-1]) for line in lines]


class _Turns(_Changed):
    def change(self, lines):
        return lines[::-1]


class _OneMoment(_Changed):
    def change(self, lines):
        return [line._replace(at=lines[0].at) for line in lines]


class _Invents(_Changed):
    def change(self, lines):
        return lines or [self._line(frame) for frame in self._framer.feed(b"lock any yes\n")]


class _HandsOutHalves(_Changed):
    def change(self, lines):
        return lines + [self._line(frame) for frame in self._framer.flush()]


class _Forgets(_Changed):
    def close(self):
        super().close()
        return []


class _ClosesOnce(_Changed):
    def close(self):
        if self._port._port is None:
            raise OSError("it is closed")
        return super().close()


@posix
@pytest.mark.parametrize(
    ("kind", "test"),
    [
        (_Drops, "test_every_line_comes_once_in_order_byte_for_byte"),
        (_Doubles, "test_every_line_comes_once_in_order_byte_for_byte"),
        (_Strips, "test_every_line_comes_once_in_order_byte_for_byte"),
        (_Turns, "test_every_line_comes_once_in_order_byte_for_byte"),
        (_OneMoment, "test_moments_lie_between_opening_and_now_and_strictly_increase"),
        (_Invents, "test_nothing_is_invented"),
        (_HandsOutHalves, "test_the_loss_is_noticed_and_a_half_line_comes_from_close"),
        (_Forgets, "test_the_loss_is_noticed_and_a_half_line_comes_from_close"),
        (_ClosesOnce, "test_it_may_be_closed_twice_and_before_it_was_opened"),
    ],
)
def test_a_source_that_breaks_the_contract_is_found_out(tmp_path, kind, test, monkeypatch):
    made = []
    monkeypatch.setattr("tests.recorder.conformance.IDLE_S", 1.0)  # what was dropped never comes

    class Broken(SerialRig):
        def source(self, clock, stored=()):
            made.append(kind(self._device.where, load_profile("bench-lines"), clock, "broken"))
            return made[-1]

    with PtyDevice(tmp_path) as device:
        with pytest.raises((AssertionError, OSError, ValueError)):
            getattr(LiveContract(), test)(Broken(device))
        for source in made:
            source._port.close()


# --- the check around every test finds what is left --------------------------------------------------------------


def test_a_thread_that_was_left_is_found():
    before, stop = held(), threading.Event()
    thread = threading.Thread(target=stop.wait, name="left over")
    thread.start()
    try:
        assert left_after(before, 0.05) == {"thread left over"}
    finally:
        stop.set()
        thread.join()
    assert left_after(before, 0.05) == set()


@pytest.mark.skipif(sys.platform != "linux", reason="other systems do not tell what is open")
def test_a_descriptor_and_a_child_that_were_left_are_found(tmp_path):
    before = held()
    with socket.socket(), open(tmp_path / "x.satjob", "wb"):
        left = left_after(before, 0.05)
        assert len(left) == 2
        assert any("socket:" in one for one in left)
        assert any(one.endswith("x.satjob") for one in left)
    process = subprocess.Popen([sys.executable, "-c", ""])
    try:
        assert left_after(before, 0.05) == {f"child process {process.pid}"}
    finally:
        process.wait()
    assert left_after(before, 0.05) == set()
