"""Several directions at once: against brute force, an integral, bounds, and made skies with a known edge."""

import dataclasses
import itertools

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import beta

from satdiag.findings import SatelliteSky
from satdiag.sheet import Site
from satdiag.sky.estimate import estimate_sky
from satdiag.sky.mask.canopy import drawn_chances
from satdiag.sky.mask.combine import fit_mask
from satdiag.sky.place_prior import p_clear_of_place
from satdiag.sky.stay import Stay, with_chance
from satdiag.sky.together import UNKNOWN, alike, any_and_all, chances_now, matched, together
from satdiag.tables import HorizonPoint, Obstacle
from tests.helpers import make_job
from tests.sky.mask.made_skies import as_nmea, made_sky
from tests.sky.mask.test_mask_of_a_job import PAIR, ROW, SERVICE, YARD, wall_between

SITE = Site("yard", 45.0, 10.0, 0.0)


def _stay(place=None, readings=None, obstacles=None):
    return Stay(SITE, None, place, readings, obstacles)


def _skies(stay, *directions):
    bare = (SatelliteSky(f"s{n}", az, el, 38000.0, None, None, "none") for n, (az, el) in enumerate(directions))
    return [with_chance(stay, sky) for sky in bare]


def _wall(low_deg, spread=((100.0, 250.0),)):
    return [Obstacle(begin, end, 10.0, 10.0 * np.tan(np.radians(low_deg)), "") for begin, end in spread]


# --- under one sky -----------------------------------------------------------------------------------------------


def test_against_brute_force():
    chance = np.array([[0.2, 0.7, 0.55, 0.9]])
    near = np.array([[1.0, 0.8, 0.1, 0.0], [0.8, 1.0, 0.3, 0.0], [0.1, 0.3, 1.0, 0.5], [0.0, 0.0, 0.5, 1.0]])
    random = np.random.default_rng(1)
    count = 200_000
    fate = random.random((count, 4))
    # The same rule written as a simulation: each copies the fate of the most alike one before it, or has its own.
    for at, before, share in ((1, 0, 0.8), (2, 1, 0.3), (3, 2, 0.5)):
        copies = random.random(count) < share
        fate[copies, at] = fate[copies, before]
    clear = fate < chance
    any_, all_ = any_and_all(chance, near)
    assert any_[0] == pytest.approx(clear.any(axis=1).mean(), abs=0.004)
    assert all_[0] == pytest.approx(clear.all(axis=1).mean(), abs=0.004)


def test_the_ends_one_direction_and_opposite_ones():
    same = alike(np.array([200.0, 200.0]), np.array([35.0, 35.0]))
    apart = alike(np.array([100.0, 280.0]), np.array([35.0, 35.0]))
    chance = np.array([[0.3, 0.6]])
    assert [float(part[0]) for part in any_and_all(chance, same)] == pytest.approx([0.6, 0.3])
    assert [float(part[0]) for part in any_and_all(chance, apart)] == pytest.approx([1.0 - 0.7 * 0.4, 0.18])


def test_shifted_draws_have_the_mean_that_was_told():
    drawn = np.random.default_rng(2).beta(2.0, 5.0, (200, 3))
    wanted = np.array([0.02, 0.5, 0.97])
    found = matched(drawn, wanted)
    assert found.mean(axis=0) == pytest.approx(wanted, abs=1e-9)
    assert (np.diff(found[np.argsort(drawn[:, 0]), 0]) >= 0.0).all()


# --- by what is known --------------------------------------------------------------------------------------------


def test_a_place_word_is_right_or_wrong_for_both():
    stay = _stay("street")
    found = together(stay, _skies(stay, (100.0, 30.0), (280.0, 50.0)))
    p, q = (float(p_clear_of_place("street", el)[0]) for el in (30.0, 50.0))

    def both(level):
        return beta.ppf(level, 2 * p, 2 * (1 - p)) * beta.ppf(level, 2 * q, 2 * (1 - q))

    assert found.all_ == pytest.approx(quad(both, 0.0, 1.0)[0], abs=0.005)
    assert found.any_ == pytest.approx(p + q - found.all_, abs=1e-3)  # inclusion and exclusion
    assert found.all_ > p * q + 0.05
    assert found.any_90[0] <= found.any_ <= found.any_90[1]


