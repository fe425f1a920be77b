"""The skyline: closed forms of solid angle, interpolation round the circle, obstacles, and how sure it all is."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from satdiag.sky import horizon
from satdiag.sky.horizon import Edge, open_fraction, p_clear, skyline, visible_fraction
from satdiag.tables import HorizonPoint, Obstacle


def readings(*pairs):
    return [HorizonPoint(azimuth, elevation) for azimuth, elevation in pairs]


def ring(elevation_deg, step=45):
    return readings(*((azimuth, elevation_deg) for azimuth in range(0, 360, step)))


def obstacle(start, end, distance_m, height_m):
    return Obstacle(start, end, distance_m, height_m, "")


def one_edge(elevation_deg, sd_deg):
    yes = np.array([True])
    return Edge(np.zeros(1), np.array([elevation_deg]), np.array([sd_deg]), yes, yes)


# --- open share of the sky ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("elevation_deg", [10.0, 20.0, 35.0, 60.0, 90.0])
def test_a_level_ring_leaves_the_cap_above_it(elevation_deg):
    # Archimedes: the cap above e has 2 pi (1 - sin e) of solid angle.
    value, (low, high) = visible_fraction(ring(elevation_deg), None, 10.0)
    sine = np.sin(np.radians(elevation_deg))
    assert value == pytest.approx((1.0 - sine) / (1.0 - np.sin(np.radians(10.0))), abs=1e-9)
    assert low <= value <= high


def test_a_ring_below_the_lowest_elevation_leaves_all_open():
    assert visible_fraction(ring(4.0), None, 10.0)[0] == 1.0
    assert visible_fraction(ring(20.0), None, 25.0)[0] == 1.0


def test_a_wall_round_half_the_circle():
    # 10 m high at 10 m: 45 deg over 181 of 360 cells of 1 deg; elsewhere below 10 deg.
    value, _ = visible_fraction(None, [obstacle(0, 180, 10.0, 10.0)], 10.0)
    cap = (1.0 - np.sin(np.pi / 4)) / (1.0 - np.sin(np.radians(10.0)))
    assert value == pytest.approx((181 * cap + 179) / 360, abs=1e-9)


def test_a_sloping_skyline_against_quadrature():
    slope = readings((0, 10.0), (180, 70.0))
    value, _ = visible_fraction(slope, None, 10.0)
    area, _ = integrate.quad(lambda az: 1.0 - np.sin(np.radians(10.0 + az / 3.0)), 0.0, 180.0)
    assert value == pytest.approx(area / 180.0 / (1.0 - np.sin(np.radians(10.0))), abs=1e-4)


def test_open_fraction_keeps_the_leading_shape():
    assert open_fraction(np.full((3, 2, 36), 30.0), 10.0).shape == (3, 2)


def test_few_readings_are_less_sure_than_many():
    few = visible_fraction(ring(30.0, 180), None, 10.0)[1]
    many = visible_fraction(ring(30.0, 15), None, 10.0)[1]
    assert few[1] - few[0] > 1.3 * (many[1] - many[0])


def test_the_same_job_gives_the_same_interval():
    first, second = (visible_fraction(ring(30.0), [obstacle(10, 40, 20, 15)], 10.0) for _ in range(2))
    assert first == second


def test_nothing_known_is_none():
    assert visible_fraction(None, None, 10.0) is None
    assert visible_fraction((), (), 10.0) is None
    assert skyline(None, None, 0.0) is None


# --- readings ----------------------------------------------------------------------------------------------------


def test_straight_lines_round_the_circle():
    edge = skyline(readings((350, 10.0), (10, 30.0), (200, 20.0)), None, [350, 355, 0, 5, 10, 105, 200, 275])
    assert edge.elevation_deg == pytest.approx([10, 15, 20, 25, 30, 25, 20, 15])
    assert edge.from_horizon.all()


def test_the_order_of_readings_and_full_turns_do_not_matter():
    azimuth = np.arange(0.0, 360.0, 7.0)
    one = skyline(readings((0, 5.0), (90, 25.0), (270, 40.0)), None, azimuth)
    other = skyline(readings((270, 40.0), (360, 5.0), (90, 25.0)), None, azimuth + 360.0)
    assert one.elevation_deg == pytest.approx(other.elevation_deg)
    assert one.sd_deg == pytest.approx(other.sd_deg)


def test_a_reading_taken_twice_counts_as_its_mean():
    assert skyline(readings((90, 10.0), (90, 20.0)), None, 90.0).elevation_deg[0] == pytest.approx(15.0)


def test_far_from_a_reading_the_edge_is_less_sure_and_not_measured():
    edge = skyline(readings((0, 20.0), (60, 20.0)), None, [0, 10, 30, 200])
    assert edge.sd_deg[0] == pytest.approx(np.hypot(1.5, 2.5))
    assert (np.diff(edge.sd_deg) > 0).all()
    assert edge.measured.tolist() == [True, True, False, False]


def test_drawn_skylines_have_the_stated_deviation():
    # The draws are made step by step, the deviation by formula: two ways to the same random walk.
    azimuth = np.arange(360.0)
    given_readings = readings((20, 20.0), (80, 35.0), (140.5, 30.0), (300, 15.0))
    edge = skyline(given_readings, None, azimuth)
    drawn = np.concatenate(
        [horizon._drawn_readings(given_readings, azimuth, np.random.default_rng(seed)) for seed in range(10)]
    )
    assert drawn.mean(axis=0) == pytest.approx(edge.elevation_deg, abs=1.2)
    assert drawn.std(axis=0) == pytest.approx(edge.sd_deg, rel=0.08)


# --- obstacles ---------------------------------------------------------------------------------------------------


def test_the_edge_of_an_obstacle_is_its_height_over_its_distance():
    edge = skyline(None, [obstacle(80, 100, 20.0, 20.0 * np.tan(np.radians(33.0)))], [79, 80, 90, 100, 101])
    assert edge.elevation_deg == pytest.approx([5, 33, 33, 33, 5])
    assert edge.measured.tolist() == [False, True, True, True, False]
    assert not edge.from_horizon.any()


def test_a_span_may_pass_through_north():
    edge = skyline(None, [obstacle(350, 20, 10.0, 10.0)], [340, 350, 0, 20, 30])
    assert edge.elevation_deg == pytest.approx([5, 45, 45, 45, 5])


def test_zero_to_360_is_the_whole_circle():
    assert skyline(None, [obstacle(0, 360, 10.0, 10.0)], np.arange(360.0)).measured.all()
    assert skyline(None, [obstacle(30, 30, 10.0, 10.0)], np.arange(360.0)).measured.sum() == 1


def test_the_highest_obstacle_counts_and_one_below_the_antenna_hides_nothing():
    edge = skyline(
        None, [obstacle(0, 90, 10, 10), obstacle(45, 60, 10, 20), obstacle(100, 120, 10, -3)], [50, 10, 110]
    )
    assert edge.elevation_deg == pytest.approx([np.degrees(np.arctan(2.0)), 45.0, -np.degrees(np.arctan(0.3))])


def test_readings_and_obstacles_together_give_the_higher_edge():
    edge = skyline(ring(20.0), [obstacle(80, 100, 10.0, 10.0), obstacle(170, 190, 10.0, 1.0)], [0, 90, 180])
    assert edge.elevation_deg == pytest.approx([20.0, 45.0, 20.0])
    assert edge.from_horizon.tolist() == [True, False, True]


def test_obstacle_deviation_follows_from_height_and_distance():
    edge = skyline(None, [obstacle(0, 360, 10.0, 10.0)], 0.0)
    ratio = np.random.default_rng(1).lognormal(0.0, horizon.OBSTACLE_RELATIVE_SD, 100_000)
    drawn = np.degrees(np.arctan(ratio)).std()
    assert edge.sd_deg[0] == pytest.approx(np.hypot(drawn, horizon.OBSTACLE_FLOOR_SD_DEG), rel=0.03)


# --- one direction -----------------------------------------------------------------------------------------------


def test_on_the_edge_it_is_even_and_far_from_it_nearly_sure():
    chance, low, high = p_clear(skyline(ring(30.0), None, [0, 0, 0]), [30.0, 60.0, 1.0])
    assert chance == pytest.approx([0.5, 0.98, 0.02], abs=0.001)
    # What no skyline says is not known to a per cent: beta(2, 98), 5 and 95 %.
    ends = stats.beta.ppf([0.05, 0.95], 2.0, 98.0)
    assert (1.0 - high[1], 1.0 - low[1]) == pytest.approx(ends, abs=2e-4)
    assert (low[2], high[2]) == pytest.approx(ends, abs=2e-4)
    drawn = horizon.drawn_chances(ring(30.0), None, np.zeros(2), np.array([60.0, 1.0]))
    assert drawn.mean(axis=0) == pytest.approx([0.98, 0.02], abs=0.003)
    assert drawn.std(axis=0) == pytest.approx([stats.beta.std(2.0, 98.0)] * 2, rel=0.15)
    assert (low <= chance).all()
    assert (chance <= high).all()


@pytest.mark.parametrize(("above", "sd"), [(0.0, 3.0), (3.0, 3.0), (8.0, 6.0), (-12.0, 9.0), (5.0, 0.1)])
def test_the_chance_against_numerical_integration(above, sd):
    def value(edge_deg):
        logistic = 1.0 / (1.0 + np.exp(-(above - edge_deg) / horizon.EDGE_SOFTNESS_DEG))
        chance = horizon.SURPRISE + (1.0 - 2.0 * horizon.SURPRISE) * logistic
        return chance * stats.norm.pdf(edge_deg, 0.0, sd)

    exact, _ = integrate.quad(value, -10.0 * sd, 10.0 * sd, limit=300, points=[0.0, above])
    assert p_clear(one_edge(0.0, sd), above)[0][0] == pytest.approx(exact, abs=0.015)


@given(st.floats(-10, 90), st.floats(-10, 90), st.floats(0.0, 30.0))
def test_higher_is_never_less_clear(lower, higher, sd):
    lower, higher = sorted((lower, higher))
    before, after = p_clear(one_edge(20.0, sd), lower), p_clear(one_edge(20.0, sd), higher)
    assert all(a[0] <= b[0] + 1e-12 for a, b in zip(before, after, strict=True))
    assert before[1][0] <= before[0][0] <= before[2][0]
