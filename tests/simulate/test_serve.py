"""A device on a real socket and a real pseudo terminal, undisturbed and upset; readers that come, leave and sleep."""

from __future__ import annotations

import contextlib
import itertools
import os
import socket
import sys
import threading
import time
from dataclasses import replace
from pathlib import Path

import pytest
import serial

from satdiag.simulate.device import Device
from satdiag.simulate.outlet import IN_USE, MOST_WAITING, Say, SocketOutlet
from satdiag.simulate.serve import SHORTEST_TURN_S, open_outlet, serve
from satdiag.simulate.upset import KINDS, LINE_END, Act, Pace, Upset
from tests.ports import free_port
from tests.recorder.devices import at_some_pace

HAS_PTY = sys.platform != "win32"
needs_pty = pytest.mark.skipif(not HAS_PTY, reason="there are no pseudo terminals here")
WHERES = ["socket://127.0.0.1:0", pytest.param("pty", marks=needs_pty)]
NOT_READ = "The reader does not read; what is said is dropped."
DROPPED = "bytes were dropped because the reader did not read."
QUICK = Pace(
    every_s={"noise": 0.3, "half-lines": 0.3, "unplug": 0.3, "silence": 0.3},
    late_s=(0.1, 0.2),
    unplugged_s=(0.4, 0.5),
    silent_s=(0.6, 0.7),
)


class Live:
    """A device served in a thread of its own; `told` is what it said to people."""

    def __init__(self, where: str, *, speed: float = 300.0, upset: Upset | None = None, seed: int = 1) -> None:
        self.told: list[str] = []
        self.details: list[str] = []
        say = Say(self.told.append, self.details.append)
        self.outlet = open_outlet(where, say)
        self.path = self.outlet.where
        self._stop = threading.Event()
        self._options = {"speed": speed, "upset": upset, "stopped": self._stop.is_set}
        self._device, self._say = Device("complete", seed), say
        self._thread = threading.Thread(target=self._run)

    def _run(self) -> None:
        serve(self._device, self.outlet, self._say, **self._options)

    def start(self) -> None:
        self._thread.start()

    def __enter__(self) -> Live:
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        if self._thread.ident is not None:
            self._thread.join(60.0)
            assert not self._thread.is_alive()
        self.outlet.close()
        self.outlet.close()  # twice does no harm


class Reader:
    """A bare reader of a socket or of a path, without any help from a library."""

    def __init__(self, where: str) -> None:
        self._socket = None
        if where.startswith("socket:"):
            self._socket = socket.create_connection(("127.0.0.1", int(where.rpartition(":")[2])), 5.0)
            self._fd = self._socket.fileno()
        else:
            self._fd = os.open(where, os.O_RDONLY | os.O_NOCTTY)

    def read(self, span_s: float, most: int = 1 << 30) -> tuple[bytes, bool]:
        """What comes in so many seconds, and whether the connection was lost meanwhile."""
        import select

        got, until_s = b"", time.monotonic() + span_s
        while (left_s := until_s - time.monotonic()) > 0 and len(got) < most:
            if not select.select([self._fd], [], [], left_s)[0]:
                continue
            try:
                piece = self._socket.recv(4096) if self._socket else os.read(self._fd, 4096)
            except OSError:  # a pseudo terminal whose master was closed
                return got, True
            if not piece:
                return got, True
            got += piece
        return got, False

    def close(self) -> None:
        self._socket.close() if self._socket else os.close(self._fd)


@contextlib.contextmanager
def reading(where: str):
    """A reader that is closed afterwards."""
    reader = Reader(where)
    try:
        yield reader
    finally:
        reader.close()


def when(condition, span_s: float = 60.0) -> None:
    """Wait until something holds."""
    until_s = time.monotonic() + span_s
    while not condition():
        assert time.monotonic() < until_s, "it never came"
        time.sleep(0.02)


def comes_back(where: str, plugged_in) -> Reader:
    """Open again as soon as it can be; before it is `plugged_in` again it must not be there."""
    refused = 0
    until_s = time.monotonic() + 60.0
    while True:
        try:
            reader = Reader(where)
        except OSError:
            refused += 1
            assert time.monotonic() < until_s
            time.sleep(0.02)
        else:
            there_before = not refused and not plugged_in()
            if there_before:
                reader.close()
            assert not there_before, "it was there all the time"
            return reader


