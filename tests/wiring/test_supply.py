"""Codes, dips, restarts tied to dips, load and rest. Jobs are made up: they prove the code against our own model."""

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator
from scipy import stats

from satdiag.errors import BadInput
from satdiag.findings import SupplyFindings, plain_values
from satdiag.findings_schema import schema_of
from satdiag.sheet import parse_sheet
from satdiag.wiring.supply import supply_findings
from satdiag.wiring.supply_codes import CODES, DIP_V, OVER_V, code_kept
from satdiag.wiring.supply_dips import CRANKING_S
from satdiag.wiring.supply_load import charge_at_rest
from satdiag.wiring.supply_restarts import BRIEF_S, chance_of
from tests.helpers import make_job
from tests.references import supply as reference

ORDER = [None, *CODES]


def found(rows_text, sheet=""):
    """The supply's findings of a job, checked against their schema."""
    supply, _ = supply_findings(make_job(rows_text, sheet))
    definitions = {}
    whole = schema_of(SupplyFindings, definitions)
    Draft202012Validator({**whole, "$defs": definitions}).validate(json.loads(json.dumps(plain_values(supply))))
    return supply


def readings(*pairs):
    """'0:10 supply receiver 12.6 V' lines of (seconds, volts)."""
    return "\n".join(f"0:{at_s:010.6f} supply receiver {volts} V" for at_s, volts in pairs)


# --- codes -------------------------------------------------------------------------------------------------------


def test_codes_are_those_of_the_standard():
    assert CODES == reference.ISO_CODES
    assert (DIP_V, OVER_V) == (10.5, 16.0)
    assert CRANKING_S[0] == reference.STARTER_PLATEAU_S[0]
    assert CRANKING_S[1] == pytest.approx(reference.STARTER_PLATEAU_S[1] + 0.1)  # edges end within 100 ms
    assert reference.STARTER_FIRST_S[1] == BRIEF_S


@pytest.mark.parametrize(
    ("lowest_v", "highest_v", "code"),
    [
        (10.5, 16.0, "D"),
        (10.4, 14, "C"),
        (9.0, 14, "C"),
        (8.9, 14, "B"),
        (8, 14, "B"),
        (7.9, 14, "A"),
        (6, 14, "A"),
        (5.9, 14, None),
        (12, 16.1, None),
        (None, None, None),
    ],
)
def test_the_tightest_code_that_holds(lowest_v, highest_v, code):
    assert code_kept(lowest_v, highest_v) == code


@given(
    st.lists(st.floats(0, 20).map(lambda volts: round(volts, 2)), min_size=1, max_size=12),
    st.integers(0, 11),
    st.floats(0, 20),
)
@settings(max_examples=60, deadline=None)
def test_a_deeper_dip_never_gives_a_better_code(volts, place, deeper):
    place %= len(volts)
    lower = [*volts]
    lower[place] = round(max(0.0, volts[place] - deeper), 2)
    before, after = (found(readings(*enumerate(part))) for part in (volts, lower))
    limited = max(volts) <= OVER_V or max(lower) > OVER_V  # else the one voltage above every code was what fell
    assert not limited or ORDER.index(after.code) <= ORDER.index(before.code)
    assert after.minimum_v <= before.minimum_v


def test_the_receivers_own_code_decides_what_a_dropout_is():
    rows = readings((0, 12.5), (1, 8.5), (2, 12.5))
    assert found(rows).state == "dropouts"
    assert found(rows, '[supply]\ncode = "B"\n').state == "normal"
    assert found(rows, '[supply]\ncode = "D"\n').code_needed == "D"


@pytest.mark.parametrize(
    ("line", "what"),
    [('code = "E"', "is not one of A, B, C, D"), ("awake_a = 0", "outside"), ("battery = 60", "unknown key")],
)
def test_a_wrong_key_is_named(line, what):
    with pytest.raises(BadInput, match=what):
        parse_sheet(f'[job]\nid = "x"\n[supply]\n{line}\n')


# --- dips --------------------------------------------------------------------------------------------------------


