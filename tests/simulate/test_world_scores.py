"""The scores of the diagnosis benchmark against worked values, and the two ways of going on testing."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest

SCRIPTS = Path(__file__).parents[2] / "scripts"


@pytest.fixture(autouse=True)
def _scripts(monkeypatch):
    """The scripts' folder on the path, as when one of them runs."""
    monkeypatch.syspath_prepend(str(SCRIPTS))
    yield
    for name in [name for name in sys.modules if name.startswith("bench_diagnosis")]:
        del sys.modules[name]


def record(number=0, fault="antenna-open", klass="antenna", found="antenna-open", p=0.9, tier="rich", present=None):
    """A judged world: two faults known, the rest of the probability on nothing wrong."""
    faults = {"antenna-open": 0.02, "feed-lossy": 0.02, "not-activated": 0.02}
    found_class = {"antenna-open": "antenna", "feed-lossy": "wiring", "not-activated": "subscription"}.get(
        found, found
    )
    classes = {"antenna": 0.02, "wiring": 0.02, "subscription": 0.02, "none": 0.02, "other": 0.01}
    classes[found_class] = p
    if found in faults:
        faults[found] = p
    there = present if present is not None else [fault] * (fault != "none")
    return {
        "number": number, "tier": tier, "reason": "complaint", "state": "works" if fault == "none" else "fault",
        "class": klass, "fault": fault, "present": there,
        "classes_present": [klass], "when": "steady", "other": "", "severity": 0.5, "was": [], "rows": 10,
        "spent_s": 0.1,
        "found": {"state": "fault", "class": found_class, "fault": found, "p": p, "sure": p > 0.95},
        "classes": classes, "faults": faults, "evidence": {"bias": "open"}, "sheet": {}, "earlier": [], "next": [],
    }  # fmt: skip


def test_calibration_error_of_a_worked_example():
    """By hand: bins .1 (1 of 4), .3 (1 of 3), .7 (2 of 2), .9 (1 of 1): (4 .15 + 3 .0333 + 2 .3 + .1) / 10 = 0.14."""
    import numpy as np
    from bench_diagnosis_score import calibration_error

    p = np.array([0.1, 0.1, 0.1, 0.1, 0.3, 0.3, 0.3, 0.7, 0.7, 0.9])
    hit = np.array([0, 0, 1, 0, 0, 1, 0, 1, 1, 1.0])
    assert calibration_error(p + 1e-9, hit) == pytest.approx(0.14, abs=1e-6)


@pytest.mark.parametrize(("count", "mean", "high"), [(100, 0.090, 0.135), (1000, 0.028, 0.043)])
def test_the_null_of_the_calibration_error(count, mean, high):
    """A perfectly calibrated model, p uniform from .3 to 1, ten bins: own simulation of another program, to 10 %."""
    import numpy as np
    from bench_diagnosis_score import calibration_null

    p = np.random.default_rng(3).uniform(0.3, 1.0, count)
    found_mean, found_high = calibration_null(p, draws=600)
    assert found_mean == pytest.approx(mean, rel=0.1)
    assert found_high == pytest.approx(high, rel=0.12)


def test_what_counts_as_right_and_as_confused():
    from bench_diagnosis_score import one

    right = one(record())
    assert (right["class"], right["fault"], right["hit"], right["confused"]) == (True, True, True, False)
    beside = one(record(fault="feed-lossy", klass="wiring", p=0.93))
    assert (beside["class"], beside["confused"]) == (False, True)
    assert not one(record(fault="feed-lossy", klass="wiring", p=0.85))["confused"]
    second = one(record(fault="feed-lossy", klass="wiring", present=["antenna-open", "feed-lossy"]))
    assert second["hit"]
    assert not second["fault"]
    nothing = one(record(fault="none", klass="none", found="none"))
    assert (nothing["class"], nothing["hit"], nothing["top 3"]) == (True, True, True)


def test_log_loss_and_brier_of_probabilities_scaled_to_one():
    """Truth .9 / .97 of the probability; the rest .02 / .97 three times and .01 / .97."""
    from math import log

    from bench_diagnosis_score import one

    scores = one(record())
    assert scores["log loss"] == pytest.approx(-log(0.9 / 0.97))
    assert scores["Brier"] == pytest.approx((0.07**2 + 3 * 0.02**2 + 0.01**2) / 0.97**2)


def test_report_says_all_it_is_asked_for(tmp_path):
    from bench_diagnosis import Order
    from bench_diagnosis_report import html, text

    records = [record(n, tier=tier) for n, tier in enumerate(["sparse", "typical", "rich"] * 4)]
    records += [record(20, fault="feed-lossy", klass="wiring"), {"number": 21, "error": "ValueError: no"}]
    order = Order(21, 1, "tune", "", 0)
    best = {"within": {"rich": (0.9, 0.8, 1.0)}, "trained": {"within": 100}}
    said = text(order, records, best)
    assert "ceiling, within  0.900  [0.800, 1.000]" in said
    for words in ("top-1 class", "top 3", "log loss", "Brier", "null", "above 0.95", "confused above 0.9", "ceiling",
                  "truth | named", "1 analyses failed"):  # fmt: skip
        assert words in said
    page = html(order, records, said)
    assert page.count("<svg") == 4
    assert "<script" not in page


