"""The findings on channel changes: delays to audio and to title, block loss, and whether the changes are slow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

from satdiag.findings import (
    ChangeFindings,
    DelayFindings,
    LevelLossFindings,
    StopFindings,
    TuningFindings,
    instant_text,
)
from satdiag.job import Job
from satdiag.language import mark, tell, tell_many, translated
from satdiag.tuning.attempts import Attempt, Attempts, tuning_attempts
from satdiag.tuning.baseline import Baseline, baseline_of, p_slow
from satdiag.tuning.block_loss import (
    TwoLosses,
    loss_figures,
    loss_likelihoods,
    loss_posterior,
    two_losses,
    why_no_loss,
)
from satdiag.tuning.compare import compare_delays
from satdiag.tuning.delays import Delays, delays, mark_resolution_s
from satdiag.tuning.kaplan_meier import (
    FEWEST_FOR_INTERVAL,
    kaplan_meier,
    median_interval_s,
    quantile_interval_s,
    quantile_s,
)
from satdiag.tuning.loss_levels import CLEAR_CUT, Parted, parted_by_level, tells
from satdiag.tuning.stopping import ALPHA, decide, signs
from satdiag.tuning.stretches import Stretches, stretches_of
from satdiag.tuning.summary import Basis, summary
from satdiag.tuning.wording import error_slow, level_loss_text, stop_text, too_coarse, with_text


def estimate_tuning(job: Job) -> TuningFindings:
    """How long channel changes took, of the receiver now fitted (rows since the last `swap,receiver`).

    Attempts that were refused are counted apart; attempts that ended without the mark are right-censored there.
    Delays and slowness are those of the last visit, or since a part was changed for a better one (`stretches`);
    block loss is of all changes.
    """
    attempts = tuning_attempts(job)
    basis = Basis(attempts.resolution_s)
    found = TuningFindings(
        refused=len(attempts.refused),
        refused_channels=tuple(sorted({attempt.channel for attempt in attempts.refused})),
    )
    if attempts.timed:
        parts = stretches_of(job, attempts.timed)
        found = _timed(job, attempts, parts, found)
        basis = _basis(attempts, parts)
    else:
        found = replace(found, could_not=(_why_none(attempts), *_left_out(attempts)))
    return replace(found, text=summary(found, basis))


def _basis(attempts: Attempts, parts: Stretches) -> Basis:
    """Whose changes were judged; with those of the last visit by themselves where earlier ones were taken too."""
    if parts.joined < 2:
        return Basis(attempts.resolution_s)
    last = delay_findings(delays(parts.last, "audio"))
    return Basis(attempts.resolution_s, parts.joined, len(parts.visits), last)


def _timed(job: Job, attempts: Attempts, parts: Stretches, found: TuningFindings) -> TuningFindings:
    audio = delays(parts.now, "audio")
    baseline = baseline_of(delays(parts.earlier, "audio"), attempts.resolution_s)
    found = replace(
        found,
        audio_s=delay_findings(audio),
        p_slow=p_slow(audio, baseline, attempts.resolution_s),
        could_not=(*_left_out(attempts), *_shortcomings(audio, "audio")),
        since=None if parts.since_s is None else instant_text(job.instant(parts.since_s)),
        baseline_from=baseline.from_,
        baseline_s=baseline.median_s,
        slow_above_s=baseline.slow_s,
        stop=_stop(audio, baseline, attempts.resolution_s),
        earlier_visit=_earlier_visit(job, parts),
    )
    if not any(attempt.title_s is not None for attempt in attempts.timed) and not _waited_for_title(attempts):
        why = tell("no title was marked: time to title and block loss not computed")
        return replace(found, could_not=(*found.could_not, why))
    return _with_titles(job, attempts, parts, found)


def _with_titles(job: Job, attempts: Attempts, parts: Stretches, found: TuningFindings) -> TuningFindings:
    titles = delays(parts.now, "title")
    found = replace(
        found,
        title_s=delay_findings(titles),
        could_not=(*found.could_not, *_shortcomings(titles, "title")),
    )
    if why := why_no_loss(sum(attempt.title_s is not None for attempt in attempts.timed)):
        return replace(found, could_not=(*found.could_not, why), loss_by_level_text=_sentence(why))
    return _with_losses(job, attempts, found)


def _with_losses(job: Job, attempts: Attempts, found: TuningFindings) -> TuningFindings:
    """Block loss of all changes, and of those at low and at high level; the likelihoods are worked out once."""
    parted = parted_by_level(job, attempts.timed)
    groups = (attempts.timed,) if isinstance(parted, str) else (parted.low, parted.high, parted.unknown)
    likelihoods = loss_likelihoods([delays(group, "title") for group in groups], attempts.resolution_s)
    if isinstance(parted, str):
        found = replace(found, loss_by_level_text=_sentence(parted))
    else:
        levels = _level_loss(parted, two_losses(*likelihoods[:2]))
        text = level_loss_text(levels, CLEAR_CUT) if levels else translated(LEVELS_UNTOLD)
        found = replace(found, loss_by_level=levels, loss_by_level_text=text)
    loss = loss_figures(loss_posterior(likelihoods))
    if isinstance(loss, str):
        return replace(found, could_not=(*found.could_not, loss))
    return replace(found, block_loss=loss[0], block_loss_90=loss[1])


LEVELS_UNTOLD = mark("The times to title do not tell the block loss at low level from that at high level.")


def _sentence(words: str) -> str:
    return words[0].upper() + words[1:] + "."


def delay_findings(sample: Delays) -> DelayFindings:
    """Kaplan-Meier median and 90th percentile with their 90 % intervals, and how many attempts were given up."""
    curve = kaplan_meier(sample.duration_s, sample.came)
    return DelayFindings(
        median=quantile_s(curve, 0.5),
        p90=quantile_s(curve, 0.9),
        n=len(sample),
        timed_out=sample.given_up,
        median_90=median_interval_s(curve),
        p90_90=quantile_interval_s(curve, 0.9),
    )


def _stop(audio: Delays, baseline: Baseline, resolution_s: float) -> StopFindings | None:
    """Where the tests stand; None where no audio came at all: slow cannot be told from never."""
    if not audio.came.any():
        return None
    found = decide(signs(audio, baseline.line_s, resolution_s))
    return StopFindings(
        state=found.state,
        e_slow=found.e_slow,
        e_normal=found.e_normal,
        line_s=baseline.line_s,
        beyond=found.beyond,
        within=found.within,
        unclear=found.unclear,
        decided_after=found.after,
        more=None if too_coarse(baseline, resolution_s) else found.more,
        error_slow=error_slow(baseline),
        error_normal=ALPHA,
        text=stop_text(found, baseline, resolution_s),
    )


def _earlier_visit(job: Job, parts: Stretches) -> ChangeFindings | None:
    """The last visit with timed changes beside the one before it; None if there is one alone."""
    if len(parts.visits) < 2:
        return None
    before, after = (delays(visit, "audio") for visit in parts.visits[-2:])
    return with_text(compare_delays(before, after, max(_step_s(job, visit) for visit in parts.visits[-2:])))


def _step_s(job: Job, visit: Sequence[Attempt]) -> float:
    """The step of a visit's own marks: one visit may be marked more coarsely than the other."""
    return mark_resolution_s(job, visit[0].start_s, max(one.start_s + one.end_s for one in visit))


