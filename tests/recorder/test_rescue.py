"""Rows that the job file would not take are put elsewhere, readable as observations."""

from satdiag.folder import parse_observations
from satdiag.recorder.rescue import rescue
from satdiag.rows import Row

ROWS = [
    Row("2031-05-03T14:00:00.000001Z", "signal", "any", "3", "dB", "serial:x", "", "", "r1", "0.000001", "r1-1"),
    Row("2031-05-03T14:00:01Z", "note", "any", 'he said, "well"\nand left', source="hand", id="r1-2"),
]


def test_the_rows_can_be_read_as_observations(tmp_path):
    made = rescue(ROWS, tmp_path / "car.satjob", [tmp_path / "a"])
    assert made == tmp_path / "a" / "car-unwritten.csv"
    _, rows, _ = parse_observations(made.read_text("utf-8"))
    assert [row._replace(raw=None) for row in rows] == ROWS
    assert rescue(ROWS, tmp_path / "car.satjob", [tmp_path / "a"]) == tmp_path / "a" / "car-unwritten-2.csv"


def test_the_next_folder_is_tried_and_none_is_said(tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("no folder")
    assert rescue(ROWS, tmp_path / "car.satjob", [blocked / "x", tmp_path / "b"]).parent == tmp_path / "b"
    assert rescue(ROWS, tmp_path / "car.satjob", [blocked / "x"]) is None
