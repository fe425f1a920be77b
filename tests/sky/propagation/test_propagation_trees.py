"""Roadside trees and woods against a reference implementation's values and against each other."""

import numpy as np
import pytest

from satdiag.errors import SatdiagError
from satdiag.sky.propagation import p681, p833
from satdiag.sky.propagation.standing import OutsideDomain
from tests.references import propagation as reference

DB = 1e-3
GHZ = 2.3325


def test_frequency_factor():
    assert float(p681.frequency_factor(GHZ)) == pytest.approx(reference.TREE_FACTOR, abs=1e-6)
    assert float(p681.frequency_factor(1.5)) == 1.0


@pytest.mark.parametrize("elevation", reference.TREE_FADES_DB)
def test_fades_of_the_reference(elevation):
    found = p681.tree_fade_db(reference.TREE_PERCENT, elevation, GHZ)
    assert found == pytest.approx(reference.TREE_FADES_DB[elevation], abs=DB)


def test_fades_at_the_frequency_they_were_measured_at():
    for elevation, fades in reference.TREE_FADES_1500_DB.items():
        assert p681.tree_fade_db([1, 10, 20, 30, 50], elevation, 1.5) == pytest.approx(fades, abs=DB)


def test_low_satellites_take_the_fade_at_20_deg():
    assert (p681.tree_fade_db(5.0, [7.0, 12.0, 19.9], GHZ) == p681.tree_fade_db(5.0, 20.0, GHZ)).all()


def test_high_satellites():
    found = p681.high_tree_fade_db(10.0, reference.HIGH_TREE_DEG, 2.6)
    assert found == pytest.approx(reference.HIGH_TREE_DB, abs=DB)
    # Both branches meet at 60 deg, whatever the frequency.
    percents = np.array([1.0, 5.0, 12.0, 30.0])
    assert p681.high_tree_fade_db(percents, 60.0, GHZ) == pytest.approx(p681.tree_fade_db(percents, 60.0, GHZ))


def test_the_inverse_undoes_the_fade():
    percent, elevation = np.meshgrid(np.geomspace(1.01, 79.0, 40), [20.0, 33.0, 45.0, 60.0])
    back = p681.tree_share_percent(p681.tree_fade_db(percent, elevation, GHZ), elevation, GHZ)
    assert back == pytest.approx(percent, rel=1e-9)
    # Reference implementation at 30 and 45 deg, 3, 6 and 10 dB.
    assert p681.tree_share_percent([3, 6, 10], 30.0, GHZ) == pytest.approx([52.64, 34.63, 19.78], abs=0.01)
    assert p681.tree_share_percent([3, 6, 10], 45.0, GHZ) == pytest.approx([31.56, 14.56, 6.34], abs=0.01)
    assert np.isnan(p681.tree_share_percent(15.0, 60.0, GHZ))  # under 1 %, where the model does not reach


def test_shares_follow_from_drawn_places():
    """Fades drawn by inverting the curve at random places exceed a level in the share the inverse tells (1 %)."""
    random = np.random.default_rng(681)
    percent = random.uniform(1.0, 80.0, 200_000)
    fades = p681.tree_fade_db(percent, 40.0, GHZ)
    for level in (2.0, 5.0, 9.0):
        share = float(p681.tree_share_percent(level, 40.0, GHZ))
        assert 1.0 + 79.0 * (fades > level).mean() == pytest.approx(share, abs=0.4)


def test_lengths_of_fades():
    for distance, percent in reference.TREE_DURATION:
        assert 100.0 * float(p681.fade_longer_share(distance)) == pytest.approx(percent, abs=0.01)
    random = np.random.default_rng(682)
    drawn = np.exp(np.log(0.22) + 1.215 * random.standard_normal(200_000))
    assert (drawn > 0.5).mean() == pytest.approx(float(p681.fade_longer_share(0.5)), abs=0.005)


@pytest.mark.parametrize(
    ("function", "arguments"),
    [
        (p681.tree_fade_db, (0.5, 45.0, GHZ)),
        (p681.tree_fade_db, (81.0, 45.0, GHZ)),
        (p681.tree_fade_db, (10.0, 6.9, GHZ)),
        (p681.tree_fade_db, (10.0, 61.0, GHZ)),
        (p681.tree_fade_db, (10.0, 45.0, 0.7)),
        (p681.tree_fade_db, (10.0, [45.0, float("nan")], GHZ)),
        (p681.high_tree_fade_db, (40.0, 70.0, GHZ)),
        (p681.high_tree_fade_db, (10.0, 70.0, 3.0)),
        (p681.tree_share_percent, (-1.0, 45.0, GHZ)),
        (p681.fade_longer_share, (0.01,)),
    ],
)
def test_outside_the_model_is_an_error_with_the_reason(function, arguments):
    with pytest.raises(OutsideDomain, match=r"roadside trees .* is outside .* where the model holds") as caught:
        function(*arguments)
    assert isinstance(caught.value, SatdiagError)


def test_woodland():
    depth, loss = zip(*reference.WOODLAND, strict=True)
    assert p833.woodland_db(depth, 0.37, 34.1) == pytest.approx(loss, abs=0.006)
    assert float(p833.woodland_db(1e6, 0.37, 34.1)) == pytest.approx(34.1)


def test_the_slanted_path_and_older_fits_from_memory():
    for depth, elevation, loss in reference.SLANT_WOODLAND:
        assert float(p833.slant_woodland_db(depth, elevation, 2332.5)) == pytest.approx(loss, abs=0.006)
    first, second = reference.OLDER_FITS
    assert float(p833.modified_exponential_db(10.0, GHZ)) == pytest.approx(first, abs=0.006)
    assert float(p833.early_fit_db(10.0, 2332.5)) == pytest.approx(second, abs=0.006)


def test_beyond_its_table_the_wood_says_so_and_then_refuses():
    assert p833.wood_at(949.0) == (0.17, 26.5, "")
    near = p833.wood_at(2332.5)
    assert near[:2] == (0.34, 34.1)
    assert "2117.5 MHz" in near.note
    for frequency in (100.0, 2500.0):
        with pytest.raises(OutsideDomain):
            p833.wood_at(frequency)


def test_models_of_a_canopy_differ_as_much_as_they_are_said_to():
    # 'ten metres of canopy cost some 4 to 11 dB, models differ by that much': common practice, no source.
    span = p833.canopy_range_db(10.0, 30.0, 2332.5)
    assert 3.0 < span.low_db < 4.0
    assert 10.0 < span.high_db < 11.5
    assert span.note
