"""A GNSS receiver at a port and a file of its sentences: real pseudo-terminals, sockets, files. Invented places."""

import os
import random
import sys
import threading
from itertools import pairwise

import pytest

from satdiag.errors import SatdiagError
from satdiag.gnss.read import read_nmea
from satdiag.recorder.clock import Clock
from satdiag.recorder.gnss_source import CHUNK, WHY_ABSENT, WHY_BAD, WHY_CUT, WHY_NOISE, GnssSource
from satdiag.recorder.heard import SourceEnded, SourceTrouble
from tests.gnss.made import nmea, stream
from tests.recorder.devices import PtyDevice, TcpDevice, until

PLACE = "4112.0000,N,09606.0000,W"
needs_pty = pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals on Windows")


def burst(second, status="A", satellites=3):
    """One second of a receiver: satellites of 40, 41, ... dB-Hz."""
    levels = [f"GPGSV,{satellites},{n},,{n:02d},38,{n:03d},{39 + n},1" for n in range(1, satellites + 1)]
    time = f"13{second // 60:02d}{second % 60:02d}"
    return stream(f"GNRMC,{time},{status},{PLACE},0.1,,030531,,,A,V", *levels)


def heard(source):
    """Everything until the source ends, with what `close` hands over."""
    lines = []
    try:
        while True:
            lines += source.read()
    except SourceEnded:
        return lines + source.close()
    finally:
        source.close()


def heard_until(source, number):
    """At least so many lines."""
    lines = []
    assert until(lambda: lines.extend(source.read()) or len(lines) >= number)
    return lines


def opened(where, **options):
    source = GnssSource(str(where), Clock(), **options)
    source.open()
    return source


def test_a_file_is_handed_over_byte_for_byte_in_bounded_chunks(tmp_path):
    data = b"".join(burst(second) for second in range(900))
    assert len(data) > 2 * CHUNK
    path = tmp_path / "demo.nmea"
    path.write_bytes(data)
    source = opened(path)
    assert (source.name, source.keeps, source.can_wait, source.silent_after_s) == ("gnss", "nmea", True, None)
    first = source.read()
    assert CHUNK - 100 < sum(len(line.data) + 2 for line in first) <= CHUNK
    lines = first + heard(source)
    assert b"".join(line.data + b"\r\n" for line in lines) == data
    assert {line.why for line in lines} == {""}
    assert {line.readings for line in lines} == {()}
    moments = [line.at.mono_ns for line in lines]
    assert all(before < after for before, after in pairwise(moments))


def test_a_file_ends_for_good_and_begins_anew_when_it_is_opened_again(tmp_path):
    path = tmp_path / "demo.nmea"
    path.write_bytes(burst(1))
    source = opened(path)
    assert len(heard(source)) == 4
    with pytest.raises(SourceTrouble):
        source.read()
    source.open()
    assert len(source.read()) == 4
    for _ in range(2):
        with pytest.raises(SourceEnded):
            source.read()
    assert source.close() == source.close() == []


def test_the_last_line_of_a_file_may_lack_its_end(tmp_path):
    path = tmp_path / "demo.nmea"
    path.write_bytes(nmea("GPTXT,01,01,02,demo") + nmea("GPTXT,01,01,02,end").strip())
    assert [line.why for line in heard(opened(path))] == ["", ""]
    path.write_bytes(nmea("GPTXT,01,01,02,demo") + b"$GPTXT,01,01,02,en")
    lines = heard(opened(path))
    assert [line.why for line in lines] == ["", WHY_CUT]
    assert lines[1].data == b"$GPTXT,01,01,02,en"


def test_what_is_wrong_with_a_line_is_said_and_the_line_is_kept(tmp_path):
    good = nmea("GPTXT,01,01,02,demo").strip()
    cases = [
        (good, ""),
        (good[:-2] + b"00", WHY_BAD),
        (good[:-3], WHY_ABSENT),
        (b"# a remark", WHY_NOISE),
        (b"\xb5b\x01\x07\x00\xff", WHY_NOISE),
        (b"\0\0", WHY_NOISE),
        (b"\xb5b\x01\x07\x00\xff" + good, ""),
        (b"$" + good, ""),
        (b"$GPGGA,12" + good, WHY_CUT),
        (b"$GPGGA,12*11" + good, WHY_BAD),
        (b"$GPGGA,12*11$GPGGA,1\xff", f"{WHY_BAD}; {WHY_NOISE}"),
    ]
    path = tmp_path / "demo.nmea"
    path.write_bytes(b"\r\n\r\n".join(data for data, _ in cases) + b"\r\n")
    assert [(line.data, line.why) for line in heard(opened(path))] == cases


def test_a_device_without_checksums_is_heard(tmp_path):
    path = tmp_path / "demo.nmea"
    path.write_bytes(b"$GPTXT,01,01,02,demo\r\n$GPGSV,1,1,01,07,38,351,44\r\n")
    assert [line.why for line in heard(opened(path))] == ["", ""]


