"""One antenna lead at the last row: its readings, the windows with what was learnt, its state, how sure that is."""

from __future__ import annotations

import math
from typing import NamedTuple

import pandas as pd

from satdiag.findings import FeedWindows, Interval, LeadFindings, LearntNormal
from satdiag.language import listed, mark, tell, tell_many, translated
from satdiag.sheet import Receiver
from satdiag.wiring.bias_windows import (
    BiasWindows,
    Judgement,
    State,
    bias_windows,
    judge,
    narrowed,
    state_chances,
)
from satdiag.wiring.learnt import learnt_normal
from satdiag.wiring.meter import LAST_READINGS, Estimate, Quantity, estimate

RECENT_S = 30 * 60.0
"""Readings older than this before the latest one on the same path may be of another state (judgement, no source)."""

DECISIVE = 0.8
"""A state less probable than this, given how far the reading may be off, is not called one (judgement, no source)."""

_WORDS = {
    "normal": mark("normal"),
    "open": mark("no current flows"),
    "short": mark("shorted"),
    "low": mark("less current than normal"),
    "high": mark("more current than normal"),
    "absent": mark("neither voltage nor current"),
    "unknown": mark("cannot be told"),
}
_NAMES = {"satellite": mark("The satellite lead"), "repeater": mark("The repeater lead"), None: mark("The feed")}


class Lead(NamedTuple):
    """A lead's findings, and what could not be told of it, or None."""

    found: LeadFindings
    doubt: str | None


def lead_at_end(receiver: Receiver, path: str, readings: pd.DataFrame, usual: pd.DataFrame) -> Lead:
    """The state of one lead. Tables as `bias.bias_readings` makes them, with `step` and `worked`.

    `readings`: the live ones since the last change; `usual`: those of this lead that may be learnt from, of which
    the ones that are judged here are left out.
    """
    fresh = readings[(readings["t_s"] >= readings["t_s"].max() - RECENT_S).to_numpy()]
    volts, milliamps = (_latest(fresh, quantity) for quantity in ("voltage", "current"))
    windows, as_found = _windows(receiver, path, fresh, usual)
    at_antenna = _at_antenna(volts, milliamps, receiver.bias_series_ohm)
    judged = _judged(windows, at_antenna or volts, milliamps)
    chances = state_chances(windows, at_antenna or volts, milliamps)
    judged = _if_decisive(judged, chances)
    found = LeadFindings(
        path or None,
        judged.state,
        {state: round(p, 6) for state, p in chances.items()},
        volts.value if volts else None,
        milliamps.value if milliamps else None,
        at_antenna.value if at_antenna else None,
        int((readings["quantity"] == "voltage").sum()),
        int((readings["quantity"] == "current").sum()),
        as_found,
        volts.interval if volts else None,
        milliamps.interval if milliamps else None,
        at_antenna.interval if at_antenna else None,
        volts.source if volts else None,
        milliamps.source if milliamps else None,
    )
    return Lead(found, None if judged.doubt is None else translated(judged.doubt))


def _latest(readings: pd.DataFrame, quantity: Quantity) -> Estimate | None:
    own = readings[(readings["quantity"] == quantity).to_numpy()]
    return estimate(quantity, own["number"].tolist(), own["step"].tolist())


def _at_antenna(volts: Estimate | None, milliamps: Estimate | None, series_ohm: float | None) -> Estimate | None:
    """V - I R (Ohm's law), the errors of both taken as independent; None where one of the three is not known."""
    if volts is None or milliamps is None or series_ohm is None:
        return None
    ohm = series_ohm / 1000.0
    value = volts.value - milliamps.value * ohm
    half = math.hypot(_half(volts.interval), _half(milliamps.interval) * ohm)
    error = math.hypot(volts.error, milliamps.error * ohm)
    both_read = volts.source == milliamps.source == "readings"
    return Estimate(value, (value - half, value + half), "readings" if both_read else "meter", error)


def _half(interval: Interval) -> float:
    return (interval[1] - interval[0]) / 2.0


def _judged(windows: BiasWindows, volts: Estimate | None, milliamps: Estimate | None) -> Judgement:
    return judge(
        None if volts is None else windows.voltage_word(volts.value),
        None if milliamps is None else windows.current_word(milliamps.value),
    )


def _if_decisive(judged: Judgement, chances: dict[str, float]) -> Judgement:
    """The judgement where the readings bear it out beyond their error; else no state, and the chances in words."""
    if judged.state is None or chances[judged.state] >= DECISIVE:
        return judged
    likely = sorted(((p, state) for state, p in chances.items() if p >= 0.01), reverse=True)
    said = ", ".join(tell("{word} {p:.0f} %", word=translated(_WORDS[state]), p=100 * p) for p, state in likely)
    return Judgement(
        None,
        tell(
            "the feed's reading lies beside the edge of a window ({chances}): measure it more exactly", chances=said
        ),
    )


# --- windows -----------------------------------------------------------------------------------------------------


