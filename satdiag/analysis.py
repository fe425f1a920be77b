"""The one place that calls the estimators and the diagnosis in turn."""

from __future__ import annotations

import satdiag
from satdiag.diagnosis.earlier import GONE_BELOW, PRESENT_AT, job_before, turns
from satdiag.diagnosis.estimate import diagnose
from satdiag.diagnosis.evidence import Known
from satdiag.diagnosis.verdict import verdict
from satdiag.entitlement.estimate import estimate_entitlement
from satdiag.exposure import exposure_clock
from satdiag.findings import Earlier, Findings, SignalFindings, SkyFindings, instant_text
from satdiag.job import Job
from satdiag.signal.estimate import estimate_signal
from satdiag.sky.estimate import estimate_sky
from satdiag.tuning.estimate import estimate_tuning
from satdiag.wiring.estimate import estimate_wiring


def analyse(job: Job) -> Findings:
    """Everything satdiag can say about a job. Raises BadInput if its constellation file is wrong."""
    sky = estimate_sky(job)
    signal = estimate_signal(job)
    known = _known(job, sky)
    earlier = _earlier(job, sky)
    diagnosis, belief = diagnose(known)
    diagnosis_now = diagnosis.faults
    gone = tuple(one for one in earlier if diagnosis_now[one.fault] < GONE_BELOW)
    if gone:
        diagnosis, belief = diagnose(known, gone)
    return Findings(
        satdiag=satdiag.__version__,
        job=job.sheet.id,
        from_=instant_text(job.start),
        to=instant_text(job.instant(job.end_s)),
        visits=len(job.visits),
        verdict=verdict(job, belief, diagnosis, known.entitlement, known.tuning),
        diagnosis=diagnosis,
        sky=sky,
        signal=signal,
        entitlement=known.entitlement,
        tuning=known.tuning,
        wiring=known.wiring,
        could_not=_could_not(job, known, signal),
    )


def _known(job: Job, sky: SkyFindings) -> Known:
    return Known(
        job=job,
        sky=sky,
        entitlement=estimate_entitlement(job, exposure_clock(job)),
        tuning=estimate_tuning(job),
        wiring=estimate_wiring(job),
    )


def _earlier(job: Job, sky: SkyFindings) -> list[Earlier]:
    """Faults that the log of the time made probable, each judged on the rows before the change that ended it."""
    found = []
    for turn in turns(job):
        before = job_before(job, turn.t_s)
        diagnosis, _ = diagnose(_known(before, sky))
        probability = diagnosis.faults[turn.fault]
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
