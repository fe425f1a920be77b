"""The parts of the mask against scipy, pandas, SGP4 and closed forms."""

from datetime import datetime
from math import nan

import numpy as np
import pandas as pd
import pytest
from scipy import integrate, optimize, stats
from scipy.special import expit
from sgp4.api import WGS84, Satrec

from satdiag.gnss.identity import Satellite
from satdiag.sky.elements import teme_to_earth_fixed
from satdiag.sky.look_angles import look_angles
from satdiag.sky.mask.baseline import blind_baselines
from satdiag.sky.mask.canopy import chances
from satdiag.sky.mask.combine import fit_mask
from satdiag.sky.mask.common_mode import common_mode
from satdiag.sky.mask.likelihood import evidence, expected_cn0
from satdiag.sky.mask.looks import Looks
from satdiag.sky.mask.patience import Place, future_paths, stays_s
from satdiag.sky.mask.posterior import (
    KNOT_AZIMUTH_DEG,
    KNOTS,
    SURPRISE_HIGH,
    SURPRISE_LOOKS,
    SURPRISE_LOW,
    fit_edge,
    tied_prior,
    walking_prior,
)
from satdiag.sky.mask.thinning import cells_of, thinned
from tests.sky.mask.made_skies import made_sky


def one_look(elevation, level, baseline=46.0, witness=False):
    """Evidence of a single look."""
    return evidence(*(np.array([x]) for x in (elevation, level, baseline)), np.array([witness]))[0]


def looks_of(time_s, satellite, azimuth, elevation, level, group=0, witness=False):
    """Looks from columns, the last two the same for all."""
    count = len(time_s)
    columns = [np.asarray(one, dtype=float) for one in (time_s, azimuth, elevation, level)]
    return Looks(
        columns[0],
        np.asarray(satellite, dtype=np.int64),
        np.full(count, group),
        *columns[1:],
        np.full(count, witness),
    )


# --- one look ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("elevation", [8.0, 25.0, 60.0, 90.0])
def test_a_weaker_satellite_never_speaks_more_for_a_clear_way(elevation):
    levels = expected_cn0(elevation, 46.0) + np.arange(6.0, -25.0, -0.5)
    said = [one_look(elevation, level) for level in levels]
    assert (np.diff(said) <= 1e-9).all()
    assert said[12] > 2.0
    assert said[-1] <= -1.5


def test_at_the_margin_a_look_says_little():
    # Knife edge: 6 dB on the geometric edge itself, so a look there should speak for neither.
    assert abs(one_look(40.0, expected_cn0(40.0, 46.0) - 6.0)) < 1.0


def test_not_tracked_counts_high_up_and_not_near_the_horizon():
    assert one_look(50.0, nan) == pytest.approx(np.log(0.03 / 0.5), abs=0.01)
    assert one_look(3.0, nan) == pytest.approx(0.0, abs=0.05)


def test_an_absent_augmentation_satellite_is_weak_evidence_and_a_present_one_is_not():
    assert one_look(35.0, nan, witness=True) == -0.5
    for level in (36.0, 41.0):  # levels of such satellites at one antenna beside a GPS level of 47
        assert one_look(35.0, level, 47.0, witness=True) > 1.0


# --- levels, outages, thinning -----------------------------------------------------------------------------------


@pytest.mark.parametrize("level", [36.0, 41.0, 46.0, 50.0])
def test_the_level_of_an_open_sky_is_found(level):
    random = np.random.default_rng(2)
    elevation = random.uniform(10.0, 90.0, 600)
    read = level - 9.0 * (1.0 - np.sin(np.radians(elevation))) + random.normal(0.0, 2.0, 600)
    found = blind_baselines(looks_of(np.arange(600), np.arange(600) % 20, elevation * 4, elevation, np.round(read)))
    assert found[0] == pytest.approx(level, abs=1.2)


