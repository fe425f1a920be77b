"""One source and its thread, into a real job file: what is said, what is written, what a loss of it leaves behind."""

import contextlib

import pytest

from satdiag.recorder.clock import time_text
from satdiag.recorder.desk import Desk, next_run
from satdiag.recorder.heard import SourceEnded, SourceTrouble
from satdiag.recorder.raw_lines import decode_document
from satdiag.recorder.runner import Runner
from satdiag.recorder.writer import Writer
from satdiag.store import read_job_file
from tests.recorder.devices import until
from tests.recorder.recording import new_job_file
from tests.recorder.scripted import Scripted, SetClock, level, rubbish


class Bench:
    """A writer on a real job file and runners on it."""

    def __init__(self, place, room=200_000):
        self.place, self.clock, self.said, self.runners = place, SetClock(), [], []
        self.committed = []
        self.writer = Writer(place, self.committed.extend, room)
        start = self.clock.now()
        job = self.writer.start(lambda job: (next_run(job), time_text(start.wall_ns)))
        self.desk = Desk(job, next_run(job), start)

    def run(self, source):
        runner = Runner(source, self.desk, self.writer, self.clock, self.said.append)
        self.runners.append(runner)
        runner.start()
        return runner

    def end(self):
        for runner in self.runners:
            runner.stop()
        assert all(runner.join(30) for runner in self.runners)
        assert self.writer.close() == ()
        return read_job_file(self.place)


@pytest.fixture
def bench(tmp_path):
    with contextlib.ExitStack() as ends:
        made = Bench(new_job_file(tmp_path / "job.satjob"))
        ends.callback(made.writer.close)
        ends.callback(lambda: [runner.stop() for runner in made.runners])
        yield made


def gaps(job):
    return [row for row in job.rows if row.kind == "gap"]


def test_lines_become_rows_and_stay_beside_them_as_they_came(bench):
    source = Scripted(bench.clock)
    source.script += [level(3), rubbish(), level(4)]
    bench.run(source)
    assert until(lambda: len(bench.committed) >= 2)
    job = bench.end()
    rows = [row for row in job.rows if row.kind == "signal"]
    assert [row.value for row in rows] == ["3", "4"]
    assert {(row.source, row.run) for row in rows} == {("serial:test", "r1")}
    assert float(rows[1].elapsed_s) > float(rows[0].elapsed_s)
    raw = list(decode_document("raw-r1.jsonl", job.documents["raw-r1.jsonl"]))
    assert [(line.data, line.rows) for line in raw] == [
        (b"signal any 3 dB", (rows[0].id,)),
        (b"\xff\x00", ()),
        (b"signal any 4 dB", (rows[1].id,)),
    ]
    assert raw[1].why == "no observation in it"
    assert source.closed >= 1


def test_what_the_vocabulary_does_not_know_is_kept_raw_with_the_reason(bench):
    source = Scripted(bench.clock)
    data, (reading,), _ = level(3)
    source.script += [
        (b"a", (reading._replace(unit="furlong"),), ""),
        (b"b", (reading._replace(kind="gap", subject="x", value="lost", unit=""),), ""),
        (b"c", (reading._replace(kind="withdraw", subject="row", value="r1-1", unit=""),), ""),
        (data, (reading,), ""),
        (b"d", (reading._replace(unit="percent"),), ""),
    ]
    runner = bench.run(source)
    assert until(lambda: len(bench.committed) >= 1)
    job = bench.end()
    whys = [line.why for line in decode_document("raw-r1.jsonl", job.documents["raw-r1.jsonl"])]
    assert ["furlong" in whys[0], "recorder alone" in whys[1], "person only" in whys[2], whys[3]] == [True] * 3 + [""]
    assert "was in dB before and is in percent" in whys[4]
    assert runner.heard.not_understood == 4
    assert len([row for row in job.rows if row.kind == "signal"]) == 1


def test_a_loss_is_said_once_tried_again_and_written_as_a_gap(bench):
    source = Scripted(bench.clock)
    source.script += [level(3), SourceTrouble("gone", "unplugged")]
    source.cannot_open = None
    runner = bench.run(source)
    assert until(lambda: runner.heard.state == "lost" or source.opened >= 2)
    source.cannot_open = ("missing", "not there")
    assert until(lambda: runner.heard.trouble in ("unplugged", "not there") or source.opened >= 2)
    bench.clock.both += 30.0
    source.cannot_open = None
    source.script.append(level(5))
    assert until(lambda: len([row for row in bench.committed if row.kind == "signal"]) == 2)
    job = bench.end()
    (gap, *more) = gaps(job)
    assert not more
    assert (gap.subject, gap.value, gap.source) == ("serial:test", "lost", "recorder")
    assert 30 <= float(gap.span_s) < 90  # and what a busy computer takes
    assert [text for text in bench.said if "unplugged" in text] == ["serial:test (a test): not heard: unplugged"]
    assert any("heard again" in text for text in bench.said)


def test_silence_is_not_a_lost_signal_and_the_source_is_opened_anew(bench):
    source = Scripted(bench.clock, silent_after_s=20.0)
    source.script.append(level(3))
    runner = bench.run(source)
    assert until(lambda: runner.heard.lines == 1)
    bench.clock.both += 21.0
    assert until(lambda: runner.heard.state == "silent")
    assert until(lambda: source.opened >= 2)
    bench.clock.both += 10.0
    source.script.append(level(4))
    assert until(lambda: runner.heard.state == "listening")
    job = bench.end()
    (gap,) = gaps(job)
    assert gap.value == "silent"
    assert 31 <= float(gap.span_s) < 91  # from the last line on, not from when it was noticed
    assert [row.value for row in job.rows if row.kind in ("lock", "signal")] == ["3", "4"]


