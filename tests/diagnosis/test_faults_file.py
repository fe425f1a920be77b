"""faults.toml is whole: every fault, every row a distribution, every line with its reason."""

import tomllib
from importlib import resources

import pytest

from satdiag.diagnosis.model import build_model
from satdiag.diagnosis.titles import TITLES
from satdiag.report.cautions import KEYS
from satdiag.vocabulary import FAULTS

DATA = tomllib.loads(resources.files("satdiag.diagnosis").joinpath("faults.toml").read_text("utf-8"))


def test_it_holds_exactly_the_faults_of_the_vocabulary():
    assert set(DATA["fault"]) == set(FAULTS)
    assert set(TITLES) == {*FAULTS, "none", "other"}


@pytest.mark.parametrize("name", DATA["item"])
def test_every_row_of_an_item_is_a_distribution_with_a_reason(name):
    item = DATA["item"][name]
    assert len(item["say"]) == len(item["states"])
    given = item.get("given", {})
    rows = {"healthy": item["healthy"], **{fault: row["p"] for fault, row in given.items()}}
    for fault, row in rows.items():
        assert fault in ("healthy", "other") or fault in FAULTS
        assert len(row) == len(item["states"])
        assert sum(row) == pytest.approx(1, abs=1e-9)
        assert min(row) > 0
    assert all(row["why"] for row in given.values())
    assert all(fault in given for fault in item.get("decides", ()))


def test_tests_show_items_and_cautions_exist():
    assert all(test["item"] in DATA["item"] for test in DATA["test"].values())
    named = [caution for table in (*DATA["fault"].values(), *DATA["test"].values()) for caution in table["cautions"]]
    assert set(named) <= set(KEYS)


def test_it_states_its_standing_and_its_ranges():
    assert DATA["standing"].startswith("common practice, no source")
    assert "tuned on made-up vehicles" in DATA["standing"]
    assert DATA["prior_range"] > 1
    assert DATA["likelihood_range"] > 1
    assert build_model(DATA).prior_range == DATA["prior_range"]


def test_what_is_outside_the_list_leaves_most_readings_as_they_are():
    model = build_model(DATA)
    share = DATA["other_share"]
    ring, lists = model.items["ring"], model.items["listed-channels"]
    assert ring.other == pytest.approx((1 - share) * ring.healthy + share / len(ring.states))
    assert lists.other[1] == DATA["item"]["listed-channels"]["given"]["other"]["p"][1]
    assert lists.other[1] > 3 * lists.healthy[1]
