"""faults.toml is whole: every fault, every row a distribution, every line with its reason."""

import tomllib
from importlib import resources

import pytest

from satdiag.diagnosis.model import build_model
from satdiag.diagnosis.verdict import TITLES
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
    rows = {"healthy": item["healthy"], **{fault: row["p"] for fault, row in item["given"].items()}}
    for fault, row in rows.items():
        assert fault == "healthy" or fault in FAULTS
        assert len(row) == len(item["states"])
        assert sum(row) == pytest.approx(1, abs=1e-9)
        assert min(row) > 0
    assert all(row["why"] for row in item["given"].values())
    assert all(fault in item["given"] for fault in item.get("decides", ()))


def test_tests_show_items_and_cautions_exist():
    assert all(test["item"] in DATA["item"] for test in DATA["test"].values())
    named = [caution for table in (*DATA["fault"].values(), *DATA["test"].values()) for caution in table["cautions"]]
    assert set(named) <= set(KEYS)


def test_it_states_its_standing_and_its_ranges():
    assert DATA["standing"] == "common practice, no source"
    assert DATA["prior_range"] > 1
    assert DATA["likelihood_range"] > 1
    assert build_model(DATA).prior_range == DATA["prior_range"]
