"""A job: the sheet and the observations of one vehicle as typed data that nothing changes."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC
from functools import cached_property
from itertools import accumulate
from types import MappingProxyType
from typing import TypeVar

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from satdiag.bulk import ColumnRows, columns_of_rows, frame_of, is_sound, lines_of, rows_with, used_rows, with_later
from satdiag.csv_text import csv_line, decode, header_problems, quoted, raw_fields, records
from satdiag.errors import BadInput, Problem, bad_input, shown
from satdiag.ring_file import FILE as RING
from satdiag.ring_file import parse_ring
from satdiag.rows import OPTIONAL_COLUMNS, REQUIRED_COLUMNS, Row, check_rows, check_some_rows, rows_frame
from satdiag.sheet import Sheet, line_of_key, parse_sheet
from satdiag.tables import (
    HorizonPoint,
    LineUpChannel,
    Obstacle,
    parse_horizon,
    parse_lineup,
    parse_obstacles,
)
from satdiag.touchstone import parse_touchstone
from satdiag.vocabulary import UNREADABLE, VISIT_PAUSE_S

OBSERVATIONS = "observations.csv"
FEEDLINE = "feedline.s1p"
HEADER = ",".join(REQUIRED_COLUMNS)
KNOWN_FILES = re.compile(
    r"job\.toml|observations\.csv|lineup\.csv|horizon\.csv|obstacles\.csv|gnss[A-Za-z0-9._-]*\.nmea|"
    r"constellation\.toml|elements\.tle|elements\.omm|ring\.toml|feedline\.s1p|raw[A-Za-z0-9._-]*\.jsonl|truth\.toml"
)
_TEXT_FILES = re.compile(r".*\.(toml|csv|tle|omm)")
_T = TypeVar("_T")


@dataclass(frozen=True)
class Visit:
    """A stretch of observations without a pause longer than 4 h, in seconds since the job's first row."""

    start_s: float
    end_s: float


@dataclass(frozen=True, eq=False)
class Job:
    """One vehicle's job. Build it with `build_job` or `satdiag.open_job`; never change what it hands out.

    `rows` are the observations as written (a tuple, or `bulk.ColumnRows`, which makes each row when it is asked for),
    `header` the header line as written, `documents` every other file of the job as bytes. `observations` is all rows
    as a table in the file's order, `log` what the analysis reads.
    """

    sheet: Sheet
    header: str
    rows: Sequence[Row]
    documents: Mapping[str, bytes]
    lineup: tuple[LineUpChannel, ...] | None = None
    horizon: tuple[HorizonPoint, ...] | None = None
    obstacles: tuple[Obstacle, ...] | None = None

    @cached_property
    def _frame(self) -> pd.DataFrame:
        if isinstance(self.rows, ColumnRows):
            return frame_of(self.rows, self.sheet.naive_times)
        return rows_frame(self.rows, self.sheet.naive_times)

    @property
    def observations(self) -> pd.DataFrame:
        """Every row in the order of the file (see `rows_frame`), a copy of the caller's own."""
        return self._frame.copy()

    @cached_property
    def _log(self) -> pd.DataFrame:
        return used_rows(self._frame)

    @property
    def log(self) -> pd.DataFrame:
        """The rows that the analysis uses, in the order it uses them.

        As `observations`, without withdrawn rows, `withdraw` rows and all but the last of equal (time, kind,
        subject; of `tune` also value); with `at` (datetime64[us], UTC: monotonic within a recorder run) and `t_s`
        (float, seconds since the first row). Do not write into it.
        """
        return self._log

    @cached_property
    def overridden_rows(self) -> int:
        """How many rows were overridden by a later one with the same time, kind and subject (`tune`: and value)."""
        frame = self._frame
        used = frame[~frame["withdrawn"] & (frame["kind"] != "withdraw")]
        return len(used) - len(self._log)

    def select(self, kind: str, subject: str | None = None, readable: bool = True) -> pd.DataFrame:
        """The log rows of a kind (and a subject), without 'unreadable' ones unless `readable` is False.

        Columns may be added to what is handed out; the values in it are shared, never write into them.
        """
        key = (kind, subject, readable)
        if key not in self._selected:
            self._selected[key] = self._chosen(*key)
        return self._selected[key].copy(deep=False)

    @cached_property
    def _selected(self) -> dict[tuple[str, str | None, bool], pd.DataFrame]:
        """What was selected before: many estimators ask for the same rows."""
        return {}

    def _chosen(self, kind: str, subject: str | None, readable: bool) -> pd.DataFrame:
        if readable:
            rows = self.select(kind, subject, readable=False)
            keep = (rows["value"] != UNREADABLE).to_numpy()
        elif subject is not None:
            rows = self.select(kind, readable=False)
            keep = (rows["subject"] == subject).to_numpy()
        else:
            rows, keep = self._log, (self._log["kind"] == kind).to_numpy()
        return rows if keep.all() else rows.take(np.flatnonzero(keep))

    def only(self, numbers: NDArray[np.int64]) -> Job:
        """The job with these of its rows alone, by their numbers from 0, in that order."""
        if isinstance(self.rows, ColumnRows):
            return replace(self, rows=self.rows.some(numbers))
        return replace(self, rows=tuple(self.rows[number] for number in numbers.tolist()))

    def followed_by(self, row: Row) -> Job:
        """The job with one more row: later than all others, of no run. What was worked out is taken over."""
        job = replace(self, rows=rows_with(self.rows, row))
        job.__dict__["_log"] = with_later(self._log, rows_frame([row], None), len(self.rows))
        job.__dict__["_selected"] = {key: found for key, found in self._selected.items() if key[0] != row.kind}
        return job

    @cached_property
    def start(self) -> np.datetime64 | None:
        """The instant of the first row, UTC; None for an empty log."""
        return None if self._log.empty else self._log["at"].to_numpy()[0]

    @cached_property
    def end_s(self) -> float:
        """Seconds from the first to the last row; 0 for an empty log."""
        return 0.0 if self._log.empty else float(self._log["t_s"].to_numpy()[-1])

    def instant(self, t_s: float) -> np.datetime64 | None:
        """Seconds since the first row as an instant, UTC."""
        if self.start is None:
            return None
        return self.start + np.timedelta64(round(t_s * 1e6), "us")

    @cached_property
    def visits(self) -> tuple[Visit, ...]:
        """The visits: stretches without a pause longer than 4 h."""
        times = self._log["t_s"].to_numpy()
        if not len(times):
            return ()
        cuts = np.flatnonzero(np.diff(times) > VISIT_PAUSE_S) + 1
        return tuple(Visit(float(part[0]), float(part[-1])) for part in np.split(times, cuts))


