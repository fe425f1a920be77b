"""From sweep to delay: the worked example, and each trap of the library's transform.

Lines are made with the same library (see lines.py): this proves what we do with its result, on our model of a line.
"""

import warnings

import numpy as np
import pytest
from scipy.signal import get_window

from satdiag.lead_keys import Feedline
from satdiag.wiring.feedline import examine, setup_of
from satdiag.wiring.feedline.band import GATE_DB, band_return_loss_db, end_return_loss_db
from satdiag.wiring.feedline.cable import CLASSES
from satdiag.wiring.feedline.kinds import rise_at
from satdiag.wiring.feedline.peaks import Peak
from satdiag.wiring.feedline.transform import (
    HANN_WIDTH,
    gated,
    is_harmonic,
    peak_delay_s,
    response,
    step_response,
)
from tests.references.rf_lines import LOAD_HEIGHTS, OPEN_AT_3_2, OPEN_HEIGHTS, RANGES, WINDOWS
from tests.wiring.lines import HARMONIC, LIGHT_M_PER_S, line_of, noisy, sweep_of, two_faults

METRES = 0.66 * LIGHT_M_PER_S / 2.0
"""Metres of distance in a second of delay, at a velocity factor of 0.66."""


@pytest.fixture(scope="module")
def open_end():
    media = line_of()
    return sweep_of(media.line(3.2, "m") ** media.open())


def top_of(found):
    """The highest bin."""
    return int(found.size.argmax())


def place_m(sweep, metres=METRES):
    found = response(sweep)
    return peak_delay_s(found, top_of(found)) * metres


@pytest.mark.parametrize(("length", "bin_m", "peak_m", "top_m"), OPEN_AT_3_2)
def test_the_worked_example(open_end, length, bin_m, peak_m, top_m):
    found = response(open_end, padded=length)
    assert found.bin_s * METRES == pytest.approx(bin_m, abs=5e-6)
    assert found.delay_s[top_of(found)] * METRES == pytest.approx(peak_m, abs=6e-5)
    assert peak_delay_s(found, top_of(found)) * METRES == pytest.approx(top_m, abs=6e-5)


@pytest.mark.parametrize("length", [401, 4096, 8192, 65536])
def test_a_whole_reflection_is_one_however_it_is_padded(open_end, length):
    # Trap: the library's values shrink with padding; ours do not.
    assert response(open_end, padded=length).size.max() == pytest.approx(1.0, abs=2e-3)


@pytest.mark.parametrize("window", WINDOWS, ids=str)
def test_windows_are_as_wide_and_as_clean_as_published(open_end, window):
    width_m, sidelobe_db = WINDOWS[window]
    found = response(open_end, window, padded=65536)
    share, metres = found.size / found.size.max(), found.delay_s * METRES
    assert np.ptp(metres[share >= 0.5]) == pytest.approx(width_m, abs=4e-4)
    beside = share[np.abs(metres - 3.2) > 0.16].max()
    assert 20 * np.log10(beside) == pytest.approx(sidelobe_db, abs=0.1)


@pytest.mark.parametrize("velocity", RANGES)
def test_range_and_resolution(open_end, velocity):
    range_m, half_m, width_m, hann_m = RANGES[velocity]
    found = response(open_end)
    metres = velocity * LIGHT_M_PER_S / 2.0
    assert found.range_s * metres == pytest.approx(range_m, abs=6e-4)
    assert found.range_s * metres / 2 == pytest.approx(half_m, abs=6e-4)
    assert found.width_s * metres == pytest.approx(width_m, abs=6e-5)
    assert HANN_WIDTH * found.width_s * metres == pytest.approx(hann_m, rel=0.02)  # published as about 1.98 widths


@pytest.mark.parametrize(("down_db", "worst_m"), [(20, 3e-3), (30, 1e-3), (40, 3e-4)])
def test_noise_moves_a_peak_by_less_than_the_velocity_factor_does(down_db, worst_m):
    # 1 % of the velocity factor is 32 mm here; at -20 dB the worst of 200 sweeps was 1.6 mm, in bins of 1.7 mm.
    media, rng = line_of("rg-174", 0), np.random.default_rng(7)
    network = media.line(3.2, "m") ** media.open()
    worst = max(abs(place_m(sweep_of(noisy(network, down_db, rng))) - 3.2) for _ in range(40))
    assert worst < worst_m


@pytest.mark.parametrize(("name", "fit", "velocity"), OPEN_HEIGHTS)
def test_height_of_an_open_end_through_each_cable(name, fit, velocity):
    media = line_of(name, fit, velocity)
    found = response(sweep_of(media.line(3.2, "m") ** media.open()))
    assert found.size.max() == pytest.approx(OPEN_HEIGHTS[name, fit, velocity], abs=2e-3)


@pytest.mark.parametrize("loss_db", LOAD_HEIGHTS)
def test_height_of_loads_through_the_first_rg_174(loss_db):
    media = line_of("rg-174", 0)
    found = response(sweep_of(media.line(3.2, "m") ** media.load(10 ** (-loss_db / 20))))
    assert found.size.max() == pytest.approx(LOAD_HEIGHTS[loss_db], abs=1e-3)


