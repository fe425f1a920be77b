"""The findings on channel changes, from rows to numbers."""

import dataclasses
import json

import jsonschema
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from satdiag.findings import TuningFindings, plain_values
from satdiag.findings_schema import findings_schema
from satdiag.tuning import estimate_tuning
from satdiag.tuning.kaplan_meier import kaplan_meier, quantile_s
from tests.helpers import make_job


def changes(delays_s, every_s=30, start_s=0.0):
    """Rows of one channel change after another: (audio, title) delays; None: the mark does not come."""
    rows = []
    for number, (audio, title) in enumerate(delays_s):
        at = start_s + number * every_s
        rows.append(f"{at} tune {100 + number} requested")
        rows += [f"{at + audio} tune {100 + number} audio"] if audio is not None else []
        rows += [f"{at + title} tune {100 + number} title"] if title is not None else []
    return "\n".join(rows)


def test_no_marks_no_figures():
    found = estimate_tuning(make_job("0:00 note - a"))
    assert found == TuningFindings(
        could_not=("no channel change was timed: time to audio and to title not computed",),
        text="No channel change was timed.",
    )


@pytest.mark.parametrize(
    ("rows", "why"),
    [
        ("0:01 tune 31 requested\n0:04 tune 31 refused", "every timed channel change was refused"),
        ("0:01 tune 31 audio", "no channel change has a mark 'requested'"),
        ("0:01 tune 31 requested\n0:02 tune 31 audio\n0:09 swap receiver same", "no channel change was timed"),
    ],
)
def test_why_there_are_none(rows, why):
    found = estimate_tuning(make_job(rows))
    assert found.audio_s is None
    assert found.p_slow is None
    assert why in found.could_not[0]


def test_medians_and_percentiles_of_ten_changes():
    audio = [1.5, 1.6, 1.7, 1.7, 1.8, 1.9, 2.0, 2.1, 2.4, 3.0]
    title = [3.0, 3.5, 4.0, 4.5, 5.0, 6.0, 7.0, 8.0, 9.0, 20.0]
    found = estimate_tuning(make_job(changes(zip(audio, title, strict=True))))
    assert (found.audio_s.median, found.audio_s.p90, found.audio_s.n, found.audio_s.timed_out) == (1.8, 2.4, 10, 0)
    assert (found.title_s.median, found.title_s.p90, found.title_s.n) == (5.0, 9.0, 10)
    low, high = found.audio_s.median_90
    assert 1.5 <= low <= 1.8 <= high <= 2.4
    assert found.p_slow < 0.01
    assert found.block_loss is None
    assert any("only 10 titles came" in text for text in found.could_not)


def test_given_up_attempts_are_censored_not_dropped():
    rows = changes([(2, 4), (2, 5), (3, 6), (2, None), (None, None)])
    rows += "\n113 tune 103 abandoned\n140 tune 104 abandoned\n200 note - z"
    found = estimate_tuning(make_job(rows))
    assert (found.audio_s.n, found.audio_s.timed_out) == (5, 1)
    assert (found.title_s.n, found.title_s.timed_out) == (5, 2)
    curve = kaplan_meier([4, 5, 6, 23, 20], [1, 1, 1, 0, 0])
    assert found.title_s.median == quantile_s(curve, 0.5)
    assert found.title_s.p90 is None


def test_no_title_marked_and_none_waited_for():
    found = estimate_tuning(make_job(changes([(2, None)] * 6)))
    assert found.audio_s.median == 2
    assert found.title_s is None
    assert "no title was marked: time to title and block loss not computed" in found.could_not


def test_titles_waited_for_in_vain_are_findings():
    rows = changes([(2, None)] * 2) + "\n20 tune 100 abandoned\n50 tune 101 abandoned"
    found = estimate_tuning(make_job(rows))
    assert found.title_s is not None
    assert (found.title_s.median, found.title_s.n, found.title_s.timed_out) == (None, 2, 2)
    assert "no channel change came to title: slow cannot be told from never" in found.could_not


def test_stray_marks_and_thin_samples_are_said():
    found = estimate_tuning(make_job("0:01 tune 9 audio\n" + changes([(2, 4)], start_s=60)))
    assert "1 mark fits no open channel change and was left out" in found.could_not
    assert "only 1 channel change came to audio: no interval for the median" in found.could_not
    assert found.audio_s.median_90 is None


