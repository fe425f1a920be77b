"""Channel changes in plain sentences: numbers, when to stop timing, one visit beside another, losses by level."""

from __future__ import annotations

import math

from satdiag.findings import ChangeFindings, LevelLossFindings
from satdiag.language import chance_text, in_figures, tell, tell_many
from satdiag.tuning.baseline import Baseline
from satdiag.tuning.compare import Comparison
from satdiag.tuning.stopping import ALPHA, P_SLOW, P_WELL, Decision

_Ends = tuple[float | None, float | None]


def seconds(value: float) -> str:
    """'1.8 s', '0.04 s', '12 s'."""
    return f"{number(value)} s"


def number(value: float) -> str:
    """Two digits below ten, whole above."""
    text = f"{value:.0f}" if abs(value) >= 9.95 else f"{value:.1f}" if abs(value) >= 0.095 else f"{value:.2g}"
    return in_figures(text)


def changes_text(count: int) -> str:
    """'1 change', '3 changes'."""
    return tell_many("{n} change", "{n} changes", count)


def more_changes_text(count: int) -> str:
    """'1 more change', '3 more changes'."""
    return tell_many("{n} more change", "{n} more changes", count)


def range_text(ends: _Ends) -> str:
    """'90 %: 1.5 to 2.2 s'; an open end in words."""
    low, high = ends
    if low is None and high is None:
        return tell("no end of the range known")
    if high is None and low is not None:
        return tell("90 %: {low} s or more", low=number(low))
    if low is None and high is not None:
        return tell("90 %: {high} s or less", high=number(high))
    return tell("90 %: {low} to {high} s", low=number(low or 0.0), high=number(high or 0.0))


def percent(share: float) -> str:
    """'12 %'; what rounds to nothing as 'under 1 %'."""
    return chance_text(share)


def stop_text(found: Decision, baseline: Baseline, resolution_s: float) -> str:
    """Whether one may stop timing, why, and how sure that is."""
    line, after = seconds(baseline.line_s), changes_text(found.after or 0)
    if found.state == "slow":
        return tell(
            "Shown to be slow after {changes}: more than {share} take over {line}. "
            "Timing may stop; this is wrong at most {times:.0f} times in 100.",
            changes=after,
            share=percent(P_WELL),
            line=line,
            times=100 * error_slow(baseline),
        )
    if found.state == "normal":
        return tell(
            "Shown not to be slow after {changes}: fewer than {share} take over {line}. "
            "Timing may stop; this is wrong at most {times:.0f} times in 100.",
            changes=after,
            share=percent(P_SLOW),
            line=line,
            times=100 * ALPHA,
        )
    if too_coarse(baseline, resolution_s):
        step = seconds(resolution_s)
        return tell(
            "Marks in steps of {step} are too coarse to tell whether a change takes over {line}.",
            step=step,
            line=line,
        )
    if found.more is None:
        return tell("Not yet settled whether changes are slow, and many more would be needed.")
    more = more_changes_text(found.more)
    return tell("Not yet settled whether changes are slow: about {more_changes} would tell.", more_changes=more)


def error_slow(baseline: Baseline) -> float:
    """How often 'slow' is said at most while all is well; an own line may itself lie too low once in twenty."""
    return ALPHA if baseline.posterior is None else 2.0 * ALPHA


def too_coarse(baseline: Baseline, resolution_s: float) -> bool:
    """True if marks in such steps can never show that a change was done before the line."""
    return resolution_s > baseline.line_s / 2.0


def comparison_text(found: Comparison) -> str:
    """The last visit beside the one before."""
    if found.state == "cannot tell" or found.shift_s is None or found.shift_s_90 is None:
        return _not_compared(found)
    if found.state == "no difference seen":
        most = max(abs(end) for end in found.shift_s_90 if end is not None)
        return tell(
            "No difference of {least} or more from the visit before was seen in changes to sound "
            "({range}; {before} and {after} changes).",
            least=seconds(math.ceil(10.0 * most - 1e-6) / 10.0),
            range=range_text(found.shift_s_90),
            before=found.n_before,
            after=found.n_after,
        )
    if found.state == "faster":
        low, high = found.shift_s_90
        turned = (None if high is None else -high, None if low is None else -low)
        return tell(
            "Changes to sound take {by} less than at the visit before ({range}; {before} and {after} changes).",
            by=seconds(abs(found.shift_s)),
            range=range_text(turned),
            before=found.n_before,
            after=found.n_after,
        )
    return tell(
        "Changes to sound take {by} longer than at the visit before ({range}; {before} and {after} changes).",
        by=seconds(abs(found.shift_s)),
        range=range_text(found.shift_s_90),
        before=found.n_before,
        after=found.n_after,
    )


def _not_compared(found: Comparison) -> str:
    least = seconds(found.noticeable_s)
    if found.needed is None:
        return tell(
            "Marks in steps of {step} are too coarse to tell a difference of {least} from the visit before.",
            step=seconds(found.resolution_s),
            least=least,
        )
    return tell(
        "Whether changes to sound became slower since the visit before cannot be told yet: "
        "about {needed} changes a visit would tell a difference of {least}.",
        needed=found.needed,
        least=least,
    )


def level_loss_text(found: LevelLossFindings, sure: float) -> str:
    """The block loss at low and at high level."""
    where = tell(
        "{low_loss} below {level} {unit}, {high_loss} above",
        low_loss=_loss(found.loss_low, found.loss_low_90),
        level=in_figures(f"{found.below:.3g}"),
        unit=_unit(found.unit),
        high_loss=_loss(found.loss_high, found.loss_high_90),
    )
    if found.p_low_more >= sure:
        return tell("Titles lose more blocks while the level is low: {losses}.", losses=where)
    if found.p_low_more <= 1.0 - sure:
        return tell(
            "Titles lose fewer blocks while the level is low, so something else is at work: {losses}.", losses=where
        )
    return tell("Low level was not seen to lose more blocks of titles than high level: {losses}.", losses=where)


def _unit(unit: str) -> str:
    if unit == "percent":
        return tell("percent")
    return tell("bars") if unit.startswith("bars") else unit


def _loss(loss: float, ends: tuple[float, float]) -> str:
    low, high = ends
    return tell("{share} (90 %: {low} to {high})", share=percent(loss), low=percent(low), high=percent(high))


def with_text(found: Comparison) -> ChangeFindings:
    """The comparison as findings."""
    return ChangeFindings(
        state=found.state,
        test=found.test,
        p_value=found.p_value,
        shift_s=found.shift_s,
        shift_s_90=found.shift_s_90,
        n_before=found.n_before,
        n_after=found.n_after,
        noticeable_s=found.noticeable_s,
        needed=found.needed,
        text=comparison_text(found),
    )
