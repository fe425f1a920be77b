"""Inference against published answers and brute force."""

from itertools import combinations, pairwise, product

import numpy as np
import pytest

from satdiag.diagnosis import inference
from satdiag.diagnosis.model import HYPOTHESES, NONE, Item, load_model, noisy_max
from satdiag.diagnosis.worth import saving
from satdiag.sheet import Receiver, Sheet
from satdiag.vocabulary import FAULTS, REASONS
from tests.references import diagnosis as reference

NAMES = ("asia", "smoke", "tub", "lung", "bronc", "xray", "dysp")
WORLDS = list(product((True, False), repeat=len(NAMES)))


def _asia_joint() -> np.ndarray:
    table = reference.ASIA
    weights = []
    for world in WORLDS:
        x = dict(zip(NAMES, world, strict=True))
        either = x["tub"] or x["lung"]
        chances = {
            "asia": table["asia"],
            "smoke": table["smoke"],
            "tub": table["tub"][x["asia"]],
            "lung": table["lung"][x["smoke"]],
            "bronc": table["bronc"][x["smoke"]],
            "xray": table["xray"][either],
            "dysp": table["dysp"][(x["bronc"], either)],
        }
        weights.append(np.prod([chances[name] if x[name] else 1 - chances[name] for name in NAMES]))
    return np.log(np.array(weights))


def _asia_terms(evidence):
    with np.errstate(divide="ignore"):
        return {
            name: np.log(np.array([float(world[NAMES.index(name)] == value) for world in WORLDS]))
            for name, value in evidence.items()
        }


@pytest.mark.parametrize(("evidence", "p_evidence", "marginals"), reference.ASIA_ANSWERS)
def test_asia_network_has_the_published_answers(evidence, p_evidence, marginals):
    found = inference.posterior(_asia_joint(), _asia_terms(evidence))
    assert np.exp(found.log_evidence) == pytest.approx(p_evidence, abs=5e-10)
    for name, expected in marginals.items():
        holds = np.array([world[NAMES.index(name)] for world in WORLDS])
        assert found.p[holds].sum() == pytest.approx(expected, abs=6e-7)


@pytest.mark.parametrize(("evidence", "bits"), reference.ASIA_CONFLICT_BITS)
def test_conflict_on_the_asia_network(evidence, bits):
    prior, terms = _asia_joint(), _asia_terms(evidence)
    found = inference.conflict_bits(prior, terms, inference.posterior(prior, terms))
    assert found == pytest.approx(bits, abs=2e-6)


def test_noisy_max_is_noisy_or_for_two_states():
    rows = {name: np.array([inhibitor, 1 - inhibitor]) for name, inhibitor in reference.FEVER_INHIBITORS.items()}
    for causes, expected in reference.NO_FEVER.items():
        found = noisy_max(np.array([1.0, 0.0]), [rows[name] for name in causes])
        assert found[0] == pytest.approx(expected, abs=1e-12)


def test_noisy_max_is_the_worst_of_independent_causes():
    """Against enumeration: three causes with a healthy leak, each drawing a state of its own; the worst one shows."""
    healthy = np.array([0.7, 0.2, 0.1])
    own = [np.array([0.5, 0.3, 0.2]), np.array([0.4, 0.1, 0.5])]
    rows = []
    for cause in own:
        row = np.zeros(3)
        for (a, pa), (b, pb) in product(enumerate(healthy), enumerate(cause)):
            row[max(a, b)] += pa * pb
        rows.append(row)
    expected = np.zeros(3)
    for (a, pa), (b, pb), (c, pc) in product(*(enumerate(part) for part in (healthy, *own))):
        expected[max(a, b, c)] += pa * pb * pc
    assert noisy_max(healthy, rows) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize(("decibans", "probability"), reference.DECIBANS.items())
def test_decibans(decibans, probability):
    assert inference.decibans(probability) == pytest.approx(decibans, abs=1e-4 if decibans < 20 else 3e-3)


def test_weights_are_leave_one_out():
    prior = np.log(np.array(reference.FOUR_PRIOR))
    terms = {str(n): np.log(np.array(row)) for n, row in enumerate(reference.FOUR_ITEMS)}
    assert inference.posterior(prior, terms).p == pytest.approx(reference.FOUR_POSTERIOR, abs=1e-6)
    third = np.array([False, False, True, False])
    found = [inference.weight_of(name, third, prior, terms) for name in terms]
    assert found == pytest.approx(reference.FOUR_WEIGHTS_DB, abs=1e-5)


def test_value_of_information_of_the_oil_wildcatter():
    prior = np.array(reference.WILDCATTER_PRIOR)
    losses = -np.array([reference.WILDCATTER_DRILL, (0.0, 0.0, 0.0)])
    seismic = np.array(reference.WILDCATTER_SEISMIC).T
    assert saving(losses, prior[:, None] * seismic) == pytest.approx(reference.WILDCATTER_EVSI)
    assert saving(losses, np.diag(prior)) == pytest.approx(reference.WILDCATTER_EVPI)