def test_dips_of_the_starter_pulse_are_seen_and_called_a_start():
    """The older starter pulse on a battery of 12 V, read every 10 ms: first drop, plateau, then charging."""
    low_v, plateau_v = 12.0 + reference.STARTER_VS_V[1], 12.0 + reference.STARTER_VA_V[0]
    assert (low_v, plateau_v, 12.0 + reference.STARTER_VS_V[0], 12.0 + reference.STARTER_VA_V[1]) == (
        5.0,
        9.5,
        8.0,
        6.0,
    )
    pulse = [(10 + 0.01 * k, low_v if k < 4 else plateau_v) for k in range(104)]
    one = found(readings((9.99, 12.0), *pulse, (11.04, 13.9), (12, 14.1)))
    (dip,) = one.dips
    assert (one.dip_count, dip.shape, dip.extreme_v, dip.seen_in) == (1, "cranking", 5.0, "readings")
    assert dip.depth_v == pytest.approx(7.0)
    assert dip.at_least_s == pytest.approx(1.03)
    assert dip.at_most_s == pytest.approx(1.05)
    assert one.charging is True


@pytest.mark.parametrize(
    ("pairs", "shape"),
    [
        ([(0.9, 12.5), (1.0, 4.0), (1.2, 12.5)], "contact"),
        ([(0, 12.5), (1, 4.0), (2, 12.5)], None),
        ([(0, 14.0), (1, 9.9), (2, 14.0)], None),  # it charged before: no start
        ([(0, 12.0), (1, 9.9), (2, 14.0)], "cranking"),
        ([(0, 12.5), *((1 + 0.5 * k, 9.0) for k in range(60)), (40, 12.5)], "lasting"),
    ],
)
def test_shapes(pairs, shape):
    assert [dip.shape for dip in found(readings(*pairs)).dips] == [shape]


@pytest.mark.parametrize("true_s", [0.02, 0.3, 2.0, 7.0])
@pytest.mark.parametrize("every_s", [0.01, 0.1, 1.0])
def test_the_true_time_lies_between_the_bounds(true_s, every_s):
    at_s = np.arange(0.0, 20.0, every_s)
    volts = np.where((at_s >= 5.003) & (at_s < 5.003 + true_s), 7.0, 12.5)
    for dip in found(readings(*zip(at_s, volts, strict=True))).dips:
        assert dip.at_least_s <= true_s <= dip.at_most_s


def test_no_end_and_no_beginning_are_not_known():
    (dip,) = found(readings((0, 9.0), (1, 9.0), (2, 12.5))).dips
    assert (dip.at_most_s, dip.depth_v) == (None, None)
    (dip,) = found("0:00 supply receiver 12.5 V\n1:00 supply receiver 9 V\n6:00:00 supply receiver 12.5 V").dips
    assert dip.at_most_s is None  # the pause parts two visits


def test_a_lowest_value_deepens_a_dip_or_stands_for_one():
    rows = readings((0, 12.5), (10, 9.5), (20, 12.5)) + "\n0:30 supply receiver-minimum 6.5 V span_s=25"
    (dip,) = found(rows).dips
    assert (dip.seen_in, dip.extreme_v) == ("both", 6.5)
    rows = readings((0, 12.5), (10, 12.4), (20, 12.5)) + "\n0:30 supply receiver-minimum 6.5 V span_s=25"
    (dip,) = found(rows).dips
    assert (dip.seen_in, dip.extreme_v, dip.at_least_s, dip.at_most_s) == ("minimum", 6.5, 0.0, 25.0)


def test_a_lowest_value_without_a_span_reaches_back_to_the_one_before():
    rows = "0:00 supply receiver-minimum 8 V\n2:00 supply receiver-minimum 7 V\n3:00 note - z"
    first, second = found(rows).dips
    assert (first.from_, first.at_most_s) == (None, None)
    assert (second.from_, second.at_most_s) == ("2031-05-03T14:00:00Z", 120.0)


def test_over_voltage():
    one = found(readings((0, 14.0), (1, 16.4), (2, 17.0), (3, 14.0)))
    assert (one.over_count, one.over_voltages[0].extreme_v, one.code, one.maximum_v) == (1, 17.0, None, 17.0)
    assert any("rose above 16 V once" in text for text in one.sentences)


