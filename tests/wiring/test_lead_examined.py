"""What a sweep says of a lead: ends, faults, ghosts, loss, smears, chances; and of a job that keeps a sweep.

The lines are made with our own model (lines.py): coverage here is that of the model, not of real leads.
"""

import dataclasses
import importlib.util
import itertools
import json

import numpy as np
import pytest

from satdiag.errors import BadInput, MissingPart
from satdiag.findings import plain_values
from satdiag.lead_keys import Feedline
from satdiag.sheet import parse_sheet
from satdiag.wiring.feedline import examine, feedline_findings, read_sweep, setup_of
from satdiag.wiring.feedline import sweep as sweep_room
from satdiag.wiring.feedline.cable import ANY_VELOCITY, CLASSES
from tests.helpers import make_job
from tests.references.rf_lines import GHOST, TWO_FAULTS
from tests.wiring.lines import HARMONIC, USUAL, line_of, noisy, sweep_of, text_of, two_faults, wet

LEAD = Feedline(velocity_factor=0.66, cable="rg-174")


def examined(network, **known):
    """The findings with a velocity factor of 0.66 and RG-174, and whatever else is known."""
    return examine(sweep_of(network), setup_of(dataclasses.replace(LEAD, **known)))


def real(found):
    return [one for one in found.reflections if one.kind not in ("ghost", "sidelobe")]


# --- places ------------------------------------------------------------------------------------------------------


def test_two_faults_and_their_echo():
    found = examined(noisy(two_faults(), 50, np.random.default_rng(2)), expected_length_m=3.2)
    assert [one.distance_m for one in real(found)] == pytest.approx([place for place, _ in TWO_FAULTS], abs=3e-3)
    assert [one.gamma for one in real(found)] == pytest.approx([height for _, height in TWO_FAULTS], abs=2e-3)
    (ghost,) = [one for one in found.reflections if one.kind == "ghost"]
    assert ghost.distance_m == pytest.approx(GHOST[0], abs=0.01)
    assert ghost.gamma == pytest.approx(GHOST[1], abs=2e-3)
    parents = [found.reflections[number - 1].distance_m for number in ghost.of]
    assert parents == pytest.approx([1.0, 3.2], abs=3e-3)


def test_the_skirts_of_the_window_are_named_as_such():
    # The first sidelobe of the Hann window stands 30 dB down at 3.12 m.
    found = examined(two_faults())
    skirt = min(found.reflections, key=lambda one: abs(one.distance_m - 3.12))
    assert skirt.kind == "sidelobe"
    assert skirt.gamma == pytest.approx(0.015, abs=2e-3)
    assert found.reflections[skirt.of[0] - 1].distance_m == pytest.approx(3.2, abs=3e-3)


def test_a_real_reflection_at_the_place_of_an_echo_is_kept():
    media = line_of("rg-174", 1)
    joint = media.shunt_capacitor(0.25e-12)
    far = media.line(1.0, "m") ** joint ** media.line(2.0, "m") ** joint ** media.line(2.0, "m") ** media.load(0.8)
    found = examined(far)  # an echo of 1 m and 3 m would stand at 5 m too, and far lower
    assert [one.distance_m for one in real(found)] == pytest.approx([1.0, 3.0, 5.0], abs=5e-3)


def test_a_reference_plane_shifts_every_distance():
    found = examined(two_faults(), reference_plane_m=0.5, expected_length_m=2.7)
    assert [one.distance_m for one in real(found)] == pytest.approx([0.5, 2.7], abs=3e-3)
    assert found.end == "at"
    assert real(found)[1].gamma_corrected == pytest.approx(1.0, abs=0.01)  # the loss counts from the plane


def test_the_loss_is_taken_off():
    for fit, (name, gamma) in itertools.product(range(3), [("rg-174", 0.1), ("rg-174", 0.3)]):
        media = line_of(name, fit)
        (one,) = real(examined(media.line(3.2, "m") ** media.load(gamma), cable=name))
        low, high = one.gamma_corrected_90
        assert low <= gamma * 1.001
        assert high >= gamma * 0.999
    assert one.return_loss_corrected_db < one.return_loss_db


