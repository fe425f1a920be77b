"""What turns with the vehicle and what differs from path to path: jobs with an answer by construction."""

import numpy as np
import pytest
from scipy.integrate import quad

from satdiag.signal.estimate import estimate_signal
from satdiag.signal.headings import turned
from satdiag.signal.pieces import Pieces
from satdiag.signal.states import Read, path_states
from satdiag.signal.turn_models import gain_log
from tests.helpers import make_job

FLOOR = "[receiver]\nlevel_floor = 0.0\nlevel_scale = 'dB'\n"


def clock(t_s):
    return f"{int(t_s) // 3600}:{int(t_s) // 60 % 60:02d}:{int(t_s) % 60:02d}"


def levels(start_s, values, path="satellite:east", unit="dB"):
    return [f"{clock(start_s + number)} signal {path} {value:.1f} {unit}" for number, value in enumerate(values)]


def noisy(seed, mean, count=60, spread=0.5):
    return mean + spread * np.random.default_rng(seed).standard_normal(count)


def turning_table(level_of, headings, seed=5):
    """A job as in `turning`, with the states of its paths: (job, states)."""
    rows = []
    for number, heading in enumerate(headings):
        rows.append(f"{clock(60 * number)} heading vehicle {heading} deg")
        for order, path in enumerate(AZIMUTHS):
            level = np.maximum(noisy([seed, number, order], level_of(path, heading), 20), 0.1)
            rows += levels(60 * number + 1, level, f"satellite:{path}")
    job = make_job("\n".join(rows), FLOOR)
    states = {}
    for order, path in enumerate(AZIMUTHS):
        start = np.concatenate([60.0 * number + 1.0 + np.arange(20) for number in range(len(headings))])
        level = np.concatenate(
            [noisy([seed, number, order], level_of(path, heading), 20) for number, heading in enumerate(headings)]
        )
        pieces = Pieces(start, start + 1.0, np.ones(len(start), dtype=bool), level)
        states[path] = path_states([Read(pieces, "dB")])
    return job, states


def weighed(made, azimuths):
    """What `turned` finds with these directions known."""
    return turned(*made, azimuths)


def turning(level_of, headings, paths=("east", "west"), seed=5, before=None):
    """One minute at each heading; `level_of(path, heading)` in dB; `before`: ten minutes at this level elsewhere."""
    rows = []
    if before is not None:
        for order, path in enumerate(paths):
            rows += levels(1, noisy([seed, 77, order], before, 300), f"satellite:{path}")
        rows.append(f"{clock(9 * 60)} place vehicle street")
        return _turned_job(rows, level_of, headings, paths, seed, 600)
    return _turned_job(rows, level_of, headings, paths, seed, 0)


def _turned_job(rows, level_of, headings, paths, seed, first_s):
    for number, heading in enumerate(headings):
        rows.append(f"{clock(first_s + 60 * number)} heading vehicle {heading} deg")
        for order, path in enumerate(paths):
            level = np.maximum(noisy([seed, number, order], level_of(path, heading), 50), 0.1)
            rows += levels(first_s + 60 * number + 1, level, f"satellite:{path}")
    return estimate_signal(make_job("\n".join(rows), FLOOR))


EIGHT = range(0, 360, 45)


def test_what_turns_with_the_vehicle():
    found = turning(lambda path, heading: 12.0 - 4.0 * np.cos(np.radians(heading - 100.0)), EIGHT)
    assert found.turns_with == "vehicle"
    assert found.turns_vehicle_db_90[0] >= 10.0
    assert found.turns_vehicle_db_90[0] <= found.turns_vehicle_db <= found.turns_vehicle_db_90[1]
    assert found.turns_headings == 8


def test_what_stands_on_the_ground():
    found = turning(lambda path, heading: 12.0 if path == "east" else 5.0, EIGHT)
    assert (found.turns_with, found.turns_both) == ("site", False)
    assert found.turns_site_db > 10.0
    assert found.turns_vehicle_db_90[0] < 10.0


def test_nothing_to_tell_is_not_told():
    found = turning(lambda path, heading: 12.0, EIGHT)
    assert found.turns_with is None
    assert found.turns_vehicle_db is not None


@pytest.mark.parametrize("other", [15.5, 15.0, 12.0])
def test_satellites_of_different_power_make_no_site(other):
    found = turning(lambda path, heading: 16.0 if path == "east" else other, EIGHT)
    assert (found.turns_with, found.turns_both) == (None, False)


@pytest.mark.parametrize("paths", [("east",), ("east", "west")])
def test_what_is_weak_alike_at_every_heading_has_no_side(paths):
    """A weak antenna, a lossy lead: nothing of it is seen by turning, whatever the level was elsewhere."""
    found = turning(lambda path, heading: 8.0, EIGHT, paths, before=16.0)
    assert found.turns_with is None