class _Reading:
    """Reads part after part of a job and gathers what is wrong, so that everything is reported together."""

    def __init__(self) -> None:
        self.problems: list[Problem] = []

    def part(self, read: Callable[[], _T]) -> _T | None:
        """What `read` returns, or None and its problems kept."""
        try:
            return read()
        except BadInput as error:
            self.problems += error.problems
            return None


def normalised(name: str, data: bytes) -> bytes:
    """Text files with LF line ends, a last line end and no BOM; raw receiver lines stay as they came."""
    if not _TEXT_FILES.fullmatch(name):
        return data
    text = decode(data, name)
    return (text if text.endswith("\n") or not text else text + "\n").encode()


def _normalised_documents(documents: Mapping[str, bytes], reading: _Reading) -> dict[str, bytes]:
    found = {}
    for name in sorted(documents):
        if not KNOWN_FILES.fullmatch(name) or name == OBSERVATIONS:
            mend = "A job holds only the files named in `satdiag docs log`."
            reading.problems.append(Problem(name, "this file does not belong to a job", mend))
            continue
        data = reading.part(lambda name=name: normalised(name, documents[name]))  # type: ignore[misc]
        if data is not None:
            found[name] = data
    return found


def _read_documents(documents: Mapping[str, bytes], reading: _Reading) -> Job | None:
    """A job without rows from its files; None if its sheet cannot be read."""
    if "job.toml" not in documents:
        raise bad_input("job.toml", "the job sheet is missing", "A job needs job.toml; `satdiag new` makes one.")
    kept = _normalised_documents(documents, reading)
    texts = {name: kept[name].decode() for name in kept if name == "job.toml" or name.endswith(".csv")}
    sheet = reading.part(lambda: parse_sheet(texts["job.toml"])) if "job.toml" in texts else None
    lineup = reading.part(lambda: parse_lineup(texts["lineup.csv"])) if "lineup.csv" in texts else None
    horizon = reading.part(lambda: parse_horizon(texts["horizon.csv"])) if "horizon.csv" in texts else None
    obstacles = reading.part(lambda: parse_obstacles(texts["obstacles.csv"])) if "obstacles.csv" in texts else None
    if RING in kept:
        reading.part(lambda: parse_ring(kept[RING].decode()))
    if FEEDLINE in kept:
        reading.part(lambda: parse_touchstone(kept[FEEDLINE], FEEDLINE))
    if sheet is None:
        return None
    reading.part(lambda: _check_package(sheet, lineup, texts["job.toml"]))
    return Job(sheet, HEADER, (), MappingProxyType(kept), lineup, horizon, obstacles)


