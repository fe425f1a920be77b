"""What a word for a place is worth: the published line-of-sight table, and quadrature."""

import numpy as np
import pytest
from scipy import integrate

from satdiag.sky.place_prior import P_CLEAR_BY_PLACE, low_words, p_clear_of_place, visible_fraction_of_place
from satdiag.vocabulary import entry_of
from tests.references import line_of_sight as table


def test_every_word_of_the_log_has_a_prior():
    assert set(P_CLEAR_BY_PLACE) == set(entry_of("place", "vehicle").states)


@pytest.mark.parametrize(
    ("place", "percent"), [("street", table.URBAN_PERCENT), ("open-sky", table.SUBURBAN_RURAL_PERCENT)]
)
def test_the_published_table(place, percent):
    chance, _, _ = p_clear_of_place(place, table.ELEVATION_DEG)
    assert 100.0 * chance == pytest.approx(percent)


def test_between_below_and_under_the_table():
    chance, low, high = p_clear_of_place("street", [35.0, 5.0, 0.0, -20.0])
    assert chance == pytest.approx([0.553, 0.246, 0.0, 0.0])
    assert high[2:] == pytest.approx([0.0, 0.0])
    assert (low <= chance).all()


@pytest.mark.parametrize("place", sorted(P_CLEAR_BY_PLACE))
def test_the_open_share_against_quadrature(place):
    least = np.radians(10.0)
    value, (low, high) = visible_fraction_of_place(place, 10.0)
    area, _ = integrate.quad(
        lambda e: float(p_clear_of_place(place, np.degrees(e))[0]) * np.cos(e), least, np.pi / 2, limit=200
    )
    assert value == pytest.approx(area / (1.0 - np.sin(least)), abs=1e-3)
    assert low <= value <= high


def test_a_satellite_below_the_table_is_named():
    assert "the satellite 'west' stands 7.9° high; what is known of a place by its word ends at 10°" in low_words(
        "west", 7.94
    )


def test_a_word_is_weak():
    _, (low, high) = visible_fraction_of_place("street", 10.0)
    assert high - low > 0.5


def test_places_are_in_their_order():
    shares = [visible_fraction_of_place(place, 10.0)[0] for place in ("open-sky", "street", "canopy", "indoors")]
    assert shares == sorted(shares, reverse=True)
