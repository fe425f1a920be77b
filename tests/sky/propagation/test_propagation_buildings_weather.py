"""Loss into buildings and the weather's bounds against validation tables and a reference library's values."""

import numpy as np
import pytest

from satdiag.sky.propagation import atmosphere, p2109
from satdiag.sky.propagation.standing import OutsideDomain
from tests.references import propagation as reference


@pytest.mark.parametrize("row", reference.ENTRY)
def test_rows_of_the_validation_table(row):
    frequency, share, elevation, building, loss = row
    assert float(p2109.entry_loss_db(share, elevation, frequency, building)) == pytest.approx(loss, abs=1e-7)


def test_entry_loss_at_the_receivers_frequency():
    for building, rows in reference.ENTRY_2330.items():
        for elevation, losses in rows.items():
            found = p2109.entry_loss_db([0.1, 0.5, 0.9], elevation, 2.33, building)
            assert found == pytest.approx(losses, abs=2e-3)


def test_share_below_is_the_inverse():
    shares, elevation = np.meshgrid([0.001, 0.05, 0.3, 0.5, 0.97], [-30.0, 0.0, 38.0, 90.0])
    for building in p2109.BUILDINGS:
        losses = p2109.entry_loss_db(shares, elevation, 2.33, building)
        assert p2109.share_below(losses, elevation, 2.33, building) == pytest.approx(shares, abs=1e-9)
    assert float(p2109.share_below(-5.0, 30.0, 2.33, "traditional")) == 0.0
    assert float(p2109.share_below(300.0, 30.0, 2.33, "traditional")) == 1.0


def test_drawn_buildings_keep_the_share():
    """Losses drawn by the formula's own two normals driven alike; a Monte Carlo of the inverse, our model only."""
    share = np.random.default_rng(2109).uniform(0.0, 1.0, 100_000).clip(1e-9, 1.0 - 1e-9)
    losses = p2109.entry_loss_db(share, 35.0, 2.33, "traditional")
    for level in (10.0, 20.0, 35.0):
        assert (losses < level).mean() == pytest.approx(
            float(p2109.share_below(level, 35.0, 2.33, "traditional")), abs=5e-3
        )


@pytest.mark.parametrize("arguments", [(0.0, 30.0, 2.3), (1.0, 30.0, 2.3), (0.5, 91.0, 2.3), (0.5, 30.0, 0.05)])
def test_entry_loss_outside_its_domain(arguments):
    with pytest.raises(OutsideDomain, match=r"P\.2109"):
        p2109.entry_loss_db(*arguments, "traditional")


# --- weather -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("row", reference.RAIN)
def test_rain(row):
    frequency, elevation, tilt, k, alpha = row
    for rate in (1.0, 50.0, 100.0):
        found = float(atmosphere.rain_db_per_km(rate, frequency, elevation, tilt))
        assert found == pytest.approx(k * rate**alpha, rel=1e-9)


def test_cloud():
    for frequency, expected in reference.CLOUD:
        assert float(atmosphere.cloud_db_per_km(frequency)) == pytest.approx(expected, rel=1e-9)


def test_gas_is_never_understated():
    for elevation, expected in reference.GAS:
        found = float(atmosphere.worst_weather(elevation, 2.3325).gas_db)
        assert expected <= found <= 1.15 * expected


@pytest.mark.parametrize("row", reference.SITES)
def test_bounds_hold_at_sites_with_statistics_of_their_own(row):
    _, _, elevation, gas, cloud, rain = row
    most = atmosphere.worst_weather(elevation, 2.3325)
    assert gas <= float(most.gas_db)
    assert cloud <= float(most.cloud_db)
    assert rain <= float(most.rain_db)
    assert gas + cloud + rain <= float(most.total_db) < 0.4


def test_the_sentence_carries_the_number_and_refuses_other_bands():
    assert "no more than 0.3 dB at 30°" in atmosphere.weather_text(30.0, 2.3325)
    for elevation, frequency in ((4.0, 2.3), (30.0, 12.0)):
        with pytest.raises(OutsideDomain):
            atmosphere.weather_text(elevation, frequency)