def document_problems(documents: Mapping[str, bytes]) -> list[Problem]:
    """What is wrong with the files of a job, its observations apart."""
    reading = _Reading()
    reading.part(lambda: _read_documents(documents, reading))
    return reading.problems


def problems_with(
    documents: Mapping[str, bytes], rows: Sequence[Row], lines: Sequence[int], others: Sequence[Problem]
) -> list[Problem]:
    """`others`, for which some rows could not be read, and what is wrong with the other rows and with the files."""
    reading = _Reading()
    job = reading.part(lambda: _read_documents(documents, reading))
    found = sorted([*others, *_of_some_rows(job, rows, lines)], key=lambda problem: problem.line or 0)
    return [*found, *reading.problems]


def _of_some_rows(job: Job | None, rows: Sequence[Row], lines: Sequence[int]) -> list[Problem]:
    """What is wrong with rows, whatever those say that are not among them, and the sheet if it cannot be read."""
    if job is None:
        return check_some_rows(OBSERVATIONS, rows, lines, UTC, {row.value for row in rows})
    return check_some_rows(OBSERVATIONS, rows, lines, job.sheet.naive_times, {site.name for site in job.sheet.sites})


def build_job(
    documents: Mapping[str, bytes],
    rows: Sequence[Row],
    header: str = HEADER,
    lines: Sequence[int] | None = None,
) -> Job:
    """A checked job from its files and its rows.

    `documents` must hold job.toml; `lines` are the line numbers of the rows, for messages. Raises BadInput with
    everything that is wrong in any of the files.
    """
    reading = _Reading()
    job = _read_documents(documents, reading)
    sites = {site.name for site in job.sheet.sites} if job is not None else set()
    if isinstance(rows, ColumnRows) and job is not None and _is_plain(rows, job, header, sites):
        if reading.problems:
            raise BadInput(reading.problems)
        return replace(job, header=header, rows=rows)
    rows = tuple(rows)
    numbers = lines if lines is not None else line_numbers(rows)
    reading.part(lambda: _check_shape(header, rows, numbers))
    if job is not None:
        reading.problems += check_rows(OBSERVATIONS, rows, numbers, job.sheet.naive_times, sites)
    else:
        reading.problems += _of_some_rows(job, rows, numbers)
    if job is None or reading.problems:
        raise BadInput(reading.problems)
    return replace(job, header=header, rows=rows)


def _is_plain(rows: ColumnRows, job: Job, header: str, sites: Collection[str]) -> bool:
    """True if nothing is wrong with rows by column. False: something may be; only a look at each row can say what."""
    try:
        columns = columns_of(header)
    except BadInput:
        return False
    if not set(rows.used_columns()) <= set(columns) or not all(_says(rows[at], columns) for at in rows.raw):
        return False
    return is_sound(rows, job.sheet.naive_times, sites)


def line_numbers(rows: Sequence[Row]) -> list[int]:
    """The line of observations.csv at which each row starts; a note may run over several."""
    heights = (1 + sum(text.count("\n") for text in row[:11] if text) for row in rows)
    return list(accumulate(heights, initial=2))[:-1]


def columns_of(header: str) -> list[str]:
    """The column names of a header line as written. Raises BadInput if they are not those of the log."""
    first = next(records(header, OBSERVATIONS), None)
    columns = first.fields if first and first.raw == header else []
    header_problems(OBSERVATIONS, columns, REQUIRED_COLUMNS, OPTIONAL_COLUMNS)
    return columns


def _check_shape(header: str, rows: Sequence[Row], numbers: Sequence[int]) -> None:
    """The header holds every column that the rows use, and what a row was read from says what the row says."""
    columns = columns_of(header)
    left_out = [column for column in extra_columns(rows) if column not in columns]
    if left_out:
        raise bad_input(OBSERVATIONS, f"the rows use the column '{left_out[0]}'", "Name it in the header.", 1)
    for row, line in zip(rows, numbers, strict=True):
        if row.raw is not None and not _says(row, columns):
            what = f"the row as written, {quoted(row.raw)}, differs from the row as read"
            raise bad_input(OBSERVATIONS, what, "Leave `raw` out.", line)