def test_many_readings_are_thinned_and_keep_the_dip():
    pairs = [(0.01 * k, 12.5) for k in range(5000)]
    pairs[2500] = (25.0, 6.9)
    one = found(readings(*pairs))
    assert len(one.points) <= 800
    assert min(point.voltage_v for point in one.points) == 6.9
    assert one.readings == 5000
    assert one.interval_s == pytest.approx(0.01)
    assert not any("was read" in text for text in one.sentences)  # nothing is missed at 100 a second


def test_what_sparse_readings_cannot_see_is_said():
    sparse = " ".join(found("0:00 supply receiver 12.5 V\n5:00 supply receiver 12.4 V").sentences)
    assert "read twice, 5 min apart" in sparse
    assert "15 to 40 ms" in sparse


# --- restarts ----------------------------------------------------------------------------------------------------


@given(st.integers(0, 15), st.integers(0, 15), st.floats(1e-6, 1.0))
@settings(max_examples=150, deadline=None)
def test_the_chance_is_the_exact_conditional_test_of_two_poisson_rates(tied, more, share):
    """scipy.stats.binomtest, one-sided: the exact test of two Poisson rates given their sum."""
    number = tied + more
    if number:
        exact = stats.binomtest(tied, number, share, alternative="greater").pvalue
        assert chance_of(tied, number, share) == pytest.approx(exact, rel=1e-9, abs=1e-300)


@pytest.mark.parametrize(("tied", "number", "share"), [(3, 8, 0.2), (2, 3, 0.1), (5, 9, 0.5)])
def test_the_chance_agrees_with_restarts_thrown_at_random(tied, number, share):
    """Against our own model: restarts at a steady rate, windows shifted round the clock (4 sigma of the draws)."""
    rng, draws = np.random.default_rng(5), 40_000
    windows = np.arange(10) / 10.0
    at, shift = rng.random((draws, number)), rng.random((draws, 1))
    inside = (((at - shift) % 1.0)[:, :, None] - windows) % 1.0 < share / 10.0
    p = float((inside.any(axis=2).sum(axis=1) >= tied).mean())
    exact = chance_of(tied, number, share)
    assert abs(p - exact) <= 4.0 * np.sqrt(exact * (1.0 - exact) / draws)


DIPS = [300.0, 700.0, 1100.0]


def _with_restarts(*at_s):
    lines = [f"0:{at:08.3f} supply receiver {8.0 if at in DIPS else 12.5} V" for at in np.arange(0.0, 1800.0, 10.0)]
    lines += [f"0:{at:08.3f} reset receiver seen" for at in at_s]
    return found("\n".join(lines))


def test_restarts_just_after_dips_are_tied():
    tie = _with_restarts(301.5, 701.0, 1500.0).tie
    assert (tie.tied, tie.restarts, tie.standing) == (2, 3, "tied")
    assert tie.window_share == pytest.approx(3 * 2.0 / 1790.0)
    assert tie.p_chance == pytest.approx(stats.binomtest(2, 3, 6.0 / 1790.0, alternative="greater").pvalue)
    one = _with_restarts(301.5, 701.0, 1500.0)
    assert [part.tied for part in one.restarts] == [True, True, False]
    assert [dip.restarts for dip in one.dips] == [1, 1, 0]


@pytest.mark.parametrize(("at_s", "tied"), [(302.0, 1), (302.1, 0), (300.0, 1), (299.9, 0)])
def test_two_seconds_are_the_limit(at_s, tied):
    assert _with_restarts(at_s).tie.tied == tied


def test_one_restart_is_too_few_and_sparse_readings_clear_nobody():
    assert _with_restarts(301.0).tie.standing == "cannot-tell"
    assert _with_restarts(50.0, 90.0, 130.0, 170.0).tie.standing == "cannot-tell"


def test_restarts_in_a_time_whose_lowest_value_was_sound_have_another_cause():
    rows = """
        0:00 supply receiver 12.5 V
        2:00 reset receiver seen
        4:00 reset receiver seen
        5:00 supply receiver-minimum 12.1 V span_s=300
    """
    tie = found(rows).tie
    assert (tie.clear, tie.tied, tie.standing) == (2, 0, "not-tied")


