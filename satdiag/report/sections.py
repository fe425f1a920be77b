"""The sections under the first page: each a head, sentences, figures and tables, or why there are none."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from satdiag.findings import EntitlementFindings, Findings, TuningFindings
from satdiag.job import Job
from satdiag.language import tell
from satdiag.report import words
from satdiag.report.evidence import limits_section, reasons_section
from satdiag.report.expect import elsewhere
from satdiag.report.fill_in import fill_in_figure
from satdiag.report.local_time import LocalTime
from satdiag.report.method import method_section
from satdiag.report.numbers import chance, duration, percent, range_words, seconds, wait_minutes
from satdiag.report.section import Section, because
from satdiag.report.sky_moved import moved_tables
from satdiag.report.sky_plot import satellite_table, sky_figure
from satdiag.report.tables import (
    budget_table,
    channel_groups,
    level_table,
    share_table,
    signal_sentences,
    together_sentences,
    tuning_table,
)
from satdiag.report.timeline import timeline_figures
from satdiag.report.wiring import wiring_parts

OUTSIDE = 0.5
SMALL_CHANCE = 0.01
NAMED_CHANNELS = 40
"""A category more likely outside the account than late is named; a chance below the other one is not worth words."""


def sections_of(job: Job, findings: Findings, local: LocalTime, can: Collection[str] | None = None) -> list[Section]:
    """All sections in the order of the page; the cautions and the job's rows follow them and are the page's own."""
    return [
        _channels(job, findings.entitlement),
        _fill_in(findings.entitlement),
        _signal(job, findings, local),
        _sky(findings, local),
        *_elsewhere(findings),
        _changes(findings.tuning),
        *_wiring(findings, local),
        reasons_section(findings, local),
        limits_section(findings),
        method_section(job, findings, local, can),
    ]


# --- channels ----------------------------------------------------------------------------------------------------


def _channels(job: Job, found: EntitlementFindings) -> Section:
    groups = tuple(channel_groups(found, job.lineup))
    nothing = tell("Nothing is known of the channels: none was checked.")
    return Section(
        "channels",
        tell("The channels"),
        sentences=_channel_sentences(found) if groups else (),
        groups=groups,
        missing=() if groups else because(nothing, found.could_not, False),
    )


def _channel_sentences(found: EntitlementFindings) -> tuple[str, ...]:
    said = [found.text] if found.text else []
    if found.expected_from:
        counted = words.EXPECTED_FROM[found.expected_from]
        said.append(tell("Counted as expected: {channels}.", channels=counted))
    if found.p_all_expected is not None and not found.complete:
        said.append(tell("The chance that every expected channel comes is {p}.", p=chance(found.p_all_expected)))
    if found.remaining_to_last_s is not None and found.remaining_to_last_s.p95 > 0 and not found.complete:
        wait = wait_minutes(found.remaining_to_last_s)
        said.append(tell("The last one should come after {wait} more of listening.", wait=wait))
    if found.p_account_dead is not None and found.p_account_dead >= SMALL_CHANCE:
        said.append(tell("The chance that the whole account is inactive is {p}.", p=chance(found.p_account_dead)))
    if any(channel.remaining_s for channel in found.channels):
        said.append(
            tell("A wait below is a middle value with its {range}, in minutes of listening.", range=range_words())
        )
    if found.beyond_package:
        numbers = _few(found.beyond_package)
        said.append(tell("These play although they were not expected to: {numbers}.", numbers=numbers))
    return tuple(said)


def _few(channels: Sequence[int]) -> str:
    """Numbers of channels; the first ones of very many."""
    shown = ", ".join(str(channel) for channel in channels[:NAMED_CHANNELS])
    if len(channels) <= NAMED_CHANNELS:
        return shown
    return tell("{channels} and others ({count} in all)", channels=shown, count=len(channels))


def _fill_in(found: EntitlementFindings) -> Section:
    figure = fill_in_figure(found)
    known = figure is not None or found.exposure_s is not None
    return Section(
        "fill-in",
        tell("How the channels came in"),
        sentences=_listening_sentences(found),
        figures=(figure,) if figure else (),
        missing=because(tell("Nothing is known of how the channels came in."), found.could_not, known),
    )


def _listening_sentences(found: EntitlementFindings) -> tuple[str, ...]:
    if found.exposure_s is None:
        return ()
    sentences = [_listened(found, found.exposure_s)]
    if found.reception_scale is not None:
        share = percent(found.reception_scale, found.reception_scale_90)
        sentences.append(
            tell(
                "Block errors were read: {share} of the blocks came through, and waits are scaled by that.",
                share=share,
            )
        )
    outside = [name for name, chance in (found.outside_categories or {}).items() if chance >= OUTSIDE]
    if outside:
        sentences.append(
            tell(
                "Nothing of these categories came; all of each is likely outside the account: {names}.",
                names=", ".join(outside),
            )
        )
    if found.p_not_begun is not None and found.p_not_begun >= SMALL_CHANCE:
        sentences.append(
            tell("The chance that nothing has been sent yet at all is {p}.", p=chance(found.p_not_begun))
        )
    if found.exposure_since_resend_s is not None:
        since = duration(found.exposure_since_resend_s)
        sentences.append(tell("Since the activation was last sent: {time}.", time=since))
    return (*sentences, *_first_channel(found))


def _listened(found: EntitlementFindings, least_s: float) -> str:
    """How long the receiver has listened, from when on, and by what that was counted."""
    if found.exposure_max_s is not None and found.exposure_max_s > least_s:
        most = duration(found.exposure_max_s)
        said = tell(
            "The receiver has listened for at least {least} and at most {most}", least=duration(least_s), most=most
        )
    else:
        said = tell("The receiver has listened for at least {least}", least=duration(least_s))
    origin = words.EXPOSURE_ORIGINS[found.exposure_origin] if found.exposure_origin else ""
    basis = words.EXPOSURE_BASES[found.exposure_basis] if found.exposure_basis else ""
    return ", ".join(part for part in (said, origin, basis) if part) + "."


def _first_channel(found: EntitlementFindings) -> tuple[str, ...]:
    if found.time_to_first_s is None:
        return ()
    wait = wait_minutes(found.time_to_first_s)
    if found.authorised or found.arrival_events:
        return (tell("The first channel came after {wait} of listening.", wait=wait),)
    return (tell("The first channel should come, if any does, after {wait} of listening.", wait=wait),)


# --- signal and sky ----------------------------------------------------------------------------------------------


def _signal(job: Job, findings: Findings, local: LocalTime) -> Section:
    found = findings.signal
    figures = tuple(timeline_figures(job, found, local))
    parts = (share_table(found), level_table(found), budget_table(found))
    tables = tuple(part for part in parts if part is not None)
    said = []
    if found.any_path_share is not None:
        share = percent(found.any_path_share)
        if found.any_path_share_90 is not None:
            low, high = (percent(end) for end in found.any_path_share_90)
            said.append(
                tell(
                    "At least one path was received {share} of the time logged; in the long run such a place gives "
                    "{low} to {high}.",
                    share=share,
                    low=low,
                    high=high,
                )
            )
        else:
            said.append(tell("At least one path was received {share} of the time logged.", share=share))
    said += [*together_sentences(found), *signal_sentences(found)]
    known = bool(figures or tables or said)
    missing = because(
        tell("Nothing is known of the signal: no level and no lock was logged."), found.could_not, known
    )
    return Section("signal", tell("What was received"), tuple(said), figures=figures, tables=tables, missing=missing)


def _sky(findings: Findings, local: LocalTime) -> Section:
    found = findings.sky
    figures, tables = [], []
    for number, site in enumerate(found.sites, 1):
        figure = sky_figure(site, number)
        if figure is not None:
            figures.append(figure)
        elif site.satellites:
            tables.append(satellite_table(site))
        tables += moved_tables(site, found.coverage_min_elevation_deg, local)
    said = []
    if found.coverage_min_elevation_deg is not None:
        lowest = found.coverage_min_elevation_deg
        said.append(
            tell("The service is offered where its satellites stand at least {lowest:g}° high.", lowest=lowest)
        )
    nothing = tell("Nothing is known of the sky over the vehicle.")
    missing = because(nothing, found.could_not, bool(figures or tables))
    return Section(
        "sky", tell("What the sky allows"), tuple(said), (), tuple(figures), tuple(tables), missing=missing
    )


def _elsewhere(findings: Findings) -> list[Section]:
    """What other kinds of place would give; no section where no roof, building or tree is in question."""
    parts = elsewhere(findings)
    if parts is None:
        return []
    title = tell("What to expect elsewhere")
    return [Section("elsewhere", title, parts.sentences, (), parts.figures, parts.tables, parts.missing)]


# --- changes, wiring ---------------------------------------------------------------------------------------------


def _changes(found: TuningFindings) -> Section:
    whole = tuning_table(found)
    said = [found.text] if found.text else []
    if found.p_slow is not None and found.slow_above_s is not None:
        said.append(
            tell(
                "The chance that channel changes are slow, half of them taking more than {limit} to the sound, is "
                "{p}.",
                limit=seconds(found.slow_above_s),
                p=percent(found.p_slow),
            )
        )
    said += [part.text for part in (found.stop, found.earlier_visit) if part is not None and part.text]
    if found.block_loss is not None:
        lost = percent(found.block_loss, found.block_loss_90)
        said.append(tell("The times fit a loss of {lost} of the transmitted blocks.", lost=lost))
    if found.loss_by_level_text:
        said.append(found.loss_by_level_text)
    nothing = tell("Nothing is known of channel changes: none was timed.")
    missing = because(nothing, found.could_not, whole is not None)
    tables = (whole,) if whole else ()
    return Section("changes", tell("Channel changes"), tuple(said), tables=tables, missing=missing)


def _wiring(findings: Findings, local: LocalTime) -> list[Section]:
    """Feed, ring, lead and supply; no section where nothing of them was logged."""
    summary, parts = wiring_parts(findings.wiring, local)
    if summary is None:
        return []
    missing = because("", findings.wiring.could_not, True)
    sentences = tuple(sentence for part in parts for sentence in part.sentences)
    figures = tuple(figure for part in parts for figure in part.figures)
    tables = (summary, *(one for part in parts for one in part.tables))
    title = tell("Wiring and supply")
    return [Section("wiring", title, sentences, figures=figures, tables=tables, missing=missing)]
