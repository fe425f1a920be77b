"""Job files for the tests of the store: made, looked into and changed behind satdiag's back, with plain SQL.

The formats are written out here once more, so that the tests do not believe the store's own description of them.
"""

import hashlib
import os
import sqlite3
import subprocess
import sys
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from satdiag.rows import Row
from tests.helpers import time_text

ROOT = Path(__file__).parents[2]
RAW = "raw-r1.jsonl"
NMEA = "gnss-r1.nmea"

FORMAT_1 = """
PRAGMA application_id = 0x53444A42;
PRAGMA user_version = 1;
CREATE TABLE meta (key TEXT NOT NULL PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE documents (name TEXT NOT NULL PRIMARY KEY, bytes BLOB NOT NULL);
CREATE TABLE observations (number INTEGER NOT NULL PRIMARY KEY, time TEXT NOT NULL, kind TEXT NOT NULL, subject TEXT \
NOT NULL, value TEXT NOT NULL, unit TEXT NOT NULL, source TEXT NOT NULL, note TEXT NOT NULL, span_s TEXT NOT NULL, \
run TEXT NOT NULL, elapsed_s TEXT NOT NULL, id TEXT NOT NULL, raw TEXT);
"""


def sql(place, *statements):
    """Run statements on a file behind satdiag's back; what the last one finds."""
    with closing(sqlite3.connect(place, isolation_level=None)) as connection:
        return [connection.execute(statement).fetchall() for statement in statements][-1]


def looking(place):
    """A file as SQLite takes it to be opened for reading alone."""
    return f"{place.as_uri()}?mode=ro"


def names(place):
    """What lies in the folder of a file."""
    return sorted(path.name for path in place.parent.iterdir())


def _fixed(header, documents):
    digest = hashlib.sha256(header.encode() + b"\x1e")
    for name, data in sorted(documents):
        digest.update(f"{name}\x1f{len(data)}\x1e".encode() + data)
    return digest


def _row(fields):
    texts = [f"{len(text)}:{text}" for text in fields[:11]] + ["-" if fields[11] is None else fields[11]]
    return ("\x1f".join(texts) + "\x1e").encode()


def digests_by_hand(place, read_only=False):
    """The digests that a file of format 2 should bear, computed from what it holds, and those that it bears."""
    with closing(sqlite3.connect(looking(place) if read_only else place.as_uri(), uri=True)) as connection:
        connection.execute("BEGIN")
        meta = dict(connection.execute("SELECT key, value FROM meta"))
        fixed = _fixed(meta["header"], connection.execute("SELECT name, bytes FROM documents").fetchall())
        rows, parts = hashlib.sha256(), hashlib.sha256()
        columns = ", ".join(Row._fields)
        for fields in connection.execute(f"SELECT {columns} FROM observations ORDER BY number"):
            rows.update(_row(fields))
        for name, data in connection.execute("SELECT name, bytes FROM parts ORDER BY number"):
            parts.update(f"{name}\x1f{len(data)}\x1e".encode() + data)
    right = {"sha256": fixed.hexdigest(), "rows_sha256": rows.hexdigest(), "parts_sha256": parts.hexdigest()}
    return right, {key: meta[key] for key in right}


def seal(place):
    """Make the digests true again after a change, as a foreign program could that knows them."""
    right, _ = digests_by_hand(place)
    with closing(sqlite3.connect(place)) as connection, connection:
        connection.executemany("UPDATE meta SET value = :text WHERE key = :key", [
            {"key": key, "text": text} for key, text in right.items()
        ])  # fmt: skip


def write_format_1(place, job):
    """A job file as the first satdiag wrote it."""
    digest = _fixed(job.header, job.documents.items())
    for row in job.rows:
        digest.update(_row(row))
    with closing(sqlite3.connect(place)) as connection, connection:
        connection.executescript(FORMAT_1)
        meta = [("header", job.header), ("sha256", digest.hexdigest()), ("written_by", "satdiag 0.1.0")]
        connection.executemany("INSERT INTO meta VALUES (?, ?)", meta)
        connection.executemany("INSERT INTO documents VALUES (?, ?)", job.documents.items())
        numbered = [(number, *row) for number, row in enumerate(job.rows, 1)]
        connection.executemany(f"INSERT INTO observations VALUES ({', '.join('?' * 13)})", numbered)


