"""The job file while it is recorded into: batches whole or not at all, true digests, readers that hold nobody up."""

import os
import random
import shutil
import sqlite3
import subprocess
import sys
import time
from contextlib import closing

import pytest

from satdiag import store
from satdiag.errors import NotAJob, SatdiagError, StoreProblem, StoreWaits
from satdiag.folder import export_files, job_hash, read_folder, write_folder
from satdiag.store import append_rows, check_job_file, create_job_file, open_live, read_job_file
from tests.helpers import make_job, make_row
from tests.store.files import NMEA, RAW, ROOT, batch, digests_by_hand, live_row, looking, names, recorded, sql

ROWS = "0:00 account service confirmed\n0:30 power receiver awake note='on, \"at last\"'"
STARTED = "2031-05-03T14:00:00Z"


@pytest.fixture
def job():
    return make_job(ROWS, documents={NMEA: b"$GPGGA,1\r\n"})


@pytest.fixture
def place(job, tmp_path):
    create_job_file(tmp_path / "demo.satjob", job)
    return tmp_path / "demo.satjob"


# --- what is recorded is there --------------------------------------------------------------------------------------


def test_rows_and_raw_lines_come_back_as_they_were_recorded(job, place, tmp_path):
    sent = [live_row(number) for number in range(1, 8)]
    with open_live(place) as live:
        assert live.job.rows == job.rows
        live.begin("r1", STARTED)
        live.append(sent[:3], [(RAW, b"one\n"), (NMEA, b"$GPGGA,2\r\n")])
        live.append([], [(RAW, b"\x00\xff no rows\n")])
        live.append(sent[3:], [(RAW, b"three"), (NMEA, b""), (RAW, b"\n")])
        assert live.row_count == 9
    found = read_job_file(place)
    assert found.rows == (*job.rows, *sent)
    assert found.documents[RAW] == b"one\n\x00\xff no rows\nthree\n"
    assert found.documents[NMEA] == b"$GPGGA,1\r\n$GPGGA,2\r\n"
    assert found.header == "time,kind,subject,value,unit,source,note,span_s,run,elapsed_s,id"
    assert check_job_file(place) == []
    write_folder(export_files(found), tmp_path / "out")
    again = read_folder(tmp_path / "out")
    assert job_hash(again) == job_hash(found)
    assert (tmp_path / "out" / RAW).read_bytes() == found.documents[RAW]


def test_rows_as_written_gain_blank_fields_for_the_new_columns(tmp_path):
    head = "time,kind,subject,value,unit,source,note,id\n"
    files = {"job.toml": b'[job]\nid = "demo"\n', "observations.csv": head.encode() + b'"2031-05-03T14:00:00Z",note'
             b',any,"kept, as is",,hand,,x1\n2031-05-03T14:00:01Z,power,receiver,off,,hand,,\n'}  # fmt: skip
    write_folder(files, tmp_path / "folder")
    create_job_file(tmp_path / "demo.satjob", read_folder(tmp_path / "folder"))
    with open_live(tmp_path / "demo.satjob") as live:
        live.append([live_row(1)])
    assert export_files(read_job_file(tmp_path / "demo.satjob"))["observations.csv"].decode().splitlines() == [
        "time,kind,subject,value,unit,source,note,span_s,run,elapsed_s,id",
        '"2031-05-03T14:00:00Z",note,any,"kept, as is",,hand,,,,,x1',
        "2031-05-03T14:00:01Z,power,receiver,off,,hand,,,,,",
        "2031-05-03T14:00:01Z,signal,satellite:east,1.5,dB,serial:bench-lines,,,r1,1.0,r1-1",
    ]


def test_the_digests_are_true_after_every_batch(place):
    with open_live(place) as live:
        for number in range(12):
            if number == 4:
                live.begin("r1", STARTED)
            live.append(*batch(7 * number + 1, 7))
            right, found = digests_by_hand(place, read_only=True)
            assert found == right
            assert recorded(read_job_file(place)) == 7 * number + 7
    right, found = digests_by_hand(place)
    assert found == right
    assert names(place) == ["demo.satjob"]


def test_a_second_recording_and_a_note_go_on_where_the_first_ended(place):
    with open_live(place) as live:
        live.append(*batch(1, 5))
    append_rows(place, [make_row("2:00:00 power receiver off id=hand-1")])
    with open_live(place) as live:
        live.append(*batch(6, 5))
    found = read_job_file(place)
    assert recorded(found) == 10
    assert [row.id for row in found.rows[-6:]] == ["hand-1", *(f"r1-{number}" for number in range(6, 11))]
    assert check_job_file(place) == []