def test_marginals_equal_brute_force_over_sets_of_at_most_two_faults():
    """Written apart from the engine: plain probabilities, loops over fault sets, no logarithms."""
    model = load_model()
    reason = "complaint"
    priors = inference.priors_for(model, Sheet("x", reason=reason))
    other, factor = model.other_prior[reason], model.none_factor[reason]
    seen = {"bias": "open", "listing": "offered", "swap-antenna": "better", "account": "confirmed"}
    assert len({model.items[name].family for name in seen}) == len(seen)  # so that no tempering enters
    mass = dict.fromkeys([*FAULTS, "none", "other"], 0.0)
    for faults in [(), *((f,) for f in FAULTS), *combinations(FAULTS, 2), ("other",)]:
        p = other if faults == ("other",) else 1 - other
        if faults != ("other",):
            for fault in FAULTS:
                p *= priors[fault] if fault in faults else 1 - priors[fault]
            p *= factor if not faults else 1
        for name, state in seen.items():
            p *= _by_hand(model.items[name], faults, state, model.error_floor)
        for name in faults or ("none",):
            mass[name] += p
        mass["total"] = mass.get("total", 0.0) + p
    found = inference.posterior(inference.log_prior(priors, other, factor), inference.log_terms(model, seen))
    for fault in FAULTS:
        assert found.faults()[fault] == pytest.approx(mass[fault] / mass["total"], abs=1e-12)
    assert found.probability_of("none") == pytest.approx(mass["none"] / mass["total"], abs=1e-12)
    assert found.probability_of("other") == pytest.approx(mass["other"] / mass["total"], abs=1e-12)


def _by_hand(item: Item, faults: tuple[str, ...], state: str, floor: float) -> float:
    count, number = len(item.states), item.states.index(state)
    if faults == ("other",):
        return 1 / count
    deciding = [fault for fault in item.decides if fault in faults]
    if deciding:
        plain = item.given[deciding[0]]
    else:
        known = [item.given[fault] for fault in faults if fault in item.given]
        if len(known) < 2:
            plain = known[0] if known else item.healthy
        else:
            below = [1.0] * count
            for upto in range(count):
                healthy = sum(item.healthy[: upto + 1])
                below[upto] = healthy
                for row in known:
                    below[upto] *= min(sum(row[: upto + 1]) / healthy, 1)
            below[-1] = 1.0
            for upto in range(count - 2, -1, -1):
                below[upto] = min(below[upto], below[upto + 1])
            plain = [below[0], *(b - a for a, b in pairwise(below))]
    return (1 - floor) * float(plain[number]) + floor / count


def test_no_evidence_gives_back_the_prior_and_order_does_not_matter():
    model = load_model()
    for reason in REASONS:
        prior = inference.log_prior(
            inference.priors_for(model, Sheet("x", reason=reason)),
            model.other_prior[reason],
            model.none_factor[reason],
        )
        assert inference.posterior(prior, {}).p == pytest.approx(np.exp(prior))
        seen = {"bias": "open", "satellite": "none", "repeater": "none", "listing": "offered"}
        forth = inference.posterior(prior, inference.log_terms(model, seen)).p
        back = inference.posterior(prior, inference.log_terms(model, dict(reversed(seen.items())))).p
        assert forth == pytest.approx(back, abs=1e-12)
        assert HYPOTHESES[NONE] == frozenset()


def test_raising_a_prior_never_lowers_that_fault():
    model = load_model()
    priors = inference.priors_for(model, Sheet("x", reason="complaint"))
    terms = inference.log_terms(model, {"bias": "normal", "any-path": "varying", "entitlement": "stalled"})
    for fault in FAULTS:
        before = inference.posterior(inference.log_prior(priors, 0.03, 0.4), terms).faults()[fault]
        raised = {**priors, fault: inference.scale_odds(priors[fault], 3.0)}
        assert inference.posterior(inference.log_prior(raised, 0.03, 0.4), terms).faults()[fault] >= before


def test_a_second_hand_receiver_makes_a_wrong_identifier_more_likely():
    model = load_model()
    new, used = (
        inference.priors_for(model, Sheet("x", reason="unknown", receiver=Receiver(second_hand=flag)))["id-mismatch"]
        for flag in (False, True)
    )
    assert used / (1 - used) == pytest.approx(model.faults["id-mismatch"].second_hand_factor * new / (1 - new))


def test_a_single_lead_makes_the_wrong_conductor_less_likely_and_a_dual_one_more():
    model = load_model()
    odds = {}
    for lead in ("single", "unknown", "dual"):
        p = inference.priors_for(model, Sheet("x", receiver=Receiver(antenna_lead=lead)))["feed-swapped"]
        odds[lead] = p / (1 - p)
    factors = model.faults["feed-swapped"].lead_factor
    assert odds["single"] == pytest.approx(factors["single"] * odds["unknown"])
    assert odds["dual"] == pytest.approx(factors["dual"] * odds["unknown"])
