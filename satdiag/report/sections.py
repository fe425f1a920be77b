"""The sections of the report under its opening: each a head, sentences, figures and tables, or why there are none."""

from __future__ import annotations

import platform
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version

from satdiag.findings import EntitlementFindings, Findings, TuningFindings
from satdiag.folder import job_hash
from satdiag.job import Job
from satdiag.report import firmness, words
from satdiag.report.expect import elsewhere
from satdiag.report.figure import Cell, Figure, Table, table
from satdiag.report.fill_in import fill_in_figure
from satdiag.report.local_time import LocalTime
from satdiag.report.numbers import RANGE, duration, percent, seconds, wait_minutes
from satdiag.report.sky_moved import moved_tables
from satdiag.report.sky_plot import satellite_table, sky_figure
from satdiag.report.tables import (
    ChannelGroup,
    budget_table,
    channel_groups,
    level_table,
    share_table,
    signal_sentences,
    together_sentences,
    tuning_table,
)
from satdiag.report.timeline import timeline_figures
from satdiag.report.weights import evidence_figure, probability_figures
from satdiag.report.wiring import wiring_parts

OUTSIDE = 0.5
SMALL_CHANCE = 0.01
"""A category more likely outside the account than late is named; a chance below the other one is not worth words."""


@dataclass(frozen=True)
class Section:
    """One section. `missing` says what is not known and stands in place of, or under, the figures and tables."""

    name: str
    title: str
    sentences: tuple[str, ...] = ()
    groups: tuple[ChannelGroup, ...] = ()
    figures: tuple[Figure, ...] = ()
    tables: tuple[Table, ...] = ()
    missing: tuple[str, ...] = ()


def sections_of(job: Job, findings: Findings, local: LocalTime) -> list[Section]:
    """All sections, in the order of the page; the cautions are the page's own."""
    return [
        _channels(job, findings.entitlement),
        _fill_in(findings.entitlement),
        _signal(job, findings, local),
        _sky(findings, local),
        *_elsewhere(findings),
        _reasons(findings),
        _changes(findings.tuning),
        *_wiring(findings, local),
    ]


def _because(nothing: str, could_not: Sequence[str], known: bool) -> tuple[str, ...]:
    """Why something is missing: what could not be done; a plain sentence where that is empty and nothing is known."""
    said = tuple(words.sentence(text) for text in could_not)
    return said if said or known else (nothing,)


# --- channels ----------------------------------------------------------------------------------------------------


def _channels(job: Job, found: EntitlementFindings) -> Section:
    groups = tuple(channel_groups(found, job.lineup))
    nothing = "Nothing is known of the channels: none was checked."
    return Section(
        "channels",
        "The channels",
        sentences=_channel_sentences(found) if groups else (),
        groups=groups,
        missing=() if groups else _because(nothing, found.could_not, False),
    )


def _channel_sentences(found: EntitlementFindings) -> tuple[str, ...]:
    said = [found.text] if found.text else []
    if found.expected is not None and found.authorised is not None and found.expected_from:
        said.append(f"{found.authorised} of {found.expected} counts {words.EXPECTED_FROM[found.expected_from]}.")
    if found.p_all_expected is not None and not found.complete:
        said.append(f"The chance that every expected channel comes is {percent(found.p_all_expected)}.")
    if found.remaining_to_last_s is not None and not found.complete:
        said.append(f"The last one should come after {wait_minutes(found.remaining_to_last_s)} more of listening.")
    if found.p_account_dead is not None and found.p_account_dead >= 0.01:
        said.append(f"The chance that the whole account is inactive is {percent(found.p_account_dead)}.")
    if any(channel.remaining_s for channel in found.channels):
        said.append(f"A wait below is a middle value with its {RANGE}, in minutes of listening.")
    if found.beyond_package:
        numbers = ", ".join(str(channel) for channel in found.beyond_package)
        said.append(f"These play although they were not expected to: {numbers}.")
    return tuple(said)


