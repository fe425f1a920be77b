"""A document replaced while the job is recorded: whole or not at all, with the rows that tell of it."""

import random
import sqlite3
import sys
import time
from contextlib import ExitStack
from functools import partial
from subprocess import PIPE, Popen

import pytest

from satdiag.errors import BadInput, SatdiagError, StoreProblem, StoreWaits
from satdiag.folder import export_files, job_hash, read_folder, write_folder
from satdiag.job import build_job
from satdiag.store import check_job_file, create_job_file, open_live, read_job_file
from tests.helpers import SHEET, make_job, make_row
from tests.store.files import NMEA, RAW, ROOT, Writer, batch, digests_by_hand, names, recorded, seal, sql

STARTED = "2031-05-03T14:00:00Z"
CONNECT = sqlite3.connect
SITE = '[[site]]\nname = "yard"\nlatitude_deg = 41.2\nlongitude_deg = -96.1\n'


def lineup(number):
    """A line-up of `number` channels."""
    lines = [f"{channel},Demo {channel},,music" for channel in range(1, number + 1)]
    return "\n".join(["channel,name,category,packages", *lines, ""]).encode()


def told(number):
    """The row that tells of the `number`th line-up."""
    return make_row(f"1:00 note any 'line-up {number}' source=page id=p-{number}")


def fresh(place):
    """A new job file."""
    create_job_file(place, make_job("0:00 account service confirmed", documents={NMEA: b"$GPGGA,1\r\n", RAW: b""}))
    return place


@pytest.fixture
def place(tmp_path):
    return fresh(tmp_path / "demo.satjob")


def replaced(job):
    """How many line-ups a job tells of; the last one is the one that it holds."""
    count = sum(row.kind == "note" for row in job.rows)
    assert [row.value for row in job.rows if row.kind == "note"] == [f"line-up {n + 1}" for n in range(count)]
    assert job.documents.get("lineup.csv") == (lineup(count) if count else None)
    return count


def is_right(place, read_only=False):
    """The digests are true, computed by hand."""
    right, found = digests_by_hand(place, read_only)
    assert found == right


def test_documents_are_replaced_and_added_among_rows_and_raw_lines(place, tmp_path):
    with open_live(place) as live:
        live.begin("r1", STARTED)
        for number in range(1, 6):
            live.append(*batch(3 * number - 2, 3))
            live.replace_documents({"lineup.csv": lineup(number)}, [told(number)])
            assert live.row_count == 1 + 4 * number
            is_right(place, read_only=True)
            assert check_job_file(place) == []
            found = read_job_file(place)
            assert (replaced(found), recorded(found), len(found.lineup)) == (number, 3 * number, number)
        live.replace_documents({"job.toml": (SHEET + SITE).encode()})
        live.replace_documents({"horizon.csv": b"\xef\xbb\xbfazimuth_deg,elevation_deg\r\n0,10"})
        obstacles = b"azimuth_from_deg,azimuth_to_deg,distance_m,height_m,note\n1,2,3,4,\n"
        live.replace_documents({"obstacles.csv": obstacles})
        live.replace_documents({"constellation.toml": b'name = "demo"\n'})
        live.append([make_row("1:30 site vehicle yard source=page")])
    is_right(place)
    assert check_job_file(place) == []
    assert names(place) == ["demo.satjob"]
    found = read_job_file(place)
    assert found.documents["horizon.csv"] == b"azimuth_deg,elevation_deg\n0,10\n"
    assert found.documents[NMEA] == b"$GPGGA,1\r\n"
    write_folder(export_files(found), tmp_path / "out")
    assert job_hash(read_folder(tmp_path / "out")) == job_hash(found)
    with open_live(place) as live:
        live.replace_documents({"lineup.csv": lineup(6)}, [told(6)])
    assert replaced(read_job_file(place)) == 6


def test_several_are_replaced_together_though_neither_could_be_alone(place):
    """A sheet that names a package, and the line-up that holds it: each without the other is no sound job."""
    before = read_job_file(place).documents
    package = before["job.toml"] + b'\n[service]\npackage = "gold"\n'
    held = b"channel,name,category,packages\n1,Demo One,music,gold\n"
    with open_live(place) as live:
        live.replace_documents({"lineup.csv": lineup(2)})
        with pytest.raises(BadInput):
            live.replace_documents({"job.toml": package})
        with pytest.raises(BadInput):
            live.replace_documents({"job.toml": package, "lineup.csv": b"channel\n1\n"})
        assert read_job_file(place).documents["job.toml"] == before["job.toml"]
        live.replace_documents({"job.toml": package, "lineup.csv": held}, [told(1)])
    found = read_job_file(place)
    assert (found.sheet.package, len(found.lineup)) == ("gold", 1)
    assert check_job_file(place) == []


