"""The findings on channel changes in one to three sentences."""

from __future__ import annotations

from dataclasses import dataclass

from satdiag.findings import DelayFindings, StopFindings, TuningFindings
from satdiag.language import tell, tell_many
from satdiag.tuning.slowness import BASELINE_S, SLOW_RATIO
from satdiag.tuning.wording import changes_text, more_changes_text, number, percent, range_text, seconds

CHANNELS_NAMED = 8
"""A longer list of channels says no more to a person."""


@dataclass(frozen=True)
class Basis:
    """Whose changes the findings are of: of `joined` of all `visits` that have some, in steps of `resolution_s`.

    `last`: the time to audio at the last visit by itself, where more than one were joined.
    """

    resolution_s: float
    joined: int = 1
    visits: int = 1
    last: DelayFindings | None = None


def summary(found: TuningFindings, basis: Basis) -> str:
    """One to three sentences: time to sound, time to title, and what changed or was refused."""
    if found.audio_s is None:
        return _refused(found) or tell("No channel change was timed.")
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
    changes = _over_visits(changes_text(audio.n), basis)
    if audio.timed_out:
        changes = tell("{changes}, {given_up} given up", changes=changes, given_up=audio.timed_out)
    if found.stop is None or found.p_slow is None:
        return tell("No sound came ({changes}), so slow cannot be told from never.", changes=changes)
    judged = _judgement(found, found.stop, found.p_slow)
    if audio.median is None:
        return tell(
            "Sound came too seldom to say how long a change takes ({changes}): {judged}.",
            changes=changes,
            judged=judged,
        )
    if audio.median_90 and audio.median_90[1] != 0.0:
        changes = f"{range_text(audio.median_90)}, {changes}"
    taken = _at_least_a_step(audio.median, basis)
    return tell("Changes take {time} to sound ({changes}): {judged}.", time=taken, changes=changes, judged=judged)


def _at_least_a_step(delay_s: float, basis: Basis) -> str:
    """A delay of no steps is not known to be none."""
    return seconds(delay_s) if delay_s > 0.0 else tell("less than {time}", time=seconds(basis.resolution_s))


def _over_visits(changes: str, basis: Basis) -> str:
    """'9 changes over both visits, as the last one has only 2'; the changes alone where they are of one visit."""
    if basis.last is None:
        return changes
    last = basis.last.n
    if basis.joined < basis.visits:
        return tell(
            "{changes} over the last {visits} visits, as the last one has only {last}",
            changes=changes,
            visits=basis.joined,
            last=last,
        )
    if basis.joined == 2:
        return tell("{changes} over both visits, as the last one has only {last}", changes=changes, last=last)
    return tell(
        "{changes} over all {visits} visits, as the last one has only {last}",
        changes=changes,
        visits=basis.joined,
        last=last,
    )


def _last_alone(audio: DelayFindings, basis: Basis) -> list[str]:
    """The last visit by itself, where it differs plainly from the visits it was joined with."""
    last = basis.last
    if last is None or audio.median is None:
        return []
    changes = changes_text(last.n)
    if last.median is None:
        said = tell(
            "At the last visit alone sound came too seldom to say how long a change takes ({changes}).",
            changes=changes,
        )
        return [said]
    low, high = sorted((last.median, audio.median))
    if high - low <= basis.resolution_s or high < SLOW_RATIO * low:
        return []
    taken = _at_least_a_step(last.median, basis)
    said = tell_many(
        "At the last visit alone it takes {time} ({changes}).",
        "At the last visit alone they take {time} ({changes}).",
        last.n,
        time=taken,
        changes=changes,
    )
    return [said]


def _judgement(found: TuningFindings, stop: StopFindings, p_slow: float) -> str:
    if stop.state != "go-on" and (p_slow > 0.5) != (stop.state == "slow"):
        if stop.state == "slow":
            return tell("the first {count} were slow, all together are not", count=stop.decided_after)
        return tell("the first {count} were normal, all together are not", count=stop.decided_after)
    if stop.state == "slow":
        return _slow(found)
    if stop.state == "normal":
        return tell("normal")
    chance = percent(p_slow)
    if not stop.more:
        return tell("the chance that this is slow is {chance}", chance=chance)
    return tell(
        "the chance that this is slow is {chance}; about {more_changes} would settle it",
        chance=chance,
        more_changes=more_changes_text(stop.more),
    )


def _slow(found: TuningFindings) -> str:
    if found.baseline_from == "earlier visit" and found.baseline_s is not None:
        return tell("slow, it was {time} at earlier visits", time=seconds(found.baseline_s))
    low, high = BASELINE_S
    return tell("slow, {low} to {high} is usual", low=number(low), high=seconds(high))


def _titles(title: DelayFindings, found: TuningFindings) -> str:
    changes = changes_text(title.n)
    if title.timed_out:
        changes = tell("{given_up} of {count} given up", given_up=title.timed_out, count=title.n)
    if title.median is None:
        said = tell("Titles came too seldom to say how long they take ({changes})", changes=changes)
    else:
        ends = f"{range_text(title.median_90)}, " if title.median_90 else ""
        said = tell("Titles take {time} ({changes})", time=seconds(title.median), changes=ends + changes)
    if found.block_loss is None or found.block_loss_90 is None:
        return f"{said}."
    low, high = found.block_loss_90
    return tell(
        "{said}; the times fit a loss of {share} of the blocks (90 %: {low} to {high}).",
        said=said,
        share=percent(found.block_loss),
        low=percent(low),
        high=percent(high),
    )


def _refused(found: TuningFindings) -> str:
    if not found.refused:
        return ""
    shown = ", ".join(str(channel) for channel in found.refused_channels[:CHANNELS_NAMED])
    more = len(found.refused_channels) - CHANNELS_NAMED
    if more > 0:
        shown = tell("{channels} and {count} more", channels=shown, count=more)
    names = tell("channel {channels}", channels=shown)
    if len(found.refused_channels) > 1:
        names = tell("channels {channels}", channels=shown)
    return tell_many(
        "{n} change was refused ({channels}).",
        "{n} changes were refused ({channels}).",
        found.refused,
        channels=names,
    )
