"""Marginals over all sets of faults at once, against published numbers and plain enumeration."""

import dataclasses
from itertools import product

import numpy as np
import pytest

from satdiag.diagnosis import quickscore
from satdiag.diagnosis.inference import Prior, prior_for, scale_odds
from satdiag.diagnosis.model import Item, load_model
from satdiag.diagnosis.seen import Seen
from satdiag.diagnosis.space import space_of
from satdiag.sheet import Sheet
from satdiag.vocabulary import FAULTS
from tests.references import diagnosis as reference


def prior_of(*p):
    """The first faults with these priors; the others cannot be."""
    return Prior({fault: p[k] if k < len(p) else 0.0 for k, fault in enumerate(FAULTS)}, 0.01, 1.0)


def item(healthy, rows):
    states = tuple(str(state) for state in range(len(healthy)))
    given = {FAULTS[k]: np.array(row) for k, row in enumerate(rows) if row is not None}
    return Item("x", "x", "x", states, states, np.array(healthy), given, ())


@pytest.mark.parametrize(("findings", "chance", "marginals"), reference.QMR_ANSWERS)
def test_three_faults_and_three_findings(findings, chance, marginals):
    parts = []
    for value, leak, causes in zip(findings, reference.QMR_LEAKS, reference.QMR_CAUSES, strict=True):
        rows = [None if q == 0 else [(1 - leak) * (1 - q), 1 - (1 - leak) * (1 - q)] for q in causes]
        if value is not None:
            parts.append(quickscore.levels_of(item([1 - leak, leak], rows), Seen("x", str(value)), 0.0))
    whole, joint = quickscore.all_sets(parts, prior_of(*reference.QMR_PRIORS))
    assert whole == pytest.approx(chance, abs=6e-9)
    assert joint[:3] / whole == pytest.approx(marginals, abs=6e-7)


def cumulative(item_, held, state):
    """P(worst state <= state) with independent causes, by the definition."""
    base = np.cumsum(item_.healthy)
    found = base[state]
    for fault in held:
        if fault in item_.given:
            found *= min(np.cumsum(item_.given[fault])[state] / base[state], 1.0)
    return found


@pytest.mark.parametrize("seed", range(12))
def test_random_models_of_several_states_against_all_sets(seed):
    """Eight faults, five findings of two to four states, some of them soft: 256 sets by hand."""
    rng = np.random.default_rng(seed)
    priors = rng.uniform(0.005, 0.1, 8)
    second = (1.0, 0.4, 2.5)[seed % 3]
    prior = dataclasses.replace(prior_of(*priors), none_factor=0.3, second_factor=second)
    items, seen = [], []
    for _ in range(5):
        count = int(rng.integers(2, 5))
        healthy = rng.dirichlet(np.linspace(6, 1, count))
        rows = [rng.dirichlet(np.linspace(1, 4, count)) if rng.random() < 0.6 else None for _ in range(8)]
        items.append(item(healthy, rows))
        soft = dict(zip(items[-1].states, rng.uniform(0.05, 1, count), strict=True)) if rng.random() < 0.4 else None
        seen.append(Seen("x", str(rng.integers(count)), soft=soft))
    whole, joint = quickscore.all_sets(
        [quickscore.levels_of(one, look, 0.0) for one, look in zip(items, seen, strict=True)], prior
    )
    expected, faults = 0.0, np.zeros(8)
    for bits in product((False, True), repeat=8):
        held = [fault for fault, flag in zip(FAULTS, bits, strict=False) if flag]
        p = np.prod([priors[k] if bits[k] else 1 - priors[k] for k in range(8)])
        p *= second ** (len(held) - 1) if held else 0.3
        for one, look in zip(items, seen, strict=True):
            chances = np.diff([0.0, *(cumulative(one, held, s) for s in range(len(one.states)))])
            likelihood = [look.soft[s] if look.soft else float(s == look.state) for s in one.states]
            p *= float(chances @ likelihood)
        expected += p
        faults[np.array(bits)] += p
    assert whole == pytest.approx(expected, rel=1e-9)
    assert joint[:8] == pytest.approx(faults, rel=1e-7, abs=1e-15)