# --- ends --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("length_m", "end", "state"),
    [(3.2, 1.0, "before"), (4.6, 1.0, "at"), (4.6, 0.18, "at"), (6.0, 1.0, "beyond"), (4.6, 0.0, "none")],
)
def test_ends_against_the_expected_length(length_m, end, state):
    media = line_of("rg-174", 2)
    found = examined(
        noisy(media.line(length_m, "m") ** media.load(end), 50, np.random.default_rng(1)), expected_length_m=4.6
    )
    assert found.end == state
    assert found.fault_m == (pytest.approx(length_m, abs=5e-3) if state == "before" else None)
    if state != "none":
        chances = {"before": found.p_before, "at": found.p_at, "beyond": found.p_beyond}
        assert chances[state] >= 0.9
        assert sum(chances.values()) == pytest.approx(1.0)
        assert found.end_m == pytest.approx(length_m, abs=5e-3)


def test_an_end_near_the_antenna_cannot_be_told_from_it():
    media = line_of("rg-174", 2)
    found = examined(media.line(4.4, "m") ** media.open(), expected_length_m=4.6)
    assert found.end == "unknown"
    assert found.fault_m is None
    assert 0.1 < found.p_before < 0.9
    assert found.verdict.startswith("Cannot tell")


def test_a_closer_velocity_factor_decides_it():
    media = line_of("rg-174", 2)
    network = media.line(4.35, "m") ** media.open()
    assert examined(network, expected_length_m=4.6).end == "unknown"
    assert examined(network, expected_length_m=4.6, velocity_factor_range=(0.658, 0.662)).end == "before"


def test_a_bad_joint_before_a_good_antenna_is_the_fault():
    media = line_of("rg-174", 2)
    bad = media.line(1.2, "m") ** media.shunt_capacitor(1.5e-12) ** media.line(3.4, "m") ** media.load(0.2)
    found = examined(noisy(bad, 50, np.random.default_rng(3)), expected_length_m=4.6, joints_m=(1.2,))
    assert found.end == "at"
    assert found.fault_m == pytest.approx(1.2, abs=0.02)
    assert any("joint stated at 1.20 m" in text for text in found.sentences)


@pytest.mark.parametrize(("end", "kind"), [("open", "open"), ("short", "short")])
def test_open_and_short_are_told_where_the_grid_allows(end, kind):
    for grid, expected in ((HARMONIC, kind), (USUAL, "unknown")):
        media = line_of("rg-174", 1, grid=grid)
        found = examined(media.line(3.2, "m") ** getattr(media, end)())
        assert max(found.reflections, key=lambda one: one.gamma).kind == expected


def test_without_a_velocity_factor_there_are_delays_and_ranges():
    found = examine(sweep_of(two_faults()), setup_of(Feedline(expected_length_m=3.2)))
    assert found.velocity_factor is None
    assert found.velocity_factor_range == ANY_VELOCITY
    end = max(found.reflections, key=lambda one: one.gamma)
    assert end.distance_m is None
    assert end.gamma_corrected is None
    # 32.346 ns there and back for 3.2 m at 0.66; the same delay is 4.12 m at 0.85.
    assert end.delay_ns == pytest.approx(32.346, abs=0.02)
    assert end.distance_m_90 == pytest.approx((3.2, 3.2 * 0.85 / 0.66), abs=0.03)
    assert (found.fault_m, found.end_m) == (None, None)
    assert found.profile.distance_m is None
    assert any("0.66 to 0.85" in text for text in found.sentences)


def test_a_class_of_cable_says_the_velocity_factor():
    found = examine(sweep_of(two_faults()), setup_of(Feedline(cable="195-type")))
    assert (found.velocity_from, found.velocity_factor_range) == ("class", (0.76, 0.80))


# --- the band, the loss, water, noise ----------------------------------------------------------------------------


def test_a_lossy_cable_hides_an_open_end():
    # 5 m of the first RG-174: an open end shows 18.98 dB, VSWR 1.25; corrected it is about nought.
    media = line_of("rg-174", 0)
    found = examined(media.line(5, "m") ** media.open(), expected_length_m=5.0)
    assert found.band_return_loss_db == pytest.approx(18.98, abs=0.05)
    low, high = found.band_return_loss_corrected_db_90
    assert low == pytest.approx(0.0, abs=0.05)
    assert high == pytest.approx(18.98 - 2 * 5 * 1.198, abs=0.2)
    said = " ".join(found.sentences)
    assert "A lossy cable hides faults of the antenna: 5.00 m of rg-174 lose 8.0 dB one way" in said
    assert "(6.0 to 9.5)" in said