def hears_again(live: Live, most: int) -> bytes:
    """So many bytes of a device that was unplugged; it may be unplugged once more before, and again."""
    until_s, got = time.monotonic() + 60.0, b""
    while len(got) < most:
        assert time.monotonic() < until_s, "it was not heard again"
        with contextlib.closing(comes_back(live.path, lambda: "plugged in again" in live.details)) as reader:
            got = reader.read(60.0, most)[0]
    return got


def stream(seed: int = 1, span_s: float = 2000.0) -> bytes:
    """What the device of `Live` says from its first line on."""
    return b"".join(line.encode() + LINE_END for _, line in Device("complete", seed).lines_until(span_s))


def open_files() -> int:
    """How many descriptors this process holds."""
    return len(os.listdir("/proc/self/fd"))


# ---- undisturbed ----


@pytest.mark.parametrize("where", WHERES)
def test_a_reader_hears_every_byte_in_its_time(where):
    """At speed 500 a fifth of a second brings 100 s of the world. All runs: the same bytes.

    A busy computer may hold up a run, or several, so that little comes in its fifth of a second.
    """
    runs, in_time = [], 0
    while in_time < 2 and len(runs) < 30:
        with Live(where, speed=500.0) as live, reading(live.path) as reader:
            started_s = time.monotonic()
            live.start()
            runs.append(reader.read(0.2)[0])
            passed_s = time.monotonic() - started_s
        assert stream().startswith(runs[-1])
        assert len(runs[-1]) <= len(stream(span_s=500.0 * passed_s))
        in_time += len(runs[-1]) > len(stream(span_s=20.0)) and live.told == []
    assert in_time == 2
    assert all(longer.startswith(shorter) for shorter, longer in itertools.pairwise(sorted(runs, key=len)))


@pytest.mark.parametrize("where", WHERES)
def test_a_serial_library_reads_it(where):
    """pyserial, as a recorder would use it: its socket handler, or a plain port at 115200 baud. It may send nothing
    that matters: no answer, no echo.
    """
    with Live(where) as live:
        port = serial.serial_for_url(live.path, baudrate=115200, timeout=60.0)
        try:
            live.start()
            port.write(b"MEAS?\n" * 500)
            heard = [port.readline() for _ in range(200)]
        finally:
            port.close()
    assert heard == stream().splitlines(keepends=True)[:200]


@pytest.mark.parametrize("where", WHERES)
def test_the_world_goes_on_without_a_reader(where):
    """One leaves, another comes later: what was said in between is lost, and no old line greets the second."""
    with Live(where) as live:
        with reading(live.path) as reader:
            live.start()
            first = reader.read(60.0, most=2000)[0]
        when(lambda: "the reader is gone" in live.details)
        left_s = live._device.world.now_s
        when(lambda: live._device.world.now_s > left_s + 120.0)  # what comes now is not read by anybody
        with reading(live.path) as reader:
            second = reader.read(60.0, most=2000)[0]
        assert live.details.count("a reader has come") == 2
    whole = next(made for span_s in (500.0, 4000.0, 32000.0) if second in (made := stream(span_s=span_s)))
    assert whole.startswith(first)
    place = whole.index(second)
    assert place - len(first) > len(stream(span_s=60.0))
    assert whole[place - 2 : place] == LINE_END


def test_a_second_reader_is_turned_away():
    with Live("socket://127.0.0.1:0") as live, reading(live.path) as reader:
        live.start()
        assert reader.read(60.0, most=1)[0]
        with reading(live.path) as other:
            assert other.read(60.0) == (IN_USE, True)
        got, lost = reader.read(60.0, most=1)
        assert got
        assert not lost


