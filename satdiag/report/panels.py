"""The bands of the signal timeline: levels as lines, states as strips, events as diamonds, on one time axis."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from satdiag.findings import PathSignal, Stretch
from satdiag.language import tell
from satdiag.paths import path_words
from satdiag.report.figure import Spec, axis, day_ticks, label, layout, note
from satdiag.report.local_time import LocalTime, parse_instant, utc
from satdiag.report.palette import BLUE, FAINT, HATCH, INK, PURPLE, STRETCHES, Mark
from satdiag.report.words import STRETCHES as STRETCH_WORDS
from satdiag.report.words import axis_unit_words, unit_words
from satdiag.vocabulary import bars_of

LEVELS, STATES, EVENTS = "levels", "states", "events"
SIZES_PX = {LEVELS: 92.0, STATES: 16.0, EVENTS: 18.0}
GAP_PX = 34.0
SEAM_PX = 4.0
TOP_PX = 40
FOOT_PX = 92

POINTS = 3000
MARKERS_BELOW = 80
PAUSE = np.timedelta64(600, "s")
"""Levels further apart than this are not joined by a line."""


@dataclass(frozen=True)
class Panel:
    """One band of the figure: what is drawn in it, and where it lies, as a share of the height."""

    path: str
    what: str
    low: float
    high: float


def panels(paths: Sequence[str], leveled: set[str], stated: set[str], events: bool) -> tuple[list[Panel], int]:
    """The bands from the top down, and the figure's height in pixels."""
    wanted: list[tuple[str, str, float]] = []
    for path in paths:
        if path in leveled:
            wanted.append((path, LEVELS, GAP_PX))
        if path in stated:
            wanted.append((path, STATES, SEAM_PX if path in leveled else GAP_PX))
    if events:
        wanted.append(("", EVENTS, GAP_PX))
    whole = sum(gap + SIZES_PX[what] for _, what, gap in wanted)
    made, used = [], 0.0
    for path, what, gap in wanted:
        used += gap
        size = SIZES_PX[what]
        made.append(Panel(path, what, max(0.0, 1.0 - (used + size) / whole), 1.0 - used / whole))
        used += size
    return made, round(whole) + TOP_PX + FOOT_PX