@pytest.mark.parametrize("loss_db", [10, 15, 20])
def test_return_loss_of_the_antenna_alone(loss_db):
    for fit in range(3):
        media = line_of("rg-174", fit)
        found = examined(media.line(3.2, "m") ** media.load(10 ** (-loss_db / 20)), expected_length_m=3.2)
        low, high = found.end_return_loss_db_90
        assert low <= loss_db <= high
        assert high - low < 6.0
        assert found.end == "at"


def test_smeared_reflections_are_possible_water():
    found = examined(noisy(wet(np.random.default_rng(5)), 50, np.random.default_rng(6)), expected_length_m=3.5)
    ((begin, end),) = found.smeared_m
    assert begin == pytest.approx(1.0, abs=0.3)
    assert end == pytest.approx(2.5, abs=0.3)
    assert any("possibly water" in text for text in found.sentences)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("down_db", [30, 50])
def test_dry_leads_with_joints_and_noise_are_not_wet(seed, down_db):
    rng = np.random.default_rng(seed)
    found = examined(noisy(two_faults(HARMONIC), down_db, rng), expected_length_m=3.2)
    assert found.smeared_m == ()


@pytest.mark.parametrize("down_db", [30, 40, 50])
def test_the_noise_floor_is_that_of_the_noise(down_db):
    # Noise of variance s^2 a point has variance s^2 sum(w^2) / sum(w)^2 behind a window: -10 log10(1.5 / 401) lower.
    media = line_of()
    found = examined(noisy(media.line(3, "m") ** media.load(0.0), down_db, np.random.default_rng(4)))
    rms_db = -down_db + 10 * np.log10(1.5 / 401)
    peak_factor_db = 10 * np.log10(np.log(400 / 0.01))
    assert found.noise_floor_db == pytest.approx(rms_db + peak_factor_db, abs=0.6)
    assert found.end != "at"


def test_noise_alone_rarely_makes_a_reflection():
    media, rng = line_of(), np.random.default_rng(11)
    quiet = media.line(3, "m") ** media.load(0.0)
    hits = sum(bool(real(examined(noisy(quiet, 40, rng)))) for _ in range(60))
    assert hits <= 4  # one in a hundred by design; more than four of sixty has a chance below 1 in 1000


def test_a_span_too_narrow_tells_nothing():
    # The band of the service alone: 25 MHz resolve 3.96 m (7.8 m behind a Hann window).
    import skrf

    media = line_of("rg-174", 1, grid=skrf.Frequency(2.32, 2.345, 101, "GHz"))
    found = examined(media.line(3.2, "m") ** media.open(), expected_length_m=3.2)
    assert found.end == "unknown"
    assert found.fault_m is None
    assert "resolves 7.8" in found.verdict
    assert found.band_return_loss_db == pytest.approx(2 * 3.2 * 1.198, abs=0.1)


def test_a_sweep_outside_the_band_says_so():
    import skrf

    media = line_of("rg-174", 1, grid=skrf.Frequency(0.05, 0.9, 401, "GHz"))
    found = examined(media.line(3.2, "m") ** media.open(), expected_length_m=3.2)
    assert found.end == "at"
    assert found.band_return_loss_db is None
    assert any("does not reach the band" in text for text in found.cautions)


def test_more_than_the_cable_lets_through_is_said():
    media = line_of("240-type", 0)
    found = examined(media.line(6, "m") ** media.open(), velocity_factor=0.66)
    assert any("more comes back than rg-174 lets through" in text for text in found.cautions)


def test_the_profile_keeps_every_peak_in_400_points():
    found = examined(two_faults())
    assert len(found.profile.delay_ns) <= 400
    assert max(found.profile.level_db) == pytest.approx(-6.02, abs=0.01)


HOSTILE = {
    "nothing": np.zeros(400),
    "everything": np.ones(400),
    "next to nothing": np.full(400, 1e-200),
    "far too much": np.full(400, 1e6),
    "noise": np.random.default_rng(8).standard_normal((400, 2)) @ (1, 1j),
    "one point": np.eye(1, 400, 5)[0],
}
LEADS = (
    Feedline(),
    Feedline(velocity_factor=0.66, cable="rg-174", expected_length_m=3.0),
    Feedline(cable="240-type", expected_length_m=1000.0, reference_plane_m=-900.0),
    Feedline(velocity_factor_range=(0.3, 1.0), expected_length_m=0.05, reference_plane_m=900.0),
)


