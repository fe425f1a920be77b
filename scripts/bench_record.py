"""Figures of the recorder, each beside the bare cost of the same work, measured in the same run.

Durable rows a second: rows handed to the writer in batches, from the first to the closed file. Bare: the same rows
    into the same table with one `executemany` in one transaction, synchronous=FULL. The best of three each.
Lines a second: a pseudo-terminal fed by another process as fast as it is taken, recorded by the whole recorder
    (serial source, line profile, desk, writer, thinned log); from the first byte sent to the last commit. It counts
    only if no line is missing in the file. The writer keeps pace if never more waits to be written than comes in a
    second; if it does not, less is fed until it does. Bare: the port read in chunks, split into lines, only counted.
From sent to committed: another process sends numbered lines and keeps when it sent each; the recorder acknowledges
    a row once it is on the medium. Bare: port read, and one row inserted and committed for each line.
Share of one processor: `satdiag record` in a process of its own without a terminal, 20 lines a second; user and
    system time over wall time, once it runs. Bare: a process that reads the port and commits once a second.

The files lie in the folder for temporary files (TMPDIR). Needs pseudo-terminals: Linux or macOS.
"""

import contextlib
import itertools
import json
import sqlite3
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import NamedTuple

import bench_feed
from bench_feed import Failed, Feeder, as_fields, bare_file, bare_lines, bare_port, rows_in, until

ROWS = 100_000
BATCHES = (20, 500)
SHARES = (0.75, 0.5, 0.25)
"""What of the rate at which lines are taken is tried if the writer does not keep pace with it."""

RATES = (20, 200)
CPU_S = 20.0
BYTES_PER_S = bench_feed.BAUD / 10
"""What a line of that speed carries with 8 data bits: a start and a stop bit beside them."""

SHEET = b'[job]\nid = "demo-benchmark"\n'


class Figure(NamedTuple):
    """One line of the table; `bare` is None where there is nothing to compare with."""

    what: str
    unit: str
    recorder: float
    bare: float | None
    bare_is: str

    @property
    def ratio(self):
        """The recorder's figure over the bare one."""
        return None if not self.bare else self.recorder / self.bare


def say(text):
    """Progress."""
    print(text, file=sys.stderr, flush=True)


# --- the recorder and the bare port ---------------------------------------------------------------------------------


def new_job(folder, name):
    """A job file without observations."""
    from satdiag.job import build_job
    from satdiag.store import create_job_file

    place = Path(folder) / f"{name}.satjob"
    create_job_file(place, build_job({"job.toml": SHEET}, []))
    return place


@contextlib.contextmanager
def recording(place, feeder, acknowledge=None):
    """A whole recorder that listens to a feeder; stopped at the end."""
    from satdiag.recorder.clock import Clock
    from satdiag.recorder.loop import Recorder
    from satdiag.recorder.spec import make_source, parse_spec

    clock = Clock()
    recorder = Recorder(place, [make_source(parse_spec(feeder.spec), clock)], clock, acknowledge=acknowledge)
    recorder.start()
    try:
        until(lambda: recorder.runners[0].heard.state in ("open", "listening"), 5, "the port opens")
        time.sleep(0.2)  # what comes at once after the opening may be half a line, and is not read
        yield recorder
    finally:
        recorder.stop()


def fed(recorder, feeder, seconds):
    """Let the feeder speak, and wait until the recorder has written everything; what the feeder tells."""
    feeder.go(seconds)
    while (told := feeder.told(0.1)) is None:
        recorder.tick()
    heard, writer = recorder.runners[0].heard, recorder.writer
    until(lambda: heard.lines >= told["lines"] and not writer.held, 60, "every line is written")
    return told


# --- 1: durable rows ------------------------------------------------------------------------------------------------


