"""The one place that calls the estimators and the diagnosis in turn."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

import satdiag
from satdiag.diagnosis.asked import as_it_would_be
from satdiag.diagnosis.beside import beside
from satdiag.diagnosis.earlier import GONE_BELOW, Turn, job_before, turns
from satdiag.diagnosis.estimate import diagnose, weigh
from satdiag.diagnosis.evidence import Known, collect
from satdiag.diagnosis.explain import explanation
from satdiag.diagnosis.learning import PACKAGED, Learned
from satdiag.diagnosis.lessons import Lesson, confirmed_faults
from satdiag.diagnosis.model import Model, load_model
from satdiag.diagnosis.proof_plan import toward_proof
from satdiag.diagnosis.seen import Seen
from satdiag.diagnosis.verdict import verdict
from satdiag.entitlement.estimate import estimate_entitlement
from satdiag.entitlement.wait_prior import WaitPrior
from satdiag.errors import SatdiagError
from satdiag.exposure import exposure_clock
from satdiag.findings import Earlier, Findings, SignalFindings, SkyFindings, instant_text
from satdiag.folder import job_hash
from satdiag.job import Job
from satdiag.signal.estimate import estimate_signal
from satdiag.signal.open_sky import OpenSky
from satdiag.sky.estimate import estimate_sky
from satdiag.tables import MOST_CHANNELS
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
    wait: WaitPrior | None = None,
) -> Findings:
    """Everything satdiag can say about a job. Raises BadInput if its constellation file is wrong.

    `can`: what the person has or can do, so that no test is offered that needs something else (the words of
    `satdiag analyse --can`); None: everything. `learned`: what the diagnosis believes, moved by closed jobs.
    `reference`: the job of a known-good receiver that stood beside this one at the same minutes. `open_sky`: what
    this receiver had under an open sky in other jobs, if that was kept. `aim`: the tests to come are to cost the
    least work in all ('repair'), or to make the verdict sure in few minutes ('proof'); SatdiagError for another word.
    `wait`: what a fleet of jobs says of how long channels take.
    """
    if aim not in AIMS:
        raise SatdiagError(f"the aim '{aim}' is not known; use one of {', '.join(AIMS)}")
    if (seen := job.log.loc[job.log["kind"].isin(["channel", "tune"]), "subject"].nunique()) > MOST_CHANNELS:
        what = f"the log holds {seen:,} different channels; at most {MOST_CHANNELS:,} can be analysed"
        raise SatdiagError(f"{what}. Is it the log of one receiver? A service has a few hundred.")
    model = learned.model or load_model()
    sky = estimate_sky(job)
    signal = estimate_signal(job, sky, open_sky)
    known = _known(job, sky, signal, wait, open_sky)
    if reference is not None:
        known = replace(known, beside=beside(job, reference))
    weighed = weigh(known, model)
    now = weighed.whole.faults()
    over = [turn for turn in turns(job) if now[turn.fault] < GONE_BELOW]
    gone = _earlier(over, job, sky, model, open_sky, wait)
    diagnosis, belief, case = diagnose(weighed, gone, can)
    told = verdict(job, belief, diagnosis, known.entitlement, known.tuning, sky)
    if aim == "proof":
        diagnosis = toward_proof(diagnosis, case, told.sure)
        told = verdict(job, belief, diagnosis, known.entitlement, known.tuning, sky)
    diagnosis = replace(
        diagnosis,
        plan=as_it_would_be(case.asked, model, diagnosis.plan),
        explanation=explanation(case, told.state, told.fault),
        learned_jobs=learned.jobs,
    )
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
    """What a closed job teaches: what its `finding` rows say it was, and what had been seen; None if not closed.

    Where what was found was put right before the log ends, that is what had been seen until then.
    """
    faults = confirmed_faults(job)
    if faults is None:
        return None
    seen = seen_before_mended(job, faults) or _seen(job)
    evidence = {one.item: one.state for one in seen}
    return Lesson(job.sheet.id, job_hash(job), job.sheet.reason, faults, evidence)


def seen_before_mended(job: Job, faults: Collection[str]) -> list[Seen] | None:
    """What had been seen just before the first of these faults was put right; None where the log shows no such turn.

    The rows after it tell of a sound vehicle: they would teach that the fault looks like none at all.
    """
    last = {turn.fault: turn.first_s for turn in turns(job) if turn.fault in faults}
    return _seen(job_before(job, min(last.values()))) if last else None


def _seen(job: Job) -> list[Seen]:
    sky = estimate_sky(job)
    return list(collect(_known(job, sky, estimate_signal(job, sky))))


def _known(
    job: Job,
    sky: SkyFindings,
    signal: SignalFindings,
    wait: WaitPrior | None = None,
    open_sky: OpenSky | None = None,
) -> Known:
    return Known(
        job=job,
        sky=sky,
        signal=signal,
        entitlement=estimate_entitlement(job, exposure_clock(job), wait),
        tuning=estimate_tuning(job),
        wiring=estimate_wiring(job),
        wait=wait,
        open_sky=open_sky,
    )


def _earlier(
    over: Sequence[Turn], job: Job, sky: SkyFindings, model: Model, open_sky: OpenSky | None, wait: WaitPrior | None
) -> tuple[Earlier, ...]:
    """Faults that the log of the time made probable, each judged on the rows before the change that ended it."""
    believed: dict[float, Mapping[str, float]] = {}
    for first_s in {turn.first_s for turn in over}:
        before = job_before(job, first_s)
        known = _known(before, sky, estimate_signal(before, sky, open_sky), wait)
        believed[first_s] = weigh(known, model).whole.faults()
    return tuple(
        Earlier(
            turn.fault,
            instant_text(job.instant(turn.since_s)),
            instant_text(job.instant(turn.t_s)),
            believed[turn.first_s][turn.fault],
            turn.ended_by,
        )
        for turn in over
        if believed[turn.first_s][turn.fault] >= turn.least
    )


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
