"""The findings on channel changes in plain sentences."""

from __future__ import annotations

import math
from dataclasses import dataclass

from satdiag.findings import ChangeFindings, DelayFindings, LevelLossFindings, StopFindings, TuningFindings
from satdiag.tuning.baseline import Baseline
from satdiag.tuning.compare import Comparison
from satdiag.tuning.slowness import BASELINE_S, SLOW_RATIO
from satdiag.tuning.stopping import ALPHA, P_SLOW, P_WELL, Decision

CHANNELS_NAMED = 8
"""A longer list of channels says no more to a person."""

_Ends = tuple[float | None, float | None]


@dataclass(frozen=True)
class Basis:
    """Whose changes the findings are of: of `joined` of all `visits` that have some, in steps of `resolution_s`.

    `last`: the time to audio at the last visit by itself, where more than one were joined.
    """

    resolution_s: float
    joined: int = 1
    visits: int = 1
    last: DelayFindings | None = None


def seconds(value: float) -> str:
    """'1.8 s', '0.04 s', '12 s'."""
    return f"{number(value)} s"


def number(value: float) -> str:
    """Two digits below ten, whole above."""
    return f"{value:.0f}" if abs(value) >= 9.95 else f"{value:.1f}" if abs(value) >= 0.095 else f"{value:.2g}"


def counted(count: int, one: str, many: str = "") -> str:
    """'1 change', '3 changes'."""
    return f"{count} {one if count == 1 else many or one + 's'}"


def range_text(ends: _Ends) -> str:
    """'90 %: 1.5 to 2.2 s'; an open end in words."""
    low, high = ends
    if low is None and high is None:
        return "no end of the range known"
    if high is None and low is not None:
        return f"90 %: {number(low)} s or more"
    if low is None and high is not None:
        return f"90 %: {number(high)} s or less"
    return f"90 %: {number(low or 0.0)} to {number(high or 0.0)} s"


def percent(share: float) -> str:
    """'12 %'; what rounds to nothing as 'less than 1 %'."""
    return "less than 1 %" if share < 0.005 else "more than 99 %" if share > 0.995 else f"{100 * share:.0f} %"


def stop_text(found: Decision, baseline: Baseline, resolution_s: float) -> str:
    """Whether one may stop timing, why, and how sure that is."""
    line, after = seconds(baseline.line_s), counted(found.after or 0, "change")
    end = "Timing may stop; this is wrong at most"
    if found.state == "slow":
        said = f"Shown to be slow after {after}: more than {percent(P_WELL)} take over {line}"
        return f"{said}. {end} {100 * error_slow(baseline):.0f} times in 100."
    if found.state == "normal":
        said = f"Shown not to be slow after {after}: fewer than {percent(P_SLOW)} take over {line}"
        return f"{said}. {end} {100 * ALPHA:.0f} times in 100."
    if too_coarse(baseline, resolution_s):
        return f"Marks in steps of {seconds(resolution_s)} are too coarse to tell whether a change takes over {line}."
    if found.more is None:
        return "Not yet settled whether changes are slow, and many more would be needed."
    return f"Not yet settled whether changes are slow: about {counted(found.more, 'more change')} would tell."


def error_slow(baseline: Baseline) -> float:
    """How often 'slow' is said at most while all is well; an own line may itself lie too low once in twenty."""
    return ALPHA if baseline.posterior is None else 2.0 * ALPHA


def too_coarse(baseline: Baseline, resolution_s: float) -> bool:
    """True if marks in such steps can never show that a change was done before the line."""
    return resolution_s > baseline.line_s / 2.0


def comparison_text(found: Comparison) -> str:
    """The last visit beside the one before."""
    if found.state == "cannot tell" or found.shift_s is None or found.shift_s_90 is None:
        if found.needed is None:
            step, matters = seconds(found.resolution_s), seconds(found.noticeable_s)
            return f"Marks in steps of {step} are too coarse to tell a difference of {matters} from the visit before."
        wanted = f"about {found.needed} changes a visit would tell a difference of {seconds(found.noticeable_s)}"
        return f"Whether changes to sound became slower since the visit before cannot be told yet: {wanted}."
    numbers = f"{range_text(found.shift_s_90)}; {found.n_before} and {found.n_after} changes"
    if found.state == "no difference seen":
        most = max(abs(end) for end in found.shift_s_90 if end is not None)
        least = seconds(math.ceil(10.0 * most - 1e-6) / 10.0)
        return f"No difference of {least} or more from the visit before was seen in changes to sound ({numbers})."
    by = seconds(abs(found.shift_s))
    if found.state == "faster":
        low, high = found.shift_s_90
        turned = (None if high is None else -high, None if low is None else -low)
        numbers = f"{range_text(turned)}; {found.n_before} and {found.n_after} changes"
    word = "longer" if found.state == "slower" else "less"
    return f"Changes to sound take {by} {word} than at the visit before ({numbers})."