def _fill_in(found: EntitlementFindings) -> Section:
    figure = fill_in_figure(found)
    known = figure is not None or found.exposure_s is not None
    return Section(
        "fill-in",
        "How the channels came in",
        sentences=_listening_sentences(found),
        figures=(figure,) if figure else (),
        missing=_because("Nothing is known of how the channels came in.", found.could_not, known),
    )


def _listening_sentences(found: EntitlementFindings) -> tuple[str, ...]:
    if found.exposure_s is None:
        return ()
    said = [f"The receiver has listened for at least {duration(found.exposure_s)}"]
    if found.exposure_max_s is not None and found.exposure_max_s > found.exposure_s:
        said.append(f" and at most {duration(found.exposure_max_s)}")
    if found.exposure_origin:
        said.append(f", {words.EXPOSURE_ORIGINS[found.exposure_origin]}")
    if found.exposure_basis:
        said.append(f", {words.EXPOSURE_BASES[found.exposure_basis]}")
    sentences = ["".join(said) + "."]
    if found.reception_scale is not None:
        share = percent(found.reception_scale, found.reception_scale_90)
        sentences.append(f"Block errors were read: {share} of the blocks came through, and waits are scaled by that.")
    if found.outside_categories:
        likely = [name for name, chance in found.outside_categories.items() if chance >= OUTSIDE]
        if likely:
            named = ", ".join(likely)
            sentences.append(f"Nothing of these categories came; all of each is likely outside the account: {named}.")
    if found.p_not_begun is not None and found.p_not_begun >= SMALL_CHANCE:
        sentences.append(f"The chance that nothing has been sent yet at all is {percent(found.p_not_begun)}.")
    if found.exposure_since_resend_s is not None:
        sentences.append(f"Since the activation was last sent: {duration(found.exposure_since_resend_s)}.")
    if found.time_to_first_s is not None:
        came = "came" if found.authorised or found.arrival_events else "should come, if any does,"
        sentences.append(f"The first channel {came} after {wait_minutes(found.time_to_first_s)} of listening.")
    return tuple(sentences)


# --- signal and sky ----------------------------------------------------------------------------------------------


def _signal(job: Job, findings: Findings, local: LocalTime) -> Section:
    found = findings.signal
    figures = tuple(timeline_figures(job, found, local))
    parts = (share_table(found), level_table(found), budget_table(found))
    tables = tuple(part for part in parts if part is not None)
    said = []
    if found.any_path_share is not None:
        sentence = f"At least one path was received {percent(found.any_path_share)} of the time logged"
        if found.any_path_share_90 is not None:
            low, high = (percent(end) for end in found.any_path_share_90)
            sentence += f"; in the long run such a place gives {low} to {high}"
        said.append(f"{sentence}.")
    said += [*together_sentences(found), *signal_sentences(found)]
    known = bool(figures or tables or said)
    nothing = "Nothing is known of the signal: no level and no lock was logged."
    missing = _because(nothing, found.could_not, known)
    return Section("signal", "What was received", tuple(said), figures=figures, tables=tables, missing=missing)


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
        lowest = f"{found.coverage_min_elevation_deg:g}°"
        said.append(f"The service is offered where its satellites stand at least {lowest} high.")
    missing = _because("Nothing is known of the sky over the vehicle.", found.could_not, bool(figures or tables))
    return Section("sky", "What the sky allows", tuple(said), (), tuple(figures), tuple(tables), missing)


def _elsewhere(findings: Findings) -> list[Section]:
    """What other kinds of place would give; no section where no roof, building or tree is in question."""
    parts = elsewhere(findings)
    if parts is None:
        return []
    title = "What to expect elsewhere"
    return [Section("elsewhere", title, parts.sentences, (), parts.figures, parts.tables, parts.missing)]


# --- diagnosis, changes, wiring ----------------------------------------------------------------------------------


