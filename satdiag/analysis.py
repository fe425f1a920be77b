"""The one place that calls the estimators and the diagnosis in turn."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

import satdiag
from satdiag.diagnosis.beside import beside
from satdiag.diagnosis.earlier import GONE_BELOW, PRESENT_AT, job_before, turns
from satdiag.diagnosis.estimate import diagnose, weigh
from satdiag.diagnosis.evidence import Known, collect
from satdiag.diagnosis.explain import explanation
from satdiag.diagnosis.learning import PACKAGED, Learned
from satdiag.diagnosis.lessons import Lesson, confirmed_faults
from satdiag.diagnosis.model import Model, load_model
from satdiag.diagnosis.proof_plan import toward_proof
from satdiag.diagnosis.verdict import verdict
from satdiag.entitlement.estimate import estimate_entitlement
from satdiag.errors import SatdiagError
from satdiag.exposure import exposure_clock
from satdiag.findings import Earlier, Findings, SignalFindings, SkyFindings, instant_text
from satdiag.folder import job_hash
from satdiag.job import Job
from satdiag.signal.estimate import estimate_signal
from satdiag.signal.open_sky import OpenSky
from satdiag.sky.estimate import estimate_sky
from satdiag.tuning.estimate import estimate_tuning
from satdiag.wiring.estimate import estimate_wiring

AIMS = ("repair", "proof")


def analyse(
    job: Job,
    can: Collection[str] | None = None,
    learned: Learned = PACKAGED,
    reference: Job | None = None,
    open_sky: OpenSky | None = None,
    aim: str = "repair",
) -> Findings:
    """Everything satdiag can say about a job. Raises BadInput if its constellation file is wrong.

    `can`: what the person has or can do, so that no test is offered that needs something else (the words of
    `satdiag analyse --can`); None: everything. `learned`: what the diagnosis believes, moved by closed jobs.
    `reference`: the job of a known-good receiver that stood beside this one at the same minutes. `open_sky`: what
    this receiver had under an open sky in other jobs, if that was kept. `aim`: the tests to come are to cost the
    least work in all ('repair'), or to make the verdict sure in few minutes ('proof'); SatdiagError for another word.
    """
    if aim not in AIMS:
        raise SatdiagError(f"the aim '{aim}' is not known; use one of {', '.join(AIMS)}")
    model = learned.model or load_model()
    sky = estimate_sky(job)
    signal = estimate_signal(job, sky, open_sky)
    known = _known(job, sky, signal)
    if reference is not None:
        known = replace(known, beside=beside(job, reference))
    earlier = _earlier(job, sky, model, open_sky)
    weighed = weigh(known, model)
    now = weighed.whole.faults()
    gone = tuple(one for one in earlier if now[one.fault] < GONE_BELOW)
    diagnosis, belief, case = diagnose(weighed, gone, can)
    told = verdict(job, belief, diagnosis, known.entitlement, known.tuning, sky)
    if aim == "proof":
        diagnosis = toward_proof(diagnosis, case, told.sure)
        told = verdict(job, belief, diagnosis, known.entitlement, known.tuning, sky)
    diagnosis = replace(diagnosis, explanation=explanation(case, told.state, told.fault), learned_jobs=learned.jobs)
    return Findings(
        satdiag=satdiag.__version__,
        job=job.sheet.id,
        from_=instant_text(job.start),
        to=instant_text(job.instant(job.end_s)),
        visits=len(job.visits),
        verdict=told,
        diagnosis=diagnosis,
        sky=sky,
        signal=signal,
        entitlement=known.entitlement,
        tuning=known.tuning,
        wiring=known.wiring,
        could_not=_could_not(job, known, signal),
    )


def lesson_of(job: Job) -> Lesson | None:
    """What a closed job teaches: what its `finding` rows say it was, and what had been seen; None if not closed."""
    faults = confirmed_faults(job)
    if faults is None:
        return None
    sky = estimate_sky(job)
    seen = collect(_known(job, sky, estimate_signal(job, sky)))
    evidence = {one.item: one.state for one in seen}
    return Lesson(job.sheet.id, job_hash(job), job.sheet.reason, faults, evidence)


def _known(job: Job, sky: SkyFindings, signal: SignalFindings) -> Known:
    return Known(
        job=job,
        sky=sky,
        signal=signal,
        entitlement=estimate_entitlement(job, exposure_clock(job)),
        tuning=estimate_tuning(job),
        wiring=estimate_wiring(job),
    )


def _earlier(job: Job, sky: SkyFindings, model: Model, open_sky: OpenSky | None) -> list[Earlier]:
    """Faults that the log of the time made probable, each judged on the rows before the change that ended it."""
    found = []
    for turn in turns(job):
        before = job_before(job, turn.t_s)
        known = _known(before, sky, estimate_signal(before, sky, open_sky))
        probability = weigh(known, model).whole.probability_of(turn.fault)
        if probability >= PRESENT_AT:
            begin, end = instant_text(job.instant(turn.since_s)), instant_text(job.instant(turn.t_s))
            found.append(Earlier(turn.fault, begin, end, probability, turn.ended_by))
    return found


def _could_not(job: Job, known: Known, signal: SignalFindings) -> tuple[str, ...]:
    said = [
        *known.sky.could_not,
        *signal.could_not,
        *known.entitlement.could_not,
        *known.tuning.could_not,
        *known.wiring.could_not,
    ]
    if not len(job.log):
        said.insert(0, "no observations: nothing can be judged")
    return tuple(dict.fromkeys(said))
