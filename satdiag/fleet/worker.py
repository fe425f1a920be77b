"""One process of a crew: what it does, and how it is held. It is given jobs by a pipe; it may be ended any time."""

from __future__ import annotations

import multiprocessing
import multiprocessing.process
import os
import signal
import sys
import threading
import time
from collections import deque
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from satdiag.fleet import task
from satdiag.fleet.task import Outcome, Request, Setting, analysis_version, failed

if TYPE_CHECKING:
    from multiprocessing.context import BaseContext

END_S = 10.0
"""So long a process that has nothing to do may take to end."""

KILL_S = 2.0
"""So long the system may take to end it."""

OUT_OF_MEMORY_FIRST = "1000"
"""The highest value of oom_score_adj (proc(5) of Linux): where memory runs out, a worker is ended first."""


class Worker:
    """A process and the jobs that it was given, the one under way first.

    `begun_s`: since when that is under way, by the monotonic clock; `is_ready` once it has started; `done` counts the
    jobs that it has finished.
    """

    def __init__(self, context: BaseContext) -> None:
        self.pipe, theirs = context.Pipe()
        made: Any = context
        self.process = made.Process(target=work, args=(theirs,), daemon=True)
        self.process.start()
        theirs.close()
        self.jobs: deque[Request] = deque()
        self.begun_s = 0.0
        self.is_ready = False
        self.done = 0
        self._setting = Setting()

    def give(self, request: Request) -> None:
        """Hand a job over. One that the process is not there to take is found when it is heard next."""
        setting = None if request.setting == self._setting else request.setting
        if not self.jobs:
            self.begun_s = time.monotonic()
        self.jobs.append(request)
        with suppress(OSError):
            self.pipe.send((request.path, request.bytes, setting))
        self._setting = request.setting

    def hear(self) -> tuple[Request, Outcome] | None:
        """What it says: a job and what became of it, or None where it has only just started.

        Call it only when there is something to hear. Raises EOFError, OSError where it is dead.
        """
        told: Outcome | None = self.pipe.recv()
        self.begun_s = time.monotonic()
        if told is None:
            self.is_ready = True
            return None
        self.done += 1
        return self.jobs.popleft(), told

    def kill(self) -> None:
        """End it at once, whatever it is at. One that waits for a disk that is gone may not end: it is left alone."""
        self.pipe.close()
        self.process.kill()
        self.process.join(KILL_S)
        if self.process.exitcode is None:
            children: set[Any] = getattr(multiprocessing.process, "_children", set())
            children.discard(self.process)  # else this program would wait for it at its own end

    def dismiss(self) -> None:
        """Let it end; it has nothing to do."""
        self.pipe.close()

    def see_off(self) -> None:
        """Wait until it has ended after `dismiss`, not for ever."""
        self.process.join(END_S)
        if self.process.exitcode is None:
            self.kill()


def work(pipe: Any) -> None:
    """Take jobs one after the other and say what became of them, until nobody is at the other end."""
    _begin()
    import satdiag.fleet.ready  # noqa: F401

    setting = Setting()
    with suppress(EOFError, OSError):
        pipe.send(None)
        while True:
            path, digest, changed = pipe.recv()
            setting = setting if changed is None else changed
            request = Request(path, digest, setting)
            _say(pipe, request, task.analyse_one(request))


def _say(pipe: Any, request: Request, outcome: Outcome) -> None:
    try:
        pipe.send(outcome)
    except OSError:
        raise
    except Exception as error:  # noqa: BLE001 (an outcome that cannot be brought over is one more error of a job)
        what = f"internal error ({type(error).__name__})"
        pipe.send(failed(request, analysis_version(request.setting), what))


def _begin() -> None:
    """Leave Ctrl-C to the process that started this one, end when that one ends, and be the first to go."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if sys.platform == "linux":
        with suppress(OSError):
            Path("/proc/self/oom_score_adj").write_text(OUT_OF_MEMORY_FIRST, "ascii")
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent,), daemon=True).start()


def _end_with(parent: Any) -> None:
    parent.join()
    os._exit(1)
