"""A job played again: which rows, in which order, when, and with what in them."""

import itertools
import math

import pytest

from satdiag.errors import NotAJob, SatdiagError
from satdiag.folder import export_files, write_folder
from satdiag.job import with_rows
from satdiag.recorder.clock import Clock
from satdiag.recorder.heard import WAIT_S
from satdiag.recorder.replay_source import ReplaySource, play_order
from satdiag.rows import Row
from satdiag.store import create_job_file
from tests.helpers import make_job
from tests.recorder.conformance import until_ended as played

ROWS = """
    0:00  account service confirmed id=a
    1:00  signal satellite:east 11.2 dB source=serial:bench run=r1 elapsed_s=10 id=b
    1:10  signal satellite:east unreadable run=r1 elapsed_s=20.000001 note='a "quoted", one'
    0:30  gap gnss lost span_s=12.5
    1:20  channel 31 authorised id=mistake
    1:20  channel 31 refused id=later
    2:00  withdraw row mistake id=w
    2:00  finding obstructed confirmed
    2:00  clock recorder 3.5 s
"""


class FakeClock(Clock):
    """A clock that a test sets; `wall` and `mono` in seconds."""

    def __init__(self):
        super().__init__(lambda: int(self.s * 1e9) + 10**18, lambda: int(self.s * 1e9))
        self.s = 0.0


def job_file(tmp_path, job, name="x.satjob"):
    create_job_file(tmp_path / name, job)
    return tmp_path / name


def opened(path, speed=math.inf, clock=None):
    source = ReplaySource(path, speed, clock or Clock(), "replay")
    source.open()
    return source


@pytest.fixture(params=["file", "folder"])
def place(request, tmp_path):
    job = make_job(ROWS)
    if request.param == "file":
        return job_file(tmp_path, job)
    write_folder(export_files(job), tmp_path / "job")
    return tmp_path / "job"


def test_every_row_is_played_in_the_order_of_the_analysis(place):
    readings = [line.readings for line in played(opened(place))]
    assert all(len(one) == 1 for one in readings)
    said = [(one.kind, one.value, one.id) for (one,) in readings]
    assert said == [
        ("account", "confirmed", "a"),
        ("gap", "lost", ""),
        ("signal", "11.2", "b"),
        ("signal", "unreadable", ""),
        ("channel", "authorised", "mistake"),
        ("channel", "refused", "later"),
        ("withdraw", "mistake", "w"),
        ("finding", "confirmed", ""),
        ("clock", "3.5", ""),
    ]


def test_a_reading_carries_all_that_its_row_said(place):
    rows = {(row.kind, row.value): row for row in make_job(ROWS).rows}
    for line in played(opened(place)):
        (reading,) = line.readings
        row = rows[reading.kind, reading.value]
        for column in Row._fields[:-1]:
            assert getattr(reading, column) == getattr(row, column), column
        assert not line.why
    assert ReplaySource.keeps == "nothing"
    assert ReplaySource.can_wait


def test_the_order_is_that_of_the_log(tmp_path):
    """Where the wall clock was stepped within a run, its own monotonic clock counts, as in `Job.log`."""
    job = make_job("""
        0:00  power receiver awake run=r1 elapsed_s=0
        0:01  power receiver standby run=r1 elapsed_s=1
        9:02  power receiver off run=r1 elapsed_s=2
        0:03  power receiver awake run=r1 elapsed_s=3
        0:01.5  audio output playing
        9:00  note any late run=r2
        5:00  withdraw row gone run=r3 elapsed_s=700
        4:00  note any never run=r3 elapsed_s=600 id=gone
        9:04  power receiver off run=r1 elapsed_s=4 id=m1
        9:05  power receiver off run=r1 elapsed_s=5 id=m2
        9:05  withdraw row m1
        9:05  withdraw row m2
    """)  # the withdrawn rows must not move the run against the wall clock either
    order, after_us = play_order(job)
    used = [
        number
        for number in order
        if not job.observations["withdrawn"][number] and job.rows[number].kind != "withdraw"
    ]
    assert used == job.log["row"].tolist()
    spread = [after for number, after in zip(order, after_us, strict=True) if number in used]
    assert [us / 1e6 for us in spread] == pytest.approx(job.log["t_s"].tolist())
    assert sorted(order) == list(range(12))
    assert order.index(7) < order.index(6)
    assert order.index(8) == order.index(3) + 1