@pytest.mark.parametrize("name", ["observations.csv", RAW, NMEA, "truth.toml", "../job.toml", "JOB.TOML", ""])
def test_other_documents_are_not_replaced(place, name):
    with open_live(place) as live, pytest.raises(ValueError, match="is not a document"):
        live.replace_documents({name: b""})
    assert check_job_file(place) == []


NAIVE = '[job]\nid = "x"\nnaive_times = "{}"\n'


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("job.toml", b"", "missing"),
        ("job.toml", b"\xff", "UTF-8"),
        ("job.toml", NAIVE.format("-05:00").encode(), "the site 'yard' is missing"),
        ("job.toml", (NAIVE.format("-06:00") + SITE).encode(), "naive_times cannot be changed"),
        ("job.toml", ('[job]\nid = "x"\n' + SITE).encode(), "naive_times cannot be changed"),
        ("job.toml", (NAIVE.format("-05:00") + SITE + '[service]\npackage = "all"\n').encode(), "no line of lineup"),
        ("lineup.csv", b"channel\n1\n", "column"),
        ("horizon.csv", b"azimuth_deg,elevation_deg\n0,91\n", "outside"),
    ],
)
def test_a_document_that_the_job_cannot_have_is_refused(tmp_path, name, data, said):
    rows = [make_row("0:00 site vehicle yard"), make_row("0:30 site vehicle unreadable")]
    rows.append(make_row("0:40 power receiver awake")._replace(time="2031-05-03T09:00:40"))
    sheet = NAIVE.format("-05:00") + SITE
    files = {"job.toml": sheet.encode(), "lineup.csv": lineup(2)}
    job = make_job("", documents=files)
    create_job_file(tmp_path / "demo.satjob", build_job(job.documents, rows))
    with open_live(tmp_path / "demo.satjob") as live:
        with pytest.raises(BadInput, match=said):
            live.replace_documents({name: data}, [told(1)])
        assert live.row_count == 3
        live.replace_documents({"job.toml": (sheet + '[service]\npackage = "music"\n').encode()}, [told(1)])
    is_right(tmp_path / "demo.satjob")
    assert check_job_file(tmp_path / "demo.satjob") == []
    assert len(read_job_file(tmp_path / "demo.satjob").rows) == 4


def test_a_byte_that_changed_meanwhile_is_not_hidden_by_new_digests(place):
    with open_live(place) as live:
        sql(place, "UPDATE documents SET bytes = x'2447' WHERE name LIKE 'gnss%'")
        with pytest.raises(StoreProblem, match="not as they were"):
            live.replace_documents({"lineup.csv": lineup(1)}, [told(1)])
        seal(place)
        with pytest.raises(StoreProblem, match="not as they were"):
            live.replace_documents({"lineup.csv": lineup(1)}, [told(1)])
    assert replaced(read_job_file(place)) == 0


def test_half_a_character_and_a_closed_file(place):
    with open_live(place) as live, pytest.raises(StoreProblem, match="UTF-8"):
        live.replace_documents({"lineup.csv": lineup(1)}, [told(1)._replace(note="\ud800")])
    with pytest.raises(ValueError, match="closed"):
        live.replace_documents({"lineup.csv": lineup(1)}, [told(1)])
    assert replaced(read_job_file(place)) == 0


# --- whatever breaks ----------------------------------------------------------------------------------------------


class Fault(sqlite3.Connection):
    """A connection of which the `at`th statement fails, and those that follow it, `lasts` of them."""

    at, lasts, name, calls, late = None, 1, "SQLITE_FULL", 0, False

    def _strikes(self):
        Fault.calls += 1
        return Fault.at is not None and 0 <= Fault.calls - Fault.at < Fault.lasts

    def _fail(self):
        error = sqlite3.OperationalError("made to fail")
        error.sqlite_errorname = Fault.name
        raise KeyboardInterrupt if Fault.name == "Ctrl-C" else error

    def execute(self, *arguments):
        """As ever, or fail, before it or after it."""
        strikes = self._strikes()
        if strikes and not Fault.late:
            self._fail()
        result = super().execute(*arguments)
        if strikes:
            self._fail()
        return result


