"""The one writer: on a real file, a second recorder beside it, and a medium that is really full."""

import threading
import time

import pytest

from satdiag.errors import NotAJob, StoreProblem
from satdiag.recorder import writer as writing
from satdiag.recorder.writer import Batch, Writer
from satdiag.rows import Row
from satdiag.store import read_job_file
from tests.recorder.devices import until
from tests.recorder.recording import new_job_file
from tests.store.files import small_disk


def batch(number, **more):
    return Batch((Row("2031-05-03T14:00:00Z", "note", "any", "x" * 900, "", "hand", id=f"r1-{number}"),), **more)


def started(place, **more):
    writer = Writer(place, lambda rows: None, **more)
    writer.start(lambda job: ("r1", "2031-05-03T14:00:00Z"))
    return writer


def fill(place):
    """Take all the room that is left on a medium."""
    with place.open("wb", buffering=0) as file, pytest.raises(OSError, match="No space"):
        fill_up(file)


def fill_up(file):
    while True:
        file.write(b"\0" * 4096)


def test_the_first_error_goes_to_whoever_asks(tmp_path):
    (tmp_path / "picture.satjob").write_bytes(b"no database at all" * 100)
    writer = Writer(tmp_path / "picture.satjob", lambda rows: None)
    with pytest.raises(NotAJob):
        writer.start(lambda job: ("r1", ""))
    with pytest.raises(NotAJob):
        writer.put(batch(1), 1.0)


def test_a_second_recorder_is_refused_and_the_first_named(tmp_path):
    place = new_job_file(tmp_path / "job.satjob")
    first = started(place)
    second = Writer(place, lambda rows: None)
    with pytest.raises(StoreProblem, match=r"process [0-9]+"):
        second.start(lambda job: ("r1", ""))
    assert first.put(batch(1), 1.0)
    assert first.close() == ()
    assert [row.id for row in read_job_file(place).rows] == ["r1-1"]


def test_a_batch_is_acknowledged_when_it_is_on_the_medium(tmp_path):
    place = new_job_file(tmp_path / "job.satjob")
    writer, seen = started(place), []
    writer.put(batch(1, committed=lambda: seen.append(len(read_job_file(place).rows))), 1.0)
    assert until(lambda: seen)
    assert seen == [1]
    assert writer.close() == ()


def test_what_is_urgent_does_not_wait_for_the_next_commit(tmp_path, monkeypatch):
    monkeypatch.setattr(writing, "COMMIT_EVERY_S", 3600.0)  # the pause between two commits
    writer = started(new_job_file(tmp_path / "job.satjob"))
    early, done = threading.Event(), threading.Event()
    for number in range(20):
        done.clear()
        writer.put(batch(2 * number, committed=early.set), 60.0)
        assert not early.is_set()
        writer.put(batch(2 * number + 1, urgent=True, committed=done.set), 60.0)
        assert done.wait(60)
        assert early.is_set(), "what came before it is written with it"
        early.clear()
    assert writer.close() == ()


def test_a_full_medium_holds_rows_and_writes_them_when_there_is_room(tmp_path):
    with small_disk(tmp_path, "600k") as folder:
        place = new_job_file(folder / "job.satjob")
        ballast = folder / "ballast"
        writer = started(place)
        assert writer.put(batch(0), 1.0)
        assert until(lambda: writer.rows_written == 1)
        fill(ballast)
        acknowledged = []
        for number in range(1, 101):
            made = batch(number, committed=lambda number=number: acknowledged.append(number))
            assert writer.put(made, 1.0)
        assert until(lambda: writer.trouble)
        assert "full" in writer.trouble
        assert writer.held > 0
        held = set(range(1, 101)) - set(acknowledged)
        assert held
        ballast.unlink()
        assert until(lambda: len(acknowledged) == 100)
        assert writer.trouble == ""
        assert writer.close() == ()
        assert [row.id for row in read_job_file(place).rows] == [f"r1-{number}" for number in range(101)]


def test_what_cannot_be_written_before_the_end_is_handed_back(tmp_path):
    with small_disk(tmp_path, "600k") as folder:
        place = new_job_file(folder / "job.satjob")
        writer = started(place)
        fill(folder / "ballast")
        for number in range(50):
            writer.put(batch(number), 1.0)
        assert until(lambda: writer.trouble)
        back = writer.close(patience_s=0.5)
        (folder / "ballast").unlink()
        there = [row.id for row in read_job_file(place).rows]
        assert there + [row.id for batch in back for row in batch.rows] == [f"r1-{number}" for number in range(50)]
        assert back


def test_no_room_is_said_and_not_waited_for_longer_than_asked(tmp_path):
    place = new_job_file(tmp_path / "job.satjob")
    writer = started(place, room=1)
    writer._weight += 1  # as if one were held for good
    begun = time.monotonic()
    assert not writer.put(batch(1), 0.3)
    assert time.monotonic() - begun >= 0.3
    writer._weight -= 1
    assert writer.put(batch(1), 0.3)
    assert writer.close() == ()
