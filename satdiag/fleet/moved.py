"""A job that was moved and has grown since: the row of its former place must not count beside that of the new one.

It is the same job where id, first moment and receiver are the same, it has no fewer rows, and nothing is at the
former place any more. Then the new row is written once more under the former place, a microsecond older than itself:
of the rows of one place the latest counts, of those of one hash the latest, so that the former row and the copy both
fall away for every reader, and nothing that was written is changed.
"""

from __future__ import annotations

import os
from collections.abc import Collection, Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

from satdiag.fleet.columns import MONTH
from satdiag.fleet.dataset import SCHEMAS, compute, whole_table
from satdiag.fleet.sources import place_of
from satdiag.fleet.task import Row

_OF_JOBS = ["place", "key", "written", "job", "started", "receiver", "rows", "source", "bytes", "error"]
_SAME = ["job", "started", "receiver"]
_TICK = timedelta(microseconds=1)


def rows_of_former_places(directory: Path, new_places: Collection[str]) -> Iterator[tuple[str, Row]]:
    """For each former place of a job that is at a new place now: the month and the row that hides its row.

    `new_places`: where a job was found in this run of which the data set had no row. Raises SatdiagError.
    """
    if not new_places:
        return
    rows = whole_table(directory, "jobs", _OF_JOBS).to_pandas().sort_values("written", kind="stable")
    rows = rows.drop_duplicates("place", keep="last")
    rows = rows[rows["error"].isna() & rows["job"].fillna("").ne("") & rows["started"].notna()]
    is_new = rows["place"].isin(new_places)
    new = rows[is_new].drop_duplicates(_SAME, keep="last")
    pairs = rows[~is_new].merge(new, on=_SAME, suffixes=("", "_new"))
    pairs = pairs[(pairs["rows"] <= pairs["rows_new"]) & (pairs["bytes"] != pairs["bytes_new"])]
    for _, pair in pairs.iterrows():
        if _is_gone(pair["source"], pair["place"]):
            month, row = _row(directory, pair["key_new"], pair["written_new"])
            yield month, {**row, "place": pair["place"], "written": row["written"] - _TICK}


def _is_gone(source: str, place: str) -> bool:
    """True if nothing is at a path any more; False where it cannot be told, as seen from another folder."""
    return not os.path.lexists(source) and place_of(Path(source)) == place


def _row(directory: Path, key: str, written: Any) -> tuple[str, Row]:
    table = whole_table(directory, "jobs", [*SCHEMAS["jobs"].names, MONTH])
    own = table.filter(compute.equal(table["key"], key))
    row = next(one for one in own.to_pylist() if one["written"] == written.to_pydatetime())
    return row.pop(MONTH), row