def _level_loss(parted: Parted, losses: TwoLosses) -> LevelLossFindings | None:
    if not tells(losses):
        return None
    return LevelLossFindings(
        below=parted.split,
        unit=parted.unit,
        n_low=len(parted.low),
        n_high=len(parted.high),
        loss_low=losses.first.quantile(0.5),
        loss_low_90=losses.first.interval_90,
        loss_high=losses.second.quantile(0.5),
        loss_high_90=losses.second.interval_90,
        p_low_more=losses.p_first_more,
    )


def _waited_for_title(attempts: Attempts) -> bool:
    """True if somebody gave up waiting for a title after the audio had come."""
    return any(attempt.ended_by == "abandoned" and attempt.audio_s is not None for attempt in attempts.timed)


def _why_none(attempts: Attempts) -> str:
    if attempts.from_memory:
        return tell("every channel change was marked from memory: time to audio and to title not computed")
    if attempts.refused:
        return tell("every timed channel change was refused: time to audio and to title not computed")
    if attempts.stray_marks:
        return tell("no channel change has a mark 'requested': time to audio and to title not computed")
    return tell("no channel change was timed: time to audio and to title not computed")


def _left_out(attempts: Attempts) -> list[str]:
    said = []
    if count := attempts.stray_marks:
        said.append(
            tell_many(
                "{n} mark fits no open channel change and was left out",
                "{n} marks fit no open channel change and were left out",
                count,
            )
        )
    if count := len(attempts.from_memory):
        said.append(
            tell_many(
                "{n} channel change was marked from memory (span_s) and not timed",
                "{n} channel changes were marked from memory (span_s) and not timed",
                count,
            )
        )
    return said


def _shortcomings(sample: Delays, what: Literal["audio", "title"]) -> list[str]:
    """What too few titles, or too few changes to audio, leave unknown."""
    curve = kaplan_meier(sample.duration_s, sample.came)
    if not curve.events:
        return [translated(_NEVER[what])]
    if quantile_s(curve, 0.5) is None:
        return [translated(_TOO_FEW[what])]
    if curve.events < FEWEST_FOR_INTERVAL:
        return [_only(curve.events, what)]
    return []


_NEVER = {
    "audio": mark("no channel change came to audio: slow cannot be told from never"),
    "title": mark("no channel change came to title: slow cannot be told from never"),
}
_TOO_FEW = {
    "audio": mark("too few channel changes came to audio for a median"),
    "title": mark("too few channel changes came to title for a median"),
}


def _only(count: int, what: Literal["audio", "title"]) -> str:
    if what == "audio":
        return tell_many(
            "only {n} channel change came to audio: no interval for the median",
            "only {n} channel changes came to audio: no interval for the median",
            count,
        )
    return tell_many(
        "only {n} channel change came to title: no interval for the median",
        "only {n} channel changes came to title: no interval for the median",
        count,
    )
