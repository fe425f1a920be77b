"""The rows that the analysis uses, in the order it uses them, from the table of all rows."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

_Whole = NDArray[np.int64]


def used_rows(frame: pd.DataFrame) -> pd.DataFrame:
    """The table without withdrawn rows, `withdraw` rows and overridden ones, sorted; with `at` and `t_s`.

    See `Job.log`. Where nothing falls away and all is in order the columns are shared with the table.
    """
    kept = np.flatnonzero(~frame["withdrawn"].to_numpy() & (frame["kind"] != "withdraw").to_numpy())
    at_us = _monotonic_us(frame, kept)
    if not _rises(at_us):
        again = _overridden(frame, kept, at_us)
        kept, at_us = kept[~again], at_us[~again]
        order = np.argsort(at_us, kind="stable")
        kept, at_us = kept[order], at_us[order]
    whole = len(kept) == len(frame) and bool((np.diff(kept) == 1).all())
    used = frame.copy(deep=False) if whole else frame.take(kept).reset_index(drop=True)
    used["at"] = at_us.astype("datetime64[us]")
    used["t_s"] = (at_us - (at_us[0] if len(at_us) else 0)) / 1e6
    return used


def _rises(at_us: _Whole) -> bool:
    return bool((np.diff(at_us) > 0).all())


def _overridden(frame: pd.DataFrame, kept: _Whole, at_us: _Whole) -> NDArray[np.bool_]:
    """Which rows a later one of the same time, kind and subject replaces.

    Marks of one channel change (`tune`) say different things, so one replaces only a mark of its own value.
    """
    found = np.zeros(len(kept), dtype=bool)
    shared = np.flatnonzero(pd.Series(at_us).duplicated(keep=False).to_numpy())
    part = frame[["kind", "subject", "value"]].take(kept[shared]).assign(at=at_us[shared])
    same = ["at", "kind", "subject"]
    again = part.duplicated(same, keep="last").to_numpy().copy()
    is_mark = (part["kind"] == "tune").to_numpy()
    again[is_mark] = part[is_mark].duplicated([*same, "value"], keep="last").to_numpy()
    found[shared] = again
    return found


def _monotonic_us(frame: pd.DataFrame, kept: _Whole) -> _Whole:
    """Wall time, but within a recorder run its own monotonic clock, set to the wall clock by the median offset."""
    at_us = frame["time"].to_numpy().astype("datetime64[us]").astype(np.int64)[kept]
    elapsed_s = frame["elapsed_s"].to_numpy(dtype=float)[kept]
    timed = np.flatnonzero(~np.isnan(elapsed_s))
    if not len(timed):
        return at_us
    run = frame["run"].cat.codes.to_numpy()[kept[timed]]
    order = timed[np.argsort(run, kind="stable")]
    cuts = np.cumsum(np.bincount(run))[:-1]
    for part in np.split(order, cuts):
        if len(part):
            since_us = np.rint(elapsed_s[part] * 1e6).astype(np.int64)
            at_us[part] = int(np.median(at_us[part] - since_us)) + since_us
    return at_us
