"""Moves and exchanged parts: what they end, what is compared across them, and what a place may hide."""

import numpy as np
import pytest

from satdiag.findings import SatelliteSky, SiteSky, SkyFindings
from satdiag.signal.estimate import estimate_signal, open_sky_stays
from tests.helpers import make_job

FLOOR = "[receiver]\nlevel_floor = 2.0\nlevel_scale = 'dB'\n"
SITES = "".join(
    f"[[site]]\nname = '{name}'\nlatitude_deg = 41.2\nlongitude_deg = -96.1\n" for name in ("yard", "kerb")
)
CONSTELLATION = """
name = "demo-budget"
[[satellite]]
name = "east"
longitude_deg = -78.5
eirp_dbw = 66.0
frequency_mhz = 2322.0
"""
BUDGET = "[receiver]\nlevel_floor = 2.0\nlevel_scale = 'dB'\nnoise_bandwidth_hz = 4.0e6\n" + SITES


def clock(t_s):
    return f"{int(t_s) // 3600}:{int(t_s) // 60 % 60:02d}:{int(t_s) % 60:02d}"


def levels(start_s, mean, count=299, path="satellite:east", step_s=2, seed=1):
    value = np.maximum(mean + 0.4 * np.random.default_rng([seed, int(start_s)]).standard_normal(count), 0.0)
    return [f"{clock(start_s + step_s * n)} signal {path} {v:.1f} dB" for n, v in enumerate(value)]


def signal_of(rows, sheet=FLOOR, sky=None, documents=None):
    return estimate_signal(make_job("\n".join(rows), sheet, documents=documents), sky)


def east_of(rows, **more):
    return signal_of(rows, **more).paths["satellite:east"]


def skyline(p_clear, interval, site="yard"):
    east = SatelliteSky("east", 150.0, 40.0, 38_000.0, p_clear, interval, "horizon")
    return SkyFindings((SiteSky(site, (east,), None, None),))


# --- what a reading stands for -----------------------------------------------------------------------------------


@pytest.mark.parametrize("row", ["place vehicle indoors", "swap antenna same", "swap place worse"])
def test_a_reading_ends_with_the_stay(row):
    rows = ["0:00:00 place vehicle street", "0:00:00 lock satellite:east yes", f"0:01:00 {row}"]
    east = east_of([*rows, "0:05:00 lock satellite:east no", "0:05:10 lock satellite:east no"])
    assert east.observed_s == pytest.approx(60.0 + 10.0 + 60.0)
    assert east.dropouts_per_h == 0.0  # not watched: the vehicle was driven away, or a plug was pulled


def test_the_same_word_again_ends_nothing():
    rows = ["0:00:00 place vehicle street", "0:00:00 lock satellite:east yes", "0:01:00 place vehicle street"]
    assert east_of([*rows, "0:05:00 lock satellite:east no"]).dropouts_per_h > 0.0


def test_a_level_from_before_the_path_came_back_does_not_grade_it():
    rows = ["0:00:00 lock satellite:east yes", *levels(0, 12.0, 30)]
    rows += ["0:01:00 lock satellite:east no", "0:01:00 signal satellite:east 3.0 dB"]
    rows += ["0:02:00 lock satellite:east yes", *levels(150, 12.0, 30)]
    found = signal_of(rows)
    assert not any(stretch.state == "shadowed" for stretch in found.timeline)
    assert any(stretch.state == "received" for stretch in found.timeline)


def both(start_s, mean, count=60):
    return [row for path in ("east", "west") for row in levels(start_s, mean, count, f"satellite:{path}")]


def test_driving_into_a_garage_is_no_drop_out_of_every_path():
    rows = []
    for number in range(8):
        rows.append(f"{clock(130 * number)} place vehicle {'indoors' if number % 2 else 'open-sky'}")
        rows += both(130 * number + 1, 0.0 if number % 2 else 16.0)
    found = signal_of(rows)
    assert (found.together_share, found.together_share_90) == (None, None)
    assert (found.together_events, found.together_taken) == (0, 0)


