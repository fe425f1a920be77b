"""The analysis in a process of its own, which waits for a processor more willingly than others.

In the process that records and serves, an analysis would take turns with every tap, as one Python computes one thing
at a time. Here the two share nothing but a pair of pipes. If the process dies, its next analysis starts another one.
Each message is a pickle behind its length (8 bytes, big endian); both ends are this program.
"""

from __future__ import annotations

import os
import pickle
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from contextlib import suppress
from itertools import count
from pathlib import Path
from typing import IO, Any

from satdiag.errors import SatdiagError
from satdiag.language import Language
from satdiag.live.bench import Bench, Ended, Failed, Looked, View
from satdiag.live.making import gentle
from satdiag.live.papers import GENTLE

END_S = 5.0


class Apart:
    """A `Bench` in a process of its own, which is started when it is needed first."""

    def __init__(self, place: Path) -> None:
        self._place = place.absolute()
        self._lock, self._numbers = threading.Lock(), count(1)
        self._waiting: dict[int, Future[Any]] = {}
        self._process: subprocess.Popen[bytes] | None = None
        self._reader: threading.Thread | None = None
        self._is_over = False

    @property
    def process(self) -> int | None:
        """The id of the process, once there is one."""
        return None if self._process is None else self._process.pid

    def warm(self) -> None:
        """See `bench.Working`: starts the process."""
        self._asked("warm")

    def look(self, number: int, languages: Sequence[Language]) -> Looked:
        """See `bench.Working`."""
        looked: Looked = self._asked("look", number, [*languages])
        return looked

    def view(self, name: str, language: Language) -> View:
        """See `bench.Working`. Nothing is told while no process has looked."""
        if self._process is None:
            return View(0, {})
        view: View = self._asked("view", name, language)
        return view

    def stop(self) -> None:
        """End the process: at return it reads the job file no more."""
        with self._lock:
            self._is_over = True
            process, reader = self._process, self._reader
        if process is not None:
            process.kill()
            process.wait(END_S)
        if reader is not None:
            reader.join(END_S)

    def _asked(self, *words: Any) -> Any:
        """What the process answers. Raises SatdiagError, Failed."""
        answer: Future[Any] = Future()
        with self._lock:
            if self._is_over:
                raise Ended
            process, number = self._running(), next(self._numbers)
            self._waiting[number] = answer
            assert process.stdin is not None
            with suppress(OSError):  # it has ended: the reader tells it to whoever waits
                send(process.stdin, (number, words))
        return answer.result()

    def _running(self) -> subprocess.Popen[bytes]:
        """The process; another one if there is none, or none any more."""
        if self._reader is not None and self._reader.is_alive() and self._process is not None:
            return self._process
        process = subprocess.Popen(
            [*command(), str(self._place)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            creationflags=gentle(),
        )
        self._process = process
        self._reader = threading.Thread(target=self._read, args=(process,), name="analysis apart", daemon=True)
        self._reader.start()
        return process

    def _read(self, process: subprocess.Popen[bytes]) -> None:
        """Hand over answers until the process ends."""
        assert process.stdout is not None
        with process.stdout, suppress(EOFError, OSError, pickle.UnpicklingError):
            while True:
                number, found, trouble = receive(process.stdout)
                answer = self._waiting.pop(number)
                if trouble is None:
                    answer.set_result(found)
                else:
                    name, text = trouble
                    answer.set_exception(Failed(name, text) if name else SatdiagError(text))
        process.kill()
        process.wait()
        with self._lock:
            left, self._waiting = self._waiting, {}
            with suppress(OSError):
                process.stdin.close() if process.stdin is not None else None
        for answer in left.values():
            answer.set_exception(Ended())


def send(to: IO[bytes], what: Any) -> None:
    """Write one message."""
    data = pickle.dumps(what, protocol=pickle.HIGHEST_PROTOCOL)
    to.write(len(data).to_bytes(8, "big") + data)
    to.flush()


def receive(out: IO[bytes]) -> Any:
    """Read one message. Raises EOFError at the end."""
    head = out.read(8)
    data = out.read(int.from_bytes(head, "big")) if len(head) == 8 else b""
    if not data:
        raise EOFError
    return pickle.loads(data)


# --- the process ----------------------------------------------------------------------------------------------------


def command() -> list[str]:
    """How the process is started: with the satdiag that runs, and with nothing of the folder it happens to run in."""
    root = str(Path(__file__).resolve().parents[2])
    begin = "import sys; sys.path.append(sys.argv[1]); from satdiag.live.apart import answer; answer(sys.argv[2])"
    return [sys.executable, "-P", "-c", begin, root]


def answer(place: str) -> None:
    """The process: answers until its input ends. Views are told while an analysis goes on."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # a Ctrl-C is for the one that records; this one ends with it
    if sys.platform != "win32":
        os.nice(GENTLE)
    out, lock, bench = os.fdopen(os.dup(1), "wb"), threading.Lock(), Bench(Path(place))
    os.dup2(2, 1)  # what a library prints does not come between

    def do(number: int, words: Sequence[Any]) -> None:
        found, trouble = _done(bench, *words)
        with lock, suppress(OSError):
            send(out, (number, found, trouble))

    with suppress(EOFError):
        while True:
            number, words = receive(sys.stdin.buffer)
            threading.Thread(target=do, args=(number, words), daemon=True).start()
    os._exit(0)  # nobody waits for an analysis that is under way


def _done(bench: Bench, what: str, *words: Any) -> tuple[Any, tuple[str, str] | None]:
    """What was asked for, or what is wrong: the class of an error of our own, blank for others, and its text."""
    ways: dict[str, Callable[..., Any]] = {"warm": bench.warm, "look": bench.look, "view": bench.view}
    try:
        return ways[what](*words), None
    except SatdiagError as error:
        return None, ("", str(error))
    except Exception as error:  # noqa: BLE001 (it must be told, not only end)
        return None, (type(error).__name__, str(error))