@pytest.mark.parametrize("where", WHERES)
def test_a_reader_that_sleeps_holds_nothing_up(where):
    """Lines are dropped, whole, and it is said; the memory stays bounded; afterwards the device goes on."""
    with Live(where, speed=10000.0) as live, reading(live.path) as reader:
        live.start()
        waiting = live.outlet._waiting
        when(lambda: waiting.dropped > 2 * MOST_WAITING)
        assert len(waiting.data) <= MOST_WAITING
        assert of_the_reader(live.told)[0] == NOT_READ
        got, before = b"", ends_of_drops(live.told)
        until_s = time.monotonic() + 60.0
        while ends_of_drops(live.told) == before and time.monotonic() < until_s:
            got += reader.read(0.1)[0]
        assert ends_of_drops(live.told) > before
    told = of_the_reader(live.told)  # more than once where a busy computer itself took late what waited
    assert set(told[::2]) == {NOT_READ}
    assert all(text.endswith(DROPPED) for text in told[1::2])
    device = Device("complete", 1)
    whole = (line.encode() for t_s in range(100, 10**6, 100) for _, line in device.lines_until(t_s))
    assert all(line in whole for line in got.split(LINE_END)[:-1]), "whole lines of the device, in their order"


def ends_of_drops(told: list[str]) -> int:
    """How often it was said how much had been dropped."""
    return sum(text.endswith(DROPPED) for text in told)


def of_the_reader(told: list[str]) -> list[str]:
    """What was said, but for what a busy computer is told of itself."""
    return [text for text in told if not text.startswith("This computer slept, or cannot keep up")]


def test_it_stops_by_itself_and_hardly_works_when_there_is_little_to_say():
    """Some tenths of a second at speed 1: a few looks at the clock, no spinning."""
    outlet, looks = open_outlet("socket://127.0.0.1:0", Say(print, print)), []
    try:
        started_s = time.monotonic()
        serve(Device("complete", 1), outlet, Say(print, print), for_s=0.4, stopped=lambda: bool(looks.append(1)))
        assert time.monotonic() - started_s >= 0.4
        assert len(looks) <= 0.4 / SHORTEST_TURN_S + 2
    finally:
        outlet.close()


def test_a_sleep_of_the_computer_is_left_out(monkeypatch):
    """The world's time waits while the real one jumps by an hour, and it is said once."""
    offset = [0.0]
    real = time.monotonic
    monkeypatch.setattr("satdiag.simulate.serve.time.monotonic", lambda: real() + offset[0])
    outlet = open_outlet("socket://127.0.0.1:0", Say(print, print))
    told, turns, device = [], [], Device("complete", 1)

    def stopped() -> bool:
        turns.append(1)
        offset[0] += 3600.0 if len(turns) in (2, 4) else 0.0
        return len(turns) > 4

    try:
        serve(device, outlet, Say(told.append, print), stopped=stopped)
    finally:
        outlet.close()
    assert told == ["This computer slept, or cannot keep up with the speed; the world's time waits."]
    assert device.lines_until(10.0)[0][0] < 10.0  # it is not an hour on


# ---- where it may be heard ----


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("socket://0.0.0.0:5000", "outside this computer"),
        ("socket://192.0.2.1:5000", "outside this computer"),  # RFC 5737: an address for documentation
        ("socket://[::]:5000", "outside this computer"),
        ("socket://:5000", "outside this computer"),
        ("socket://127.0.0.1", "no port"),
        ("socket://127.0.0.1:70000", "no port from 0 to 65535"),
        ("socket://127.0.0.1:many", "no port from 0 to 65535"),
        ("socket://127.0.0.1:5000/x", "nothing to serve on"),
        ("tcp://127.0.0.1:5000", "nothing to serve on"),
        ("COM3", "nothing to serve on"),
        ("", "nothing to serve on"),
    ],
)
def test_only_this_computer_may_listen(text, why):
    with pytest.raises(ValueError, match=why):
        open_outlet(text, Say(print, print))


def test_a_port_in_use_is_said():
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        with pytest.raises(ValueError, match="choose another port"):
            open_outlet(f"socket://localhost:{other.getsockname()[1]}", Say(print, print))


def test_windows_has_no_pseudo_terminal(monkeypatch):
    monkeypatch.setattr("satdiag.simulate.serve.sys.platform", "win32")
    with pytest.raises(ValueError, match="Windows has no pseudo terminals"):
        open_outlet("pty", Say(print, print))


# ---- upsets, pure ----


def lines(count: int) -> list[tuple[float, str]]:
    """Lines that are easily told apart, twenty a second."""
    return [(number / 20, f"signal satellite:east {number} dB") for number in range(count)]


def acts(kinds: tuple[str, ...], count: int = 2000, seed: int = 1) -> list[Act]:
    upset = Upset(kinds, seed, QUICK)
    return [act for at_s, line in lines(count) for act in upset.pass_on(at_s, line)]


