"""The recursion in odds beside the one in tables, which is held to published examples and a library elsewhere."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from satdiag.signal import odds
from satdiag.signal.markov import smooth
from satdiag.signal.readings import UNKNOWN, BandNoise, ChainReadings, ChainSteps, LevelNoise
from satdiag.signal.segments import BLOCKED, segment
from satdiag.signal.training import first_bands, first_rates
from satdiag.signal.two_way import smoothed, told_apart

RATES = np.array([[-0.1, 0.06, 0.04], [0.05, -0.09, 0.04], [0.005, 0.015, -0.02]])
WAITS = {"even": [1.0], "uneven": [1.0, 7.0, 0.3, 90.0, 1.0, 1.0], "gaps": [1.0] * 30 + [4000.0]}


def made(seed, count, waits_s=(1.0,), blocked=0.2, bands=False):
    """A log of runs: levels on a grid (or bands), blocked ones in between."""
    random = np.random.default_rng(seed)
    state = np.repeat(random.choice(3, count, p=[blocked, 0.3, 0.7 - blocked]), random.integers(1, 12, count))[:count]
    value = np.array([np.nan, 4.0, 12.0])[state] + np.round(2.0 * random.standard_normal(count), 1)
    if bands:
        value = np.clip(np.floor(np.where(np.isnan(value), np.nan, value) / 4.0), 0.0, 3.0)
    wait_s = np.concatenate([[np.inf], np.resize(waits_s, count - 1)])
    return ChainReadings(wait_s, value, np.where(state == BLOCKED, BLOCKED, UNKNOWN).astype(np.int8))


def levels(tau_s, sd=(1.5, 1.5, 1.5)):
    return LevelNoise(np.array([np.nan, 4.0, 12.0]), np.array(sd), tau_s)


def same(steps):
    """Both ways give the same: probabilities to single precision, the likelihood to rounding."""
    assert told_apart(steps.readings)
    ours, wanted = smoothed(steps), smooth(steps)
    assert np.abs(ours.probability - wanted.probability).max() < 2e-7
    sure = np.abs(wanted.probability[:, 1] - wanted.probability[:, 2]) > 1e-6
    assert (ours.state == wanted.state)[sure].all()
    assert ours.log_likelihood == pytest.approx(wanted.log_likelihood, rel=1e-11, abs=1e-9)


@pytest.mark.parametrize("count", [1, 2, 3, 10, 79, 80, 81, 500, 5000])
@pytest.mark.parametrize("waits", WAITS)
def test_levels(count, waits):
    same(ChainSteps(made(count, count, WAITS[waits]), RATES, levels(3.0)))


@pytest.mark.parametrize("noise", [levels(0.0), levels(25.0), levels(3.0, (1.5, 2.5, 0.8)), levels(2.0, (0.3,) * 3)])
@pytest.mark.parametrize("blocked", [0.0, 0.05, 0.6])
def test_any_noise_and_share_of_blocked_readings(noise, blocked):
    same(ChainSteps(made(3, 3000, blocked=blocked), RATES, noise))


@pytest.mark.parametrize("tau_s", [0.0, 4.0])
@pytest.mark.parametrize("waits", WAITS)
def test_bands(tau_s, waits):
    same(ChainSteps(made(4, 2000, WAITS[waits], bands=True), first_rates(), BandNoise(first_bands().chance, tau_s)))


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.one_of(st.none(), st.integers(-40, 60)), st.floats(0.01, 1e5)), min_size=1, max_size=60))
def test_whatever_is_read(rows):
    value = np.array([np.nan if level is None else level / 2.0 for level, _ in rows])
    wait_s = np.array([np.inf, *(wait_s for _, wait_s in rows[1:])])
    known = np.where(np.isnan(value), BLOCKED, UNKNOWN).astype(np.int8)
    same(ChainSteps(ChainReadings(wait_s, value, known), RATES, levels(3.0)))


@pytest.mark.parametrize("slab", [97, 1000])
def test_a_log_in_slabs_is_the_log_in_one(monkeypatch, slab):
    steps = ChainSteps(made(5, 7000), RATES, levels(3.0))
    wanted = smooth(steps)
    monkeypatch.setattr(odds, "SLAB", slab)
    monkeypatch.setattr(odds, "_LEAD", 1)  # far too short a lead-in: the slabs have to be mended
    found = smoothed(steps)
    assert np.abs(found.probability - wanted.probability).max() < 2e-7
    assert found.log_likelihood == pytest.approx(wanted.log_likelihood, rel=1e-11)


def test_readings_are_left_as_they_are():
    readings = made(6, 30)
    before = readings.value.copy()
    smoothed(ChainSteps(readings, RATES, levels(3.0)))
    assert np.array_equal(readings.value, before, equal_nan=True)


def test_a_log_that_is_not_told_apart_goes_the_long_way():
    readings = made(7, 200)
    readings.value[50] = np.nan
    readings.known[50] = UNKNOWN
    steps = ChainSteps(readings, RATES, levels(3.0))
    assert not told_apart(readings)
    assert np.array_equal(smoothed(steps).probability, smooth(steps).probability)


# --- what must not matter ----------------------------------------------------------------------------------------


def log_of(seed, unit, count=600):
    readings = made(seed, count)
    top = {"dB": None, "percent": 100.0, "bars/3": 3.0, "bars/5": 5.0, "bars/10": 10.0}[unit]
    level = readings.value if top is None else np.clip(np.round(readings.value / 13.0 * top), 1.0, top)
    return np.cumsum(np.append(0.0, readings.wait_s[1:])), level, readings.known == BLOCKED


@pytest.mark.parametrize("unit", ["dB", "percent", "bars/3", "bars/5", "bars/10"])
@settings(max_examples=8, deadline=None)
@given(st.integers(0, 1000), st.sampled_from([-4.0, 0.25, 3600.0, 1e6]))
def test_when_a_log_began_does_not_matter(unit, seed, later_s):
    t_s, level, blocked = log_of(seed, unit)
    one, other = (segment(at, level, blocked, unit, np.ones(len(level))) for at in (t_s, t_s + later_s))
    assert (one.state == other.state).all()


@settings(max_examples=8, deadline=None)
@given(st.integers(0, 1000), st.sampled_from([-64.0, 0.5, 32.0]))
def test_decibels_have_no_zero(seed, shift_db):
    t_s, level, blocked = log_of(seed, "dB")
    level = np.round(8.0 * level) / 8.0  # eighths stay exact when shifted: a tie at the edge of a step stays one
    one, other = (segment(t_s, part, blocked, "dB", np.ones(len(level))) for part in (level, level + shift_db))
    assert (one.state == other.state).all()
    assert other.clear_level == pytest.approx(one.clear_level + shift_db)


@pytest.mark.parametrize("steps", [3, 5, 10])
def test_bars_of_any_number_of_steps(steps):
    """Half of the scale lost for a minute is a shadow, one bar of ten or a reading that flickers is none."""
    level = np.full(600, float(steps))
    level[200:260] = np.ceil(steps / 2) - 1.0 if steps > 3 else 1.0
    level[400:410] = 0.0
    blocked = level == 0.0
    if steps == 10:
        level[500:560] = 9.0
    found = segment(np.arange(600.0), np.where(blocked, np.nan, level), blocked, f"bars/{steps}", np.ones(600))
    wanted = np.full(600, 2)
    wanted[200:260], wanted[400:410] = 1, 0
    assert (found.state == wanted).all()


@pytest.mark.long
def test_ten_million_readings():
    """States as drawn in 0.99 of all readings (own model)."""
    count, random = 10_000_000, np.random.default_rng(1)
    shadow = np.repeat(np.arange(count // 40) % 5 == 4, 40)
    level = np.round(12.0 - 10.0 * shadow + random.standard_normal(count), 1)
    blocked = np.zeros(count, dtype=bool)
    blocked[::1000] = True
    level[blocked] = np.nan
    found = segment(np.arange(float(count)), level, blocked, "dB", np.ones(count))
    assert (found.state[blocked] == BLOCKED).all()
    assert np.mean((found.state == 1)[~blocked] == shadow[~blocked]) > 0.99
