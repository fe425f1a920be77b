"""Rise, culmination and set: against closed forms, and against skyfield's own search for events."""

import numpy as np
import pytest
from skyfield.api import EarthSatellite, load, wgs84

from satdiag.sheet import Site
from satdiag.sky.constellation import Satellite
from satdiag.sky.elements import find_set, parse_elements
from satdiag.sky.orbits import Orbit
from satdiag.sky.passes import highest, passes, sample_instants
from tests.references import look_angles as reference
from tests.references.orbits import LOW_TLE

START = np.datetime64("2026-01-01T00:00", "us")
END = np.datetime64("2026-01-02T00:00", "us")
SITE = Site("s", 40.0, -100.0)
HALF_SECOND = 0.5


def _seconds(instants):
    return (np.asarray(instants) - START) / np.timedelta64(1, "us") / 1e6


def _wave(period_s, middle_deg=0.0, size_deg=30.0):
    """An elevation that goes up and down as a sine, highest a quarter of a period after the start."""
    return lambda instants: middle_deg + size_deg * np.sin(2.0 * np.pi * _seconds(instants) / period_s)


def test_a_sine_crosses_where_the_closed_form_says():
    found = passes(_wave(36000.0), START, START + np.timedelta64(60000, "s"), 15.0, 300.0)
    # 30 sin(x) = 15 at x = 30 and 150 degrees; the second pass is cut off at the end: 60 000 s is 240 degrees on.
    assert _seconds([found[0].rise, found[0].set_]) == pytest.approx([3000.0, 15000.0], abs=0.02)
    assert _seconds(found[0].culmination) == pytest.approx(9000.0, abs=1.0)
    assert found[0].culmination_elevation_deg == pytest.approx(30.0, abs=1e-6)
    assert _seconds([found[1].rise, found[1].set_]) == pytest.approx([39000.0, 51000.0], abs=0.02)
    assert len(found) == 2


def test_what_lies_outside_the_span_is_none():
    wave = _wave(36000.0)
    (cut,) = passes(wave, START + np.timedelta64(6000, "s"), START + np.timedelta64(8000, "s"), 15.0, 300.0)
    assert (cut.rise, cut.set_) == (None, None)
    assert _seconds(cut.culmination) == pytest.approx(8000.0)  # still climbing at the end
    assert passes(wave, START + np.timedelta64(19000, "s"), START + np.timedelta64(30000, "s"), 15.0, 300.0) == ()


def test_a_pass_and_a_dip_between_two_samples_are_found():
    # At 600 s a step the wave of 3000 s is above 29.9 deg for 78 s only, between two samples.
    brief = passes(_wave(3000.0), START, START + np.timedelta64(3000, "s"), 29.9, 600.0)
    assert len(brief) == 1
    half = np.arccos(29.9 / 30.0) * 3000.0 / (2.0 * np.pi)
    assert _seconds([brief[0].rise, brief[0].set_]) == pytest.approx([750.0 - half, 750.0 + half], abs=0.02)
    around = passes(_wave(3000.0), START, START + np.timedelta64(3000, "s"), -29.9, 600.0)
    assert _seconds([around[0].set_, around[1].rise]) == pytest.approx([2250.0 - half, 2250.0 + half], abs=0.02)


def test_a_satellite_that_stands_still_has_one_pass_without_ends():
    def still(instants):
        return np.full(len(instants), 38.0)

    (whole,) = passes(still, START, END, 10.0, 300.0)
    assert (whole.rise, whole.set_, whole.culmination_elevation_deg) == (None, None, 38.0)
    assert passes(still, START, END, 40.0, 300.0) == ()


def test_samples_hold_both_ends():
    samples = sample_instants(START, START + np.timedelta64(1000, "s"), 300.0)
    assert (samples[0], samples[-1], len(samples)) == (START, START + np.timedelta64(1000, "s"), 5)


def _orbit(text, title):
    return Orbit(Satellite(title), find_set(parse_elements(text, "elements.tle"), title, "elements.tle"))


@pytest.mark.parametrize(
    ("text", "title", "threshold_deg"),
    [(reference.TLE, "HIGH-A", 10.0), (reference.TLE, "HIGH-B", 60.0), (LOW_TLE, "LOW", 0.0), (LOW_TLE, "LOW", 10.0)],
)
def test_rise_and_set_against_skyfield(text, title, threshold_deg):
    lines = text.splitlines()
    at = lines.index(title)
    scale = load.timescale(builtin=True)
    satellite = EarthSatellite(lines[at + 1], lines[at + 2], title, scale)
    times, events = satellite.find_events(
        wgs84.latlon(40.0, -100.0, 0.0), scale.utc(2026, 1, 1), scale.utc(2026, 1, 2), altitude_degrees=threshold_deg
    )
    theirs = [np.datetime64(time.utc_strftime("%Y-%m-%dT%H:%M:%S.%f"), "us") for time in times]
    orbit = _orbit(text, title)
    found = passes(lambda instants: orbit.elevation_deg(SITE, instants), START, END, threshold_deg, orbit.step_s)
    rises = [one.rise for one in found if one.rise is not None]
    sets = [one.set_ for one in found if one.set_ is not None]
    assert len(rises) == np.count_nonzero(events == 0)
    assert len(sets) == np.count_nonzero(events == 2)
    assert len(rises) > 0
    for ours, event in ((rises, 0), (sets, 2)):
        wanted = [time for time, kind in zip(theirs, events, strict=True) if kind == event]
        assert _seconds(ours) == pytest.approx(_seconds(wanted), abs=HALF_SECOND)
    heights = orbit.elevation_deg(SITE, np.array([*rises, *sets]))
    assert heights == pytest.approx(threshold_deg, abs=0.001)


def test_the_highest_point_of_a_day_is_above_every_sample():
    orbit = _orbit(reference.TLE, "HIGH-A")
    when, top = highest(lambda instants: orbit.elevation_deg(SITE, instants), START, END, orbit.step_s)
    every = sample_instants(START, END, 5.0)
    heights = orbit.elevation_deg(SITE, every)
    assert top >= heights.max()
    assert top == pytest.approx(heights.max(), abs=1e-3)
    assert abs(_seconds(when) - _seconds(every[np.argmax(heights)])) <= 5.0
