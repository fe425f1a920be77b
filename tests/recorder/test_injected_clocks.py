"""A whole recorder under clocks that a test sets: steps of the wall clock, drift, a sleep; durations must not notice.

Both clocks stand still unless a test moves them, so that every number here is exact.
"""

import contextlib
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from satdiag.exposure import exposure_clock
from satdiag.recorder.clock import Clock
from satdiag.recorder.heard import Reading
from satdiag.recorder.loop import Recorder
from satdiag.recorder.runner import HOLE_S
from satdiag.rows import Row, parse_time_us
from satdiag.store import check_job_file, open_live, read_job_file
from satdiag.tuning.attempts import tuning_attempts
from tests.recorder.devices import until
from tests.recorder.recording import new_job_file
from tests.recorder.scripted import Scripted, level

BEGIN = datetime(2031, 5, 3, 14, tzinfo=UTC)
TICK_S = 0.5
HOUR_S = 3600.0


class Hands:
    """Two clocks that go only when told to; `wall_rate` is how fast the wall clock goes on the other's."""

    def __init__(self, wall_rate=1.0):
        self._wall_rate = wall_rate
        self._wall_ns = int(BEGIN.timestamp()) * 10**9
        self._mono_ns = 77 * 10**9
        self.clock = Clock(lambda: self._wall_ns, lambda: self._mono_ns)

    def go(self, seconds):
        """Time passes, for both."""
        self._mono_ns += round(seconds * 1e9)
        self._wall_ns += round(seconds * self._wall_rate * 1e9)

    def step(self, seconds):
        """The wall clock is set."""
        self._wall_ns += round(seconds * 1e9)

    def lead_s(self):
        """By how much the wall clock is ahead of the other, against the beginning."""
        return (self._wall_ns - int(BEGIN.timestamp()) * 10**9 - self._mono_ns + 77 * 10**9) / 1e9


class Visit:
    """A recorder at work on a new job file; whoever calls moves its clocks and says what its sources hear."""

    def __init__(self, place, hands=None, sources=None):
        self.place, self.hands = new_job_file(place), hands or Hands()
        self.sources = sources or [Scripted(self.hands.clock)]
        self.recorder = Recorder(place, self.sources, self.hands.clock)
        self.recorder.start()
        assert until(lambda: all(runner.heard.state == "open" for runner in self.recorder.runners))

    def wait(self, seconds, tick_s=TICK_S):
        """Time passes, and the recorder looks at its clocks as often as it should."""
        while seconds > 0:
            self.hands.go(min(tick_s, seconds))
            self.recorder.tick()
            seconds -= tick_s

    def hear(self, *lines):
        """The first source hears lines, at this instant."""
        runner = self.recorder.runners[0]
        count = runner.heard.lines + len(lines)
        self.sources[0].script += lines
        assert until(lambda: runner.heard.lines == count)

    def end(self):
        """Stop; the job as whoever opens it finds it."""
        summary = self.recorder.stop()
        assert (summary.unwritten, summary.error, summary.left_word) == ((), None, "")
        assert check_job_file(self.place) == []
        return read_job_file(self.place)


@pytest.fixture
def visit(tmp_path):
    with contextlib.ExitStack() as ends:

        def begin(name="visit.satjob", **more):
            made = Visit(tmp_path / name, **more)
            ends.callback(made.recorder.stop)
            return made

        yield begin


def said(kind, subject, value, unit=""):
    """A line that says one thing."""
    return f"{kind} {subject} {value} {unit}".encode(), (Reading(kind, subject, value, unit),), ""


def received():
    """Lines that prove awake and received."""
    return said("power", "receiver", "awake"), said("lock", "any", "yes"), level(11.2)


def rows_of(job, kind):
    return [row for row in job.rows if row.kind == kind]


def wall_us(job):
    """The rows' times as written, microseconds, in the order of the file."""
    return np.array([parse_time_us(row.time, None) for row in job.rows])


