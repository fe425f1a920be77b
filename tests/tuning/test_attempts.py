"""Channel changes from their marks, in order and out of order."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from satdiag.tuning.attempts import FINEST_S, delays, mark_resolution_s, tuning_attempts
from tests.helpers import make_job


def attempts_of(rows_text):
    return tuning_attempts(make_job(rows_text))


def only(rows_text):
    """The one timed attempt of a log."""
    attempts = attempts_of(rows_text)
    assert len(attempts.timed) == 1
    return attempts.timed[0]


def test_an_attempt_runs_from_requested_to_audio_and_title():
    attempt = only("0:00 note - a\n0:10 tune 31 requested\n0:12 tune 31 audio\n0:15 tune 31 title\n9:00 note - z")
    assert (attempt.channel, attempt.start_s) == (31, 10)
    assert (attempt.audio_s, attempt.title_s) == (2, 5)
    assert attempt.ended_by == "done"


@pytest.mark.parametrize(
    ("cut", "by"),
    [
        ("1:00 tune 32 requested", "requested"),
        ("1:00 tune 31 requested", "requested"),
        ("1:00 power receiver off", "off"),
        ("1:00 power receiver standby", "off"),
        ("1:20 gap page silent span_s=20", "gap"),
        ("1:00 gap serial:bench lost", "gap"),
        ("1:00 note - last-row", "last-row"),
    ],
)
def test_what_ends_an_open_attempt_censors_it_there(cut, by):
    attempts = attempts_of(f"0:10 tune 31 requested\n0:12 tune 31 audio\n{cut}")
    first = attempts.timed[0]
    assert (first.audio_s, first.title_s, first.end_s, first.ended_by) == (2, None, 50, by)
    title = delays(attempts.timed[:1], "title")
    assert (title.duration_s.tolist(), title.came.tolist(), title.given_up) == ([50], [False], 0)


def test_power_awake_and_a_gap_of_the_navigation_source_end_nothing():
    attempt = only("""
        0:10 tune 31 requested
        0:11 power receiver awake
        0:14 gap gnss silent span_s=2
        0:15 tune 31 audio
        0:18 tune 31 title
    """)
    assert (attempt.audio_s, attempt.title_s) == (5, 8)


def test_an_attempt_left_open_overnight_ends_with_the_visit():
    attempt = only("0:10 tune 31 requested\n0:12 tune 31 audio\n5:00 note - home\n14:00:00 note - next-day")
    assert (attempt.end_s, attempt.ended_by) == (290, "last-row")


def test_abandoned_before_audio_gives_up_both():
    attempts = attempts_of("0:10 tune 31 requested\n0:40 tune 31 abandoned\n9:00 note - z")
    for mark in ("audio", "title"):
        sample = delays(attempts.timed, mark)
        assert (sample.duration_s.tolist(), sample.came.tolist(), sample.given_up) == ([30], [False], 1)


def test_abandoned_after_audio_gives_up_the_title_alone():
    attempts = attempts_of("0:10 tune 31 requested\n0:12 tune 31 audio\n0:40 tune 31 abandoned")
    assert delays(attempts.timed, "audio").given_up == 0
    assert delays(attempts.timed, "audio").duration_s.tolist() == [2]
    assert delays(attempts.timed, "title").given_up == 1
    assert delays(attempts.timed, "title").duration_s.tolist() == [30]


def test_refused_attempts_are_kept_apart():
    attempts = attempts_of("0:10 tune 31 requested\n0:13 tune 31 refused\n0:20 tune 32 requested\n0:22 tune 32 audio")
    assert [attempt.channel for attempt in attempts.refused] == [31]
    assert [attempt.channel for attempt in attempts.timed] == [32]
    assert attempts.refused[0].end_s == 3


def test_refused_after_audio_keeps_the_audio_and_censors_the_title():
    attempt = only("0:10 tune 31 requested\n0:12 tune 31 audio\n0:20 tune 31 refused")
    assert (attempt.audio_s, attempt.title_s, attempt.end_s) == (2, None, 10)


def test_repeated_marks_count_once():
    attempt = only("""
        0:10 tune 31 requested
        0:12 tune 31 audio
        0:13 tune 31 audio
        0:16 tune 31 title
        0:20 tune 31 title
    """)
    assert (attempt.audio_s, attempt.title_s) == (2, 6)


def test_title_before_audio_is_taken_as_it_is():
    attempt = only("0:10 tune 31 requested\n0:12 tune 31 title\n0:14 tune 31 audio")
    assert (attempt.audio_s, attempt.title_s, attempt.ended_by) == (4, 2, "done")


def test_marks_without_requested_or_of_another_channel_are_stray():
    attempts = attempts_of("""
        0:05 tune 31 audio
        0:10 tune 31 requested
        0:11 tune 99 audio
        0:12 tune 31 audio
        0:13 tune 31 title
        0:14 tune 31 abandoned
    """)
    assert attempts.stray_marks == 3
    assert len(attempts.timed) == 1
    assert attempts.timed[0].audio_s == 2


def test_rows_out_of_order_in_the_file_are_sorted_first():
    attempt = only("0:15 tune 31 title\n0:12 tune 31 audio\n0:10 tune 31 requested")
    assert (attempt.audio_s, attempt.title_s) == (2, 5)


def test_unreadable_marks_are_no_marks():
    assert attempts_of("0:10 tune 31 unreadable\n0:12 tune 31 audio").timed == ()


def test_only_rows_since_the_last_swap_of_the_receiver_count():
    rows = "0:10 tune 31 requested\n0:12 tune 31 audio\n1:00 swap {} same\n2:00 tune 32 requested\n2:05 tune 32 audio"
    assert [attempt.channel for attempt in attempts_of(rows.format("receiver")).timed] == [32]
    assert [attempt.channel for attempt in attempts_of(rows.format("antenna")).timed] == [31, 32]


# --- how finely the marks are timed ------------------------------------------------------------------------------


def marks(times):
    return make_job("\n".join(f"{t} tune {number} requested" for number, t in enumerate(times)))


def test_resolution_is_the_step_that_all_marks_share():
    assert mark_resolution_s(marks([0, 1, 7, 13, 22, 30, 41])) == 1
    assert mark_resolution_s(marks([0, 10, 70, 130, 220, 300])) == 10
    assert mark_resolution_s(marks([0, 60, 120, 240, 300, 600])) == 60
    assert mark_resolution_s(marks([0, 1, 7.25])) == FINEST_S


def test_a_few_round_marks_may_be_round_by_chance():
    assert mark_resolution_s(marks([0, 60, 120])) == 1


# --- anything at all ---------------------------------------------------------------------------------------------

MARKS = st.sampled_from(["requested", "audio", "title", "refused", "abandoned"])


@given(st.lists(st.tuples(st.integers(0, 60), st.integers(1, 3), MARKS), max_size=30))
def test_any_order_of_marks_gives_delays_that_are_not_negative(drawn):
    rows = {(t, channel): f"{t} tune {channel} {mark}" for t, channel, mark in drawn}
    attempts = attempts_of("\n".join(rows.values()))
    asked = sum(row.endswith("requested") for row in rows.values())
    assert len(attempts.timed) + len(attempts.refused) == asked
    for mark in ("audio", "title"):
        sample = delays(attempts.timed, mark)
        assert sample.duration_s.shape == sample.came.shape == (len(attempts.timed),)
        assert (sample.duration_s >= 0).all()
        assert 0 <= sample.given_up <= np.count_nonzero(~sample.came)
