"""Rows taken over from a job file as JSON arrays say what its values say; rows by column are put together."""

import json
import sqlite3
from contextlib import closing

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from satdiag.bulk import ColumnRows, columns_of_rows, read_arrays
from satdiag.bulk.laying import counted, laid, words
from satdiag.job import build_job, with_columns, with_rows
from satdiag.rows import OPTIONAL_COLUMNS, Row
from satdiag.store import create_job_file, read, read_job_file
from satdiag.store.append import insert_rows
from satdiag.store.format import SCHEMAS, digests_of, rows_bytes

SHEET = {"job.toml": b'[job]\nid = "demo"\nopened = 2031-05-03T13:00:00Z\nreason = "check"\n'}
HEADER = "time,kind,subject,value,unit,source,note,run,elapsed_s,id"

ODD = st.sampled_from(
    ['said "so"', "back\\slash", "caf\u00e9 \U0001f4e1", "two\nlines", "\u2028", ",null]", '","', "\x7f", ""]
)
TEXT = ODD | st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=8) | st.just("long " * 80)
PLAIN = st.text(st.characters(min_codepoint=1, max_codepoint=127), max_size=12)
ROWS = st.builds(Row, PLAIN, *[TEXT] * 7, TEXT, PLAIN, PLAIN, st.none() | TEXT)


def one_by_one(connection, monkeypatch):
    """The rows by the reader of single values."""
    with monkeypatch.context() as patched:
        patched.setattr(read, "_read_by_column", lambda _: None)
        return read._read_rows(connection, None, True)


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(rows=st.lists(ROWS, min_size=4, max_size=12))
def test_whatever_stands_in_a_file_is_read_alike_by_both_ways(rows, monkeypatch):
    """Not only what a job may hold: a file is read, and its digests taken, before it is checked."""
    monkeypatch.setattr(read, "_ROWS_AT_ONCE", 3)
    with closing(sqlite3.connect(":memory:")) as file:
        file.execute(SCHEMAS[2]["observations"])
        file.executemany(
            f"INSERT INTO observations VALUES ({', '.join('?' * 13)})", [(n, *row) for n, row in enumerate(rows, 1)]
        )
        found = read._read_by_column(file)
        assert one_by_one(file, monkeypatch) == rows
    assert isinstance(found, ColumnRows)
    assert list(found) == rows
    assert found == rows
    assert len(set(found.said)) == len(found.said)
    assert b"".join(rows_bytes(found)) == b"".join(rows_bytes(rows))
    with closing(sqlite3.connect(":memory:")) as file:
        file.execute(SCHEMAS[2]["observations"])
        insert_rows(file, found, 5)
        assert file.execute("SELECT * FROM observations").fetchall() == [(n, *row) for n, row in enumerate(rows, 5)]


@pytest.mark.parametrize(
    "odd",
    [
        [1, *"abcdefghijk"],
        [*"abcdefghijk", 1],
        [None, *"bcdefghijk", "raw"],
        [*"abcdefghij", None, "raw"],
        [*"abcdefghij"],
        ["caf\u00e9", *"bcdefghijk", None],
        ["x" * 65, *"bcdefghijk", None],
    ],
    ids=str,
)
def test_arrays_of_anything_else_are_left_to_the_other_way(odd):
    good = json.dumps([*"abcdefghijk", None], separators=(",", ":"))
    found = read_arrays([[good, good]])
    assert found == [Row(*"abcdefghijk")] * 2
    assert read_arrays([[good, json.dumps(odd, separators=(",", ":"), ensure_ascii=False), good]]) is None


def test_no_arrays_are_no_rows():
    assert read_arrays([]) == []


@pytest.fixture(scope="module")
def long_job():
    """A job longer than what is read one by one, one row of it as written otherwise."""
    rows = [
        Row(f"2031-05-03T13:{n // 60 % 60:02d}:{n % 60:02d}.{n // 3600}Z", "note", "feed", f"w{n % 7}", id=f"a{n}")
        for n in range(4200)
    ]
    rows[7] = rows[7]._replace(raw=f'{rows[7].time},note,feed,"w0",,,,,,a7')
    return build_job(SHEET, rows, HEADER)


def test_a_sqlite_without_json_reads_the_same(long_job, tmp_path, monkeypatch):
    create_job_file(tmp_path / "x.satjob", long_job)
    monkeypatch.setattr(read, "_ARRAYS", "SELECT no_such_function(time) FROM observations")
    assert read_job_file(tmp_path / "x.satjob").rows == long_job.rows


def test_columns_and_rows_are_added_to_rows_by_column_as_to_others(long_job):
    by_column = build_job(SHEET, columns_of_rows(long_job.rows), HEADER)
    assert isinstance(by_column.rows, ColumnRows)
    new = [Row("2031-05-03T15:00:00Z", "note", "feed", "w1", span_s="3", id=f"b{n}", raw="dropped") for n in range(2)]
    wide, whole = (with_columns(by_column, OPTIONAL_COLUMNS), with_rows(by_column, new))
    for one, other in ((wide, with_columns(long_job, OPTIONAL_COLUMNS)), (whole, with_rows(long_job, new))):
        assert isinstance(one.rows, ColumnRows)
        assert one.rows == other.rows
        assert one.header == other.header
        assert digests_of(one.header, SHEET, one.rows).texts() == digests_of(other.header, SHEET, other.rows).texts()
    assert whole.rows != wide.rows
    assert wide.rows == with_columns(by_column, OPTIONAL_COLUMNS).rows
    assert wide.rows != by_column.rows


def test_texts_are_laid_out_with_their_lengths():
    texts = np.array([b"", b"ab", b"0123456789", b"a\x1fb"], dtype="S12")
    assert laid([*counted(texts), b"\n"], 4) == [b"0:\n", b"2:ab\n", b"10:0123456789\n", b"3:a\x1fb\n"]
    assert words(texts) == ["", "ab", "0123456789", "a\x1fb"]
    assert words(texts[:0]) == []