def test_rubbish_alone_is_silence(bench):
    source = Scripted(bench.clock, silent_after_s=20.0)
    source.script.append(rubbish())
    runner = bench.run(source)
    assert until(lambda: runner.heard.lines == 1)
    bench.clock.both += 21.0
    source.script.append(rubbish())
    assert until(lambda: runner.heard.state == "silent")
    bench.end()


def test_an_error_of_one_source_does_not_end_the_other(bench):
    bad, good = Scripted(bench.clock, "serial:bad"), Scripted(bench.clock, "serial:good")
    bad.script.append(ZeroDivisionError("our own mistake"))
    good.script.append(level(1))
    bench.run(bad)
    bench.run(good)
    assert until(lambda: bench.committed and any("our own mistake" in text for text in bench.said))
    good.script.append(level(2))
    assert until(lambda: len([row for row in bench.committed if row.kind == "signal"]) == 2)
    bench.end()


def test_a_source_that_ends_is_not_tried_again(bench):
    source = Scripted(bench.clock, can_wait=True)
    source.script += [level(1), SourceEnded()]
    runner = bench.run(source)
    assert until(lambda: runner.ended)
    job = bench.end()
    assert source.opened == 1
    assert gaps(job) == []


def test_a_sleep_of_the_computer_is_a_gap(bench):
    source = Scripted(bench.clock)
    source.script.append(level(1))
    runner = bench.run(source)
    assert until(lambda: runner.heard.lines == 1)
    before = bench.clock.now()
    bench.clock.both += 3600
    runner.hole(before, bench.clock.now())
    assert until(lambda: any(row.kind == "gap" and float(row.span_s) > 3599 for row in bench.committed))
    bench.end()


def test_lines_without_room_become_an_overflow_gap_that_counts_them(tmp_path, monkeypatch):
    monkeypatch.setattr("satdiag.recorder.runner.PATIENCE_S", 0.05)
    bench = Bench(new_job_file(tmp_path / "job.satjob"), room=50)
    held = bench.writer._change
    source = Scripted(bench.clock)
    with held:  # the writer cannot take what it holds, nor can a source hand anything over
        pass
    bench.writer.room = 0  # as if everything were full
    bench.writer._weight += 1
    source.script += [level(number) for number in range(7)]
    runner = bench.run(source)
    assert until(lambda: runner.heard.lost_lines == 7)
    bench.writer._weight -= 1
    bench.writer.room = 50
    assert until(lambda: any(row.kind == "gap" and row.value == "overflow" for row in bench.committed))
    job = bench.end()
    (gap,) = [row for row in gaps(job) if row.value == "overflow"]
    assert gap.note == "7 lines could not be kept"
    assert [row for row in job.rows if row.kind == "signal"] == []


def test_a_source_that_can_wait_loses_nothing_when_there_is_no_room(tmp_path):
    bench = Bench(new_job_file(tmp_path / "job.satjob"), room=50)
    bench.writer.room, bench.writer._weight = 0, bench.writer._weight + 1
    source = Scripted(bench.clock, can_wait=True)
    source.script += [level(number) for number in range(200)]
    runner = bench.run(source)
    assert not until(lambda: bench.committed, 0.6)
    bench.writer.room, bench.writer._weight = 50, bench.writer._weight - 1
    assert until(lambda: len([row for row in bench.committed if row.kind == "signal"]) == 200)
    assert runner.heard.lost_lines == 0
    job = bench.end()
    assert [row.value for row in job.rows if row.kind == "signal"] == [str(number) for number in range(200)]


def test_a_link_that_comes_and_goes_is_said_once_and_tried_ever_less_often(bench):
    source = Scripted(bench.clock)
    source.script.append(SourceTrouble("gone", "gone at once"))
    bench.run(source)
    end = bench.clock.now().mono_ns + 4 * 10**9
    while bench.clock.now().mono_ns < end:
        if not source.script:
            source.script += [rubbish(b""), SourceTrouble("gone", "gone at once")]
        until(lambda: not source.script, 0.05)
    job = bench.end()
    assert source.opened < 8  # pauses of 0.2, 0.4, 0.8, 1.6 s
    assert len([text for text in bench.said if "not heard" in text]) == 1
    assert not any("again" in text for text in bench.said)
    assert len(gaps(job)) == 1


def test_a_port_that_says_nothing_is_open_and_not_heard(bench):
    runner = bench.run(Scripted(bench.clock))
    assert until(lambda: runner.heard.state == "open")
    runner.source.script.append(level(1))
    assert until(lambda: runner.heard.state == "listening")
    assert gaps(bench.end()) == []


def test_a_slow_device_is_heard_though_it_counts_as_silent(bench):
    """One line every 25 s where silence begins after 20: the source is opened anew, and not left closed meanwhile."""
    source = Scripted(bench.clock, silent_after_s=20.0)
    runner = bench.run(source)
    for number in range(4):
        source.script.append(level(number))
        assert until(lambda number=number: runner.heard.lines == number + 1)
        bench.clock.both += 25.0
        assert until(lambda: runner.heard.state == "silent")
    job = bench.end()
    assert [row.value for row in job.rows if row.kind == "signal"] == ["0", "1", "2", "3"]
