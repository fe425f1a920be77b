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
        of, _, kind = fault.partition("/")
        assert of in ("healthy", "other") or of in FAULTS
        assert not kind or kind in (DATA["other_kinds"] if of == "other" else DATA["fault"][of]["kinds"])
        assert not kind or of == "other" or of not in given, "a row on the whole beside those of its kinds"
        assert len(row) == len(item["states"])
        assert sum(row) == pytest.approx(1, abs=1e-9)
        assert min(row) > 0
    assert all(row["why"] for row in given.values())
    assert all(any(of.split("/")[0] == fault for of in given) for fault in item.get("decides", ()))


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
    plan, lists = model.items["ring-plan"], model.items["listed-channels"]
    anything = plan.by_kind["other", "anything"]
    assert anything == pytest.approx((1 - share) * plan.healthy + share / len(plan.states))
    assert plan.by_kind["other", "service"] == pytest.approx(plan.healthy)
    assert lists.by_kind["other", "anything"][1] == DATA["item"]["listed-channels"]["given"]["other"]["p"][1]
    assert lists.other[1] > 3 * lists.healthy[1]


def test_the_kinds_of_a_fault_share_it_out():
    """Shares add up to one, and a row on the whole is the mean of those of the kinds."""
    model = build_model(DATA)
    every = {name: table["kinds"] for name, table in DATA["fault"].items() if "kinds" in table}
    for name, shares in (every | {"other": DATA["other_kinds"]}).items():
        assert sum(shares.values()) == pytest.approx(1, abs=1e-12)
        assert min(shares.values()) > 0
        for item in model.items.values():
            rows = {kind: item.by_kind.get((name, kind)) for kind in shares}
            if rows[next(iter(shares))] is not None:
                mean = sum(part * rows[kind] for kind, part in shares.items())
                assert (item.other if name == "other" else item.given[name]) == pytest.approx(mean, abs=1e-12)
