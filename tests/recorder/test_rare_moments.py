"""What seldom happens while recording: clocks set by centuries, sources that do not end, a crash without a row."""

import os
import signal
import sqlite3
import threading
from contextlib import closing
from pathlib import Path

import pytest

from satdiag.errors import StoreProblem
from satdiag.recorder.admit import Visits
from satdiag.recorder.desk import Desk
from satdiag.recorder.hand import HandEntry
from satdiag.recorder.heard import Moment, Reading, SourceEnded
from satdiag.recorder.keyboard import PipeLines
from satdiag.recorder.line_editor import LineEditor
from satdiag.recorder.loop import Recorder, SourceTotal, Summary
from satdiag.recorder.session import summary_lines
from satdiag.recorder.stopping import stopping
from satdiag.recorder.writer import Batch
from satdiag.rows import Row, parse_time_us
from satdiag.sheet import parse_sheet
from satdiag.store import open_live, read_job_file
from tests.helpers import make_job
from tests.recorder.devices import until
from tests.recorder.recording import new_job_file
from tests.recorder.scripted import Scripted, SetClock, level

GNSS = "gnss-r1.nmea"


@pytest.fixture
def place(tmp_path):
    """A job file without observations."""
    return new_job_file(tmp_path / "job.satjob")


def recorder_at(place, *sources, **more):
    """A recorder, what it said, and its clock."""
    said, clock = [], SetClock()
    return Recorder(place, sources, clock, said.append, **more), said, clock


@pytest.mark.parametrize(
    ("parts", "kept"),
    [([(GNSS, b"$GPGSV,1,1,00\r\n")], [("gap", "gnss", "lost", "")]), ([], [])],
    ids=["sentences of a GNSS receiver alone", "nothing at all"],
)
def test_a_run_that_was_cut_off_before_its_first_row_does_not_hinder_the_next(place, parts, kept):
    """Nobody knows how long it was not heard: no row of it says when that began."""
    live = open_live(place)
    live.begin("r1", "2031-05-03T14:00:00Z")
    live.append([], parts)
    live.close(clean=False)
    recorder, said, _ = recorder_at(place)
    recorder.start()
    assert recorder.run == ("r2" if parts else "r1")
    recorder.stop()
    rows = read_job_file(place).rows
    assert [(row.kind, row.subject, row.value, row.span_s) for row in rows] == kept
    assert any("(r1) ended without closing" in text for text in said) == bool(parts)


def test_a_step_of_the_clock_or_a_gap_of_centuries_is_said_and_not_written(place):
    """A row holds seconds up to 1e9 of a gap, and a step up to 1e10; 2 ** 31 s are 68 years."""
    source = Scripted(SetClock(), "serial:x")
    source.cannot_open = ("missing", "it is not there")
    recorder, said, clock = recorder_at(place, source)
    recorder.start()
    assert until(lambda: recorder.runners[0].heard.state == "lost")
    clock.wall += 2e10
    recorder.tick()
    clock.wall -= 2e10
    clock.both += 2**31
    recorder.stop()
    assert "A step of the clock, or a gap, could not be logged." in said
    assert any(text.startswith("serial:x: that it was lost for 21474836") for text in said)
    assert not [row for row in read_job_file(place).rows if (row.kind, row.source) == ("gap", "recorder")]


def test_a_source_that_does_not_end_is_named_and_the_file_closed(place):
    class Deaf(Scripted):
        def read(self):
            free.wait(60)
            raise SourceEnded

    free = threading.Event()
    recorder, said, _ = recorder_at(place, Deaf(SetClock(), "serial:deaf"))
    recorder.start()
    assert recorder.enter("power awake").ok
    try:
        assert recorder.stop(patience_s=0.1).unwritten == ()
    finally:
        free.set()
    assert "serial:deaf does not end; what it had handed over is kept." in said
    assert until(lambda: recorder.runners[0].join(0))
    assert [row.kind for row in read_job_file(place).rows] == ["power"]


