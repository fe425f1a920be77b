"""A job file whose header, or way of quoting, is lost: its rows say what they said, and what is lost is told."""

import sqlite3
from contextlib import closing

import pytest

from satdiag.folder import export_files
from satdiag.job import build_job
from satdiag.repair import recover, repair
from satdiag.store import create_job_file, read_job_file
from tests.helpers import SHEET, make_rows

HEAD = "time,kind,subject,value,unit,source,note"
ROWS = """
0:00 power receiver awake id=a1
0:10 note any "one, two" id=a2
0:20 signal any 3 dB id=a3
"""


@pytest.fixture
def place(tmp_path):
    """A job file of three rows, one of them as written in needless quotes."""
    rows = make_rows(ROWS)
    rows[0] = rows[0]._replace(raw=f'{rows[0].time},power,"receiver",awake,,,,a1')
    create_job_file(tmp_path / "demo.satjob", build_job({"job.toml": SHEET.encode()}, rows, f"{HEAD},id"))
    return tmp_path / "demo.satjob"


def damage(place, *statements):
    with closing(sqlite3.connect(place, isolation_level=None)) as connection:
        for statement in statements:
            connection.execute(statement)


@pytest.mark.parametrize(
    "header", ["DELETE FROM meta WHERE key = 'header'", *(
        f"UPDATE meta SET value = '{text}' WHERE key = 'header'" for text in (HEAD, "time;kind", f"{HEAD},\"id")
    )], ids=["gone", "without a column", "of no log", "in an open quote"],
)  # fmt: skip
def test_a_header_that_is_lost_is_found_again_from_rows_as_they_were_written(place, header):
    whole = read_job_file(place)
    damage(place, header)
    job, losses = recover(place)
    assert [row for row in job.rows if row.source != "repair"] == list(whole.rows)
    assert job.header.split(",")[:8] == whole.header.split(",")
    assert "the header of the observations is lost and was made anew from the rows" in losses.remarks
    assert not losses.holes


def test_quoting_that_no_longer_says_what_the_row_says_is_dropped_and_told(place, tmp_path):
    damage(
        place,
        "UPDATE observations SET raw = '\"open' WHERE number = 2",
        "UPDATE observations SET raw = '2031,x' WHERE number = 3",
        "UPDATE meta SET value = 'nothing' WHERE key = 'header'",
    )
    job, losses = repair(place, tmp_path / "new")
    assert "how some rows were quoted is lost; what they say is not" in losses.remarks
    assert [row.value for row in job.rows][:3] == ["awake", "one, two", "3"]
    assert [row.raw and row.raw[20:] for row in job.rows][:3] == [',power,"receiver",awake,,,,a1', None, None]
    text = export_files(job)["observations.csv"].decode()
    assert '2031-05-03T14:00:10Z,note,any,"one, two",' in text
    assert text == (tmp_path / "new" / "observations.csv").read_text("utf-8")


def test_a_digest_that_is_lost_leaves_open_whether_a_letter_has_changed(place):
    damage(place, "DELETE FROM meta WHERE key = 'rows_sha256'")
    job, losses = recover(place)
    assert losses.agree == {"rows": None, "documents": True, "parts": True}
    told = "\n".join(losses.lines())
    assert "the digest of the observations is lost: whether a letter in them has changed cannot be told." in told
    assert "digest of the rows: gone" in job.rows[-1].value
