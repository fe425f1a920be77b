"""What a person typed for which there was no room was never there: no id names it, and its unit binds nobody."""

import sqlite3
from contextlib import closing

from satdiag.job import build_job, with_rows
from satdiag.recorder import loop
from satdiag.recorder.desk import Desk
from satdiag.recorder.heard import Line, Moment, Reading
from satdiag.recorder.loop import ByHand, Recorder
from satdiag.store import read_job_file
from tests.recorder.devices import until
from tests.recorder.recording import SHEET, new_job_file

START_NS = 1_935_000_000_000_000_000
BARS, DECIBELS = (Reading("signal", "any", "3", unit) for unit in ("bars/5", "dB"))


def typed(desk, *readings, after_s=0):
    """Rows of what was typed so many seconds after the start, and why there are not more."""
    at = Moment(START_NS + after_s * 10**9, after_s * 10**9)
    taken = desk.take(ByHand(), [Line(at, b"typed", readings)])
    return taken.batch.rows, taken.why


def test_while_another_program_writes_what_has_no_room_is_not_taken_and_can_be_entered_again(tmp_path, monkeypatch):
    monkeypatch.setattr(loop, "ROOM_WAIT_S", 0.05)
    place = new_job_file(tmp_path / "job.satjob")
    recorder = Recorder(place, [], room=1)
    recorder.start()
    try:
        with closing(sqlite3.connect(place, isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            assert recorder.enter("channel 5 refused").ok
            assert not recorder.enter("signal any 3 dB").ok
            assert recorder.answer.startswith("NOT taken: nothing can be written just now")
        assert until(lambda: recorder.writer.rows_written == 1)
        assert not recorder.enter("withdraw row r1-2").ok
        assert recorder.answer == "'r1-2' is not the id of any row"
        assert recorder.enter("signal any 3 bars/5").ok
        assert until(lambda: recorder.writer.rows_written == 2)
        assert recorder.enter("withdraw").ok
    finally:
        recorder.stop()
    rows = read_job_file(place).rows
    assert [(row.kind, row.value, row.unit) for row in rows] == [
        ("channel", "refused", ""),
        ("signal", "3", "bars/5"),
        ("withdraw", rows[1].id, ""),
    ]


def test_a_level_keeps_its_unit_when_what_takes_it_back_is_not_kept():
    job = build_job({"job.toml": SHEET}, [])
    desk = Desk(job, "r1", Moment(START_NS, 0))
    kept = [*typed(desk, DECIBELS)[0]]
    takes_back = Reading("withdraw", "row", "r1-1")
    lost, _ = typed(desk, takes_back, BARS, after_s=1)
    assert [row.id for row in lost] == ["r1-2", "r1-3"]
    desk.not_kept(lost)
    rows, why = typed(desk, BARS, after_s=2)
    assert rows == ()
    assert why == "any was in dB before and is in bars/5 here, within one visit"
    assert "'r1-3' is not the id" in typed(desk, Reading("withdraw", "row", "r1-3"), after_s=2)[1]
    kept += typed(desk, DECIBELS, after_s=3)[0]
    for identifier in ("r1-1", kept[-1].id):
        kept += typed(desk, Reading("withdraw", "row", identifier), after_s=4)[0]
    kept += typed(desk, BARS, after_s=5)[0]
    assert len(kept) == 5
    assert with_rows(job, kept).log["unit"].tolist() == ["bars/5"]


def test_ids_for_which_there_was_no_room_are_nobodys_and_the_next_ones_go_on():
    desk = Desk(build_job({"job.toml": SHEET}, []), "r1", Moment(START_NS, 0))
    channels = [Reading("channel", str(number), "refused") for number in range(5)]
    first, *more = typed(desk, *channels)[0]
    desk.not_kept(more)
    after = typed(desk, channels[0], after_s=1)[0]
    assert [name in desk.ids for name in ("r1-1", "r1-2", "r1-3", "r1-5", "r1-6", "r1-7")] == [
        True,
        *[False] * 3,
        True,
        False,
    ]
    assert (first.id, after[0].id) == ("r1-1", "r1-6")
    assert not any(strange in desk.ids for strange in (6, "r1-06", "r1-", "r2-1", "r1-\u0661"))
    desk.ids.void(["r1-1"])
    assert "r1-1" not in desk.ids
    assert "r1-6" in desk.ids