def level_loss_text(found: LevelLossFindings, sure: float) -> str:
    """The block loss at low and at high level."""
    unit = "bars" if found.unit.startswith("bars") else found.unit
    low = _loss(found.loss_low, found.loss_low_90)
    where = f"{low} below {found.below:.3g} {unit}, {_loss(found.loss_high, found.loss_high_90)} above"
    if found.p_low_more >= sure:
        return f"Titles lose more blocks while the level is low: {where}."
    if found.p_low_more <= 1.0 - sure:
        return f"Titles lose fewer blocks while the level is low, so something else is at work: {where}."
    return f"Low level was not seen to lose more blocks of titles than high level: {where}."


def _loss(loss: float, ends: tuple[float, float]) -> str:
    return f"{percent(loss)} (90 %: {percent(ends[0])} to {percent(ends[1])})"


def summary(found: TuningFindings, basis: Basis) -> str:
    """One to three sentences: time to sound, time to title, and what changed or was refused."""
    if found.audio_s is None:
        return _refused(found) or "No channel change was timed."
    said = [_audio(found.audio_s, found, basis), *_last_alone(found.audio_s, basis)]
    if found.title_s is not None:
        said.append(_titles(found.title_s, found))
    last = found.earlier_visit
    if last is not None and last.state in ("slower", "faster"):
        said.append(last.text)
    elif found.refused:
        said.append(_refused(found))
    return " ".join(said)


def _audio(audio: DelayFindings, found: TuningFindings, basis: Basis) -> str:
    changes = counted(audio.n, "change") + _over_visits(basis)
    if audio.timed_out:
        changes += f", {audio.timed_out} given up"
    if found.stop is None or found.p_slow is None:
        return f"No sound came ({changes}), so slow cannot be told from never."
    judged = _judgement(found, found.stop, found.p_slow)
    if audio.median is None:
        return f"Sound came too seldom to say how long a change takes ({changes}): {judged}."
    ends = f"{range_text(audio.median_90)}, " if audio.median_90 and audio.median_90[1] != 0.0 else ""
    return f"Changes take {_at_least_a_step(audio.median, basis)} to sound ({ends}{changes}): {judged}."


def _at_least_a_step(delay_s: float, basis: Basis) -> str:
    """A delay of no steps is not known to be none."""
    return seconds(delay_s) if delay_s > 0.0 else f"less than {seconds(basis.resolution_s)}"


def _over_visits(basis: Basis) -> str:
    """' over both visits, as the last one has only 2'; empty where the changes are of one visit."""
    if basis.last is None:
        return ""
    if basis.joined < basis.visits:
        which = f"the last {basis.joined} visits"
    else:
        which = "both visits" if basis.joined == 2 else f"all {basis.joined} visits"
    return f" over {which}, as the last one has only {basis.last.n}"


def _last_alone(audio: DelayFindings, basis: Basis) -> list[str]:
    """The last visit by itself, where it differs plainly from the visits it was joined with."""
    last = basis.last
    if last is None or audio.median is None:
        return []
    changes = counted(last.n, "change")
    if last.median is None:
        return [f"At the last visit alone sound came too seldom to say how long a change takes ({changes})."]
    low, high = sorted((last.median, audio.median))
    if high - low <= basis.resolution_s or high < SLOW_RATIO * low:
        return []
    taken = "it takes" if last.n == 1 else "they take"
    return [f"At the last visit alone {taken} {_at_least_a_step(last.median, basis)} ({changes})."]


def _judgement(found: TuningFindings, stop: StopFindings, p_slow: float) -> str:
    if stop.state != "go-on" and (p_slow > 0.5) != (stop.state == "slow"):
        return f"the first {stop.decided_after} were {stop.state}, all together are not"
    if stop.state == "slow":
        return f"slow, {_beside(found)}"
    if stop.state == "normal":
        return "normal"
    more = f"; about {counted(stop.more, 'more change')} would settle it" if stop.more else ""
    return f"the chance that this is slow is {percent(p_slow)}{more}"


def _beside(found: TuningFindings) -> str:
    if found.baseline_from == "earlier visit" and found.baseline_s is not None:
        return f"it was {seconds(found.baseline_s)} at earlier visits"
    return f"{number(BASELINE_S[0])} to {seconds(BASELINE_S[1])} is usual"


def _titles(title: DelayFindings, found: TuningFindings) -> str:
    changes = f"{title.timed_out} of {title.n} given up" if title.timed_out else counted(title.n, "change")
    if title.median is None:
        said = f"Titles came too seldom to say how long they take ({changes})"
    else:
        ends = f"{range_text(title.median_90)}, " if title.median_90 else ""
        said = f"Titles take {seconds(title.median)} ({ends}{changes})"
    if found.block_loss is not None and found.block_loss_90 is not None:
        low, high = found.block_loss_90
        loss = f"{percent(found.block_loss)} of the blocks (90 %: {percent(low)} to {percent(high)})"
        said += f"; the times fit a loss of {loss}"
    return said + "."


def _refused(found: TuningFindings) -> str:
    if not found.refused:
        return ""
    shown = ", ".join(str(channel) for channel in found.refused_channels[:CHANNELS_NAMED])
    more = len(found.refused_channels) - CHANNELS_NAMED
    names = f"channel{'s' if len(found.refused_channels) > 1 else ''} {shown}" + (
        f" and {more} more" if more > 0 else ""
    )
    return f"{counted(found.refused, 'change was', 'changes were')} refused ({names})."


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
