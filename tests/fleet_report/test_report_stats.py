"""Wilson's interval against published values, calibration against scikit-learn and by hand."""

import numpy as np
import pytest
from sklearn.calibration import calibration_curve
from sklearn.metrics import brier_score_loss

from satdiag.fleet.figures import log_ticks
from satdiag.fleet.report_stats import calibration, calibration_error, null_errors, wilson


@pytest.mark.parametrize(
    ("hits", "number", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilson(hits, number, low, high):
    """Newcombe 1998, Stat. Med. 17:857, table I, method 3 (95 %)."""
    assert wilson(hits, number, 0.95) == pytest.approx((low, high), abs=5e-5)


def test_a_share_of_nothing():
    with pytest.raises(ValueError, match="nothing"):
        wilson(0, 0)
    assert calibration(np.zeros(0), np.zeros(0)) is None


def made(number=400, seed=1, bend=1.0):
    rng = np.random.default_rng(seed)
    p = rng.random(number)
    return p, (rng.random(number) < p**bend).astype(float)


def test_bins_and_brier_are_those_of_scikit_learn():
    p, hit = made()
    found = calibration(p, hit)
    share, mean = calibration_curve(hit, p, n_bins=10)
    assert [one.hits / one.number for one in found.bins] == pytest.approx(share.tolist())
    assert [one.mean for one in found.bins] == pytest.approx(mean.tolist())
    assert found.brier == pytest.approx(brier_score_loss(hit, p))
    weight = np.array([one.number for one in found.bins]) / len(p)
    assert found.error == pytest.approx(float(weight @ np.abs(share - mean)))


def test_the_error_by_hand():
    """Two bins: 0.8 said and half true, 0.3 said and never true: (2 x 0.3 + 1 x 0.3) / 3."""
    assert calibration_error(np.array([0.8, 0.8, 0.3]), np.array([1.0, 0.0, 0.0])) == pytest.approx(0.3)


def test_true_probabilities_stay_within_what_chance_gives_and_bent_ones_do_not():
    """Our own draws: 19 of 20 true sets lie below the 95th percentile or so; probabilities bent to p^3 do not."""
    inside = 0
    for seed in range(12):
        found = calibration(*made(200, seed))
        inside += found.error <= found.null_95
    assert inside >= 9  # binomial(12, 0.95) is below 9 once in 400 times
    bent = calibration(*made(400, 3, bend=3.0))
    assert bent.error > 2 * bent.null_95


def test_the_null_is_the_same_each_time():
    p, _ = made(50)
    assert null_errors(p, 20).tolist() == null_errors(p, 20).tolist()


@pytest.mark.parametrize("low", [0.003, 0.09, 0.17, 0.95, 4.0, 88.0])
@pytest.mark.parametrize("factor", [1.5, 2.2, 5.0, 40.0, 900.0, 1e5])
def test_a_logarithmic_axis_has_few_marks_with_few_digits(low, factor):
    ticks = log_ticks(low, low * factor)
    assert 2 <= len(ticks) <= 6
    assert all(low <= one <= low * factor for one in ticks)
    assert all(one == float(f"{one:.2g}") for one in ticks)
    assert ticks == sorted(set(ticks))
