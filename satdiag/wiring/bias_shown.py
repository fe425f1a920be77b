"""The readings of the feed as they are handed on for the figure: a voltage and the current measured with it."""

from __future__ import annotations

from dataclasses import replace
from typing import cast

import pandas as pd

from satdiag.findings import FeedReading, instant_text

PAIRED_S = 60.0
"""A voltage and a current so far apart at most were measured together (judgement, no source)."""

SHOWN_READINGS = 60
"""More points would hide each other; the latest count."""


def shown_readings(readings: pd.DataFrame) -> tuple[FeedReading, ...]:
    """The latest readable readings of all leads in order of time; see `bias.bias_readings`, with `worked`."""
    found = [one for path, part in readings.groupby("path", sort=True) for one in _of_lead(str(path), part)]
    found.sort(key=lambda one: one.at)
    return tuple(found[-SHOWN_READINGS:])


def _of_lead(path: str, readings: pd.DataFrame) -> list[FeedReading]:
    found: list[FeedReading] = []
    since_s, had = 0.0, set[str]()
    columns = ("t_s", "at", "quantity", "number", "live", "worked")
    for t_s, at, quantity, number, live, good in zip(*(readings[name].to_numpy() for name in columns), strict=True):
        if not found or quantity in had or t_s - since_s > PAIRED_S:
            since_s, had = float(t_s), set()
            found.append(FeedReading(cast(str, instant_text(at)), path or None, None, None, False, False))
        had.add(str(quantity))
        found[-1] = _with(found[-1], str(quantity), float(number), bool(live), bool(good))
    return found


def _with(one: FeedReading, quantity: str, number: float, live: bool, good: bool) -> FeedReading:
    one = replace(one, live=one.live or live, worked=one.worked or good)
    return replace(one, voltage_v=number) if quantity == "voltage" else replace(one, current_ma=number)
