"""Evidence of reception: path by path as it is now, one satellite against the other, and here against elsewhere."""

from __future__ import annotations

import numpy as np
import pandas as pd

from satdiag.diagnosis import reception
from satdiag.diagnosis.seen import MOST_REPEATS, Seen, changes_s, name_row, settled_since_s
from satdiag.job import Job

CLEARLY_BETTER = 0.7
"""Of the two steps from nothing to strong (judgement, no source)."""


def reception_evidence(job: Job) -> list[Seen]:
    whole = reception.readings(job)
    now = whole[whole["t_s"] >= settled_since_s(job)]
    table = now if len(now) else whole
    found = []
    repeater = reception.word_for(reception.of_group(table, "repeater"))
    received = reception.word_for(table) == "good" or repeater not in (None, "none")
    satellite = "satellite-beside" if received else "satellite"
    for item, group in ((satellite, "satellite"), ("repeater", "repeater"), ("any-path", "any")):
        part = reception.of_group(table, group)
        word = reception.word_for(part)
        if word is not None:
            rows = tuple(name_row(row) for row in part["row"].tail(3))
            found.append(Seen(item, word, rows, min(part["bin"].nunique(), MOST_REPEATS)))
    found += _elsewhere(job, whole)
    named = table[table["path"].str.startswith("satellite:")]
    if named["path"].nunique() >= 2:
        shares = named["grade"].gt(reception.NONE).groupby(named["path"]).mean()
        missing = bool(shares.min() < 0.3 and shares.max() > 0.7)
        found.append(Seen("one-satellite", "one-missing" if missing else "alike"))
    return found


def _elsewhere(job: Job, table: pd.DataFrame) -> list[Seen]:
    """Reception where the vehicle stands now against the best of the other places it stood at in this log."""
    changes = [changes_s(job.select(kind, "vehicle")) for kind in ("place", "site")]
    moved = np.unique(np.concatenate(changes))
    if table.empty or len(moved) < 2:
        return []
    best = table.groupby("bin").agg(t_s=("t_s", "min"), grade=("grade", "max"))
    stretch = np.searchsorted(moved, best["t_s"].to_numpy(), side="right")
    means = best["grade"].groupby(stretch).mean()
    last = int(np.searchsorted(moved, settled_since_s(job), side="right"))
    if last not in means.index or len(means) < 2:
        return []
    better = float(means.drop(last).max() - means[last]) >= CLEARLY_BETTER
    return [Seen("elsewhere", "better" if better else "no-better")]