@pytest.mark.parametrize("lead", LEADS)
@pytest.mark.parametrize("name", HOSTILE)
def test_whatever_was_swept_something_sound_is_said(name, lead):
    rows = zip(HARMONIC.f.tolist(), np.asarray(HOSTILE[name], dtype=complex).tolist(), strict=True)
    text = "# Hz S RI R 50\n" + "".join(f"{f!r} {s.real!r} {s.imag!r}\n" for f, s in rows)
    found = examine(read_sweep(text.encode(), "lead.s1p"), setup_of(lead))
    json.dumps(plain_values(found), allow_nan=False)
    assert found.verdict
    assert all(0.0 <= one.gamma_corrected_90[0] <= one.gamma_corrected_90[1] <= 1.0 for one in found.reflections)


@pytest.mark.parametrize("parameter", ["Z", "Y"])
def test_an_impedance_that_reflects_without_bound_is_refused(parameter):
    text = f"# MHz {parameter} RI R 50\n" + "".join(f"{step} -1 0\n" for step in range(1, 50))
    with pytest.raises(BadInput, match=f"no reflection follows from these {parameter} parameters"):
        read_sweep(text.encode(), "lead.s1p")


# --- coverage ----------------------------------------------------------------------------------------------------


def coverage(count, seed):
    """How often the 90 % range holds the true place: velocity factor, cable, place, plane and noise drawn."""
    rng = np.random.default_rng(seed)
    ends, held = (0.64, 0.69), 0
    loads = (1.0, -1.0, 10**-0.5, 10**-0.75, 0.1)
    for number in range(count):
        grid = (USUAL, HARMONIC)[number % 2]
        media = line_of("rg-174", int(rng.integers(3)), rng.uniform(*ends), grid)
        length_m, plane_m = rng.uniform(0.4, 6.0), rng.normal(0.0, 0.01)
        network = noisy(media.line(length_m + plane_m, "m") ** media.load(loads[number % 5]), 50, rng)
        found = examined(network, velocity_factor=0.665, velocity_factor_range=ends)
        low, high = max(real(found), key=lambda one: one.gamma).distance_m_90
        held += low <= length_m <= high
    return held / count


def test_ranges_hold_the_true_place_nine_times_in_ten():
    assert coverage(100, 21) == pytest.approx(0.9, abs=0.09)  # three standard deviations of 100 draws


@pytest.mark.long
def test_ranges_hold_the_true_place_nine_times_in_ten_closely():
    assert coverage(3000, 22) == pytest.approx(0.9, abs=0.017)


# --- jobs --------------------------------------------------------------------------------------------------------


def job_with(data, sheet=""):
    return make_job("", sheet, documents={"feedline.s1p": data})


def test_a_job_with_a_sweep():
    sheet = '[feedline]\nvelocity_factor = 0.66\ncable = "rg-174"\nexpected_length_m = 5.0\n'
    found, could_not = feedline_findings(job_with(text_of(two_faults()), sheet))
    assert found.end == "before"
    assert found.fault_m == pytest.approx(3.2, abs=5e-3)
    assert could_not == ()
    assert found.band_mhz == (2320.0, 2345.0)


def test_a_job_without_a_sweep():
    assert feedline_findings(make_job("")) == (None, ())


def test_a_malformed_sweep_is_refused_when_the_job_is_read():
    with pytest.raises(BadInput) as caught:
        job_with(b"# MHz S RI R 50\n1 0 0\n1 0 0\n")
    (problem,) = caught.value.problems
    assert (problem.file, problem.line) == ("feedline.s1p", 3)


def test_a_sweep_that_gives_no_distances():
    found, could_not = feedline_findings(job_with(b"# MHz S RI R 50\n2330 0.1 0\n2340 0.1 0\n"))
    assert found.end == "unknown"
    assert found.band_return_loss_db == pytest.approx(20.0)
    assert could_not == ("feedline.s1p: the sweep has 2 points; distances need 32 or more",)


@pytest.fixture
def _without_the_library(monkeypatch):
    usual = importlib.util.find_spec
    monkeypatch.setattr(
        sweep_room.importlib.util, "find_spec", lambda name, *more: None if name == "skrf" else usual(name, *more)
    )


