"""The words of the view 'Change timing'."""

from __future__ import annotations

from typing import TYPE_CHECKING

from satdiag.language import tell
from satdiag.tuning.wording import changes_text, more_changes_text, range_text, seconds

if TYPE_CHECKING:
    from satdiag.findings import DelayFindings, TuningFindings


def head_of(found: TuningFindings) -> tuple[str, str]:
    """The state ('slow', 'normal', 'go-on' or 'none') and the same in a few words."""
    stop = found.stop
    if found.audio_s is None:
        return "none", tell("No change was timed yet.")
    if stop is None or found.p_slow is None:
        return "none", tell("No sound came yet.")
    if stop.state != "go-on" and (found.p_slow > 0.5) != (stop.state == "slow"):
        return "go-on", tell("The first changes and all together do not agree.")
    if stop.state == "slow":
        return "slow", tell("Changes are slow.")
    if stop.state == "normal":
        return "normal", tell("Changes are not slow.")
    if stop.more is None:
        return "go-on", tell("Not yet told whether changes are slow.")
    return "go-on", tell("Not yet told: time about {more_changes}.", more_changes=more_changes_text(stop.more))


def said_of(found: TuningFindings) -> list[str]:
    """The findings in sentences; the rule for stopping where the words above do not say it all."""
    said = [found.text] if found.text else []
    if found.stop is not None and (found.stop.state != "go-on" or found.stop.more is None):
        said.append(found.stop.text)
    return said


def row_text(found: DelayFindings) -> str:
    """'half within 1.8 s (90 %: 1.5 to 2.2 s), 9 changes, 1 given up'."""
    changes = changes_text(found.n)
    if found.timed_out:
        changes = tell("{changes}, {given_up} given up", changes=changes, given_up=found.timed_out)
    if found.median is None:
        return tell("too few came for a median, {changes}", changes=changes)
    middle = seconds(found.median)
    if found.median_90 is None:
        return tell("half within {time}, {changes}", time=middle, changes=changes)
    return tell(
        "half within {time} ({range}), {changes}", time=middle, range=range_text(found.median_90), changes=changes
    )