def test_what_a_patient_source_could_not_hand_over_when_it_was_stopped_is_counted(place):
    clock = SetClock()
    source = Scripted(clock, "serial:x", can_wait=True)
    recorder, _, _ = recorder_at(place, source, room=2)
    recorder.start()
    with closing(sqlite3.connect(place, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        source.script.append(level(1))
        assert until(lambda: recorder.writer.held)
        source.script += [level(2), level(3)]
        assert until(lambda: not source.script)
        recorder.runners[0].stop()
        assert recorder.runners[0].join(60)
    assert recorder.stop().sources[0].lost_lines == 2
    rows = read_job_file(place).rows
    assert [(row.kind, row.value) for row in rows] == [("signal", "1"), ("gap", "overflow")]
    assert "2 lines" in rows[1].note


def test_a_silent_source_that_stays_silent_is_opened_again_and_again_and_said_once(place):
    class Mute(Scripted):
        def read(self):
            clock.both += 4.0  # so long it waited
            return []

    clock, said = SetClock(), []
    source = Mute(clock, "serial:x", silent_after_s=20.0)
    recorder = Recorder(place, [source], clock, said.append)
    recorder.start()
    assert until(lambda: source.opened >= 4)
    recorder.stop()
    assert [text for text in said if "silent" in text] == ["serial:x (a test): silent: no line for 20 s"]


def test_a_job_of_work_is_done_alone_and_in_its_turn(place):
    recorder, _, _ = recorder_at(place)
    recorder.start()
    done, told = [], []
    recorder.writer.listeners.append(lambda rows: told.append(len(rows)))
    note = Row("2031-05-03T14:00:00Z", "note", "", "x")
    with closing(sqlite3.connect(place, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        recorder.writer.put(Batch((note,), urgent=True), 1.0)
        recorder.writer.put(Batch((), work=lambda live: done.append(live.row_count)), 1.0)
        recorder.writer.put(Batch((note, note)), 1.0)
    recorder.stop()
    assert done == [1]
    assert told == [1, 0, 2]
    assert len(read_job_file(place).rows) == 3


def test_work_that_fails_ends_the_writer_and_says_why(place):
    recorder, _, _ = recorder_at(place)
    recorder.start()
    recorder.writer.put(Batch((), work=lambda live: 1 / 0, urgent=True), 1.0)
    assert until(lambda: recorder.writer.error)
    with pytest.raises(StoreProblem, match="ZeroDivisionError"):
        recorder.tick()
    assert "cannot be written (ZeroDivisionError: division by zero)" in str(recorder.stop().error)


def test_a_run_that_cannot_be_begun_leaves_a_closed_file(place):
    recorder, _, _ = recorder_at(place)
    with pytest.raises(Exception, match=r"cannot be written \(ValueError: no clock\)"):
        recorder.writer.start(lambda job: _raise(ValueError("no clock")))
    assert not place.with_name(f"{place.name}.lock").exists()
    assert read_job_file(place).rows == ()


def _raise(error):
    raise error


# --- what other programs and people send ---------------------------------------------------------------------------


@pytest.mark.skipif(not hasattr(signal, "SIGHUP"), reason="a signal of POSIX")
def test_a_signal_that_nohup_has_silenced_stays_silenced_and_others_are_heard():
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        with stopping(threading.Event()) as asked:
            os.kill(os.getpid(), signal.SIGHUP)
            assert signal.getsignal(signal.SIGHUP) is signal.SIG_IGN
            assert not asked.is_set()
            os.kill(os.getpid(), signal.SIGTERM)
            assert asked.wait(60)
        assert signal.getsignal(signal.SIGHUP) is signal.SIG_IGN
    finally:
        signal.signal(signal.SIGHUP, before)


def test_a_pipe_that_brings_more_than_is_taken_at_once_loses_nothing():
    """The thread of it holds sixteen pieces of 64 KiB and then waits."""
    read, write = os.pipe()
    wanted = [f"note {number} {'x' * 400}" for number in range(4000)]

    def send():
        with open(write, "w", encoding="ascii") as out:
            out.write("\n".join(wanted))

    sender = threading.Thread(target=send)
    sender.start()
    lines = []
    with PipeLines(read, threaded=True) as pipe:
        while not pipe.ended:
            lines += pipe.lines(0.05)
    sender.join()
    os.close(read)
    assert lines == wanted


def test_choices_that_share_less_than_was_typed_leave_it_as_it_is():
    editor = LineEditor(lambda text: ("Yard", "yes") if text else ("a", "b"))
    for key in ("y", "tab"):
        editor.feed(key)
    assert (editor.text, editor.choices) == ("y", ("Yard", "yes"))


# --- words ---------------------------------------------------------------------------------------------------------


def test_words_on_what_the_recorder_alone_writes_and_on_a_level_that_is_no_number():
    hand = HandEntry()
    assert hand.enter("help gap").say == "'gap' is written by the recorder alone."
    assert hand.enter("signal any loud").say.startswith("'loud' is not a number. Write a decimal point")
    hand.committed(("r1-1",))  # of nothing that was typed here
    assert hand.enter("withdraw").say.startswith("Nothing typed in this run is left to take back.")


def test_a_line_of_many_blanks_is_understood_as_fast_as_any():
    """A pattern that can begin at each of them would take hours here; a remark begins at the first '#' behind one."""
    hand = HandEntry()
    blanks = " " * 300_000
    assert hand.enter(f"power awake{blanks}#{blanks}at last").readings[0][:5] == (
        "power", "receiver", "awake", "", "at last"
    )  # fmt: skip
    assert hand.enter(f"power{blanks}awake{blanks}").ok
    assert not hand.enter("power awake#at last").ok


def test_the_summary_counts_lines_that_were_lost():
    total = SourceTotal("serial:x", "/dev/x", 5000, 2000, 0, 3000, "ended", "", "")
    text = summary_lines(Summary(Path("a.satjob"), "r1", 60.0, 2000, (total,), (), (), "", None))[1]
    assert text == "  serial:x (/dev/x): 5,000 lines, 2,000 rows, 3,000 lines LOST for want of room"


def test_the_summary_says_of_one_that_it_is_one():
    total = SourceTotal("serial:x", "/dev/x", 1, 1, 0, 1, "ended", "", "")
    first, text = summary_lines(Summary(Path("a.satjob"), "r1", 60.0, 1, (total,), (), (), "", None))[:2]
    assert first == "a.satjob: 1 row written in 1 min (run r1)."
    assert text == "  serial:x (/dev/x): 1 line, 1 row, 1 line LOST for want of room"


# --- the desk of the page ------------------------------------------------------------------------------------------


def test_rows_that_bring_their_own_id_are_checked_remembered_and_named_in_a_withdrawal():
    desk = Desk(make_job("0:00 power receiver awake id=a1"), "r1", Moment(0, 0))
    at = Moment(parse_time_us("2031-04-26T14:40:00Z", None) * 1000, 0)
    own = {"time": "2031-04-26T14:40:00Z", "run": "r1.p1", "elapsed_s": "1"}
    first = desk.given("page", Reading("signal", "any", "3", "dB", id="p-1", **own), at)
    assert (first.id, first.run, first.elapsed_s) == ("p-1", "r1.p1", "1")
    other = Reading("signal", "any", "3", "bars/5", id="p-2", **own)
    assert "in dB before" in desk.given("page", other, at)
    assert "p-2" not in desk.ids
    assert desk.given("page", Reading("withdraw", "row", "p-1", id="p-3", **own), at).value == "p-1"
    assert desk.given("page", other, at).unit == "bars/5"
    assert "not the name of a [[site]]" in desk.given("page", Reading("site", "vehicle", "yard", id="p-4", **own), at)
    desk.renew(parse_sheet('[job]\nid = "x"\n[[site]]\nname = "yard"\nlatitude_deg = 1\nlongitude_deg = 2\n'))
    assert desk.given("page", Reading("site", "vehicle", "yard", id="p-4", **own), at).value == "yard"
    assert len(desk.ids) == 5
    with pytest.raises(TypeError, match="not kept"):
        list(desk.ids)


def test_a_unit_binds_as_long_as_one_row_of_it_stands():
    visits = Visits()
    assert visits.add(0, "any", "dB") == visits.add(1, "any", "dB") == visits.add(2) == ""
    visits.take_back(0, "any")
    assert "was in dB" in visits.add(3, "any", "percent")
    visits.take_back(1, "any")
    visits.take_back(1, "any")  # nothing of it is left
    assert visits.add(3, "any", "percent") == ""