# --- the traps ---------------------------------------------------------------------------------------------------


def test_trap_the_farther_half_of_the_range_is_at_negative_times():
    # An open end at 8 m shows at -5.645 m on the library's own axis; ours reads 8.0 m.
    media = line_of()
    network = media.line(8, "m") ** media.open()
    axis, folded = network.impulse_response(window="hann", pad=8192 - 401, bandpass=True)
    assert axis[np.abs(folded).argmax()] * METRES == pytest.approx(-5.645, abs=2e-3)
    assert place_m(sweep_of(network)) == pytest.approx(8.0, abs=1e-3)


def test_trap_beyond_the_range_everything_folds_back_and_is_called_unknown():
    # 15.0 m reads 1.354 m = 15 - 13.646: nothing in the sweep tells, so the end must not be told either.
    media = line_of()
    sweep = sweep_of(media.line(15, "m") ** media.open())
    assert place_m(sweep) == pytest.approx(1.354, abs=2e-3)
    found = examine(sweep, setup_of(Feedline(velocity_factor=0.66, expected_length_m=15.0)))
    assert (found.end, found.end_m, found.fault_m) == ("unknown", None, None)
    assert "reaches 13.65 m" in found.verdict
    assert any("folds back" in text and "13.65 m nearer" in text for text in found.sentences)


def test_trap_a_known_value_at_zero_is_never_given_to_the_library():
    # On a grid that is not harmonic it fills the gap below 100 MHz with nonsense: 4.16 before the fault.
    media = line_of("rg-174", 1)
    network = media.line(3.2, "m") ** media.open()
    axis, level = network.extrapolate_to_dc(dc_sparam=[[1.0]]).step_response(window="hann", pad=3600)
    assert abs(np.interp(2.5, axis * METRES, level)) > 2.0
    sweep = sweep_of(network)
    assert not is_harmonic(sweep)
    assert step_response(sweep) is None


@pytest.mark.parametrize(("end", "sign"), [("open", 1.0), ("short", -1.0)])
def test_trap_the_sign_needs_a_harmonic_grid(end, sign):
    # 0.02 to 0.04 before and 0.96 to 0.98 behind, crossing the middle at 3.2015 m.
    media = line_of("rg-174", 1, grid=HARMONIC)
    sweep = sweep_of(media.line(3.2, "m") ** getattr(media, end)())
    assert is_harmonic(sweep)
    axis, level = step_response(sweep)
    before, behind = np.interp([2.5, 4.0], axis * METRES, level)
    assert abs(before) < 0.045
    assert sign * behind == pytest.approx(0.97, abs=0.015)
    assert axis[np.argmax(sign * level > 0.5)] * METRES == pytest.approx(3.2015, abs=3e-3)
    rise = rise_at((axis, level), response(sweep), 3.2 / METRES)
    assert sign * rise > 0.75


def test_trap_the_sign_in_the_farther_half_of_the_range():
    media = line_of("240-type", 0, grid=HARMONIC)
    sweep = sweep_of(media.line(9.0, "m") ** media.short())
    assert rise_at(step_response(sweep), response(sweep), 9.0 / METRES) < -0.5


def test_trap_the_library_is_not_let_choose_its_mode():
    # From 0 Hz on it would turn to the other transform by itself, with half the window and another scale.
    import skrf

    grid = skrf.Frequency(0.0, 3.0, 401, "GHz")
    media = line_of(grid=grid)
    assert response(sweep_of(media.line(3.2, "m") ** media.open())).size.max() == pytest.approx(1.0, abs=2e-3)


def test_trap_nothing_is_interpolated_between_points():
    # Between points the phase turns 84 degrees: interpolated S11 reads 12.68 dB where 12.15 dB is right.
    media = line_of("rg-174", 0)
    network = media.line(3.2, "m") ** media.open()
    sweep = sweep_of(network)
    assert np.degrees(abs(np.diff(np.unwrap(np.angle(sweep.s))).mean())) == pytest.approx(84.4, abs=0.1)
    import skrf

    at = network.interpolate(skrf.Frequency(2.3325, 2.3325, 1, "GHz"))
    assert -20 * np.log10(abs(at.s[0, 0, 0])) == pytest.approx(12.68, abs=0.02)
    assert band_return_loss_db(sweep, (2332.0, 2333.0)) == pytest.approx(12.148, abs=2e-3)
    assert band_return_loss_db(sweep, (2320.0, 2345.0)) == pytest.approx(12.15, abs=0.05)
    assert band_return_loss_db(sweep, (5800.0, 5900.0)) is None


