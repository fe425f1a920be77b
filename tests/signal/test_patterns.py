"""What drop-outs and weak levels go with, and the level to expect: small jobs with an answer by construction."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import beta as beta_function

from satdiag.signal.estimate import estimate_signal
from satdiag.signal.pieces import Pieces
from satdiag.signal.repeats import Where, _place_db, passes, repeats
from tests.helpers import BASE, make_job

FLOOR = "[receiver]\nlevel_floor = 0.0\nlevel_scale = 'dB'\n"


def clock(t_s):
    return f"{int(t_s) // 3600}:{int(t_s) // 60 % 60:02d}:{int(t_s) % 60:02d}"


def levels(start_s, values, path="satellite:east", unit="dB"):
    return [f"{clock(start_s + number)} signal {path} {value:.1f} {unit}" for number, value in enumerate(values)]


def noisy(seed, mean, count=60, spread=0.5):
    return mean + spread * np.random.default_rng(seed).standard_normal(count)


# --- the level to expect -----------------------------------------------------------------------------------------


def test_a_constant_deficit_against_its_own_open_sky():
    rows = ["0:00 place vehicle open-sky", *levels(1, noisy(1, 12.0, 300))]
    rows += ["0:10:00 place vehicle street", "0:11:00 place vehicle open-sky", *levels(661, noisy(2, 9.0, 300))]
    found = estimate_signal(make_job("\n".join(rows), FLOOR))
    east = found.paths["satellite:east"]
    assert east.expected_from == "open-sky"
    assert east.expected_level == pytest.approx(12.0, abs=0.2)
    assert east.level_here == pytest.approx(9.0, abs=0.2)
    assert east.deficit == pytest.approx(3.0, abs=0.3)
    assert east.deficit_90[0] < 3.0 < east.deficit_90[1]
    assert east.deficit_90[0] > 0.0
    assert not any("to compare with" in text for text in found.could_not)


def test_an_earlier_visit_serves_where_no_place_was_logged():
    rows = [*levels(0, noisy(1, 12.0)), *levels(10 * 3600, noisy(2, 11.5))]
    east = estimate_signal(make_job("\n".join(rows), FLOOR)).paths["satellite:east"]
    assert (east.expected_from, east.deficit) == ("earlier-visit", pytest.approx(0.5, abs=0.3))
    assert east.deficit_90[0] < 0.0 < east.deficit_90[1]


@pytest.mark.parametrize("unit", ["percent", "bars/20"])
def test_an_order_has_a_history_and_no_decibels(unit):
    rows = ["0:00 place vehicle open-sky", *levels(1, np.full(60, 18.0), unit=unit)]
    rows += ["0:10:00 place vehicle street", "0:11:00 place vehicle open-sky"]
    rows += levels(661, np.full(60, 15.0), unit=unit)
    found = estimate_signal(make_job("\n".join(rows).replace(".0 bars", " bars")))
    east = found.paths["satellite:east"]
    assert (east.expected_level, east.deficit, east.deficit_db, east.expected_from) == (18.0, 3.0, None, "open-sky")
    assert east.deficit_90[0] < 3.0 < east.deficit_90[1]


CONSTELLATION = """
name = "demo-budget"
[[satellite]]
name = "east"
longitude_deg = -78.5
eirp_dbw = 66.0
frequency_mhz = 2322.0
"""
SITE = FLOOR + "noise_bandwidth_hz = 4.0e6\n[[site]]\nname = 'yard'\nlatitude_deg = 41.2\nlongitude_deg = -96.1\n"


def test_a_link_budget_where_there_is_no_history():
    rows = "\n".join(["0:00 place vehicle open-sky", *levels(0, noisy(1, 12.0))])
    job = make_job(rows, SITE, documents={"constellation.toml": CONSTELLATION.encode()})
    east = estimate_signal(job).paths["satellite:east"]
    assert east.expected_from == "link-budget"
    assert east.deficit == pytest.approx(east.expected_level - east.level_here)
    # The inputs that are shown give the level by hand: EIRP + G - 20 log10(4 pi d f / c) - 10 log10(k T B), with the
    # noise of the system taken back from the result; it has to lie between that of a cold sky and of a warm cover.
    shown = {one.label: one for one in east.expected_inputs}
    wave_m = 299_792_458.0 / 2322.0e6
    loss_db = 20.0 * np.log10(4.0 * np.pi * shown["distance"].value * 1000.0 / wave_m)
    noise_dbw = 66.0 + shown["antenna gain"].value - loss_db - east.expected_level
    noise_k = 10.0 ** (noise_dbw / 10.0) / (1.380649e-23 * 4.0e6)
    assert 60.0 < noise_k < 300.0
    assert east.deficit_90[1] - east.deficit_90[0] > 3.0
    # every input is shown, and what nobody stated as a range marked as a judgement
    shown = {one.label: one for one in east.expected_inputs}
    assert shown["radiated power, EIRP"].value == 66.0
    assert shown["antenna gain"].range == (0.0, 6.0)
    assert "judgement" in shown["antenna gain"].standing
    assert {"distance", "frequency", "noise bandwidth", "noise figure of the amplifier"} <= set(shown)


def test_what_the_sheet_states_narrows_the_link_budget():
    text = "\n".join(["0:00 place vehicle open-sky", *levels(0, noisy(1, 12.0))])
    stated = SITE.replace("[[site]]", "antenna_gain_dbic = [2.5, 3.5]\nnoise_temperature_k = 250\n[[site]]")
    documents = {"constellation.toml": CONSTELLATION.encode()}
    wide, narrow = (
        estimate_signal(make_job(text, sheet, documents=documents)).paths["satellite:east"]
        for sheet in (SITE, stated)
    )
    widths = [path.deficit_90[1] - path.deficit_90[0] for path in (wide, narrow)]
    assert widths[1] < 0.7 * widths[0]
    shown = {one.label: one for one in narrow.expected_inputs}
    assert shown["antenna gain"].range == (2.5, 3.5)
    assert (shown["noise temperature of the system"].value, shown["noise temperature of the system"].range) == (
        250.0,
        None,
    )
    assert shown["antenna gain"].standing == "the user's figure"
    assert "noise figure of the amplifier" not in shown


# --- positions ---------------------------------------------------------------------------------------------------


def laps(lost, cells=10, stay_s=10.0):
    """A round course of ten positions; `lost` (laps, cells) says where the path was lost."""
    count = lost.size
    starts = stay_s * np.arange(count)
    where = Where(starts, starts + stay_s, np.tile(np.arange(cells), len(lost)))
    path = Pieces(starts, starts + stay_s, ~lost.ravel(), np.full(count, np.nan))
    return repeats(where, [path])


def test_losses_at_the_same_positions_speak_for_the_place():
    lost = np.zeros((8, 10), dtype=bool)
    lost[:, [2, 7]] = True
    found = laps(lost)
    assert found.place_db > 20.0
    assert (found.positions, found.losses) == (10, 16)


def test_losses_anywhere_speak_for_the_vehicle():
    lost = np.zeros((12, 10), dtype=bool)
    lost[np.arange(12), np.random.default_rng(1).permutation(np.arange(12) % 10)] = True
    assert laps(lost).place_db < -10.0


def test_two_positions_or_one_loss_tell_nothing():
    assert laps(np.zeros((8, 10), dtype=bool)) is None
    one = np.zeros((8, 10), dtype=bool)
    one[0, 3] = True
    assert laps(one) is None
    assert laps(np.array([[True, False], [True, False]]), cells=2) is None
    assert laps(np.eye(10, dtype=bool)[:1]) is None  # one lap only


def test_the_factor_against_numerical_integration():
    """Each position's chance integrated out by quadrature, then their common mean: scipy.integrate."""
    passed, lost, spread = np.array([4, 4, 3]), np.array([4.0, 0.0, 1.0]), 0.5

    def own(chance, number, mean):
        a, b = spread * mean, spread * (1.0 - mean)
        density = chance ** (a - 1.0) * (1.0 - chance) ** (b - 1.0) / beta_function(a, b)
        return density * chance ** lost[number] * (1.0 - chance) ** (passed[number] - lost[number])

    def place(angle):
        mean = np.sin(angle) ** 2
        return np.prod(
            [
                beta_function(lost[n] + spread * mean, passed[n] - lost[n] + spread * (1.0 - mean))
                / beta_function(spread * mean, spread * (1.0 - mean))
                for n in range(3)
            ]
        )

    middle = quad(own, 0.0, 1.0, args=(2, 0.4), limit=400)[0]
    assert middle == pytest.approx(
        beta_function(1.0 + 0.2, 2.0 + 0.3) / beta_function(0.2, 0.3), rel=1e-4
    )  # the closed form of one position
    own_total = quad(place, 1e-9, np.pi / 2.0 - 1e-9)[0]
    one_total = quad(lambda angle: np.sin(angle) ** 10 * np.cos(angle) ** 12, 0.0, np.pi / 2.0)[0]
    assert _place_db(passed, lost) == pytest.approx(10.0 * np.log10(own_total / one_total), abs=0.02)