def test_each_constellation_and_signal_has_its_own_level_and_too_few_looks_have_none():
    random = np.random.default_rng(3)
    elevation = random.uniform(20.0, 90.0, 400)
    group = np.arange(400) % 2
    read = np.where(group == 0, 47.0, 43.0) - 9.0 * (1.0 - np.sin(np.radians(elevation)))
    looks = looks_of(np.arange(400), np.arange(400) % 20, elevation * 4, elevation, read + random.normal(0, 1.5, 400))
    looks = Looks(*(group if name == "group" else getattr(looks, name) for name in Looks.__dataclass_fields__))
    levels = blind_baselines(looks, 3)
    assert levels[0] - levels[1] == pytest.approx(4.0, abs=1.0)  # both lean a little on what is common
    assert levels[1] < levels[2] < levels[0]
    assert blind_baselines(looks.where(np.arange(5))) is None


def test_thinning_against_pandas():
    random = np.random.default_rng(4)
    level = np.where(random.random(500) < 0.3, nan, random.integers(20, 50, 500))
    looks = looks_of(
        np.sort(random.uniform(0, 600, 500)), random.integers(0, 6, 500), random.uniform(0, 360, 500),
        random.uniform(5, 90, 500), level,
    )  # fmt: skip
    found = thinned(looks)
    frame = pd.DataFrame({"sat": looks.satellite, "window": looks.time_s // 60.0, "level": looks.cn0_db_hz})
    parts = frame.groupby(["sat", "window"])["level"]
    wanted = parts.median().where(parts.count() * 2 > parts.size())
    assert len(found) == len(wanted)
    assert found.cn0_db_hz == pytest.approx(wanted.to_numpy(), nan_ok=True)
    assert found.satellite.tolist() == wanted.index.get_level_values("sat").tolist()


def test_many_looks_through_one_cell_are_worth_two():
    cells = cells_of(np.full(50, 100.2), np.full(50, 40.5), np.linspace(-1.0, 3.0, 50))
    assert len(cells.weight) == 1
    assert cells.weight[0] == 2.0
    assert cells.evidence[0] == pytest.approx(1.0)


def test_an_outage_of_the_whole_sky_is_set_aside_and_a_blocked_half_is_not():
    sky = made_sky("wall", 20.0, 6)
    looks = sky.looks
    out = (looks.time_s >= 600.0) & (looks.time_s < 780.0)
    weak = Looks(*(looks.cn0_db_hz - np.where(out, 18.0, 0.0) if name == "cn0_db_hz" else getattr(looks, name)
                   for name in Looks.__dataclass_fields__))  # fmt: skip
    levels = blind_baselines(thinned(looks))
    found = common_mode(weak, levels)
    assert found.outage_share == pytest.approx(180.0 / 1200.0, abs=0.005)
    assert (found.usable == ~out).all()
    assert common_mode(looks, levels).outage_share == 0.0
    kept, spoilt = fit_mask(looks, baseline_db_hz=levels), fit_mask(weak, baseline_db_hz=levels)
    azimuth = np.arange(0.0, 360.0, 10.0)
    gap = kept.chances(azimuth, 45.0).value - spoilt.chances(azimuth, 45.0).value
    assert np.abs(gap).mean() < 0.05


@pytest.mark.parametrize("share", [0.3, 0.55, 0.8])
def test_a_sky_covered_for_most_of_the_stay_is_set_aside_as_well(share):
    # Made: an open sky, and all satellites 14 dB down for a share of an hour.
    looks = made_sky("open", 60.0, 7, 15.0).looks
    late = looks.time_s >= 3600.0 * (1.0 - share)
    level = np.where(late, looks.cn0_db_hz - 14.0, looks.cn0_db_hz)
    covered = Looks(*(level if name == "cn0_db_hz" else getattr(looks, name) for name in Looks.__dataclass_fields__))
    mask = fit_mask(covered)
    assert mask.outage_share == pytest.approx(share, abs=0.01)
    found = mask.chances([180.0, 153.0, 30.0], [38.0, 36.0, 50.0])
    assert (found.value > 0.9).all()
    assert (found.low > 0.75).all()


# --- skyline -----------------------------------------------------------------------------------------------------


def test_the_edge_is_where_scipy_finds_the_highest_posterior():
    sky = made_sky("blocks", 60.0, 8, 15.0)
    rows = thinned(sky.looks)
    said = evidence(rows.elevation_deg, rows.cn0_db_hz, np.full(len(rows), 46.5), rows.witness)
    cells, prior = cells_of(rows.azimuth_deg, rows.elevation_deg, said), walking_prior()
    found = fit_edge(cells, prior, rounds=400)

    def cost(unknown):
        edge, low, high = unknown[:KNOTS], unknown[KNOTS], unknown[KNOTS + 1]
        line = np.interp(cells.azimuth_deg, np.append(KNOT_AZIMUTH_DEG, 360.0), np.append(edge, edge[0]))
        chance = low + (high - low) * expit((cells.elevation_deg - line) / 2.0)
        likely = cells.weight @ np.log(chance * np.exp(cells.evidence) + 1.0 - chance)
        off = edge - prior.mean_deg
        surprise = sum(
            SURPRISE_LOOKS * (mean * np.log(now) + (1.0 - mean) * np.log1p(-now))
            for mean, now in ((SURPRISE_LOW, low), (SURPRISE_HIGH, high))
        )
        return -(likely + surprise - 0.5 * off @ prior.precision @ off)

    start = np.concatenate([found.edge_deg, [found.low, found.high]])
    bounds = [(-5.0, 90.0)] * KNOTS + [(0.001, 0.4), (0.6, 0.999)]
    best = optimize.minimize(cost, start, method="L-BFGS-B", bounds=bounds)
    assert cost(start) - best.fun < 0.5
    assert np.median(np.abs(best.x[:KNOTS] - found.edge_deg)) < 0.5


def test_without_looks_the_edge_is_what_was_held_before():
    nothing = cells_of(np.zeros(0), np.zeros(0), np.zeros(0))
    prior = walking_prior(25.0, 10.0)
    found = fit_edge(nothing, prior)
    assert found.edge_deg == pytest.approx(25.0)
    assert found.covariance == pytest.approx(np.linalg.inv(prior.precision), rel=1e-6)
    tied = tied_prior(np.full(KNOTS, 12.0), 9.0 * np.eye(KNOTS))
    assert fit_edge(nothing, tied).at(47.0)[0][0] == pytest.approx(12.0)


def test_the_chance_with_the_edge_integrated_out_against_quadrature():
    found = fit_edge(
        cells_of(np.zeros(0), np.zeros(0), np.zeros(0)), tied_prior(np.full(KNOTS, 30.0), 36 * np.eye(72))
    )

    def value(edge):
        return (SURPRISE_LOW + (SURPRISE_HIGH - SURPRISE_LOW) * expit((34.0 - edge) / 2.0)) * stats.norm.pdf(
            edge, 30.0, 6.0
        )

    exact, _ = integrate.quad(value, -30.0, 90.0, points=[30.0, 34.0])
    assert found.p_clear(0.0, 34.0)[0][0] == pytest.approx(exact, abs=0.015)


def test_local_looks_give_a_beta_distribution():
    cells = cells_of(np.array([100.0, 101.5, 99.0]), np.array([40.0, 41.5, 38.5]), np.array([4.0, 4.0, 4.0]))
    sure = fit_edge(cells, tied_prior(np.full(KNOTS, 40.0), 1e-8 * np.eye(KNOTS)))
    found = chances(sure, cells, 2.0, np.array([100.0]), np.array([40.0]))
    middle = sure.p_clear(100.0, 40.0)[0][0]
    a = 2.0 * middle + found.support[0] * expit(4.0)
    b = 2.0 * (1.0 - middle) + found.support[0] * expit(-4.0)
    assert 2.0 < found.support[0] < 3.0
    assert found.value[0] == pytest.approx(stats.beta.mean(a, b))
    assert found.low[0] == pytest.approx(stats.beta.ppf(0.05, a, b), abs=1e-3)
    assert found.high[0] == pytest.approx(stats.beta.ppf(0.95, a, b), abs=1e-3)


# --- how long to stay --------------------------------------------------------------------------------------------


def sgp4_path(inclination_deg, node_deg, along_deg, turns_a_day, seconds):
    """Azimuth and elevation at 45 N 10 E of a circular orbit by SGP4, from 2031-05-03 14:00 UTC on."""
    record = Satrec()
    since_1949 = (datetime(2031, 5, 3, 14) - datetime(1949, 12, 31)).total_seconds() / 86400.0
    motion = turns_a_day * 2.0 * np.pi / 1440.0
    angles = np.radians([inclination_deg, node_deg, along_deg])
    record.sgp4init(WGS84, "i", 1, since_1949, 0.0, 0.0, 0.0, 1e-4, 0.0, angles[0], angles[2], motion, angles[1])
    jd = np.full(len(seconds), 2440587.5 + (datetime(2031, 5, 3) - datetime(1970, 1, 1)).days)
    fraction = 14.0 / 24.0 + seconds / 86400.0
    _, teme, _ = record.sgp4_array(jd, fraction)
    seen = look_angles(teme_to_earth_fixed(teme, jd, fraction), 45.0, 10.0)
    return seen.azimuth_deg, seen.elevation_deg


@pytest.mark.parametrize(("kind", "inclination", "turns"), [("gps", 55.0, 2.0056), ("galileo", 56.0, 1.7048)])
def test_satellites_are_carried_on_as_sgp4_does(kind, inclination, turns):
    seconds = np.array([0.0, 600.0, 600.0 + 3600.0, 600.0 + 7200.0])
    checked = 0
    for along in range(0, 360, 15):
        azimuth, elevation = sgp4_path(inclination, 40.0, float(along), turns, seconds)
        if (elevation < 6.0).any():
            continue
        seen = looks_of(seconds[:2], [0, 0], np.round(azimuth[:2]), np.round(elevation[:2]), [45.0, 45.0])
        ahead = np.array([3600.0, 7200.0])
        _, along_deg, height_deg = future_paths(seen, (Satellite(kind, 5),), Place(45.0, 10.0, 0.0), ahead)
        beside = (along_deg - azimuth[2:] + 180.0) % 360.0 - 180.0
        assert np.abs(beside * np.cos(np.radians(height_deg))).max() < 6.0
        assert np.abs(height_deg - elevation[2:]).max() < 6.0
        checked += 1
    assert checked >= 3


def test_a_longer_stay_is_never_worse_and_what_is_known_needs_none():
    sky = made_sky("blocks", 5.0, 12)
    names = tuple(Satellite(("gps", "glonass", "galileo", "beidou")[_system(sky.looks, one)], 11 + one % 20)
                  for one in range(int(sky.looks.satellite.max()) + 1))  # fmt: skip
    prior = walking_prior()
    mask = fit_mask(sky.looks, prior)
    azimuth, elevation = np.arange(0.0, 360.0, 30.0), np.full(12, 30.0)
    stays = stays_s(mask, prior, names, Place(45.0, 10.0, 0.0), azimuth, elevation)
    now = mask.chances(azimuth, elevation)
    useful = ((now.high - now.low) <= 0.4) & mask.speaks(now, azimuth)
    assert [stay == 0.0 for stay in stays] == useful.tolist()
    assert any(stay is not None and stay > 0.0 for stay in stays)
    assert stays == stays_s(mask, prior, names, Place(45.0, 10.0, 0.0), azimuth, elevation)


def _system(looks, satellite):
    own = looks.group[looks.satellite == satellite]
    return int(own[0]) if len(own) else 0
