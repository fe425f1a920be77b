"""The DC feed to the antenna's amplifier: every reading with its meaning, and the state at the last row."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from satdiag.exposure import exposure_clock, stretches
from satdiag.findings import BiasFindings
from satdiag.job import Job
from satdiag.spans import Spans, union
from satdiag.vocabulary import UNREADABLE
from satdiag.wiring.bias_windows import BiasWindows, Judgement, bias_windows, judge

RECENT_S = 30 * 60.0
"""Readings older than this before the latest one on the same path may be of another state (judgement, no source)."""

LAST_READINGS = 3
"""The median of so many withstands one bad contact of the probe and still follows a change (judgement, no source)."""

_WORST_FIRST = ("short", "absent", "open", "high", "low", "normal", None)
_SWAPPED = ("antenna", "lead", "receiver")


def bias_readings(job: Job) -> pd.DataFrame:
    """Every bias row of the log with its meaning, in order of time.

    Columns: row, at (datetime64[us], UTC), t_s, path ('' for a lead that is not dual, else satellite or repeater),
    quantity (voltage, current), number (V or mA, NaN where unreadable), word (see `BiasWindows`; 'unreadable'),
    live (bool; False for a reading of nothing while the feed was switched off or the receiver was off or in standby:
    it says nothing of the wiring).
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


@dataclass(frozen=True)
class _Now:
    """One lead at the last row."""

    path: str
    voltage_v: float | None
    current_ma: float | None
    judged: Judgement


def bias_findings(job: Job) -> tuple[BiasFindings | None, tuple[str, ...]]:
    """The feed at the last row, on the lead that looks worst, and what could not be told."""
    everything = bias_readings(job)
    if everything.empty:
        return None, ("no voltage or current of the antenna's feed was measured: its state is unknown",)
    readable = everything[(everything["word"] != UNREADABLE).to_numpy()]
    live = readable[readable["live"].to_numpy()]
    if live.empty:
        return BiasFindings(None, None, None), (_why_none(readable),)
    recent, said = _since_the_last_change(job, live)
    windows = bias_windows(job.sheet.receiver)
    leads = [_now(windows, str(path), part) for path, part in recent.groupby("path", sort=True)]
    said += [_named(lead) for lead in leads if lead.judged.doubt]
    worst = min(leads, key=lambda lead: _WORST_FIRST.index(lead.judged.state))
    return BiasFindings(worst.judged.state, worst.voltage_v, worst.current_ma, worst.path or None), tuple(said)


def _why_none(readable: pd.DataFrame) -> str:
    if readable.empty:
        return "the antenna's feed was tried and gave no reading: its state is unknown"
    return "the antenna's feed was measured only while it or the receiver was off: its state is unknown"


def _since_the_last_change(job: Job, live: pd.DataFrame) -> tuple[pd.DataFrame, list[str]]:
    """The readings of the latest visit that has any; of these those since the last swap of a part, if any."""
    said = []
    last_s = float(live["t_s"].iloc[-1])
    visit = next(visit for visit in job.visits if visit.start_s <= last_s <= visit.end_s)
    if visit != job.visits[-1]:
        said.append("the antenna's feed was not measured in the last visit: its state is that of an earlier one")
    live = live[(live["t_s"] >= visit.start_s).to_numpy()]
    swaps = job.select("swap")
    swaps = swaps[swaps["subject"].isin(_SWAPPED).to_numpy()]
    if swaps.empty:
        return live, said
    since = live[(live["t_s"] >= float(swaps["t_s"].iloc[-1])).to_numpy()]
    if since.empty:
        part = swaps["subject"].iloc[-1]
        said.append(f"the antenna's feed was not measured after the swap of the {part}: its state is the one before")
        return live, said
    return since, said


def _now(windows: BiasWindows, path: str, readings: pd.DataFrame) -> _Now:
    fresh = readings[(readings["t_s"] >= readings["t_s"].max() - RECENT_S).to_numpy()]
    volts, milliamps = _latest(fresh, "voltage"), _latest(fresh, "current")
    judged = judge(
        None if volts is None else windows.voltage_word(volts),
        None if milliamps is None else windows.current_word(milliamps),
    )
    return _Now(path, volts, milliamps, judged)


def _latest(readings: pd.DataFrame, quantity: str) -> float | None:
    """The median of the last three readings; of fewer the last one: between two states there is no middle."""
    numbers = readings.loc[(readings["quantity"] == quantity).to_numpy(), "number"].to_numpy(dtype=float)
    if len(numbers) < LAST_READINGS:
        return float(numbers[-1]) if len(numbers) else None
    return float(np.median(numbers[-LAST_READINGS:]))


def _named(lead: _Now) -> str:
    return f"{lead.path} lead: {lead.judged.doubt}" if lead.path else str(lead.judged.doubt)
