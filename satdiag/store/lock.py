"""One writer at a time: a side file NAME.satjob.lock, held by a lock of the operating system.

The lock ends with the process that holds it, however that ends; a file that is left behind is taken over. What stands
in it is for people: which process holds it, what for, since when.
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
from pathlib import Path
from typing import Any, NamedTuple

from satdiag.errors import StoreProblem

RECORDING = "recording"
"""What a recorder says of itself in the lock."""

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

else:
    import fcntl

    def _seize(handle: int, only_look: bool = False) -> None:
        """Lock or raise OSError at once. flock: closing another handle of the file does not end it."""
        fcntl.flock(handle, (fcntl.LOCK_SH if only_look else fcntl.LOCK_EX) | fcntl.LOCK_NB)

    def _free(handle: int) -> None:
        fcntl.flock(handle, fcntl.LOCK_UN)


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
    path = lock_path(place)
    try:
        for _ in range(_TRIES):
            if lock := _attempt(path):
                lock.say(what)
                return lock
            time.sleep(_PAUSE_S)  # whoever only looks holds it for an instant, too
    except OSError as error:
        mend = "Check that you may write in that folder, or use a copy in another one."
        raise StoreProblem(f"{place}: cannot be locked ({error.strerror}). {mend}") from None
    raise StoreProblem(f"{place}: {_refusal(_holder_text(path))}")


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


def _attempt(path: Path) -> Lock | None:
    """One attempt at the lock. Raises OSError where it cannot be had at all."""
    handle = os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0), 0o666)
    try:
        _seize(handle)
        if _is_named(handle, path):
            return Lock(path, handle)
    except OSError as error:
        if error.errno not in _HELD:
            os.close(handle)
            raise
    os.close(handle)
    return None


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
        return f"it is being recorded into by {who}. Type remarks into that window, or end that recording first."
    return f"it is being written by {who} ({holder.what}). Try again when that is done."
