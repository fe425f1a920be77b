"""The job file: whole or refused, never half written, never written over, never a traceback."""

import os
import random
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing

import pytest

from satdiag import store
from satdiag.errors import BadInput, NotAJob, SatdiagError, StoreProblem
from satdiag.folder import job_hash
from satdiag.opening import open_job
from satdiag.store import (
    APPLICATION_ID,
    USER_VERSION,
    append_rows,
    check_job_file,
    create_job_file,
    open_live,
    read_job_file,
)
from tests.helpers import make_job, make_row
from tests.store.files import digests_by_hand, names, seal, sql

ROWS = "\n".join(
    f"{minute}:00 channel {minute} refused note='row {minute}, \"quoted\"' id=r{minute}" for minute in range(60)
)
LINEUP = "1,North,music,music\n2,South,talk,music talk"


@pytest.fixture(scope="module")
def job():
    return make_job(ROWS, "[service]\npackage = 'music'", LINEUP, {"gnss.nmea": bytes(range(256)) * 40})


@pytest.fixture
def place(job, tmp_path):
    create_job_file(tmp_path / "demo.satjob", job)
    return tmp_path / "demo.satjob"


# --- form ---------------------------------------------------------------------------------------------------------


def test_the_file_bears_our_mark_and_is_one_file_in_delete_mode(place):
    """Offsets of the database header: https://sqlite.org/fileformat2.html#the_database_header."""
    head = place.read_bytes()[:100]
    assert head[:16] == b"SQLite format 3\x00"
    assert head[68:72] == b"SDJB" == APPLICATION_ID.to_bytes(4, "big")
    assert int.from_bytes(head[60:64], "big") == USER_VERSION
    assert head[18:20] == b"\x01\x01"  # legacy journal, not WAL
    assert names(place) == ["demo.satjob"]
    assert sql(place, "PRAGMA journal_mode") == [("delete",)]


def test_one_row_an_observation_texts_as_written_in_order(job, place):
    found = sql(place, "SELECT number, time, value, note, id, raw FROM observations ORDER BY number")
    assert found == [(n, r.time, r.value, r.note, r.id, r.raw) for n, r in enumerate(job.rows, 1)]
    assert dict(sql(place, "SELECT name, bytes FROM documents")) == dict(job.documents)
    assert sql(place, "SELECT value FROM meta WHERE key = 'header'") == [(job.header,)]


def test_the_digests_are_those_of_the_content(place):
    right, found = digests_by_hand(place)
    assert found == right
    append_rows(place, [make_row("2:00:00 gap page lost span_s=30")])
    right, found = digests_by_hand(place)
    assert found == right
    assert "span_s" in read_job_file(place).header


def test_reading_gives_the_job_and_touches_nothing(job, place):
    before = place.read_bytes(), place.stat().st_mtime_ns
    assert job_hash(read_job_file(place)) == job_hash(job) == job_hash(open_job(place))
    assert check_job_file(place) == []
    assert (place.read_bytes(), place.stat().st_mtime_ns) == before
    assert names(place) == ["demo.satjob"]


def test_a_path_may_hold_any_character(job, tmp_path):
    place = tmp_path / "100% ä?#;&.satjob"
    create_job_file(place, job)
    append_rows(place, [make_row("2:00:00 power receiver off")])
    assert len(read_job_file(place).rows) == len(job.rows) + 1
    assert names(place) == [place.name]


@pytest.mark.skipif(os.name == "nt", reason="no umask there")
def test_a_new_file_has_the_rights_of_any_new_file(place):
    (place.parent / "plain").write_bytes(b"")
    assert place.stat().st_mode == (place.parent / "plain").stat().st_mode


# --- creating -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("taken", ["demo.satjob", "demo.satjob-journal", "demo.satjob-wal"])
def test_nothing_is_written_over(job, tmp_path, taken):
    (tmp_path / taken).write_bytes(b"mine")
    with pytest.raises(StoreProblem, match="it is there already"):
        create_job_file(tmp_path / "demo.satjob", job)
    assert (tmp_path / taken).read_bytes() == b"mine"
    assert [path.name for path in tmp_path.iterdir()] == [taken]


@pytest.mark.parametrize("links", [True, False])
def test_a_file_that_appears_meanwhile_is_not_written_over(job, tmp_path, monkeypatch, links):
    place = tmp_path / "demo.satjob"
    fill = store.create.fill

    def fill_and_be_overtaken(connection, job):
        fill(connection, job)
        place.write_bytes(b"theirs")

    def no_links(*_):
        raise OSError("no hard links on this medium")

    monkeypatch.setattr(store.create, "fill", fill_and_be_overtaken)
    if not links:
        monkeypatch.setattr("satdiag.safe_write.os.link", no_links)
    with pytest.raises(StoreProblem, match="it is there already"):
        create_job_file(place, job)
    assert place.read_bytes() == b"theirs"
    assert names(place) == ["demo.satjob"]


