"""The fleet's data set on the medium: DIR/jobs, DIR/channels, DIR/evidence, each with folders month=YYYY-MM.

Every job is written once for each analysis of it; whoever reads gets one row a job: the newest. Importing this module
raises MissingPart where pyarrow is not installed.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from satdiag.errors import SatdiagError
from satdiag.fleet.columns import MONTH, TABLES, Column
from satdiag.handover.extras import needed

arrow: Any = needed("pyarrow", "fleet", "The data set of a fleet")
parquet: Any = needed("pyarrow.parquet", "fleet", "The data set of a fleet")
compute: Any = needed("pyarrow.compute", "fleet", "The data set of a fleet")
sets: Any = needed("pyarrow.dataset", "fleet", "The data set of a fleet")

_TYPES = {
    "text": arrow.string(),
    "texts": arrow.list_(arrow.string()),
    "whole": arrow.int64(),
    "number": arrow.float64(),
    "numbers": arrow.list_(arrow.float64()),
    "yes-no": arrow.bool_(),
    "moment": arrow.timestamp("us", tz="UTC"),
    "states": arrow.list_(arrow.struct([("item", arrow.string()), ("state", arrow.string())])),
    "faults": arrow.list_(arrow.struct([("fault", arrow.string()), ("p", arrow.float64())])),
}


def _schema(columns: Sequence[Column]) -> Any:
    return arrow.schema([arrow.field(column.name, _TYPES[column.type]) for column in columns])


SCHEMAS: dict[str, Any] = {name: _schema(columns) for name, columns in TABLES.items()}
"""Arrow schemas of the files by table; `read_table` adds the month."""

JOINED_END = "-joined.parquet"
REPLACES = "satdiag.replaces"
"""So end the names of files that were made of several, and under this key they name those: see `joining.py`."""

_TRIES = 3
"""A file that was listed may be gone when it is read: it was joined with others since."""

JOBS = SCHEMAS["jobs"]
CHANNELS = SCHEMAS["channels"]
EVIDENCE = SCHEMAS["evidence"]


def read_table(directory: Path, name: str, columns: Sequence[str] | None = None) -> Any:
    """A table of the data set ('jobs', 'channels', 'evidence') as a pyarrow Table, with the column `month` (text).

    One row a job (for the others: the rows of those): the newest of each place and of each hash. `columns`: only
    these. Raises SatdiagError where there is no data set, or a file of it cannot be read.
    """
    if name not in TABLES:
        raise SatdiagError(f"the fleet has no table '{name}'; use one of {', '.join(TABLES)}")
    wanted = [*SCHEMAS[name].names, MONTH] if columns is None else list(columns)
    newest = newest_rows(directory)
    table = whole_table(directory, name, list(dict.fromkeys([*wanted, "key", "written"])))
    at = compute.index_in(table["key"], value_set=newest["key"])
    is_kept = compute.equal(compute.take(newest["written"], at), table["written"])
    return table.filter(is_kept).select(wanted)


def newest_rows(directory: Path) -> Any:
    """Of each place and of each hash the newest row of jobs, as a table of key and written. Raises SatdiagError."""
    rows = whole_table(directory, "jobs", ["key", "hash", "place", "written"]).to_pandas()
    rows = rows.sort_values("written", kind="stable")
    rows = rows.drop_duplicates("place", keep="last").drop_duplicates("hash", keep="last")
    schema = arrow.schema([JOBS.field("key"), JOBS.field("written")])
    return arrow.Table.from_pandas(rows[["key", "written"]], schema=schema, preserve_index=False).combine_chunks()


def whole_table(directory: Path, name: str, columns: Sequence[str]) -> Any:
    """These columns of all rows ever written to a table; empty where it has no files. Raises SatdiagError."""
    if not (directory / "jobs").is_dir():
        mend = "`satdiag fleet SRC... --to DIR` makes one."
        raise SatdiagError(f"{directory}: no data set of a fleet here (there is no folder jobs). {mend}")
    try:
        for _ in range(_TRIES):
            with suppress(FileNotFoundError):
                return _opened(directory, name).to_table(columns=list(columns))
        return _opened(directory, name).to_table(columns=list(columns))
    except (OSError, arrow.ArrowException) as error:
        mend = "Move that file, and the one of its name in jobs, away and run `satdiag fleet` again."
        raise SatdiagError(f"{directory / name}: cannot be read ({error}). {mend}") from None


def _opened(directory: Path, name: str) -> Any:
    by_month = sets.partitioning(arrow.schema([(MONTH, arrow.string())]), flavor="hive")
    schema = SCHEMAS[name].append(arrow.field(MONTH, arrow.string()))
    place = directory / name
    there = sorted(place.glob(f"{MONTH}=*/*.parquet"))  # looked at once: a run may be joining files meanwhile
    replaced = {one for file in there if file.name.endswith(JOINED_END) for one in _replaced_by(file)}
    files = [str(file) for file in there if file not in replaced]
    if not files:
        return sets.dataset(schema.empty_table())
    return sets.dataset(files, schema=schema, format="parquet", partitioning=by_month, partition_base_dir=str(place))


def replaced_files(folder: Path) -> list[Path]:
    """The files of a month's folder whose rows stand in a joined file too: a run was killed before it removed them.

    Raises OSError, ArrowException.
    """
    named = [file for joined in folder.glob(f"*{JOINED_END}") for file in _replaced_by(joined)]
    return [file for file in named if file.exists()]


def _replaced_by(joined: Path) -> list[Path]:
    """The files that a joined one was made of."""
    said = (parquet.read_schema(joined).metadata or {}).get(REPLACES.encode())
    return [joined.parent / name for name in json.loads(said or b"[]")]