def elapsed_s(job):
    return np.array([float(row.elapsed_s) for row in job.rows])


def an_hour(made, step_s):
    """An hour with channel changes, and the wall clock set in the middle of one of them, 21 minutes after the start.

    Each time it takes 2 s to the audio and 9 s to the title.
    """
    for minute in range(60):
        marks = (said("account", "service", "confirmed"),) if minute == 2 else ()
        if minute % 10 != 1:
            made.hear(*received(), *marks)
            made.wait(60.0)
            continue
        channel = str(30 + minute)
        made.hear(said("tune", channel, "requested"), *received())
        made.wait(1.5)
        if minute == 21:
            made.hands.step(step_s)
        made.wait(0.5)
        made.hear(said("tune", channel, "audio"))
        made.wait(7.0)
        made.hear(said("tune", channel, "title"))
        made.wait(51.0)
    made.hear(*received())
    return made.end()


def durations(job):
    """Everything that the analysis measures as a length of time here."""
    clock = exposure_clock(job)
    attempts = tuning_attempts(job)
    return {
        "exposure": (clock.exposure_s, clock.exposure_max_s),
        "tune": [(each.audio_s, each.title_s, each.ended_by) for each in attempts.timed],
        "end": job.end_s,
        "visits": job.visits,
    }


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    """The same hour without a step."""
    job = an_hour(Visit(tmp_path_factory.mktemp("plain") / "plain.satjob"), 0.0)
    assert rows_of(job, "clock") == []
    return durations(job)


@pytest.mark.parametrize("step_s", [3600.0, -3600.0, 3.0, -2.5])
def test_a_step_of_the_wall_clock_is_one_row_and_changes_no_duration(visit, plain, step_s):
    job = an_hour(visit(), step_s)
    (row,) = rows_of(job, "clock")
    assert (row.subject, row.value, row.unit, row.source) == ("recorder", f"{step_s:.3f}", "s", "recorder")
    assert float(row.elapsed_s) == 21 * 60 + 1.5 + TICK_S

    # the clock really was set: the rows say so, and the order of the file is that of the other clock
    times = wall_us(job)
    assert times[-1] - times[0] == round((HOUR_S + step_s) * 1e6)
    assert (np.diff(times).min() < 0) == (step_s < 0)
    assert (np.diff(elapsed_s(job)) >= 0).all()
    assert all(float(gap.span_s) >= 0 for gap in rows_of(job, "gap"))

    assert (np.diff(job.log["row"]) > 0).all()
    at = job.log["at"].to_numpy()
    assert (np.diff(at) >= np.timedelta64(0)).all()
    assert job.overridden_rows == 0
    assert durations(job) == plain
    assert durations(job)["exposure"] == pytest.approx((HOUR_S - 120,) * 2, abs=1e-5)
    assert durations(job)["tune"] == [(2.0, 9.0, "done")] * 6


@pytest.mark.parametrize("step_s", [3600.0, -3600.0])
def test_the_exposure_on_the_screen_does_not_notice_a_step(visit, step_s):
    made = visit()
    for minute in range(30):
        made.hear(*received())
        if minute == 20:
            made.hands.step(step_s)
        made.wait(60.0)
    made.hear(*received())
    assert until(lambda: made.recorder.writer.held == 0 and made.recorder.writer.rows_written == 31 * 3 + 1)
    assert until(lambda: made.recorder.thin().exposure().lower_s == pytest.approx(1800, abs=0.01))
    clock = exposure_clock(made.end())
    assert (clock.exposure_s, clock.exposure_max_s) == pytest.approx((1800, 1800), abs=1e-5)


@pytest.mark.parametrize("step_s", [1.9, -1.9])
def test_a_small_change_is_no_step(visit, step_s):
    made = visit()
    made.hear(level(1))
    made.hands.step(step_s)
    made.wait(60.0)
    made.hear(level(2))
    job = made.end()
    assert rows_of(job, "clock") == []
    assert wall_us(job)[-1] - wall_us(job)[0] == round((60 + step_s) * 1e6)


