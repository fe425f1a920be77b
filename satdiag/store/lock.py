"""One writer at a time: a side file NAME.satjob.lock, held by a lock of the operating system.

The lock ends with the process that holds it, however that ends; a file that is left behind is taken over. What stands
in it is for people: which process holds it, what for, since when.

Who comes second waits as long as it makes sense. A writer may hold the lock for hours: whoever meets one is told so
after `_TRIES` looks, by when one that was just ending has ended. Others hold it in passing: who looks whether
somebody writes, between two calls of the system, which a busy computer may draw out to seconds; on Windows also a
virus scanner that opens every new file, and a file that is still being removed. They are waited for up to
`PASSING_S`. Where locks can be shared (`flock`) those who look share theirs, so that the two are told apart for sure;
elsewhere by what stands in the file, which a writer writes at once.
"""

from __future__ import annotations

import errno
import json
import os
import platform
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from enum import Enum, auto
from pathlib import Path
from typing import Any, NamedTuple

from satdiag.errors import StoreProblem

RECORDING = "recording"
"""What a recorder says of itself in the lock."""

PASSING_S = 10.0
_TRIES = 10
_PAUSE_S = 0.02
_HELD = (errno.EACCES, errno.EAGAIN, errno.EWOULDBLOCK, errno.EDEADLK)
_LONGEST = 4096

if sys.platform == "win32":
    import msvcrt

    _FAR = 1 << 30  # far behind the text, which must stay readable: a locked byte is not

    def _seize(handle: int, only_look: bool = False) -> None:
        os.lseek(handle, _FAR, os.SEEK_SET)
        msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)

    def _free(handle: int) -> None:
        os.lseek(handle, _FAR, os.SEEK_SET)
        msvcrt.locking(handle, msvcrt.LK_UNLCK, 1)

    def _is_writing(handle: int, path: Path) -> bool:
        """Whether a writer holds it. What a killed one left looks the same, but only while somebody else looks."""
        return _holder_text(path).pid is not None

else:
    import fcntl

    def _seize(handle: int, only_look: bool = False) -> None:
        """Lock or raise OSError at once. flock: closing another handle of the file does not end it."""
        fcntl.flock(handle, (fcntl.LOCK_SH if only_look else fcntl.LOCK_EX) | fcntl.LOCK_NB)

    def _free(handle: int) -> None:
        fcntl.flock(handle, fcntl.LOCK_UN)

    def _is_writing(handle: int, path: Path) -> bool:
        """Whether a writer holds it: those who only look share the lock."""
        try:
            _seize(handle, only_look=True)
        except OSError:
            return True
        _free(handle)
        return False


class _Met(Enum):
    """Who holds the lock: a writer, who may go on for long, or somebody in passing."""

    WRITER = auto()
    PASSING = auto()


class Holder(NamedTuple):
    """Who holds the lock; `pid` is None and the texts are blank where it cannot be read."""

    pid: int | None = None
    what: str = ""
    since: str = ""
    computer: str = ""


class Lock:
    """A lock that is held, until `release`."""

    def __init__(self, path: Path, handle: int) -> None:
        self._path = path
        self._handle: int | None = handle

    def say(self, what: str) -> None:
        """Write down who holds it and what for. On a full medium it holds without a text."""
        since = datetime.now(UTC).replace(tzinfo=None).isoformat(timespec="seconds") + "Z"
        text = json.dumps({"pid": os.getpid(), "what": what, "since": since, "computer": computer()}) + "\n"
        with suppress(OSError):
            if self._handle is not None:
                os.ftruncate(self._handle, 0)
                os.lseek(self._handle, 0, os.SEEK_SET)
                os.write(self._handle, text.encode())

    def release(self) -> None:
        """Give it up and remove the side file. May be called twice."""
        handle, self._handle = self._handle, None
        if handle is None:
            return
        with suppress(OSError):
            if sys.platform != "win32" and _is_named(handle, self._path):
                os.unlink(self._path)
        with suppress(OSError):
            _free(handle)
        os.close(handle)
        if sys.platform == "win32":  # an open file cannot be removed there; nor can one that the next holder opened
            with suppress(OSError):
                os.unlink(self._path)


