"""The letter to the provider: what its support needs to know of account, times and channels, and one thing asked."""

from __future__ import annotations

from satdiag.findings import Findings, PathSignal
from satdiag.job import Job
from satdiag.language import listed, mark, moment_text, tell, tell_many, translated
from satdiag.letter.account import account_rows, paid_channels
from satdiag.letter.asking import asks_of
from satdiag.letter.channels import Groups, groups_of, numbers_text
from satdiag.letter.measured import paths_told
from satdiag.letter.parts import Fact, Letter, Section
from satdiag.letter.saying import instant_words, level_words, rounded_down, rounded_up, span_text, zone_text
from satdiag.paths import path_words
from satdiag.report.local_time import LocalTime, local_time_of
from satdiag.report.numbers import percent

ACCOUNT = {
    "submitted": mark("Activation submitted"),
    "confirmed": mark("Activation confirmed"),
    "resend-requested": mark("Resend requested"),
    "resend-confirmed": mark("Resend confirmed"),
    "rejected": mark("Activation refused"),
    "lapsed": mark("Reported as ended"),
    "none": mark("Reported as not existing"),
}
MOST_ACCOUNT_ROWS = 6


def provider_letter(job: Job, findings: Findings, sender: str = "", *, full_id: bool = False) -> Letter:
    """The letter to the provider's support. The identifier is masked unless `full_id`."""
    local = local_time_of(job)
    groups = groups_of(job, findings)
    receiver = job.sheet.receiver
    shown = receiver.id if full_id else receiver.masked_id
    sections = (
        Section(tell("What we ask"), asks_of(job, findings, groups, full_id and bool(receiver.id)), strong=True),
        Section(tell("The account"), facts=(*_account(job, local), *_exposure(findings))),
        Section(tell("Channels"), facts=tuple(_channels(job, findings, groups))),
        Section(tell("Reception"), facts=tuple(_reception(findings))),
    )
    small = [zone_text(local)]
    if receiver.id and not full_id:
        small.insert(0, tell("The identifier is shortened here. We give you the whole one when you ask for it."))
    return Letter(
        recipient="provider",
        title=tell("About the activation of a satellite radio receiver"),
        facts=(
            (tell("Receiver"), shown if receiver.id and shown else tell("not known")),
            (tell("Package"), job.sheet.package or tell("not known")),
            (tell("Job"), findings.job),
            (tell("As of"), instant_words(findings.verdict.as_of, local)),
        ),
        sections=tuple(section for section in sections if not section.is_empty),
        small=tuple(small),
        signed=sender,
    )


def _account(job: Job, local: LocalTime) -> list[Fact]:
    """What was done with the provider and when, the latest of it; said so where nothing was written down."""
    found = [
        (translated(ACCOUNT[value]), moment_text(local.wall(at)))
        for value, at in account_rows(job)
        if value in ACCOUNT
    ]
    if not found:
        return [(tell("Activation"), tell("no date was written down"))]
    return found[-MOST_ACCOUNT_ROWS:]


def _exposure(findings: Findings) -> list[Fact]:
    """How long the receiver could have taken in what was sent."""
    found = findings.entitlement
    if found.exposure_s is None:
        return []
    label = tell("On and receiving since the confirmation")
    if found.exposure_origin != "confirmed":
        label = tell("On and receiving since our first entry about this receiver")
    facts = [(label, _listened(found.exposure_s, found.exposure_max_s))]
    if found.exposure_since_resend_s is not None:
        facts.append((tell("On and receiving since the last resend"), _listened(found.exposure_since_resend_s, None)))
    return facts


def _listened(least_s: float, most_s: float | None) -> str:
    """Both ends are bounds: neither is rounded towards the other."""
    least = tell("no time proved")
    if least_s >= 30.0:
        least = span_text(rounded_down(least_s)) if least_s >= 60.0 else tell("less than a minute")
    if most_s is not None and most_s - least_s >= 300.0:
        return tell("{least}, at most {most}", least=least, most=span_text(rounded_up(most_s)))
    return least


def _channels(job: Job, findings: Findings, groups: Groups) -> list[Fact]:
    came = paid_channels(groups)
    facts = _open_channels(job, findings)
    none = tell("none that plays now") if groups.lost else tell("none so far")
    label = tell("Authorised when last received") if groups.unheard else tell("Authorised when last checked")
    facts.append((label, _counted(came, job) if came else none))
    for label, channels in (
        (tell("Refused"), tuple(sorted((*groups.awaited, *groups.locked)))),
        (tell("Played before, refused now"), groups.lost),
        (tell("Outside the package, by our line-up"), _seen_refused(findings, groups.outside)),
        (tell("Refused, and seem to lie outside the package"), _seen_refused(findings, groups.maybe_outside)),
        (tell("Not in the receiver's list"), groups.unlisted),
    ):
        if channels:
            facts.append((label, _counted(channels, job)))
    if groups.unseen:
        facts.append(
            (tell("Not checked, or no signal"), tell_many("{n} channel", "{n} channels", len(groups.unseen)))
        )
    return facts


def _seen_refused(findings: Findings, channels: tuple[int, ...]) -> tuple[int, ...]:
    refused = {one.channel for one in findings.entitlement.channels if one.state == "refused"}
    return tuple(channel for channel in channels if channel in refused)


def _counted(channels: tuple[int, ...], job: Job) -> str:
    numbers = numbers_text(channels, job)
    return tell_many("{n} channel ({names})", "{n} channels ({names})", len(channels), names=numbers)


def _open_channels(job: Job, findings: Findings) -> list[Fact]:
    """Whether channels that need no subscription play: that proves receiver and antenna."""
    marked = {line.channel for line in job.lineup or () if line.is_open}
    label = tell("Channels without encryption")
    if not marked:
        return [(label, tell("none is known to us"))]
    states = {one.channel: one.state for one in findings.entitlement.channels if one.channel in marked}
    plays = [str(channel) for channel, state in sorted(states.items()) if state == "authorised"]
    silent = [
        str(channel) for channel, state in sorted(states.items()) if state in ("refused", "missing", "no-signal")
    ]
    if plays and silent:
        return [(label, tell("play: {plays}, do not play: {silent}", plays=listed(plays), silent=listed(silent)))]
    if plays:
        return [(label, tell("play ({channels})", channels=listed(plays)))]
    if silent:
        return [(label, tell("do not play ({channels})", channels=listed(silent)))]
    return [(label, tell("not checked"))]


def _reception(findings: Findings) -> list[Fact]:
    facts = []
    for name, path in paths_told(findings):
        said = [text for text in (_level(path), _share(path)) if text]
        if said:
            facts.append((path_words(name), ", ".join(said)))
    return facts


def _level(path: PathSignal) -> str:
    level = path.level_here if path.level_here is not None else path.clear_level
    return "" if level is None else level_words(level, path.unit)


def _share(path: PathSignal) -> str:
    if path.share is None or path.share.blocked is None:
        return ""
    return tell("received {share} of the time", share=percent(1.0 - path.share.blocked))
