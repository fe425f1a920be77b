"""A day of recording at 20 rows a second, played fast, in a process of its own: nothing is lost, and memory stays.

A source makes the lines of a device of the bench, moving both clocks on as it speaks (the wall clock 20 ppm fast);
the line profile, the desk, the writer, the job file, and the thinned log for the screen are the recorder's own. The
child process is this module: `python -m tests.recorder.test_soak PLACE SECONDS EVERY_S`.
"""

import contextlib
import ctypes
import gc
import json
import os
import random
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest

from satdiag.exposure import exposure_clock
from satdiag.recorder.clock import Clock
from satdiag.recorder.heard import Line, Source, SourceEnded
from satdiag.recorder.loop import Recorder
from satdiag.recorder.profile import load_profile
from satdiag.store import check_job_file, read_job_file
from tests.recorder.recording import new_job_file

ROOT = Path(__file__).resolve().parents[2]
ROWS_PER_S = 20
HOUR_S = 3600
LOOK_EVERY_S = 600
"""How often somebody looks at the exposure clock."""
STATM = Path("/proc/self/statm")
ROOM = 2000
"""The writer's room: a real device gives 20 rows a second, so that the writer never holds a crowd; nor shall this."""


class SimulatedClock(Clock):
    """Clocks that go on only as the device speaks."""

    def __init__(self):
        self.mono_ns = 5 * 10**9
        super().__init__(lambda: 1_935_500_000 * 10**9 + self.mono_ns + self.mono_ns // 50_000, lambda: self.mono_ns)


class Chatter(Source):
    """Speaks for so many seconds, one second in each `read`; `each_second` is called after it with their number."""

    name, where, can_wait = "serial:bench-lines", "a simulated day", True

    def __init__(self, clock, seconds, each_second):
        self._clock, self._seconds, self._each_second = clock, seconds, each_second
        self._profile, self._random, self._second = load_profile("bench-lines"), random.Random(1), 0

    def open(self):
        pass

    def read(self):
        if self._second == self._seconds:
            raise SourceEnded
        if self._second:
            self._each_second(self._second)
        lines = [self._line(text.encode()) for text in words_of_a_second(self._second, self._random)]
        self._second += 1
        return lines

    def close(self):
        return []

    def _line(self, data):
        self._clock.mono_ns += 10**9 // ROWS_PER_S
        understood = self._profile.read_line(data)
        return Line(self._clock.now(), data, tuple(understood.readings), understood.why)


def words_of_a_second(second, draw):
    """What the device says in a second: 20 lines. Every ten minutes all reception is lost for seven seconds."""
    lost = second % 600 >= 593
    lock = "no" if lost else "yes"
    channel = 1 + second % 60
    for path, mean in (("satellite:east", 11.2), ("satellite:west", 9.4), ("repeater", 14.8)):
        yield f"signal {path} {0.0 if lost else draw.gauss(mean, 0.6):.1f} dB"
        yield f"lock {path} {lock}"
        yield f"errors {path} {100.0 if lost else abs(draw.gauss(0, 0.4)):.2f} percent"
    yield f"signal any {0.0 if lost else draw.gauss(14.8, 0.6):.1f} dB"
    yield f"lock any {lock}"
    yield "power receiver awake"
    yield f"supply receiver {draw.gauss(13.9, 0.1):.2f} V"
    yield f"supply receiver-minimum {draw.gauss(12.8, 0.2):.2f} V"
    yield f"bias voltage {draw.gauss(4.95, 0.02):.3f} V"
    yield f"bias current {'--' if second % 97 == 0 else f'{draw.gauss(34.5, 0.5):.2f}'} mA"
    yield f"noise receiver {draw.gauss(31, 0.5):.1f} dB"
    yield f"channel {channel} {'no-signal' if lost else 'authorised' if channel % 7 else 'refused'}"
    yield f"audio output {'muted' if lost else 'playing'}"
    yield "ring bus closed"


# --- the child process ----------------------------------------------------------------------------------------------


def resident_kib():
    """The resident memory of this process in KiB, where the system tells (Linux), else None.

    What is free already is given back first: by Python's collector, and by the C library where it can (glibc).
    """
    gc.collect()
    with contextlib.suppress(AttributeError, OSError, TypeError):
        ctypes.CDLL(None).malloc_trim(0)
    return int(STATM.read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") // 1024 if STATM.exists() else None


def record(place, seconds, every_s):
    """Record so many simulated seconds; the figures, with the memory after every `every_s` of them and at the end."""
    clock, memory, blocks, written = SimulatedClock(), {}, {}, {}

    def measure(second):
        while recorder.writer.held:
            time.sleep(0.01)
        memory[second], written[second] = resident_kib(), recorder.writer.rows_written
        blocks[second] = sys.getallocatedblocks()

    def each_second(second):
        recorder.tick()
        if second % LOOK_EVERY_S == 0:
            recorder.thin().exposure()
        if second % every_s == 0:
            measure(second)

    recorder = Recorder(place, [Chatter(clock, seconds, each_second)], clock, room=ROOM)
    recorder.start()
    begun = time.monotonic()
    while not recorder.sources_ended:
        time.sleep(0.05)
    measure(seconds)
    spent_s = time.monotonic() - begun
    exposure = recorder.thin().exposure()
    summary = recorder.stop()
    return {
        "memory_kib": list(memory.items()),
        "blocks": list(blocks.items()),
        "written": list(written.items()),
        "spent_s": spent_s,
        "rows_written": summary.rows_written,
        "unwritten": len(summary.unwritten),
        "lost_lines": summary.sources[0].lost_lines,
        "not_understood": summary.sources[0].not_understood,
        "trouble": summary.sources[0].trouble,
        "error": str(summary.error or ""),
        "exposure": list(exposure),
    }


# --- the tests ------------------------------------------------------------------------------------------------------


def soak(place, seconds, every_s, capsys):
    """Record in a child process, check what it says, and print the figures; returns them."""
    new_job_file(place)
    command = [sys.executable, "-m", "tests.recorder.test_soak", str(place), str(seconds), str(every_s)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    rows = seconds * ROWS_PER_S
    assert (found["error"], found["trouble"]) == ("", "")
    assert (found["rows_written"], found["unwritten"]) == (rows, 0)
    assert (found["lost_lines"], found["not_understood"]) == (0, 0)
    assert [count for _, count in found["written"]] == [second * ROWS_PER_S for second, _ in found["written"]]
    text = (
        f"\n{seconds / HOUR_S:g} simulated hours: {rows} rows in {found['spent_s']:.1f} s"
        f" = {rows / found['spent_s']:.0f} rows/s; file {place.stat().st_size / 1e6:.1f} MB;"
    )
    for (second, kib), (_, count) in zip(found["memory_kib"], found["blocks"], strict=True):
        if second in (every_s, seconds // 2, seconds):
            text += f" resident after {second / HOUR_S:g} h {(kib or 0) / 1024:.1f} MiB ({count} blocks);"
    with capsys.disabled():
        sys.stdout.write(f"{text}\n")
    return found


def all_there(place, rows):
    """Every row once and in order, and every line beside the rows, counted by SQL in the file itself."""
    with contextlib.closing(sqlite3.connect(f"{place.as_uri()}?mode=ro", uri=True)) as file:
        told = file.execute(
            "SELECT count(*), count(DISTINCT id), min(number), max(number), sum(id = 'r1-' || number), "
            "sum(kind IN ('gap', 'clock')), sum(run = 'r1' AND source = 'serial:bench-lines') FROM observations"
        )
        assert told.fetchone() == (rows, rows, 1, rows, rows, 0, rows)
        backward = file.execute(
            "WITH timed AS (SELECT CAST(elapsed_s AS REAL) AS now_s, "
            "lag(CAST(elapsed_s AS REAL)) OVER (ORDER BY number) AS before_s FROM observations) "
            "SELECT count(*) FROM timed WHERE now_s <= before_s"
        )
        assert backward.fetchone() == (0,)
        lines = sum(data.count(b"\n") for (data,) in file.execute("SELECT bytes FROM parts ORDER BY number"))
        assert lines == rows


def test_half_an_hour(tmp_path, capsys):
    seconds, place = HOUR_S // 2, tmp_path / "half-an-hour.satjob"
    found = soak(place, seconds, seconds // 2, capsys)
    all_there(place, seconds * ROWS_PER_S)
    assert check_job_file(place) == []
    clock = exposure_clock(read_job_file(place))
    assert found["exposure"] == pytest.approx([clock.exposure_s, clock.exposure_max_s], abs=0.01)
    assert clock.exposure_s == pytest.approx(seconds, abs=60)  # three losses of seven seconds, and what they cut


@pytest.mark.long
@pytest.mark.timeout(7200)
@pytest.mark.skipif(not STATM.exists(), reason="the resident memory is read from /proc/self/statm")
def test_a_day_takes_no_more_memory_than_its_first_hour(tmp_path, capsys):
    seconds, place = 24 * HOUR_S, tmp_path / "day.satjob"
    try:
        found = soak(place, seconds, HOUR_S, capsys)
        all_there(place, seconds * ROWS_PER_S)
        assert check_job_file(place) == []  # half a minute, and two gigabytes of this process
    finally:
        place.unlink(missing_ok=True)  # half a gigabyte, which pytest would keep
    memory, blocks = dict(found["memory_kib"]), dict(found["blocks"])
    assert len(memory) == 24
    assert memory[seconds] <= 1.10 * memory[HOUR_S]
    assert blocks[seconds] <= 1.10 * blocks[HOUR_S]  # what Python holds for good, without the air between it


if __name__ == "__main__":
    sys.stdout.write(json.dumps(record(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))))