def _says(row: Row, columns: Sequence[str]) -> bool:
    found = list(records(row.raw or "", OBSERVATIONS))
    return len(found) == 1 and found[0].raw == row.raw and found[0].fields == [getattr(row, name) for name in columns]


def _check_package(sheet: Sheet, lineup: tuple[LineUpChannel, ...] | None, text: str) -> None:
    if not sheet.package or lineup is None:
        return
    held = set().union(*(channel.packages for channel in lineup)) - {"open"}
    if sheet.package not in held:
        raise bad_input(
            "job.toml",
            f"no line of lineup.csv holds the package {quoted(sheet.package)}",
            f"Packages there: {shown(', '.join(sorted(held)), 400) or 'none'}. Mend one of the two files.",
            line_of_key(text, "service", "package"),
            "package",
        )


def extra_columns(rows: Sequence[Row]) -> tuple[str, ...]:
    """The optional columns that the rows need."""
    if isinstance(rows, ColumnRows):
        return rows.used_columns()
    return tuple(column for column in OPTIONAL_COLUMNS if any(getattr(row, column) for row in rows))


def with_columns(job: Job, optional: Collection[str]) -> Job:
    """The job with these optional columns in its header besides its own, and blank fields in the rows as written."""
    old = columns_of(job.header)
    columns = [*REQUIRED_COLUMNS, *(name for name in OPTIONAL_COLUMNS if name in old or name in optional)]
    if columns == old:
        return job

    def widened(raw: str, others: Callable[[str], str]) -> str:
        written = dict(zip(old, raw_fields(raw), strict=True))
        return ",".join(written.get(name, others(name)) for name in columns)

    header = widened(job.header, lambda name: name)
    if isinstance(job.rows, ColumnRows):
        raw = {at: widened(text, lambda _: "") for at, text in job.rows.raw.items()}
        return replace(job, header=header, rows=replace(job.rows, raw=raw, whole=None))
    rows = (row if row.raw is None else row._replace(raw=widened(row.raw, lambda _: "")) for row in job.rows)
    return replace(job, header=header, rows=tuple(rows))


def with_rows(job: Job, new: Sequence[Row]) -> Job:
    """The job with rows added at its end; the header gains the optional columns that they need. Raises BadInput."""
    wide = with_columns(job, extra_columns(new))
    count = len(wide.rows)
    fresh = tuple(row._replace(raw=None) for row in new)
    sites = {site.name for site in job.sheet.sites}
    if isinstance(wide.rows, ColumnRows) and (added := columns_of_rows(fresh)) is not None:
        whole = wide.rows.followed_by(added)
        if is_sound(whole, job.sheet.naive_times, sites):
            return replace(wide, rows=whole)
    rows = (*wide.rows, *fresh)
    lines = line_numbers(rows)
    problems = check_rows(OBSERVATIONS, rows, lines, job.sheet.naive_times, sites, sound=count)
    if problems:
        raise BadInput([_of_new_row(problem, lines[count] if new else 0) for problem in problems])
    return replace(wide, rows=rows)


def _of_new_row(problem: Problem, first: int) -> Problem:
    """A problem of a row that is in no file yet names no line."""
    is_new = problem.file == OBSERVATIONS and problem.line is not None and problem.line >= first
    return replace(problem, file="the new row", line=None) if is_new else problem


def observations_text(job: Job) -> str:
    """observations.csv of a job: each row as it was written, LF line ends."""
    return observations_bytes(job).decode()


def observations_bytes(job: Job) -> bytes:
    """observations.csv of a job, as `observations_text`, in UTF-8."""
    columns = columns_of(job.header)
    if isinstance(job.rows, ColumnRows) and job.rows.whole is not None:
        return job.rows.whole
    if isinstance(job.rows, ColumnRows):
        return b"".join([f"{job.header}\n".encode(), *lines_of(job.rows, columns)])
    lines = [job.header]
    for row in job.rows:
        lines.append(row.raw if row.raw is not None else csv_line([getattr(row, name) for name in columns]))
    return ("\n".join(lines) + "\n").encode()
