"""A job file with its write-ahead log or its journal: what was committed comes back, what was not does not."""

import os
import sqlite3
from contextlib import closing

import pytest

from satdiag.errors import SatdiagError, StoreProblem
from satdiag.folder import job_hash
from satdiag.repair import frames, recover
from satdiag.store import create_job_file, open_live, read_job_file
from satdiag.store.lock import take
from tests.helpers import make_job
from tests.store.files import batch, sql, write_format_1

FRAME = 24 + 4096


@pytest.fixture(scope="module")
def under_way(tmp_path_factory):
    """A job file in the middle of a recording: its bytes, those of its log, and the job in both."""
    place = tmp_path_factory.mktemp("under-way") / "demo.satjob"
    create_job_file(place, make_job(""))
    with open_live(place) as live:
        live.begin("r1", "2031-05-03T14:00:00Z")
        for number in range(1, 1200, 40):
            live.append(*batch(number, 40))
            if number == 401:
                live._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        data, log = place.read_bytes(), (place.parent / "demo.satjob-wal").read_bytes()
        job = read_job_file(place)
    assert len(log) > 20 * FRAME
    return data, log, job


def ids(job):
    return [row.id for row in job.rows if row.source != "repair"]


def test_a_log_that_is_whole_is_used_whole(under_way, damaged):
    data, log, job = under_way
    found, losses = recover(damaged(data, wal=log))
    assert job_hash(found) == job_hash(job)
    assert losses.whole
    assert losses.asides == ("the recording r1, begun 2031-05-03T14:00:00Z, was never closed",)


def test_without_the_head_of_the_file_the_log_is_used_still(under_way, damaged):
    data, log, job = under_way
    found, losses = recover(damaged(bytes(100) + data[100:], wal=log))
    assert job_hash(found) == job_hash(job)
    assert losses.agree == {"rows": True, "documents": True, "parts": True}


def test_without_its_log_it_is_said_that_rows_may_be_missing(under_way, damaged):
    data, _, job = under_way
    found, losses = recover(damaged(data))
    assert ids(found) == ids(job)[:440]
    assert not losses.whole
    assert "write-ahead log that belongs to it is missing" in "".join(losses.lines())
    assert "write-ahead log" in found.rows[-1].value
    found, losses = recover(damaged(data[:-1] + b"x"))
    assert any("write-ahead log that belongs to it" in remark for remark in losses.remarks)


@pytest.mark.parametrize("part", [0.0, 0.001, 0.1, 0.37, 0.62, 0.9, 0.9999])
def test_a_log_cut_off_gives_what_sqlite_reads_of_it_at_least(under_way, damaged, tmp_path, part):
    data, log, job = under_way
    torn = log[: int(part * len(log))]
    plain = tmp_path / "plain.satjob"
    plain.write_bytes(data)
    (tmp_path / "plain.satjob-wal").write_bytes(torn)
    count = sql(plain, "SELECT count(*) FROM observations")[0][0]
    found, _ = recover(damaged(data, wal=torn))
    assert ids(found) == ids(job)[:count]


@pytest.mark.parametrize("hurt", ["page", "head", "salts"])
def test_frames_behind_a_broken_one_are_used(under_way, damaged, hurt):
    """SQLite stops at the first broken frame; what the frames behind it hold was committed all the same."""
    data, log, job = under_way
    at = 32 + 10 * FRAME
    start, size = {"page": (at + 2000, 512), "head": (at, 24), "salts": (at + 8, 8)}[hurt]
    torn = log[:start] + bytes(size) + log[start + size :]
    found, losses = recover(damaged(data, wal=torn))
    assert set(ids(found)) <= set(ids(job))
    assert ids(found)[-1] == ids(job)[-1]
    assert len(ids(found)) > 1000
    assert any("in the write-ahead log are broken" in remark for remark in losses.remarks)


def test_a_log_without_its_head_is_used_from_the_second_frame_on(under_way, damaged):
    data, log, job = under_way
    found, losses = recover(damaged(bytes(100) + data[100:], wal=bytes(32) + log[32:]))
    assert ids(found)[-1] == ids(job)[-1]
    assert len(ids(found)) > 1000
    assert losses.remarks


