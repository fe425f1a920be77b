"""What the estimators could tell, in whole or in part, as evidence: readings made by hand, no simulator."""

import dataclasses

import pytest

from satdiag.diagnosis.estimate import weigh
from satdiag.diagnosis.evidence import Known, collect
from satdiag.diagnosis.model import load_model
from satdiag.findings import (
    BiasFindings,
    EntitlementFindings,
    FeedlineFindings,
    NoiseRiseFindings,
    PathSignal,
    Reflection,
    RingBreak,
    RingFindings,
    SatelliteSky,
    SignalFindings,
    SiteSky,
    SkyFindings,
    TuningFindings,
    WiringFindings,
)
from tests.helpers import make_job

NOTHING = Known(
    make_job("0:00 note any hello"),
    SkyFindings(),
    SignalFindings(),
    EntitlementFindings(),
    TuningFindings(None, None, None, None, None),
    WiringFindings(),
)


def seen(**parts):
    """Item to what was seen of it, with some findings in the place of none."""
    return {one.item: one for one in collect(dataclasses.replace(NOTHING, **parts))}


def wiring(**parts):
    return seen(wiring=WiringFindings(**parts))


def signal(**parts):
    return seen(signal=SignalFindings(**parts))


def path(deficit, half=0.5, unit="dB", expected=12.0):
    interval = (deficit - half, deficit + half)
    return PathSignal(unit, expected - deficit, expected, deficit, interval, None, None, None, None, None)


def test_findings_of_nothing_are_no_evidence():
    assert seen() == {}


@pytest.mark.parametrize(
    ("deficit", "unit", "expected", "state"),
    [
        (0.3, "dB", 12.0, "none"),
        (-1.0, "dB", 12.0, "none"),
        (5.0, "dB", 12.0, "some"),
        (12.0, "dB-Hz", 79.0, "much"),
        (2.0, "percent", 80.0, "none"),
        (30.0, "percent", 80.0, "some"),
        (4.0, "bars/5", 5.0, "much"),
    ],
)
def test_a_missing_level_is_graded_in_decibels_or_as_a_share(deficit, unit, expected, state):
    found = signal(paths={"satellite:east": path(deficit, unit=unit, expected=expected)})["deficit"]
    assert found.state == state
    assert found.soft[state] == 1.0


def test_a_wide_interval_tells_less_and_a_wild_one_hardly_anything():
    narrow, wide = (signal(paths={"any": path(5.0, half)})["deficit"].soft["none"] for half in (0.5, 8.0))
    assert narrow < 0.2 < 0.5 < wide
    wild = signal(paths={"any": path(500.0)})["deficit"].soft
    assert min(wild.values()) > 0.2  # an outlier decides nothing


@pytest.mark.parametrize(("bound", "state"), [(17.7, "much"), (9.0, "much"), (0.5, None)])
def test_a_level_that_is_missing_altogether_is_much_of_it(bound, state):
    """Nothing rose above the floor under an open sky: what is missing is known from below only."""
    silent = dataclasses.replace(path(1.0), deficit=None, deficit_90=None, deficit_at_least=bound)
    found = signal(paths={"any": silent})["deficit"].soft
    assert found["much"] == 1.0
    assert (found["none"] < 0.2) == (state == "much")
    assert "deficit" not in signal(paths={"any": dataclasses.replace(silent, unit="percent")})


def test_a_level_with_nothing_to_compare_is_no_evidence():
    assert "deficit" not in signal(paths={"any": dataclasses.replace(path(5.0), deficit=None, deficit_90=None)})
    assert "deficit" not in signal(paths={"any": path(5.0, unit="percent", expected=0.0)})


@pytest.mark.parametrize(
    ("share", "interval", "state"),
    [(0.9, (0.7, 0.99), "together"), (0.1, (0.0, 0.4), "apart"), (1.0, (0.3, 1.0), None), (0.5, None, None)],
)
def test_drop_outs_tell_only_where_there_are_enough_of_them(share, interval, state):
    found = signal(together_share=share, together_share_90=interval)
    assert (found["together"].state if "together" in found else None) == state


def test_patterns_over_laps_and_headings():
    assert signal(repeats_positions=5, repeats_at="place")["repeats-at"].state == "place"
    assert signal(repeats_positions=5)["repeats-at"].state == "neither"
    assert signal(turns_headings=4, turns_with="vehicle")["turns-with"].state == "vehicle"
    assert signal(turns_headings=4)["turns-with"].state == "neither"


