"""One row more, without working the others out again."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from satdiag.bulk.table import ColumnRows, columns_of_rows
from satdiag.rows import Row

_MICROSECONDS = 1e6


def rows_with(rows: Sequence[Row], row: Row) -> Sequence[Row]:
    """Rows and one more; by column where they are, and the row can be."""
    more = columns_of_rows([row]) if isinstance(rows, ColumnRows) else None
    return rows.followed_by(more) if isinstance(rows, ColumnRows) and more is not None else (*rows, row)


def with_later(used: pd.DataFrame, row: pd.DataFrame, number: int) -> pd.DataFrame:
    """The table of `used_rows` with the one row of another table of rows as its last, number `number` of the job.

    It is later than all others, of no run of a recorder, and takes nothing back.
    """
    at = row["time"].to_numpy().astype("datetime64[us]")
    start = used["at"].to_numpy()[:1] if len(used) else at
    since_s = (at - start).astype(np.int64) / _MICROSECONDS
    row = row.assign(row=number, at=at, t_s=since_s)
    return pd.DataFrame({name: _joined(used[name], row[name]) for name in used.columns}, copy=False)


def _joined(one: pd.Series, other: pd.Series) -> pd.Categorical | NDArray[Any]:
    """Both; of categories those of the first, and the other's beside them in the order of their names."""
    if not isinstance(one.dtype, pd.CategoricalDtype):
        return np.append(one.to_numpy(), other.to_numpy())
    names = one.cat.categories
    if not other.isin(names).all():
        names = names.union(other.cat.categories).astype(object)
    codes = [part.cat.set_categories(names).cat.codes.to_numpy() for part in (one, other)]
    return pd.Categorical.from_codes(np.concatenate(codes), categories=names)