@pytest.mark.usefixtures("_without_the_library")
def test_without_the_library_the_job_says_so():
    found, could_not = feedline_findings(job_with(text_of(two_faults())))
    assert found is None
    assert could_not == ('feedline.s1p was not read: it needs scikit-rf (pip install "satdiag[rf]")',)
    with pytest.raises(MissingPart, match=r"satdiag\[rf\]"):
        read_sweep(text_of(two_faults()), "lead.s1p")


def test_every_class_of_cable_can_be_examined():
    for name in CLASSES:
        media = line_of(name, 0, CLASSES[name].velocity[1])
        found = examine(
            sweep_of(media.line(4.0, "m") ** media.open()), setup_of(Feedline(cable=name, expected_length_m=4.0))
        )
        assert found.end == "at"


@pytest.mark.parametrize(
    ("table", "line", "words"),
    [
        ("velocity_factor = 66", 5, "is outside 0.3 .. 1"),
        ("velocity_factor_range = [0.7, 0.6]", 5, "does not rise"),
        ("velocity_factor_range = 0.66", 5, "is not a pair of velocity factors"),
        ("velocity_factor = 0.8\nvelocity_factor_range = [0.6, 0.7]", 5, "outside velocity_factor_range"),
        ('cable = "rg-9"', 5, "is not one of rg-174"),
        ("expected_length_m = 0", 5, "is outside 0.05 .. 1000"),
        ("joints_m = [1.0, -2.0]", 5, "is not a list of at most 20 distances"),
        ("colour = 1", 5, "unknown key 'colour' in [feedline]"),
    ],
)
def test_a_wrong_key_of_the_sheet(table, line, words):
    with pytest.raises(BadInput) as caught:
        parse_sheet(f'[job]\nid = "demo"\n\n[feedline]\n{table}\n')
    (problem,) = caught.value.problems
    assert problem.line == line
    assert words in problem.what


# --- ends that mislead -------------------------------------------------------------------------------------------


def resonator(media, quality, series=False):
    """An antenna in its band alone: a resonator at 2332.5 MHz, whole reflection far outside. Our own model."""
    ratio = media.frequency.f / 2332.5e6
    detuned = 1j * quality * (ratio - 1.0 / ratio)
    ohm = 45.0 * (1.0 + detuned) if series else 55.0 / (1.0 + detuned)
    gamma = (ohm - 50.0) / (ohm + 50.0)
    end = media.open()
    end.s = gamma.reshape(-1, 1, 1)
    inside = (media.frequency.f >= 2320e6) & (media.frequency.f <= 2345e6)
    return end, float(-10.0 * np.log10((np.abs(gamma[inside]) ** 2).sum() / max(1, inside.sum()) + 1e-30))


@pytest.mark.parametrize("quality", [5, 15, 40])
@pytest.mark.parametrize("series", [False, True])
@pytest.mark.parametrize("fit", [0, 1])
def test_a_narrow_antenna_is_not_suspected(quality, series, fit):
    media = line_of("rg-174", fit, grid=HARMONIC)
    end, true_db = resonator(media, quality, series)
    network = noisy(media.line(4.6, "m") ** end, 60, np.random.default_rng(1))
    found = examined(network, expected_length_m=4.6)
    assert found.end == "at"
    low, high = found.end_return_loss_db_90
    assert low <= true_db <= high
    assert "this shows no fault" in found.verdict
    assert ("open port" in found.verdict) == series  # the other one looks like a short
    assert found.cautions == ()


@pytest.mark.parametrize("quality", [5, 15, 40])
def test_a_narrow_antenna_behind_a_joint(quality):
    media = line_of("rg-174", 1, grid=HARMONIC)
    end, true_db = resonator(media, quality)
    joint = media.line(1.5, "m") ** media.shunt_capacitor(0.25e-12)
    found = examined(noisy(joint ** media.line(3.1, "m") ** end, 60, np.random.default_rng(1)), expected_length_m=4.6)
    low, high = found.end_return_loss_db_90
    assert low <= true_db <= high


def behind_series(ohm, load=None):
    """A series resistance at 1.5 m, and at 4.6 m the load (None: an open end)."""
    media = line_of("rg-174", 1, grid=HARMONIC)
    end = media.open() if load is None else media.load(load)
    network = media.line(1.5, "m") ** media.resistor(ohm) ** media.line(3.1, "m") ** end
    return examined(noisy(network, 60, np.random.default_rng(1)), expected_length_m=4.6)


