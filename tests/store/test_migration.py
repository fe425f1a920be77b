"""A file of the first format: read as it is, brought up to date before it is written, a copy kept."""

import sqlite3

import pytest

from satdiag import store
from satdiag.errors import BadInput, StoreProblem
from satdiag.folder import job_hash
from satdiag.store import append_rows, check_job_file, create_job_file, open_live, read_job_file
from tests.helpers import make_job, make_row
from tests.store.files import batch, digests_by_hand, names, recorded, small_disk, sql, write_format_1

ROWS = "0:00 account service confirmed id=a1\n0:30 power receiver awake note='on, \"at last\"'"
NOTE = "2:00:00 power receiver off"
BACKUP = "demo.satjob.format1-backup"


@pytest.fixture
def job():
    return make_job(ROWS, documents={"gnss.nmea": bytes(range(256)) * 40})


@pytest.fixture
def old(job, tmp_path):
    write_format_1(tmp_path / "demo.satjob", job)
    return tmp_path / "demo.satjob"


def live(place):
    """Open for recording and close again."""
    with open_live(place) as opened:
        opened.append(*batch(1, 3))


def note(place):
    """Add a row by hand."""
    append_rows(place, [make_row(NOTE)])


def test_it_is_read_without_being_touched(job, old):
    before = old.read_bytes()
    assert job_hash(read_job_file(old)) == job_hash(job)
    assert check_job_file(old) == []
    assert old.read_bytes() == before
    assert names(old) == ["demo.satjob"]


@pytest.mark.parametrize(
    ("statement", "found"),
    [
        ("UPDATE observations SET value = 'off' WHERE number = 2", "a byte has changed"),
        ("UPDATE meta SET value = 'x' WHERE key = 'sha256'", "a byte has changed"),
        ("CREATE TABLE parts (number INTEGER PRIMARY KEY, name TEXT NOT NULL, bytes BLOB NOT NULL)", "tables"),
        ("PRAGMA user_version = 2", "tables"),
    ],
)
@pytest.mark.parametrize("attempt", [read_job_file, live, note])
def test_a_changed_one_is_refused_and_never_brought_up_to_date(old, attempt, statement, found):
    sql(old, statement)
    before = old.read_bytes()
    with pytest.raises(StoreProblem, match=found):
        attempt(old)
    assert old.read_bytes() == before
    assert names(old) == ["demo.satjob"]


@pytest.mark.parametrize("attempt", [live, note])
def test_writing_brings_it_up_to_date_and_keeps_a_copy(job, old, attempt):
    before = old.read_bytes()
    attempt(old)
    assert sql(old, "PRAGMA user_version") == [(2,)]
    assert sql(old, "PRAGMA journal_mode") == [("delete",)]
    right, found = digests_by_hand(old)
    assert found == right
    assert read_job_file(old).rows[:2] == job.rows
    assert read_job_file(old).documents == job.documents or recorded(read_job_file(old)) == 3
    assert check_job_file(old) == []
    assert names(old) == ["demo.satjob", BACKUP]
    kept = old.with_name(BACKUP)
    assert job_hash(read_job_file(kept)) == job_hash(job)
    assert kept.read_bytes()[100:] == before[100:]  # but for a counter in the head, the file as it was
    attempt_again = note if attempt is live else live
    attempt_again(old)
    assert names(old) == ["demo.satjob", BACKUP], "once is enough"


def test_the_tables_are_then_those_of_a_new_file(job, old, tmp_path):
    note(old)
    create_job_file(tmp_path / "new.satjob", job)
    query = "SELECT type, name, sql FROM sqlite_master ORDER BY name"
    assert sql(old, query) == sql(tmp_path / "new.satjob", query)


def test_an_older_copy_is_never_written_over(job, old):
    old.with_name(BACKUP).write_bytes(b"mine")
    old.with_name(f"{BACKUP}-2").write_bytes(b"mine, too")
    live(old)
    assert old.with_name(BACKUP).read_bytes() == b"mine"
    assert old.with_name(f"{BACKUP}-2").read_bytes() == b"mine, too"
    assert job_hash(read_job_file(old.with_name(f"{BACKUP}-3"))) == job_hash(job)


def test_the_copy_holds_what_only_the_log_held(job, old):
    """A write-ahead log that a foreign program left: its rows are in the copy, which is one file."""
    writer = sqlite3.connect(old, isolation_level=None)
    writer.execute("PRAGMA journal_mode=WAL")
    writer.execute("UPDATE meta SET value = value || ' and more' WHERE key = 'written_by'")
    kept = store.migrate.keep_copy(old, 1)
    writer.close()
    assert sql(kept, "SELECT value FROM meta WHERE key = 'written_by'") == [("satdiag 0.1.0 and more",)]
    assert sql(kept, "PRAGMA journal_mode") == [("delete",)]
    assert job_hash(read_job_file(kept)) == job_hash(job)


def test_rows_that_are_not_allowed_migrate_nothing(old):
    before = old.read_bytes()
    with pytest.raises(BadInput):
        append_rows(old, [make_row("2:00:00 power receiver asleep")])
    assert old.read_bytes() == before
    assert names(old) == ["demo.satjob"]


@pytest.mark.parametrize("attempt", [live, note])
@pytest.mark.parametrize("after", range(4))
def test_a_migration_that_fails_halfway_changes_nothing(job, old, monkeypatch, attempt, after):
    """The k-th statement of the step fails; k = 0 is the first."""
    before = old.read_bytes()
    step = store.migrate._STEPS[1]

    class Failing:
        """A connection that fails at one statement."""

        def __init__(self, connection):
            self.connection, self.left = connection, after

        def execute(self, *arguments):
            return self._or_fail(self.connection.execute, arguments)

        def executemany(self, *arguments):
            return self._or_fail(self.connection.executemany, arguments)

        def _or_fail(self, run, arguments):
            self.left -= 1
            if self.left < 0:
                raise sqlite3.OperationalError("disk I/O error")
            return run(*arguments)

    def fail(connection, content):
        step(Failing(connection), content)
        if after >= 2:
            raise sqlite3.OperationalError("disk I/O error")

    monkeypatch.setattr(store.migrate, "_STEPS", {1: fail})
    with pytest.raises(StoreProblem, match="disk I/O error"):
        attempt(old)
    monkeypatch.undo()
    assert old.read_bytes() == before
    assert job_hash(read_job_file(old)) == job_hash(job) == job_hash(read_job_file(old.with_name(BACKUP)))
    assert names(old) == ["demo.satjob", BACKUP]
    attempt(old)
    assert names(old) == ["demo.satjob", BACKUP, f"{BACKUP}-2"]
    assert check_job_file(old) == []


def test_without_room_for_the_copy_nothing_is_changed(job, tmp_path):
    with small_disk(tmp_path, "400k") as disk:
        place = disk / "demo.satjob"
        write_format_1(place, make_job(ROWS, documents={"gnss.nmea": bytes(250_000)}))
        before = place.read_bytes()
        for attempt in (live, note):
            with pytest.raises(StoreProblem, match=r"format 1.*copy.*cannot be written.*Nothing was changed"):
                attempt(place)
            assert place.read_bytes() == before
            assert names(place) == ["demo.satjob"]
