"""One run of a fleet: jobs found, handed out, written; bounded in memory, and gone on with where it stopped."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

from satdiag.errors import SatdiagError
from satdiag.fleet.crew import Crew, Finished
from satdiag.fleet.known import Known
from satdiag.fleet.moved import rows_of_former_places
from satdiag.fleet.sources import Source, sources_in
from satdiag.fleet.task import Request, Setting, analysis_version, sayable
from satdiag.fleet.writing import Writing, refuse_other_content, sweep, tidy
from satdiag.store.lock import locked

WAIT_S = 0.25
"""So long at most until progress is told and a stop is seen."""

SHOWN_BAD = 20


class BadJob(NamedTuple):
    """A job that could not be analysed, for the summary."""

    source: str
    error: str


@dataclass
class Tally:
    """What became of the jobs so far. `same`: their bytes are those of another job; `bad_before`: and unchanged.

    `empty`: names without a job; `shut`: folders that may not be looked into, so that jobs in them are missed.
    """

    found: int = 0
    done: int = 0
    bad: int = 0
    skipped: int = 0
    same: int = 0
    bad_before: int = 0
    stopped: bool = False
    seconds: float = 0.0
    first_bad: list[BadJob] = field(default_factory=list)
    empty: list[str] = field(default_factory=list)
    shut: list[str] = field(default_factory=list)

    @property
    def jobs_per_s(self) -> float:
        """Jobs analysed in a second, bad ones included."""
        return (self.done + self.bad) / self.seconds if self.seconds > 0.0 else 0.0


@dataclass(frozen=True)
class Wishes:
    """`reread`: look at the bytes of every job; `retry`: bad jobs again; `stops`: asked now and then."""

    reread: bool = False
    retry: bool = False
    stops: Callable[[], bool] = lambda: False
    tell: Callable[[Tally], None] = lambda tally: None


def run_fleet(
    named: Iterable[str],
    directory: Path,
    make_crew: Callable[[], Crew],
    setting: Setting | None = None,
    wishes: Wishes | None = None,
) -> Tally:
    """Analyse the jobs in these files and folders and write the data set; jobs that are in it already are passed by.

    `make_crew` is called when the data set is locked and could be read. Raises SatdiagError where nothing can be done
    or the workers are gone; what was done is written then, too. A job that cannot be analysed is a row, no error.
    """
    setting, wishes = setting or Setting(), wishes or Wishes()
    refuse_other_content(directory)
    was_there = directory.is_dir()
    try:
        directory.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise SatdiagError(f"{directory}: cannot be made ({error.strerror}). Name another folder.") from None
    try:
        with locked(directory / "fleet", "analysing a fleet"):
            sweep(directory)
            known = Known(directory, analysis_version(setting), wishes.reread, wishes.retry)
            with make_crew() as crew:
                return _Run(directory, known, crew, setting, wishes).all(named)
    finally:
        if not was_there:
            with suppress(OSError):  # it stays where anything was written
                directory.rmdir()


class _Run:
    """The state of a run; `all` is its loop."""

    def __init__(self, directory: Path, known: Known, crew: Crew, setting: Setting, wishes: Wishes) -> None:
        self._directory, self._known, self._crew, self._setting, self._wishes = (
            directory,
            known,
            crew,
            setting,
            wishes,
        )
        self._writing = Writing(directory, known.newest)
        self._under_way: dict[str, Source] = {}
        self._new_places: set[str] = set()
        self._tally = Tally()
        self._begun_s = time.monotonic()

    def all(self, named: Iterable[str]) -> Tally:
        try:
            for source in sources_in(named, self._tally.empty.append, self._tally.shut.append):
                if self._wishes.stops():
                    break
                self._tally.found += 1
                self._take(source)
                self._gather(0.0)
            while self._crew.in_flight and not self._wishes.stops():
                self._gather(WAIT_S)
        finally:
            self._writing.flush()
        self._leave_former_places()
        self._tally.stopped = self._wishes.stops()
        self._told()
        if not self._tally.stopped:
            tidy(self._directory, self._writing.run)
        return self._tally

    def _leave_former_places(self) -> None:
        """Let the rows of jobs that were moved and have grown no longer count."""
        for month, row in rows_of_former_places(self._directory, self._new_places):
            self._writing.add_as_it_is(month, row)
        self._writing.flush()

    def _take(self, source: Source) -> None:
        """Hand a job out if there is something to do about it."""
        decision = self._known.decide(source)
        if decision.answer == "work":
            if self._known.is_new(source):
                self._new_places.add(source.place)
            freed = self._known.begin(source, decision.digest)
            self._hand_out(source, decision.digest)
            if freed is not None:
                self._tally.same -= 1
                self._take(freed)
        elif decision.answer == "same":
            self._tally.same += 1
        elif decision.answer == "bad":
            self._tally.bad_before += 1
        else:
            self._tally.skipped += 1

    def _hand_out(self, source: Source, digest: str) -> None:
        while self._crew.in_flight >= self._crew.most:
            if self._wishes.stops():
                return
            self._gather(WAIT_S)
        path = os.path.abspath(source.path)  # a worker elsewhere does not stand in this folder
        self._under_way[path] = source
        self._crew.submit(Request(path, digest, self._setting))

    def _gather(self, wait_s: float) -> None:
        """Take what is finished, write if enough waits, and tell."""
        for one in self._crew.collect(wait_s):
            self._finished(one)
        if self._writing.is_due:
            self._writing.flush()
        self._told()

    def _finished(self, one: Finished) -> None:
        source = self._under_way.pop(one.request.path)
        theirs, ours = one.outcome.analysis, analysis_version(self._setting)
        if theirs != ours:
            what = f"a worker analyses as {theirs}, this run as {ours}: satdiag was changed, or a worker came later"
            raise SatdiagError(f"{source.path}: {what}. What was written stays; run the same command again to go on.")
        self._writing.add(source, one.request.bytes, one.outcome)
        if not one.outcome.is_bad:
            self._tally.done += 1
            return
        self._tally.bad += 1
        self._known.is_bad(one.request.bytes)
        if len(self._tally.first_bad) < SHOWN_BAD:
            self._tally.first_bad.append(BadJob(sayable(source.path), _said(one)))

    def _told(self) -> None:
        self._tally.seconds = time.monotonic() - self._begun_s
        self._wishes.tell(self._tally)


def _said(one: Finished) -> str:
    row = one.outcome.job
    where = [row["error_file"], row["error_line"] and f"line {row['error_line']}"]
    told = ", ".join(part for part in where if part)
    return f"{told}: {row['error']}" if told else str(row["error"])