@pytest.mark.parametrize(
    ("plan", "rings", "chains", "state"),
    [
        ("valid", ("abc",), (), "valid"),
        ("order-differs", ("acb",), (), "order-differs"),
        ("problems", ("ab", "c"), (), "two-rings"),
        ("problems", (), ("abc",), "open"),
        ("problems", ("abc",), (), "valid"),  # plugs in each other's row: the light passes all the same
        ("problems", ("acb",), (), "order-differs"),
        ("problems", ("abcd",), (), None),  # a node that is not wanted
        ("problems", ("ab",), (), None),  # written before the third node was put in
        ("problems", (), ("ab",), None),
        ("problems", (), (), None),
    ],
)
def test_the_plugs_as_written(plan, rings, chains, state):
    parts = {"rings": tuple(map(tuple, rings)), "chains": tuple(map(tuple, chains))}
    found = wiring(ring=RingFindings(None, plan=plan, wanted=tuple("abc"), **parts))
    assert (found["ring-plan"].state if "ring-plan" in found else None) == state


@pytest.mark.parametrize(
    ("ring", "state"),
    [
        (RingFindings("closed", order_reported="as-wanted"), "as-wanted"),
        (RingFindings("closed", order_reported="differs"), "other-order"),
        (RingFindings("open", break_=RingBreak("located", "c", "b", "plugs")), "one-break"),
        (RingFindings("open", break_=RingBreak("contradiction", None, None, "plugs")), "contradict"),
        (RingFindings("open", break_=RingBreak("unknown", None, None, None)), None),
    ],
)
def test_positions_that_nodes_reported(ring, state):
    found = wiring(ring=ring)
    assert (found["ring-positions"].state if "ring-positions" in found else None) == state


def test_the_lead_by_its_reflections():
    ends = {"p_before": 0.9, "p_at": 0.08, "p_beyond": 0.02}
    found = wiring(feedline=FeedlineFindings(1.2, end="before", **ends))["lead"]
    assert (found.state, found.soft["at-antenna"]) == ("before", pytest.approx(0.08 / 0.9))
    at = {"p_before": 0.05, "p_at": 0.9, "p_beyond": 0.05}
    assert wiring(feedline=FeedlineFindings(1.2, (1.1, 1.3), end="at", **at))["lead"].state == "joint"
    assert wiring(feedline=FeedlineFindings(None, end="at", **at))["lead"].state == "at-antenna"
    assert "lead" not in wiring(feedline=FeedlineFindings(None, end="unknown"))


@pytest.mark.parametrize("end", ["none", "unknown"])
def test_a_joint_of_the_lead_counts_where_its_end_is_not_seen(end):
    assert wiring(feedline=FeedlineFindings(1.2, (1.1, 1.3), end=end))["lead"].state == "joint"


def test_a_joint_without_a_velocity_factor_has_a_range_and_counts():
    at = {"p_before": 0.05, "p_at": 0.9, "p_beyond": 0.05}
    assert wiring(feedline=FeedlineFindings(None, (1.1, 1.6), end="at", **at))["lead"].state == "joint"


@pytest.mark.parametrize(
    ("kind", "state", "before"),
    [
        ("step", "before", 0.05 / 0.9),
        ("open", "before-open", 1.0),
        ("short", "before-short", 1.0),
        ("unknown", "before", 1.0),
    ],
)
def test_a_joint_that_sends_most_back_may_be_a_break(kind, state, before):
    at = {"p_before": 0.05, "p_at": 0.9, "p_beyond": 0.05}
    fault = Reflection(1.2, (1.1, 1.3), 12.0, 0.6, 0.7, (0.6, 0.8), 4.4, 3.0, kind)
    found = wiring(feedline=FeedlineFindings(1.2, (1.1, 1.3), end="at", reflections=(fault,), **at))["lead"]
    assert found.soft["joint"] == 1.0
    assert found.soft[state] == pytest.approx(before)
    assert len([name for name in found.soft if name.startswith("before")]) == 1