def lock_path(place: Path) -> Path:
    """The side file of a job file; a link and the file that it points to have the same one."""
    return Path(os.path.realpath(place) + ".lock")


def take(place: Path, what: str) -> Lock:
    """Take the lock of a job file, for `what` ('recording'). Raises StoreProblem if another process holds it."""
    path, until_s, met_writer = lock_path(place), time.monotonic() + PASSING_S, 0
    try:
        while met_writer < _TRIES and (met := _met(path, until_s)) is not None:
            if isinstance(met, Lock):
                met.say(what)
                return met
            met_writer = met_writer + 1 if met is _Met.WRITER else 0
            time.sleep(_PAUSE_S)
    except OSError as error:
        mend = "Check that you may write in that folder, or use a copy in another one."
        raise StoreProblem(f"{place}: cannot be locked ({error.strerror}). {mend}") from None
    raise StoreProblem(f"{place}: {_refusal(_holder_text(path) if met_writer else Holder())}")


@contextmanager
def locked(place: Path, what: str) -> Iterator[None]:
    """The lock for as long as the block runs. Raises StoreProblem."""
    lock = take(place, what)
    try:
        yield
    finally:
        lock.release()


def holder_of(place: Path) -> Holder | None:
    """Who writes to a job file at this moment; None if nobody does."""
    path = lock_path(place)
    try:
        handle = os.open(path, os.O_RDWR if sys.platform == "win32" else os.O_RDONLY)
    except FileNotFoundError:
        return None
    except OSError:  # it may not be looked at: better not to count on nobody being there
        return Holder()
    try:
        _seize(handle, only_look=True)
        _free(handle)
    except OSError:
        return _holder_text(path)
    finally:
        os.close(handle)
    return None


def _met(path: Path, until_s: float) -> Lock | _Met | None:
    """The lock, or who holds it; None if somebody holds it in passing and is not waited for any longer."""
    in_time = time.monotonic() < until_s
    try:
        met = _attempt(path)
    except PermissionError:
        if sys.platform != "win32" or not in_time:
            raise
        met = _Met.PASSING  # a scanner has it open, or it is being removed
    return met if in_time or met is not _Met.PASSING else None


def _attempt(path: Path) -> Lock | _Met:
    """One attempt at the lock. Raises OSError where it cannot be had at all."""
    met = _Met.PASSING
    handle = os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0), 0o666)
    try:
        _seize(handle)
        if _is_named(handle, path):
            return Lock(path, handle)
    except OSError as error:
        if error.errno not in _HELD:
            os.close(handle)
            raise
        if _is_writing(handle, path):
            met = _Met.WRITER
    os.close(handle)
    return met


def _is_named(handle: int, path: Path) -> bool:
    """The file that we hold still bears its name: the holder before us may have removed it while we waited."""
    held = os.fstat(handle)
    try:
        named = os.stat(path)
    except OSError:
        return False
    return (held.st_ino, held.st_dev) == (named.st_ino, named.st_dev)


def computer() -> str:
    """The name of this computer."""
    return platform.node() or "unknown"


def _holder_text(path: Path) -> Holder:
    try:
        with open(path, "rb") as file:
            found: Any = json.loads(file.read(_LONGEST))
        pid = found["pid"]
        texts = [str(found[key])[:100] for key in ("what", "since", "computer")]
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return Holder()
    return Holder(pid if isinstance(pid, int) else None, *texts)


def _refusal(holder: Holder) -> str:
    if holder.pid is None:
        return "another program is writing to it. Close that one, or try again later."
    where = f" on the computer {holder.computer}" if holder.computer != computer() else ""
    who = f"process {holder.pid}{where}, since {holder.since}"
    if holder.what == RECORDING:
        mend = "Type remarks into that window, enter them on its page, or end that recording first."
        return f"it is being recorded into by {who}. {mend}"
    return f"it is being written by {who} ({holder.what}). Try again when that is done."