def test_at_rest_it_is_one_file_and_while_recording_it_is_safe(place):
    with open_live(place) as live:
        asked = {
            pragma: live._connection.execute(f"PRAGMA {pragma}").fetchone()[0]
            for pragma in (
                "journal_mode", "synchronous", "foreign_keys", "trusted_schema", "cell_size_check", "fullfsync",
                "checkpoint_fullfsync", "wal_autocheckpoint",
            )
        }  # fmt: skip
        live.append(*batch(1, 3))
        assert names(place) == ["demo.satjob", *(f"demo.satjob{end}" for end in ("-shm", "-wal", ".lock"))]
        assert live.close() == ""
        assert live.close() == ""
        with pytest.raises(ValueError, match="closed"):
            live.append(*batch(4, 3))
    assert asked == {
        "journal_mode": "wal", "synchronous": 2, "foreign_keys": 1, "trusted_schema": 0, "cell_size_check": 1,
        "fullfsync": 1, "checkpoint_fullfsync": 1, "wal_autocheckpoint": 4000,
    }  # fmt: skip
    assert names(place) == ["demo.satjob"]
    assert sql(place, "PRAGMA journal_mode") == [("delete",)]
    assert recorded(read_job_file(place)) == 3


def test_the_job_can_be_let_go_of(place):
    with open_live(place) as live:
        assert live.job.sheet.id == "test-job"
        live.release()
        with pytest.raises(ValueError, match="released"):
            live.job.rows  # noqa: B018
        live.append(*batch(1, 3))


@pytest.mark.parametrize("name", ["job.toml", "lineup.csv", "../raw.jsonl", "raw.txt", "observations.csv"])
def test_only_documents_that_grow_take_parts(place, name):
    with open_live(place) as live, pytest.raises(ValueError, match="not a document that grows"):
        live.append([], [(name, b"x")])
    assert sql(place, "SELECT count(*) FROM parts") == [(0,)]


def test_a_text_that_cannot_be_kept_is_refused_and_the_next_is_not(place):
    with open_live(place) as live:
        with pytest.raises(StoreProblem, match="cannot be written as UTF-8"):
            live.append([live_row(1, note="half a \ud800 pair")])
        live.append(*batch(1, 3))
    assert recorded(read_job_file(place)) == 3


def test_a_changed_byte_of_a_part_is_found(place):
    with open_live(place) as live:
        live.append([], [(RAW, b"a line that stands only once in this file\n" * 3)])
    whole = place.read_bytes()
    at = whole.index(b"stands only once")
    for changed in range(at, at + 16):
        place.write_bytes(whole[:changed] + bytes([whole[changed] ^ 4]) + whole[changed + 1 :])
        with pytest.raises(StoreProblem, match="a byte has changed"):
            read_job_file(place)
        assert [problem.what for problem in check_job_file(place)] == [store.format.CHANGED]


def test_flipped_bits_of_a_recorded_file_are_found_or_harmless(place):
    with open_live(place) as live:
        live.append(*batch(1, 60))
        live.append(*batch(61, 60))
    rng = random.Random(4)
    whole, right = place.read_bytes(), job_hash(read_job_file(place))
    refused = 0
    for _ in range(150):
        at = rng.randrange(len(whole))
        place.write_bytes(whole[:at] + bytes([whole[at] ^ 1 << rng.randrange(8)]) + whole[at + 1 :])
        try:
            assert job_hash(read_job_file(place)) == right
        except (NotAJob, StoreProblem):
            refused += 1
    assert refused > 50


# --- opening ------------------------------------------------------------------------------------------------------


def test_a_folder_or_another_file_cannot_be_recorded_into(tmp_path):
    with pytest.raises(NotAJob, match=r"this is a folder.*satdiag import"):
        open_live(tmp_path)
    with pytest.raises(NotAJob, match="no file there"):
        open_live(tmp_path / "missing.satjob")
    for data in (b"", b"time,kind\n", bytes(5000)):
        (tmp_path / "other.satjob").write_bytes(data)
        with pytest.raises(SatdiagError, match=r"other\.satjob"):
            open_live(tmp_path / "other.satjob")
        assert (tmp_path / "other.satjob").read_bytes() == data
        assert names(tmp_path / "other.satjob") == ["other.satjob"]


def test_a_damaged_file_is_not_recorded_into(place):
    sql(place, "UPDATE observations SET note = 'changed' WHERE number = 1")
    before = place.read_bytes()
    with pytest.raises(StoreProblem, match="a byte has changed"):
        open_live(place)
    assert place.read_bytes() == before
    assert names(place) == ["demo.satjob"]


def test_a_file_with_two_names_is_not_recorded_into(place):
    try:
        os.link(place, place.with_name("other.satjob"))
    except OSError:
        pytest.skip("no hard links on this medium")
    with pytest.raises(StoreProblem, match="second name"):
        open_live(place)


