"""Findings without sky, signal and diagnosis, of which the checklist asks nothing: quick to make."""

from satdiag.entitlement.estimate import estimate_entitlement
from satdiag.exposure import exposure_clock
from satdiag.findings import DiagnosisFindings, Findings, SignalFindings, SkyFindings, Verdict
from satdiag.tuning.estimate import estimate_tuning
from satdiag.wiring import estimate_wiring


def light_findings(job):
    """The findings of a job on account, changes and wiring."""
    return Findings(
        satdiag="0",
        job=job.sheet.id,
        from_=None,
        to=None,
        visits=len(job.visits),
        verdict=Verdict("cannot-tell", None, None, None, None, False, "", ""),
        diagnosis=DiagnosisFindings({}, {}, (), (), 0.0, ()),
        sky=SkyFindings(),
        signal=SignalFindings(),
        entitlement=estimate_entitlement(job, exposure_clock(job)),
        tuning=estimate_tuning(job),
        wiring=estimate_wiring(job),
    )
