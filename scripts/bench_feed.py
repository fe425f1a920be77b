"""The other end of the port for the recorder's figures, and the bare programs they are compared with.

As a process of its own: `bench_feed.py feed mix|numbered RATE` is a device on a pseudo-terminal, and
`bench_feed.py bare PORT JOBFILE` reads a port and commits what came once a second, with nothing of satdiag in it.
Needs pseudo-terminals: Linux or macOS.
"""

import contextlib
import itertools
import json
import os
import random
import select
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

BAUD = 115_200
INSERT = f"INSERT INTO observations VALUES ({', '.join('?' * 13)})"
TALK = b"""signal satellite:east 11.25 dB
signal satellite:west 9.81 dB
signal repeater 14.12 dB
lock satellite:east yes
lock satellite:west yes
errors satellite:east 0.42 percent
errors satellite:west 1.37 percent
bias current:satellite 34.52 mA
bias voltage:satellite 4.981 V
bias current:repeater -- mA
supply receiver 13.84 V
supply receiver-minimum 12.72 V
noise receiver 31.25 dB
power receiver awake
channel 31 authorised
"""
"""What a device of the bench says over and over."""


class Failed(Exception):
    """A figure that cannot be given, and why."""


def until(true, seconds, what):
    """Wait until `true()` holds. Raises Failed with `what` was waited for."""
    end = time.monotonic() + seconds
    while not true():
        if time.monotonic() > end:
            raise Failed(f"waited {seconds:g} s in vain: {what}")
        time.sleep(0.01)


# --- the other end of the port, in a process of its own -------------------------------------------------------------


class Feeder:
    """A device that says `TALK` ('mix') or numbered levels ('numbered') at a rate, 0 as fast as it is taken."""

    def __init__(self, words, rate):
        command = [sys.executable, __file__, "feed", words, str(rate)]
        self._process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, start_new_session=True
        )  # it ends with its standard input, not with a Ctrl-C
        self.where = self._process.stdout.readline().strip()
        if not self.where:
            raise Failed("no pseudo-terminal could be made")
        self.spec = f"serial:{self.where}?profile=bench-lines"

    def __enter__(self):
        return self

    def __exit__(self, *_):
        with contextlib.suppress(OSError):
            self._process.stdin.close()
        try:
            self._process.wait(5)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        self._process.stdout.close()

    def go(self, seconds):
        """Begin to speak."""
        print(seconds, file=self._process.stdin, flush=True)

    def told(self, wait_s):
        """Once it has ended: a mapping with `lines`, `bytes`, `begun_ns`, `sent_ns` of each; until then None."""
        if not select.select([self._process.stdout], [], [], wait_s)[0]:
            return None
        return json.loads(self._process.stdout.readline())


def feed(words, rate):
    """The feeder's process: says where it is, speaks when told for how long, tells what it said, ends at EOF."""
    import pty
    import tty

    master, slave = pty.openpty()
    tty.setraw(slave)
    os.set_blocking(master, False)
    print(os.ttyname(slave), flush=True)
    seconds = float(sys.stdin.readline() or 0)
    told = _paced(master, words, rate, seconds) if rate else _flat_out(master, seconds)
    print(json.dumps(told), flush=True)
    sys.stdin.read()


def _flat_out(master, seconds):
    block, sent, begun_ns = TALK * 64, 0, time.monotonic_ns()
    while time.monotonic_ns() - begun_ns < seconds * 1e9 and not select.select([0], [master], [], 0.1)[0]:
        start = sent % len(TALK)
        with contextlib.suppress(BlockingIOError):
            sent += os.write(master, block[start : start + 4096])
    rest = TALK[sent % len(TALK) :].partition(b"\n")[0] + b"\n"  # the line under way is ended, or one more is said
    _say_all(master, rest)
    sent += len(rest)
    whole, part = divmod(sent, len(TALK))
    lines = whole * TALK.count(b"\n") + TALK[:part].count(b"\n")
    return {"lines": lines, "bytes": sent, "begun_ns": begun_ns, "sent_ns": []}