def durable_rows(folder):
    """Figures for each size of batch."""
    from satdiag.rows import Row

    rows = [Row(*as_fields(n, b"signal any %d dB" % (n % 50))[1:12]) for n in range(1, ROWS + 1)]
    names = itertools.count()
    fields = [(number, *row) for number, row in enumerate(rows, 1)]
    bare = max(_plain_rows(new_job(folder, f"plain-{next(names)}"), fields) for _ in range(3))
    for size in BATCHES:
        found = max(_written_rows(new_job(folder, f"rows-{next(names)}"), rows, size) for _ in range(3))
        yield Figure(
            f"durable rows, {size} a batch", "rows/s", found, bare, "`executemany` of the same rows, one commit"
        )


def _plain_rows(place, fields):
    with contextlib.closing(bare_file(place, "DELETE")) as file:
        begun = time.perf_counter()
        file.execute("BEGIN")
        file.executemany(bench_feed.INSERT, fields)
        file.execute("COMMIT")
    return len(fields) / (time.perf_counter() - begun)


def _written_rows(place, rows, size):
    from satdiag.recorder.writer import Batch, Writer

    batches = [Batch(tuple(rows[first : first + size])) for first in range(0, len(rows), size)]
    writer = Writer(place, lambda rows: None)
    writer.start(lambda job: ("r1", "2031-05-03T14:00:00Z"))
    try:
        begun = time.perf_counter()
        taken = [writer.put(batch, 60.0) for batch in batches]
    finally:
        left = writer.close(600.0)
    spent_s = time.perf_counter() - begun
    if not all(taken) or left or rows_in(place) != [(len(rows),)]:
        raise Failed("the writer did not keep every row")
    return len(rows) / spent_s


# --- 2: lines as fast as they come ----------------------------------------------------------------------------------


class _Run(NamedTuple):
    """What came of recording at some rate: lines a second until the last commit, and what the writer held."""

    lines_per_s: float
    bytes_per_line: float
    most_held: int
    was_full: bool
    room: int

    @property
    def kept_pace(self):
        """True if never more was waiting to be written than came in a second."""
        return self.most_held <= self.lines_per_s

    @property
    def held_text(self):
        """What to say of the room."""
        return f"room {self.room}" + (": FULL, the source had to wait" if self.was_full else "")


def line_rate(folder, seconds):
    """Lines as fast as they are taken, the rate at which the writer keeps pace, and the most that was held."""
    names = itertools.count()
    flat_out = paced = _recorded_rate(new_job(folder, f"lines-{next(names)}"), 0, seconds)
    for share in SHARES:
        if paced.kept_pace:
            break
        rate = share * flat_out.lines_per_s
        paced = _recorded_rate(new_job(folder, f"lines-{next(names)}"), rate, seconds)
    with Feeder("mix", 0) as feeder:
        bare = _bare_rate(feeder, seconds)
    full, is_bare = BYTES_PER_S / flat_out.bytes_per_line, "port read in chunks, lines counted only"
    what = f"lines fed as fast as taken, {flat_out.bytes_per_line:.1f} bytes each, none lost"
    yield Figure(what, "lines/s", flat_out.lines_per_s, bare, is_bare)
    yield Figure(f"most rows held then, {flat_out.held_text}", "rows", flat_out.most_held, None, "holds nothing")
    what = "lines with the writer keeping pace" if paced.kept_pace else "lines, the writer NOT keeping pace"
    yield Figure(what, "lines/s", paced.lines_per_s, bare, is_bare)
    what = f"the same in full lines of {bench_feed.BAUD} baud ({full:.0f} lines/s)"
    yield Figure(what, "times", paced.lines_per_s / full, bare / full, is_bare)
    yield Figure(f"most rows held then, {paced.held_text}", "rows", paced.most_held, None, "holds nothing")


def _recorded_rate(place, rate, seconds):
    with Feeder("mix", rate) as feeder, recording(place, feeder) as recorder:
        held = _Held(recorder.writer)
        told = fed(recorder, feeder, seconds)
        found = told["lines"] / (recorder.writer.last_commit_s - told["begun_ns"] / 1e9)
        lost, room = recorder.runners[0].heard.lost_lines, recorder.writer.room
    if lost or rows_in(place) != [(told["lines"],)]:
        raise Failed(f"of {told['lines']} lines {rows_in(place)[0][0]} are in the file; {held.most} of {room} held")
    return _Run(found, told["bytes"] / told["lines"], held.most, held.was_full, room)


