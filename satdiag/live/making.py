"""Making papers beside a recording: one at a time, each in a process of its own; what was made is kept in memory.

Kept is the last one of each kind, under an id that nobody can guess, until `satdiag live` ends. Nothing here knows of
HTTP.
"""

from __future__ import annotations

import json
import secrets
import subprocess
import sys
import threading
from collections.abc import Sequence
from contextlib import suppress
from contextvars import copy_context
from dataclasses import dataclass
from pathlib import Path
from time import monotonic, time
from typing import IO, Any

from satdiag.errors import SatdiagError
from satdiag.language import mark, translated
from satdiag.live.papers import Form, Paper, What, Wish, asked_of, command

MOST_BYTES = 50_000_000
"""All papers together; the oldest go first."""

TIME_LIMIT_S = 300.0
END_S = 5.0
_MOST_HEAD = 100_000

BUSY = mark("Another paper is being made. Try again when it is done.")
ENDED = mark("It ended before it was done.")
TOO_LONG = mark("It took longer than {minutes} minutes and was stopped.")
TOO_LARGE = mark("It is larger than {size} MB. Make it on the laptop with satdiag's commands.")


class Busy(SatdiagError):
    """A paper is being made, and only one is made at a time."""


@dataclass(frozen=True)
class Made:
    """A paper that is kept. `at_ms`: when it was made, by this computer's clock, ms since 1970 UTC."""

    id: str
    wish: Wish
    paper: Paper
    at_ms: float

    def to_dict(self) -> dict[str, Any]:
        """What a page is told of it."""
        wish, paper = self.wish, self.paper
        return {
            "id": self.id,
            "name": paper.name,
            "what": wish.what,
            "form": wish.form,
            "language": wish.language,
            "full_id": wish.full_id,
            "rows": paper.rows,
            "at_ms": self.at_ms,
            "bytes": len(paper.data),
        }


class _NotMade(Exception):
    """Why not, as a sentence."""


class Maker:
    """Makes papers of a job file. May be used from any thread. `words`: how the process is started."""

    def __init__(self, place: Path, words: Sequence[str] | None = None, limit_s: float = TIME_LIMIT_S) -> None:
        self._place, self._words, self._limit_s = place, words, limit_s
        self._lock = threading.Lock()
        self._made: dict[tuple[What, Form], Made] = {}
        self._failed: dict[tuple[What, Form], str] = {}
        self._wish: Wish | None = None
        self._since_s = 0.0
        self._thread: threading.Thread | None = None
        self._process: subprocess.Popen[bytes] | None = None
        self._is_over = False

    def begin(self, wish: Wish) -> None:
        """Begin to make a paper. Raises Busy."""
        with self._lock:
            if self._wish is not None or self._is_over:
                raise Busy(translated(BUSY))
            self._wish, self._since_s = wish, monotonic()
            self._failed.pop((wish.what, wish.form), None)
            # A thread begins in English: why a paper was not made is said as its page speaks.
            target, args = copy_context().run, (self._run, wish)
            self._thread = threading.Thread(target=target, args=args, name="paper", daemon=True)
            self._thread.start()

    def told(self) -> dict[str, Any]:
        """What is being made, for how long, what is there, and what could not be made."""
        with self._lock:
            wish = self._wish
            making = wish and {"what": wish.what, "form": wish.form, "for_s": round(monotonic() - self._since_s, 1)}
            failed = [{"what": what, "form": form, "why": why} for (what, form), why in self._failed.items()]
            return {"making": making, "made": [one.to_dict() for one in self._made.values()], "failed": failed}

    def find(self, identifier: str, name: str) -> Made | None:
        """The paper of an id and a file name, or None."""
        with self._lock:
            found = [one for one in self._made.values() if secrets.compare_digest(one.id, _ascii(identifier))]
        return next((one for one in found if one.paper.name == name), None)

    def stop(self) -> None:
        """Make no more, and end what is being made: at return no process of it reads the job file."""
        with self._lock:
            self._is_over = True
            process, thread = self._process, self._thread
        if process is not None:
            _end(process)
        if thread is not None:
            thread.join(2 * END_S)

    # --- one paper --------------------------------------------------------------------------------------------------

    def _run(self, wish: Wish) -> None:
        """On a thread of its own: wait for the process."""
        key = (wish.what, wish.form)
        try:
            paper = self._paper(wish)
        except Exception as error:  # noqa: BLE001 (whatever it is, the next paper can be made)
            with self._lock:
                self._failed[key], self._wish = str(error) or translated(ENDED), None
            return
        with self._lock:
            self._made.pop(key, None)  # the newest stands last
            self._made[key] = Made(secrets.token_urlsafe(24), wish, paper, time() * 1000)
            while sum(len(one.paper.data) for one in self._made.values()) > MOST_BYTES:
                del self._made[next(iter(self._made))]
            self._wish = None

    def _paper(self, wish: Wish) -> Paper:
        """Raises _NotMade, OSError."""
        begun_s = monotonic()
        with subprocess.Popen(
            self._words or command(),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            creationflags=gentle(),
        ) as process:
            timer = threading.Timer(self._limit_s, _end, [process])
            timer.daemon = True
            timer.start()
            try:
                self._let_end(process)
                assert process.stdin is not None
                assert process.stdout is not None
                with suppress(BrokenPipeError), process.stdin:
                    process.stdin.write(asked_of(self._place, wish))
                return _read(process.stdout)
            except _NotMade:
                if monotonic() - begun_s >= self._limit_s:
                    raise _NotMade(translated(TOO_LONG).format(minutes=round(self._limit_s / 60))) from None
                raise
            finally:
                _end(process)
                timer.cancel()
                timer.join()
                self._process = None

    def _let_end(self, process: subprocess.Popen[bytes]) -> None:
        """From now on `stop` ends it. Raises _NotMade if that was called already."""
        with self._lock:
            self._process = process
            if self._is_over:
                raise _NotMade(translated(ENDED))


def gentle() -> int:
    """For a process that may wait for a processor: Windows is told at its start, elsewhere it says so itself."""
    if sys.platform == "win32":
        return subprocess.BELOW_NORMAL_PRIORITY_CLASS
    return 0


def _read(out: IO[bytes]) -> Paper:
    """What the process answers. Raises _NotMade."""
    head, data = out.readline(_MOST_HEAD), out.read(MOST_BYTES + 1)
    try:
        told = json.loads(head)
        if "error" in told:
            raise _NotMade(str(told["error"]))
        name, rows = str(told["name"]), int(told["rows"])
    except (ValueError, KeyError, TypeError):
        raise _NotMade(translated(ENDED)) from None
    if len(data) > MOST_BYTES:
        raise _NotMade(translated(TOO_LARGE).format(size=MOST_BYTES // 1_000_000))
    if not data:
        raise _NotMade(translated(ENDED))
    return Paper(name, rows, data)


def _end(process: subprocess.Popen[bytes]) -> None:
    """End a process that has not ended by itself, and what it has started with it."""
    with suppress(subprocess.TimeoutExpired):
        if process.poll() is None and not _is_done(process):
            process.terminate()
        process.wait(END_S)
        return
    process.kill()
    process.wait(END_S)


def _is_done(process: subprocess.Popen[bytes]) -> bool:
    """True if it ends within a moment: it has written its paper."""
    with suppress(subprocess.TimeoutExpired):
        process.wait(0.5)
        return True
    return False


def _ascii(text: str) -> str:
    return text if text.isascii() else ""