def test_a_medium_without_hard_links_will_do(job, tmp_path, monkeypatch):
    def no_links(*_):
        raise OSError("no hard links on this medium")

    monkeypatch.setattr("satdiag.safe_write.os.link", no_links)
    create_job_file(tmp_path / "demo.satjob", job)
    assert job_hash(read_job_file(tmp_path / "demo.satjob")) == job_hash(job)
    assert names(tmp_path / "demo.satjob") == ["demo.satjob"]


@pytest.mark.parametrize(
    "error", [sqlite3.OperationalError("database or disk is full"), OSError(28, "No space left")]
)
def test_a_full_disk_leaves_nothing_behind(job, tmp_path, monkeypatch, error):
    def full(*_):
        raise error

    monkeypatch.setattr(store.create, "insert_rows", full)
    with pytest.raises(StoreProblem, match=r"(full|No space left).*Nothing was left behind"):
        create_job_file(tmp_path / "demo.satjob", job)
    assert list(tmp_path.iterdir()) == []


# --- appending ----------------------------------------------------------------------------------------------------


def test_rows_are_added_at_the_end(job, place):
    row = make_row("2:00:00 power receiver off id=x1")
    added = append_rows(place, [row])
    stored = read_job_file(place)
    assert stored.rows == (*job.rows, row)
    assert job_hash(added) == job_hash(stored)
    assert check_job_file(place) == []
    assert names(place) == ["demo.satjob"]


def test_a_column_more_goes_into_the_header(place):
    append_rows(place, [make_row("2:00:00 gap page lost span_s=30")])
    assert read_job_file(place).header == "time,kind,subject,value,unit,source,note,span_s,id"


@pytest.mark.parametrize(
    ("line", "column"),
    [
        ("2:00:00 power receiver asleep", "value"),
        ("2:00:00 power receiver off id=r1", "id"),
        ("2:00:00 withdraw row nothing", "value"),
        ("2:00:00 site vehicle depot", "value"),
    ],
)
def test_rows_that_are_not_allowed_change_nothing(place, line, column):
    before = place.read_bytes()
    with pytest.raises(BadInput) as caught:
        append_rows(place, [make_row("2:00:00 power receiver off"), make_row(line)])
    assert [(problem.file, problem.column) for problem in caught.value.problems] == [("the new row", column)]
    assert place.read_bytes() == before
    assert names(place) == ["demo.satjob"]


def test_an_error_while_appending_takes_everything_back(place, monkeypatch):
    before = job_hash(read_job_file(place))

    def fail(*_):
        raise sqlite3.OperationalError("disk I/O error")

    monkeypatch.setattr(store.append, "set_meta", fail)
    with pytest.raises(StoreProblem):
        append_rows(place, [make_row("2:00:00 power receiver off")])
    monkeypatch.undo()
    assert job_hash(read_job_file(place)) == before