def _paced(master, words, rate, seconds):
    """Lines at uneven moments, so that they fall anywhere between two commits."""
    talk = itertools.cycle(TALK.splitlines(keepends=True))
    draw, begun_ns, sent_ns, size = random.Random(1), time.monotonic_ns(), [], 0
    due_s, end_s = begun_ns / 1e9, begun_ns / 1e9 + seconds
    while (due_s := due_s + draw.uniform(0.5, 1.5) / rate) < end_s:
        if select.select([0], [], [], max(0.0, due_s - time.monotonic()))[0]:
            break
        line = next(talk) if words == "mix" else b"signal any %d dB\n" % len(sent_ns)
        sent_ns.append(time.monotonic_ns())
        _say_all(master, line)
        size += len(line)
    return {"lines": len(sent_ns), "bytes": size, "begun_ns": begun_ns, "sent_ns": sent_ns}


def _say_all(master, data):
    while data and not select.select([0], [master], [], 1.0)[0]:
        with contextlib.suppress(BlockingIOError):
            data = data[os.write(master, data) :]


# --- the bare programs ----------------------------------------------------------------------------------------------


def bare_port(where):
    """The port with nothing of ours around it."""
    import serial

    return serial.Serial(where, BAUD, timeout=0.2)


def bare_file(place, journal):
    """The job file as an ordinary database."""
    file = sqlite3.connect(place, isolation_level=None)
    file.execute(f"PRAGMA journal_mode={journal}")
    file.execute("PRAGMA synchronous=FULL")
    return file


def rows_in(place, columns="count(*)"):
    """The rows from the port, straight from the file."""
    query = f"SELECT {columns} FROM observations WHERE source = 'serial:bench-lines'"
    with contextlib.closing(sqlite3.connect(f"{place.as_uri()}?mode=ro", uri=True)) as file:
        return file.execute(query).fetchall()


def bare_lines(port):
    """Whole lines in chunks as they come; None whenever nothing came for a while."""
    rest = b""
    while True:
        data = port.read(max(1, port.in_waiting))
        *lines, rest = (rest + data).split(b"\n")
        yield lines if data else None


def as_fields(number, line):
    """The fields of the table for a line, without a look at what it says."""
    kind, subject, value, *unit = line.decode().split()
    texts = ("2031-05-03T14:00:00Z", kind, subject, value, *(unit or [""]), "serial:bench-lines")
    return (number, *texts, "", "", "r1", "0", f"r1-{number}", None)


def cpu_s(process):
    """User and system time of a running process so far, seconds (Linux: proc(5); elsewhere POSIX `ps -o time`)."""
    stat = Path(f"/proc/{process}/stat")
    if stat.exists():
        fields = stat.read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
    text = subprocess.run(["ps", "-o", "time=", "-p", str(process)], capture_output=True, text=True).stdout
    *rest, last = text.split()[0].replace("-", ":").split(":")
    return float(last) + sum(int(part) * unit for part, unit in zip(reversed(rest), (60, 3600, 86400), strict=False))


def bare_record(where, place):
    """The bare process: reads the port, and commits what came once a second."""
    count, waiting, due_s = 0, [], time.monotonic() + 1
    with bare_port(where) as port, contextlib.closing(bare_file(place, "WAL")) as file:
        for lines in bare_lines(port):
            waiting += lines or ()
            if waiting and time.monotonic() >= due_s:
                file.execute("BEGIN")
                file.executemany(INSERT, [as_fields(count + n, line) for n, line in enumerate(waiting, 1)])
                file.execute("COMMIT")
                count, waiting, due_s = count + len(waiting), [], time.monotonic() + 1


if __name__ == "__main__":
    with contextlib.suppress(KeyboardInterrupt, BrokenPipeError):
        feed(sys.argv[2], float(sys.argv[3])) if sys.argv[1] == "feed" else bare_record(*sys.argv[2:])
