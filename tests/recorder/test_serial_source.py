"""Lines of a serial device: whole ones read, others kept; never a word to the device that nobody asked for."""

import itertools
import sys
import threading
import time

import pytest

from satdiag.errors import SatdiagError
from satdiag.recorder.clock import Clock
from satdiag.recorder.heard import Reading, SourceTrouble
from satdiag.recorder.profile import load_profile, parse_profile
from satdiag.recorder.serial_source import QUIET_S, WHY_CUT, SerialSource
from tests.recorder.conformance import until_lost
from tests.recorder.devices import PtyDevice, TcpDevice, until

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX")
NUMBERS = """
name = "demo-numbers"
kind = "{kind}"
[port]
line_end = "{line_end}"
{poll}
[line]
part = "words"
names = ["volts"]
[[reading]]
kind = "supply"
subject = "receiver"
value = {{field = "volts"}}
unit = "V"
"""


def numbers(kind="bench", line_end="any", poll=""):
    """A profile of bare numbers: any tail of one is a number too."""
    return parse_profile(NUMBERS.format(kind=kind, line_end=line_end, poll=poll), "demo-numbers.toml")


POLLED = '[poll]\ntext = "READ?\\n"\nperiod_s = 0.2'


@pytest.fixture
def device(tmp_path):
    with PtyDevice(tmp_path) as device:
        yield device


@pytest.fixture
def source(device):
    """A source that was open for a while before anything comes."""
    source = SerialSource(device.where, load_profile("bench-lines"), Clock(), "serial:bench-lines")
    source.open()
    time.sleep(QUIET_S)
    yield source
    source.close()


def heard(source, count, seconds=60.0):
    """Read until so many lines came; never fewer."""
    lines = []
    assert until(lambda: lines.extend(source.read()) or len(lines) >= count, seconds), lines
    return lines


def test_lines_become_readings_and_are_kept_as_they_came(device, source):
    device.say(b"signal satellite:east 11.2 dB\r\n; warming up\nlock any --\nhello\xff\n\n")
    lines = heard(source, 5)
    assert [line.data for line in lines] == [
        b"signal satellite:east 11.2 dB",
        b"; warming up",
        b"lock any --",
        b"hello\xff",
        b"",
    ]
    assert [line.readings for line in lines] == [
        (Reading("signal", "satellite:east", "11.2", "dB"),),
        (),
        (Reading("lock", "any", "unreadable"),),
        (),
        (),
    ]
    assert [bool(line.why) for line in lines] == [False, False, False, True, False]
    assert "0xff" in lines[3].why
    assert source.summary() == "5 lines, last lock any unreadable"
    assert source.keeps == "raw"
    assert not source.can_wait
    assert source.silent_after_s == 10


def test_a_partial_line_at_a_timeout_is_no_line(device, source):
    device.say(b"signal any 1")
    assert source.read() + source.read() == []
    device.say(b"1.2 dB\n")
    (line,) = heard(source, 1)
    assert line.readings == (Reading("signal", "any", "11.2", "dB"),)


def test_lines_of_one_chunk_keep_their_order_on_both_clocks(device, source):
    sent = [f"signal any {number} dB".encode() for number in range(2000)]
    before = Clock().now()
    sender = threading.Thread(target=device.say, args=(b"".join(line + b"\n" for line in sent),))
    sender.start()
    lines = heard(source, 2000)
    sender.join()
    after = Clock().now()
    assert [line.data for line in lines] == sent
    assert [line.readings[0].value for line in lines] == [str(number) for number in range(2000)]
    for a, b in itertools.pairwise(lines):
        assert b.at.mono_ns - a.at.mono_ns >= 1000
        assert b.at.wall_ns // 1000 > a.at.wall_ns // 1000
    assert before.mono_ns <= lines[0].at.mono_ns
    assert lines[-1].at.mono_ns <= after.mono_ns + 2000 * 1000


