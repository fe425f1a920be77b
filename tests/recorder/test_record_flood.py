"""A device gone mad: megabytes without a line end, NULs, bytes that are no text. What is good after it is heard."""

import random
import sys

import pytest

from satdiag.store import check_job_file, read_job_file
from tests.recorder.devices import TcpDevice
from tests.recorder.recording import BENCH, Recording, at_rest, new_job_file, raw_lines

MIB = 1024 * 1024
KEPT = 4096
"""Bytes of a line that are kept (`framing.LIMIT`)."""


def rubbish(size, seed):
    """Bytes without a line end: NULs, control characters, bytes that UTF-8 never has (C0, F5 to FF: RFC 3629)."""
    block = random.Random(seed).randbytes(65536).replace(b"\n", b"\xff") + b"\0" * 4096 + b"\xc0\xf5\xfe\xff"
    return block * (size // len(block) + 1)


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="memory is looked up as Linux shows it")
def test_a_flood_is_survived_in_little_memory_and_good_lines_after_it_are_heard(tmp_path):
    place = new_job_file(tmp_path / "job.satjob")
    flood = rubbish(20 * MIB, 1)
    with TcpDevice() as device, Recording(place, "--from", f"serial:{device.where}{BENCH}") as recording:
        recording.wait_for_words("listening")
        device.say(b"; begin\n")
        device.say(b"".join(b"signal any %d dB\n" % number for number in range(1000)))
        recording.wait_for(1000)
        before_kib = recording.peak_memory_kib()
        device.say(flood)
        device.say(b"\n" + b"\0\n" * 2000 + b"\xff\xfe\xc0\n" * 2000 + b"\r\n" * 2000)
        device.say(b"".join(b"signal any %d dB\r\n" % number for number in range(1000, 2000)))
        recording.wait_for(2000)
        grown_kib = recording.peak_memory_kib() - before_kib
        assert recording.stop() == 0, recording.messages
    assert grown_kib < 10 * 1024  # half of what was sent
    assert at_rest(place)
    assert place.stat().st_size < 3 * MIB
    assert check_job_file(place) == []
    job = read_job_file(place)
    assert [row.value for row in job.rows] == [str(number) for number in range(2000)]
    lines = raw_lines(job)
    (overlong,) = (line for line in lines if "too long" in line.why)
    assert overlong.data == flood[:KEPT]
    assert sum(line.data == b"\0" for line in lines) == 2000
    assert sum(line.data == b"\xff\xfe\xc0" for line in lines) == 2000
    assert not any(line.rows for line in lines if not line.data.startswith(b"signal any "))