@pytest.mark.parametrize(("titles", "words"), [(0, "no title came"), (1, "only 1 title came"), (2, "only 2 titles")])
def test_few_titles_are_counted_in_plain_words(titles, words):
    rows = changes([(2, 4)] * titles + [(2, None)] * 3) + f"\n{30 * titles + 20} tune {100 + titles} abandoned"
    assert any(text.startswith(words) for text in estimate_tuning(make_job(rows)).could_not)


def test_sound_within_the_second_of_the_press_takes_less_than_a_second():
    found = estimate_tuning(make_job(changes([(0, None)] * 6, every_s=31)))
    assert (found.audio_s.n, found.audio_s.median) == (6, 0)
    assert "Changes take less than 1.0 s to sound (6 changes)" in found.text
    assert not any("has a mark 'requested'" in text for text in found.could_not)


DAY_S = 86_400.0


def test_whose_changes_they_are_is_said_where_the_last_visit_has_too_few():
    two_visits = changes([(1.5, None)] * 2) + "\n" + changes([(6, None)] * 2, start_s=DAY_S)
    text = estimate_tuning(make_job(two_visits)).text
    assert "(4 changes over both visits, as the last one has only 2)" in text
    assert "At the last visit alone they take 6.0 s (2 changes)." in text


def test_the_last_visit_by_itself_is_not_named_where_it_is_much_the_same():
    rows = [changes([(1.5 + k / 10, None)] * 2, start_s=k * DAY_S) for k in range(3)]
    text = estimate_tuning(make_job("\n".join(rows))).text
    assert "6 changes over all 3 visits, as the last one has only 2" in text
    assert "alone" not in text
    enough = estimate_tuning(make_job("\n".join([*rows, changes([(1.5, None)] * 5, start_s=4 * DAY_S)]))).text
    assert "over" not in enough


def test_visits_are_compared_with_the_coarser_step_of_their_own_marks():
    fine = changes([(1.5, None), (1.7, None), (2.1, None), (1.8, None)] * 3)
    rough = changes([(2, None), (1, None), (2, None), (2, None)] * 3, start_s=DAY_S)
    for rows, half_a_step_s in ((fine + "\n" + rough, 0.5), (rough + "\n" + fine, 0.5)):
        low, high = estimate_tuning(make_job(rows)).earlier_visit.shift_s_90
        assert high - low >= 2 * half_a_step_s


def test_one_request_in_the_last_row_tells_nothing():
    found = estimate_tuning(make_job("0:00 note - a\n0:01 tune 31 requested"))
    assert found.audio_s.median is None
    assert found.p_slow is None


def test_audio_that_never_came_is_not_called_slow():
    rows = changes([(None, None)] * 3) + "\n20 tune 100 abandoned\n50 tune 101 abandoned\n80 tune 102 abandoned"
    found = estimate_tuning(make_job(rows))
    assert (found.audio_s.median, found.audio_s.timed_out) == (None, 3)
    assert found.p_slow is None
    assert "no channel change came to audio: slow cannot be told from never" in found.could_not


def test_slow_changes_are_called_slow():
    found = estimate_tuning(make_job(changes([(5, 8), (6, 9), (7, 12), (4, 9), (8, 15), (6, 11)])))
    assert found.p_slow > 0.98


def test_block_loss_comes_with_its_interval():
    rng = np.random.default_rng(1)
    title = np.round(2 + 6 * (rng.random(200) + rng.geometric(0.9, 200) - 1), 1)
    found = estimate_tuning(make_job(changes([(1.7, t) for t in title], every_s=60)))
    low, high = found.block_loss_90
    assert low < found.block_loss < high
    assert low < 0.1 < high
    assert found.could_not == ()


# --- is it slow, and may one stop ---------------------------------------------------------------------------------

QUICK = [(1.6, 3), (1.8, 4), (1.7, 3), (1.9, 6), (1.6, 3), (2.0, 5), (1.7, 4), (1.8, 9), (1.5, 3), (1.9, 4)]
SLOW = [(audio + 3, title + 4) for audio, title in QUICK]
DAY_S = 86400.0


def test_ten_quick_changes_settle_it():
    found = estimate_tuning(make_job(changes(QUICK)))
    assert (found.stop.state, found.stop.decided_after, found.stop.more) == ("normal", 9, None)
    assert (found.stop.beyond, found.stop.within, found.stop.unclear) == (0, 10, 0)
    assert (found.baseline_from, found.baseline_s, found.slow_above_s) == ("common practice", 2.0, 3.0)
    assert (found.stop.error_slow, found.stop.error_normal) == (0.05, 0.05)
    assert found.text.startswith("Changes take 1.7 s to sound (90 %: 1.6 to 1.9 s, 10 changes): normal. Titles take")
    assert "wrong at most 5 times in 100" in found.stop.text


