"""Reception as it is now, path by path, put into the words of the evidence: good, recovered, varying, weak, none."""

from __future__ import annotations

from collections.abc import Iterator
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
_EMPTY, _SPARSE = -1, 16


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
            kept = np.zeros(len(self), dtype=bool)
            for path in set(self.path.tolist()):
                if path.startswith(SATELLITES):
                    kept |= self.path == path
            return self.where(kept)
        return self.where(self.path == group)


def graded(job: Job) -> Graded:
    """Every lock and level reading; a lock row overrules the level beside it, and tells what noise reads as."""
    log = log_of(job)
    levels, lock = log.of("signal"), log.of("lock")
    receiver = job.sheet.receiver
    level_bin, lock_bin = levels.t_s // BIN_S, lock.t_s // BIN_S
    locked = np.where(lock.value == "yes", STRONG, NONE)
    code, names = pd.factorize(np.concatenate([levels.subject, lock.subject]))
    keys = np.concatenate([level_bin, lock_bin]).astype(np.int64) * len(names) + code
    level_key, lock_key = keys[: len(levels)], keys[len(levels) :]
    said, at = np.unique(lock_key, return_inverse=True)
    ceiling = np.full(len(said), STRONG)
    np.minimum.at(ceiling, at, locked)
    own, known = _found(level_key, said, ceiling)
    is_any = np.flatnonzero(names == ANY)
    every, _ = _found(level_bin.astype(np.int64) * len(names) + (is_any[0] if len(is_any) else -1), said, ceiling)
    held = np.minimum(_classes(levels, receiver), np.minimum(own, every) if len(is_any) else own)
    held[levels.number <= _noise_reads(levels, own, known)] = NONE
    alone = ~np.isin(lock_key, level_key)
    only = lock.where(alone)
    return Graded(
        np.concatenate([levels.t_s, only.t_s]),
        np.concatenate([levels.subject, only.subject]),
        np.concatenate([held, locked[alone]]).astype(np.int64),
        np.concatenate([levels.row, only.row]),
        np.concatenate([level_bin, only.t_s // BIN_S]),
    )


def _found(keys: Places, known: Places, values: Places) -> tuple[Places, Flags]:
    """The value of each key among the known ones, in order; STRONG where there is none; and where there is one."""
    if not len(known):
        return np.full(len(keys), STRONG), np.zeros(len(keys), dtype=bool)
    at = np.searchsorted(known, keys).clip(max=len(known) - 1)
    there = known[at] == keys
    return np.where(there, values[at], STRONG), there


def _by_unit(levels: Part) -> Iterator[tuple[str, Flags]]:
    """Each unit of the levels, and which rows have it."""
    for unit in dict.fromkeys(levels.unit.tolist()):
        yield unit, np.asarray(levels.unit == unit)


def _classes(levels: Part, receiver: Receiver) -> Places:
    """`class_of_level` of each level, worked out once for each that there is."""
    found = np.empty(len(levels), dtype=np.int64)
    for unit, own in _by_unit(levels):
        at, numbers = pd.factorize(levels.number[own])
        found[own] = np.array([class_of_level(one, unit, receiver) for one in numbers.tolist()], dtype=np.int64)[at]
    return found


def _noise_reads(levels: Part, ceiling: Places, known: Flags) -> Floats:
    """What the path of each level reads at most without a lock, in that unit, where that lies below all that it read
    with one; else -inf. `known`: where a lock was read beside it, `ceiling`: as what.

    A readout without a floor shows a little of nothing.
    """
    found = np.full(len(levels), -np.inf)
    for _, in_unit in _by_unit(levels):
        for path in dict.fromkeys(levels.subject[in_unit].tolist()):
            own = in_unit & (levels.subject == path)
            without = levels.number[own & known & (ceiling == NONE)]
            locked = levels.number[own & known & (ceiling > NONE)]
            if len(without) >= FEWEST_ON_A_SIDE and without.max() < locked.min(initial=np.inf):
                found[own] = without.max()
    return found


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
    if not len(bins):
        return np.empty(0, dtype=np.int64)
    at = (bins - bins.min()).astype(np.int64)
    if at.max() > _SPARSE * len(bins):
        _, at = np.unique(at, return_inverse=True)
    best = np.full(int(at.max()) + 1, _EMPTY)
    np.maximum.at(best, at, grades)
    return best[best > _EMPTY]


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
