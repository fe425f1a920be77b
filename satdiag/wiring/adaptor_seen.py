"""What the check of the conductor looks at: how each path was received lately, where, and what the feed does."""

from __future__ import annotations

from typing import Literal, NamedTuple

import numpy as np
import pandas as pd

from satdiag.findings import BiasFindings, LeadFindings
from satdiag.job import Job
from satdiag.wiring.learnt import part_swaps

Heard = Literal["received", "varying", "nothing"]

RECENT_S = 20 * 60.0
"""What was received longer ago than this before the latest row of the path says little of now (judgement)."""
FEWEST_ROWS = 3
"""One or two rows without a lock may be a moment's shadow (judgement, no source)."""
MOSTLY, HARDLY = 0.8, 0.05


class Path(NamedTuple):
    """How a path was received lately, and the rows that say so."""

    heard: Heard | None
    rows: tuple[str, ...]


class Seen(NamedTuple):
    """Everything the check looks at."""

    satellite: Path
    repeater: Path
    place: str | None
    place_rows: tuple[str, ...]
    leads: dict[str, LeadFindings]
    bias_rows: dict[str, tuple[str, ...]]
    swaps: dict[str, str]
    swap_rows: tuple[str, ...]
    earlier: tuple[str, ...]
    """Rows that show a path received earlier with the parts that are in now."""


def look(job: Job, bias: BiasFindings | None) -> Seen:
    """Everything since the last swap of a part, move or visit."""
    place = job.select("place", "vehicle").tail(1)
    where = str(place["value"].iloc[0]) if len(place) else None
    since_s = max(_last_s(_moved(job)), _last_s(part_swaps(job)), job.visits[-1].start_s if job.visits else 0.0)
    swaps = part_swaps(job)
    return Seen(
        _path(job, "satellite", since_s),
        _path(job, "repeater", since_s),
        where,
        _names(place),
        {lead.path or "": lead for lead in bias.leads} if bias else {},
        {path: _names(_of_lead(job, path), 4) for path in ("", "satellite", "repeater")},
        {str(part): str(value) for part, value in zip(swaps["subject"], swaps["value"], strict=True)},
        _names(swaps),
        _names(pd.concat([_good_rows(job, path, _last_s(swaps)) for path in ("satellite", "repeater")])),
    )


def _moved(job: Job) -> pd.DataFrame:
    """The rows at which the kind of place changed."""
    rows = job.select("place", "vehicle")
    return rows[(rows["value"] != rows["value"].shift()).to_numpy(dtype=bool)]


def _of_lead(job: Job, path: str) -> pd.DataFrame:
    rows = job.select("bias")
    return rows[[subject.partition(":")[2] == path for subject in rows["subject"]]] if len(rows) else rows


def _last_s(rows: pd.DataFrame) -> float:
    return float(rows["t_s"].iloc[-1]) if len(rows) else 0.0


def _path(job: Job, path: str, since_s: float) -> Path:
    """By its lock rows, else by levels where 'no signal' is known; of several satellites the best one counts."""
    for kind in (_locks, _levels):
        rows = _recent(kind(job, path, since_s))
        if len(rows):
            return _by_share(rows)
    return Path(None, ())


def _good_rows(job: Job, path: str, since_s: float) -> pd.DataFrame:
    rows = _locks(job, path, since_s)
    rows = rows if len(rows) else _levels(job, path, since_s)
    return rows[(rows["good"] > 0).to_numpy()]


def _locks(job: Job, path: str, since_s: float) -> pd.DataFrame:
    rows = _of(job.select("lock"), path, since_s)
    return rows.assign(good=(rows["value"] == "yes").to_numpy(dtype=float))


def _levels(job: Job, path: str, since_s: float) -> pd.DataFrame:
    """Levels on scales on which the reading that means 'no signal' is known."""
    levels = _of(job.select("signal"), path, since_s)
    units = levels["unit"].cat
    floors = [job.sheet.receiver.floor_of(unit) for unit in units.categories]
    floor = np.array([*(np.nan if one is None else one for one in floors), np.nan])[units.codes.to_numpy()]
    known: pd.DataFrame = levels[~np.isnan(floor)]
    above = known["number"].to_numpy(dtype=float) > floor[~np.isnan(floor)]
    return known.assign(good=above.astype(float))


def _of(rows: pd.DataFrame, path: str, since_s: float) -> pd.DataFrame:
    rows = rows[(rows["t_s"] >= since_s).to_numpy(dtype=bool)]
    names = [name for name in rows["subject"].unique() if name == path or name.startswith(f"{path}:")]
    found: pd.DataFrame = rows[rows["subject"].isin(names).to_numpy(dtype=bool)]
    return found


def _recent(rows: pd.DataFrame) -> pd.DataFrame:
    recent: pd.DataFrame = rows[(rows["t_s"] >= rows["t_s"].max() - RECENT_S).to_numpy(dtype=bool)]
    return recent


def _by_share(rows: pd.DataFrame) -> Path:
    shares = rows.groupby("subject")["good"].mean()
    best = float(shares.max())
    own = rows[(rows["subject"] == shares.idxmax()).to_numpy()]
    if best > MOSTLY:
        return Path("received", _names(own))
    if best > HARDLY:
        return Path("varying", _names(own))
    return Path("nothing", _names(rows)) if len(rows) >= FEWEST_ROWS else Path(None, _names(rows))


def _names(rows: pd.DataFrame, most: int = 3) -> tuple[str, ...]:
    """The last rows by their ids, else as 'row N' counted from 1 below the header."""
    last = rows.iloc[-most:]
    return tuple(one or f"row {row + 1}" for one, row in zip(last["id"], last["row"], strict=True))
