"""Reception as it is now, path by path, put into the words of the evidence: good, recovered, varying, weak, none."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from satdiag.diagnosis.log import Part, Places, Words, log_of
from satdiag.diagnosis.space import Flags, Floats
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
FEWEST_ON_A_SIDE = 3

SATELLITES, ANY = "satellite", "any"


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


@dataclass(frozen=True, eq=False)
class Graded:
    """Lock and level readings: when (s since the first row), path, grade (NONE, WEAK, STRONG), row, bin of time."""

    t_s: Floats
    path: Words
    grade: Places
    row: Places
    bin: Floats

    def __len__(self) -> int:
        return len(self.t_s)

    def where(self, kept: Flags) -> Graded:
        """The readings that are kept."""
        return Graded(self.t_s[kept], self.path[kept], self.grade[kept], self.row[kept], self.bin[kept])

    def of_group(self, group: str) -> Graded:
        """The readings of 'satellite' (all of them) or of one path, such as 'repeater' or 'any'."""
        if group == SATELLITES:
            return self.where(np.array([path.startswith(SATELLITES) for path in self.path], dtype=bool))
        return self.where(self.path == group)


def graded(job: Job) -> Graded:
    """Every lock and level reading; a lock row overrules the level beside it, and tells what noise reads as."""
    log = log_of(job)
    levels, lock = log.of("signal"), log.of("lock")
    receiver = job.sheet.receiver
    level_bin, lock_bin = levels.t_s // BIN_S, lock.t_s // BIN_S
    grades = [class_of_level(n, u, receiver) for n, u in zip(levels.number.tolist(), levels.unit, strict=True)]
    locked = [STRONG if value == "yes" else NONE for value in lock.value]
    ceiling: dict[tuple[float, str], int] = {}
    for key, grade in zip(zip(lock_bin.tolist(), lock.subject, strict=True), locked, strict=True):
        ceiling[key] = min(grade, ceiling.get(key, STRONG))
    keys = list(zip(level_bin.tolist(), levels.subject, strict=True))
    caps = [min(ceiling.get(key, STRONG), ceiling.get((key[0], ANY), STRONG)) for key in keys]
    noise = _noise_reads(levels, keys, ceiling)
    held = [
        NONE if number <= noise.get((subject, unit), -np.inf) else min(grade, cap)
        for grade, cap, number, subject, unit in zip(
            grades, caps, levels.number.tolist(), levels.subject, levels.unit, strict=True
        )
    ]
    seen = set(keys)
    alone = [key not in seen for key in zip(lock_bin.tolist(), lock.subject, strict=True)]
    only = lock.where(np.array(alone, dtype=bool))
    return Graded(
        np.concatenate([levels.t_s, only.t_s]),
        np.concatenate([levels.subject, only.subject]),
        np.array([*held, *(one for one, kept in zip(locked, alone, strict=True) if kept)], dtype=np.int64),
        np.concatenate([levels.row, only.row]),
        np.concatenate([level_bin, only.t_s // BIN_S]),
    )


def _noise_reads(
    levels: Part, keys: list[tuple[float, str]], ceiling: dict[tuple[float, str], int]
) -> dict[tuple[str, str], float]:
    """What each path reads at most without a lock, by path and unit, where that lies below all that it read with one.

    A readout without a floor shows a little of nothing.
    """
    read: dict[tuple[str, str], tuple[list[float], list[float]]] = {}
    for key, subject, unit, number in zip(keys, levels.subject, levels.unit, levels.number.tolist(), strict=True):
        if key in ceiling:
            read.setdefault((subject, unit), ([], []))[ceiling[key] > NONE].append(number)
    return {
        path: max(without)
        for path, (without, locked) in read.items()
        if len(without) >= FEWEST_ON_A_SIDE and max(without) < min(locked, default=np.inf)
    }


def readings(job: Job) -> pd.DataFrame:
    """The readings as a table: t_s, path, grade, row, bin."""
    made = graded(job)
    columns = {"t_s": made.t_s, "path": made.path, "grade": made.grade, "row": made.row, "bin": made.bin}
    return pd.DataFrame(columns)


def of_group(table: pd.DataFrame, group: str) -> pd.DataFrame:
    """The readings of 'satellite' (all of them), 'repeater', or 'any' (every path)."""
    if group == "any":
        return table
    if group == SATELLITES:
        return table[table["path"].str.startswith(SATELLITES)]
    return table[table["path"] == group]


def best_of_bins(bins: Floats, grades: Places) -> Places:
    """The best grade of each bin, in the order of time."""
    best: dict[float, int] = {}
    for place, grade in zip(bins.tolist(), grades.tolist(), strict=True):
        best[place] = max(grade, best.get(place, NONE))
    return np.array([best[place] for place in sorted(best)], dtype=np.int64)


def word_for(table: pd.DataFrame) -> str | None:
    """Readings in a word; None without any. Paths read at the same moment count as the best of them."""
    if table.empty:
        return None
    return _share_word(best_of_bins(table["bin"].to_numpy(dtype=float), table["grade"].to_numpy(dtype=np.int64)))


def word_of(bins: Floats, grades: Places) -> str | None:
    """As `word_for`, and told apart from what comes and goes: reception that ended for good, or came for good."""
    if not len(grades):
        return None
    best = best_of_bins(bins, grades)
    return _turned(best) or _share_word(best)


def _share_word(best: Places) -> str:
    none, weak = float((best == NONE).mean()), float((best == WEAK).mean())
    changes = int((np.diff((best == NONE).astype(int)) != 0).sum())
    if none >= 0.9 or (none >= 0.6 and changes < 3):
        return "none"
    if none >= 0.1:
        return "varying"
    if weak >= 0.5:
        return "weak"
    return "varying" if weak >= 0.25 else "good"


def _turned(best: Places) -> str | None:
    """One turn only, and it lasted: 'none' if reception ended, 'recovered' if it began; else None."""
    gone = best == NONE
    turns = np.flatnonzero(np.diff(gone.astype(int)) != 0) + 1
    if len(turns) != 1 or min(turns[0], len(best) - turns[0]) < FEWEST_ON_A_SIDE:
        return None
    return "none" if gone[-1] else "recovered"
