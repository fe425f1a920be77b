"""Who does the work: the form that processes of this computer and a Dask cluster share."""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import NamedTuple

from satdiag.fleet.task import Outcome, Request

AHEAD = 4
"""Jobs handed out at a time for each worker: enough that none waits, few enough that memory does not grow."""

DIED = "the process that analysed it ended: killed, or out of memory (it was tried twice)"


MOST_MINUTES = 30.0
"""So long a job may take, if not said otherwise: a hundred times as long as a log of a month of recording takes."""


def took_too_long(most_s: float) -> str:
    """The error of a job that took longer than it may."""
    minutes = most_s / 60.0
    said = f"{minutes:g} minutes" if minutes != 1.0 else "1 minute"
    return f"took longer than {said} and was given up; --most-minutes says how long a job may take"


class Finished(NamedTuple):
    """A request and what became of it."""

    request: Request
    outcome: Outcome


class Crew(ABC):
    """Workers that take requests and give outcomes back, in any order. Use it with `with`."""

    @property
    @abstractmethod
    def most(self) -> int:
        """How many requests may be with the workers at a time."""

    @property
    @abstractmethod
    def in_flight(self) -> int:
        """How many requests are with the workers."""

    @abstractmethod
    def submit(self, request: Request) -> None:
        """Hand out a request."""

    @abstractmethod
    def collect(self, wait_s: float) -> list[Finished]:
        """What has been finished, waiting so long for the first. Raises SatdiagError if nobody works any more."""

    @abstractmethod
    def close(self, drop: bool) -> None:
        """Let the workers go; with `drop` what they are at is given up."""

    def __enter__(self) -> Crew:
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        self.close(drop=kind is not None or self.in_flight > 0)
