"""What seldom happens to a job file: long ones gain a column, documents are put in while a reader looks on."""

import sqlite3
from contextlib import closing

import pytest

from satdiag.bulk import ColumnRows
from satdiag.errors import NotAJob, StoreProblem
from satdiag.folder import export_files
from satdiag.job import build_job
from satdiag.rows import Row
from satdiag.store import append_rows, check_job_file, create_job_file, open_live, read_job_file
from satdiag.store.format import row_bytes, rows_bytes
from satdiag.store.medium import check_medium, network_drive
from tests.helpers import SHEET, make_job, make_row
from tests.store.files import RAW, digests_by_hand, live_row, looking

LINEUP = b"channel,name,category,packages\n31,A,news,music\n"
COUNT = 4500


@pytest.fixture
def place(tmp_path):
    """A job file with one row."""
    create_job_file(tmp_path / "demo.satjob", make_job("0:00 power receiver awake"))
    return tmp_path / "demo.satjob"


@pytest.fixture
def long_place(tmp_path):
    """A job file of more rows than are read one by one, two of them in needless quotes."""
    rows = [
        Row(f"2031-05-03T14:{n // 60 % 60:02d}:{n % 60:02d}.{n // 3600}Z", "note", "feed", f"w{n % 7}")
        for n in range(COUNT)
    ]
    for n in (5, 4400):
        rows[n] = rows[n]._replace(raw=f'{rows[n].time},note,"feed",{rows[n].value},,,')
    create_job_file(tmp_path / "long.satjob", build_job({"job.toml": SHEET.encode()}, rows))
    return tmp_path / "long.satjob"


@pytest.mark.parametrize("live", [False, True], ids=["a row added", "recorded into"])
def test_rows_as_written_of_a_long_file_gain_the_blank_fields_of_new_columns(long_place, live):
    new = live_row(1)
    if live:
        with open_live(long_place) as file:
            file.append([new])
    else:
        append_rows(long_place, [new])
    right, found = digests_by_hand(long_place)
    assert found == right
    job = read_job_file(long_place)
    assert isinstance(job.rows, ColumnRows)
    lines = export_files(job)["observations.csv"].decode().splitlines()
    blank = "," * (4 if live else 3)
    assert lines[0] == f"time,kind,subject,value,unit,source,note{',span_s' * live},run,elapsed_s,id"
    assert lines[6] == f'2031-05-03T14:00:05.0Z,note,"feed",w5,,,{blank}'
    assert lines[4401] == f'2031-05-03T14:13:20.1Z,note,"feed",w4,,,{blank}'
    assert lines[-1].endswith(",r1,1.0,r1-1")


def test_more_different_rows_than_are_kept_in_mind_have_the_same_digest():
    rows = [Row("2031-05-03T14:00:00Z", "note", "feed", f"w{n}") for n in range(20_000)]
    assert b"".join(rows_bytes(rows)) == b"".join(map(row_bytes, rows))


def test_what_was_made_for_another_state_of_the_file_is_not_added(place):
    before = read_job_file(place)
    append_rows(place, [make_row("0:10 power receiver off")])
    with pytest.raises(StoreProblem, match=r"it has changed since it was read, and nothing was added"):
        append_rows(place, [make_row("0:20 power receiver awake")], [(RAW, b"x\n")], onto=before)
    assert [row.value for row in read_job_file(place).rows] == ["awake", "off"]
    added = append_rows(place, [], [(RAW, b"x\n")], onto=read_job_file(place))
    assert added.documents[RAW] == read_job_file(place).documents[RAW] == b"x\n"


# --- while it is recorded into -------------------------------------------------------------------------------------


def test_a_line_up_is_put_in_while_a_reader_holds_the_log(place):
    with open_live(place) as live, closing(sqlite3.connect(looking(place), uri=True)) as reader:
        reader.execute("BEGIN")
        reader.execute("SELECT count(*) FROM observations").fetchone()
        live.begin("r1", "2031-05-03T14:00:00Z")
        live.replace_documents({"lineup.csv": LINEUP}, [live_row(1)])
        assert read_job_file(place).lineup[0].channel == 31
    assert read_job_file(place).rows[-1].id == "r1-1"
    right, found = digests_by_hand(place)
    assert found == right


def test_a_text_that_is_no_utf_8_is_refused_with_its_document(place):
    with open_live(place) as live:
        with pytest.raises(StoreProblem, match="cannot be written as UTF-8"):
            live.replace_documents({"lineup.csv": LINEUP}, [live_row(1, "\ud800")])
        with pytest.raises(ValueError, match="not a document that is replaced"):
            live.replace_documents({"ring.toml": b""})
        live.replace_documents({"lineup.csv": LINEUP})
    assert read_job_file(place).lineup is not None
    assert len(read_job_file(place).rows) == 1


def test_what_an_earlier_error_left_begun_is_taken_back_first(place):
    """As after an error of the medium at which SQLite could not take it back itself."""
    with open_live(place) as live:
        for do in (lambda: live.append([live_row(1)]), lambda: live.replace_documents({"lineup.csv": LINEUP})):
            live._connection.execute("BEGIN")
            live._connection.execute("DELETE FROM observations")
            do()
        live._connection.execute("BEGIN")
        live._connection.execute("DELETE FROM observations")
    assert [row.kind for row in read_job_file(place).rows] == ["power", "signal"]
    assert check_job_file(place) == []


def test_after_the_end_nothing_is_taken(place):
    with open_live(place) as live:
        pass
    assert live.close() == ""
    for do in (lambda: live.append([live_row(1)]), lambda: live.replace_documents({"lineup.csv": LINEUP})):
        with pytest.raises(ValueError, match="the file was closed"):
            do()
    with pytest.raises(ValueError, match="the job was released"):
        _ = live.job


def test_the_bare_copy_of_a_file_that_is_recorded_into_says_that_rows_may_be_missing(place, tmp_path):
    with open_live(place) as live:
        live.begin("r1", "2031-05-03T14:00:00Z")
        live.append([live_row(1)])
        (tmp_path / "copy.satjob").write_bytes(place.read_bytes())
        (problem,) = check_job_file(tmp_path / "copy.satjob")
    assert "may be missing" in problem.what
    assert "Copy the file again now that the recording has ended" in problem.mend


def test_a_file_that_is_gone_is_named(place):
    with open_live(place) as live:
        place.rename(place.with_name("elsewhere.satjob"))
        with pytest.raises(StoreProblem, match="moved, replaced or deleted"):
            live.append([live_row(1)])
    with pytest.raises(NotAJob, match="no file there"):
        open_live(place)


# --- where it lies -------------------------------------------------------------------------------------------------


def test_a_system_whose_mounts_nobody_can_tell_is_taken_as_it_is(place):
    """This computer is none of the systems named here, so that their tables of mounts cannot be had."""
    for system in ("freebsd14", "darwin"):
        check_medium(place, environment={}, system=system)
    assert network_drive(r"\\server\share\a.satjob", "", "win32") == r"\\server\share"
    assert network_drive("C:\\jobs\\a.satjob", "", "win32") is None