@pytest.mark.parametrize(("times", "told"), [(2, False), (3, True)])
def test_of_fewer_than_three_drop_outs_no_share_is_told(times, told):
    rows = both(0, 16.0)
    for number in range(times):
        rows += both(120 + 60 * number, 0.0, 10) + both(140 + 60 * number, 16.0, 20)
    found = signal_of(rows)
    assert (found.together_events, found.together_taken) == (times, times)
    assert (found.together_share is not None) is told
    if told:
        # Jeffreys: 90 % of beta(3.5, 0.5) lie above its 5 % point (scipy.stats.beta)
        assert found.together_share_90 == (pytest.approx(0.5818, abs=0.06), 1.0)


# --- what a place may hide ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("word", ["street", "canopy", "indoors", "underground"])
def test_what_a_place_takes_is_no_deficit(word):
    rows = ["0:00 place vehicle open-sky", *levels(1, 16.0), f"0:10:00 place vehicle {word}", *levels(601, 9.0)]
    found = signal_of(rows)
    assert found.paths["satellite:east"].deficit is None
    assert any(word in text and "may be the place's" in text for text in found.could_not)


def test_a_stay_that_is_weakened_throughout_is_no_deficit_where_no_place_is_named():
    rows = [*levels(0, 16.0), *levels(10 * 3600, 9.0)]
    found = signal_of(rows)
    assert found.paths["satellite:east"].deficit is None
    assert any("weakened there" in text for text in found.could_not)
    assert east_of([*levels(0, 16.0), *levels(10 * 3600, 14.5)]).deficit == pytest.approx(1.5, abs=0.2)


def test_a_skyline_goes_before_the_word():
    rows = ["0:00 place vehicle open-sky", *levels(1, 16.0), "0:10:00 site vehicle kerb", *levels(601, 12.0)]
    sheet = FLOOR + SITES
    assert east_of(rows, sheet=sheet).deficit == pytest.approx(4.0, abs=0.2)
    assert east_of(rows, sheet=sheet, sky=skyline(0.05, (0.01, 0.2), "kerb")).deficit is None
    street = [row.replace("open-sky", "street") for row in rows]
    assert east_of(street, sheet=sheet, sky=skyline(0.97, (0.95, 0.99), "kerb")).deficit is None  # nothing before
    first = [*rows[:-300], "0:10:00 site vehicle kerb", "0:10:00 place vehicle street", *levels(601, 12.0)]
    assert east_of(first, sheet=sheet, sky=skyline(0.97, (0.95, 0.99), "kerb")).deficit == pytest.approx(4.0, abs=0.2)


def test_an_older_stay_is_not_taken_for_the_present_one():
    rows = ["0:00 place vehicle open-sky", *levels(1, 16.0), "0:10:00 place vehicle street"]
    rows += [
        "0:11:00 place vehicle open-sky",
        *levels(661, 15.8),
        "0:20:00 place vehicle indoors",
        *levels(1201, 0.0),
    ]
    found = signal_of(rows)
    assert (found.paths["satellite:east"].deficit, found.paths["satellite:east"].level_here) == (None, None)
    assert any("since the vehicle was moved" in text for text in found.could_not)
    assert east_of(rows[: -len(levels(1201, 0.0)) - 1]).deficit == pytest.approx(0.2, abs=0.2)


def test_a_word_said_again_does_not_part_a_stay():
    rows = ["0:00 place vehicle open-sky", *levels(1, 16.0), "0:10:00 place vehicle open-sky", *levels(601, 16.0)]
    assert east_of(rows).expected_stays is None


# --- nothing above the floor -------------------------------------------------------------------------------------


