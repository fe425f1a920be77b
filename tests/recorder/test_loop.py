"""The whole recorder in one process, into a real job file: sources, hand, clocks, the end, and the next run."""

import pytest

from satdiag.errors import StoreProblem
from satdiag.job import build_job
from satdiag.opening import open_job
from satdiag.recorder.heard import SourceEnded
from satdiag.recorder.loop import Recorder
from satdiag.recorder.replay_source import ReplaySource
from satdiag.recorder.screen import headline
from satdiag.recorder.status import StatusTaker
from satdiag.store import create_job_file, read_job_file
from tests.helpers import make_job
from tests.recorder.devices import until
from tests.recorder.recording import new_job_file
from tests.recorder.scripted import Scripted, SetClock, level


class Running:
    """A recorder that is stopped whatever happens."""

    def __init__(self, place, *sources, clock=None, **more):
        self.said = []
        self.recorder = Recorder(place, sources, clock or SetClock(), self.said.append, **more)
        self.summary = None

    def __enter__(self):
        self.recorder.start()
        return self

    def __exit__(self, *_):
        self.summary = self.recorder.stop()

    def written(self, count):
        assert until(lambda: self.recorder.writer.rows_written >= count), self.said


def test_two_sources_and_a_hand_in_one_file(tmp_path):
    place, clock = new_job_file(tmp_path / "job.satjob"), SetClock()
    east, west = Scripted(clock, "serial:east"), Scripted(clock, "serial:west")
    east.script.append(level(3, "satellite:east"))
    west.script.append(level(5, "satellite:west"))
    acknowledged = []
    with Running(place, east, west, clock=clock, acknowledge=acknowledged.extend) as run:
        run.written(2)
        assert run.recorder.enter("channel 31 refused").ok
        assert not run.recorder.enter("chanel 31 refused").ok
        run.written(3)
        assert until(lambda: "written" in run.recorder.answer)
    rows = read_job_file(place).rows
    assert sorted((row.source, row.kind, row.value) for row in rows) == [
        ("hand", "channel", "refused"),
        ("serial:east", "signal", "3"),
        ("serial:west", "signal", "5"),
    ]
    assert {row.run for row in rows} == {"r1"}
    assert sorted(acknowledged) == sorted(row.id for row in rows)
    assert run.summary.rows_written == 3
    assert run.summary.left_word == ""
    assert [path.name for path in tmp_path.iterdir()] == ["job.satjob"]


def test_marks_of_a_channel_change_and_a_withdrawal_by_hand(tmp_path):
    place = new_job_file(tmp_path / "job.satjob")
    with Running(place) as run:
        for count, text in enumerate(("tune 31", "audio", "title", "channel 5 refused"), 1):
            assert run.recorder.enter(text).ok
            run.written(count)
            assert until(lambda: "written" in run.recorder.answer)
        assert run.recorder.enter("withdraw").ok
        run.written(5)
    job = read_job_file(place)
    assert [(row.kind, row.subject, row.value) for row in job.rows][:3] == [
        ("tune", "31", "requested"),
        ("tune", "31", "audio"),
        ("tune", "31", "title"),
    ]
    assert job.rows[4].kind == "withdraw"
    assert job.rows[4].value == job.rows[3].id
    assert "channel" not in set(job.log["kind"])


def test_a_hand_entry_that_the_log_refuses_leaves_the_hand_as_it_was(tmp_path):
    create_job_file(
        tmp_path / "job.satjob",
        build_job({"job.toml": b'[job]\nid = "x"\n[receiver]\nlevel_scale = "dB"\n'}, []),
    )
    with Running(tmp_path / "job.satjob") as run:
        assert run.recorder.enter("signal any 3 dB").ok
        run.written(1)
        refused = run.recorder.enter("signal any 3 percent")
        assert not refused.ok
        assert "was in dB before" in refused.say
        run.recorder.enter("withdraw")
        run.written(2)
    rows = read_job_file(tmp_path / "job.satjob").rows
    assert [(row.kind, row.value) for row in rows] == [("signal", "3"), ("withdraw", rows[0].id)]


