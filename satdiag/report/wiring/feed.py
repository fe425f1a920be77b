"""The antenna's feed in the report."""

from __future__ import annotations

from satdiag.findings import BiasFindings, FeedReading, LeadFindings, LearntNormal
from satdiag.language import mark, parted, tell
from satdiag.paths import path_words
from satdiag.report import words
from satdiag.report.figure import Table, table
from satdiag.report.local_time import IN_UTC, LocalTime
from satdiag.report.numbers import percent, quantity, unknown
from satdiag.report.wiring.feed_figure import feed_figure
from satdiag.report.wiring.part import Part

SOURCES = words.Words(
    {
        "sheet": mark("the job sheet"),
        "learnt": mark("learnt while the receiver worked"),
        "common practice": mark("common practice, no source"),
    }
)
_RESTS_ON = words.Words(
    {
        "readings": mark("the readings' scatter"),
        "meter": mark("a stated accuracy of the meter (judgement)"),
    }
)
_NAMES = words.Words(
    {
        "": mark("antenna feed"),
        "all": mark("antenna feed, all leads"),
        "satellite": mark("antenna feed, satellite lead"),
        "repeater": mark("antenna feed, repeater lead"),
    }
)


def feed_part(found: BiasFindings, local: LocalTime = IN_UTC) -> Part:
    """The state of the feed with what was measured, each lead, and the readings among the windows."""
    alike = len(found.leads) > 1 and len({lead.state for lead in found.leads}) == 1
    name = _NAMES["all" if alike else found.path or ""]
    state = words.BIAS_STATES[found.state] if found.state else unknown()
    measured = _read(found)
    if alike:
        measured = parted(f"{_lead_words(lead.path)} {_read(lead)}" for lead in found.leads)
    behind = (*((_readings(found.readings, local),) if found.readings else ()), *_windows(found.leads))
    figure = feed_figure(found, behind)
    return Part(
        (name, state, measured),
        tuple(lead.text for lead in found.leads if lead.text),
        (figure,) if figure else (),
        (_leads(found.leads),) if found.leads else (),
    )


def _lead_words(path: str | None) -> str:
    return path_words(path) if path else tell("the lead")


def _read(one: BiasFindings | LeadFindings) -> str:
    volts = quantity(one.voltage_v, "V", one.voltage_v_90)
    return f"{volts}, {quantity(one.current_ma, 'mA', one.current_ma_90)}"


def _leads(leads: tuple[LeadFindings, ...]) -> Table:
    rows = [
        (
            _lead_words(lead.path),
            words.BIAS_STATES[lead.state] if lead.state else unknown(),
            _chances(lead),
            quantity(lead.voltage_v, "V", lead.voltage_v_90),
            quantity(lead.current_ma, "mA", lead.current_ma_90),
            quantity(lead.antenna_v, "V", lead.antenna_v_90),
            tell("{one} and {other}", one=lead.n_voltage, other=lead.n_current),
            _rests_on(lead),
        )
        for lead in leads
    ]
    heads = (
        tell("lead"),
        tell("state"),
        tell("chances, given the meter"),
        tell("voltage"),
        tell("current"),
        tell("voltage at the antenna"),
        tell("readings of each"),
        tell("ranges rest on"),
    )
    return table(tell("The feed of each antenna lead at the end of the log."), heads, rows)


def _chances(lead: LeadFindings) -> str:
    likely = sorted(((p, state) for state, p in lead.state_p.items() if p >= 0.005), reverse=True)
    return ", ".join(f"{_chance_words(state)} {percent(p)}" for p, state in likely)


def _chance_words(state: str) -> str:
    return words.BIAS_STATES.get(state) or tell("not to be told")


def _rests_on(lead: LeadFindings) -> str:
    return ", ".join(dict.fromkeys(_RESTS_ON[one] for one in (lead.voltage_from, lead.current_from) if one))


def _readings(readings: tuple[FeedReading, ...], local: LocalTime) -> Table:
    rows = [
        (
            local.clock(one.at),
            _lead_words(one.path),
            quantity(one.voltage_v, "V"),
            quantity(one.current_ma, "mA"),
            tell("worked") if one.worked else (tell("not known to work") if one.live else tell("off")),
        )
        for one in readings
    ]
    heads = (tell("time"), tell("lead"), tell("voltage"), tell("current"), tell("the receiver then"))
    return table(f"{tell('The readings of the feed.')} {local.sentence}", heads, rows, "voltage|current")


def _windows(leads: tuple[LeadFindings, ...]) -> tuple[Table, ...]:
    rows = []
    for lead in leads:
        windows, name, practice = lead.windows, _lead_words(lead.path), SOURCES["common practice"]
        rows += [
            (name, tell("normal current"), _span(windows.normal_ma, "mA"), SOURCES[windows.current_from]),
            (name, tell("no current"), _below(windows.no_current_ma, "mA"), practice),
            (name, tell("what a short draws"), tell("above {end}", end=quantity(windows.limit_ma, "mA")), practice),
            (name, tell("normal voltage"), _span(windows.normal_v, "V"), SOURCES[windows.voltage_from]),
            (name, tell("no voltage"), _below(windows.no_voltage_v, "V"), practice),
        ]
        if windows.learnt_ma is not None:
            rows.append((name, tell("usual current"), *_learnt(windows.learnt_ma, "mA")))
        if windows.learnt_v is not None:
            rows.append((name, tell("usual voltage"), *_learnt(windows.learnt_v, "V")))
    if not rows:
        return ()
    heads = (tell("lead"), tell("word"), tell("where"), tell("from"))
    return (table(tell("Where one word ends and the next begins."), heads, rows),)


def _below(end: float, unit: str) -> str:
    return tell("below {end}", end=quantity(end, unit))


def _learnt(learnt: LearntNormal, unit: str) -> tuple[str, str]:
    """The usual value with its spread, and the readings that it was learnt from."""
    shown = quantity(learnt.centre, unit)
    if learnt.spread is not None:
        shown = tell("{centre}, spread {spread}", centre=shown, spread=quantity(learnt.spread, unit))
    return shown, tell("{here} here, {kept} kept", here=learnt.n_job, kept=learnt.n_kept)


def _span(ends: tuple[float, float], unit: str) -> str:
    return tell("{low} to {high}", low=quantity(ends[0], ""), high=quantity(ends[1], unit))