def test_results_go_on_where_they_stopped(tmp_path):
    from bench_diagnosis import Order, _mend_end, read_results

    path, head = tmp_path / "a.jsonl", Order(3, 1, "tune", "", 0).head
    _mend_end(path, head)
    with path.open("a", encoding="utf-8") as file:
        file.write(json.dumps(record(0)) + "\n" + json.dumps(record(1))[:40])
    assert list(read_results(path, head)) == [0]
    _mend_end(path, head)
    with path.open("a", encoding="utf-8") as file:
        file.write(json.dumps(record(2)) + "\n")
    assert list(read_results(path, head)) == [0, 2]
    with pytest.raises(SystemExit, match="another run"):
        read_results(path, Order(3, 2, "tune", "", 0).head)


@pytest.mark.long
def test_the_learned_ceiling_learns_what_is_there_to_learn():
    """Two classes told apart by one item in nine worlds of ten: no more than that can be won."""
    pytest.importorskip("sklearn")
    from bench_diagnosis_ceiling import ceilings

    records = told_by_one_item(300)
    found = ceilings(records, "tune", trees=20)
    assert found["within"]["rich"][0] == pytest.approx(0.9, abs=0.01)
    assert "elsewhere" not in found
    assert ceilings(records[:20], "tune") is None


def told_by_one_item(count, right=9):
    """Worlds of two classes that one item tells apart in so many of ten."""
    records = []
    for number in range(count):
        klass, fault = (("antenna", "antenna-open"), ("wiring", "feed-lossy"))[number % 2]
        state = ("open", "normal")[number % 2] if number // 2 % 10 < right else ("normal", "open")[number % 2]
        records.append({**record(number, fault=fault, klass=klass), "evidence": {"bias": state}})
    return records


@pytest.mark.long
def test_a_ceiling_from_elsewhere_knows_other_settings_alone(tmp_path):
    """Where other settings tell the classes apart the other way round, it is wrong wherever they were right."""
    pytest.importorskip("sklearn")
    from bench_diagnosis_ceiling import ceilings

    turned = [{**one, "evidence": {"bias": {"open": "normal", "normal": "open"}[one["evidence"]["bias"]]}}
              for one in told_by_one_item(160)]  # fmt: skip
    path = tmp_path / "other.jsonl"
    path.write_text("\n".join(map(json.dumps, [{"setting": "calibrate"}, *turned])) + "\n", "utf-8")
    found = ceilings(told_by_one_item(160), "tune", [path], trees=5)
    assert found["elsewhere"]["all"][0] == pytest.approx(0.1, abs=0.001)
    assert found["within"]["all"][0] == pytest.approx(0.9, abs=0.02)
    assert found["trained"] == {"within": 128, "elsewhere": 160, "frequencies": 128}


def test_knowing_the_frequencies_names_the_commoner_of_two_that_look_alike():
    """Both faults at 0.5, the one there four times of five: who knows that is right as often."""
    from bench_diagnosis_ceiling import with_frequencies

    alike = []
    for number in range(100):
        fault, klass = ("feed-lossy", "wiring") if number % 5 else ("antenna-open", "antenna")
        one = record(number, fault=fault, klass=klass)
        alike.append({**one, "faults": {**one["faults"], "antenna-open": 0.5, "feed-lossy": 0.49}})
    assert set(with_frequencies(alike, alike)) == {"wiring"}


def test_minutes_count_the_unsolved_in_full():
    from bench_diagnosis_score import minutes

    def went(solved, spent):
        return {"solved": solved, "sure": solved, "right": solved, "minutes": spent,
                "counted": spent if solved else 180.0, "tests": ["listen"]}  # fmt: skip

    pairs = [{"planned": went(True, 10.0), "checklist": went(True, 40.0)},
             {"planned": went(True, 20.0), "checklist": went(False, 90.0)}]  # fmt: skip
    found = minutes([{"minutes": pair} for pair in pairs])
    assert found["mean"] == {"planned": 15.0, "checklist": 110.0}
    assert found["ratio"] == pytest.approx(15 / 110)
    assert found["ratio both solved"] == pytest.approx(0.25)
    assert minutes([record()]) is None
    pairs = [{**pair, "proof": went(True, 30.0), "shortest": {"counted": least}}
             for pair, least in zip(pairs, (11.0, 180.0), strict=True)]  # fmt: skip
    found = minutes([{"minutes": pair} for pair in pairs])
    assert found["by aim"]["proof"]["ratio"] == pytest.approx(60 / 220)
    assert found["by aim"]["proof"]["ratio both solved"] == pytest.approx(0.75)
    assert found["by aim"]["proof"]["ratio both median"] == pytest.approx(0.75)
    assert found["solved"] == {"planned": 1.0, "proof": 1.0, "checklist": 0.5}
    assert (found["bound"], found["can be"]) == (pytest.approx(191 / 220), 1)