def test_what_was_left_in_a_log_from_before_it_was_begun_again_is_not_used(under_way):
    _, log, _ = under_way
    whole = frames.committed(log, 4096)
    older = bytearray(log[32 : 32 + 3 * FRAME])
    for at in range(0, len(older), FRAME):
        older[at + 8 : at + 16] = b"\x01" * 8
    assert frames.committed(log + older, 4096) == whole
    assert whole.broken == 0
    assert frames.committed(log, 1024) == frames.Log({}, 0, 0)
    assert frames.page_size_of_log(log) == 4096
    assert frames.page_size_of_log(bytes(40)) is None


def half_written(tmp_path):
    """A file whose writer died in the middle of changing every row: its bytes, and its journal's."""
    place = tmp_path / "half.satjob"
    rows = "\n".join(f"{minute}:00 note x before" for minute in range(400))
    create_job_file(place, make_job(rows, documents={"gnss.nmea": b"x" * 60_000}))
    with closing(sqlite3.connect(place, isolation_level=None)) as connection:
        connection.execute("PRAGMA cache_size = 5")  # so that pages reach the file before the end
        connection.execute("PRAGMA synchronous = OFF")
        connection.execute("BEGIN IMMEDIATE")
        connection.execute("UPDATE observations SET value = 'behind'")
        return place.read_bytes(), (tmp_path / "half.satjob-journal").read_bytes()


def values(job):
    return {row.value for row in job.rows if row.source != "repair"}


def test_what_was_half_written_is_undone(damaged, tmp_path):
    data, journal = half_written(tmp_path)
    assert b"behind" in data
    job, losses = recover(damaged(data, journal=journal))
    assert values(job) == {"before"}
    assert losses.whole


def test_it_is_undone_in_a_file_that_is_damaged_besides(damaged, tmp_path):
    data, journal = half_written(tmp_path)
    at = data.index(b"xxxxxxxx") + 30_000
    hurt = data[:at] + bytes(4096) + data[at + 4096 :]
    job, losses = recover(damaged(hurt, journal=journal))
    assert values(job) == {"before"}
    assert [document.name for document in losses.documents] == ["gnss.nmea"]
    job, _ = recover(damaged(bytes(100) + data[100:], journal=journal))  # the journal holds the head, too
    assert values(job) == {"before"}


def test_what_cannot_be_undone_is_said(damaged, tmp_path):
    data, journal = half_written(tmp_path)
    job, losses = recover(damaged(data, journal=bytes(512) + journal[512:]))
    assert any("could not be undone" in remark for remark in losses.remarks)
    assert losses.agree["rows"] is False
    assert values(job) == {"before", "behind"}


def test_a_file_that_is_recorded_into_is_left_alone(under_way, damaged):
    place = damaged(under_way[0])
    lock = take(place, "recording")
    with pytest.raises(StoreProblem, match="it is being written at this moment"):
        recover(place)
    lock.release()


def test_a_file_of_the_first_format(damaged, tmp_path):
    place = tmp_path / "old.satjob"
    job = make_job("\n".join(f"{minute}:00 channel {minute} refused" for minute in range(60)))
    write_format_1(place, job)
    found, losses = recover(damaged(bytes(100) + place.read_bytes()[100:]))
    assert found.rows == job.rows
    assert losses.agree == {"rows": True, "documents": True}
    sql(place, "DELETE FROM observations WHERE number = 3")
    found, losses = recover(damaged(place.read_bytes()))
    assert losses.agree == {"rows": False, "documents": False}
    assert [hole[:2] for hole in losses.holes] == [(3, 3)]


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="rights bind nobody there")
def test_a_file_that_may_not_be_read(under_way, damaged):
    place = damaged(under_way[0])
    place.chmod(0)
    with pytest.raises(SatdiagError, match="cannot be read"):
        recover(place)
    place.chmod(0o600)
