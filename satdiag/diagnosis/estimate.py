"""The diagnosis of a job: evidence in, probabilities and reasons out."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from satdiag.diagnosis import inference, quickscore, sensitivity
from satdiag.diagnosis.again import shown
from satdiag.diagnosis.asked import REDRAWN_UP_TO, Asked
from satdiag.diagnosis.evidence import Known, collect
from satdiag.diagnosis.explain import Case, strength
from satdiag.diagnosis.fruitless import fruitless
from satdiag.diagnosis.inference import Posterior, Prior
from satdiag.diagnosis.model import Model, load_model
from satdiag.diagnosis.plan import LOOKED_AT, Bench, look_ahead
from satdiag.diagnosis.repairs import repairs
from satdiag.diagnosis.seen import Seen
from satdiag.diagnosis.sensitivity import swings
from satdiag.diagnosis.space import PAIRS, TRIPLES, Floats, space_of
from satdiag.diagnosis.waiting import (
    COMING,
    ENTITLEMENT,
    LOOK_AT_ALL,
    PATTERN,
    last_channels,
    wait_for,
    waiting_option,
)
from satdiag.diagnosis.weighing import is_received, log_terms
from satdiag.findings import (
    BesideFindings,
    DiagnosisFindings,
    Earlier,
    EntitlementFindings,
    Evidence,
    OddReading,
    Swing,
)
from satdiag.language import tell, translated

SURE_AT = 0.95
ALARM = 0.05
"""If all sets of faults move a fault's probability by more than this, sets of three are looked at too."""

CONFLICT_BITS = 2.0
SURPRISE, NO_SURPRISE = 0.02, 0.1
"""Readings that the others make rarer than the first are named (common practice, no source). Where all disagree by so
many bits the oddest is, unless the others make it as likely as the second: none of them need be wrong then."""

NO_READINGS = {"account": ("submitted", "resent")}
"""States that somebody brought about: there is nothing to read again, and no chance by which they came."""

HARDLY = 0.5
"""A state that is so much less likely than the likeliest, by what was measured, is not what was seen."""

NEED_A_CHANNEL = ("listen",)
"""Tests on a channel that is authorised: without one they show nothing."""

MOST_SWINGS = 10
LEAST_SWING = 0.005


@dataclass(frozen=True, eq=False)
class Belief:
    """The posterior with the class and fault that lead it, and whether they stand firm."""

    posterior: Posterior
    class_: str
    fault: str
    probability: float
    sure: bool


@dataclass(frozen=True, eq=False)
class Weighed:
    """A posterior with all that it was made of: the evidence, the prior, what each item says for each hypothesis.

    `barred`: tests that can show nothing as things stand. `known`: what the evidence was drawn from.
    """

    model: Model
    seen: tuple[Seen, ...]
    prior: Prior
    log_prior: Floats
    terms: dict[str, Floats]
    whole: Posterior
    beyond: float | None
    entitlement: EntitlementFindings
    beside: BesideFindings | None
    barred: frozenset[str] = frozenset()
    known: Known | None = None


def weigh(known: Known, model: Model | None = None) -> Weighed:
    """The posterior over sets of faults from all evidence of a job; sets of three where two are seen not to do.

    `model`: the packaged one, if it is not given.
    """
    model = model or load_model()
    seen = tuple(one for one in collect(known) if one.state in _states(model, one.item))
    prior = inference.prior_for(model, known.job.sheet)
    beyond = quickscore.left_out(model, space_of(PAIRS), prior, seen)
    space = model.space(TRIPLES if beyond is not None and beyond > ALARM else PAIRS)
    terms = log_terms(model, space, seen)
    log_prior = prior.log(space)
    whole = inference.posterior(model, space, log_prior, terms)
    barred = fruitless(known, model, seen)
    found = known.entitlement, known.beside
    return Weighed(model, seen, prior, log_prior, terms, whole, beyond, *found, barred, known)


