"""Inference against published answers and brute force."""

import dataclasses
from itertools import combinations, pairwise, product

import numpy as np
import pytest

from satdiag.diagnosis import inference
from satdiag.diagnosis.inference import Prior, prior_for
from satdiag.diagnosis.model import Item, load_model
from satdiag.diagnosis.seen import Seen
from satdiag.diagnosis.space import space_of
from satdiag.diagnosis.weighing import combined, exponents, log_terms
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


def loose_model(*names):
    """A model whose items stand each in a family of its own, without any cap: for networks of other people."""
    items = {name: Item(name, name, name, ("no", "yes"), ("", ""), np.array([0.5, 0.5]), {}, ()) for name in names}
    return dataclasses.replace(load_model(), items=items, family_cap_db=1e6)


def _found(prior, terms):
    return inference.posterior(loose_model(*terms), None, prior, terms)


@pytest.mark.parametrize(("evidence", "p_evidence", "marginals"), reference.ASIA_ANSWERS)
def test_asia_network_has_the_published_answers(evidence, p_evidence, marginals):
    found = _found(_asia_joint(), _asia_terms(evidence))
    assert np.exp(found.log_evidence) == pytest.approx(p_evidence, abs=5e-10)
    for name, expected in marginals.items():
        holds = np.array([world[NAMES.index(name)] for world in WORLDS])
        assert found.p[holds].sum() == pytest.approx(expected, abs=6e-7)


@pytest.mark.parametrize(("evidence", "bits"), reference.ASIA_CONFLICT_BITS)
def test_conflict_on_the_asia_network(evidence, bits):
    prior, terms = _asia_joint(), _asia_terms(evidence)
    found = inference.conflict_bits(prior, terms, _found(prior, terms).log_evidence)
    assert found == pytest.approx(bits, abs=2e-6)


def test_the_reading_to_repeat_is_the_one_without_which_the_conflict_is_least():
    """Asia: never smoked, a positive X-ray, no shortness of breath; each pair's conflict is known by enumeration."""
    prior, terms = _asia_joint(), _asia_terms({"smoke": False, "xray": True, "dysp": False})
    model = loose_model(*terms)
    whole = inference.posterior(model, None, prior, terms)
    bits = inference.conflict_bits(prior, terms, whole.log_evidence)
    assert bits == pytest.approx(reference.ASIA_ODD_BITS, abs=2e-6)
    odd = inference.odd_ones(model, whole, prior, terms)[0]
    left = {}
    for name in terms:
        rest = {other: term for other, term in terms.items() if other != name}
        left[name] = inference.conflict_bits(prior, rest, _found(prior, rest).log_evidence)
    assert odd.item == min(left, key=left.get) == "xray"
    assert odd.bits == pytest.approx(bits - left["xray"])
    assert odd.chance == pytest.approx(
        np.exp(whole.log_evidence)
        / np.exp(_found(prior, {k: v for k, v in terms.items() if k != "xray"}).log_evidence)
    )


def three_causes(healthy, rows, names=FAULTS[:3]):
    return Item(
        "x",
        "x",
        "x",
        tuple("abc"[: len(healthy)]),
        ("",) * len(healthy),
        healthy,
        dict(zip(names, rows, strict=False)),
        (),
    )


def test_causes_together_are_noisy_or_for_two_states():
    names = dict(zip(reference.FEVER_INHIBITORS, FAULTS, strict=False))
    rows = [np.array([inhibitor, 1 - inhibitor]) for inhibitor in reference.FEVER_INHIBITORS.values()]
    space = space_of(3)
    table = three_causes(np.array([1.0, 0.0]), rows).under(space, 0.0)
    for causes, expected in reference.NO_FEVER.items():
        assert table[space.index_of(*(names[cause] for cause in causes)), 0] == pytest.approx(expected, abs=1e-12)


def test_causes_together_show_the_worst_of_independent_states():
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
    space = space_of(2)
    table = three_causes(healthy, rows).under(space, 0.0)
    assert table[space.index_of(*FAULTS[:2])] == pytest.approx(expected, abs=1e-12)
    assert table[space.index_of(FAULTS[0])] == pytest.approx(rows[0], abs=1e-12)
    assert table[space.index_of(FAULTS[0], FAULTS[5])] == pytest.approx(rows[0], abs=1e-12)
    assert table[space.none] == pytest.approx(healthy)
    assert table[space.other] == pytest.approx([1 / 3] * 3)