@pytest.mark.parametrize(
    ("name", "lasts", "late"),
    [
        ("SQLITE_FULL", 1, False),
        ("SQLITE_BUSY", 3, False),  # the taking back fails as well
        ("SQLITE_IOERR_WRITE", 1, False),
        ("Ctrl-C", 1, False),
        ("Ctrl-C", 1, True),  # after COMMIT it is there, and known to be
    ],
)
def test_whichever_statement_fails_it_is_there_once(quick, monkeypatch, name, lasts, late):
    monkeypatch.setattr(sqlite3, "connect", partial(CONNECT, factory=Fault))
    place = fresh(quick / "demo.satjob")
    monkeypatch.setattr(Fault, "name", name)
    monkeypatch.setattr(Fault, "lasts", lasts)
    monkeypatch.setattr(Fault, "late", late)
    monkeypatch.setattr(Fault, "at", None)
    failed, k, rows = 0, 0, 1
    with open_live(place) as live:
        while True:
            k += 1
            number = live.row_count  # one row was there; the next line-up has this number
            Fault.calls, Fault.at = 0, k
            try:
                live.replace_documents({"lineup.csv": lineup(number)}, [told(number)])
            except (StoreWaits, KeyboardInterrupt):
                failed += 1
            reached, Fault.at = Fault.calls >= k, None
            rows += live.row_count > number
            assert live.row_count == rows
            assert replaced(read_job_file(place)) == rows - 1
            is_right(place, read_only=True)
            live.replace_documents({"lineup.csv": lineup(rows)}, [told(rows)])
            rows += 1
            if not reached:
                break
    assert failed >= 7
    assert k >= 8
    assert check_job_file(place) == []
    assert names(place) == ["demo.satjob"]


def test_what_cannot_be_tried_again_is_said(place, monkeypatch):
    monkeypatch.setattr(sqlite3, "connect", partial(CONNECT, factory=Fault))
    monkeypatch.setattr(Fault, "name", "SQLITE_READONLY")
    with open_live(place) as live:
        for k in range(1, 8):
            monkeypatch.setattr(Fault, "calls", 0)
            monkeypatch.setattr(Fault, "at", k)
            with pytest.raises(SatdiagError, match=r"demo\.satjob: ") as caught:
                live.replace_documents({"lineup.csv": lineup(1)}, [told(1)])
            assert not isinstance(caught.value, StoreWaits)
        monkeypatch.setattr(Fault, "at", None)
        live.replace_documents({"lineup.csv": lineup(1)}, [told(1)])
    assert replaced(read_job_file(place)) == 1


# --- kills --------------------------------------------------------------------------------------------------------


class Replacer(Writer):
    """A process that records and replaces the line-up in turn; it says how many line-ups it has told of."""

    def __init__(self, place):
        command = [sys.executable, "-m", "tests.store.test_replace_document", str(place)]
        self.process = Popen(command, cwd=ROOT, stdin=PIPE, stdout=PIPE)
        self.acked = 0
        self._rest = b""


def killed_again_and_again(place, times, seed):
    """Kill a recorder at random instants, each time going on with the same file."""
    rng = random.Random(seed)
    stored = 0
    with ExitStack() as running:
        following = running.enter_context(Replacer(place))
        for number in range(times):
            writer = following
            if number + 1 < times:
                following = running.enter_context(Replacer(place))  # loads meanwhile
            writer.go()
            writer.until(stored + 1)
            time.sleep(rng.uniform(0, 0.08))
            writer.kill()
            is_right(place, read_only=True)
            assert all("everything that was committed is there" in one.what for one in check_job_file(place))
            job = read_job_file(place)
            found = replaced(job)
            assert found >= max(stored + 1, writer.acked), "a line-up that was said to be kept is missing"
            assert 2 * found <= recorded(job) <= 2 * found + 2
            stored = found
    with open_live(place) as live:
        live.replace_documents({"lineup.csv": lineup(stored + 1)}, [told(stored + 1)])
    assert replaced(read_job_file(place)) == stored + 1
    assert check_job_file(place)[1:] == []
    assert names(place) == ["demo.satjob"]


def test_kills_leave_the_document_and_the_rows_that_tell_of_it(place):
    killed_again_and_again(place, 4, seed=1)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(2, 12))
def test_many_kills_leave_the_document_and_the_rows_that_tell_of_it(place, seed):
    killed_again_and_again(place, 10, seed)


def main(place):
    """Record and replace until killed."""
    sys.stdin.readline()
    with open_live(place) as live:
        count, done = recorded(live.job), replaced(live.job)
        live.begin("r1", STARTED)
        while True:
            live.append(*batch(count + 1, 2 * (done + 1) - count))
            count = 2 * (done + 1)
            done += 1
            live.replace_documents({"lineup.csv": lineup(done)}, [told(done)])
            sys.stdout.write(f"{done}\n")
            sys.stdout.flush()
            time.sleep(0.002)


if __name__ == "__main__":
    main(sys.argv[1])