class _Held:
    """Follows what a writer holds: the most there ever was, and whether something found no room at once."""

    def __init__(self, writer):
        self.most, self.was_full = 0, False
        self._writer, self._put = writer, writer.put
        writer.put = self._followed

    def _followed(self, batch, wait_s):
        self.was_full = self.was_full or self._writer.held + batch.weight > self._writer.room
        taken = self._put(batch, wait_s)
        self.most = max(self.most, self._writer.held)
        return taken


def _bare_rate(feeder, seconds):
    count = 0
    with bare_port(feeder.where) as port:
        feeder.go(seconds)
        for lines in bare_lines(port):
            if lines is not None:
                count, last_s = count + len(lines), time.monotonic()
            elif told := feeder.told(0):
                break
    if count != told["lines"]:
        raise Failed(f"the bare port lost lines: {count} of {told['lines']}")
    return count / (last_s - told["begun_ns"] / 1e9)


# --- 3: from sent to committed --------------------------------------------------------------------------------------


def delays(folder, seconds):
    """The median and the 99th percentile at each rate."""
    for rate in RATES:
        found = _recorder_delays(new_job(folder, f"delays-{rate}"), rate, seconds)
        bare = _bare_delays(new_job(folder, f"bare-delays-{rate}"), rate, seconds)
        for percent in (50, 99):
            what = f"sent to committed, {percent} % of {len(found)} lines, {rate} lines/s"
            yield Figure(what, "ms", _within(found, percent), _within(bare, percent), "port read, one commit a line")


