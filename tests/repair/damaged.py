"""A job file as a recording leaves it, ways to damage it, and what SQLite itself says of its pages."""

import random
import sqlite3
from contextlib import closing
from itertools import accumulate
from typing import NamedTuple

from satdiag.rows import Row
from satdiag.store import append_rows, create_job_file, read_job_file
from tests.helpers import make_job, time_text

PAGE = 4096
ROWS = 2000
LINEUP = "1,North,music,music\n2,South,talk,music talk"
RAW = "raw-r1.jsonl"


def row(number):
    """Row `number` of a recording: most are short, a few have a note in many words, and one in 500 fills pages."""
    note = "wet leaves über der Straße " * (number % 7 if number % 11 == 0 else 0)
    if number % 500 == 250:
        note = "".join(f"{number} and {other}; " for other in range(900))
    kind, subject, value, unit = ("signal", "satellite:east", f"{number % 20}.5", "dB")
    if number % 5 == 0:
        kind, subject, value, unit = ("lock", "satellite:east", "no" if number % 400 == 0 else "yes", "")
    return Row(
        time_text(10.0 * number), kind, subject, value, unit, "serial:bench-lines", note, "", "r1",
        f"{10 * number}.0", f"r1-{number}",
    )  # fmt: skip


def write_job_file(place, count=ROWS):
    """A job file of so many rows, added in pieces as they were recorded, with a line of a raw document for each."""
    job = make_job("", "[service]\npackage = 'music'", LINEUP, {"gnss.nmea": b"$GPZDA,demo*00\r\n" * 900})
    create_job_file(place, job)
    for first in range(1, count + 1, 250):
        rows = [row(number) for number in range(first, min(first + 250, count + 1))]
        lines = b"".join(b'{"id": "%s"}\n' % one.id.encode() for one in rows)
        append_rows(place, rows, [(RAW, lines)])
    return read_job_file(place)


class Pages(NamedTuple):
    """Where the rows lie, as SQLite says: numbers (first, last) by leaf page, and overflow pages by leaf page."""

    leaves: dict[int, tuple[int, int]]
    overflow: dict[int, list[int]]


def has_dbstat():
    """Whether this SQLite was built with its table of pages (https://www.sqlite.org/dbstat.html)."""
    with closing(sqlite3.connect(":memory:")) as connection:
        try:
            connection.execute("SELECT 1 FROM dbstat LIMIT 1").fetchall()
        except sqlite3.OperationalError:
            return False
    return True


def pages_of(place):
    """The leaf pages of the observations in their order; in an append-only table they hold its numbers in turn."""
    query = "SELECT path, pageno, pagetype, ncell FROM dbstat WHERE name = 'observations' ORDER BY path"
    with closing(sqlite3.connect(place)) as connection:
        found = connection.execute(query).fetchall()
    leaves = [(path, page, cells) for path, page, kind, cells in found if kind == "leaf"]
    ends = list(accumulate(cells for _, _, cells in leaves))
    spans = {page: (end - cells + 1, end) for (_, page, cells), end in zip(leaves, ends, strict=True)}
    overflow = {
        page: [other for above, other, kind, _ in found if kind == "overflow" and above.startswith(path)]
        for path, page, _ in leaves
    }
    return Pages(spans, overflow)


def sure_rows(pages, touched):
    """The numbers of the rows on leaf pages that no damage has touched, nor any page that they run over."""
    found = set()
    for page, (first, last) in pages.leaves.items():
        if not touched & {page, *pages.overflow[page]}:
            found |= set(range(first, last + 1))
    return found


def cut(data, at):
    """The file cut off at a byte, and the pages that are touched."""
    return data[:at], set(range(at // PAGE + 1, len(data) // PAGE + 2))


def overwritten(data, at, more):
    """The file with other bytes from a place on, and the pages that are touched."""
    changed = (data[:at] + more + data[at + len(more) :])[: len(data)]
    return changed, set(range(at // PAGE + 1, (min(at + len(more), len(data)) - 1) // PAGE + 2))


def any_damage(data, leaves, seed):
    """One to three damages by chance: a cut, zeros or garbage over bytes, sectors or pages, a leaf page over another.

    A few letters that happen to be readable text cannot be told from the true ones but by the digest: that is tried
    apart.
    """
    rng = random.Random(seed)
    touched, whole = set(), len(data)
    for _ in range(rng.choice((1, 1, 2, 3))):
        at = rng.randrange(len(data))
        if rng.random() < 0.5:
            at -= at % rng.choice((512, PAGE))
        size = rng.choice((24, 512, 1024, PAGE, 3 * PAGE, 20 * PAGE))
        what = rng.choice(("cut", "zeros", "garbage", "old"))
        if what == "cut" and at > PAGE:
            data, more = cut(data, at)
        elif what == "garbage":
            data, more = overwritten(data, at, rng.randbytes(size))
        elif what == "old" and len(data) == whole:  # as a medium that mixes up its blocks would leave it
            one, other = rng.sample(sorted(leaves), 2)
            data, more = overwritten(data, (one - 1) * PAGE, data[(other - 1) * PAGE : other * PAGE])
        else:
            data, more = overwritten(data, at, bytes(size))
        touched |= more
    return data, touched
