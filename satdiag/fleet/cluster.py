"""A crew on a Dask cluster that somebody else started. Its workers must see the jobs under the same paths."""

from __future__ import annotations

import math
import queue
import time
import uuid
from collections.abc import Mapping
from contextlib import suppress
from typing import Any, NamedTuple

from satdiag.errors import SatdiagError
from satdiag.fleet.crew import AHEAD, DIED, Crew, Finished, took_too_long
from satdiag.fleet.task import Outcome, Request, Setting, analyse_one, analysis_version, failed
from satdiag.handover.extras import needed

CONNECT_S = 15.0
GONE_S = 60.0
"""So long nothing comes and no worker is there, or no scheduler: then the run stops."""

LOOK_S = 5.0
KEPT = "What was written stays; run the same command again to go on."


RESTART_S = 30.0
"""So long a worker may take to come back after it was ended."""


class Made(NamedTuple):
    """What a worker analyses with: it has to be alike everywhere."""

    satdiag: str
    python: str
    numpy: str


def made_with(setting: Setting) -> Made:
    """What this process analyses with."""
    import platform

    import numpy

    return Made(analysis_version(setting), ".".join(platform.python_version_tuple()[:2]), numpy.__version__)


def analyse_there(request: Request, topic: str, name: str) -> Outcome:
    """On a worker: tell that this job begins, and analyse it. What has to be imported first is not the job's time."""
    import satdiag.fleet.ready  # noqa: F401

    dask: Any = needed("distributed", "fleet", "A run on a Dask cluster")
    worker = dask.get_worker()
    worker.log_event(topic, {"name": name, "worker": worker.address})
    return analyse_one(request)


