"""The job: which rows the analysis uses, in which order, and what a job refuses."""

import numpy as np
import pandas as pd
import pytest

from satdiag.errors import BadInput
from satdiag.job import Visit, build_job
from satdiag.rows import Row
from tests.helpers import SHEET, make_job, make_row, seconds, time_text


def values(job):
    return job.log["value"].tolist()


# --- the helper itself -------------------------------------------------------------------------------------------


def test_compact_rows():
    row = make_row("1:01:30.5 signal satellite:east 11.2 dB source=serial:bench note='two words' span_s=5")
    assert row == Row(
        time="2031-05-03T15:01:30.500000Z",
        kind="signal",
        subject="satellite:east",
        value="11.2",
        unit="dB",
        source="serial:bench",
        note="two words",
        span_s="5",
    )
    assert seconds("2:00:00") == 7200
    assert time_text(0) == "2031-05-03T14:00:00Z"


# --- which rows, in which order ----------------------------------------------------------------------------------


def test_file_order_is_kept_and_the_analysis_sorts_by_time():
    job = make_job("5:00 note - late\n1:00 note - early")
    assert job.observations["value"].tolist() == ["late", "early"]
    assert values(job) == ["early", "late"]
    assert job.log["t_s"].tolist() == [0, 240]
    assert str(job.start) == "2031-05-03T14:01:00.000000"
    assert job.end_s == 240


def test_rows_of_equal_time_keep_the_order_of_the_file():
    job = make_job("1:00 note a first\n1:00 note b second\n0:00 note c zeroth")
    assert values(job) == ["zeroth", "first", "second"]


def test_of_equal_time_kind_and_subject_the_later_in_the_file_wins_and_the_other_is_counted():
    job = make_job("""
        1:00 channel 31 refused
        1:00 channel 32 refused
        1:00 tune 31 requested
        1:00 channel 31 authorised
        2:00 channel 31 refused
    """)
    seen = job.select("channel", "31")
    assert seen["value"].tolist() == ["authorised", "refused"]
    assert job.overridden_rows == 1
    assert len(job.log) == 4


def test_different_marks_of_one_channel_in_one_second_all_count_and_equal_ones_once():
    job = make_job("""
        1:00 tune 31 requested
        1:00 tune 31 audio
        1:00 tune 31 requested
        1:00 tune 31 title
        1:00 tune 32 refused
        1:00 channel 31 refused
        1:00 channel 31 authorised
    """)
    assert sorted(job.select("tune", "31")["value"]) == ["audio", "requested", "title"]
    assert job.select("tune", "32")["value"].tolist() == ["refused"]
    assert job.select("channel", "31")["value"].tolist() == ["authorised"]
    assert job.overridden_rows == 2


def test_offsets_do_not_matter_for_equal_times():
    rows = [
        Row("2031-05-03T14:00:00Z", "channel", "31", "refused"),
        Row("2031-05-03T09:00:00-05:00", "channel", "31", "authorised"),
    ]
    job = build_job({"job.toml": SHEET.encode()}, rows)
    assert values(job) == ["authorised"]


def test_within_a_run_the_monotonic_clock_sorts_though_the_wall_clock_stepped():
    """The wall clock jumps back by an hour for one row; the run's own clock knows better."""
    job = make_job("""
        1:00:00 note a 1 run=r1 elapsed_s=0
        1:00:10 note a 2 run=r1 elapsed_s=10
        0:00:20 note a 3 run=r1 elapsed_s=20
        1:00:30 note a 4 run=r1 elapsed_s=30
        1:00:25 note b by-hand
    """)
    assert values(job) == ["1", "2", "3", "by-hand", "4"]
    assert job.log["t_s"].tolist() == [0, 10, 20, 25, 30]


def test_each_run_has_a_monotonic_clock_of_its_own():
    job = make_job("""
        0:00 note a 1 run=r1 elapsed_s=100
        0:05 note a 2 run=r1 elapsed_s=105
        0:20 note a 3 run=r2 elapsed_s=0
        0:25 note a 4 run=r2 elapsed_s=5
    """)
    assert job.log["t_s"].tolist() == [0, 5, 20, 25]


def test_two_marks_of_one_wall_second_are_told_apart_by_the_monotonic_clock():
    job = make_job("""
        0:10 tune 31 requested run=r1 elapsed_s=10.2
        0:10 tune 31 audio run=r1 elapsed_s=10.9
    """)
    assert values(job) == ["requested", "audio"]
    assert job.overridden_rows == 0
    assert job.end_s == pytest.approx(0.7)


def test_withdrawn_rows_are_kept_and_not_used():
    job = make_job("""
        0:00 channel 31 refused id=a1
        1:00 channel 31 authorised id=a2
        2:00 withdraw row a1
    """)
    assert values(job) == ["authorised"]
    assert len(job.observations) == 3
    assert job.observations["withdrawn"].tolist() == [True, False, False]
    assert job.overridden_rows == 0


