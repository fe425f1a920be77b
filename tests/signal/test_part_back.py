"""A known-good antenna put in and taken out again: its levels are its own, and the old part is the one it was."""

import pytest

from satdiag.language import speaking
from satdiag.report.tables import signal_sentences
from satdiag.signal.estimate import estimate_signal, open_sky_stays
from satdiag.signal.moves import parts_by_era
from tests.helpers import make_job

PATH = "satellite:east"


def levels(start_s, value, count=60):
    """A lock and a level every five seconds, wavering by a tenth."""
    rows = []
    for n in range(count):
        t = start_s + 5 * n
        at = f"{t // 3600}:{t // 60 % 60:02d}:{t % 60:02d}"
        rows += [f"{at} lock {PATH} yes", f"{at} signal {PATH} {value + 0.1 * (n % 3):.1f} dB"]
    return rows


def job(*rows):
    return make_job("\n".join(["0:00 place vehicle open-sky", *rows]))


THERE = [*levels(5, 6.0), "0:10:00 swap antenna better", *levels(605, 14.0)]
BACK = [*THERE, "0:20:00 swap antenna worse", *levels(1205, 6.0)]


@pytest.mark.parametrize(
    ("rows", "parts"),
    [
        ([], [0]),
        (["1:00 swap antenna better"], [0, 1]),
        (["1:00 swap antenna better", "2:00 swap antenna worse"], [0, 1, 0]),
        (["1:00 swap antenna better", "2:00 swap antenna better"], [0, 1, 2]),
        (["1:00 swap antenna same", "2:00 swap lead better", "3:00 swap lead worse"], [0, 1, 2, 1]),
        (["1:00 swap antenna better", "1:00 swap lead better", "2:00 swap antenna worse"], [0, 1, 2]),
        (["1:00 swap antenna better", "1:30 swap place same", "2:00 swap antenna worse"], [0, 1, 0]),
    ],
)
def test_which_parts_were_in(rows, parts):
    assert parts_by_era(job(*rows)) == parts


def test_what_is_gained_says_which_part_went_in():
    found = estimate_signal(job(*BACK), None)
    assert [(one.part, round(one.gain), one.back) for one in found.swap_gains] == [
        ("antenna", 8, False),
        ("antenna", -8, True),
    ]
    for language, said in (("en", "old antenna back in"), ("es", "antena anterior"), ("fr", "ancienne antenne")):
        with speaking(language):
            (told,) = [one for one in signal_sentences(found) if said in one]
        assert "8" in told


def test_the_old_part_is_compared_with_what_it_had_before_the_trial():
    """6 dB before and after: nothing is missing. Of the good antenna nothing is known from before."""
    back, there = (estimate_signal(job(*rows), None).paths[PATH] for rows in (BACK, THERE))
    assert back.expected_from == "open-sky"
    assert back.deficit == pytest.approx(0.0, abs=0.5)
    assert there.expected_from is None


def test_levels_of_the_lent_part_are_not_kept_for_the_receiver():
    kept = open_sky_stays(job(*BACK), None)
    assert [round(one.level) for one in kept] == [6, 6]
    assert [round(one.level) for one in open_sky_stays(job(*THERE), None)] == [14]
