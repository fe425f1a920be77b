"""What may go wrong with a port, told in plain words: missing, denied, busy or gone, and what to do about it."""

from __future__ import annotations

import errno
import re
import sys
from collections.abc import Iterator

from satdiag.recorder.heard import Reason, SourceTrouble

if sys.platform == "win32":
    TROUBLES: tuple[type[Exception], ...] = (OSError, TypeError, ValueError)
else:
    import termios

    TROUBLES = (OSError, TypeError, ValueError, termios.error)
"""Everything that pyserial raises for a port that is not there, is lost or is closed meanwhile.

Its SerialException is an OSError; an unplugged port also raises a plain OSError, and termios.error, which is none.
"""

_BY_ERRNO: dict[int, Reason] = {
    errno.EACCES: "denied",
    errno.EPERM: "denied",
    errno.EBUSY: "busy",
    errno.EAGAIN: "busy",  # the lock that every open port holds here
    errno.EWOULDBLOCK: "busy",
}
_NO_PORT = (errno.ENOTTY, errno.EISDIR, errno.EINVAL, errno.ENOTDIR, errno.EOPNOTSUPP)

# Windows names its error in the text only. Numbers: Microsoft, "System Error Codes", from memory.
_WINDOWS_ERROR = re.compile(r"None, (\d+)\)")
_WINDOWS_BUSY = (5, 32, 170)  # access denied (a port that is open elsewhere says so), sharing violation, busy


def open_trouble(where: str, error: BaseException) -> SourceTrouble:
    """Why a port could not be opened."""
    number = next(_numbers(error), None)
    if "://" in where and not where.startswith("hwgrep://"):
        mend = "Is the other side running, and are host and port number right?"
        return SourceTrouble("missing", f"{where}: nothing answers as it should there ({_short(error)}). {mend}")
    windows = _WINDOWS_ERROR.search(str(error))
    if windows:
        reason: Reason = "busy" if int(windows[1]) in _WINDOWS_BUSY else "missing"
    else:
        reason = _BY_ERRNO.get(number or 0, "missing")
    return SourceTrouble(reason, f"{where}: {_words(reason, number, error)}")


def gone(where: str, error: BaseException) -> SourceTrouble:
    """An open port that was lost."""
    mend = "Plug it in again, or start the other side again. Only one program may read it."
    return SourceTrouble("gone", f"{where}: the connection is gone ({_short(error)}). {mend}")


def _words(reason: Reason, number: int | None, error: BaseException) -> str:
    if reason == "denied":
        return (
            "you may not open it. On Linux a user must be in the group of serial ports, mostly dialout (common "
            "practice): `sudo usermod -aG dialout $USER`, then log in again."
        )
    if reason == "busy":
        return "another program has it open. Close that program."
    if number in _NO_PORT:
        return f"this is not a serial port ({_short(error)}). `satdiag ports` lists those there are."
    return f"there is no such port now ({_short(error)}). Plug it in; `satdiag ports` lists those there are."


def _numbers(error: BaseException | None) -> Iterator[int]:
    """The system's error numbers in an error and in those it was made from."""
    while error is not None:
        number = error.args[0] if error.args else None
        if isinstance(number, int):
            yield number
        error = error.__cause__ or error.__context__


def _short(error: BaseException) -> str:
    """The error in few words: those of the system, where it was made from one of the system's."""
    inner = error.__cause__ or error.__context__
    if isinstance(inner, OSError) and inner.strerror:
        return inner.strerror
    text = " ".join(str(error).split()) or type(error).__name__
    return text if len(text) <= 160 else text[:150] + "..."