def test_nothing_above_the_floor_under_an_open_sky_lacks_a_least_amount():
    rows = ["0:00 place vehicle open-sky", *levels(1, 16.0), "0:10:00 place vehicle street"]
    rows += ["0:11:00 place vehicle open-sky", *levels(661, 0.0)]
    east = east_of(rows)
    assert (east.deficit, east.deficit_90, east.level_here) == (None, None, None)
    assert east.expected_from == "open-sky"
    # 16 - 2 dB, less 1.645 times the spread of 0.7 dB from stay to stay, twice
    assert east.deficit_at_least == pytest.approx(14.0 - 1.645 * 0.7 * np.sqrt(2.0), abs=0.2)


def test_nothing_above_the_floor_against_a_link_budget():
    documents = {"constellation.toml": CONSTELLATION.encode()}
    rows = ["0:00 place vehicle open-sky", *levels(1, 0.0)]
    seen = east_of(["0:00 place vehicle open-sky", *levels(1, 12.0)], sheet=BUDGET, documents=documents)
    east = east_of(rows, sheet=BUDGET, documents=documents)
    assert east.clear_level is None
    assert east.deficit_at_least == pytest.approx(seen.expected_90[0] - 2.0, abs=0.5)
    assert east.expected_inputs
    for word in ("street", "indoors"):
        hidden = [row.replace("open-sky", word) for row in rows]
        assert east_of(hidden, sheet=BUDGET, documents=documents).deficit_at_least is None
    assert east_of(rows[1:], sheet=BUDGET, documents=documents).deficit_at_least is None


def test_without_anything_to_compare_with_it_is_said():
    found = signal_of(["0:00 place vehicle open-sky", *levels(1, 0.0)])
    assert found.paths["satellite:east"].deficit_at_least is None
    assert any("to compare with" in text for text in found.could_not)


# --- exchanged parts ---------------------------------------------------------------------------------------------


def test_another_antenna_parts_the_history_and_its_gain_is_told():
    rows = ["0:00 place vehicle open-sky", *levels(1, 9.0), "0:10:00 swap antenna better", *levels(601, 16.0)]
    found = signal_of(rows)
    east = found.paths["satellite:east"]
    assert east.deficit is None
    assert east.clear_level == pytest.approx(16.0, abs=0.2)
    assert east.share.shadowed == 0.0  # the sky was as clear before, with less antenna
    (gain,) = found.swap_gains
    assert (gain.path, gain.part, gain.unit) == ("satellite:east", "antenna", "dB")
    assert gain.gain == pytest.approx(7.0, abs=0.2)
    assert gain.gain_90[1] - gain.gain_90[0] == pytest.approx(2 * 1.645 * 0.7 * np.sqrt(2.0), abs=0.2)
    assert gain.gain_90[0] < gain.gain < gain.gain_90[1]


def test_no_gain_where_the_vehicle_was_moved_as_well():
    rows = ["0:00 place vehicle open-sky", *levels(1, 9.0), "0:10:00 swap lead better"]
    assert signal_of([*rows, "0:10:30 place vehicle street", *levels(661, 16.0)]).swap_gains == ()
    assert len(signal_of([*rows, *levels(661, 16.0)]).swap_gains) == 1


def test_levels_with_the_same_parts_are_still_compared_after_a_swap():
    rows = ["0:00 place vehicle open-sky", *levels(1, 9.0), "0:10:00 swap antenna better", *levels(601, 16.0)]
    rows += ["0:20:00 place vehicle street", "0:21:00 place vehicle open-sky", *levels(1261, 15.0)]
    assert east_of(rows).deficit == pytest.approx(1.0, abs=0.2)


def test_the_level_of_an_exchanged_antenna_is_not_kept():
    rows = ["0:00 place vehicle open-sky", *levels(1, 9.0), "0:10:00 swap antenna better", *levels(601, 16.0)]
    (kept,) = open_sky_stays(make_job("\n".join(rows), FLOOR), None)
    assert kept.level == pytest.approx(16.0, abs=0.2)