def _reasons(findings: Findings) -> Section:
    found = findings.diagnosis
    evidence = evidence_figure(found)
    swings = firmness.swing_figure(found, findings.verdict.fault)
    figures = (*((evidence,) if evidence else ()), *probability_figures(found), *((swings,) if swings else ()))
    said = firmness.sentences(found)
    if found.conflict_bits >= 1:
        bits = f"{found.conflict_bits:.1f} bits"
        said.append(f"Some pieces of evidence fit badly together ({bits} of conflict): look at them again.")
    missing = _because("No evidence was logged that could be weighed.", (), bool(figures))
    tables = tuple(firmness.plan_tables(found))
    return Section("reasons", "Evidence and causes", tuple(said), figures=figures, tables=tables, missing=missing)


def _changes(found: TuningFindings) -> Section:
    whole = tuning_table(found)
    said = [found.text] if found.text else []
    if found.p_slow is not None and found.slow_above_s is not None:
        slow = f"half of them taking more than {seconds(found.slow_above_s)} to the sound"
        said.append(f"The chance that channel changes are slow, {slow}, is {percent(found.p_slow)}.")
    said += [part.text for part in (found.stop, found.earlier_visit) if part is not None and part.text]
    if found.block_loss is not None:
        lost = percent(found.block_loss, found.block_loss_90)
        said.append(f"The times fit a loss of {lost} of the transmitted blocks.")
    if found.loss_by_level_text:
        said.append(found.loss_by_level_text)
    missing = _because("Nothing is known of channel changes: none was timed.", found.could_not, whole is not None)
    tables = (whole,) if whole else ()
    return Section("changes", "Channel changes", tuple(said), tables=tables, missing=missing)


def _wiring(findings: Findings, local: LocalTime) -> list[Section]:
    """Feed, ring, lead and supply; no section where nothing of them was logged."""
    summary, parts = wiring_parts(findings.wiring, local)
    if summary is None:
        return []
    missing = _because("", findings.wiring.could_not, True)
    sentences = tuple(sentence for part in parts for sentence in part.sentences)
    figures = tuple(figure for part in parts for figure in part.figures)
    tables = (summary, *(one for part in parts for one in part.tables))
    return [Section("wiring", "Wiring and supply", sentences, figures=figures, tables=tables, missing=missing)]


# --- method ------------------------------------------------------------------------------------------------------

METHOD = (
    "Every figure comes from the log alone; the tool only listens. Ranges in brackets are meant to hold the true "
    "value nine times in ten.",
    "Time listened counts only while the receiver was awake and received, as far as the log proves it: channel "
    "authorisations reach it at no other time.",
    "Waits come from a model of channels that arrive one after another, some of which never will; a wait runs on "
    "listening time.",
    "Causes are weighed by probability against each other, alone and in pairs, with what each would show. Their "
    "starting values are judgements of the trade.",
)


def method_section(job: Job, findings: Findings) -> Section:
    """How the report was made, of what, and by which versions."""
    rows = [
        ("satdiag", findings.satdiag),
        ("findings, schema", str(findings.schema)),
        *((name, _version(name)) for name in ("numpy", "scipy", "pandas", "plotly")),
        ("python", platform.python_version()),
        ("rows in the log", str(len(job.rows))),
        ("rows overridden by a later one", str(job.overridden_rows)),
        ("fingerprint of the log (SHA-256)", job_hash(job)),
    ]
    made = table("What this report was made with and from.", ("what", "value"), rows)
    withdrawn = _withdrawn(job)
    return Section("method", "How this was worked out", METHOD, tables=(made, withdrawn) if withdrawn else (made,))


def _version(package: str) -> str:
    try:
        return version(package)
    except PackageNotFoundError:
        return "not known"


def _withdrawn(job: Job) -> Table | None:
    """Rows taken back: kept and shown, struck through."""
    frame = job.observations
    taken = frame[frame["withdrawn"]]
    if taken.empty:
        return None
    parts = zip(taken["row"], taken["kind"], taken["subject"], taken["value"], strict=True)
    rows: list[tuple[str | Cell, ...]] = [
        (job.rows[int(row)].time, *(Cell(str(part), struck=True) for part in (kind, subject, value)))
        for row, kind, subject, value in parts
    ]
    return table("Rows that were withdrawn and not used.", ("time", "kind", "of", "value"), rows)