def test_two_steps_are_two_rows(visit):
    made = visit()
    made.hear(level(1))
    for step_s in (2.5, -2.5):
        made.wait(10.0)
        made.hands.step(step_s)
    made.wait(10.0)
    made.hear(level(2))
    assert [row.value for row in rows_of(made.end(), "clock")] == ["2.500", "-2.500"]


def test_a_clock_that_began_in_1970_is_set_to_now(visit):
    """A computer without a battery for its clock, which learns the time from the network."""
    hands = Hands()
    now_s = int(BEGIN.timestamp())
    hands.step(-now_s)
    made = visit(hands=hands)
    made.hear(*received())
    made.wait(60.0)
    made.hands.step(now_s)
    made.wait(60.0)
    made.hear(*received())
    job = made.end()
    assert [row.value for row in rows_of(job, "clock")] == [f"{now_s:.3f}"]
    assert job.end_s == pytest.approx(120, abs=1e-5)


@pytest.mark.parametrize("drift_ppm", [100, -100])
def test_slow_drift_over_a_day_is_no_step(visit, drift_ppm):
    made = visit(hands=Hands(1 + drift_ppm * 1e-6))
    for _ in range(24):
        made.hear(level(1))
        made.wait(HOUR_S, tick_s=1.0)
    made.hear(level(2))
    job = made.end()
    assert made.hands.lead_s() == pytest.approx(86400 * drift_ppm * 1e-6)  # 8.64 s: more than a step, never at once
    assert [row.kind for row in job.rows] == ["signal"] * 25
    assert float(job.rows[-1].elapsed_s) == 86400
    drift = timedelta(microseconds=int(wall_us(job)[-1] - wall_us(job)[0])) - timedelta(days=1)
    assert drift.total_seconds() == pytest.approx(86400 * drift_ppm * 1e-6, abs=1e-6)
    assert job.end_s == 86400


def asleep(made, seconds):
    """The computer sleeps: both clocks go on, nothing runs; then it ticks again."""
    made.hands.go(seconds)
    made.recorder.tick()


def test_a_sleep_of_the_computer_is_a_gap_of_every_source_and_no_step(visit):
    hands = Hands()
    made = visit(hands=hands, sources=[Scripted(hands.clock, "serial:one"), Scripted(hands.clock, "serial:two")])
    made.hear(*received())
    made.wait(30.0)
    asleep(made, HOUR_S)
    made.wait(30.0)
    made.hear(*received())
    job = made.end()
    assert rows_of(job, "clock") == []
    gaps = rows_of(job, "gap")
    assert {(gap.subject, gap.value, gap.span_s, gap.elapsed_s) for gap in gaps} == {
        (name, "lost", "3600.000", "3630.000000") for name in ("serial:one", "serial:two")
    }
    assert len(gaps) == 2
    assert job.end_s == pytest.approx(HOUR_S + 60, abs=1e-5)
    assert exposure_clock(job).exposure_s == 0  # nothing proves that the receiver was awake meanwhile


def test_a_short_pause_of_the_program_is_no_gap(visit):
    made = visit()
    made.hear(level(1))
    made.wait(5.0)
    asleep(made, HOLE_S - 1)
    made.wait(5.0)
    made.hear(level(2))
    job = made.end()
    assert [row.kind for row in job.rows] == ["signal", "signal"]


def test_a_source_that_counts_as_silent_has_no_time_in_a_sleep_unaccounted_for(visit):
    """Whichever notices first, the supervisor that slept or the source that its device is silent."""
    hands = Hands()
    made = visit(hands=hands, sources=[Scripted(hands.clock, "serial:one", silent_after_s=HOLE_S)])
    made.hear(level(1))
    made.wait(5.0)
    asleep(made, HOUR_S)
    made.hear(level(2))
    job = made.end()
    assert rows_of(job, "clock") == []
    spans = sorted((float(gap.elapsed_s) - float(gap.span_s), float(gap.elapsed_s)) for gap in rows_of(job, "gap"))
    covered = [second for start, end in spans for second in range(round(start), round(end))]
    assert set(covered) >= set(range(5, 3605))
    assert max(covered) < 3605


