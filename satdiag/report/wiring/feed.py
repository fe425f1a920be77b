"""The antenna's feed in the report."""

from __future__ import annotations

from satdiag.findings import BiasFindings, FeedReading, LeadFindings
from satdiag.report import words
from satdiag.report.figure import Table, table
from satdiag.report.local_time import IN_UTC, LocalTime
from satdiag.report.numbers import UNKNOWN, percent, quantity
from satdiag.report.wiring.feed_figure import feed_figure
from satdiag.report.wiring.part import Part

SOURCES = {
    "sheet": "the job sheet",
    "learnt": "learnt while the receiver worked",
    "common practice": "common practice, no source",
}
_CHANCES = {**words.BIAS_STATES, "unknown": "not to be told"}


def feed_part(found: BiasFindings, local: LocalTime = IN_UTC) -> Part:
    """The state of the feed with what was measured, each lead, and the readings among the windows."""
    alike = len(found.leads) > 1 and len({lead.state for lead in found.leads}) == 1
    name = "antenna feed" + (", all leads" if alike else f", {found.path} lead" if found.path else "")
    state = words.BIAS_STATES[found.state] if found.state else UNKNOWN
    measured = _read(found)
    if alike:
        measured = "; ".join(f"{lead.path or 'the lead'} {_read(lead)}" for lead in found.leads)
    behind = (*((_readings(found.readings, local),) if found.readings else ()), *_windows(found.leads))
    figure = feed_figure(found, behind)
    return Part(
        (name, state, measured),
        tuple(lead.text for lead in found.leads if lead.text),
        (figure,) if figure else (),
        (_leads(found.leads),) if found.leads else (),
    )


def _read(one: BiasFindings | LeadFindings) -> str:
    volts = quantity(one.voltage_v, "V", one.voltage_v_90)
    return f"{volts}, {quantity(one.current_ma, 'mA', one.current_ma_90)}"


def _leads(leads: tuple[LeadFindings, ...]) -> Table:
    rows = [
        (
            lead.path or "the lead",
            words.BIAS_STATES[lead.state] if lead.state else UNKNOWN,
            _chances(lead),
            quantity(lead.voltage_v, "V", lead.voltage_v_90),
            quantity(lead.current_ma, "mA", lead.current_ma_90),
            quantity(lead.antenna_v, "V", lead.antenna_v_90),
            f"{lead.n_voltage} and {lead.n_current}",
            _rests_on(lead),
        )
        for lead in leads
    ]
    heads = (
        "lead",
        "state",
        "chances, given the meter",
        "voltage",
        "current",
        "voltage at the antenna",
        "readings of each",
        "ranges rest on",
    )
    return table("The feed of each antenna lead at the end of the log.", heads, rows)


def _chances(lead: LeadFindings) -> str:
    likely = sorted(((p, state) for state, p in lead.state_p.items() if p >= 0.005), reverse=True)
    return ", ".join(f"{_CHANCES[state]} {percent(p)}" for p, state in likely)


def _rests_on(lead: LeadFindings) -> str:
    named = {"readings": "the readings' scatter", "meter": "a stated accuracy of the meter (judgement)"}
    return ", ".join(dict.fromkeys(named[one] for one in (lead.voltage_from, lead.current_from) if one))


def _readings(readings: tuple[FeedReading, ...], local: LocalTime) -> Table:
    rows = [
        (
            local.clock(one.at),
            one.path or "the lead",
            quantity(one.voltage_v, "V"),
            quantity(one.current_ma, "mA"),
            "worked" if one.worked else ("not known to work" if one.live else "off"),
        )
        for one in readings
    ]
    heads = ("time", "lead", "voltage", "current", "the receiver then")
    return table(f"The readings of the feed. {local.sentence}", heads, rows, "voltage|current")


def _windows(leads: tuple[LeadFindings, ...]) -> tuple[Table, ...]:
    rows = []
    for lead in leads:
        windows, name = lead.windows, lead.path or "the lead"
        rows += [
            (name, "normal current", _span(windows.normal_ma, "mA"), SOURCES[windows.current_from]),
            (name, "no current", f"below {quantity(windows.no_current_ma, 'mA')}", SOURCES["common practice"]),
            (name, "what a short draws", f"above {quantity(windows.limit_ma, 'mA')}", SOURCES["common practice"]),
            (name, "normal voltage", _span(windows.normal_v, "V"), SOURCES[windows.voltage_from]),
            (name, "no voltage", f"below {quantity(windows.no_voltage_v, 'V')}", SOURCES["common practice"]),
        ]
        for what, learnt, unit in (("current", windows.learnt_ma, "mA"), ("voltage", windows.learnt_v, "V")):
            if learnt is not None:
                spread = f", spread {quantity(learnt.spread, unit)}" if learnt.spread is not None else ""
                shown = f"{quantity(learnt.centre, unit)}{spread}"
                rows.append((name, f"usual {what}", shown, f"{learnt.n_job} here, {learnt.n_kept} kept"))
    if not rows:
        return ()
    return (table("Where one word ends and the next begins.", ("lead", "word", "where", "from"), rows),)


def _span(ends: tuple[float, float], unit: str) -> str:
    return f"{quantity(ends[0], '')} to {quantity(ends[1], unit)}"