def test_rows_come_at_their_own_distances_divided_by_the_speed(tmp_path):
    clock = FakeClock()
    clock.s = 100.0
    source = opened(job_file(tmp_path, make_job(ROWS)), 10, clock)
    heard = []
    for after_s in (0, 2.999, 3, 6, 7, 7.999, 8, 12):
        clock.s = 100 + after_s
        heard.append([line.readings[0].kind for line in source.read()])
    assert heard == [
        ["account"],
        [],
        ["gap"],
        ["signal"],
        ["signal"],
        [],
        ["channel", "channel"],
        ["withdraw", "finding", "clock"],
    ]


def test_a_read_waits_for_the_next_row_and_not_longer_than_it_may(tmp_path, monkeypatch):
    job = make_job("0:00 power receiver awake\n0:01 power receiver off\n9:00 power receiver awake")
    clock, waits = FakeClock(), []

    def sleep(seconds):
        waits.append(seconds)
        clock.s += seconds

    monkeypatch.setattr("satdiag.recorder.replay_source.time.sleep", sleep)
    source = opened(job_file(tmp_path, job), 10, clock)
    assert [line.readings[0].value for line in source.read()] == ["awake"]
    assert [line.readings[0].value for line in source.read()] == ["off"]
    assert source.read() == source.read() == []
    assert waits == pytest.approx([0.1, WAIT_S, WAIT_S])


def test_moments_are_when_it_was_played_and_strictly_increase(tmp_path):
    rows = "\n".join(f"{number // 60}:{number % 60:02} signal any {number} dB" for number in range(1200))
    clock = Clock()
    source = opened(job_file(tmp_path, make_job(rows)), clock=clock)
    before = clock.now()
    lines = played(source)
    assert len(lines) == 1200
    assert lines[0].at.mono_ns >= before.mono_ns
    assert all(b.at.mono_ns - a.at.mono_ns >= 1000 for a, b in itertools.pairwise(lines))
    assert all(b.at.wall_ns // 1000 > a.at.wall_ns // 1000 for a, b in itertools.pairwise(lines))


def test_one_read_does_not_hand_over_a_whole_long_job(tmp_path):
    rows = "\n".join(f"0:0{number % 3} channel {number} authorised" for number in range(1200))
    source = opened(job_file(tmp_path, make_job(rows)))
    lines = [source.read() for _ in range(3)]
    assert [len(part) for part in lines] == [500, 500, 200]
    channels = [int(line.readings[0].subject) for part in lines for line in part]
    assert channels == sorted(range(1200), key=lambda number: number % 3)  # equal times keep the order of the file


def test_opened_again_it_plays_from_the_start(place):
    source = opened(place)
    first = [line.data for line in source.read()]
    assert source.close() == []
    source.open()
    assert [line.data for line in played(source)] == first
    assert source.summary() == "row 9 of 9"


def test_times_without_an_offset_get_that_of_their_job(tmp_path):
    sheet = 'naive_times = "-05:00"\n'
    job = with_rows(
        make_job("", sheet),
        [
            Row("2031-05-03T08:40:00.25", "power", "receiver", "awake"),
            Row("2031-05-03T13:41:00Z", "power", "receiver", "off"),
        ],
    )
    times = [line.readings[0].time for line in played(opened(job_file(tmp_path, job)))]
    assert times == ["2031-05-03T08:40:00.25-05:00", "2031-05-03T13:41:00Z"]
    job = with_rows(make_job("", 'naive_times = "Z"\n'), [Row("2031-05-03T08:40:00", "power", "receiver", "off")])
    (line,) = played(opened(job_file(tmp_path, job, "z.satjob")))
    assert line.readings[0].time == "2031-05-03T08:40:00Z"


def test_an_empty_job_ends_at_once(tmp_path):
    assert played(opened(job_file(tmp_path, make_job("")), 1)) == []


def test_what_is_no_job_and_no_speed_is_refused_before_anything_is_played(tmp_path):
    with pytest.raises(NotAJob):
        ReplaySource(tmp_path / "none", 1, Clock(), "replay")
    path = job_file(tmp_path, make_job(ROWS))
    for speed in (0, -1, math.nan):
        with pytest.raises(SatdiagError, match="above 0"):
            ReplaySource(path, speed, Clock(), "replay")


def test_a_withdrawal_follows_the_row_it_names_wherever_it_stands(tmp_path):
    job = make_job(
        """
        5:00  channel 31 authorised id=slip
        1:00  withdraw row slip
        6:00  note any end
        """
    )
    said = [line.readings[0].kind for line in played(opened(job_file(tmp_path, job)))]
    assert said == ["channel", "withdraw", "note"]