def test_three_decibels_count_where_the_clear_level_is_known_from_elsewhere():
    def level(path, heading):
        return 16.0 if path == "east" else 11.5

    assert turning(level, EIGHT, before=16.0).turns_with == "site"
    assert turning(level, EIGHT).turns_with is None


AZIMUTHS = {"east": 150.0, "west": 222.0}


def seen_from_nose(path, heading):
    return (AZIMUTHS[path] - heading + 180.0) % 360.0 - 180.0


@pytest.mark.parametrize(("known", "step_deg"), [(True, 45), (True, 30), (False, 30)])
def test_a_box_on_the_roof_that_hides_a_sector(known, step_deg):
    """Where the directions of the satellites are not known, eight headings are too few for a sector of 80 degrees."""

    def level(path, heading):
        return 6.0 if abs(abs(seen_from_nose(path, heading)) - 180.0) < 40.0 else 16.0

    made = turning_table(level, range(0, 360, step_deg))
    told = weighed(made, AZIMUTHS if known else {})
    assert told.by_vehicle
    assert not told.by_site
    assert told.vehicle_takes_db == pytest.approx(10.0, abs=0.5)


def test_a_wall_and_a_pattern_at_once_are_both_told():
    def level(path, heading):
        return (6.0 if path == "east" else 16.0) + 3.0 * np.cos(np.radians(seen_from_nose(path, heading)))

    found = turning(level, EIGHT)
    assert (found.turns_with, found.turns_both) == ("vehicle", True)
    told = weighed(turning_table(level, EIGHT), AZIMUTHS)
    assert told.by_vehicle
    assert told.by_site


@pytest.mark.parametrize("known", [True, False])
def test_one_weak_heading_of_one_path_is_no_pattern(known):
    """A lorry that passed by: nothing else speaks for the vehicle."""
    made = turning_table(lambda path, heading: 6.0 if (path, heading) == ("east", 90) else 16.0, EIGHT)
    assert not weighed(made, AZIMUTHS if known else {}).by_vehicle


def test_small_differences_from_heading_to_heading_are_no_pattern():
    """Healthy: 0.7 dB at random from one heading to the next; named in not one of twelve."""
    for seed in range(12):
        random = np.random.default_rng([31, seed])
        values = {(path, heading): 16.0 + 0.7 * random.standard_normal() for path in AZIMUTHS for heading in EIGHT}
        told = weighed(turning_table(lambda path, heading, of=values: of[path, heading], EIGHT, seed), AZIMUTHS)
        assert not told.by_vehicle
        assert not told.by_site


def test_the_weight_of_a_pattern_against_numerical_integration():
    """The factor of one column beside a constant: the g-prior's integral over the variance and the coefficient, by
    scipy.integrate in place of the closed form (Liang and others 2008, equation 6)."""
    value = np.array([1.0, 0.2, -0.4, 0.9, -1.1, 0.3])
    column = np.array([1.0, 0.0, -1.0, 1.0, -1.0, 0.0])
    count, centred = len(value), value - value.mean()
    size = float(column @ column)

    def given(sd, g):
        def inner(slope):
            left = centred - slope * column
            prior = np.exp(-0.5 * size * slope**2 / (g * sd**2)) / np.sqrt(2.0 * np.pi * g * sd**2 / size)
            return np.exp(-0.5 * left @ left / sd**2) * prior

        return quad(inner, -4.0, 4.0, limit=200)[0] * sd ** (1 - count) / sd

    alone = quad(lambda sd: np.exp(-0.5 * centred @ centred / sd**2) * sd ** (1 - count) / sd, 0.05, 30.0)[0]
    with_column = quad(given, 0.05, 30.0, args=(float(count),), limit=200)[0]
    found = gain_log(np.ones((count, 1)), column[:, None], value[None])[0]
    assert found == pytest.approx(np.log(with_column / alone), abs=0.01)


def test_fewer_than_four_headings_are_none():
    for headings in ((0, 120, 240), (0, 5, 10, 15, 120, 240)):
        found = turning(lambda path, heading: 12.0 - 4.0 * np.cos(np.radians(heading)), headings)
        assert (found.turns_with, found.turns_vehicle_db, found.turns_headings) == (None, None, None)
        assert any("fewer than 4 headings" in text for text in found.could_not)
    assert not any("headings" in text for text in turning(lambda path, heading: 12.0, (90,)).could_not)


def test_a_move_ends_the_spot():
    rows = []
    for number, heading in enumerate((0, 90, 180, 270)):
        rows.append(f"{clock(60 * number)} heading vehicle {heading} deg")
        rows += levels(60 * number + 1, noisy(number, 12.0, 50))
    rows.append(f"{clock(115)} place vehicle street")
    assert estimate_signal(make_job("\n".join(rows), FLOOR)).turns_vehicle_db is None