def test_one_wall_before_both_is_no_product_and_two_walls_are_one():
    readings = [HorizonPoint(float(at), 30.0) for at in (0, 180)]  # far apart: the skyline between is hardly known
    for stay, shared in (
        (_stay(obstacles=_wall(35.0)), True),
        (_stay(obstacles=_wall(35.0, ((80.0, 140.0), (220.0, 280.0)))), False),
        (_stay(readings=readings), None),
    ):
        first, second = _skies(stay, (120.0, 35.0), (240.0, 35.0))
        found = together(stay, [first, second])
        product = 1.0 - (1.0 - first.p_clear) * (1.0 - second.p_clear)
        if shared is True:
            assert found.any_ < product - 0.1
            assert found.all_ > first.p_clear * second.p_clear + 0.1
        elif shared is False:
            assert found.any_ == pytest.approx(product, abs=0.03)
        assert max(first.p_clear, second.p_clear) - 1e-6 <= found.any_ <= first.p_clear + second.p_clear + 1e-6
        assert found.all_ <= min(first.p_clear, second.p_clear) + 1e-6


def test_one_alone_none_risen_and_unknown():
    stay = _stay("street")
    up, down = _skies(stay, (100.0, 30.0), (280.0, -5.0))
    found = together(stay, [up, down])
    assert (found.any_, found.any_90, found.all_) == (up.p_clear, up.p_clear_90, up.p_clear)
    assert together(stay, [down]) == (0.0, (0.0, 0.0), None, None)
    assert together(stay, []) == together(_stay(), _skies(_stay(), (100.0, 30.0), (200.0, 30.0))) == UNKNOWN


def test_chances_of_many_directions_are_those_of_each():
    record = as_nmea(wall_between(120, 240, 10.0, step_s=5.0))
    azimuth, elevation = np.array([20.0, 150.0, 180.0, 300.0]), np.array([30.0, 40.0, -2.0, 8.0])
    for stay in (_stay("street"), _stay(obstacles=_wall(35.0)), _stay()):
        wanted = [sky.p_clear for sky in _skies(stay, *zip(azimuth, elevation, strict=True))]
        assert chances_now(stay, azimuth, elevation) == pytest.approx(
            [np.nan if one is None else one for one in wanted], nan_ok=True
        )
    site = estimate_sky(make_job(ROW, YARD + SERVICE, documents={"gnss-a.nmea": record, "constellation.toml": PAIR}))
    assert all(sat.from_ == "gnss" for sat in site.sites[0].satellites)


def test_a_job_with_a_record_says_it_jointly():
    def site_of(record):
        documents = {"gnss-a.nmea": record, "constellation.toml": PAIR}
        return estimate_sky(make_job(ROW, YARD + SERVICE, documents=documents)).sites[0]

    for low, high in ((120, 240), (300, 60), (166, 240)):
        site = site_of(as_nmea(wall_between(low, high)))
        one, two = (sat.p_clear for sat in site.satellites)
        assert max(one, two) - 1e-6 <= site.p_any_clear <= min(1.0, one + two) + 1e-6
        assert max(0.0, one + two - 1.0) - 1e-6 <= site.p_all_clear <= min(one, two) + 1e-6
        assert site.p_any_clear + site.p_all_clear == pytest.approx(one + two, abs=1e-3)  # of two, exactly
        assert site.p_any_clear_90[0] <= site.p_any_clear <= site.p_any_clear_90[1]
        again = site_of(as_nmea(wall_between(low, high)))
        assert dataclasses.asdict(again) == dataclasses.asdict(site)


# --- made skies: our own model, so this proves the code only --------------------------------------------------------


def test_on_made_skies_the_joint_chance_tells_more_than_the_product():
    directions = [(float(az), el) for az in range(0, 360, 30) for el in (20.0, 35.0)]
    azimuth, elevation = (np.array(part) for part in zip(*directions, strict=True))
    pairs = list(itertools.combinations(range(len(directions)), 2))
    scores = {"joint": [], "product": []}
    for scene, seed in itertools.product(("wall", "blocks", "canyon"), range(4)):
        sky = made_sky(scene, 5.0, seed)
        mask = fit_mask(sky.looks)
        truth = elevation > sky.edge_deg[azimuth.astype(int)]
        told = mask.chances(azimuth, elevation).value
        drawn = drawn_chances(
            mask.edge, mask.cells, mask.settings.horizon_looks, azimuth, elevation, 200, np.random.default_rng(1)
        )
        drawn = matched(drawn, told)
        for one, two in pairs:
            pick = [one, two]
            near = alike(azimuth[pick], elevation[pick])
            joint = float(any_and_all(drawn[:, pick], near)[0].mean())
            product = 1.0 - (1.0 - told[one]) * (1.0 - told[two])
            so = bool(truth[pick].any())
            for name, chance in (("joint", joint), ("product", product)):
                scores[name].append(-np.log(np.clip(chance if so else 1.0 - chance, 0.01, 1.0)))
    assert np.mean(scores["joint"]) < np.mean(scores["product"])