def test_a_restart_in_the_time_of_a_low_value_is_tied_but_a_long_time_proves_nothing():
    rows = """
        0:00 supply receiver 12.5 V
        2:00 reset receiver seen
        4:00 reset receiver seen
        5:00 supply receiver-minimum 7.1 V span_s=300
    """
    tie = found(rows).tie
    assert (tie.tied, tie.window_share, tie.p_chance, tie.standing) == (2, 1.0, 1.0, "cannot-tell")


def test_restarts_without_a_voltage_have_no_test():
    one = found("0:00 note - a\n1:00 reset receiver seen\n2:00 note - z")
    assert (one.tie, one.resets, one.code) == (None, 1, None)


# --- load and rest -----------------------------------------------------------------------------------------------

WAKES = """
    0:00 power receiver standby
    0:30 supply receiver 12.6 V
    1:00 power receiver awake
    1:30 supply receiver 12.1 V
"""


def test_ten_ampere_through_fifty_milliohm_take_half_a_volt():
    """Ohm's law: 10 A * 50 mohm = 0.5 V."""
    drop = found(WAKES, "[supply]\nawake_a = 10\n").load_drop
    assert drop.drop_v == pytest.approx(0.5)
    assert drop.resistance_mohm == pytest.approx(50.0)
    # Two readings rounded to 0.1 V: their difference errs by a triangle on +-0.1 V, 90 % of it within 0.0684 V.
    half = stats.triang(0.5, loc=-0.1, scale=0.2).ppf(0.95)
    assert drop.drop_v_90 == pytest.approx((0.5 - half, 0.5 + half))
    assert drop.resistance_mohm_90 == pytest.approx((50 - 100 * half, 50 + 100 * half))
    assert found(WAKES).load_drop.resistance_mohm is None


def test_the_spread_of_several_changes_counts():
    rows, drops = [], [0.40, 0.50, 0.75, 0.55]
    for number, drop in enumerate(drops):
        m = 10 * number
        rows += [f"{m}:00 power receiver off", f"{m}:30 supply receiver 12.60 V", f"{m + 1}:00 power receiver awake"]
        rows += [f"{m + 1}:30 supply receiver {12.6 - drop:.2f} V"]
    one = found("\n".join(rows)).load_drop
    assert one.changes == 7  # falling asleep counts as well
    both = [*drops, *drops[:3]]
    low, high = stats.t(6, np.mean(both), stats.sem(both)).interval(0.9)
    assert one.drop_v_90 == pytest.approx((low, high))


@pytest.mark.parametrize(
    "rows",
    [
        "0:30 supply receiver 12.6 V\n1:00 power receiver awake\n1:30 supply receiver 12.1 V",
        WAKES.replace("12.1 V", "14.1 V"),
        WAKES.replace("1:30 supply", "21:30 supply"),
        "0:00 power receiver standby\n1:00 power receiver awake\n1:30 supply receiver 12.1 V",
    ],
    ids=["not known to be asleep", "charging", "too late", "one side"],
)
def test_no_drop_without_both_sides(rows):
    assert found(rows).load_drop is None


@pytest.mark.parametrize(("volts", "charge"), reference.RESTING)
def test_charge_at_rest(volts, charge):
    assert charge_at_rest(volts) == charge


@pytest.mark.parametrize(
    ("volts", "charge"), [(12.9, None), (12.5, "three-quarters"), (12.1, "low"), (11.0, "discharged")]
)
def test_charge_between_the_lines_of_the_table(volts, charge):
    assert charge_at_rest(volts) == charge


@pytest.mark.parametrize(
    ("rows", "volts"),
    [
        ("0:00 power receiver off\n4:00:00 supply receiver 12.45 V\n4:01:00 power receiver awake", 12.45),
        ("0:00 power receiver off\n3:59:00 supply receiver 12.45 V\n4:01:00 power receiver awake", None),
        ("0:00 power receiver awake\n4:00:00 supply receiver 12.45 V", None),
        ("0:00 power receiver off\n1:00 audio output playing\n4:30:00 supply receiver 12.45 V", None),
        ("0:00 power receiver off\n9:00:00 supply receiver 14.1 V\n9:01:00 power receiver awake", None),
    ],
)
def test_a_battery_is_at_rest_after_four_hours_off(rows, volts):
    resting = found(rows).resting
    assert (resting and resting.voltage_v) == volts
    if volts:
        assert (resting.charge, resting.rested_s) == ("three-quarters", 4 * 3600.0)