@pytest.mark.skipif(sys.platform == "win32", reason="links need rights there")
def test_a_link_leads_to_the_file_and_its_one_lock(place, tmp_path):
    link = tmp_path / "there" / "link.satjob"
    link.parent.mkdir()
    link.symlink_to(place)
    with open_live(link) as live:
        live.append(*batch(1, 3))
        with pytest.raises(StoreProblem, match="being recorded into"):
            open_live(place)
        assert recorded(read_job_file(link)) == recorded(read_job_file(place)) == 3
    assert names(link) == ["link.satjob"]


def test_what_a_killed_writer_left_half_done_is_undone_first(job, place):
    from tests.store.test_job_file import KILLED

    subprocess.run([sys.executable, "-c", KILLED, str(place)], timeout=60, check=False)
    assert names(place) == ["demo.satjob", "demo.satjob-journal"]
    with open_live(place) as live:
        assert live.job.rows == job.rows
    assert names(place) == ["demo.satjob"]


# --- a run that was not closed --------------------------------------------------------------------------------------


def test_a_run_that_is_not_closed_is_known_at_the_next_opening(place):
    with open_live(place) as live:
        assert live.unclean is None
        live.begin("r1", STARTED)
        live.append(*batch(1, 4))
        assert check_job_file(place) == []  # it is under way
        live.close(clean=False)
    assert names(place) == ["demo.satjob"]
    (problem,) = check_job_file(place)
    assert problem.what == (
        "the recording of run r1, begun 2031-05-03T14:00:00Z, ended without being closed; "
        "everything that was committed is there"
    )
    append_rows(place, [make_row("2:00:00 power receiver off")])
    with open_live(place) as live:
        assert live.unclean == store.Unclean("r1", STARTED)
    assert len(check_job_file(place)) == 1, "no run was begun: there was nothing to close"
    with open_live(place) as live:
        live.begin("r2", STARTED)
    assert check_job_file(place) == []
    with open_live(place) as live:
        assert live.unclean is None


def test_an_error_while_recording_leaves_the_run_open(place):
    def break_down():
        with open_live(place) as live:
            live.begin("r1", STARTED)
            raise RuntimeError("the recorder broke down")

    with pytest.raises(RuntimeError):
        break_down()
    assert [problem.what[:23] for problem in check_job_file(place)] == ["the recording of run r1"]
    assert names(place) == ["demo.satjob"]


def test_a_copy_taken_while_recording_says_what_it_lacks(place, tmp_path):
    copy = tmp_path / "copies" / "copy.satjob"
    copy.parent.mkdir()
    with open_live(place) as live:
        live.begin("r1", STARTED)
        live.append(*batch(1, 30))
        shutil.copy(place, copy)
    for _ in range(2):  # looking into it leaves an empty log beside it; it says the same the second time
        (problem,) = check_job_file(copy)
        assert "a copy taken while run r1, begun 2031-05-03T14:00:00Z, was being recorded" in problem.what
        assert "rows may be missing" in problem.what
        assert "Copy the file again" in problem.mend
        assert recorded(read_job_file(copy)) == 0
    assert recorded(read_job_file(place)) == 30
    with open_live(copy) as live:  # and it may be gone on with
        assert live.unclean == store.Unclean("r1", STARTED, lacks_rows=True)
        live.append(*batch(1, 3))
    assert recorded(read_job_file(copy)) == 3
    assert names(copy) == ["copy.satjob"]
    append_rows(copy, [make_row("2:00:00 power receiver off")])
    assert "rows may be missing" in check_job_file(copy)[0].what, "that is still so"
    with open_live(copy) as live:
        assert live.unclean == store.Unclean("r1", STARTED, lacks_rows=True)
        live.begin("r2", STARTED)
    assert check_job_file(copy) == []


def test_a_note_into_such_a_copy_does_not_hide_what_it_lacks(place, tmp_path):
    copy = tmp_path / "copies" / "copy.satjob"
    copy.parent.mkdir()
    with open_live(place) as live:
        live.begin("r1", STARTED)
        live.append(*batch(1, 30))
        shutil.copy(place, copy)
    append_rows(copy, [make_row("2:00:00 power receiver off")])
    assert names(copy) == ["copy.satjob"]
    assert "rows may be missing" in check_job_file(copy)[0].what


def test_a_recorder_that_is_cut_off_before_its_run_begins_leaves_the_word_on_the_run_before(place, tmp_path):
    """Opened, then killed: the log is there and empty, which is not the mark of a copy."""
    with open_live(place) as live:
        live.begin("r1", STARTED)
        live.append(*batch(1, 4))
        live.close(clean=False)
    copy = tmp_path / "copies" / "copy.satjob"
    copy.parent.mkdir()
    with open_live(place):
        for end in ("", "-wal"):
            shutil.copy(f"{place}{end}", f"{copy}{end}")
    assert [problem.what for problem in check_job_file(copy)] == [
        "the recording of run r1, begun 2031-05-03T14:00:00Z, ended without being closed; "
        "everything that was committed is there"
    ]