def test_without_an_upset_lines_go_as_they_are():
    assert acts(()) == [Act(at_s, "send", line.encode() + LINE_END) for at_s, line in lines(2000)]


@pytest.mark.parametrize("kinds", [(kind,) for kind in KINDS] + [KINDS])
def test_an_upset_is_the_same_with_the_same_seed(kinds):
    assert acts(kinds) == acts(kinds)
    assert acts(kinds) != acts(kinds, seed=2)
    times = [act.at_s for act in acts(kinds)]
    assert times == sorted(times)


def test_noise_loses_nothing_but_its_own_line():
    """Every line goes out whole, or with something in it; all four sorts of noise come, in all three places."""
    done = acts(("noise",))
    assert len(done) == 2000
    disturbed = [
        (act, line.encode() + LINE_END) for act, (_, line) in zip(done, lines(2000), strict=True) if act.what
    ]
    assert len(disturbed) > 100
    for act, data in disturbed:
        noise = len(act.data) - len(data)
        assert noise > 0
        assert any(act.data[:cut] + act.data[len(act.data) - len(data) + cut :] == data for cut in range(len(data)))
    words = " ".join(act.what for act, _ in disturbed)
    for sort in ("zero", "0xFF", "not UTF-8", "random", "before a line", "within a line", "as a line"):
        assert sort in words
    bad = [act.data for act, _ in disturbed if "not UTF-8" in act.what]
    for data in bad:
        with pytest.raises(UnicodeDecodeError):
            data.decode("utf-8")
    assert any(len(act.data) > 2000 for act, _ in disturbed)


def test_half_lines_come_late_or_never():
    done = acts(("half-lines",))
    late = [i for i, act in enumerate(done) if "rest comes" in act.what]
    never = [i for i, act in enumerate(done) if "never comes" in act.what]
    assert len(late) > 20
    assert len(never) > 20
    whole = {line.encode() + LINE_END for _, line in lines(2000)}
    for i in late:
        assert done[i].data + done[i + 1].data in whole
        assert 0.1 <= done[i + 1].at_s - done[i].at_s <= 0.2
    for i in never:
        assert done[i].data not in whole
        assert any(line.startswith(done[i].data) for line in whole)
    untouched = [act for act in done if act.data in whole]
    assert len(untouched) + len(late) + len(never) == 2000


def test_silence_and_unplugging_lose_what_was_said_and_say_how_much():
    for kind, span in (("silence", (0.6, 0.7)), ("unplug", (0.4, 0.5))):
        done = acts((kind,))
        whole = [line.encode() + LINE_END for _, line in lines(2000)]
        sent = [act.data for act in done if act.data in whole]
        lost = sum(int(act.what.split(", ")[1].split()[0]) for act in done if "were lost" in act.what)
        assert 0 <= 2000 - len(sent) - lost <= 15  # the last stretch may not be over
        starts = [act.at_s for act in done if act.what.startswith((kind, "unplugged"))]
        assert len(starts) > 20
        for at_s in starts:
            assert not [act for act in done if at_s < act.at_s < at_s + span[0] and act.do == "send"]


def test_unplugging_cuts_a_line_and_plugs_in_again():
    done = acts(("unplug",))
    pulled = [i for i, act in enumerate(done) if act.do == "unplug"]
    assert len(pulled) > 20
    for i in pulled:
        assert done[i - 1].do == "send"
        assert not done[i - 1].data.endswith(LINE_END)
        assert done[i + 1].do == "plug"
        assert 0.4 <= done[i + 1].at_s - done[i].at_s <= 0.5


def test_an_unknown_upset_is_refused():
    with pytest.raises(ValueError, match="no upset 'storm'"):
        Upset(("storm",), 1)


# ---- upsets, on the wire ----


