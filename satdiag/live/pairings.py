"""The book of sessions: what lets a paired telephone stay paired when the server crashed and is started anew.

One small JSON file for one job and one port, readable by its owner alone. It holds no token and no code: of each
session the SHA-256 of its token, its role and its end; and the SHA-256 of the job file's place, by which a next start
finds the port. It lies in the user folder, in a folder that no export carries.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
import re
import shutil
import stat
import sys
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from satdiag.errors import SatdiagError
from satdiag.live.pairing import LONGEST_S, MOST_SESSIONS, Session
from satdiag.safe_write import beside, sync
from satdiag.user_folder import user_folder

FOLDER = ".paired"
"""Its name in the user folder."""

_MOST_BYTES = 64 * 1024
_FORMAT = 1
_DIGEST = re.compile(r"[0-9a-f]{64}")
_KEYS = {"format", "job", "port", "place_sha256", "sessions"}
_SESSION_KEYS = {"token_sha256", "role", "ends_unix_s"}


class PairedFile:
    """The book of one job on one port. `place`: the job file; `say`: told once, if nothing can be kept.

    Raises SatdiagError if no user folder is known; nothing else raises.
    """

    def __init__(self, job: str, port: int, place: Path, say: Callable[[str], None] = lambda text: None) -> None:
        self._job, self._port, self._say = job, port, say
        self._place_digest = _digest(place)
        # A digest of the id: some systems hold names equal that differ in capitals alone.
        name = hashlib.sha256(job.encode()).hexdigest()[:16]
        self.path = user_folder() / FOLDER / f"{name}-{port}.json"
        self._told = False

    def read(self, now_s: float) -> list[Session]:
        """The sessions that have not ended; none if the file is not there, not ours alone, or not in order."""
        found = _content(self.path)
        if found is None or (found["job"], found["port"]) != (self._job, self._port):
            return []
        return _living(found, now_s)

    def write(self, sessions: Sequence[Session]) -> None:
        """Put these in the place of what was kept, in one piece."""
        content = {
            "format": _FORMAT,
            "job": self._job,
            "port": self._port,
            "place_sha256": self._place_digest,
            "sessions": [
                {"token_sha256": one.digest, "role": one.role, "ends_unix_s": math.floor(one.ends_s)}
                for one in sessions
            ],
        }
        try:
            self.path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            with beside(self.path) as made:
                _write_private(made, json.dumps(content).encode())
                os.replace(made, self.path)
            sync(self.path.parent)
        except OSError as error:
            if not self._told:
                self._told = True
                self._say(f"{self.path.parent}: cannot be written ({error.strerror}). After a crash, pair again.")

    def remove(self) -> None:
        """Keep nothing."""
        with suppress(OSError):
            self.path.unlink(missing_ok=True)


def port_before(place: Path, now_s: float) -> int | None:
    """The port on which pages were paired for this job file by a start that did not end in good order, the latest."""
    digest = _digest(place)
    found = []
    for path in _inside():
        content = _content(path)
        if content and content["place_sha256"] == digest and _living(content, now_s):
            found.append((_age_s(path, now_s), int(content["port"])))
    return min(found)[1] if found else None


def sweep(now_s: float) -> None:
    """Remove what no session can stand in any more, of whatever job: what is older than any session lasts."""
    for path in _inside():
        if _age_s(path, now_s) <= LONGEST_S:
            continue
        with suppress(OSError):
            if path.is_dir() and not path.is_symlink():
                shutil.rmtree(path)
            else:
                path.unlink()


def _inside() -> list[Path]:
    try:
        return sorted((user_folder() / FOLDER).iterdir())
    except (OSError, SatdiagError):
        return []


def _age_s(path: Path, now_s: float) -> float:
    """For how long a file has not been written; 0 if it has gone meanwhile."""
    try:
        return now_s - path.lstat().st_mtime
    except OSError:
        return 0.0


def _digest(place: Path) -> str:
    return hashlib.sha256(os.fsencode(place.resolve())).hexdigest()


def _write_private(path: Path, data: bytes) -> None:
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o600)
    with os.fdopen(handle, "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def _content(path: Path) -> dict[str, Any] | None:
    """What stands in a file, looked at part by part; None if it is not ours alone or not in order."""
    try:
        told = path.lstat()
        if not stat.S_ISREG(told.st_mode) or told.st_size > _MOST_BYTES or not _is_private(told):
            return None
        found = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError, RecursionError):
        return None
    in_order = (
        isinstance(found, dict)
        and found.keys() == _KEYS
        and found["format"] == _FORMAT
        and isinstance(found["job"], str)
        and type(found["port"]) is int
        and isinstance(found["place_sha256"], str)
        and isinstance(found["sessions"], list)
        and len(found["sessions"]) <= 2 * MOST_SESSIONS  # of two roles
        and all(_is_session(one) for one in found["sessions"])
    )
    return found if in_order else None


def _is_private(told: os.stat_result) -> bool:
    """Whether nobody else may have written it; a system without such marks cannot tell."""
    if sys.platform == "win32":
        return True
    return told.st_uid == os.geteuid() and not stat.S_IMODE(told.st_mode) & 0o077


def _is_session(value: object) -> bool:
    return (
        isinstance(value, dict)
        and value.keys() == _SESSION_KEYS
        and isinstance(value["token_sha256"], str)
        and _DIGEST.fullmatch(value["token_sha256"]) is not None
        and value["role"] in ("write", "watch")
        and type(value["ends_unix_s"]) is int
    )


def _living(content: Mapping[str, Any], now_s: float) -> list[Session]:
    """Sessions that have not ended, and do not end later than any can: the clock may have been set meanwhile."""
    told = [Session(one["token_sha256"], one["role"], one["ends_unix_s"]) for one in content["sessions"]]
    return [one for one in told if now_s < one.ends_s <= now_s + LONGEST_S]