@pytest.mark.parametrize("key", ["open_run", "unclean_run"])
def test_a_mark_that_cannot_be_read_is_unclean_all_the_same(place, key):
    for text in ("", "[]", '{"run": 1}', "[" * 100_000):
        with closing(sqlite3.connect(place)) as connection, connection:
            connection.execute("INSERT OR REPLACE INTO meta VALUES (?, ?)", (key, text))
        assert len(check_job_file(place)) == 1
        with open_live(place) as live:
            assert live.unclean == store.Unclean("?", "?")


# --- readers --------------------------------------------------------------------------------------------------------


def test_a_reader_at_the_end_leaves_the_joining_to_the_next_opening(place, monkeypatch):
    monkeypatch.setattr(store.live, "READER_WAIT_S", 0.1)
    live = open_live(place)
    live.begin("r1", STARTED)
    live.append(*batch(1, 5))
    with closing(sqlite3.connect(looking(place), uri=True)) as reader:
        reader.execute("BEGIN")
        assert reader.execute("SELECT count(*) FROM observations").fetchone() == (7,)
        live.append(*batch(6, 5))
        said = live.close()
        assert "another program is reading it" in said
        assert "demo.satjob-wal" in said
        assert reader.execute("SELECT count(*) FROM observations").fetchone() == (7,)
    assert "demo.satjob-wal" in names(place)
    assert "demo.satjob.lock" not in names(place)
    assert recorded(read_job_file(place)) == 10
    assert check_job_file(place) == []
    with open_live(place) as live:
        assert live.unclean is None
        live.append(*batch(11, 5))
    assert names(place) == ["demo.satjob"]
    assert recorded(read_job_file(place)) == 15


READS = """
import sys
from satdiag.store import read_job_file
from tests.store.files import recorded
print("ready", flush=True)
last, count = 0, 0
while last < int(sys.argv[2]):
    found = recorded(read_job_file(sys.argv[1]))
    assert found >= last, f"{found} rows after {last}"
    last, count = found, count + 1
print(count)
"""


def test_a_reader_sees_whole_batches_and_holds_nobody_up(job, quick):
    """A process reads the file over and over, and another reader stays in one old state all the time."""
    place = quick / "demo.satjob"
    create_job_file(place, job)
    total = 40
    command = [sys.executable, "-c", READS, str(place), str(total * 50)]
    with (
        closing(sqlite3.connect(looking(place), uri=True)) as old,
        open_live(place) as live,
        subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE) as reader,
    ):
        old.execute("BEGIN")
        assert old.execute("SELECT count(*) FROM observations").fetchone() == (2,)
        reader.stdout.readline()
        for number in range(total):
            rows, parts = batch(50 * number + 1, 50)
            live.append(rows, parts)  # `old` holds its state: one that waited for it would never write
            time.sleep(0.005)
        count = int(reader.communicate(timeout=60)[0])
    assert reader.returncode == 0
    assert count >= 3


WATCHED = []


def _watch(event, arguments):
    """An audit hook cannot be removed; it does nothing while no path is watched."""
    if WATCHED and event == "open" and isinstance(arguments[0], (str, bytes, os.PathLike)):
        path = os.path.realpath(os.fsdecode(arguments[0]))
        if path == WATCHED[0]:
            WATCHED.append(path)


def test_the_process_that_records_never_opens_the_file_but_through_sqlite(place):
    """Closing any handle of a file drops every POSIX lock that the process has on it, SQLite's too.

    https://sqlite.org/howtocorrupt.html section 2.2
    """
    sys.addaudithook(_watch)
    WATCHED.append(os.path.realpath(place))
    try:
        live = open_live(place)
        live.begin("r1", STARTED)
        live.append(*batch(1, 5))
        assert recorded(read_job_file(place)) == 5
        assert check_job_file(place) == []
        with pytest.raises(StoreProblem):
            append_rows(place, [live_row(6)])
        with pytest.raises(StoreProblem):
            open_live(place)
        live.append(*batch(6, 5))
        live.close()
        opened = len(WATCHED) - 1
        place.read_bytes()
        noticed = len(WATCHED) - 1
    finally:
        WATCHED.clear()
    assert opened == 0
    assert noticed == 1, "the hook sees what it should see"


def test_a_foreign_writer_is_noticed_and_nothing_is_put_on_top(place):
    live = open_live(place)
    live.append(*batch(1, 5))
    sql(place, "UPDATE meta SET value = 'other' WHERE key = 'rows_sha256'")
    with pytest.raises(StoreProblem, match="another program has changed it") as caught:
        live.append(*batch(6, 5))
    assert not isinstance(caught.value, StoreWaits)
    live.close()
    assert sql(place, "SELECT count(*) FROM observations") == [(7,)]