def test_trap_a_gate_is_good_to_half_a_decibel():
    # The 0.25 pF joint at 1.0 m in front of a 20 dB load: 24.59 dB by the formula of a shunt capacitor.
    media = line_of("rg-174", 0)
    network = media.line(1, "m") ** media.shunt_capacitor(0.25e-12) ** media.line(2.2, "m") ** media.load(0.1)
    sweep = sweep_of(network)
    near = int(np.abs(sweep.frequency_hz - 2332.5e6).argmin())
    by_gate = -20 * np.log10(abs(gated(sweep, 0.0, 2.1 / METRES, 1e-9)[near]))
    assert by_gate == pytest.approx(24.59, abs=GATE_DB)


def test_a_gate_in_front_of_the_end_leaves_what_rings_behind_it():
    # 20 dB at 3.2 m behind the joint; what the joint takes there and back is 20 log10(1 - |G|^2), under 0.1 dB.
    media = line_of("rg-174", 0)
    network = media.line(1, "m") ** media.shunt_capacitor(0.25e-12) ** media.line(2.2, "m") ** media.load(0.1)
    sweep = sweep_of(network)
    joint, end = Peak(1.0 / METRES, 0.04), Peak(3.2 / METRES, 0.03)
    found = end_return_loss_db(sweep, response(sweep), (2320.0, 2345.0), end, [joint])
    assert found.value_db == pytest.approx(20.0 + 2 * 3.2 * CLASSES["rg-174"].fits[0].db_per_m(2332.5), abs=0.5)
    assert GATE_DB <= found.doubt_db < 1.0


def test_trap_a_gate_beyond_half_the_range():
    media = line_of("240-type", 0)
    sweep = sweep_of(media.line(9.0, "m") ** media.load(0.3))
    for joints in ([], [Peak(5.0 / METRES, 0.2)]):  # with a joint, though there is none, a gate is used
        found = end_return_loss_db(sweep, response(sweep), (2320.0, 2345.0), Peak(9.0 / METRES, 0.2), joints)
        assert found.value_db == pytest.approx(20 * np.log10(1 / 0.3) + 2 * 9 * 0.414, abs=0.55)


def test_trap_no_step_response_where_the_library_would_warn():
    media = line_of("rg-174", 1)
    sweep = sweep_of(media.line(3.2, "m") ** media.open())
    with pytest.warns(RuntimeWarning, match="doesn't begin from 0"):
        sweep.network.step_response(window="hann")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = examine(sweep, setup_of(Feedline(velocity_factor=0.66, cable="rg-174")))
    assert {one.kind for one in found.reflections if one.gamma > 0.1} == {"unknown"}


# --- cross-checks ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("length_m", [0.4, 3.2, 8.0, 12.5])
def test_the_slope_of_the_phase_agrees(length_m):
    media = line_of()
    sweep = sweep_of(media.line(length_m, "m") ** media.open())
    phase = np.unwrap(np.angle(sweep.s))
    slope_s = -np.polyfit(sweep.frequency_hz, phase, 1)[0] / (2.0 * np.pi)
    assert slope_s % (1.0 / sweep.step_hz) * METRES == pytest.approx(length_m, abs=1e-6)
    assert place_m(sweep) == pytest.approx(length_m, abs=1e-4)


def test_a_wrong_velocity_factor_scales_every_distance():
    # 3.2 m at 0.66 read with 0.70 is 3.394 m, with 0.83 it is 4.024 m.
    media = line_of()
    sweep = sweep_of(media.line(3.2, "m") ** media.open())
    for assumed, read in ((0.70, 3.394), (0.83, 4.024)):
        found = examine(sweep, setup_of(Feedline(velocity_factor=assumed)))
        strongest = max(found.reflections, key=lambda one: one.gamma)
        assert strongest.distance_m == pytest.approx(read, abs=6e-4)


@pytest.mark.parametrize(
    ("first_hz", "step_hz", "points", "range_m", "width_m"),
    [
        (100e6, 3.30e6, 301, 30.0, 0.0999),  # 30 m need steps of 3.30 MHz; 0.10 m (bare) needs a span of 0.99 GHz
        (2320e6, 0.25e6, 101, 395.7, 3.96),  # the band of the service alone resolves 3.96 m (bare)
        (50e6, 2.125e6, 401, 46.6, 0.116),  # an analyser of 0.05 to 0.9 GHz
    ],
)
def test_planning_figures(first_hz, step_hz, points, range_m, width_m):
    import skrf

    grid = skrf.Frequency(first_hz, first_hz + step_hz * (points - 1), points, "Hz")
    found = response(sweep_of(line_of(grid=grid).load(0.5)))
    assert found.range_s * METRES == pytest.approx(range_m, rel=1e-3)
    assert found.width_s * METRES == pytest.approx(width_m, rel=5e-3)


def test_the_window_has_the_weights_that_scale_it(open_end):
    assert response(open_end).weights == pytest.approx(get_window("hann", 401))


def test_two_faults_are_where_they_were_put():
    found = response(sweep_of(two_faults()))
    metres = found.delay_s * METRES
    for place, height in ((1.0, 0.048), (3.2, 0.500), (5.4, 0.018)):
        assert found.size[np.abs(metres - place) < 0.03].max() == pytest.approx(height, abs=2e-3)