class Drawing:
    """Collects traces, axes and labels; each band has a vertical axis of its own, all share the time axis."""

    def __init__(self, local: LocalTime, start: datetime, end: datetime) -> None:
        self._local = local
        self._start, self._end = start, end
        self._traces: list[Spec] = []
        self._axes: dict[str, Spec] = {}
        self._labels: list[Spec] = []
        self._named: set[str] = set()

    def levels(self, panel: Panel, rows: pd.DataFrame, path: PathSignal | None) -> None:
        """A path's levels as logged, and the level that a clear sky would give where it is known."""
        unit = str(rows["unit"].iloc[-1])
        vertical = self._axis(panel, nticks=4, **_scale(unit))
        self._label(panel, f"<b>{label(path_words(panel.path), 30)}</b>, {label(axis_unit_words(unit))}")
        times, values = _thinned(rows["at"].to_numpy(), rows["number"].to_numpy(dtype=float))
        x, y = self._joined(times, values)
        line: Spec = {"color": BLUE, "width": 1.4}
        self._add("level", tell("level as logged"), x, y, vertical, line=line, mode="lines")
        self._traces[-1]["hovertemplate"] = f"%{{x|%H:%M:%S}}: %{{y}} {label(unit_words(unit))}<extra></extra>"
        if len(times) < MARKERS_BELOW:
            marker = {"size": 5, "color": BLUE, "line": {"color": INK, "width": 0.8}}
            self._traces[-1] |= {"mode": "lines+markers", "marker": marker}
        if path is not None and path.expected_level is not None:
            level = [path.expected_level, path.expected_level]
            look = {"mode": "lines", "line": {"color": FAINT, "width": 1.2, "dash": "dash"}}
            self._add("expected", tell("expected under a clear sky"), self._ends(), level, vertical, **look)

    def states(self, panel: Panel, stretches: Sequence[Stretch]) -> None:
        """A strip of the states of a path."""
        vertical = self._axis(panel, visible=False, range=[0, 1])
        if not any(trace["legendgroup"] == "level" and self._is_above(trace, panel) for trace in self._traces):
            self._label(panel, f"<b>{label(path_words(panel.path), 30)}</b>")
        for state, mark in STRETCHES.items():
            kept = [part for part in stretches if part.state == state]
            if kept:
                x, y = self._boxes(kept)
                look = {"fill": "toself", "line": {"color": INK, "width": 0.6}, **_filling(mark)}
                self._add(state, STRETCH_WORDS[state], x, y, vertical, mode="lines", **look)

    def events(self, panel: Panel, rows: pd.DataFrame) -> None:
        """Diamonds where something else was logged; the words show on touching one, and stand in the table."""
        vertical = self._axis(panel, visible=False, range=[0, 1])
        self._label(panel, f"<b>{label(tell('what else was logged'))}</b>")
        x = [self._local.axis(utc(at)) for at in rows["at"].to_numpy()]
        words = [label(f"{kind}: {value}") for kind, value in zip(rows["kind"], rows["value"], strict=True)]
        marker = {"symbol": "diamond", "size": 11, "color": PURPLE, "line": {"color": INK, "width": 1.2}}
        self._add("events", tell("events"), x, [0.5] * len(x), vertical, mode="markers", marker=marker, text=words)
        self._traces[-1] |= {"showlegend": False, "cliponaxis": False}
        self._traces[-1]["hovertemplate"] = "%{x|%H:%M:%S} %{text}<extra></extra>"

    def spec(self, height_px: int) -> Spec:
        """The finished figure."""
        time_axis = axis(
            tell("time of day"),
            type="date",
            range=self._ends(),
            anchor="free",
            position=0.0,
            nticks=6,
            showgrid=False,
        )
        time_axis["tickformatstops"] = [
            {"dtickrange": [None, 60000], "value": "%H:%M:%S"},
            {"dtickrange": [60000, 86400000], "value": f"%H:%M\n{day_ticks()}"},
            {"dtickrange": [86400000, None], "value": day_ticks()},
        ]
        legend = {"orientation": "h", "x": 0, "xanchor": "left", "yref": "container", "y": 0.0}
        legend |= {"yanchor": "bottom", "tracegroupgap": 0}
        return {
            "data": self._traces,
            "layout": layout(
                height_px,
                xaxis=time_axis,
                annotations=self._labels,
                margin={"l": 44, "r": 14, "t": TOP_PX - GAP_PX, "b": FOOT_PX + GAP_PX - 10},
                legend=legend,
                **self._axes,
            ),
        }

    # --- parts ---------------------------------------------------------------------------------------------------

    def _axis(self, panel: Panel, **changes: Any) -> str:
        suffix = str(len(self._axes) + 1) if self._axes else ""
        self._axes[f"yaxis{suffix}"] = axis(domain=[round(panel.low, 5), round(panel.high, 5)], **changes)
        return f"y{suffix}"

    def _is_above(self, trace: Spec, panel: Panel) -> bool:
        """True if a trace lies in the band that touches this one from above."""
        domain: list[float] = self._axes["yaxis" + trace["yaxis"].removeprefix("y")]["domain"]
        sizes = SIZES_PX[STATES] / (panel.high - panel.low)
        return 0.0 <= (domain[0] - panel.high) * sizes < GAP_PX / 2

    def _label(self, panel: Panel, text: str) -> None:
        self._labels.append(note(text, x=0, xref="paper", y=panel.high, yref="paper", yshift=2))

    def _add(self, group: str, name: str, x: Sequence[Any], y: Sequence[Any], vertical: str, **look: Any) -> None:
        """A trace; a group stands once in the legend."""
        trace = {"type": "scatter", "x": list(x), "y": list(y), "yaxis": vertical, "name": name, "hoverinfo": "skip"}
        shown = {"legendgroup": group, "showlegend": group not in self._named}
        self._named.add(group)
        self._traces.append({**trace, **shown, **look})

    def _ends(self) -> list[str]:
        return [self._local.axis(self._start), self._local.axis(self._end)]

    def _joined(self, times: NDArray[np.datetime64], values: NDArray[np.float64]) -> tuple[list[Any], list[Any]]:
        """Axis places and values, with a break where nothing was logged for long."""
        x: list[str | None] = []
        y: list[float | None] = []
        breaks = np.concatenate([[False], np.diff(times) > PAUSE]) if len(times) else ()
        for at, value, broken in zip(times, values, breaks, strict=True):
            if broken:
                x.append(None)
                y.append(None)
            x.append(self._local.axis(utc(at)))
            y.append(round(float(value), 3))
        return x, y

    def _boxes(self, stretches: Sequence[Stretch]) -> tuple[list[Any], list[Any]]:
        """Boxes as one closed line, parted by breaks: one drawing element however many stretches there are."""
        x: list[str | None] = []
        y: list[float | None] = []
        for part in stretches:
            left = self._local.axis(max(parse_instant(part.from_), self._start))
            right = self._local.axis(min(parse_instant(part.to), self._end))
            x += [left, left, right, right, left, None]
            y += [0.0, 1.0, 1.0, 0.0, 0.0, None]
        return x, y


def _scale(unit: str) -> Spec:
    """Levels that have ends are drawn from end to end, a little room about them."""
    top = 100 if unit == "percent" else bars_of(unit)
    return {"range": [-0.06 * top, 1.06 * top]} if top else {}


def _filling(mark: Mark) -> Mapping[str, Any]:
    if not mark.pattern:
        return {"fillcolor": mark.fill}
    return {
        "fillcolor": mark.fill,
        "fillpattern": {"shape": mark.pattern, "fgcolor": HATCH, "bgcolor": mark.fill, "size": 6, "solidity": 0.25},
    }


def _thinned(
    times: NDArray[np.datetime64], values: NDArray[np.float64]
) -> tuple[NDArray[np.datetime64], NDArray[np.float64]]:
    """At most about `POINTS` points for the eye: of each run of rows the lowest and the highest."""
    if len(values) <= POINTS:
        return times, values
    size = -(-2 * len(values) // POINTS)
    kept: list[int] = []
    for first in range(0, len(values), size):
        part = values[first : first + size]
        kept += sorted({first + int(np.argmin(part)), first + int(np.argmax(part))})
    return times[kept], values[kept]