def diagnose(
    weighed: Weighed, earlier: Sequence[Earlier] = (), can: Collection[str] | None = None
) -> tuple[DiagnosisFindings, Belief, Case]:
    """Weights, conflict, next tests and how firm it stands; and what the words for it are made of.

    `can`: what the person has or can do (keys of the model's `can`); None: everything.
    """
    model, whole = weighed.model, weighed.whole
    class_, fault = whole.top()
    probability = whole.probability_of(fault)
    moved = swings(model, whole, weighed.prior, weighed.terms)
    sure = probability >= SURE_AT and not any(swing.changes for swing in moved)
    able = None if can is None else frozenset(can)
    bench = _bench(weighed, able)
    ahead = look_ahead(bench, whole, sure)
    findings = DiagnosisFindings(
        faults=whole.faults(),
        classes=whole.classes(),
        earlier=tuple(earlier),
        evidence=_evidence(weighed, fault),
        conflict_bits=inference.conflict_bits(weighed.log_prior, weighed.terms, whole.log_evidence),
        next_tests=ahead.tests,
        plan=ahead.plan,
        stop=ahead.stop,
        stop_text=ahead.stop_text,
        repairs=() if ahead.tests or class_ == "none" else repairs(model, whole),
        odd_reading=_odd(weighed),
        swings=_swings(moved),
        sets_up_to=whole.space.order,
        beyond_sets=weighed.beyond,
        beside=weighed.beside,
    )
    say = {one.item: _say(model, one) for one in weighed.seen}
    known, ask = weighed.known, lambda known: weigh(known, model).whole
    asked = None if known is None or len(known.job.rows) > REDRAWN_UP_TO else Asked(known, ask)
    case = Case(model, whole, weighed.log_prior, weighed.terms, say, bench, asked)
    return findings, Belief(whole, class_, fault, probability, sure), case


def _bench(weighed: Weighed, can: frozenset[str] | None) -> Bench:
    """What can be tested next, waiting included where it can be said what should come."""
    wait = wait_for(weighed.entitlement)
    growing = any(one.item in ENTITLEMENT and one.state in COMING and one.soft is None for one in weighed.seen)
    option = None if wait is None else waiting_option(weighed.model, weighed.whole, wait, growing)
    barred = weighed.barred | (frozenset() if weighed.entitlement.authorised else frozenset(NEED_A_CHANNEL))
    long = any(item in weighed.terms for item in (*LOOKED_AT.values(), ENTITLEMENT[1]))
    last = last_channels(weighed.model, weighed.whole, weighed.entitlement, PATTERN[long]) if growing else None
    barred -= frozenset[str]() if last is None or last.look is None else frozenset([LOOK_AT_ALL])
    told, received = shown(weighed.model, weighed.seen), is_received(weighed.seen)
    return Bench(weighed.model, tuple(weighed.terms), received, can, option, wait, barred, told, long=long, last=last)


def _swings(moved: Sequence[sensitivity.Swing]) -> tuple[Swing, ...]:
    wide = [one for one in moved[:MOST_SWINGS] if one.high - one.low >= LEAST_SWING]
    return tuple(Swing(one.what, one.of, one.low, one.high, one.changes) for one in wide)


def _states(model: Model, item: str) -> tuple[str, ...]:
    return model.items[item].states if item in model.items else ()


def _evidence(weighed: Weighed, target: str) -> tuple[Evidence, ...]:
    """Each item with what it is worth on its own for the leading fault, strongest first."""
    mask = weighed.whole.space.mask_of(target)
    found = []
    for one in weighed.seen:
        weight_db = inference.weight_of(
            one.item, mask, weighed.model, weighed.whole, weighed.log_prior, weighed.terms
        )
        text = _say(weighed.model, one)
        state = _state_told(one)
        found.append(Evidence(one.item, state, target, weight_db, text, one.rows, strength(weight_db), one.soft))
    return tuple(sorted(found, key=lambda evidence: -abs(evidence.weight_db)))


def _say(model: Model, one: Seen) -> str:
    item = model.items[one.item]
    reading = translated(item.say[item.states.index(_state_told(one))])
    return tell("{reading} ({but})", reading=reading, but=one.but) if one.but else reading


def _state_told(one: Seen) -> str:
    """The state that is told: the one it was seen in, or the likeliest where what was measured speaks against it."""
    if one.soft is None or one.soft.get(one.state, 0.0) >= HARDLY * max(one.soft.values()):
        return one.state
    return max(one.soft, key=lambda state: (one.soft or {})[state])


def _odd(weighed: Weighed) -> OddReading | None:
    """The reading to repeat: where the evidence disagrees by more than a little, or one reading is a surprise."""
    if len(weighed.terms) < 2:
        return None
    acts = {one.item for one in weighed.seen if one.state in NO_READINGS.get(one.item, ())}
    ranked = inference.odd_ones(weighed.model, weighed.whole, weighed.log_prior, weighed.terms)
    ranked = [one for one in ranked if one.item not in acts]
    if not ranked:
        return None
    bits = inference.conflict_bits(weighed.log_prior, weighed.terms, weighed.whole.log_evidence)
    odd = ranked[0] if bits > CONFLICT_BITS else min(ranked, key=lambda one: one.chance)
    if odd.chance >= (NO_SURPRISE if bits > CONFLICT_BITS else SURPRISE):
        return None
    one = next(one for one in weighed.seen if one.item == odd.item)
    return OddReading(odd.item, odd.bits, odd.chance, _say(weighed.model, one), one.rows)
