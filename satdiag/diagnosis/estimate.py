"""The diagnosis of a job: evidence in, probabilities and reasons out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from satdiag.diagnosis import inference
from satdiag.diagnosis.evidence import Known, collect
from satdiag.diagnosis.inference import Posterior
from satdiag.diagnosis.model import Floats, Model, load_model
from satdiag.diagnosis.seen import Seen
from satdiag.diagnosis.worth import next_tests
from satdiag.findings import DiagnosisFindings, Earlier, Evidence

SURE_AT = 0.95


@dataclass(frozen=True, eq=False)
class Belief:
    """The posterior with the class and fault that lead it, and whether they stand firm."""

    posterior: Posterior
    class_: str
    fault: str
    probability: float
    sure: bool


def diagnose(known: Known, earlier: Sequence[Earlier] = ()) -> tuple[DiagnosisFindings, Belief]:
    """Posterior over faults from all evidence of a job, with weights, conflict and next tests."""
    model = load_model()
    sheet = known.job.sheet
    seen = collect(known)
    states = {one.item: one.state for one in seen if one.state in model.items[one.item].states}
    priors = inference.priors_for(model, sheet)
    other, none_factor = model.other_prior[sheet.reason], model.none_factor[sheet.reason]
    prior = inference.log_prior(priors, other, none_factor)
    terms = inference.log_terms(model, states, {one.item: one.repeats for one in seen})
    whole = inference.posterior(prior, terms)
    class_, fault = whole.top()
    probability = whole.probability_of(fault)
    sure = probability >= SURE_AT and inference.stands_firm(model, priors, other, none_factor, terms)
    findings = DiagnosisFindings(
        faults=whole.faults(),
        classes=whole.classes(),
        earlier=tuple(earlier),
        evidence=_evidence(model, seen, fault, prior, terms),
        conflict_bits=inference.conflict_bits(prior, terms, whole),
        next_tests=() if sure else next_tests(model, whole, states),
    )
    return findings, Belief(whole, class_, fault, probability, sure)


def _evidence(
    model: Model,
    seen: Sequence[Seen],
    target: str,
    prior: Floats,
    terms: dict[str, Floats],
) -> tuple[Evidence, ...]:
    """Each item with what it is worth on its own for the leading fault, strongest first."""
    found = []
    for one in seen:
        if one.item not in terms:
            continue
        item = model.items[one.item]
        found.append(
            Evidence(
                item=one.item,
                state=one.state,
                for_=target,
                weight_db=inference.weight_of(one.item, inference.mask_of(target), prior, terms),
                text=item.say[item.states.index(one.state)],
                rows=one.rows,
            )
        )
    return tuple(sorted(found, key=lambda evidence: -abs(evidence.weight_db)))