def _within(delays_ms, percent):
    """The delay that so many percent do not exceed (nearest rank)."""
    return sorted(delays_ms)[max(0, -(-len(delays_ms) * percent // 100) - 1)]


def _recorder_delays(place, rate, seconds):
    committed_ns = {}

    def acknowledge(ids):
        committed_ns.update(dict.fromkeys(ids, time.monotonic_ns()))

    with Feeder("numbered", rate) as feeder, recording(place, feeder, acknowledge) as recorder:
        sent_ns = fed(recorder, feeder, seconds)["sent_ns"]
    found = [committed_ns[name] - sent_ns[int(value)] for name, value in rows_in(place, "id, value")]
    return _whole(found, sent_ns)


def _bare_delays(place, rate, seconds):
    committed_ns = []
    with (
        Feeder("numbered", rate) as feeder,
        bare_port(feeder.where) as port,
        contextlib.closing(bare_file(place, "WAL")) as file,
    ):
        feeder.go(seconds)
        for lines in bare_lines(port):
            for line in lines or ():
                file.execute(bench_feed.INSERT, as_fields(len(committed_ns) + 1, line))  # a transaction of its own
                committed_ns.append(time.monotonic_ns())
            if lines is None and (told := feeder.told(0)):
                break
    found = [done - sent for done, sent in zip(committed_ns, told["sent_ns"], strict=False)]
    return _whole(found, told["sent_ns"])


def _whole(found_ns, sent_ns):
    if len(found_ns) != len(sent_ns) or not found_ns:
        raise Failed(f"{len(found_ns)} of {len(sent_ns)} lines were committed")
    return [delay / 1e6 for delay in found_ns]


# --- 4: share of one processor --------------------------------------------------------------------------------------


def cpu_share(folder, seconds):
    """The share of one processor at a device's usual rate."""
    seconds = max(seconds, CPU_S)

    def recorder(where, place):
        spec = f"serial:{where}?profile=bench-lines"
        return ["-m", "satdiag", "record", str(place), "--from", spec, "--no-hand"]

    def bare(where, place):
        return [bench_feed.__file__, "bare", where, str(place)]

    shares = [_share(command, new_job(folder, command.__name__), seconds) for command in (recorder, bare)]
    what = f"share of one processor at {RATES[0]} lines/s, over {seconds:g} s"
    yield Figure(what, "%", *shares, "port read, one commit a second")


def _share(command, place, seconds):
    with Feeder("mix", RATES[0]) as feeder, tempfile.TemporaryFile("w+") as words:
        arguments = [sys.executable, *command(feeder.where, place)]
        process = subprocess.Popen(arguments, stdin=subprocess.DEVNULL, stdout=words, stderr=words)
        try:
            feeder.go(10 * seconds + 60)
            until(lambda: process.poll() is not None or rows_in(place)[0][0] >= RATES[0], 30, "it records")
            _must_run(process, words)
            begun_s, used_s = time.monotonic(), bench_feed.cpu_s(process.pid)
            time.sleep(seconds)
            _must_run(process, words)
            used_s, spent_s = bench_feed.cpu_s(process.pid) - used_s, time.monotonic() - begun_s
        finally:
            process.terminate()
            process.wait()
    return 100 * used_s / spent_s


def _must_run(process, words):
    if process.poll() is not None:
        words.seek(0)
        raise Failed(f"`{' '.join(process.args[1:4])} ...` ended early: {words.read().strip()}")


# --- all of it ------------------------------------------------------------------------------------------------------


def table(figures):
    """The figures as one Markdown table."""
    lines = ["| figure | recorder | bare | ratio | what is bare |", "| --- | --- | --- | --- | --- |"]
    for each in figures:
        bare = "" if each.bare is None else _number(each.bare, each.unit)
        ratio = "" if each.ratio is None else _number(each.ratio, "")
        lines.append(f"| {each.what} | {_number(each.recorder, each.unit)} | {bare} | {ratio} | {each.bare_is} |")
    return "\n".join(lines)


def _number(value, unit):
    text = f"{value:,.0f}" if abs(value) >= 100 else f"{value:.3g}"
    return f"{text} {unit}".strip()


def lines(quick=False, say=print):
    """Figures for `benchmark.py all`: what the recorder takes for a row or a line over what the bare work takes."""
    from bench_figures import Line

    with tempfile.TemporaryDirectory(prefix="satdiag-benchmark-") as folder:
        figures = [*durable_rows(folder), *line_rate(folder, 2.0 if quick else 10.0)]
    for each in figures:
        if each.bare is not None and each.unit.endswith("/s"):
            unit = f"ms per thousand {each.unit.removesuffix('/s')}"
            yield Line(f"recording: {each.what}", "", unit, 1e6 / each.recorder, 1e6 / each.bare, each.bare_is)


def main(seconds, json_file=None):
    """Measure everything, print the table; the exit code."""
    from bench_figures import circumstances

    from satdiag.recorder.writer import COMMIT_EVERY_S

    on, figures = {**circumstances(), "sqlite": sqlite3.sqlite_version}, []
    try:
        with tempfile.TemporaryDirectory(prefix="satdiag-benchmark-") as folder:
            say("1/4 durable rows ...")
            figures += durable_rows(folder)
            say(f"2/4 lines as fast as they come, {seconds:g} s each ...")
            figures += line_rate(folder, seconds)
            say(f"3/4 from sent to committed, {seconds:g} s each ...")
            figures += delays(folder, seconds)
            say(f"4/4 share of a processor, {max(seconds, CPU_S):g} s each ...")
            figures += cpu_share(folder, seconds)
    except Failed as error:
        say(f"no figures: {error}")
        return 1
    except KeyboardInterrupt:
        say("stopped")
        return 130
    print(table(figures))
    print(f"\nMeasured on {', '.join(f'{key} {value}' for key, value in on.items())}.")
    print(
        f"Rows are committed every {1000 * COMMIT_EVERY_S:.0f} ms at most, by design: that pause is most of the time "
        "from sent to committed."
    )
    if json_file is not None:
        told = [{**each._asdict(), "ratio": each.ratio} for each in figures]
        Path(json_file).write_text(json.dumps({"on": on, "figures": told}, indent=2) + "\n", "utf-8")
    return 0