def test_a_sleep_of_the_computer_is_not_silence_of_the_device(visit):
    hands = Hands()
    made = visit(hands=hands, sources=[Scripted(hands.clock, "serial:one", silent_after_s=HOLE_S)])
    made.hear(level(1))
    made.wait(5.0)
    asleep(made, HOUR_S)
    assert not until(lambda: made.recorder.runners[0].heard.state == "silent", 0.3)
    made.hear(level(2))
    assert [(row.value, row.span_s) for row in rows_of(made.end(), "gap")] == [("lost", "3600.000")]


def test_a_step_and_a_sleep_at_once_are_both_written(visit):
    """The clock is set while the lid is closed: a lost hour, and a wall clock that was 40 s behind."""
    made = visit()
    made.hear(level(1))
    made.wait(5.0)
    made.hands.step(40.0)
    asleep(made, HOUR_S)
    made.wait(5.0)
    made.hear(level(2))
    job = made.end()
    assert [row.value for row in rows_of(job, "clock")] == ["40.000"]
    assert [(row.value, row.span_s) for row in rows_of(job, "gap")] == [("lost", "3600.000")]


@pytest.mark.parametrize("step_s", [3600.0, -3600.0, 3.0, -2.5])
def test_a_step_during_a_channel_change_does_not_change_its_time(visit, step_s):
    """The step falls between two ticks, and the very next thing is the mark: the clock row comes after it."""
    made = visit()
    made.hear(*received(), said("tune", "31", "requested"))
    made.wait(2.0)
    made.hands.step(step_s)
    made.hands.go(0.25)
    made.hear(said("tune", "31", "audio"))
    made.wait(4.0)
    made.hear(said("tune", "31", "title"))
    made.wait(1.0)
    made.hear(*received())
    job = made.end()
    assert [row.value for row in rows_of(job, "clock")] == [f"{step_s:.3f}"]
    (attempt,) = tuning_attempts(job).timed
    heard_before = 3e-6  # the request is the fourth line of one instant; lines are a microsecond apart
    assert attempt.audio_s == pytest.approx(2.25 - heard_before, abs=1e-9)
    assert attempt.title_s == pytest.approx(6.25 - heard_before, abs=1e-9)
    assert attempt.ended_by == "done"


def test_a_step_while_nothing_can_be_written_is_written_later(visit):
    made = visit()
    writer = made.recorder.writer
    writer.room, writer._weight = 0, writer._weight + 1  # as if the medium had been full for long
    made.hands.step(60.0)
    made.wait(TICK_S)
    writer.room, writer._weight = 1000, writer._weight - 1
    made.wait(10 * TICK_S)
    assert [row.value for row in rows_of(made.end(), "clock")] == ["60.000"]


def test_the_gap_after_a_run_that_was_cut_off_begins_at_its_last_row_also_after_a_step_back(tmp_path):
    """The run was set back by an hour at 14:55, said its last word at 14:10, and is gone on with at 14:30."""
    place = new_job_file(tmp_path / "cut.satjob")
    row = Row("2031-05-03T14:54:59Z", "lock", "any", "yes", "", "serial:test", "", "", "r1", "3299", "r1-1")
    after = row._replace(time="2031-05-03T14:10:00Z", elapsed_s="4200", id="r1-2")
    live = open_live(place)
    live.begin("r1", "2031-05-03T14:00:00Z")
    live.append([row, after])
    live.close(clean=False)
    hands = Hands()
    hands.go(1800)
    recorder = Recorder(place, [], hands.clock)
    recorder.start()
    recorder.stop()
    gaps = rows_of(read_job_file(place), "gap")
    assert [(gap.subject, gap.value, gap.span_s) for gap in gaps] == [("serial:test", "lost", "1200.000")]