@pytest.mark.parametrize("where", WHERES)
@pytest.mark.parametrize(("kind", "words"), [("noise", "noise "), ("half-lines", "half a line")])
def test_what_is_upset_is_what_arrives(where, kind, words):
    """Byte for byte what the seed says, spoilt lines and all, and the connection holds."""
    pace = Pace({"noise": 0.03, "half-lines": 0.02}, late_s=(0.01, 0.02))
    upset = Upset((kind,), 3, pace)
    spoken = [(at_s / 300.0, line) for at_s, line in Device("complete", 1).lines_until(2000.0)]
    expected = b"".join(act.data for at_s, line in spoken for act in upset.pass_on(at_s, line))
    with Live(where, upset=Upset((kind,), 3, pace)) as live, reading(live.path) as reader:
        live.start()
        got, lost = reader.read(60.0, most=6000)
        done = [text for text in live.details if text.startswith(words)]
    assert not lost
    assert len(got) >= 6000
    assert expected.startswith(got)
    assert len(done) >= 3
    known = set(stream().split(LINE_END))
    assert [line for line in got.split(LINE_END)[:-1] if line not in known]


@pytest.mark.parametrize("where", WHERES)
def test_silence_on_the_wire(where):
    """Nothing for 0.6 s and more, though the connection holds and the device speaks 1000 lines a second."""
    at_some_pace(lambda slowly: silence_is_heard(where, replace(QUICK, silent_s=(0.6 * slowly, 0.7 * slowly))))


def silence_is_heard(where: str, pace: Pace) -> None:
    """Nothing comes for a while after it is said."""
    with Live(where, upset=Upset(("silence",), 1, pace)) as live, reading(live.path) as reader:
        live.start()
        when(lambda: any(text.startswith("silence") for text in live.details))
        reader.read(0.05)
        quiet, lost = reader.read(0.2)
        after, _ = reader.read(60.0, most=100)
    assert quiet == b""
    assert not lost
    assert after


@pytest.mark.parametrize("where", WHERES)
def test_unplugging_on_the_wire(where):
    """The reader loses the connection in the middle of a line; the same place can be opened again a little later."""
    with Live(where, upset=Upset(("unplug",), 1, QUICK)) as live:
        with reading(live.path) as reader:
            live.start()
            got, lost = reader.read(60.0)
        assert lost
        assert got
        assert not got.endswith(LINE_END)
        assert stream().startswith(got)
        more = hears_again(live, 500)
        assert more.split(LINE_END)[1] in stream().split(LINE_END)
        assert live.details[:3] == ["a reader has come", live.details[1], "the reader is gone"]
        assert live.details[1].startswith("unplugged in the middle of a line")
        assert "plugged in again" in live.details


def test_a_port_taken_meanwhile_is_waited_for(monkeypatch):
    monkeypatch.setattr("satdiag.simulate.outlet.TRY_AGAIN_S", 0.05)
    told = []
    outlet = SocketOutlet(free_port(), Say(told.append, print))
    try:
        port = int(outlet.where.rpartition(":")[2])
        outlet.unplug()
        with socket.socket() as other:
            other.bind(("127.0.0.1", port))
            other.listen()
            outlet.plug()
            outlet.turn(0.0)
            assert len(told) == 1
            assert "trying on" in told[0]
        time.sleep(0.1)
        outlet.turn(0.0)
        with reading(outlet.where):
            outlet.turn(0.5)
            outlet.send(b"; here again\r\n")
        assert len(told) == 1
    finally:
        outlet.close()


# ---- nothing is left behind ----


@needs_pty
def test_a_pseudo_terminal_keeps_its_path_and_takes_it_away():
    outlet = open_outlet("pty", Say(print, print))
    path = Path(outlet.where)
    first = path.resolve()
    assert path.is_symlink()
    with reading(outlet.where):
        outlet.unplug()
        assert not path.is_symlink()
        outlet.plug()
        assert path.resolve() != first  # the old one is still held by its reader
    outlet.close()
    assert not path.parent.exists()


@pytest.mark.skipif(not Path("/proc/self/fd").is_dir(), reason="descriptors cannot be counted here")
@pytest.mark.parametrize("where", WHERES)
def test_no_threads_descriptors_or_folders_are_left(where, monkeypatch, tmp_path):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    threads, files = threading.active_count(), open_files()
    with Live(where, upset=Upset(("unplug",), 1, QUICK)) as live:
        with reading(live.path) as reader:
            live.start()
            assert reader.read(60.0)[1]
        when(lambda: "plugged in again" in live.details)
        assert hears_again(live, 100)
    assert threading.active_count() == threads
    assert open_files() == files
    assert list(tmp_path.iterdir()) == []