def live_row(number, note=""):
    """The row that a recorder writes as its `number`th."""
    return Row(
        time_text(number), "signal", "satellite:east", f"{number % 20}.5", "dB", "serial:bench-lines", note,
        run="r1", elapsed_s=f"{number}.0", id=f"r1-{number}",
    )  # fmt: skip


def batch(first, size):
    """`size` rows from number `first` on, and a line of the raw document for each of them, in one part."""
    rows = [live_row(number, f"batch {first}") for number in range(first, first + size)]
    return rows, [(RAW, b"".join(b'{"id": "%s"}\n' % row.id.encode() for row in rows))]


def recorded(job):
    """How many rows and raw lines of a recorder a job holds: each of 1, 2, ... once, in order, in whole batches."""
    rows = [row for row in job.rows if row.run == "r1"]
    lines = job.documents.get(RAW, b"").splitlines()
    assert [row.id for row in rows] == [f"r1-{number}" for number in range(1, len(rows) + 1)]
    assert lines == [b'{"id": "%s"}' % row.id.encode() for row in rows]
    return len(rows)


class Writer:
    """A process that records into a file as fast as it can, or with a pause between the batches.

    It says how many rows it has written after each batch. With `wait` it waits for `go` with everything loaded. The
    log is folded into the file when it holds so many `pages`; 0: as ever.
    """

    def __init__(self, place, largest=40, pause_s=0.0, wait=False, pages=0):
        command = [sys.executable, "-m", "tests.store.writer", *map(str, (place, largest, pause_s, pages))]
        self.process = subprocess.Popen(command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        self.acked = 0
        self._rest = b""
        if not wait:
            self.go()

    def go(self):
        """Let it begin."""
        self.process.stdin.write(b"go\n")
        self.process.stdin.flush()

    def until(self, count):
        """Wait until it has written so many rows."""
        while self.acked < count:
            line = self.process.stdout.readline()
            assert line.endswith(b"\n"), f"the writer ended: {line!r}"
            self.acked = int(line)

    def drain(self):
        """Take note of everything that it has said so far; only while it is stopped or dead."""
        os.set_blocking(self.process.stdout.fileno(), False)
        self._rest += self.process.stdout.read() or b""
        os.set_blocking(self.process.stdout.fileno(), True)
        *whole, self._rest = self._rest.split(b"\n")
        if whole:
            self.acked = int(whole[-1])

    def kill(self):
        """End it at once, in the middle of whatever it does."""
        self.process.kill()
        rest = self._rest + self.process.communicate()[0]
        whole = rest.split(b"\n")[:-1]
        if whole:
            self.acked = int(whole[-1])

    def __enter__(self):
        return self

    def __exit__(self, *_):
        if self.process.poll() is None:
            self.process.kill()
        self.process.communicate()


@contextmanager
def small_disk(folder, size="3m"):
    """A disk of a few megabytes in memory, mounted on a folder. Linux only; skipped where none may be mounted."""
    if not sys.platform.startswith("linux"):
        pytest.skip("only Linux has tmpfs")
    mounted = _run("mount", "-t", "tmpfs", "-o", f"size={size}", "none", str(folder))
    if mounted.returncode:
        if os.environ.get("CI"):
            pytest.fail(f"no tmpfs can be mounted: {mounted.stderr}")
        pytest.skip("no tmpfs can be mounted here; run the tests as root")
    try:
        yield folder
    finally:
        if _run("umount", str(folder)).returncode:
            _run("umount", "-l", str(folder))
            pytest.fail("a file on the small disk was left open")


def read_only(folder):
    """Make a mounted disk one that can only be read."""
    done = _run("mount", "-o", "remount,ro", str(folder))
    assert done.returncode == 0, done.stderr


def _run(*command):
    if os.geteuid() != 0:
        command = ("sudo", "-n", *command)
    try:
        return subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    except OSError as error:
        return subprocess.CompletedProcess(command, 1, "", str(error))
