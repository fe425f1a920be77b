"""A job that was mended and then closed teaches what the fault looked like, not what its cure looks like.

The job is a made-up sample with rows added: it proves the code against our own model only.
"""

from pathlib import Path

import pytest

from satdiag.analysis import analyse, lesson_of, seen_before_mended
from satdiag.diagnosis.learning import chance_right, learned_model, moved_rows
from satdiag.diagnosis.lessons import Lesson
from satdiag.diagnosis.model import load_model
from satdiag.fleet.dataset import read_table
from satdiag.fleet.flatten import job_row
from satdiag.fleet.pool_jobs import closed_jobs, rows_that_teach
from satdiag.fleet.run import run_fleet
from satdiag.folder import read_folder, write_folder
from tests.fleet.rows import Here

SAMPLE = Path(__file__).parents[2] / "sample_logs" / "not-configured"
MENDED = """
2031-12-01T10:00:00Z,configuration,readback,matches,,hand,
2031-12-01T10:00:00Z,configuration,readback:equipment-list,matches,,hand,
2031-12-01T10:01:00Z,listing,source,yes,,hand,
2031-12-01T10:01:20Z,listing,source,yes,,hand,
2031-12-01T10:02:00Z,audio,output,playing,,hand,
"""
CLOSED = "2031-12-01T11:00:00Z,finding,not-configured,confirmed,,hand,\n"


def job_with(tmp_path, name, added):
    files = {one.name: one.read_bytes() for one in SAMPLE.iterdir() if one.name != "truth.toml"}
    header = files["observations.csv"].split(b"\n", 1)[0].count(b",")
    rows = [row + "," * (header - row.count(",")) for row in added.strip().splitlines()]
    files["observations.csv"] = files["observations.csv"].rstrip(b"\n") + ("\n" + "\n".join(rows) + "\n").encode()
    write_folder(files, tmp_path / name)
    return read_folder(tmp_path / name)


@pytest.fixture
def mended(tmp_path):
    return job_with(tmp_path, "mended", MENDED + CLOSED)


def test_it_teaches_what_was_seen_before_it_was_mended(mended, tmp_path):
    plain = lesson_of(job_with(tmp_path, "plain", CLOSED))
    lesson = lesson_of(mended)
    assert lesson.faults == plain.faults == {"not-configured"}
    assert lesson.evidence == plain.evidence
    at_end = {one.item: one.state for one in analyse(mended).diagnosis.evidence}
    assert at_end != lesson.evidence  # the end of the log tells of a vehicle that knows its receiver
    # taken for what the fault looks like, the end would make the finding hardly believable
    model = load_model()
    cured = Lesson(lesson.job, lesson.hash, lesson.reason, lesson.faults, at_end)
    assert chance_right(model, lesson) > 0.9 > 0.5 > chance_right(model, cured)
    # and what it moves, it moves towards what the sample shows
    moved = {(row.item, row.fault, row.state): row for row in moved_rows(model, learned_model(model, [lesson]).model)}
    assert moved
    for (item, _, state), row in moved.items():
        assert (row.now > row.before) == (lesson.evidence[item] == state)


def test_without_a_turn_or_with_another_finding_all_rows_count(mended, tmp_path):
    assert seen_before_mended(mended, {"antenna-open"}) is None
    assert seen_before_mended(job_with(tmp_path, "plain", CLOSED), {"not-configured"}) is None
    assert seen_before_mended(mended, set()) is None


def test_the_data_set_of_a_fleet_holds_it_and_the_fleet_learns_from_it(mended, tmp_path):
    run_fleet([str(tmp_path / "mended")], tmp_path / "out", Here)
    (row,) = read_table(tmp_path / "out", "jobs").to_pylist()
    assert row["confirmed_fault"] == ["not-configured"]
    (closed,) = closed_jobs(rows_that_teach(tmp_path / "out"), tmp_path / "out", load_model())
    own = lesson_of(mended)
    assert (closed.lesson.evidence, closed.lesson.faults) == (own.evidence, own.faults)
    assert {one.item: one.state for one in closed.seen} == own.evidence
    assert job_row(mended, analyse(mended))["mended_evidence"] == row["mended_evidence"]
