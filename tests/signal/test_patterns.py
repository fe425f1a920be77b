"""What drop-outs and weak levels go with, and the level to expect: small jobs with an answer by construction."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import beta as beta_function

from satdiag.signal.estimate import estimate_signal
from satdiag.signal.pieces import Pieces
from satdiag.signal.repeats import Where, _place_db, repeats
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
    rows += ["0:10:00 place vehicle street", *levels(601, noisy(2, 9.0, 300))]
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
def test_an_order_has_no_deficit(unit):
    rows = ["0:00 place vehicle open-sky", *levels(1, np.full(60, 18.0), unit=unit)]
    rows += ["0:10:00 place vehicle open-sky", *levels(601, np.full(60, 15.0), unit=unit)]
    found = estimate_signal(make_job("\n".join(rows).replace(".0 bars", " bars")))
    east = found.paths["satellite:east"]
    assert (east.expected_level, east.deficit, east.deficit_90, east.deficit_db, east.expected_from) == (None,) * 5


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
    job = make_job(
        "\n".join(levels(0, noisy(1, 12.0))), SITE, documents={"constellation.toml": CONSTELLATION.encode()}
    )
    east = estimate_signal(job).paths["satellite:east"]
    assert east.expected_from == "link-budget"
    assert east.deficit == pytest.approx(east.expected_level - east.level_here)
    # EIRP 66 - free-space loss at 37 500 km and 2322 MHz (20 log10(4 pi d f / c), 191.2 dB) + G/T about -20 + 228.6
    # - 66 for 4 MHz: about 17 dB, within the assumed gain of 0 to 6 dBic
    assert east.expected_level == pytest.approx(17.0, abs=4.0)
    assert east.deficit_90[1] - east.deficit_90[0] > 3.0


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


def test_without_positions_it_is_said():
    rows = [f"{clock(t_s)} lock satellite:east {'no' if t_s % 20 == 5 else 'yes'}" for t_s in range(120)]
    found = estimate_signal(make_job("\n".join(rows)))
    assert (found.repeats_at, found.repeats_place_db) == (None, None)
    assert any("no positions" in text for text in found.could_not)


# --- headings ----------------------------------------------------------------------------------------------------


def turning(level_of, headings, paths=("east", "west"), seed=5):
    """One minute at each heading; `level_of(path, heading)` in dB."""
    rows = []
    for number, heading in enumerate(headings):
        rows.append(f"{clock(60 * number)} heading vehicle {heading} deg")
        for order, path in enumerate(paths):
            level = np.maximum(noisy([seed, number, order], level_of(path, heading), 50), 0.1)
            rows += levels(60 * number + 1, level, f"satellite:{path}")
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
    assert found.turns_with == "site"
    assert found.turns_vehicle_db < -10.0


def test_nothing_to_tell_is_not_told():
    found = turning(lambda path, heading: 12.0, EIGHT)
    assert found.turns_with is None
    assert found.turns_vehicle_db is not None


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