def test_what_it_hands_over_reads_like_what_it_was_given(tmp_path):
    """However broken a stream is: the sentences of the kept lines are those of the stream."""
    rng = random.Random(3)
    parts = [burst(second) for second in range(200)]
    parts += [rng.randbytes(rng.randrange(3000)) for _ in range(40)] + [bytes(range(128, 256)) * 100]
    rng.shuffle(parts)
    data = b"".join(part[: rng.randrange(len(part) // 2 + 1, len(part) + 1)] for part in parts)
    path = tmp_path / "demo.nmea"
    path.write_bytes(data)
    kept = b"".join(line.data + b"\r\n" for line in heard(opened(path)))
    assert read_nmea(kept).epochs == read_nmea(data).epochs
    assert len(read_nmea(data).epochs) > 100


@pytest.mark.parametrize(
    ("bursts", "words"),
    [
        ([burst(1), burst(2)], "fix, 3 satellites, best 42 dB-Hz"),
        ([burst(1, satellites=1), burst(2)], "fix, 1 satellite, best 40 dB-Hz"),
        ([burst(1, status="V"), burst(2)], "no fix, 3 satellites, best 42 dB-Hz"),
        ([burst(1, satellites=0), burst(2)], "fix"),
        ([burst(1), burst(2, "V", 0), burst(3)], "no fix, 3 satellites, best 42 dB-Hz"),
        ([nmea("GPGSV,1,1,01,07,38,351,")] * 2, "0 satellites"),
        ([burst(1)], ""),
        ([], ""),
        ([b"\xfe\xf0rubbish\n"], "nothing readable; is it a log of NMEA 0183 sentences?"),
    ],
)
def test_summary(tmp_path, bursts, words):
    path = tmp_path / "demo.nmea"
    path.write_bytes(b"".join(bursts))
    source = opened(path)
    heard(source)
    assert source.summary() == words


def test_a_file_that_went_or_cannot_be_read(tmp_path):
    path = tmp_path / "demo.nmea"
    path.write_bytes(burst(1))
    source = GnssSource(str(path), Clock())
    path.unlink()
    with pytest.raises(SourceTrouble) as trouble:
        source.open()
    assert trouble.value.reason == "missing"
    path.mkdir()
    with pytest.raises(SourceTrouble) as trouble:
        source.open()
    assert trouble.value.reason == "denied"
    assert source.close() == []


def test_names():
    source = GnssSource("/dev/demo", Clock(), baud=4800, name="gnss/2")
    assert (source.name, source.where) == ("gnss/2", "/dev/demo at 4800 baud")
    assert (source.can_wait, source.silent_after_s) == (False, 15.0)
    assert GnssSource("socket://localhost:2947", Clock()).where == "socket://localhost:2947"
    with pytest.raises(SatdiagError):
        GnssSource("spy://demo", Clock())
    with pytest.raises(SatdiagError):
        GnssSource("", Clock())


def test_a_port_that_is_not_there(tmp_path):
    source = GnssSource(str(tmp_path / "nothing"), Clock())
    with pytest.raises(SourceTrouble) as trouble:
        source.open()
    assert trouble.value.reason == "missing"
    assert source.close() == []


@needs_pty
def test_a_receiver_on_a_port(tmp_path):
    with PtyDevice(tmp_path) as device:
        source = opened(device.where, baud=4800)
        assert source.read() == []
        data = burst(1) + burst(2)
        for at in range(0, len(data), 7):
            device.say(data[at : at + 7])
        lines = heard_until(source, 8)
        assert b"".join(line.data + b"\r\n" for line in lines) == data
        assert source.summary() == "fix, 3 satellites, best 42 dB-Hz"
        device.say(b"$GPGGA,1340")
        assert until(lambda: source.read() == [])
        lines = source.close()
        assert [(line.data, line.why) for line in lines] == [(b"$GPGGA,1340", WHY_CUT)]
        assert device.written() == b""


@needs_pty
def test_a_receiver_that_is_unplugged_and_comes_back(tmp_path):
    with PtyDevice(tmp_path) as device:
        source = opened(device.where)
        device.say(burst(1) + b"$GPGGA,13")
        heard_until(source, 4)
        device.unplug()
        with pytest.raises(SourceTrouble) as trouble:
            until(lambda: source.read() and False)
        assert trouble.value.reason == "gone"
        assert [line.data for line in source.close()] == [b"$GPGGA,13"]
        device.replug()
        source.open()
        assert source.summary() == ""
        device.say(b"40,,,*00\r\n" + burst(2))
        assert [line.why for line in heard_until(source, 5)] == [WHY_NOISE, "", "", "", ""]
        source.close()


def test_a_receiver_behind_a_converter():
    with TcpDevice() as device:
        source = opened(device.where)
        device.say(os.urandom(100).replace(b"\n", b"") + b"\n")
        heard_until(source, 1)
        assert source.summary() == "nothing readable; is 9600 baud the right speed?"
        device.say(burst(1) + burst(2))
        heard_until(source, 8)
        assert source.summary() == "fix, 3 satellites, best 42 dB-Hz"
        source.close()


def test_the_summary_may_be_asked_for_from_any_thread(tmp_path):
    path = tmp_path / "demo.nmea"
    path.write_bytes(b"".join(burst(second) for second in range(2000)))
    source, seen, ended = opened(path), set(), threading.Event()

    def look():
        while not ended.is_set():
            seen.add(source.summary())

    looker = threading.Thread(target=look)
    looker.start()
    try:
        heard(source)
    finally:
        ended.set()
        looker.join()
    assert seen <= {"", "fix, 3 satellites, best 42 dB-Hz"}