@pytest.mark.parametrize(("decibans", "probability"), reference.DECIBANS.items())
def test_decibans(decibans, probability):
    assert inference.decibans(probability) == pytest.approx(decibans, abs=1e-4 if decibans < 20 else 3e-3)


def test_weights_are_leave_one_out():
    prior = np.log(np.array(reference.FOUR_PRIOR))
    terms = {str(n): np.log(np.array(row)) for n, row in enumerate(reference.FOUR_ITEMS)}
    model = loose_model(*terms)
    whole = inference.posterior(model, None, prior, terms)
    assert whole.p == pytest.approx(reference.FOUR_POSTERIOR, abs=1e-6)
    third = np.array([False, False, True, False])
    found = [inference.weight_of(name, third, model, whole, prior, terms) for name in terms]
    assert found == pytest.approx(reference.FOUR_WEIGHTS_DB, abs=1e-5)


def test_what_an_estimator_could_tell_only_in_part_is_virtual_evidence():
    """Asia with a likelihood of 0.8 to 0.2 for a positive X-ray (equal to pgmpy 1.1.2's virtual evidence)."""
    prior = _asia_joint()
    positive = np.array([float(world[NAMES.index("xray")]) for world in WORLDS])
    found = _found(prior, {"xray": np.log(0.8 * positive + 0.2 * (1 - positive))})
    for name, expected in reference.ASIA_VIRTUAL.items():
        holds = np.array([world[NAMES.index(name)] for world in WORLDS])
        assert found.p[holds].sum() == pytest.approx(expected, abs=6e-7)


def test_soft_readings_add_up_over_the_states_and_a_certain_one_is_a_plain_reading():
    model, space = load_model(), space_of(2)
    plain = log_terms(model, space, [Seen("change-time", "slow")])["change-time"]
    certain = log_terms(model, space, [Seen("change-time", "slow", soft={"slow": 1.0})])["change-time"]
    assert certain == pytest.approx(plain, abs=1e-12)
    unsure = log_terms(model, space, [Seen("change-time", "slow", soft={"slow": 1.0, "normal": 1.0})])["change-time"]
    assert unsure == pytest.approx(np.zeros(len(unsure)), abs=1e-12)
    third = log_terms(model, space, [Seen("change-time", "slow", soft={"slow": 1.0, "normal": 0.3})])["change-time"]
    table = np.exp(model.log_likelihood("change-time", space))
    assert np.exp(third / model.tempering_of("audio")) == pytest.approx(table @ [0.3, 1.0])


def test_a_family_of_items_moves_odds_no_further_than_its_cap():
    model, space = load_model(), space_of(2)
    names = [name for name, item in model.items.items() if item.family == "reception"]
    terms = {name: np.where(space.mask_of("indoors"), 0.0, -20.0) for name in names}
    moved = np.ptp(combined(model, terms)) * 10 / np.log(10)
    assert len(names) > 2
    assert moved == pytest.approx(model.family_cap_db)
    one = {names[0]: terms[names[0]] / 10}
    assert combined(model, one) == pytest.approx(one[names[0]])


@pytest.mark.parametrize(("correlation", "effective", "probability"), reference.REPEATS)
def test_items_that_lean_on_one_another_count_as_fewer(correlation, effective, probability):
    """Ten alike items of one family with a likelihood ratio of 4 each, prior 0.05."""
    names = [str(number) for number in range(10)]
    family = {name: dataclasses.replace(item, family="one") for name, item in loose_model(*names).items.items()}
    model = dataclasses.replace(loose_model(), items=family, family_correlation=correlation, tempering=1.0)
    weight = exponents(model, names)
    assert sum(weight.values()) == pytest.approx(effective, abs=1e-6)
    odds = 0.05 / 0.95 * 4 ** sum(weight.values())
    assert odds / (1 + odds) == pytest.approx(probability, abs=1e-6)