def test_a_later_run_goes_on_and_names_itself_anew(tmp_path):
    place = new_job_file(tmp_path / "job.satjob")
    for number in (1, 2, 3):
        clock = SetClock()
        source = Scripted(clock)
        source.script.append(level(number))
        with Running(place, source, clock=clock) as run:
            run.written(1)
        assert run.summary.run == f"r{number}"
    job = read_job_file(place)
    assert [(row.run, row.value) for row in job.rows] == [("r1", "1"), ("r2", "2"), ("r3", "3")]
    assert sorted(name for name in job.documents if name.startswith("raw")) == [f"raw-r{n}.jsonl" for n in (1, 2, 3)]


def test_a_second_recorder_is_refused_and_nothing_of_it_was_started(tmp_path):
    place = new_job_file(tmp_path / "job.satjob")
    with Running(place) as first:
        source = Scripted(SetClock())
        with pytest.raises(StoreProblem, match="process"):
            Recorder(place, [source]).start()
        assert source.opened == 0
        first.recorder.enter("note still here")
        first.written(1)
        assert len(open_job(place).rows) == 1  # reading goes on meanwhile
    assert len(read_job_file(place).rows) == 1


def test_a_job_played_back_says_what_it_said(tmp_path):
    job = make_job(
        """
        0:00  account service confirmed source=hand
        0:10  signal satellite:east 11.2 dB source=serial:bench run=r1 elapsed_s=10 id=a
        0:20  channel 31 authorised id=slip source=hand
        0:30  withdraw row slip source=hand
        0:40  gap serial:bench lost span_s=5 source=recorder
        0:50  tune 7 requested source=serial:bench run=r1 elapsed_s=50
        """
    )
    create_job_file(tmp_path / "old.satjob", job)
    clock = SetClock()
    source = ReplaySource(tmp_path / "old.satjob", float("inf"), clock, "replay")
    place = new_job_file(tmp_path / "new.satjob")
    with Running(place, source, clock=clock) as run:
        assert until(lambda: run.recorder.sources_ended)
    played = read_job_file(place)
    columns = ["time", "kind", "subject", "value", "unit", "source", "span_s", "elapsed_s", "withdrawn"]
    before = job.observations[columns].astype(str).to_numpy().tolist()
    after = played.observations[columns].astype(str).to_numpy().tolist()
    for row in before + after:
        row[3] = "an id" if row[1] == "withdraw" else row[3]
    assert after == before
    assert {row.run for row in played.rows if row.run} == {"r1.r1"}
    again = ReplaySource(tmp_path / "old.satjob", float("inf"), clock, "replay")
    with Running(place, again, clock=clock) as run:  # a second time: no id is used twice
        assert until(lambda: run.recorder.sources_ended)
    assert len(read_job_file(place).rows) == 2 * len(job.rows)


def test_an_end_without_closing_leaves_a_gap_for_each_source_that_was_heard(tmp_path):
    place, clock = new_job_file(tmp_path / "job.satjob"), SetClock()
    source = Scripted(clock, "serial:x")
    source.script.append(level(3))
    first = Recorder(place, [source], clock)
    first.start()
    assert until(lambda: first.writer.rows_written == 1)
    for runner in first.runners:
        runner.stop()
        runner.join(30)
    first.writer._fail(StoreProblem("as if the process had died"))
    with first.writer._change:
        first.writer._closing = False
        first.writer._change.notify_all()
    first.writer._thread.join()
    clock.both += 100
    with Running(place, clock=clock) as run:
        run.written(1)
    assert any("ended without closing" in text for text in run.said)
    (gap,) = [row for row in read_job_file(place).rows if row.kind == "gap"]
    assert (gap.subject, gap.value) == ("serial:x", "lost")
    assert 100 <= float(gap.span_s) < 160  # and what a busy computer takes


