"""Channel changes from their marks, in order and out of order."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from satdiag.tuning.attempts import MOMENTS_S, tuning_attempts
from satdiag.tuning.delays import FINEST_S, delays, mark_resolution_s
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


# --- two hands, equal times, gaps of another source, marks from memory ---------------------------------------------


def test_a_second_press_of_the_same_channel_within_moments_is_the_same_press():
    attempts = attempts_of("""
        0:10.0 tune 31 requested source=page
        0:10.4 tune 31 requested source=page
        0:11.8 tune 31 audio source=page
        0:12.1 tune 31 audio source=page
        0:14.0 tune 31 title source=page
        0:14.3 tune 31 title source=page
    """)
    assert [(a.audio_s, a.title_s) for a in attempts.timed] == [(1.8, 4.0)]
    assert (attempts.stray_marks, attempts.repeated_marks) == (0, 3)


@pytest.mark.parametrize("mark", ["audio", "title"])
def test_a_press_after_something_came_is_a_new_change_however_soon(mark):
    rows = f"0:10.0 tune 31 requested\n0:10.3 tune 31 {mark}\n0:10.6 tune 31 requested\n0:12.6 tune 31 audio"
    assert [a.start_s for a in attempts_of(rows).timed] == pytest.approx([0, 0.6])


def test_a_press_later_than_moments_begins_anew():
    rows = f"0:10 tune 31 requested\n{11 + MOMENTS_S} tune 31 requested\n0:14 tune 31 audio"
    first, second = attempts_of(rows).timed
    assert (first.audio_s, first.end_s, first.ended_by) == (None, 1 + MOMENTS_S, "requested")
    assert second.audio_s == 3 - MOMENTS_S


@pytest.mark.parametrize("turned", [False, True])
def test_a_title_at_the_instant_of_the_next_press_belongs_to_the_change_before_it(turned):
    same = ["0:15 tune 31 title", "0:15 tune 32 requested"]
    rows = ["0:10 tune 31 requested", "0:12 tune 31 audio", *(same[::-1] if turned else same), "0:17 tune 32 audio"]
    attempts = attempts_of("\n".join(rows))
    assert [(a.channel, a.audio_s, a.title_s) for a in attempts.timed] == [(31, 2, 5), (32, 2, None)]
    assert attempts.stray_marks == 0


@pytest.mark.parametrize("order", [(31, 32), (32, 31)])
def test_of_two_presses_at_one_instant_the_one_that_is_answered_stays_open(order):
    presses = [f"0:10 tune {channel} requested" for channel in order]
    attempts = attempts_of("\n".join([*presses, "0:12 tune 31 audio"]))
    assert {(a.channel, a.audio_s, a.end_s) for a in attempts.timed} == {(32, None, 0), (31, 2, 2)}


def test_a_gap_of_another_source_ends_nothing_and_one_of_its_own_does():
    rows = "0:10 tune 31 requested source=page\n0:20 gap {} silent span_s=9\n0:22 tune 31 audio source=page"
    assert only(rows.format("serial:bench")).audio_s == 12
    assert (only(rows.format("page")).audio_s, only(rows.format("page")).end_s) == (None, 1)


@pytest.mark.parametrize("row", [0, 1, 2])
def test_marks_set_from_memory_time_nothing(row):
    rows = ["0:10 tune 31 requested", "0:12 tune 31 audio", "0:15 tune 31 title"]
    rows[row] += " span_s=60"
    attempts = attempts_of("\n".join(rows))
    assert attempts.timed == ()
    assert [a.channel for a in attempts.from_memory] == [31]
    assert len(attempts_of("\n".join(rows).replace("span_s=60", "span_s=0.5")).timed) == 1


def test_withdrawn_marks_are_no_marks():
    rows = """
        0:10 tune 31 requested
        0:11 tune 31 audio id=a1
        0:13 tune 31 audio
        0:20 withdraw row a1
    """
    assert only(rows).audio_s == 3


def test_standby_in_between_parts_the_marks():
    rows = "0:10 tune 31 requested\n0:12 power receiver standby\n0:14 power receiver awake\n0:15 tune 31 audio"
    attempts = attempts_of(rows)
    assert (attempts.timed[0].audio_s, attempts.timed[0].end_s, attempts.stray_marks) == (None, 2, 1)


def test_refused_channels_do_not_wait_for_a_mark_of_another():
    rows = "0:10 tune 31 requested\n0:12 tune 32 refused\n0:13 tune 31 audio"
    attempts = attempts_of(rows)
    assert (len(attempts.refused), attempts.stray_marks, attempts.timed[0].audio_s) == (0, 1, 3)


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
LOGS = st.lists(st.tuples(st.integers(0, 60), st.integers(1, 3), MARKS), max_size=30)


def used(attempt):
    """How many marks an attempt holds besides its press."""
    held = (attempt.audio_s, attempt.title_s)
    return sum(delay is not None for delay in held) + (attempt.ended_by in ("refused", "abandoned"))


@settings(deadline=None, max_examples=40)
@given(LOGS)
def test_any_order_of_marks_gives_delays_that_are_not_negative_and_uses_each_mark_once(drawn):
    rows = {(t, channel): f"{t} tune {channel} {mark}" for t, channel, mark in drawn}
    attempts = attempts_of("\n".join(rows.values()))
    found = [*attempts.timed, *attempts.refused, *attempts.from_memory]
    assert len(found) + sum(map(used, found)) + attempts.repeated_marks + attempts.stray_marks == len(rows)
    for mark in ("audio", "title"):
        sample = delays(attempts.timed, mark)
        assert sample.duration_s.shape == sample.came.shape == (len(attempts.timed),)
        assert (sample.duration_s >= 0).all()
        assert 0 <= sample.given_up <= np.count_nonzero(~sample.came)
    assert all(attempt.ended_by is not None and attempt.end_s >= 0 for attempt in found)
    begun = [attempt.start_s for attempt in attempts.timed]
    assert begun == sorted(begun)


@settings(deadline=None, max_examples=40)
@given(
    LOGS, st.randoms(use_true_random=False), st.sampled_from(["", "30 power receiver standby", "20 gap page lost"])
)
def test_the_order_of_rows_at_one_instant_does_not_matter(drawn, random, cut):
    """All but the rows of one channel at one instant, of which the later in the file wins."""
    rows = list({(t, channel): f"{t} tune {channel} {mark}" for t, channel, mark in drawn}.values())
    other = random.sample(rows, len(rows))
    assert attempts_of("\n".join([*rows, cut])) == attempts_of("\n".join([cut, *other]))


@settings(deadline=None, max_examples=40)
@given(LOGS, LOGS)
def test_visits_days_apart_do_not_mix(first, second):
    """Each visit gives the attempts that it gives alone."""

    def rows(drawn, day):
        marks = {(t, channel): f"{day * 86400 + t} tune {channel} {mark}" for t, channel, mark in drawn}
        return [f"{day * 86400} note - begin", *marks.values(), f"{day * 86400 + 61} note - end"]

    def told(attempts):
        return [(a.channel, a.audio_s, a.title_s, a.end_s, a.ended_by) for a in attempts.timed]

    both = attempts_of("\n".join([*rows(first, 0), *rows(second, 2)]))
    alone = [attempts_of("\n".join(rows(drawn, 0))) for drawn in (first, second)]
    assert told(both) == told(alone[0]) + told(alone[1])