def test_slow_changes_are_shown_soon():
    found = estimate_tuning(make_job(changes(SLOW)))
    assert (found.stop.state, found.stop.decided_after) == ("slow", 2)
    assert "slow, 1.5 to 2.0 s is usual" in found.text


def test_three_changes_do_not_settle_it():
    found = estimate_tuning(make_job(changes(QUICK[:3])))
    assert found.stop.state == "go-on"
    assert 1 <= found.stop.more <= 12
    assert f"about {found.stop.more} more changes would settle it" in found.text


def test_marks_in_whole_minutes_settle_nothing():
    rows = [f"{60 * k} tune {k} {mark}" for k in range(20) for mark in ("requested",)]
    rows += [f"{60 * (k + 1)} tune {k} audio" for k in range(20)]
    found = estimate_tuning(make_job("\n".join(sorted(rows))))
    assert (found.stop.state, found.stop.more) == ("go-on", None)
    assert "too coarse" in found.stop.text


def test_no_sound_at_all_is_not_called_slow():
    rows = changes([(None, None)] * 3) + "\n20 tune 100 abandoned\n50 tune 101 abandoned\n80 tune 102 abandoned"
    found = estimate_tuning(make_job(rows))
    assert found.stop is None
    assert found.text == "No sound came (3 changes, 3 given up), so slow cannot be told from never."


# --- earlier visits and repairs ------------------------------------------------------------------------------------


def test_an_earlier_visit_with_enough_quick_changes_is_the_baseline():
    rng = np.random.default_rng(2)
    before = [(a, a + 2) for a in np.round(rng.lognormal(np.log(1.2), 0.15, 40), 1)]
    after = [(a, a + 2) for a in np.round(rng.lognormal(np.log(2.3), 0.1, 12), 1)]
    found = estimate_tuning(make_job(changes(before) + "\n" + changes(after, start_s=2 * DAY_S)))
    assert found.baseline_from == "earlier visit"
    assert found.baseline_s == pytest.approx(1.2, abs=0.15)
    assert found.slow_above_s == max(found.baseline_s * 1.5, 2.0)
    assert found.audio_s.n == 12
    assert found.since == "2031-05-05T14:00:00Z"
    assert found.p_slow > 0.9  # 2.3 s is not slow by common practice, but beside 1.2 s it is
    assert estimate_tuning(make_job(changes(after))).p_slow < 0.1
    assert found.stop.error_slow == 0.1
    assert found.earlier_visit.state == "slower"
    assert found.earlier_visit.shift_s == pytest.approx(1.1, abs=0.25)
    assert found.earlier_visit.text in found.text


def test_an_earlier_visit_with_few_or_slow_changes_is_no_baseline():
    few = make_job(changes(QUICK) + "\n" + changes(QUICK, start_s=DAY_S))
    slow = make_job(changes(SLOW * 4) + "\n" + changes(QUICK, start_s=DAY_S))
    for job in (few, slow):
        assert estimate_tuning(job).baseline_from == "common practice"
    repaired = estimate_tuning(slow)
    assert (repaired.stop.state, repaired.earlier_visit.state) == ("normal", "faster")
    assert repaired.p_slow < 0.01
    assert "less than at the visit before" in repaired.text


def test_few_changes_at_the_last_visit_are_judged_with_those_before():
    found = estimate_tuning(make_job(changes(QUICK) + "\n" + changes(QUICK[:2], start_s=DAY_S)))
    assert (found.audio_s.n, found.since) == (12, None)
    assert found.earlier_visit.state == "cannot tell"
    assert f"about {found.earlier_visit.needed} changes a visit" in found.earlier_visit.text


@pytest.mark.parametrize(("value", "judged"), [("better", 3), ("same", 13)])
def test_a_better_part_begins_a_new_stretch(value, judged):
    rows = changes(SLOW) + f"\n400 swap lead {value}\n" + changes(QUICK[:3], start_s=500)
    found = estimate_tuning(make_job(rows))
    assert found.audio_s.n == judged
    assert (found.p_slow < 0.1) == (value == "better")


def test_a_better_part_after_the_last_change_leaves_what_was_seen():
    found = estimate_tuning(make_job(changes(SLOW) + "\n400 swap lead better\n500 note - end"))
    assert (found.audio_s.n, found.since) == (10, None)


# --- refused, from memory, levels ----------------------------------------------------------------------------------