def test_pairs_leave_little_out_for_one_fault_and_much_for_three():
    model, space = load_model(), space_of(2)
    prior = prior_for(model, Sheet("x", reason="complaint"))
    one = [Seen("bias", "open"), Seen("any-path", "none"), Seen("listing", "offered")]
    assert quickscore.left_out(model, space, prior, one) < 0.05
    three = [
        Seen("listing", "not-offered"),
        Seen("configuration", "differs"),
        Seen("bias", "short"),
        Seen("swap-antenna", "better"),
        Seen("identity", "mismatch"),
        Seen("account", "none"),
        Seen("resets", "several"),
    ]
    assert quickscore.left_out(model, space, prior, three) > 0.05
    assert quickscore.left_out(model, space_of(3), prior, three) < quickscore.left_out(model, space, prior, three)


def test_pairs_of_the_truncated_model_are_the_pairs_of_the_full_one_when_no_third_fault_can_be():
    """With all but two priors at nothing, the sets of two are all sets."""
    model = load_model()
    few = dict.fromkeys(FAULTS, 1e-12) | {"antenna-weak": 0.2, "indoors": 0.3}
    prior = Prior(few, 0.01, 1.0, 0.4)
    seen = [Seen("any-path", "weak"), Seen("bias", "normal")]
    exact, pairs = quickscore.marginals(model, prior, seen), quickscore.truncated(model, space_of(2), prior, seen)
    for fault in FAULTS:
        assert pairs[fault] == pytest.approx(exact[fault], abs=1e-9)


def test_too_long_a_sum_is_not_begun():
    model = load_model()
    names = [name for name, one in model.items.items() if len(one.states) > 2]
    soft = [
        Seen(name, model.items[name].states[0], soft={s: 0.1 * k for k, s in enumerate(model.items[name].states)})
        for name in names
    ]
    assert np.prod([float(len(model.items[name].states)) for name in names]) > quickscore.MOST_TERMS
    assert quickscore.marginals(model, prior_for(model, Sheet("x")), soft) is None


def test_moving_the_odds_of_one_fault_moves_its_probability_by_the_published_rule():
    """p' = k p / (1 - p + k p): the prior odds of one fault times k, all else alike (Chan & Darwiche 2002)."""
    model = load_model()
    prior = prior_for(model, Sheet("x", reason="complaint"))
    seen = [Seen("bias", "open"), Seen("any-path", "none")]
    p = quickscore.marginals(model, prior, seen)["antenna-open"]
    for k in (0.25, 3.0, 9.0):
        raised = {**prior.faults, "antenna-open": scale_odds(prior.faults["antenna-open"], k)}
        moved = quickscore.marginals(model, dataclasses.replace(prior, faults=raised), seen)["antenna-open"]
        assert moved == pytest.approx(k * p / (1 - p + k * p), abs=1e-9)


def test_of_nothing_seen_the_prior_is_left():
    model = load_model()
    known = prior_for(model, Sheet("x", reason="check"))
    prior = Prior(known.faults, known.other, 1.0)  # nothing wrong as often as all faults are absent
    found = quickscore.marginals(model, prior, [])
    assert [found[fault] for fault in FAULTS] == pytest.approx([prior.faults[fault] for fault in FAULTS], rel=1e-9)


def test_a_space_that_tells_kinds_apart_has_the_marginals_of_one_that_does_not():
    """The sets of faults are the same; each stands there once for every kind, with that kind's share."""
    model = load_model()
    prior = prior_for(model, Sheet("x", reason="complaint"))
    assert model.shares
    assert len(model.space(2).hypotheses) > len(space_of(2).hypotheses)
    for seen in ([], [Seen("bias", "open"), Seen("any-path", "none")], [Seen("configuration", "differs")]):
        plain = quickscore.truncated(model, space_of(2), prior, seen)
        assert quickscore.truncated(model, model.space(2), prior, seen) == pytest.approx(plain, rel=1e-9)