def test_moves_between_sites_are_positions():
    sites = "".join(f"[[site]]\nname = '{name}'\nlatitude_deg = 41.0\nlongitude_deg = -96.0\n" for name in "abcd")
    rows, at_s = [], 0
    for number in range(16):
        name = "abcd"[number % 4]
        rows.append(f"{clock(at_s)} site vehicle {name}")
        rows += [
            f"{clock(at_s + 10 * step)} lock satellite:east {'no' if name == 'c' and 1 < step < 5 else 'yes'}"
            for step in range(6)
        ]
        at_s += 60
    found = estimate_signal(make_job("\n".join(rows), sites))
    assert found.repeats_at == "place"
    assert found.repeats_positions == 4


def nmea(t_s, east_m):
    """RMC and GGA of a fix on the parallel of 41 degrees north."""
    from datetime import timedelta

    moment = BASE + timedelta(seconds=t_s)
    minutes = 60.0 * (96.0 - east_m / (111_195.0 * np.cos(np.radians(41.0))) - 95.0) + 5700.0
    whole = int(minutes // 60)
    longitude = f"{whole:03d}{minutes - 60 * whole:08.5f},W"
    body = f"GPRMC,{moment:%H%M%S}.00,A,4100.00000,N,{longitude},10.0,90.0,{moment:%d%m%y},,,A"
    check = 0
    for letter in body:
        check ^= ord(letter)
    return f"${body}*{check:02X}\r\n"


@pytest.mark.parametrize(("where", "word"), [("place", "place"), ("vehicle", "vehicle")])
def test_laps_by_the_fixes_of_a_navigation_receiver(where, word):
    """Twelve times along 400 m at 10 m/s; lost at one position, or each lap somewhere else."""
    sentences, rows = [], []
    turns = np.random.default_rng(3).permutation(np.tile(np.arange(10), 2))
    for t_s in range(480):
        lap, east_m = divmod(t_s, 40)
        sentences.append(nmea(t_s, 20.0 + 10.0 * east_m))
        gone = (4 if where == "place" else turns[lap]) == int((20.0 + 10.0 * east_m) // 40.0) and east_m % 4 == 2
        rows.append(f"{clock(t_s)} lock satellite:east {'no' if gone else 'yes'}")
    job = make_job("\n".join(rows), documents={"gnss.nmea": "".join(sentences).encode()})
    found = estimate_signal(job)
    assert found.repeats_at == word
    assert found.repeats_positions >= 9


def walk(random, count, spread_m=3.0, memory=0.98):
    """Noise of a fix, which changes slowly."""
    step = spread_m * np.sqrt(1.0 - memory**2) * random.standard_normal(count)
    found = np.zeros(count)
    for number in range(1, count):
        found[number] = memory * found[number - 1] + step[number]
    return found


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("shift_m", [0.0, 20.0])
def test_whoever_parks_passes_nothing(seed, shift_m):
    """An hour of fixes that wander by 3 m, in the middle of a cell and on the corner of four."""
    random = np.random.default_rng([8, seed])
    t_s = np.arange(3600.0)
    north, east = walk(random, 3600), walk(random, 3600)
    north[1:], east[1:] = north[1:] + shift_m, east[1:] + shift_m
    where = passes(t_s, north, east)
    assert len(np.unique(where.cell)) == len(where.cell)
    lost = t_s % 180.0 < 6.0
    assert repeats(where, [Pieces(t_s, t_s + 1.0, ~lost, np.full(3600, np.nan))]) is None


def test_a_parked_vehicle_is_not_told_to_look_at_its_lead():
    random = np.random.default_rng(2)
    wander, rows = walk(random, 900), []
    for t_s in range(900):
        rows.append(f"{clock(t_s)} lock satellite:east {'no' if t_s % 90 < 6 else 'yes'}")
    fixes = "".join(nmea(t_s, 20.0 + wander[t_s]) for t_s in range(900))
    found = estimate_signal(make_job("\n".join(rows), documents={"gnss.nmea": fixes.encode()}))
    assert (found.repeats_at, found.repeats_positions) == (None, None)
    assert any("stood in one place" in text for text in found.could_not)


def test_there_and_back_are_two_passes():
    t_s = np.arange(120.0)
    east = 10.0 * np.concatenate([np.arange(60.0), np.arange(60.0)[::-1]])
    where = passes(t_s, np.zeros(120), east)
    passed = np.bincount(where.cell)
    # the cells within 100 m of the turning point are not left far enough to be passed again
    assert (passed == 2).sum() == pytest.approx(600.0 / 40.0 - 3.0, abs=1.0)
    assert passed.max() == 2
    assert (where.end_s[:-1] > where.start_s[:-1]).all()


def test_without_positions_it_is_said():
    rows = [f"{clock(t_s)} lock satellite:east {'no' if t_s % 20 == 5 else 'yes'}" for t_s in range(120)]
    found = estimate_signal(make_job("\n".join(rows)))
    assert (found.repeats_at, found.repeats_place_db) == (None, None)
    assert any("no positions" in text for text in found.could_not)


# --- beside the plain reading ------------------------------------------------------------------------------------


def test_where_single_readings_say_otherwise_it_is_told():
    random = np.random.default_rng(1)
    level = 12.0 + 3.5 * random.standard_normal(600)
    found = estimate_signal(make_job("\n".join(levels(0, np.maximum(level, 0.1))), FLOOR))
    east = found.paths["satellite:east"]
    assert east.plain_share.shadowed > 0.05
    assert east.share.shadowed < 0.02
    assert len(found.disagreements) == 1
    assert "noise of the readings" in found.disagreements[0]
    quiet = estimate_signal(make_job("\n".join(levels(0, noisy(1, 12.0, 200))), FLOOR))
    assert quiet.disagreements == ()
    assert quiet.paths["satellite:east"].plain_share == quiet.paths["satellite:east"].share
