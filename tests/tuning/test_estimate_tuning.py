"""The findings on channel changes, from rows to numbers."""

import numpy as np
import pytest

from satdiag.findings import TuningFindings
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
        could_not=("no channel change was timed: time to audio and to title not computed",)
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
    assert "only 1 channel changes came to audio: no interval for the median" in found.could_not
    assert found.audio_s.median_90 is None


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