def test_two_writers_do_not_meet(place, monkeypatch):
    monkeypatch.setattr(store.connect, "BUSY_S", 0.05)
    with closing(sqlite3.connect(place, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreProblem, match="another program is using it"):
            append_rows(place, [make_row("2:00:00 power receiver off")])
        assert len(read_job_file(place).rows) == 60  # readers go on
        other.execute("ROLLBACK")
    append_rows(place, [make_row("2:00:00 power receiver off")])


def test_a_newer_format_is_read_and_not_written(job, place):
    sql(place, "ALTER TABLE observations ADD COLUMN quality TEXT", "PRAGMA user_version = 3")
    before = place.read_bytes()
    assert job_hash(read_job_file(place)) == job_hash(job)
    for attempt in (open_live, lambda path: append_rows(path, [make_row("2:00:00 power receiver off")])):
        with pytest.raises(StoreProblem, match=r"format 3, from a newer satdiag.*Update satdiag"):
            attempt(place)
    assert place.read_bytes() == before
    problems = check_job_file(place)
    assert len(problems) == 1
    assert "format 3" in problems[0].what


@pytest.mark.parametrize(
    "statement",
    [
        "DROP TABLE parts",
        "DROP TABLE observations",
        "CREATE VIEW v AS SELECT 1",
        "PRAGMA user_version = 0",
        "UPDATE sqlite_master SET sql = 'CREATE VIRTUAL TABLE parts USING x(a)', rootpage = 0 WHERE name = 'parts'",
    ],
)
def test_a_newer_format_without_what_we_need_is_refused(place, statement):
    sql(place, "PRAGMA user_version = 3", "PRAGMA writable_schema = ON", statement)
    for attempt in (read_job_file, check_job_file, open_live):
        with pytest.raises(StoreProblem, match=r"not known here|not those of a job file|from a newer satdiag"):
            attempt(place)


# --- a writer that was killed ---------------------------------------------------------------------------------------


KILLED = """
import os, sqlite3, sys
connection = sqlite3.connect(sys.argv[1], isolation_level=None)
connection.execute("PRAGMA cache_size = 1")  # pages reach the file before the transaction ends
connection.execute("BEGIN IMMEDIATE")
connection.execute("UPDATE observations SET note = note || 'half done ' || hex(randomblob(500))")
os._exit(9)
"""


def test_what_a_killed_writer_left_half_done_is_undone(job, place):
    found = subprocess.run([sys.executable, "-c", KILLED, str(place)], timeout=60, check=False)
    assert found.returncode == 9
    assert names(place) == ["demo.satjob", "demo.satjob-journal"]
    assert b"half done" in place.read_bytes()
    assert job_hash(read_job_file(place)) == job_hash(job)
    assert names(place) == ["demo.satjob"]


def test_a_file_left_in_wal_mode_is_read(job, place):
    """As a recorder leaves it that was killed: the last rows are in the -wal alone."""
    with closing(sqlite3.connect(place, isolation_level=None)) as connection:
        connection.execute("PRAGMA journal_mode=WAL")
        connection.execute("UPDATE meta SET value = value WHERE key = 'header'")
        assert names(place) == ["demo.satjob", "demo.satjob-shm", "demo.satjob-wal"]
        assert job_hash(read_job_file(place)) == job_hash(job)
    append_rows(place, [make_row("2:00:00 power receiver off")])
    assert names(place) == ["demo.satjob"]
    assert sql(place, "PRAGMA journal_mode") == [("delete",)]


# --- files that are not whole, or not ours -------------------------------------------------------------------------


@pytest.mark.parametrize(
    "data", [b"", b"\x89PNG\r\n\x1a\n" + bytes(200), b"time,kind\n", b"SQLite format 3\x00" + bytes(84)], ids=repr
)
def test_other_files_are_no_jobs(tmp_path, data):
    place = tmp_path / "demo.satjob"
    place.write_bytes(data)
    for attempt in (read_job_file, check_job_file, open_live, lambda path: append_rows(path, [])):
        with pytest.raises((NotAJob, StoreProblem)) as caught:
            attempt(place)
        assert str(place) in str(caught.value)
    assert place.read_bytes() == data


def test_a_database_of_another_program_is_no_job(tmp_path):
    sql(tmp_path / "other.db", "CREATE TABLE observations (a)")
    with pytest.raises(NotAJob, match="not a job file of satdiag"):
        read_job_file(tmp_path / "other.db")
    with pytest.raises(NotAJob, match="nothing there"):
        open_job(tmp_path / "missing.satjob")
    with pytest.raises(NotAJob, match="no file there"):
        read_job_file(tmp_path)


@pytest.mark.parametrize(
    "statement",
    [
        "CREATE TRIGGER t AFTER INSERT ON observations BEGIN DELETE FROM observations; END",
        "CREATE VIEW v AS SELECT 1",
        "CREATE TABLE more (a)",
        "DROP TABLE documents",
        "ALTER TABLE meta RENAME TO meta2",
        "DROP TABLE parts",
    ],
)
def test_a_schema_that_is_not_ours_is_refused_before_use(place, statement):
    sql(place, statement)
    before = place.read_bytes()
    for attempt in (read_job_file, check_job_file, open_live, lambda path: append_rows(path, [])):
        with pytest.raises(StoreProblem, match="its tables are not those of a job file"):
            attempt(place)
    assert place.read_bytes() == before


def test_an_endless_view_does_not_hang_us(place):
    endless = "WITH RECURSIVE n(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM n) SELECT x FROM n"
    sql(place, "DROP TABLE documents", f"CREATE VIEW documents(name, bytes) AS SELECT x, x FROM ({endless})")
    for version in (1, 2, 3):
        sql(place, f"PRAGMA user_version = {version}")
        with pytest.raises(StoreProblem):
            read_job_file(place)


@pytest.mark.parametrize(
    ("statement", "found"),
    [
        ("UPDATE observations SET value = 'authorised' WHERE number = 3", "a byte has changed"),
        ("UPDATE observations SET number = number + 100 WHERE number = 3", "a byte has changed"),
        ("DELETE FROM observations WHERE number = 60", "a byte has changed"),
        ("UPDATE documents SET bytes = x'00' WHERE name = 'gnss.nmea'", "a byte has changed"),
        ("UPDATE documents SET name = '../../evil.toml' WHERE name = 'gnss.nmea'", "a byte has changed"),
        ("UPDATE documents SET bytes = 'text' WHERE name = 'gnss.nmea'", "wrong type"),
        ("UPDATE observations SET value = x'41' WHERE number = 3", "wrong type"),
        ("UPDATE observations SET note = CAST(x'ff41' AS TEXT) WHERE number = 3", "UTF-8"),
        ("UPDATE observations SET raw = 'x' WHERE number = 3", "a byte has changed"),
        ("DELETE FROM meta WHERE key = 'header'", "header"),
        ("DELETE FROM meta WHERE key = 'sha256'", "a byte has changed"),
        ("DELETE FROM meta WHERE key = 'rows_sha256'", "a byte has changed"),
        ("DELETE FROM meta WHERE key = 'parts_sha256'", "a byte has changed"),
        ("UPDATE observations SET number = 61 WHERE number = 60", "a byte has changed"),
        ("INSERT INTO parts VALUES (1, 'raw-r1.jsonl', x'7b7d')", "a byte has changed"),
    ],
)
def test_content_that_was_changed_is_found(place, statement, found):
    sql(place, statement)
    with pytest.raises(StoreProblem, match=found):
        read_job_file(place)


def test_a_foreign_writer_cannot_name_files_outside_the_folder(place):
    """Even with a right digest: the names of the files are those of a job or the file is refused."""
    sql(place, "UPDATE documents SET name = '../../evil.toml' WHERE name = 'gnss.nmea'")
    seal(place)
    with pytest.raises(BadInput, match="does not belong to a job"):
        read_job_file(place)
    assert [problem.file for problem in check_job_file(place)] == ["../../evil.toml"]


def test_a_raw_line_that_says_something_else_is_found(place):
    sql(place, "UPDATE observations SET raw = 'x' WHERE number = 3")
    seal(place)
    with pytest.raises(BadInput, match="differs from the row as read"):
        read_job_file(place)


def _outcome(attempt):
    """What an attempt gives: its result, or the one kind of error that it may raise."""
    try:
        return attempt()
    except SatdiagError as error:
        return error


def test_flipped_bits_are_found_or_harmless(job, quick):
    """400 files with one flipped bit: the same job or one of our errors, and `check` agrees."""
    place = quick / "demo.satjob"
    create_job_file(place, job)
    rng = random.Random(20310503)
    whole, right = place.read_bytes(), job_hash(job)
    refused = 0
    for _ in range(400):
        at, bit = rng.randrange(len(whole)), rng.randrange(8)
        place.write_bytes(whole[:at] + bytes([whole[at] ^ 1 << bit]) + whole[at + 1 :])
        found, checked = _outcome(lambda: read_job_file(place)), _outcome(lambda: check_job_file(place))
        if isinstance(found, SatdiagError):
            refused += 1
            assert isinstance(found, (NotAJob, StoreProblem)), repr(found)
            assert checked, f"byte {at}, bit {bit}: read refused it ({found}), check found nothing"
        else:
            assert job_hash(found) == right, f"byte {at}, bit {bit}: another job was read"
    assert refused > 100


def test_rubbish_in_a_page_is_found_or_harmless(job, quick):
    place = quick / "demo.satjob"
    create_job_file(place, job)
    rng = random.Random(7)
    whole, right = place.read_bytes(), job_hash(job)
    for _ in range(150):
        at, length = rng.randrange(len(whole)), rng.randrange(1, 300)
        place.write_bytes((whole[:at] + rng.randbytes(length) + whole[at + length :])[: len(whole)])
        found = _outcome(lambda: read_job_file(place))
        assert isinstance(found, (NotAJob, StoreProblem)) or job_hash(found) == right
        appended = _outcome(lambda: append_rows(place, [make_row("2:00:00 power receiver off")]))
        assert isinstance(appended, (NotAJob, StoreProblem)) or len(appended.rows) == 61
    assert names(place) == ["demo.satjob"]


def test_truncated_files_are_refused(place):
    rng = random.Random(11)
    whole = place.read_bytes()
    lengths = [0, 1, 15, 16, 99, 100, *(rng.randrange(len(whole)) for _ in range(100)), len(whole) - 1]
    for length in lengths:
        place.write_bytes(whole[:length])
        assert isinstance(_outcome(lambda: read_job_file(place)), (NotAJob, StoreProblem)), length


def test_a_copy_of_the_one_file_is_whole(job, place, tmp_path):
    shutil.copy(place, tmp_path / "copy.satjob")
    assert job_hash(read_job_file(tmp_path / "copy.satjob")) == job_hash(job)
