"""Reception as it is now, path by path, put into the words of the evidence: good, varying, weak, none."""

from __future__ import annotations

import numpy as np
import pandas as pd

from satdiag.job import Job
from satdiag.sheet import Receiver
from satdiag.vocabulary import bars_of

NONE, WEAK, STRONG = 0, 1, 2

# Judgement, no source: where a readout stops being comfortable, and where nothing is there to lock on.
WEAK_BELOW = {"dB": 9.0, "percent": 45.0}
NOTHING_BELOW = {"dB": 3.0, "percent": 5.0}
BARS_WEAK_SHARE = 0.5
ASSUMED_BANDWIDTH_HZ = 4.0e6  # from memory: the width of one carrier; used only where job.toml names none
BIN_S = 10.0

SATELLITES = "satellite"


def class_of_level(number: float, unit: str, receiver: Receiver) -> int:
    """A level reading as NONE, WEAK or STRONG."""
    floor = receiver.floor_of(unit)
    if floor is not None and number <= floor:
        return NONE
    bars = bars_of(unit)
    if bars is not None:
        return WEAK if number < BARS_WEAK_SHARE * bars else STRONG
    if unit == "dB-Hz":
        number -= 10 * np.log10(receiver.noise_bandwidth_hz or ASSUMED_BANDWIDTH_HZ)
        unit = "dB"
    if number < NOTHING_BELOW[unit]:
        return NONE
    return WEAK if number < WEAK_BELOW[unit] else STRONG


def readings(job: Job) -> pd.DataFrame:
    """Every lock and level reading: t_s, path, grade (NONE, WEAK, STRONG), row, bin.

    A lock row overrules the level beside it.
    """
    levels, lock = job.select("signal"), job.select("lock")
    receiver = job.sheet.receiver
    grades = [class_of_level(n, u, receiver) for n, u in zip(levels["number"], levels["unit"], strict=True)]
    level_part = pd.DataFrame(
        {"t_s": levels["t_s"], "path": levels["subject"], "grade": grades, "row": levels["row"]}
    )
    locked = np.where(lock["value"] == "yes", STRONG, NONE)
    lock_part = pd.DataFrame({"t_s": lock["t_s"], "path": lock["subject"], "grade": locked, "row": lock["row"]})
    level_part["bin"], lock_part["bin"] = level_part["t_s"] // BIN_S, lock_part["t_s"] // BIN_S
    both = level_part.merge(
        lock_part[["bin", "path", "grade"]], on=["bin", "path"], how="left", suffixes=("", "_lock")
    )
    both["grade"] = both[["grade", "grade_lock"]].min(axis=1).astype(int)
    seen = set(zip(level_part["bin"], level_part["path"], strict=True))
    only = [key not in seen for key in zip(lock_part["bin"], lock_part["path"], strict=True)]
    columns = ["t_s", "path", "grade", "row", "bin"]
    parts = [part for part in (both[columns], lock_part.loc[only, columns]) if len(part)]
    return pd.concat(parts, ignore_index=True) if parts else both[columns]


def of_group(table: pd.DataFrame, group: str) -> pd.DataFrame:
    """The readings of 'satellite' (all of them), 'repeater', or 'any' (every path)."""
    if group == "any":
        return table
    if group == SATELLITES:
        return table[table["path"].str.startswith(SATELLITES)]
    return table[table["path"] == group]


def word_for(table: pd.DataFrame) -> str | None:
    """Readings in a word; None without any. Paths read at the same moment count as the best of them."""
    if table.empty:
        return None
    best = table.groupby("bin")["grade"].max().sort_index().to_numpy()
    none, weak = float((best == NONE).mean()), float((best == WEAK).mean())
    changes = int((np.diff((best == NONE).astype(int)) != 0).sum())
    if none >= 0.9 or (none >= 0.6 and changes < 3):
        return "none"
    if none >= 0.1:
        return "varying"
    if weak >= 0.5:
        return "weak"
    return "varying" if weak >= 0.25 else "good"
