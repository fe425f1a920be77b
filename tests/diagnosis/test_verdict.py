"""What is said to people, and when it counts as sure."""

import numpy as np
import pytest

from satdiag.diagnosis import inference
from satdiag.diagnosis.model import HYPOTHESES, load_model
from satdiag.diagnosis.verdict import minutes, percent
from satdiag.diagnosis.worth import COME_BACK_MINUTES, losses, next_tests
from satdiag.sheet import Sheet
from satdiag.vocabulary import FAULTS


@pytest.mark.parametrize(
    ("p", "text"),
    [(0.001, "under 5 %"), (0.05, "about 5 %"), (0.5, "about 50 %"), (0.9512, "over 95 %"), (1, "over 95 %")],
)
def test_percent_never_says_never_or_always(p, text):
    assert percent(p) == text


@pytest.mark.parametrize(
    ("seconds", "text"), [(1, "1 minute"), (150, "2 minutes"), (1560, "25 minutes"), (5800, "1.6 hours")]
)
def test_minutes_are_no_finer_than_they_are_worth(seconds, text):
    assert minutes(seconds) == text


def belief_in(**p):
    """A posterior with given probabilities of sets of faults ('none', 'a+b')."""
    found = np.zeros(len(HYPOTHESES))
    for name, value in p.items():
        faults = frozenset() if name == "none" else frozenset(part.replace("_", "-") for part in name.split("__"))
        found[HYPOTHESES.index(faults)] = value
    return inference.Posterior(found, 0.0)


def test_the_class_leads_and_then_the_fault_in_it():
    found = belief_in(antenna_open=0.3, antenna_weak=0.25, indoors=0.4, none=0.05)
    assert found.top() == ("antenna", "antenna-open")


def test_an_explanation_yields_to_a_fault_that_is_likely():
    assert belief_in(partial_package=0.4, partial_package__obstructed=0.6).top() == ("sky", "obstructed")
    assert belief_in(partial_package=0.6, partial_package__obstructed=0.4).top() == (
        "subscription",
        "partial-package",
    )


def test_losses_of_acting():
    """Mending the right thing costs nothing extra; leaving it brings the vehicle back; the wrong work is wasted."""
    model, table = load_model(), losses(load_model())
    open_, weak = FAULTS.index("antenna-open"), FAULTS.index("antenna-weak")
    single = HYPOTHESES.index(frozenset(["antenna-open"]))
    assert table[0, 0] == 0
    assert table[1 + open_, single] == 0
    assert table[0, single] == COME_BACK_MINUTES
    assert table[1 + weak, single] == model.faults["antenna-weak"].fix_minutes + COME_BACK_MINUTES


def test_tests_are_offered_only_where_they_pay_and_only_once():
    model = load_model()
    assert next_tests(model, belief_in(none=1.0), {}) == ()
    torn = belief_in(id_mismatch=0.5, entitlement_not_received=0.5)
    offered = next_tests(model, torn, {})
    assert offered[0].test == "compare-identifier"
    assert all(test.worth_minutes > test.minutes for test in offered)
    rates = [test.worth_minutes / test.minutes for test in offered]
    assert rates == sorted(rates, reverse=True)
    assert "compare-identifier" not in [test.test for test in next_tests(model, torn, {"identity": "match"})]


def test_sure_needs_more_than_a_high_probability():
    model = load_model()
    reason = "just-installed"
    priors = inference.priors_for(model, Sheet("x", reason=reason))
    other, factor = model.other_prior[reason], model.none_factor[reason]
    firm = {"bias": "open", "any-path": "none", "swap-antenna": "better", "unjudgeable": "many", "listing": "offered"}
    assert inference.stands_firm(model, priors, other, factor, inference.log_terms(model, firm))
    thin = {"swap-antenna": "better"}
    assert not inference.stands_firm(model, priors, other, factor, inference.log_terms(model, thin))