def test_refused_changes_are_counted_with_their_channels():
    rows = changes(QUICK) + "\n500 tune 7 requested\n501 tune 7 refused\n510 tune 5 requested\n511 tune 5 refused"
    found = estimate_tuning(make_job(rows + "\n520 tune 7 requested\n521 tune 7 refused"))
    assert (found.refused, found.refused_channels, found.audio_s.n) == (3, (5, 7), 10)
    assert "3 changes were refused (channels 5, 7)." in found.text
    alone = estimate_tuning(make_job("0:01 tune 7 requested\n0:02 tune 7 refused"))
    assert (alone.audio_s, alone.text) == (None, "1 change was refused (channel 7).")


def test_changes_marked_from_memory_are_said():
    found = estimate_tuning(make_job("0:01 tune 7 requested\n0:05 tune 7 audio span_s=30\n0:09 note - end"))
    assert found.audio_s is None
    assert found.could_not == (
        "every channel change was marked from memory: time to audio and to title not computed",
        "1 channel change was marked from memory (span_s) and not timed",
    )


def with_levels(losses, level, n=40):
    """Changes in two halves with a block loss and a level each."""
    rng = np.random.default_rng(8)
    rows = []
    for half, (loss, at) in enumerate(zip(losses, level, strict=True)):
        for k in range(n):
            start = 9000.0 * half + 150 * k
            title = round(1.5 + 5 * (rng.random() + rng.geometric(1 - loss) - 1), 1)
            rows += [
                f"{start} tune {k} requested",
                f"{start + 1.7} tune {k} audio",
                f"{start + title} tune {k} title",
            ]
            rows += [f"{start + 1} signal satellite {at + rng.normal(0, 0.5):.1f} dB"]
    return estimate_tuning(make_job("\n".join(rows)))


def test_titles_lose_more_while_the_level_is_low():
    found = with_levels((0.5, 0.03), (4.0, 12.0))
    assert (found.loss_by_level.n_low, found.loss_by_level.n_high, found.loss_by_level.unit) == (40, 40, "dB")
    assert 5 < found.loss_by_level.below < 11
    assert found.loss_by_level.loss_low_90[0] < 0.5 < found.loss_by_level.loss_low_90[1]
    assert found.loss_by_level.p_low_more > 0.99
    assert found.loss_by_level_text.startswith("Titles lose more blocks while the level is low: ")
    assert found.block_loss_90[0] < found.block_loss < found.block_loss_90[1]


def test_where_the_level_has_nothing_to_do_with_it_that_is_said():
    found = with_levels((0.2, 0.2), (4.0, 12.0))
    assert "Low level was not seen to lose more blocks" in found.loss_by_level_text
    turned = with_levels((0.03, 0.5), (4.0, 12.0))
    assert "something else is at work" in turned.loss_by_level_text


@pytest.mark.parametrize(
    ("found", "why"),
    [
        (lambda: with_levels((0.2, 0.2), (12.0, 12.5)), "The level hardly differed"),
        (lambda: estimate_tuning(make_job(changes(QUICK * 2, every_s=60))), "No level was logged near"),
        (lambda: estimate_tuning(make_job(changes(QUICK[:4]))), "Only 4 titles came"),
    ],
)
def test_why_levels_tell_nothing(found, why):
    got = found()
    assert got.loss_by_level is None
    assert got.loss_by_level_text.startswith(why)


# --- whatever the log ----------------------------------------------------------------------------------------------

MARKS = st.sampled_from(["requested", "audio", "title", "refused", "abandoned"])


@settings(deadline=None, max_examples=40)
@given(
    st.lists(st.tuples(st.integers(0, 200), st.integers(1, 3), MARKS), max_size=40),
    st.sampled_from(["", "100 swap lead better", "100 power receiver off", "90000 tune 1 requested"]),
)
def test_any_log_gives_findings_that_keep_the_schema(drawn, more):
    rows = {(t, channel): f"{t} tune {channel} {mark}" for t, channel, mark in drawn}
    found = estimate_tuning(make_job("\n".join([*rows.values(), more])))
    whole = findings_schema()
    schema = {"$defs": whole["$defs"], "$ref": "#/$defs/TuningFindings"}
    jsonschema.Draft202012Validator(schema).validate(json.loads(json.dumps(plain_values(found), allow_nan=False)))
    assert found.text
    assert "None" not in found.text + found.loss_by_level_text
    if found.audio_s is None:
        told = dataclasses.replace(found, could_not=(), text="", refused=0, refused_channels=())
        assert told == TuningFindings()
