"""A real `satdiag record` in a process of its own, its acknowledgements read through a pipe, and a talking device."""

from __future__ import annotations

import os
import random
import signal
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path

from satdiag.job import build_job
from satdiag.store import create_job_file

SHEET = b'[job]\nid = "test-job"\n'


def new_job_file(place: Path) -> Path:
    """A job file without observations."""
    create_job_file(place, build_job({"job.toml": SHEET}, []))
    return place


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
        return f"serial:socket://127.0.0.1:{self.port}?profile=bench-lines"

    def close(self) -> None:
        """Stop talking."""
        self._stop.set()
        self._thread.join()
        self._server.close()

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
    """`satdiag record --acks` on a job file."""

    def __init__(self, place: Path, *arguments: str, stdin: int | None = subprocess.DEVNULL) -> None:
        command = [sys.executable, "-m", "satdiag", "record", str(place), "--acks", *arguments]
        environment = {**os.environ, "PYTHONUNBUFFERED": "1"}
        self.process = subprocess.Popen(
            command, stdin=stdin, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment
        )
        self.acknowledged: list[str] = []
        self.messages = ""
        self._readers = [
            threading.Thread(target=self._read_acknowledgements, daemon=True),
            threading.Thread(target=self._read_messages, daemon=True),
        ]
        for reader in self._readers:
            reader.start()

    def _read_acknowledgements(self) -> None:
        rest = b""
        while piece := os.read(self.process.stdout.fileno(), 65536):
            *lines, rest = (rest + piece).split(b"\n")  # an acknowledgement cut off by the kill was none
            self.acknowledged += [line.decode().removeprefix("ack ") for line in lines if line.startswith(b"ack ")]

    def _read_messages(self) -> None:
        while piece := os.read(self.process.stderr.fileno(), 65536):
            self.messages += piece.decode(errors="replace")

    def wait_for(self, count: int, timeout_s: float = 60.0) -> None:
        """Until so many rows are acknowledged."""
        self.until(lambda: len(self.acknowledged) >= count, timeout_s)

    def until(self, what, timeout_s: float = 60.0) -> None:
        """Until something is so; fails if the recording ends first or it takes too long."""
        end = time.monotonic() + timeout_s
        while not what():
            assert self.process.poll() is None, f"ended early: {self.messages}"
            assert time.monotonic() < end, f"too slow: {len(self.acknowledged)} rows; {self.messages}"
            time.sleep(0.01)

    def kill(self) -> None:
        """Kill it as no program can defend itself against."""
        self.process.kill()
        self._end()

    def stop(self, how: int = signal.SIGTERM) -> int:
        """Ask it to stop; its exit code."""
        self.process.send_signal(how)
        return self._end()

    def _end(self) -> int:
        code = self.process.wait(60)
        for reader in self._readers:
            reader.join()
        self.process.stdout.close()
        self.process.stderr.close()
        if self.process.stdin is not None:
            self.process.stdin.close()
        return code
