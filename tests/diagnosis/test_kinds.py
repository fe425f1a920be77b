"""Faults that come in several kinds: what one kind shows in one item goes with what it shows in the next.

Reckoned again by plain loops over sets and kinds. The rows are our own judgement: this proves the reckoning, no more.
"""

from dataclasses import replace
from itertools import combinations, product

import numpy as np
import pytest

from satdiag.diagnosis import inference
from satdiag.diagnosis.inference import Posterior, prior_for
from satdiag.diagnosis.model import load_model
from satdiag.diagnosis.seen import Seen
from satdiag.diagnosis.space import space_of
from satdiag.diagnosis.weighing import log_terms
from satdiag.sheet import Sheet
from satdiag.vocabulary import FAULTS
from tests.diagnosis.test_faults_file import DATA

KINDS = {name: one.kinds for name, one in load_model().faults.items() if one.kinds}
SEEN = {"resets": "several", "listing": "offered", "errors": "some", "identity": "match"}
"""Of different families, so that no tempering enters."""


def kinds_of(name):
    return KINDS.get(name, {"": 1.0})


def row_of(item, name, kind):
    """P(state) of one fault in one kind, as the file has it."""
    given = DATA["item"][item]["given"]
    if any(of.startswith(f"{name}/") for of in given):
        return given.get(f"{name}/{kind}", {"p": DATA["item"][item]["healthy"]})["p"]
    return given[name]["p"] if name in given else None


def test_kinds_leave_what_is_believed_beforehand_as_it_is():
    model = load_model()
    for reason in ("just-installed", "complaint", "check", "unknown"):
        prior = prior_for(model, Sheet("x", reason=reason))
        plain, apart = (Posterior(space, np.exp(prior.log(space)), 0.0) for space in (space_of(), model.space()))
        assert apart.faults() == pytest.approx(plain.faults(), abs=1e-12)
        assert apart.classes() == pytest.approx(plain.classes(), abs=1e-12)


def test_single_faults_of_several_kinds_against_loops_over_all_kinds():
    """With the posterior of sets of at most one fault, so that no two causes meet."""
    model = replace(load_model(), tempering=1.0, family_weight={})
    space = model.space(1)
    prior = prior_for(model, Sheet("x", reason="complaint"))
    seen = [Seen(*one) for one in SEEN.items()]
    found = inference.posterior(model, space, prior.log(space), log_terms(model, space, seen))
    odds = {name: prior.faults[name] / (1 - prior.faults[name]) for name in FAULTS}
    mass = {}
    for name in FAULTS:
        mass[name] = odds[name] * sum(
            part * np.prod([chance(item, state, row_of(item, name, kind)) for item, state in SEEN.items()])
            for kind, part in kinds_of(name).items()
        )
    none = prior.none_factor * np.prod([chance(item, state, None) for item, state in SEEN.items()])
    for one, other in combinations(FAULTS, 2):
        ratio = found.faults()[one] / found.faults()[other]
        assert ratio == pytest.approx(mass[one] / mass[other], rel=1e-9)
    assert found.probability_of("none") / found.faults()["indoors"] == pytest.approx(none / mass["indoors"], rel=1e-9)


def chance(item, state, row):
    """P(state) with the floor for a wrong reading."""
    table = DATA["item"][item]
    number, count = table["states"].index(state), len(table["states"])
    plain = (table["healthy"] if row is None else row)[number]
    floor = load_model().error_floor
    return (1 - floor) * plain + floor / count


def test_what_a_kind_does_not_show_speaks_against_it_alone():
    """Restarts with everything received as ever: a receiver that restarts is as likely as if reception was not read.

    A mean over the kinds would take what most failures do to reception for what this one does.
    """
    model = load_model()
    space = model.space()
    prior = prior_for(model, Sheet("x", reason="complaint")).log(space)
    odds = []
    for seen in ([Seen("resets", "several", (), 3)], [Seen("resets", "several", (), 3), Seen("satellite", "good")]):
        found = inference.posterior(model, space, prior, log_terms(model, space, seen))
        odds.append(found.faults()["receiver-defective"] / found.faults()["supply-dropout"])
    assert odds[1] / odds[0] > 0.8
    whole = model.items["satellite"].given
    assert whole["receiver-defective"][0] / whole["supply-dropout"][0] < 0.6


def test_each_set_is_there_once_for_each_kind_and_shares_add_up():
    space = load_model().space()
    for faults in (
        frozenset(["feed-lossy"]),
        frozenset(["feed-lossy", "receiver-defective"]),
        frozenset(["foliage"]),
    ):
        same = np.array([one == faults for one in space.hypotheses])
        ways = list(product(*(KINDS[name] for name in faults if name in KINDS)))
        assert same.sum() == len(ways)
        assert np.exp(space.log_share[same]).sum() == pytest.approx(1.0, abs=1e-12)
    outside = np.zeros(len(space.hypotheses), dtype=bool)
    outside[space.outside] = True
    assert (outside == space.mask_of("other")).all()
    assert np.exp(space.log_share[outside]).sum() == pytest.approx(1.0, abs=1e-12)
    small = space.only(space.holds.sum(axis=1) < 2)
    assert small.hypotheses[small.other] == frozenset(["other"])
    assert len(small.log_share) == len(small.hypotheses) == len(small.of_kind["feed-lossy", "loose"])


@pytest.mark.parametrize(
    ("chances", "top"),
    [
        ({("account-lapsed", "foliage"): 0.6, ("account-lapsed",): 0.4}, ("sky", "foliage")),
        ({("account-lapsed", "foliage"): 0.4, ("account-lapsed",): 0.6}, ("subscription", "account-lapsed")),
        ({("not-activated", "supply-dropout"): 0.9, ("not-activated",): 0.1}, ("wiring", "supply-dropout")),
    ],
)
def test_the_account_does_not_lead_where_the_vehicle_has_to_be_mended_first(chances, top):
    space = space_of()
    p = np.zeros(len(space.hypotheses))
    for faults, chance_of in chances.items():
        p[space.index_of(*faults)] = chance_of
    assert Posterior(space, p, 0.0).top() == top