def test_withdrawn_row_does_not_override():
    job = make_job("""
        0:00 channel 31 authorised
        0:00 channel 31 refused id=a1
        1:00 withdraw row a1
    """)
    assert values(job) == ["authorised"]
    assert job.overridden_rows == 0


def test_select_leaves_unreadable_out_unless_asked():
    job = make_job("0:00 bias current unreadable\n1:00 bias current 40 mA\n2:00 bias voltage 5 V")
    assert job.select("bias", "current")["number"].tolist() == [40]
    assert job.select("bias", "current", readable=False)["value"].tolist() == ["unreadable", "40"]
    assert len(job.select("bias")) == 2
    assert job.select("ring").empty


def test_unreadable_is_not_a_zero():
    job = make_job("0:00 bias current unreadable")
    assert np.isnan(job.log["number"].iloc[0])


def test_dtypes_of_the_log():
    log = make_job("0:00 signal any 11.5 dB span_s=3 run=r elapsed_s=1").log
    assert str(log["at"].dtype) == "datetime64[us]"
    assert str(log["time"].dtype) == "datetime64[us]"
    for column in ("t_s", "number", "span_s", "elapsed_s"):
        assert log[column].dtype == np.float64


# --- visits ------------------------------------------------------------------------------------------------------


def test_visit_is_a_stretch_without_a_pause_longer_than_4_h():
    job = make_job("0:00:00 note - a\n4:00:00 note - b\n8:00:01 note - c\n8:10:00 note - d")
    assert job.visits == (Visit(0, 14400), Visit(28801, 29400))


def test_empty_log():
    job = make_job("")
    assert (job.visits, job.start, job.end_s, job.overridden_rows) == ((), None, 0.0, 0)
    assert job.log.empty
    assert "t_s" in job.log
    assert job.instant(5) is None


def test_instant_is_the_first_row_plus_seconds():
    job = make_job("1:00 note - a\n2:00 note - b")
    assert job.instant(1.5) == np.datetime64("2031-05-03T14:01:01.5", "us")


# --- nothing changes a job ---------------------------------------------------------------------------------------


def test_a_job_hands_out_copies():
    job = make_job("0:00 note - a\n1:00 note - b")
    frame = job.observations
    frame.loc[0, "value"] = "changed"
    selected = job.select("note").assign(value="changed")
    assert selected["value"].tolist() == ["changed", "changed"]
    assert job.observations["value"].tolist() == ["a", "b"]
    with pytest.raises(AttributeError):
        job.rows = ()
    with pytest.raises(TypeError):
        job.documents["job.toml"] = b""


def test_naive_times_are_taken_with_the_sheets_offset():
    sheet = SHEET + 'naive_times = "-05:00"\n'
    job = build_job({"job.toml": sheet.encode()}, [Row("2031-05-03T09:00:00", "note", "-", "a")])
    assert job.start == np.datetime64("2031-05-03T14:00:00", "us")


# --- what a job refuses ------------------------------------------------------------------------------------------


def test_job_without_its_sheet():
    with pytest.raises(BadInput, match=r"job\.toml: the job sheet is missing.*satdiag new"):
        build_job({}, [])


def test_wrong_rows_are_reported_together_with_their_lines():
    rows = [
        Row("2031-05-03T14:00:00Z", "channel", "031", "refused"),
        Row("2031-05-03T14:00:00Z", "note", "-", "fine"),
        Row("2031-05-03T14:00:00Z", "power", "receiver", "asleep"),
    ]
    with pytest.raises(BadInput) as caught:
        build_job({"job.toml": SHEET.encode()}, rows, lines=[2, 3, 7])
    assert [(problem.line, problem.column) for problem in caught.value.problems] == [(2, "subject"), (7, "value")]


def test_package_that_no_line_of_the_lineup_holds():
    lineup = "31,One,music,music sport\n32,Two,news,open"
    with pytest.raises(BadInput, match=r"no line of lineup\.csv holds the package 'talk'"):
        make_job("", '[service]\npackage = "talk"\n', lineup=lineup)
    job = make_job("", '[service]\npackage = "sport"\n', lineup=lineup)
    assert job.lineup is not None
    assert [channel.channel for channel in job.lineup] == [31, 32]
    assert [channel.is_open for channel in job.lineup] == [False, True]


def test_horizon_and_obstacles_are_read():
    documents = {
        "horizon.csv": b"azimuth_deg,elevation_deg\n0,5\n90,12.5\n",
        "obstacles.csv": b"azimuth_from_deg,azimuth_to_deg,distance_m,height_m,note\n350,10,20,6,shed\n",
    }
    job = make_job("", documents=documents)
    assert job.horizon is not None
    assert job.obstacles is not None
    assert job.horizon[1].elevation_deg == 12.5
    assert job.obstacles[0].note == "shed"
    assert make_job("").horizon is None


def test_the_log_is_one_frame_that_is_computed_once():
    job = make_job("0:00 note - a")
    assert job.log is job.log
    assert isinstance(job.log, pd.DataFrame)