def test_moments_stay_ahead_of_the_clock_s_own_steps():
    """A clock that stands still (a coarse one) still gives every line of every chunk a moment of its own."""

    class Still(Clock):
        def now(self):
            return self.at

    clock = Still()
    clock.at = Clock().now()
    with TcpDevice() as device:
        source = SerialSource(device.where, load_profile("bench-lines"), clock, "x")
        source.open()
        clock.at = clock.at._replace(mono_ns=clock.at.mono_ns + 10**9, wall_ns=clock.at.wall_ns + 10**9)
        lines = []
        for _ in range(3):
            device.say(b"lock any yes\nlock any no\n")
            lines += heard(source, 2)
        source.close()
    assert [line.at.mono_ns - clock.at.mono_ns for line in lines] == [0, 1000, 2000, 3000, 4000, 5000]
    assert [line.at.wall_ns - clock.at.wall_ns for line in lines] == [0, 1000, 2000, 3000, 4000, 5000]


def test_overlong_lines_are_kept_in_part_and_never_read(device, source):
    device.say(b"signal any 1 dB" + b" " * 5000 + b"\nlock any yes\n")
    long, next_one = heard(source, 2)
    assert long.readings == ()
    assert "too long" in long.why
    assert len(long.data) == 4096
    assert next_one.readings == (Reading("lock", "any", "yes"),)


def test_a_half_line_at_the_loss_comes_from_close_and_is_never_read(device, source):
    device.say(b"lock any yes\nlock any no")
    (line,) = heard(source, 1)
    source.read()  # the half line is held
    device.unplug()
    trouble, more = until_lost(source)
    assert (trouble.reason, more) == ("gone", [])
    (half,) = source.close()
    assert half.data == b"lock any no"
    assert half.readings == ()
    assert "end never came" in half.why
    assert half.at.mono_ns > line.at.mono_ns
    assert source.close() == []


def test_what_came_since_the_last_read_comes_from_close(device, source):
    device.say(b"lock any yes\nlock any n")
    assert until(lambda: source._port._port.in_waiting == 23)
    whole, half = source.close()
    assert whole.readings == (Reading("lock", "any", "yes"),)
    assert half.data == b"lock any n"


def test_nothing_of_a_lost_line_sticks_to_the_first_one_after_a_replug(device, source):
    device.say(b"signal any 1")
    source.read()
    device.unplug()
    assert [line.data for line in source.close()] == [b"signal any 1"]
    device.replug()
    source.open()
    time.sleep(QUIET_S)
    device.say(b"2.5 dB\n")
    (line,) = heard(source, 1)
    assert line.data == b"2.5 dB"
    assert line.readings == ()


# --- a line that was being sent while the port was opened -------------------------------------------------------


def test_a_line_under_way_while_the_port_is_opened_is_kept_and_not_read(device, monkeypatch):
    monkeypatch.setattr("satdiag.recorder.serial_source.QUIET_S", 1.0)  # longer than a busy machine holds this up
    source = SerialSource(device.where, numbers(), Clock(), "serial:demo-numbers")
    source.open()
    device.say(b"2.8\n12.8\n")  # the tail of 12.8, for all that we know
    cut, whole = heard(source, 2)
    assert (cut.data, cut.readings, cut.why) == (b"2.8", (), WHY_CUT)
    assert whole.readings == (Reading("supply", "receiver", "12.8", "V"),)
    source.close()
    source.open()  # each time anew
    device.say(b"2.8\n12.8\n")
    assert [bool(line.readings) for line in heard(source, 2)] == [False, True]
    source.close()


def test_a_line_that_begins_after_a_pause_is_read(device):
    source = SerialSource(device.where, numbers(), Clock(), "serial:demo-numbers")
    source.open()
    assert source.read() == []
    device.say(b"12.8\n")
    assert heard(source, 1)[0].readings == (Reading("supply", "receiver", "12.8", "V"),)
    source.close()