def test_the_shortest_way_is_the_cheapest_set_that_settles_it():
    """Two faults alike in all but what two tests show: one of them is enough, and the cheaper one is taken."""
    import numpy as np
    from bench_diagnosis_shortest import cheapest

    from satdiag.diagnosis.estimate import Weighed
    from satdiag.diagnosis.inference import Posterior, Prior
    from satdiag.diagnosis.model import load_model
    from satdiag.diagnosis.seen import Seen
    from satdiag.diagnosis.space import space_of
    from satdiag.vocabulary import FAULTS

    space, model = space_of(), load_model()
    two = {"antenna-open": 0.02, "receiver-defective": 0.02}
    prior = Prior({**dict.fromkeys(FAULTS, 1e-9), **two}, 1e-9, 1e-6)
    p = np.exp(prior.log(space))
    start = Weighed(model, (), prior, np.log(p), {}, Posterior(space, p, 0.0), None, None, None)
    shown = {
        "measure-bias": {"bias": Seen("bias", "open")},
        "check-listing": {"listing": Seen("listing", "offered")},
        "swap-receiver": {"swap-receiver": Seen("swap-receiver", "same")},
    }
    prices = {"measure-bias": (6.0, ""), "check-listing": (1.0, ""), "swap-receiver": (30.0, "")}
    found = cheapest(start, shown, prices, ("antenna-open",), 180.0)
    assert (found["counted"], found["tests"]) == (6.0, ["measure-bias"])
    assert cheapest(start, shown, prices, ("indoors",), 180.0)["counted"] == 180.0


def test_a_search_ended_early_says_neither_that_it_can_be_solved_nor_that_it_cannot():
    """By hand: the second of three worlds was cut short; the bound is (20 + 180) / (40 + 180), and one can be."""
    from bench_diagnosis_minutes import stopped, stopped_text
    from bench_diagnosis_score import minutes

    def went(solved, spent):
        return {"solved": solved, "sure": solved, "right": solved, "minutes": spent,
                "counted": spent if solved else 180.0, "tests": ["listen"]}  # fmt: skip

    def pair(checklist, shortest):
        return {"planned": went(False, 9.0), "proof": went(False, 9.0), "checklist": checklist, "shortest": shortest}

    pairs = [
        pair(went(True, 40.0), {"counted": 20.0, "cut": False}),
        pair(went(False, 90.0), {"counted": 60.0, "cut": True}),
        pair(went(False, 90.0), {"counted": 180.0}),
    ]
    found = minutes([{"minutes": pair} for pair in pairs])
    assert (found["bound"], found["can be"], found["cut"]) == (pytest.approx(200 / 220), 1, 1)
    told = stopped([{"minutes": pair} for pair in pairs])
    assert (told["worlds"], told["solvable worlds"], told["cut"]) == (3, 1, 1)
    assert any("1 left out" in line for line in stopped_text([{"minutes": pair} for pair in pairs]))
    pairs[1]["proof"] = went(True, 50.0)  # whoever solves it shows that it can be solved
    assert stopped([{"minutes": pair} for pair in pairs])["solvable worlds"] == 2
    only = minutes([{"minutes": pairs[1]}])
    assert "bound" not in only
    assert only["cut"] == 1


def test_the_checklist_holds_tests_that_worlds_can_answer():
    from bench_diagnosis_minutes import CHECKLIST, prices

    from satdiag.simulate.worlds import known_tests

    assert set(CHECKLIST) <= set(known_tests()) & set(prices())
    assert len(set(CHECKLIST)) == len(CHECKLIST)


def test_minutes_are_told_where_it_can_be_solved_and_until_each_stops():
    """By hand: two of three worlds can be solved; who gives up after 3 minutes there is counted with 180."""
    from bench_diagnosis_minutes import stopped, stopped_text

    def went(solved, spent):
        return {"solved": solved, "minutes": spent, "counted": spent if solved else 180.0, "tests": ["listen"]}

    def pair(planned, proof, checklist, least):
        return {"planned": planned, "proof": proof, "checklist": checklist, "shortest": {"counted": least}}

    pairs = [
        pair(went(True, 10.0), went(True, 20.0), went(True, 40.0), 8.0),
        pair(went(False, 9.0), went(False, 3.0), went(False, 160.0), 16.0),
        pair(went(False, 2.0), went(False, 1.0), went(False, 100.0), 180.0),
    ]
    records = [{"minutes": pair} for pair in pairs]
    found = stopped(records)
    assert (found["worlds"], found["solvable worlds"]) == (3, 2)
    assert found["solvable"]["proof"][:2] == pytest.approx((100.0, 200 / 220))
    assert found["stop solvable"]["proof"][:2] == pytest.approx((11.5, 23 / 200))
    assert found["stop"]["proof"][:2] == pytest.approx((8.0, 24 / 300))
    mean, ratio, low, high = found["stop"]["planned"]
    assert low <= ratio <= high
    assert (mean, ratio) == pytest.approx((7.0, 21 / 300))
    assert any("the same in the 2 worlds that somebody" in line for line in stopped_text(records))
    assert stopped_text([{"minutes": {who: pairs[0][who] for who in ("planned", "proof", "checklist")}}]) == []
