"""A job file with a long log: read by column, with the digests and the export of the same rows one by one."""

import sqlite3
from contextlib import closing

import pytest

from satdiag.bulk import ColumnRows, columns_of_rows
from satdiag.errors import StoreProblem
from satdiag.folder import export_files, job_hash
from satdiag.job import build_job, extra_columns
from satdiag.rows import Row
from satdiag.store import append_rows, create_job_file, read_job_file
from satdiag.store.format import digests_of, row_bytes, rows_bytes

SHEET = {"job.toml": b'[job]\nid = "demo"\nopened = 2031-05-03T13:00:00Z\nreason = "check"\n'}
HEADER = "time,kind,subject,value,unit,source,note,run,elapsed_s,id"
COUNT = 5000


def row(number):
    """A row of a long log; now and then a note with a comma, and one as written in needless quotes."""
    time = f"2031-05-03T13:{number // 60 % 60:02d}:{number % 60:02d}.{number // 3600:03d}Z"
    own = ("r1", f"{number}.25", f"r1-{number}")
    if number % 1000 == 7:
        raw = f'{time},note,feed,"warm",,hand,,{",".join(own)}'
        return Row(time, "note", "feed", "warm", "", "hand", "", "", *own, raw)
    note = "dry, warm" if number % 900 == 5 else ""
    return Row(time, "signal", "satellite", f"{number % 40 / 2:.1f}", "dB", "serial:levels", note, "", *own)


@pytest.fixture(scope="module")
def plain():
    """The job with its rows one by one."""
    return build_job(SHEET, tuple(map(row, range(COUNT))), HEADER)


@pytest.fixture
def place(plain, tmp_path):
    """A job file of it."""
    create_job_file(tmp_path / "demo.satjob", plain)
    return tmp_path / "demo.satjob"


def test_a_long_job_file_is_read_by_column_and_holds_the_same(plain, place):
    job = read_job_file(place)
    assert isinstance(job.rows, ColumnRows)
    assert job.rows == plain.rows
    assert export_files(job) == export_files(plain)
    assert job_hash(job) == job_hash(plain)
    assert extra_columns(job.rows) == extra_columns(plain.rows) == ("run", "elapsed_s", "id")


def test_files_made_of_rows_by_column_and_one_by_one_are_alike(plain, place, tmp_path):
    create_job_file(tmp_path / "again.satjob", read_job_file(place))
    found = []
    for name in ("demo.satjob", "again.satjob"):
        with closing(sqlite3.connect(tmp_path / name)) as file:
            found.append([file.execute(f"SELECT * FROM {table}").fetchall() for table in ("meta", "observations")])
    assert found[0] == found[1]


def test_digests_put_together_many_at_a_time_are_those_of_each_row(plain):
    wanted = b"".join(map(row_bytes, plain.rows))
    columns = columns_of_rows(plain.rows)
    assert b"".join(rows_bytes(plain.rows)) == wanted
    assert b"".join(rows_bytes(columns)) == wanted
    assert digests_of(HEADER, SHEET, columns).texts() == digests_of(HEADER, SHEET, plain.rows).texts()


def test_rows_are_added_to_a_long_file(plain, place):
    whole = append_rows(place, [row(COUNT)])
    assert len(whole.rows) == COUNT + 1
    assert read_job_file(place).rows == whole.rows == (*plain.rows, row(COUNT))


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE observations SET value = '3.0' WHERE number = 4500",
        "UPDATE observations SET value = x'33' WHERE number = 4500",
        "UPDATE observations SET value = x'1733' WHERE number = 4500",  # '3' as SQLite's own binary JSON
        "UPDATE observations SET raw = x'33' WHERE number = 4500",
        "DELETE FROM observations WHERE number = 4500",
        "UPDATE observations SET number = 9000 WHERE number = 5000",
    ],
)
def test_a_change_far_behind_in_a_long_file_is_seen(place, change):
    with closing(sqlite3.connect(place)) as file:
        file.execute(change)
        file.commit()
    with pytest.raises(StoreProblem, match=r"the content is not what was written|a field has the wrong type"):
        read_job_file(place)


def test_a_text_that_no_column_takes_leaves_the_rows_one_by_one(plain, tmp_path):
    rows = [*plain.rows[:4990], *(one._replace(id=f"\u0434{n}") for n, one in enumerate(plain.rows[4990:]))]
    assert columns_of_rows(rows) is None
