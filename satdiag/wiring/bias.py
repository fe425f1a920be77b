"""The DC feed to the antenna's amplifier: every reading with its meaning, and the state at the last row."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from satdiag.exposure import exposure_clock, stretches
from satdiag.findings import BiasFindings
from satdiag.job import Job
from satdiag.language import mark, tell, translated
from satdiag.spans import Spans, union
from satdiag.vocabulary import UNREADABLE
from satdiag.wiring.bias_leads import Lead, lead_at_end, lead_text, worst_first
from satdiag.wiring.bias_shown import shown_readings
from satdiag.wiring.bias_windows import BiasWindows, bias_windows
from satdiag.wiring.learnt import part_swaps, worked
from satdiag.wiring.meter import step_of


def bias_readings(job: Job) -> pd.DataFrame:
    """Every bias row of the log with its meaning, in order of time.

    Columns: row, at (datetime64[us], UTC), t_s, path ('' for a lead that is not dual, else satellite or repeater),
    quantity (voltage, current), number (V or mA, NaN where unreadable), word (see `BiasWindows`, by the job sheet
    alone; 'unreadable'), live (bool; False for a reading of nothing while the feed was switched off or the receiver
    was off or in standby: it says nothing of the wiring).
    """
    rows = job.select("bias", readable=False)
    windows = bias_windows(job.sheet.receiver)
    names = [subject.partition(":") for subject in rows["subject"]]
    quantities = [quantity for quantity, _, _ in names]
    words = [
        _word(windows, quantity, value, number)
        for quantity, value, number in zip(quantities, rows["value"], rows["number"], strict=True)
    ]
    t_s = rows["t_s"].to_numpy(dtype=float)
    nothing = np.array([word == "none" for word in words], dtype=bool)
    return pd.DataFrame(
        {
            "row": rows["row"].to_numpy(),
            "at": rows["at"].to_numpy(),
            "t_s": t_s,
            "path": pd.Series([path for _, _, path in names], dtype="object"),
            "quantity": pd.Series(quantities, dtype="object"),
            "number": rows["number"].to_numpy(dtype=float),
            "word": pd.Series(words, dtype="object"),
            "live": ~(nothing & _inside(_dead(job), t_s)),
        }
    )


def _word(windows: BiasWindows, quantity: str, value: str, number: float) -> str:
    if value == UNREADABLE:
        return UNREADABLE
    return windows.voltage_word(number) if quantity == "voltage" else windows.current_word(number)


def _dead(job: Job) -> Spans:
    """When the feed was switched off for a test, or the receiver was off; what lasts to the end has no end."""
    switched = stretches(job.select("feed", "bias"), {"off"}, {"on"}, np.inf)
    asleep = exposure_clock(job).asleep.copy()
    asleep[asleep[:, 1] >= job.end_s, 1] = np.inf
    return union(switched, asleep)


def _inside(part: Spans, t_s: NDArray[np.float64]) -> NDArray[np.bool_]:
    """True for instants in [start, end) of any span."""
    if not len(part):
        return np.zeros(len(t_s), dtype=bool)
    place = np.searchsorted(part[:, 0], t_s, side="right") - 1
    found: NDArray[np.bool_] = (place >= 0) & (t_s < part[np.maximum(place, 0), 1])
    return found


def bias_findings(job: Job) -> tuple[BiasFindings | None, tuple[str, ...]]:
    """The feed at the last row: each lead, the one that looks worst, and what could not be told."""
    everything = bias_readings(job)
    if everything.empty:
        return None, (tell("no voltage or current of the antenna's feed was measured: its state is unknown"),)
    kept = (everything["word"] != UNREADABLE).to_numpy()
    readable, values = everything[kept], job.select("bias", readable=False)["value"][kept]
    readable = readable.assign(step=[step_of(value) for value in values], worked=_worked(job, readable))
    live = readable[readable["live"].to_numpy()]
    if live.empty:
        return BiasFindings(None, None, None, readings=shown_readings(readable)), (_why_none(readable),)
    recent, said = _since_the_last_change(job, live)
    usual = _usual(job, live)
    leads = [
        lead_at_end(job.sheet.receiver, str(path), part, usual[(usual["path"] == path).to_numpy()])
        for path, part in recent.groupby("path", sort=True)
    ]
    said += [_named(lead) for lead in leads if lead.doubt]
    found = tuple(replace(lead.found, text=lead_text(lead.found)) for lead in leads)
    worst = min(found, key=lambda lead: worst_first(lead.state))
    return BiasFindings(
        worst.state,
        worst.voltage_v,
        worst.current_ma,
        worst.path,
        worst.voltage_v_90,
        worst.current_ma_90,
        worst.state_p,
        found,
        shown_readings(readable),
    ), tuple(said)


def _worked(job: Job, readings: pd.DataFrame) -> NDArray[np.bool_]:
    found = np.zeros(len(readings), dtype=bool)
    for path in readings["path"].unique():
        own = (readings["path"] == path).to_numpy()
        found[own] = worked(job, readings["t_s"].to_numpy(dtype=float)[own], str(path))
    return found


def _usual(job: Job, live: pd.DataFrame) -> pd.DataFrame:
    """The readings that may be learnt from: taken while the receiver worked, with the parts that are in now."""
    swaps = part_swaps(job)
    since_s = float(swaps["t_s"].iloc[-1]) if len(swaps) else -np.inf
    return live[(live["worked"] & (live["t_s"] >= since_s)).to_numpy(dtype=bool)]


def working_readings(job: Job) -> dict[str, tuple[float, ...]]:
    """Voltages and currents of a single lead that may be kept for other jobs, by quantity, oldest first.

    As they are learnt from within the job, the latest included: that is for the caller to want.
    """
    readings = bias_readings(job)
    live = readings[((readings["word"] != UNREADABLE) & readings["live"] & (readings["path"] == "")).to_numpy()]
    usual = _usual(job, live.assign(worked=_worked(job, live)))
    healthy = usual[usual["word"].isin(["loaded", "full", "normal"]).to_numpy()]
    return {
        quantity: tuple(healthy.loc[(healthy["quantity"] == quantity).to_numpy(), "number"].tolist())
        for quantity in ("voltage", "current")
    }


def _why_none(readable: pd.DataFrame) -> str:
    if readable.empty:
        return tell("the antenna's feed was tried and gave no reading: its state is unknown")
    return tell("the antenna's feed was measured only while it or the receiver was off: its state is unknown")


def _since_the_last_change(job: Job, live: pd.DataFrame) -> tuple[pd.DataFrame, list[str]]:
    """The readings of the latest visit that has any; of these those since the last swap of a part, if any."""
    said = []
    last_s = float(live["t_s"].iloc[-1])
    visit = next(visit for visit in job.visits if visit.start_s <= last_s <= visit.end_s)
    if visit != job.visits[-1]:
        said.append(
            tell("the antenna's feed was not measured in the last visit: its state is that of an earlier one")
        )
    live = live[(live["t_s"] >= visit.start_s).to_numpy()]
    swaps = part_swaps(job)
    if swaps.empty:
        return live, said
    since = live[(live["t_s"] >= float(swaps["t_s"].iloc[-1])).to_numpy()]
    if since.empty:
        said.append(translated(_NOT_SINCE[str(swaps["subject"].iloc[-1])]))
        return live, said
    return since, said


_NOT_SINCE = {
    "antenna": mark("the antenna's feed was not measured after the swap of the antenna: its state is the one before"),
    "lead": mark("the antenna's feed was not measured after the swap of the lead: its state is the one before"),
    "receiver": mark(
        "the antenna's feed was not measured after the swap of the receiver: its state is the one before"
    ),
}


def _named(lead: Lead) -> str:
    if lead.found.path == "satellite":
        return tell("satellite lead: {doubt}", doubt=lead.doubt)
    if lead.found.path == "repeater":
        return tell("repeater lead: {doubt}", doubt=lead.doubt)
    return str(lead.doubt)