def test_a_port_opened_at_a_line_end_loses_nothing(device):
    source = SerialSource(device.where, numbers(), Clock(), "serial:demo-numbers")
    source.open()
    device.say(b"\n12.8\n")
    empty, whole = heard(source, 2)
    assert (empty.data, empty.why) == (b"", "")
    assert whole.readings
    source.close()


def test_line_ends_are_those_of_the_profile(device):
    source = SerialSource(device.where, numbers(line_end="cr"), Clock(), "serial:demo-numbers")
    source.open()
    time.sleep(QUIET_S)
    device.say(b"12.5\r12.6\r")
    assert [line.readings[0].value for line in heard(source, 2)] == ["12.5", "12.6"]
    source.close()


# --- polling ----------------------------------------------------------------------------------------------------


def test_nothing_is_ever_written_unless_polling_is_asked_for(device):
    for profile in (load_profile("bench-lines"), numbers(poll=POLLED)):
        source = SerialSource(device.where, profile, Clock(), "x")
        source.open()
        device.say(b"1\n2\n")
        end = time.monotonic() + 0.3
        while time.monotonic() < end:
            source.read()
        device.say(b"3")
        source.close()
        assert device.written() == b""


def test_a_bench_instrument_is_asked_as_its_profile_says_and_its_first_answer_counts(device):
    asked, stop = [], threading.Event()

    def instrument():
        """Answers a query at once, as IEEE 488.2 wants it."""
        text = b""
        while not stop.is_set():
            text += device.written()
            while b"\n" in text:
                query, _, text = text.partition(b"\n")
                asked.append((time.monotonic(), query))
                device.say(b"+1.28100E+01\n")
            time.sleep(0.005)

    thread = threading.Thread(target=instrument)
    thread.start()
    source = SerialSource(device.where, numbers(poll=POLLED), Clock(), "x", poll=True)
    begin = time.monotonic()
    source.open()
    lines = heard(source, 4)
    source.close()
    spent_s = time.monotonic() - begin
    stop.set()
    thread.join()
    assert {query for _, query in asked} == {b"READ?"}
    assert 4 <= len(asked) <= 1 + spent_s / 0.2, "not more often than its profile says"
    assert [line.readings for line in lines] == [(Reading("supply", "receiver", "+1.28100E+01", "V"),)] * len(lines)


def test_questions_that_were_missed_are_not_made_up_for(device):
    source = SerialSource(device.where, numbers(poll=POLLED), Clock(), "x", poll=True)
    source.open()
    time.sleep(0.9)  # four periods in which nobody could ask
    begin = time.monotonic()
    while (spent_s := time.monotonic() - begin) < 0.3:
        device.say(b"1\n")  # so that no read waits
        source.read()
    source.close()
    assert 1 <= device.written().count(b"READ?\n") <= 2 + int(spent_s / 0.2)


def test_polling_a_profile_that_asks_nothing_writes_nothing(device):
    source = SerialSource(device.where, load_profile("bench-lines"), Clock(), "x", poll=True)
    source.open()
    assert source.read() + source.read() == []
    source.close()
    assert device.written() == b""


def test_a_vehicle_is_never_asked(device):
    with pytest.raises(SatdiagError, match="nothing is ever sent to a vehicle") as caught:
        SerialSource(device.where, numbers(kind="vehicle"), Clock(), "x", poll=True)
    assert not isinstance(caught.value, SourceTrouble)
    source = SerialSource(device.where, numbers(kind="vehicle"), Clock(), "x")
    source.open()
    source.read()
    source.close()
    assert device.written() == b""


def test_a_polled_instrument_that_is_unplugged_is_lost_like_any_other(device):
    source = SerialSource(device.where, numbers(poll=POLLED), Clock(), "x", poll=True)
    source.open()
    time.sleep(QUIET_S)
    device.unplug()
    trouble, _ = until_lost(source)
    assert trouble.reason == "gone"
    source.close()
