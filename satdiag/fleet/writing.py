"""Writing the data set: whole files only, of a batch of jobs each, parted by month."""

from __future__ import annotations

import shutil
import time
import uuid
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from satdiag.errors import SatdiagError
from satdiag.fleet.columns import MONTH, UNKNOWN_MONTH
from satdiag.fleet.dataset import SCHEMAS, arrow, parquet
from satdiag.fleet.joining import join_small_files, remove_replaced
from satdiag.fleet.sources import Source, is_job_folder
from satdiag.fleet.task import Outcome, Row, sayable
from satdiag.safe_write import beside, publish

BATCH_JOBS = 250
BATCH_S = 20.0
"""So many jobs, or the jobs of so long, are written at a time: a crash costs no more than that."""

ORDER = ("evidence", "channels", "jobs")
"""A job is done by its row in jobs; what belongs to it is there by then."""

_LEFT_OVER = ".satdiag-*"
_TICK = timedelta(microseconds=1)


class Writing:
    """Rows that wait to be written, and where they go. Nothing is there before `flush` has ended."""

    def __init__(self, directory: Path, after: datetime | None) -> None:
        """`after`: when the newest row was written that is there already; later rows are newer in any case."""
        self._directory = directory
        self._after = after
        self.run = f"{datetime.now(UTC):%Y%m%dT%H%M%S}-{uuid.uuid4().hex[:8]}"
        self._batches = 0
        self._rows: dict[str, dict[str, list[Row]]] = {}
        self._jobs = 0
        self._since = time.monotonic()

    @property
    def is_due(self) -> bool:
        """True if enough waits, or has waited for long enough."""
        return self._jobs >= BATCH_JOBS or (self._jobs > 0 and time.monotonic() - self._since >= BATCH_S)

    def add(self, source: Source, digest: str, outcome: Outcome) -> None:
        """Take the rows of one job."""
        if not self._jobs:
            self._since = time.monotonic()
        self._jobs += 1
        common = {"key": f"{outcome.hash}:{outcome.analysis}", "written": self._now()}
        own = {
            "analysis": outcome.analysis,
            "hash": outcome.hash,
            "source": sayable(source.path),
            "place": source.place,
            "stamp": source.stamp,
            "bytes": digest,
        }
        started = outcome.job.get("started")
        month = UNKNOWN_MONTH if started is None else f"{started:%Y-%m}"
        batch = self._rows.setdefault(month, {name: [] for name in ORDER})
        batch["jobs"].append({**common, **own, **outcome.job})
        named = {**common, "job": outcome.job.get("job")}
        batch["channels"] += [{**named, **row} for row in outcome.channels]
        batch["evidence"] += [{**named, **row} for row in outcome.evidence]

    def add_as_it_is(self, month: str, row: Row) -> None:
        """Take a whole row of jobs."""
        self._rows.setdefault(month, {name: [] for name in ORDER})["jobs"].append(row)

    def _now(self) -> datetime:
        now = datetime.now(UTC)
        if self._after is not None and now <= self._after:
            now = self._after + _TICK
        self._after = now
        return now

    def flush(self) -> None:
        """Write what waits. Raises SatdiagError where it cannot be written; then it still waits."""
        try:
            for name in ORDER:
                for month, batch in self._rows.items():
                    if batch[name]:
                        self._write(name, month, batch[name])
                        batch[name] = []
        except OSError as error:
            mend = "Make room or mend the rights, then run the same command again; what was written stays."
            raise SatdiagError(f"{self._directory}: cannot be written ({error.strerror or error}). {mend}") from None
        self._rows, self._jobs = {}, 0
        self._batches += 1

    def _write(self, name: str, month: str, rows: list[Row]) -> None:
        folder = self._directory / name / f"{MONTH}={month}"
        folder.mkdir(parents=True, exist_ok=True)
        place = folder / f"{self.run}-{self._batches:06d}.parquet"
        table: Any = arrow.Table.from_pylist(rows, schema=SCHEMAS[name])
        with beside(place) as made:
            parquet.write_table(table, made, compression="zstd")
            publish(made, place)


def refuse_other_content(directory: Path) -> None:
    """Raises SatdiagError where a data set must not be written: into a job, or among other things such as jobs."""
    mend = "Name another folder with --to."
    for folder in (place := directory.resolve(), *place.parents):
        if is_job_folder(folder):
            which = "this is" if folder == place else f"it lies in {folder},"
            raise SatdiagError(f"{directory}: {which} a job folder, in which no data set belongs. {mend}")
    for name in ORDER:
        try:
            found = sorted(one.name for one in (directory / name).iterdir())
        except OSError:  # not there yet; that it cannot be written is said later
            continue
        if strange := [one for one in found if not one.startswith((f"{MONTH}=", "."))]:
            what = f"'{strange[0]}' stands in it, which is no part of a data set"
            raise SatdiagError(f"{directory / name}: {what}. {mend}")


def tidy(directory: Path, run: str) -> None:
    """Join small files. Raises SatdiagError where it cannot be written; nothing is lost then."""
    try:
        join_small_files(directory, run)
    except (OSError, arrow.ArrowException) as error:
        mend = "All rows are there; the next run tries again."
        why = getattr(error, "strerror", None) or error
        raise SatdiagError(f"{directory}: small files could not be joined ({why}). {mend}") from None


def sweep(directory: Path) -> None:
    """Remove what a run that was killed left half done. Only for the one who holds the lock of the data set.

    Raises SatdiagError.
    """
    try:
        for name in ORDER:
            for folder in (directory / name).glob(f"{MONTH}=*"):
                for left in folder.glob(_LEFT_OVER):
                    shutil.rmtree(left, ignore_errors=True)
                remove_replaced(folder)
    except (OSError, arrow.ArrowException) as error:
        raise SatdiagError(f"{directory}: cannot be cleared up ({error}). Check the rights to it.") from None
