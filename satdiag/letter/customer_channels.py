"""The customer's channels: which play, which still come and how likely, which are not in the package."""

from __future__ import annotations

from satdiag.diagnosis.remarks import LAPSED
from satdiag.findings import Findings
from satdiag.job import Job
from satdiag.language import mark, tell, tell_many, translated
from satdiag.letter.channels import Groups, names_text
from satdiag.letter.parts import Fact
from satdiag.letter.saying import level_of

FEW = 6
COMING = (
    mark("May still come"),
    mark("Likely to come"),
    mark("Very likely to come"),
    mark("Almost certain to come"),
)
"""By `saying.level_of`."""


def channel_facts(job: Job, findings: Findings, groups: Groups) -> list[Fact]:
    """One line for each group of channels that is not empty."""
    entitlement = findings.entitlement
    if not entitlement.channels:
        return [(tell("Not known yet"), tell("we have no list of your channels, and checked none of them so far"))]
    if not entitlement.checked and not groups.plays:
        return [*_none_checked(findings), *_outside(job, groups)]
    return [
        *_playing(job, findings, groups),
        *_coming(job, groups),
        *_shown(tell("Played before, not now"), groups.lost, job),
        *_shown(_label_of_locked(findings), groups.locked, job),
        *_shown(tell("Not in the radio's list"), groups.unlisted, job),
        *_outside(job, groups),
        *_counted(tell("Not known yet"), groups.unseen, job),
    ]


def _none_checked(findings: Findings) -> list[Fact]:
    total = findings.entitlement.expected or 0
    text = tell_many("the {n} channel that should play", "all {n} channels that should play", total)
    return [(tell("Not known yet"), text)] if total else []


def _playing(job: Job, findings: Findings, groups: Groups) -> list[Fact]:
    found = findings.entitlement
    expected = [channel for channel in groups.plays if channel not in groups.open]
    here, total = found.authorised or 0, found.expected or 0
    label = _label_of_playing(findings, groups.unheard)
    facts = []
    if total and found.expected_from == "package":
        facts.append((label, _of_package(here, total)))
    elif total and found.expected_from == "lineup":
        facts.append((label, _of_lineup(here, total)))
    else:
        facts += _counted(label, tuple(expected), job)
    return [*facts, *_counted(tell("Play without a subscription"), groups.open, job)]


def _of_package(here: int, total: int) -> str:
    if not here:
        return tell_many("not the {n} channel of your package", "none of the {n} channels of your package", total)
    if here == total:
        return tell_many("the {n} channel of your package", "all {n} channels of your package", total)
    return tell("{n} of the {total} channels of your package", n=here, total=total)


def _of_lineup(here: int, total: int) -> str:
    if not here:
        return tell("none of the {total} channels that need a subscription", total=total)
    if here == total:
        return tell("all {total} channels that need a subscription", total=total)
    return tell("{n} of the {total} channels that need a subscription", n=here, total=total)


def _label_of_locked(findings: Findings) -> str:
    """'Yet' only where the channels are to come: not of a subscription that has ended."""
    verdict = findings.verdict
    return tell("Not open now") if verdict.state == "fault" and verdict.fault == LAPSED else tell("Not open yet")


def _label_of_playing(findings: Findings, unheard: bool) -> str:
    """What is true of a channel that was authorised when it was last checked, or last received if `unheard`."""
    if findings.verdict.fault == "audio-path" and findings.verdict.state == "fault":
        return tell("Reach the receiver")
    if findings.verdict.state in ("works", "filling", "explained"):
        return tell("Play now")
    return tell("Played when last received") if unheard else tell("Played when last checked")


def _coming(job: Job, groups: Groups) -> list[Fact]:
    facts: list[Fact] = []
    chance = groups.chance or {}
    for level in range(len(COMING) - 1, -1, -1):
        channels = tuple(channel for channel in groups.awaited if level_of(chance[channel]) == level)
        facts += _shown(translated(COMING[level]), channels, job)
    return facts


def _outside(job: Job, groups: Groups) -> list[Fact]:
    return [
        *_shown(tell("Not in your package"), groups.outside, job),
        *_shown(tell("It seems, not in your package"), groups.maybe_outside, job),
    ]


def _shown(label: str, channels: tuple[int, ...], job: Job) -> list[Fact]:
    """A group with its channels named; how many they are stands before a long list."""
    if not channels:
        return []
    names = names_text(channels, job)
    if len(channels) <= FEW and not names.isdecimal():  # one number alone would read as a count
        return [(label, names)]
    text = tell_many("{n} channel ({names})", "{n} channels ({names})", len(channels), names=names)
    return [(label, text)]


def _counted(label: str, channels: tuple[int, ...], job: Job) -> list[Fact]:
    """A group of which only a few are named."""
    if not channels or len(channels) <= FEW:
        return _shown(label, channels, job)
    return [(label, tell_many("{n} channel", "{n} channels", len(channels)))]
