"""Shares of kinds as figures of the model: what moving one does, against a model in which it stands so.

The model is our own: this proves the reckoning, no more.
"""

from dataclasses import replace

import numpy as np
import pytest

from satdiag.diagnosis import inference
from satdiag.diagnosis.inference import prior_for
from satdiag.diagnosis.model import load_model
from satdiag.diagnosis.seen import Seen
from satdiag.diagnosis.sensitivity import KIND, swings
from satdiag.diagnosis.space import OTHER
from satdiag.diagnosis.weighing import log_terms
from satdiag.findings import DiagnosisFindings, Swing
from satdiag.language import speaking
from satdiag.report.firmness import swing_figure
from satdiag.report.kinds import KINDS, kind_words
from satdiag.sheet import Sheet

SEEN = (
    {"satellite": "weak", "turns-with": "neither", "resets": "none"},
    {"resets": "several", "satellite": "good"},
    {"satellite": "weak", "noise": "raised"},
)


MOVED = Swing(KIND, "feed-lossy/loose", 0.4, 0.8, True)


def believed(model, seen, prior=None):
    """The posterior of what was seen, with what it was made of."""
    space, prior = model.space(), prior or prior_for(model, Sheet("x", reason="complaint"))
    terms = log_terms(model, space, [Seen(*one) for one in seen.items()])
    return inference.posterior(model, space, prior.log(space), terms), prior, terms


def with_share(model, fault, kind, share):
    """The model with one kind of a fault at another share, its others in proportion."""
    own = model.shares[fault]
    left = (1 - share) / (1 - own[kind])
    moved = {one: share if one == kind else part * left for one, part in own.items()}
    if fault == OTHER:
        return replace(model, other_kinds=moved)
    return replace(model, faults={**model.faults, fault: replace(model.faults[fault], kinds=moved)})


@pytest.mark.parametrize("seen", SEEN, ids=lambda seen: " ".join(seen))
def test_a_share_moved_is_the_model_in_which_it_stands_so(seen):
    model = load_model()
    whole, prior, terms = believed(model, seen)
    lead = whole.top()
    found = {one.of: one for one in swings(model, whole, prior, terms) if one.what == KIND}
    for of, one in found.items():
        fault, kind = of.split("/")
        odds = model.shares[fault][kind] / (1 - model.shares[fault][kind])
        ends = []
        for factor in (model.kind_range, 1 / model.kind_range):
            moved = with_share(model, fault, kind, factor * odds / (1 + factor * odds))
            ends.append(believed(moved, seen)[0])
        chances = [end.probability_of(lead[1]) for end in ends]
        assert (one.low, one.high) == pytest.approx((min(chances), max(chances)), abs=1e-5)
        assert one.changes == any(end.top() != lead for end in ends)
    assert max(one.high - one.low for one in found.values()) > 0.02


def test_every_share_is_moved_once():
    """Of two kinds the first stands for both."""
    model = load_model()
    whole, prior, terms = believed(model, SEEN[0])
    found = [one.of for one in swings(model, whole, prior, terms) if one.what == KIND]
    wanted = {f"{fault}/{kind}" for fault, own in model.shares.items() for kind in own}
    seconds = {f"{fault}/{list(own)[1]}" for fault, own in model.shares.items() if len(own) == 2}
    assert sorted(found) == sorted(wanted - seconds)


def test_a_share_may_take_the_lead_away():
    """`sure` is said of no fault whose lead any swing takes away: here it leads by a hair's breadth."""
    model = load_model()
    whole, prior, _ = believed(model, SEEN[1])
    lead, log_low, log_high = whole.top(), -10.0, 0.0
    for _ in range(30):
        log_factor = (log_low + log_high) / 2
        p = inference.scale_odds(prior.faults[lead[1]], np.exp(log_factor))
        narrow = believed(model, SEEN[1], replace(prior, faults={**prior.faults, lead[1]: p}))
        log_low, log_high = (log_low, log_factor) if narrow[0].top() == lead else (log_factor, log_high)
    p = inference.scale_odds(prior.faults[lead[1]], np.exp(log_high))
    whole, prior, terms = believed(model, SEEN[1], replace(prior, faults={**prior.faults, lead[1]: p}))
    assert whole.top() == lead
    assert [one for one in swings(model, whole, prior, terms) if one.what == KIND and one.changes]


def test_a_space_without_kinds_has_no_shares_to_move():
    from satdiag.diagnosis.space import space_of

    model, space = load_model(), space_of()
    prior = prior_for(model, Sheet("x", reason="complaint"))
    terms = log_terms(model, space, [Seen("resets", "several")])
    whole = inference.posterior(model, space, prior.log(space), terms)
    assert not [one for one in swings(model, whole, prior, terms) if one.what == KIND]


@pytest.mark.parametrize(
    ("language", "said"),
    [
        ("en", "how often “a loose contact”: lossy antenna lead"),
        ("es", "con qué frecuencia «un contacto flojo»:"),
        ("fr", "fréquence de «\u202fun faux contact\u202f»\u202f:"),
    ],
)
def test_the_report_names_the_kind_that_was_moved(language, said):
    found = DiagnosisFindings({"feed-lossy": 0.7}, {}, (), (), 0.0, (), swings=(MOVED,))
    with speaking(language):
        figure = swing_figure(found, "feed-lossy")
        assert figure.tables[0].rows[0][0].text.startswith(said)
        assert said[:12] in figure.alt


@pytest.mark.parametrize("language", ["en", "es", "fr"])
def test_every_kind_has_words(language):
    kinds = {kind for own in load_model().shares.values() for kind in own}
    assert kinds <= set(KINDS)
    with speaking(language):
        said = {kind: kind_words(kind) for kind in kinds}
    assert len(set(said.values())) == len(kinds)
    assert not np.any([kind == words for kind, words in said.items()])
    assert kind_words("one of another version") == "one of another version"
