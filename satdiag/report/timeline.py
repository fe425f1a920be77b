"""The signal over time: levels as logged, and beneath each path the state it was in, one figure a visit."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import pandas as pd

from satdiag.findings import SignalFindings, Stretch
from satdiag.job import Job, Visit
from satdiag.language import in_figures, tell
from satdiag.paths import path_words
from satdiag.report.figure import Figure, Table, table
from satdiag.report.local_time import LocalTime, parse_instant, utc
from satdiag.report.numbers import duration
from satdiag.report.panels import LEVELS, STATES, Drawing, panels
from satdiag.report.words import STRETCHES as STRETCH_WORDS
from satdiag.report.words import unit_words

VISITS_DRAWN = 6
ROWS_LISTED = 200
EVENT_KINDS = ("account", "swap", "reset", "place", "site", "power", "gap")


def timeline_figures(job: Job, found: SignalFindings, local: LocalTime) -> list[Figure]:
    """One figure for each of the last visits in which a level or a state of a path is known."""
    made = (_visit_figure(job, found, local, number, visit) for number, visit in enumerate(job.visits, 1))
    return [figure for figure in made if figure is not None][-VISITS_DRAWN:]


def _visit_figure(job: Job, found: SignalFindings, local: LocalTime, number: int, visit: Visit) -> Figure | None:
    start, end = _instant(job, visit.start_s), _instant(job, visit.end_s)
    levels, events = _within(job.select("signal"), visit), _events(job, visit)
    stretches = [part for part in found.timeline if _overlaps(part, start, end)]
    leveled, stated = set(levels["subject"]), {part.path for part in stretches}
    paths = sorted(leveled | stated)
    if not paths or start == end:
        return None
    local = local.steady(start, end)
    bands, height_px = panels(paths, leveled, stated, not events.empty)
    drawing = Drawing(local, start, end)
    for band in bands:
        if band.what == LEVELS:
            drawing.levels(band, levels[levels["subject"] == band.path], found.paths.get(band.path))
        elif band.what == STATES:
            drawing.states(band, [part for part in stretches if part.path == band.path])
        else:
            drawing.events(band, events)
    said = [tell("Levels as logged, and under each the state of the path.")]
    if len(job.visits) > 1:
        said.append(tell("Visit {number} of {visits}.", number=number, visits=len(job.visits)))
    if not events.empty:
        said.append(tell("Diamonds mark what else was logged; the table names it."))
    caption = " ".join([*said, local.sentence])
    tables = [_stretch_table(stretches, local)] if stretches else [_level_table(levels, local)]
    tables += [] if events.empty else [_event_table(events, local)]
    alt = _alt(paths, stretches, local, start, end)
    return Figure(f"timeline-{number}", caption, alt, drawing.spec(height_px), tuple(tables))


def _overlaps(part: Stretch, start: datetime, end: datetime) -> bool:
    return parse_instant(part.to) > start and parse_instant(part.from_) < end


def _instant(job: Job, t_s: float) -> datetime:
    moment = job.instant(t_s)
    if moment is None:
        raise ValueError("a visit without a row")
    return utc(moment)


def _within(rows: pd.DataFrame, visit: Visit) -> pd.DataFrame:
    return rows[(rows["t_s"] >= visit.start_s) & (rows["t_s"] <= visit.end_s)]


def _events(job: Job, visit: Visit) -> pd.DataFrame:
    rows = _within(job.log, visit)
    return rows[rows["kind"].isin(EVENT_KINDS)]


def _alt(paths: Sequence[str], stretches: Sequence[Stretch], local: LocalTime, start: datetime, end: datetime) -> str:
    states = dict.fromkeys(STRETCH_WORDS[part.state] for part in stretches)
    drawn = tell(
        "Timeline from {start} to {end} of {paths}.",
        start=f"{local.wall(start):%H:%M}",
        end=f"{local.wall(end):%H:%M}",
        paths=", ".join(path_words(path) for path in paths),
    )
    if states:
        return f"{drawn} {tell('States seen: {states}.', states=', '.join(states))}"
    return f"{drawn} {tell('No state could be told from the levels.')}"


def _clock(local: LocalTime, moment: datetime) -> str:
    return f"{local.wall(moment):%H:%M:%S}"


def _more(count: int) -> str:
    if count <= ROWS_LISTED:
        return ""
    return " " + tell("The first {listed} of {all} are listed.", listed=ROWS_LISTED, all=count)


def _stretch_table(stretches: Sequence[Stretch], local: LocalTime) -> Table:
    rows = []
    for part in stretches[:ROWS_LISTED]:
        start, end = parse_instant(part.from_), parse_instant(part.to)
        lasted = duration((end - start).total_seconds())
        rows.append((path_words(part.path), STRETCH_WORDS[part.state], _clock(local, start), lasted))
    caption = tell("Stretches of time in one state.") + _more(len(stretches))
    return table(caption, (tell("path"), tell("state"), tell("from"), tell("lasted")), rows, "from|lasted")


def _level_table(levels: pd.DataFrame, local: LocalTime) -> Table:
    kept = levels.head(ROWS_LISTED)
    parts = zip(kept["at"].to_numpy(), kept["subject"], kept["number"], kept["unit"], strict=True)
    rows = [
        (_clock(local, utc(at)), path_words(str(path)), f"{in_figures(f'{level:g}')} {unit_words(unit)}")
        for at, path, level, unit in parts
    ]
    caption = tell("Levels as logged.") + _more(len(levels))
    return table(caption, (tell("time"), tell("path"), tell("level")), rows, "time|level")


def _event_table(events: pd.DataFrame, local: LocalTime) -> Table:
    kept = events.head(ROWS_LISTED)
    parts = zip(kept["at"].to_numpy(), kept["kind"], kept["subject"], kept["value"], kept["note"], strict=True)
    rows = [
        (_clock(local, utc(at)), str(kind), str(subject), str(value), str(note))
        for at, kind, subject, value, note in parts
    ]
    caption = tell("What else was logged.") + _more(len(events))
    heads = (tell("time"), tell("kind"), tell("of"), tell("value"), tell("note"))
    return table(caption, heads, rows, "time")