def _windows(
    receiver: Receiver, path: str, fresh: pd.DataFrame, usual: pd.DataFrame
) -> tuple[BiasWindows, FeedWindows]:
    base = bias_windows(receiver)
    judged = {row for _, part in fresh.groupby("quantity") for row in part["row"].tail(LAST_READINGS)}
    others = usual[~usual["row"].isin(judged).to_numpy()]
    # With a series resistance the voltage is judged behind it: what is usual before it says nothing there.
    corrected = receiver.bias_series_ohm is not None
    volts = None if corrected else _learnt("voltage", base, others, receiver.bias_learnt_v if not path else ())
    milliamps = _learnt("current", base, others, receiver.bias_learnt_ma if not path else ())
    windows = narrowed(base, volts, milliamps)
    return windows, FeedWindows(
        windows.no_voltage_v,
        windows.normal_v,
        windows.unloaded_v,
        windows.no_current_ma,
        windows.normal_ma,
        windows.limit_ma,
        "learnt" if volts else ("sheet" if receiver.bias_nominal_v else "common practice"),
        "learnt" if milliamps else ("sheet" if receiver.bias_normal_ma else "common practice"),
        volts,
        milliamps,
    )


def _learnt(
    quantity: Quantity, base: BiasWindows, others: pd.DataFrame, kept: tuple[float, ...]
) -> LearntNormal | None:
    """Learnt from readings that look healthy by the windows before anything was learnt."""
    numbers = others.loc[(others["quantity"] == quantity).to_numpy(), "number"].tolist()
    return learnt_normal(
        quantity,
        [number for number in numbers if looks_healthy(quantity, base, number)],
        [number for number in kept if looks_healthy(quantity, base, number)],
    )


def looks_healthy(quantity: Quantity, windows: BiasWindows, number: float) -> bool:
    """A normal current; a voltage that a load pulls down a little or not at all."""
    if quantity == "current":
        return windows.current_word(number) == "normal"
    return windows.voltage_word(number) in ("loaded", "full")


# --- words -------------------------------------------------------------------------------------------------------


def lead_text(found: LeadFindings) -> str:
    """What was read, what it means, and where the window of the current is from, in sentences."""
    said = [reading_text(found)]
    if found.antenna_v is not None:
        said.append(tell("Behind the series resistance the antenna gets {volts:.3g} V.", volts=found.antenna_v))
    if found.current_ma is not None:
        said.append(_window_text(found.windows))
    return " ".join(said)


def reading_text(found: LeadFindings) -> str:
    """'The feed reads 4.6 V and 41 mA: normal.'"""
    read = listed(
        [
            tell("{value:.9g} {unit}", value=float(f"{value:.3g}"), unit=unit)  # three figures, and never as 4.1e+04
            for value, unit in ((found.voltage_v, "V"), (found.current_ma, "mA"))
            if value is not None
        ]
    )
    name = translated(_NAMES[found.path])
    state = translated(_WORDS[found.state]) if found.state else tell("its state cannot be told")
    return tell("{name} reads {read}: {state}.", name=name, read=read, state=state)


def _window_text(windows: FeedWindows) -> str:
    low, high = windows.normal_ma
    learnt = windows.learnt_ma
    if learnt is not None:
        return _learnt_text(learnt, low, high)
    if windows.current_from == "sheet":
        return tell("A current of {low:.3g} to {high:.3g} mA counts as normal: the job sheet's.", low=low, high=high)
    return tell(
        "A current of {low:.3g} to {high:.3g} mA counts as normal: common practice, without a source.",
        low=low,
        high=high,
    )


def _learnt_text(learnt: LearntNormal, low: float, high: float) -> str:
    parts = [
        *([tell("{n} in this job", n=learnt.n_job)] if learnt.n_job else []),
        *([tell("{n} kept with the job sheet", n=learnt.n_kept)] if learnt.n_kept else []),
    ]
    values = {"low": low, "high": high, "centre": learnt.centre, "parts": ", ".join(parts)}
    if learnt.n < LAST_READINGS:
        return tell_many(
            "A current of {low:.3g} to {high:.3g} mA counts as normal: learnt from {n} reading around {centre:.3g} "
            "mA taken while the receiver worked ({parts}); that is few, so the window is wide.",
            "A current of {low:.3g} to {high:.3g} mA counts as normal: learnt from {n} readings around {centre:.3g} "
            "mA taken while the receiver worked ({parts}); that is few, so the window is wide.",
            learnt.n,
            **values,
        )
    return tell_many(
        "A current of {low:.3g} to {high:.3g} mA counts as normal: learnt from {n} reading around {centre:.3g} mA "
        "taken while the receiver worked ({parts}).",
        "A current of {low:.3g} to {high:.3g} mA counts as normal: learnt from {n} readings around {centre:.3g} mA "
        "taken while the receiver worked ({parts}).",
        learnt.n,
        **values,
    )


def worst_first(state: State | None) -> int:
    """The rank of a state by how bad it is, 0 the worst; unknown comes last."""
    return ("short", "absent", "open", "high", "low", "normal", None).index(state)