class ClusterCrew(Crew):
    """The workers of a Dask cluster. Dask itself hands the jobs of a lost worker to another one.

    It gives up those with which several workers were lost, one after the other; as others may only have been there at
    the same time, each of them is tried once more with nothing beside it. A job that takes too long is given up, and
    its worker is started anew where it has a nanny; without one nothing but itself can end what it is at.
    """

    def __init__(self, address: str, setting: Setting, most_s: float = math.inf) -> None:
        """`most_s`: so long a job may take. `client` is that of Dask.

        Raises MissingPart without the extra, SatdiagError for a cluster that is not there or of other versions.
        """
        self._dask: Any = needed("distributed", "fleet", "A run on a Dask cluster")
        self._address = address
        self._futures: dict[str, tuple[Any, Request]] = {}
        self._done: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._again: list[Request] = []
        self._is_alone = False
        self._number = 0
        self._most_s = most_s
        self._topic = f"satdiag-{uuid.uuid4().hex}"
        self._begun: dict[str, tuple[float, str]] = {}
        self._alone_since: float | None = None
        self.client = _connected(self._dask, address)
        try:
            self._check(setting)
            self._threads = self._count()
            self.client.subscribe_topic(self._topic, self._has_begun)
        except BaseException:
            self.client.close()
            raise
        self._looked = time.monotonic()

    def _check(self, setting: Setting) -> None:
        try:
            self.client.wait_for_workers(1, timeout=CONNECT_S)
            theirs: Mapping[str, Any] = self.client.run(made_with, setting, on_error="return")
        except TimeoutError:
            raise SatdiagError(
                f"{self._address}: this cluster has no workers. Start one, then run this again."
            ) from None
        ours = made_with(setting)
        for worker, made in sorted(theirs.items()):
            if isinstance(made, BaseException):
                mend = 'Install the same satdiag there: pip install "satdiag[fleet]".'
                raise SatdiagError(f"{worker}: this worker cannot analyse ({made}). {mend}")
            if tuple(made) != tuple(ours):
                raise SatdiagError(_unlike(worker, Made(*made), ours))

    def _count(self) -> int:
        return sum(self.client.nthreads().values())

    @property
    def most(self) -> int:
        return AHEAD * max(self._threads, 1)

    @property
    def in_flight(self) -> int:
        """As many as there may be, while jobs with which workers were lost are tried with nothing beside them."""
        count = len(self._futures) + len(self._again)
        return max(count, self.most) if self._again or self._is_alone else count

    def submit(self, request: Request) -> None:
        self._number += 1
        name = f"satdiag-{request.bytes[:16]}-{self._number}"
        future = self.client.submit(analyse_there, request, self._topic, name, key=name, pure=False)
        self._futures[name] = (future, request)
        future.add_done_callback(lambda done: self._done.put(done.key))

    def collect(self, wait_s: float) -> list[Finished]:
        found: list[Finished] = []
        moved = False
        try:
            name = self._done.get(timeout=wait_s) if wait_s > 0.0 else self._done.get_nowait()
            while True:
                moved = True
                found += self._finished(name)
                name = self._done.get_nowait()
        except queue.Empty:
            found += self._look(moved)
        if self._again and not self._futures:
            self._is_alone = True
            self.submit(self._again.pop())
        return found

    def _finished(self, name: str) -> list[Finished]:
        """What came of a job; nothing yet where workers were lost with it among others: it is tried once more."""
        if name not in self._futures:
            return []  # given up before
        future, request = self._futures.pop(name)
        self._begun.pop(name, None)
        was_alone, self._is_alone = self._is_alone, False
        try:
            outcome: Outcome = future.result(timeout=GONE_S)
        except self._dask.KilledWorker:
            if not was_alone:
                self._again.append(request)
                return []
            outcome = failed(request, analysis_version(request.setting), DIED)
        except (self._dask.CancelledError, TimeoutError, OSError, ImportError) as error:
            raise self._lost(f"the work was called off ({type(error).__name__}: {error})") from None
        finally:
            future.release()
        return [Finished(request, outcome)]

    def _has_begun(self, event: tuple[float, Mapping[str, str]]) -> None:
        """A worker has begun a job: heard in a thread of the client's."""
        self._begun[event[1]["name"]] = (time.monotonic(), event[1]["worker"])

    def _overdue(self) -> list[Finished]:
        """Give up the jobs that take too long, and have their workers started anew."""
        now = time.monotonic()
        late = [name for name, (begun_s, _) in list(self._begun.items()) if now - begun_s >= self._most_s]
        if not late:
            return []
        under_way: Mapping[str, Any] = self.client.processing()
        found, workers, why = [], set(), took_too_long(self._most_s)
        for name in late:
            worker = self._begun[name][1]
            if name not in self._futures or name not in under_way.get(worker, ()):
                self._begun.pop(name)  # finished by now, or it begins anew elsewhere and tells so
                continue
            future, request = self._futures.pop(name)
            self._begun.pop(name)
            self._is_alone = False
            future.cancel()
            workers.add(worker)
            found.append(Finished(request, failed(request, analysis_version(request.setting), why)))
        if workers:
            with suppress(ValueError, TimeoutError, OSError):  # without a nanny the worker stays at it
                self.client.restart_workers(sorted(workers), timeout=RESTART_S, raise_for_error=False)
        return found

    def _look(self, moved: bool) -> list[Finished]:
        """See now and then who is there and what takes too long. Raises SatdiagError where nobody is for a while."""
        now = time.monotonic()
        if moved:
            self._alone_since = None
        if now - self._looked < LOOK_S:
            return []
        self._looked = now
        with suppress(TimeoutError, OSError):
            self._threads = self._count() if self.client.status == "running" else 0
        if self._threads > 0 or moved:
            self._alone_since = None
        elif self._alone_since is None:
            self._alone_since = now
        elif now - self._alone_since >= GONE_S:
            raise self._lost("its workers or its scheduler are gone")
        return self._overdue() if self._threads > 0 else []

    def _lost(self, why: str) -> SatdiagError:
        return SatdiagError(f"{self._address}: {why}. {KEPT}")

    def close(self, drop: bool) -> None:
        with suppress(TimeoutError, OSError):
            if drop and self.client.status == "running":
                self.client.cancel([future for future, _ in self._futures.values()])
            self.client.close(timeout=LOOK_S)
        self._futures = {}


def _connected(dask: Any, address: str) -> Any:
    try:
        return dask.Client(address, timeout=CONNECT_S, set_as_default=False)
    except (OSError, TimeoutError, ValueError) as error:
        why = " ".join(str(error).split())[:200] or type(error).__name__
        mend = "Give the address that the scheduler prints when it starts, such as tcp://HOST:8786."
        raise SatdiagError(f"{address}: no Dask scheduler answers there ({why}). {mend}") from None


def _unlike(worker: str, theirs: Made, ours: Made) -> str:
    said = "; ".join(
        f"{what} {their} there, {our} here"
        for what, their, our in zip(Made._fields, theirs, ours, strict=True)
        if their != our
    )
    return f"{worker}: this worker would not give the same results: {said}. Bring both to the same versions."
