"""The antenna's feed for the view 'Wiring': what is known, and the windows by which the page names a reading at once.

The page judges by the same tables as `satdiag.wiring`: the words of each window, the state of both words together,
how far a reading may be off. They are handed over here, so that nothing of them stands in the page itself.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, get_args

from satdiag.exposure import exposure_clock
from satdiag.language import mark, translated
from satdiag.report.numbers import unknown
from satdiag.report.wiring.feed import SOURCES, feed_part
from satdiag.report.wiring.feed_adaptor import adaptor_part
from satdiag.report.words import BIAS_STATES
from satdiag.vocabulary import UNREADABLE
from satdiag.wiring.bias import bias_readings
from satdiag.wiring.bias_leads import DECISIVE, RECENT_S
from satdiag.wiring.bias_windows import STATES, BiasWindows, CurrentWord, VoltageWord, bias_windows, judge
from satdiag.wiring.learnt import part_swaps
from satdiag.wiring.meter import ACCURACY, ALIKE, LAST_READINGS, NORMAL_95, step_of, student_95

if TYPE_CHECKING:
    import pandas as pd

    from satdiag.findings import Findings
    from satdiag.job import Job

KNOWN = 60
"""So many of the latest readings the page is told to have been weighed."""

_NOT_MEASURED = mark("The antenna's feed was not measured yet.")


def feed_told(job: Job, findings: Findings) -> dict[str, Any]:
    """The feed: state, sentences, cautions, and `leads` with what the page needs to name a reading."""
    bias, adaptor = findings.wiring.bias, findings.wiring.adaptor
    said = [translated(_NOT_MEASURED)]
    state, read = unknown(), ""
    if bias is not None:
        part = feed_part(bias)
        _, state, read = part.row
        said = [*part.sentences]
    if adaptor is not None:
        said += adaptor_part(adaptor).sentences
    rise, readings = findings.wiring.noise_rise, bias_readings(job)
    judged = _judged_now(job, readings)
    return {
        "state": state,
        "read": read,
        "said": said,
        "rise": rise.text if rise is not None else "",
        "leads": {path: _lead(job, findings, judged, path) for path in ("", "satellite", "repeater")},
        "known": [job.rows[int(row)].id for row in readings["row"].tail(KNOWN)],
        "off": _is_off(job),
        "rules": rules(),
    }


def _is_off(job: Job) -> bool:
    """True if the feed is switched off at the last row, or the receiver off or in standby: nothing is read then."""
    feed, asleep = job.select("feed", "bias"), exposure_clock(job).asleep
    switched = len(feed) > 0 and str(feed["value"].iloc[-1]) == "off"
    return switched or bool(len(asleep) and asleep[-1, 1] >= job.end_s)


def rules() -> dict[str, Any]:
    """How readings become a state, the same for every lead. `judge`: by voltage word and current word; '-': none."""
    voltage: list[VoltageWord | None] = [None, *get_args(VoltageWord)]
    current: list[CurrentWord | None] = [None, *get_args(CurrentWord)]
    table = {v or "-": {c or "-": _judged(v, c) for c in current} for v in voltage}
    words = {state: BIAS_STATES[state] for state in STATES}
    return {
        "judge": table,
        "words": words,
        "decisive": DECISIVE,
        "recent_s": RECENT_S,
        "accuracy": {name: list(pair) for name, pair in ACCURACY.items()},
        "last": LAST_READINGS,
        "alike": ALIKE,
        "normal_95": NORMAL_95,
        "student_95": student_95(LAST_READINGS - 1),
    }


def _judged(voltage: VoltageWord | None, current: CurrentWord | None) -> dict[str, str | None]:
    found = judge(voltage, current)
    return {"state": found.state, "doubt": None if found.doubt is None else translated(found.doubt)}


def _lead(job: Job, findings: Findings, judged: pd.DataFrame, path: str) -> dict[str, Any]:
    """One conductor: its windows with their source, its latest readings, oldest first."""
    leads = findings.wiring.bias.leads if findings.wiring.bias is not None else ()
    own = next((lead.windows for lead in leads if (lead.path or "") == path), None)
    receiver = job.sheet.receiver
    windows = windows_told(own or bias_windows(receiver))
    if own is None:
        sources = ("sheet" if receiver.bias_nominal_v else "", "sheet" if receiver.bias_normal_ma else "")
        voltage, current = (SOURCES[source or "common practice"] for source in sources)
    else:
        voltage, current = SOURCES[own.voltage_from], SOURCES[own.current_from]
    return {
        "windows": windows,
        "voltage_from": voltage,
        "current_from": current,
        "series_ohm": receiver.bias_series_ohm,
        "nominal_v": receiver.bias_nominal_v,
        "recent": _recent(job, judged, path),
    }


def windows_told(windows: BiasWindows | Any) -> dict[str, Any]:
    """The edges of the words, V and mA, by the names of `BiasWindows`."""
    return {
        "no_voltage_v": windows.no_voltage_v,
        "normal_v": list(windows.normal_v),
        "unloaded_v": windows.unloaded_v,
        "no_current_ma": windows.no_current_ma,
        "normal_ma": list(windows.normal_ma),
        "limit_ma": windows.limit_ma,
    }


def _at_ms(job: Job, t_s: float) -> float:
    """Where no clock tells the time, long ago: what is read now is newer."""
    at = job.instant(t_s)
    return 1000.0 * t_s if at is None else float(at.astype("datetime64[us]").astype("int64")) / 1000.0


def _judged_now(job: Job, table: pd.DataFrame) -> pd.DataFrame:
    """The readings that the analysis judges: live ones of the latest visit with any, since the last swap."""
    live = table[(table["live"] & (table["word"] != UNREADABLE)).to_numpy(dtype=bool)]
    if live.empty:
        return live
    last_s = float(live["t_s"].iloc[-1])
    start_s = next(visit.start_s for visit in job.visits if visit.start_s <= last_s <= visit.end_s)
    live = live[(live["t_s"] >= start_s).to_numpy()]
    swaps = part_swaps(job)
    since = live[(live["t_s"] >= float(swaps["t_s"].iloc[-1])).to_numpy()] if len(swaps) else live
    return since if len(since) else live


def _recent(job: Job, judged: pd.DataFrame, path: str) -> list[dict[str, Any]]:
    """A conductor's readings, oldest first: row's id, quantity, number, last digit written, time in ms since 1970."""
    own = judged[(judged["path"] == path).to_numpy(dtype=bool)].tail(KNOWN)
    columns = (own[name] for name in ("row", "quantity", "number", "t_s"))
    return [
        {
            "id": job.rows[int(row)].id,
            "quantity": quantity,
            "number": float(number),
            "step": step_of(job.rows[int(row)].value),
            "at_ms": _at_ms(job, float(t_s)),
        }
        for row, quantity, number, t_s in zip(*columns, strict=True)
    ]
