"""A crew of processes on this computer, each with a pipe of its own: whoever dies or hangs, its job is known."""

from __future__ import annotations

import math
import multiprocessing
import os
import sys
import time
from collections import deque
from multiprocessing.connection import wait
from typing import TYPE_CHECKING, Any

from satdiag.errors import SatdiagError
from satdiag.fleet.crew import AHEAD, DIED, Crew, Finished, took_too_long
from satdiag.fleet.task import NO_MEMORY, Request, analysis_version, failed
from satdiag.fleet.worker import Worker

if TYPE_CHECKING:
    from multiprocessing.context import BaseContext

LIFE = 400
"""Jobs that a process does before a new one takes its place, so that nothing grows with the length of a run."""

MOST_WORKERS = 61 if os.name == "nt" else 1024
"""Windows waits for no more handles at once (documentation of concurrent.futures.ProcessPoolExecutor)."""

MOST_LOST_AT_START = 5
"""So many processes in a row that end before they have begun: then none ever will."""

DEEP = 2
"""Jobs with a process at a time: the next is there when it has finished one, however busy this process is."""

ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
"""Each process computes on one core: the libraries below numpy would else take all of them, each."""


class ProcessCrew(Crew):
    """Processes that are started afresh. One that dies, or is ended for taking too long, takes no other job with it.

    A job with which a process died is tried once more, with nothing beside it: another may have taken the memory.
    """

    def __init__(self, workers: int, most_s: float = math.inf) -> None:
        """`most_s`: so long a job may take."""
        self._most_workers = max(1, min(workers, MOST_WORKERS))
        self._most_s = most_s
        self._context = get_ready()
        self._workers: list[Worker] = []
        self._waiting: deque[Request] = deque()
        self._again: deque[Request] = deque()
        self._alone: Request | None = None
        self._lost_at_start = 0

    @property
    def most(self) -> int:
        return AHEAD * self._most_workers

    @property
    def in_flight(self) -> int:
        return len(self._waiting) + len(self._again) + sum(len(worker.jobs) for worker in self._workers)

    def submit(self, request: Request) -> None:
        self._waiting.append(request)
        self._hand_on()

    def collect(self, wait_s: float) -> list[Finished]:
        found: list[Finished] = []
        pipes = {worker.pipe: worker for worker in self._workers}
        heard: Any = wait(pipes, self._patience(wait_s)) if pipes else ()
        for pipe in heard:
            found += self._heard(pipes[pipe])
        found += self._overdue()
        self._hand_on()
        return found

    def _patience(self, wait_s: float) -> float:
        """How long to wait: no longer than until a job has taken too long."""
        now = time.monotonic()
        left = [one.begun_s + self._most_s - now for one in self._workers if one.is_ready and one.jobs]
        return max(0.0, min([wait_s, *left]))

    # --- what comes of jobs -----------------------------------------------------------------------------------

    def _heard(self, worker: Worker) -> list[Finished]:
        try:
            told = worker.hear()
        except (EOFError, OSError):
            return self._lost(worker)
        self._lost_at_start = 0
        if told is None:
            return []
        request, outcome = told
        if self._alone is request:
            self._alone = None
        if outcome.job.get("error") == NO_MEMORY:
            self._let_go(worker)  # what it holds by now is not given back
        return [Finished(request, outcome)]

    def _lost(self, worker: Worker) -> list[Finished]:
        """A process is dead. Raises SatdiagError where they all die before they have begun."""
        if not worker.is_ready:
            self._lost_at_start += 1
            if self._lost_at_start >= MOST_LOST_AT_START:
                mend = "`satdiag selfcheck` may tell why; what was written stays."
                raise SatdiagError(f"The processes that should analyse the jobs end as soon as they start. {mend}")
        elif worker.jobs:
            request = worker.jobs.popleft()
            self._let_go(worker)
            if self._alone is not request:
                self._again.append(request)
                return []
            self._alone = None
            return [_failed(request, DIED)]
        self._let_go(worker)
        return []

    def _overdue(self) -> list[Finished]:
        """End the processes whose job takes too long."""
        found = []
        now = time.monotonic()
        for worker in list(self._workers):
            if worker.is_ready and worker.jobs and now - worker.begun_s >= self._most_s and not worker.pipe.poll():
                request = worker.jobs.popleft()
                if self._alone is request:
                    self._alone = None
                self._let_go(worker)
                found.append(_failed(request, took_too_long(self._most_s)))
        return found

    def _let_go(self, worker: Worker) -> None:
        """Do without this process; what it has not begun goes to others, the job tried alone to one of its own."""
        worker.kill()
        self._workers.remove(worker)
        while worker.jobs:
            request = worker.jobs.pop()
            if self._alone is request:
                self._alone = None
                self._again.appendleft(request)
            else:
                self._waiting.appendleft(request)

    # --- handing out ------------------------------------------------------------------------------------------

    def _hand_on(self) -> None:
        """Give what waits to who is free; what is to be tried alone first, when nobody is at anything."""
        if self._again and not any(worker.jobs for worker in self._workers):
            self._alone = self._again.popleft()
            worker = self._free()
            if worker is not None:
                worker.give(self._alone)
        if self._again or self._alone is not None:
            return
        while self._waiting and (worker := self._free()) is not None:
            worker.give(self._waiting.popleft())

    def _free(self) -> Worker | None:
        """Who may take a job: one who has none, a new one, or one who is about to end his."""
        for worker in [one for one in self._workers if one.done >= LIFE and not one.jobs]:
            worker.dismiss()
            worker.see_off()
            self._workers.remove(worker)
        least = min(self._workers, key=lambda one: len(one.jobs), default=None)
        if least is not None and not least.jobs:
            return least
        if len(self._workers) < self._most_workers:
            self._workers.append(Worker(self._context))
            return self._workers[-1]
        if least is None or len(self._waiting) <= self._most_workers:
            return None
        able = [one for one in self._workers if len(one.jobs) < DEEP and one.done + len(one.jobs) < LIFE]
        return min(able, key=lambda one: len(one.jobs), default=None)

    def close(self, drop: bool) -> None:
        workers, self._workers = self._workers, []
        self._waiting.clear()
        self._again.clear()
        for worker in workers:
            if drop:
                worker.kill()
            else:
                worker.dismiss()
        for worker in workers:
            worker.see_off()


def _failed(request: Request, why: str) -> Finished:
    return Finished(request, failed(request, analysis_version(request.setting), why))


def get_ready() -> BaseContext:
    """How processes are started here, set going at once: the sooner, the more is imported beside other things.

    On Linux they are forked from a server that has imported all that they need; elsewhere that is not safe (Python's
    documentation of multiprocessing, "Contexts and start methods"), and each imports it for itself.
    """
    for name in ONE_THREAD:
        os.environ.setdefault(name, "1")  # inherited by the processes; this one has loaded its libraries already
    if sys.platform != "linux":
        return multiprocessing.get_context("spawn")
    from multiprocessing import forkserver

    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["satdiag.fleet.ready", "satdiag.fleet.worker"])
    forkserver.ensure_running()
    return context
