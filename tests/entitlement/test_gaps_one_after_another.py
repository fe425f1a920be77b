"""Several gaps of one source, and proofs of awake before, between and after them. Reckoned by hand."""

import pytest

from satdiag.exposure import exposure_clock
from tests.helpers import make_job


@pytest.mark.parametrize(
    ("gaps", "proved"),
    [
        ([(2, 60)], [[240, 960]]),
        ([(2, 60), (6, 60)], [[480, 960]]),
        ([(2, 60), (10, 60)], [[240, 480], [720, 960]]),
        ([(2, 60), (6, 30), (10, 90)], [[720, 960]]),
        ([(2, 60), (6, 30), (10, 90), (14, 100)], []),
        ([(13, 360), (14, 10)], [[0, 240]]),  # the longer one reaches back to 7 min
    ],
)
def test_each_gap_breaks_the_stretch_it_reaches_into_and_no_other(gaps, proved):
    """Awake at 0, 4, 8, 12 and 16 min; a gap of so many seconds ends at its minute."""
    rows = [f"{minute}:00 power receiver awake" for minute in (0, 4, 8, 12, 16)]
    rows += [f"{minute}:00 gap page lost span_s={span_s}" for minute, span_s in gaps]
    assert exposure_clock(make_job("\n".join(rows))).proved.tolist() == proved