def test_the_status_tells_what_a_person_wants_to_know(tmp_path):
    sheet = b'[job]\nid = "x"\n[receiver]\nlevel_scale = "dB"\nlevel_floor = 0\n[service]\npackage = "music"\n'
    lineup = b"channel,name,category,packages\n31,A,,music\n32,B,,music\n33,C,,talk\n"
    place = tmp_path / "job.satjob"
    create_job_file(place, build_job({"job.toml": sheet, "lineup.csv": lineup}, []))
    clock = SetClock()
    heard, gone = Scripted(clock, "serial:a"), Scripted(clock, "serial:b")
    gone.cannot_open = ("missing", "it is not there")
    heard.script.append(level(7))
    with Running(place, heard, gone, clock=clock) as run:
        run.written(1)
        run.recorder.enter("account confirmed")
        run.written(2)
        run.recorder.enter("channels 31,32 authorised")
        run.written(4)
        run.recorder.enter("channel 33 refused")
        run.written(5)
        clock.both += 300
        heard.script.append(level(8))
        run.written(6)
        assert until(lambda: run.recorder.runners[1].heard.state == "lost")
        status = StatusTaker(run.recorder).take()
    assert (status.authorised, status.refused, status.expected) == (2, 1, 2)
    assert [(one.path, one.value, one.unit) for one in status.levels] == [("any", "8", "dB")]
    assert status.levels[0].age_s < 5
    assert 299 < status.exposure_s < 310
    assert headline(status) == "Recording since 5 min: 1 of 2 sources heard; serial:b not heard, trying again."
    assert status.sources[1].trouble == "it is not there"


def test_it_knows_when_nothing_more_can_come(tmp_path):
    clock = SetClock()
    source = Scripted(clock, can_wait=True)
    source.script += [level(1), SourceEnded()]
    with Running(new_job_file(tmp_path / "job.satjob"), source, clock=clock) as run:
        assert until(lambda: run.recorder.sources_ended)
    assert run.summary.sources[0].rows == 1


def test_a_withdrawal_by_hand_names_a_row_that_is_there(tmp_path):
    place = new_job_file(tmp_path / "job.satjob")
    with Running(place) as run:
        for text in ("withdraw r1-99", "withdraw r1-1", "withdraw r1.r1-1", "withdraw nobody"):
            assert not run.recorder.enter(text).ok
        assert run.recorder.enter("power awake").ok
        run.written(1)
        assert run.recorder.enter("withdraw r1-1").ok
        run.written(2)
    assert [row.kind for row in read_job_file(place).rows] == ["power", "withdraw"]


def test_replays_use_no_id_twice_and_withdraw_their_own_rows_only(tmp_path):
    """The target has a row with the id that the job withdraws; a row is refused, and so is its withdrawal."""
    job = make_job(
        """
        0:00  channel 31 authorised id=r1-1
        0:05  withdraw row r1-1 id=r1-2
        0:10  site vehicle yard id=r1-3
        0:15  withdraw row r1-3
        """,
        '[[site]]\nname = "yard"\nlatitude_deg = 41.2\nlongitude_deg = -96.1\n',
    )
    create_job_file(tmp_path / "old.satjob", job)
    create_job_file(tmp_path / "job.satjob", make_job("0:00 channel 77 authorised id=r1-1"))
    clock = SetClock()
    sources = [ReplaySource(tmp_path / "old.satjob", float("inf"), clock, name) for name in ("replay", "replay/2")]
    with Running(tmp_path / "job.satjob", *sources, clock=clock) as run:
        assert until(lambda: run.recorder.sources_ended)
    after = read_job_file(tmp_path / "job.satjob")
    seen = after.observations
    assert seen[seen["kind"] == "channel"]["withdrawn"].tolist() == [False, True, True]
    assert sorted(row.kind for row in after.rows) == ["channel"] * 3 + ["withdraw"] * 2
    assert [total.not_understood for total in run.summary.sources] == [2, 2]


def test_the_unit_of_a_level_that_was_taken_back_binds_nobody(tmp_path):
    place, clock = new_job_file(tmp_path / "job.satjob"), SetClock()
    source = Scripted(clock, "serial:x")
    with Running(place, source, clock=clock) as run:
        assert run.recorder.enter("signal any 3 bars/5").ok
        run.written(1)
        assert run.recorder.enter("withdraw").ok
        run.written(2)
        source.script.append(level(11))
        run.written(3)
    assert [row.value for row in read_job_file(place).rows if row.source == "serial:x"] == ["11"]


def test_a_file_that_is_moved_away_is_noticed_at_the_next_row(tmp_path):
    place = new_job_file(tmp_path / "job.satjob")
    run = Running(place)
    with run:
        run.recorder.enter("note one")
        run.written(1)
        place.rename(tmp_path / "elsewhere.satjob")
        run.recorder.enter("note two")
        assert until(lambda: run.recorder.writer.error is not None)
    assert "moved, replaced or deleted" in str(run.summary.error)
    assert [row.value for row in run.summary.unwritten] == ["two"]