@pytest.mark.parametrize("order", [2, 3])
def test_marginals_equal_brute_force_over_sets_of_at_most_so_many_faults(order):
    """Written apart from the engine: plain probabilities, loops over fault sets, no logarithms."""
    model, space = load_model(), space_of(order)
    prior = prior_for(model, Sheet("x", reason="complaint"))
    seen = {"bias": "open", "listing": "offered", "swap-antenna": "better", "account": "confirmed"}
    assert len({model.items[name].family for name in seen}) == len(seen)  # so that no tempering enters
    model = dataclasses.replace(model, tempering=1.0, family_weight={})
    mass = dict.fromkeys([*FAULTS, "none", "other", "total"], 0.0)
    sets = [chosen for size in range(order + 1) for chosen in combinations(FAULTS, size)]
    for faults in [*sets, ("other",)]:
        p = prior.other if faults == ("other",) else 1 - prior.other
        if faults != ("other",):
            for fault in FAULTS:
                p *= prior.faults[fault] if fault in faults else 1 - prior.faults[fault]
            p *= prior.second_factor ** (len(faults) - 1) if faults else prior.none_factor
        for name, state in seen.items():
            p *= _by_hand(model.items[name], faults, state, model.error_floor)
        for name in faults or ("none",):
            mass[name] += p
        mass["total"] += p
    terms = log_terms(model, space, [Seen(*one) for one in seen.items()])
    found = inference.posterior(model, space, prior.log(space), terms)
    for name in (*FAULTS, "none", "other"):
        assert found.probability_of(name) == pytest.approx(mass[name] / mass["total"], abs=1e-12)


def _by_hand(item: Item, faults: tuple[str, ...], state: str, floor: float) -> float:
    count, number = len(item.states), item.states.index(state)
    if faults == ("other",):
        anything = 1 / count if item.other is None else float(item.other[number])
        return (1 - floor) * anything + floor / count
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
    model, space = load_model(), space_of(2)
    for reason in REASONS:
        prior = prior_for(model, Sheet("x", reason=reason)).log(space)
        assert inference.posterior(model, space, prior, {}).p == pytest.approx(np.exp(prior))
        seen = [Seen("bias", "open"), Seen("satellite", "none"), Seen("repeater", "none"), Seen("listing", "offered")]
        forth = inference.posterior(model, space, prior, log_terms(model, space, seen)).p
        back = inference.posterior(model, space, prior, log_terms(model, space, seen[::-1])).p
        assert forth == pytest.approx(back, abs=1e-12)
        assert space.hypotheses[space.none] == frozenset()


def test_raising_a_prior_never_lowers_that_fault():
    model, space = load_model(), space_of(2)
    prior = prior_for(model, Sheet("x", reason="complaint"))
    seen = [Seen("bias", "normal"), Seen("any-path", "varying"), Seen("entitlement", "stalled")]
    terms = log_terms(model, space, seen)
    before = inference.posterior(model, space, prior.log(space), terms).faults()
    for fault in FAULTS:
        raised = Prior(
            {**prior.faults, fault: inference.scale_odds(prior.faults[fault], 3.0)}, prior.other, prior.none_factor
        )
        assert inference.posterior(model, space, raised.log(space), terms).faults()[fault] >= before[fault]


def test_a_second_hand_receiver_makes_a_wrong_identifier_more_likely():
    model = load_model()
    new, unsaid, used = (
        p / (1 - p)
        for flag in (False, None, True)
        for p in [
            prior_for(model, Sheet("x", reason="unknown", receiver=Receiver(second_hand=flag))).faults["id-mismatch"]
        ]
    )
    fault = model.faults["id-mismatch"]
    assert used / unsaid == pytest.approx(fault.second_hand_factor)
    assert new / unsaid == pytest.approx(fault.new_factor)
    assert fault.second_hand_factor > 1 > fault.new_factor


def test_a_single_lead_makes_the_wrong_conductor_less_likely_and_a_dual_one_more():
    model = load_model()
    odds = {}
    for lead in ("single", "unknown", "dual"):
        p = prior_for(model, Sheet("x", receiver=Receiver(antenna_lead=lead))).faults["feed-swapped"]
        odds[lead] = p / (1 - p)
    factors = model.faults["feed-swapped"].lead_factor
    assert odds["single"] == pytest.approx(factors["single"] * odds["unknown"])
    assert odds["dual"] == pytest.approx(factors["dual"] * odds["unknown"])
