"""A real `satdiag record` in a process of its own, its acknowledgements read through a pipe, and a talking device."""

from __future__ import annotations

import io
import os
import random
import re
import select
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path

from satdiag.cli import run
from satdiag.job import Job, build_job
from satdiag.recorder.raw_lines import DOCUMENT, RawLine, decode_document
from satdiag.store import create_job_file

SHEET = b'[job]\nid = "test-job"\n'
BENCH = "?profile=bench-lines"
AFTER_OPENING_S = 0.06
"""A device that begins no sooner after its port was opened has its first line believed (`serial_source.QUIET_S`)."""


def new_job_file(place: Path) -> Path:
    """A job file without observations."""
    create_job_file(place, build_job({"job.toml": SHEET}, []))
    return place


def mode_of(place: Path) -> int:
    """The journal mode in a file's header: 1 for one file at rest, 2 for a write-ahead log beside it.

    Offsets 18 and 19 of https://sqlite.org/fileformat2.html#file_format_version_numbers. Never to be called in the
    process that records.
    """
    with place.open("rb") as file:
        head = file.read(20)
    assert head.startswith(b"SQLite format 3\0")
    assert head[18] == head[19]
    return head[18]


def at_rest(place: Path) -> bool:
    """One file in DELETE mode with nothing of its name beside it."""
    beside = [path.name for path in place.parent.iterdir() if path.name.startswith(place.name)]
    return beside == [place.name] and mode_of(place) == 1


def raw_lines(job: Job) -> list[RawLine]:
    """The lines as they were received, of all runs."""
    return [line for name in job.documents if DOCUMENT.fullmatch(name) for line in _decoded(job, name)]


def _decoded(job: Job, name: str) -> list[RawLine]:
    return list(decode_document(name, job.documents[name]))


def command(*words: object) -> tuple[int, str, str]:
    """Run another command of satdiag in this process: exit code, standard output, standard error."""
    with redirect_stdout(io.StringIO()) as out, redirect_stderr(io.StringIO()) as err:
        code = run([str(word) for word in words])
    return code, out.getvalue(), err.getvalue()


class Talker:
    """A device on a TCP port that counts: `signal any N dB`, in pieces that cut lines anywhere."""

    def __init__(self, lines_per_s: float, seed: int = 1) -> None:
        self._server = socket.create_server(("127.0.0.1", 0))
        self._server.settimeout(0.1)
        self.port = self._server.getsockname()[1]
        self.sent = 0
        self._rate, self._random = lines_per_s, random.Random(seed)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    @property
    def spec(self) -> str:
        """The SPEC to record it with."""
        return f"serial:socket://127.0.0.1:{self.port}{BENCH}"

    def close(self) -> None:
        """Stop talking."""
        self._stop.set()
        self._thread.join()
        self._server.close()

    def __enter__(self) -> Talker:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _serve(self) -> None:
        while not self._stop.is_set():
            try:
                client, _ = self._server.accept()
            except TimeoutError:
                continue
            with client:
                client.settimeout(1.0)
                self._talk(client)

    def _talk(self, client: socket.socket) -> None:
        begun, first, waiting = time.monotonic(), self.sent, b""
        while not self._stop.is_set():
            due = int((time.monotonic() - begun) * self._rate) - (self.sent - first)
            for _ in range(max(0, due)):
                self.sent += 1
                waiting += b"signal any %d dB\n" % self.sent
            cut = self._random.randint(0, len(waiting))
            try:
                client.sendall(waiting[:cut])
            except OSError:
                return
            waiting = waiting[cut:]
            time.sleep(0.005)


class Recording:
    """`satdiag record --acks` on a job file. As a context manager it is killed at the end if it still runs.

    `acknowledged`: the ids it printed so far; `messages`: all that it said on stderr.
    """

    def __init__(self, place: Path, *arguments: str, stdin: int | None = subprocess.DEVNULL) -> None:
        command = [sys.executable, "-m", "satdiag", "record", str(place), "--acks", *arguments]
        environment = {**os.environ, "PYTHONUNBUFFERED": "1"}
        self.process = subprocess.Popen(
            command, stdin=stdin, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment
        )
        self.acknowledged: list[str] = []
        self.messages = ""
        self._unheard = False
        self._readers = [
            threading.Thread(target=self._read_acknowledgements, daemon=True),
            threading.Thread(target=self._read_messages, daemon=True),
        ]
        for reader in self._readers:
            reader.start()

    def __enter__(self) -> Recording:
        return self

    def __exit__(self, *_: object) -> None:
        self.process.kill()
        self._end()

    def _read_acknowledgements(self) -> None:
        rest = b""
        while piece := os.read(self.process.stdout.fileno(), 65536):
            *lines, rest = (rest + piece).split(b"\n")  # an acknowledgement cut off by the kill was none
            self.acknowledged += [line.decode().removeprefix("ack ") for line in lines if line.startswith(b"ack ")]

    def _read_messages(self) -> None:
        stream = self.process.stderr.fileno()
        while not self._unheard:
            if sys.platform != "win32" and not select.select([stream], [], [], 0.05)[0]:
                continue
            if not (piece := os.read(stream, 65536)):
                return
            self.messages += piece.decode(errors="replace")

    # --- while it runs ---------------------------------------------------------------------------------------------

    def wait_for(self, count: int, timeout_s: float = 60.0) -> None:
        """Until so many rows are acknowledged."""
        self.until(lambda: len(self.acknowledged) >= count, timeout_s)

    def wait_for_words(self, pattern: str, times: int = 1) -> None:
        """Until it has said something on stderr, so many times; a regular expression."""
        self.until(lambda: len(re.findall(pattern, self.messages)) >= times)

    def until(self, what: Callable[[], object], timeout_s: float = 60.0) -> None:
        """Until something is so; fails if the recording ends first or it takes too long."""
        end = time.monotonic() + timeout_s
        while not what():
            assert self.process.poll() is None, f"ended early: {self.messages}"
            assert time.monotonic() < end, f"too slow: {len(self.acknowledged)} rows; {self.messages}"
            time.sleep(0.01)

    def enter(self, *lines: str) -> None:
        """Type lines into its standard input, a pipe, and wait until each of them is taken."""
        taken = self.messages.count("taken: ")
        self.process.stdin.write("".join(f"{line}\n" for line in lines).encode())
        self.process.stdin.flush()
        self.until(lambda: self.messages.count("taken: ") >= taken + len(lines))

    def stop_reading_messages(self) -> None:
        """From now on nobody reads what it says on stderr, as when its window is gone (POSIX)."""
        self._unheard = True
        self._readers[1].join()
        self.process.stderr.close()

    def peak_memory_kib(self) -> int:
        """The most memory it had resident so far (`VmHWM`, man 5 proc; Linux)."""
        text = Path(f"/proc/{self.process.pid}/status").read_text()
        return int(re.search(r"^VmHWM:\s+(\d+) kB$", text, re.MULTILINE)[1])

    # --- its end ---------------------------------------------------------------------------------------------------

    def kill(self) -> None:
        """Kill it as no program can defend itself against."""
        self.process.kill()
        self._end()

    def stop(self, how: int = signal.SIGTERM) -> int:
        """Ask it to stop; its exit code."""
        self.process.send_signal(how)
        return self._end()

    def finish(self) -> int:
        """Wait until it ends by itself; its exit code."""
        return self._end()

    def _end(self) -> int:
        code = self.process.wait(240)
        for reader in self._readers:
            reader.join()
        for stream in (self.process.stdout, self.process.stderr, self.process.stdin):
            if stream is not None:
                stream.close()
        return code