@pytest.mark.parametrize("load", [None, 0.3])
def test_a_bad_joint_is_in_the_verdict(load):
    # 100 ohm in series: G = 100 / (100 + 2 * 50) = 0.5, 6 dB.
    found = behind_series(100, load)
    assert found.end == "at"
    assert found.fault_m == pytest.approx(1.5, abs=0.01)
    assert "But a fault shows on the way: at 1.50 m" in found.verdict
    low, high = found.end_return_loss_db_90
    assert low <= (0.0 if load is None else 20 * np.log10(1 / load)) <= high
    assert found.end_return_loss_db is None  # what the joint lets through is not known


@pytest.mark.parametrize("ohm", [200, 300])
def test_a_joint_that_sends_most_back_is_no_end(ohm):
    found = behind_series(ohm)
    assert found.verdict.startswith("Most of the wave comes back at 1.50 m")
    assert "Some passes and comes back at 4.60 m" in found.verdict
    assert (found.end, found.end_m, found.fault_m) == (
        "at",
        pytest.approx(4.6, abs=0.01),
        pytest.approx(1.5, abs=0.01),
    )


@pytest.mark.parametrize("ohm", [50, 100, 200])
@pytest.mark.parametrize("load", [None, 0.8])
def test_echoes_behind_a_joint_that_loses_much_are_echoes(ohm, load):
    # Through a series resistance there and back (1 - G)^2 is left: the echo at 2 * 4.6 - 1.5 m passed it once.
    assert [one.distance_m for one in real(behind_series(ohm, load)) if one.distance_m > 5.0] == []


def test_the_loss_up_to_the_strongest_reflection_is_taken_off():
    # 6 dB at a joint at 1.5 m: not nought, as the loss of the whole lead would make it.
    low, high = behind_series(100, 0.01).band_return_loss_corrected_db_90
    assert low <= 20 * np.log10(2.0) <= high + 0.05  # the line is the least lossy of its class
    assert high - low < 3.0


@pytest.mark.parametrize("plane_m", [0.0, 0.5])
@pytest.mark.parametrize("length_m", [None, 4.6])
def test_a_lead_that_is_not_plugged_in(plane_m, length_m):
    media = line_of("rg-174", 1, grid=HARMONIC)
    for end in (media.open(), media.short()):
        found = examined(
            noisy(end, 60, np.random.default_rng(1)), reference_plane_m=plane_m, expected_length_m=length_m
        )
        assert (found.end, found.end_m, found.fault_m) == ("unknown", None, None)
        assert "not plugged in" in found.verdict


def test_a_velocity_factor_that_would_explain_the_end():
    media = line_of("rg-174", 1, 0.70, grid=HARMONIC)
    found = examined(media.line(4.6, "m") ** media.open(), expected_length_m=4.6)
    assert found.end == "before"
    assert "A velocity factor of 0.70 would put it at the antenna" in found.verdict
    short = examined(media.line(2.0, "m") ** media.open(), expected_length_m=4.6)
    assert "would put it" not in short.verdict  # no cable is that fast


def test_nothing_is_smeared_where_the_lead_is_longer_than_the_sweep_reads():
    import skrf

    media = line_of("rg-174", 1, grid=skrf.Frequency(0.1, 3.0, 51, "GHz"))
    beside = np.clip(np.abs(media.frequency.f - 2332.5e6) / 150e6, 0.0, 1.0)
    end = media.open()
    end.s = (0.25 + 0.65 * beside).reshape(-1, 1, 1)
    found = examined(noisy(media.line(4.6, "m") ** end, 60, np.random.default_rng(1)), expected_length_m=4.6)
    assert "Sweep with more points" in found.verdict
    assert found.smeared_m == ()


@pytest.mark.parametrize("break_m", [2.3, 4.6 / 3.0])
def test_an_echo_of_a_break_at_the_antennas_place_is_not_the_antenna(break_m):
    # The analyser's own port sends 5 % back (26 dB), so a break shows again at twice and three times its distance.
    media = line_of("rg-174", 1, grid=HARMONIC)
    network = media.line(break_m, "m") ** media.open()
    network.s = network.s / (1.0 - 0.05 * network.s)
    found = examined(noisy(network, 60, np.random.default_rng(1)), expected_length_m=4.6)
    assert found.end == "before"
    assert found.fault_m == pytest.approx(break_m, abs=0.01)
