"""The findings on channel changes: delays to audio and to title, block loss, and how likely the changes are slow."""

from __future__ import annotations

from satdiag.findings import DelayFindings, TuningFindings
from satdiag.job import Job
from satdiag.tuning.attempts import Attempts, Delays, delays, tuning_attempts
from satdiag.tuning.block_loss import block_loss
from satdiag.tuning.kaplan_meier import FEWEST_FOR_INTERVAL, kaplan_meier, median_interval_s, quantile_s
from satdiag.tuning.slowness import SLOW_MEDIAN_S, slowness_posterior


def estimate_tuning(job: Job) -> TuningFindings:
    """How long channel changes took, of the receiver now fitted (rows since the last `swap,receiver`).

    Attempts that were refused are left out; attempts that ended without the mark are right-censored there.
    """
    attempts = tuning_attempts(job)
    if not attempts.timed:
        return TuningFindings(could_not=(_why_none(attempts), *_strays(attempts)))
    could_not = _strays(attempts)
    audio = delays(attempts.timed, "audio")
    titles = delays(attempts.timed, "title")
    could_not += _shortcomings(audio, "audio")
    title_s, loss, loss_90 = None, None, None
    if not titles.came.any() and not _waited_for_title(attempts):
        could_not += ["no title was marked: time to title and block loss not computed"]
    else:
        title_s = delay_findings(titles)
        could_not += _shortcomings(titles, "title")
        found = block_loss(titles, attempts.resolution_s)
        if isinstance(found, str):
            could_not += [found]
        else:
            loss, loss_90 = found
    return TuningFindings(
        audio_s=delay_findings(audio),
        title_s=title_s,
        block_loss=loss,
        block_loss_90=loss_90,
        p_slow=_p_slow(audio, attempts.resolution_s),
        could_not=tuple(could_not),
    )


def delay_findings(sample: Delays) -> DelayFindings:
    """Kaplan-Meier median with its 90 % interval, 90th percentile, and how many attempts were given up."""
    curve = kaplan_meier(sample.duration_s, sample.came)
    median = quantile_s(curve, 0.5)
    return DelayFindings(
        median=median,
        p90=quantile_s(curve, 0.9),
        n=len(sample.duration_s),
        timed_out=sample.given_up,
        median_90=median_interval_s(curve),
    )


def _p_slow(audio: Delays, resolution_s: float) -> float | None:
    """Posterior probability of a slow median; None where no audio came at all: slow cannot be told from never."""
    if not audio.came.any():
        return None
    return slowness_posterior(audio, resolution_s).p_above(SLOW_MEDIAN_S)


def _waited_for_title(attempts: Attempts) -> bool:
    """True if somebody gave up waiting for a title after the audio had come."""
    return any(attempt.ended_by == "abandoned" and attempt.audio_s is not None for attempt in attempts.timed)


def _why_none(attempts: Attempts) -> str:
    if attempts.refused:
        return "every timed channel change was refused: time to audio and to title not computed"
    if attempts.stray_marks:
        return "no channel change has a mark 'requested': time to audio and to title not computed"
    return "no channel change was timed: time to audio and to title not computed"


def _strays(attempts: Attempts) -> list[str]:
    count = attempts.stray_marks
    if not count:
        return []
    words = "mark fits no open channel change and was" if count == 1 else "marks fit no open channel change and were"
    return [f"{count} {words} left out"]


def _shortcomings(sample: Delays, mark: str) -> list[str]:
    curve = kaplan_meier(sample.duration_s, sample.came)
    if not curve.events:
        return [f"no channel change came to {mark}: slow cannot be told from never"]
    if quantile_s(curve, 0.5) is None:
        return [f"too few channel changes came to {mark} for a median"]
    if curve.events < FEWEST_FOR_INTERVAL:
        return [f"only {curve.events} channel changes came to {mark}: no interval for the median"]
    return []