@pytest.mark.parametrize(
    ("kind", "state"), [("open", "before-open"), ("short", "before-short"), ("unknown", "before")]
)
def test_a_lead_that_ends_early_is_open_or_short_by_the_sign_of_its_reflection(kind, state):
    """An open end sends the wave back upright, a short turned over (transmission line theory, any textbook)."""
    ends = {"p_before": 0.9, "p_at": 0.08, "p_beyond": 0.02}
    end = Reflection(1.2, (1.1, 1.3), 12.0, 0.9, 0.95, (0.9, 1.0), 0.9, 0.4, kind)
    lead = FeedlineFindings(1.2, (1.1, 1.3), end="before", end_m=1.2, end_m_90=(1.1, 1.3), reflections=(end,), **ends)
    assert wiring(feedline=lead)["lead"].state == state


def test_a_reading_at_the_edge_of_its_window_is_told_in_part():
    edge = {"normal": 0.6, "low": 0.39, "unknown": 0.01}
    found = wiring(bias=BiasFindings("normal", 4.7, 15.4, state_p=edge))["bias"]
    assert found.soft["low"] == pytest.approx((0.39 + 0.005) / (0.6 + 0.005))
    sure = wiring(bias=BiasFindings("normal", 4.7, 40.0, state_p={"normal": 0.995, "unknown": 0.005}))["bias"]
    assert sure.soft is None


@pytest.mark.parametrize(
    ("meaning", "state"),
    [("none", "none"), ("low", "low"), ("as expected", "normal"), ("high", "high"), ("cannot tell", None)],
)
def test_the_noise_rise_as_it_was_judged(meaning, state):
    rise = NoiseRiseFindings(1.0, None, None, False, 1, 1, None, 14.0, (10.0, 17.0), (), meaning, "")
    found = wiring(noise_rise=rise)
    assert (found["noise-rise"].state if "noise-rise" in found else None) == state


def sky(*chances):
    satellites = tuple(SatelliteSky(f"s{n}", 0.0, 40.0, 38e3, p, None, "gnss") for n, p in enumerate(chances))
    return seen(sky=SkyFindings(sites=(SiteSky("yard", satellites, None, None),)))


def test_the_skyline_tells_as_far_as_it_was_measured():
    assert sky(0.99, 0.98)["sky-view"].state == "clear"
    assert sky(0.03, 0.02)["sky-view"].state == "all-blocked"
    partly = sky(0.5, 0.9)["sky-view"].soft
    assert partly["partly-blocked"] == 1.0
    assert partly["clear"] == pytest.approx(0.45 / 0.5)
    assert partly["all-blocked"] == pytest.approx(0.05 / 0.5)
    assert "partly-blocked" not in sky(0.5)["sky-view"].soft


def test_slow_changes_count_as_far_as_they_are_likely():
    found = seen(tuning=dataclasses.replace(NOTHING.tuning, p_slow=0.2))["change-time"]
    assert (found.state, found.soft["slow"]) == ("normal", pytest.approx(0.25))
    assert "change-time" not in seen(tuning=dataclasses.replace(NOTHING.tuning, p_slow=None))


def test_every_state_that_can_be_seen_is_one_of_the_items():
    items = load_model().items
    for found in (
        signal(paths={"any": path(5.0)}, repeats_positions=5, turns_headings=4),
        wiring(
            ring=RingFindings(None, plan="problems"),
            feedline=FeedlineFindings(None, end="at", p_before=0, p_at=1, p_beyond=0),
        ),
        sky(0.5, 0.5),
    ):
        for one in found.values():
            assert {one.state, *(one.soft or {})} <= set(items[one.item].states)


def test_what_the_estimators_found_moves_the_diagnosis():
    """The same weak reception: a level missing under an open sky is the antenna's or its lead's, not the sky's."""
    rows = "0:00 place vehicle street\n" + "\n".join(f"{minute}:00 signal satellite:east 5 dB" for minute in range(9))
    known = dataclasses.replace(NOTHING, job=make_job(rows))
    missing = dataclasses.replace(known, signal=SignalFindings(paths={"satellite:east": path(7.0)}))
    apart = dataclasses.replace(known, signal=SignalFindings(together_share=0.1, together_share_90=(0.0, 0.3)))
    plain = weigh(known).whole.classes()
    assert weigh(missing).whole.classes()["antenna"] > 1.2 * plain["antenna"]
    assert weigh(missing).whole.classes()["sky"] < plain["sky"]
    assert weigh(apart).whole.classes()["sky"] > plain["sky"]
