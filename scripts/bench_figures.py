"""One form for every figure of speed: ours beside a floor measured in the same run, as one table.

A floor is a named library doing the same work, or what the machine takes for the part of it that cannot be left out:
importing what is needed, reading the file, inserting the rows, two processes that do nothing but count.
"""

import json
import os
import platform
from pathlib import Path
from typing import NamedTuple


class Line(NamedTuple):
    """One figure. `ratio` is ours over the floor; `aim` is the most (or, with `at_least`, the least) it may be."""

    what: str
    size: str
    unit: str
    ours: float
    floor: float
    floor_is: str
    aim: float | None = None
    at_least: bool = False

    @property
    def ratio(self):
        """Ours over the floor."""
        return self.ours / self.floor

    @property
    def met(self):
        """True or False; None without an aim."""
        if self.aim is None:
            return None
        return self.ratio >= self.aim if self.at_least else self.ratio <= self.aim


def exponent(sizes, costs):
    """Slope of log cost on log size: 1 is linear growth."""
    import numpy as np

    return float(np.polyfit(np.log(sizes), np.log(costs), 1)[0])


def table(lines):
    """The figures as one Markdown table."""
    told = ["| what | size | ours | floor | ratio | aim | met | the floor |", "| --- | --- | " + "--- | " * 6]
    for each in lines:
        aim = "" if each.aim is None else f"{'at least' if each.at_least else 'at most'} {each.aim:g}"
        met = {True: "yes", False: "**no**", None: ""}[each.met]
        ours, floor = (_number(value, each.unit) for value in (each.ours, each.floor))
        told.append(
            f"| {each.what} | {each.size} | {ours} | {floor} | {each.ratio:.3g} | {aim} | {met} | {each.floor_is} |"
        )
    return "\n".join(told)


def _number(value, unit):
    text = f"{value:,.0f}" if abs(value) >= 1000 else f"{value:.3g}"
    return f"{text} {unit}".strip()


def circumstances():
    """What the figures were measured on."""
    import numpy as np
    import pandas as pd

    return {
        "python": platform.python_version(),
        "numpy": np.__version__,
        "pandas": pd.__version__,
        "system": f"{platform.system()} {platform.machine()}",
        "processors": os.cpu_count(),
        "load": round(os.getloadavg()[0], 1) if hasattr(os, "getloadavg") else "unknown",
    }


def write_json(place, on, lines):
    """The figures as JSON."""
    told = [{**each._asdict(), "ratio": each.ratio, "met": each.met} for each in lines]
    Path(place).write_text(json.dumps({"on": on, "figures": told}, indent=2) + "\n", "utf-8")
