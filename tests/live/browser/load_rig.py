"""What a test of load needs: a device that speaks, a witness of commits, what a page shows and when, and memory."""

from __future__ import annotations

import json
import os
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path
from random import Random
from typing import Any, NamedTuple

import numpy as np

from tests.recorder.devices import PtyDevice

STATES = ("authorised", "refused", "missing", "no-signal")
LOOK_S = 0.002
"""How often the witness looks whether something was committed: its times are late by so much at most."""


class Talk(threading.Thread):
    """A device on a pseudo-terminal that says `rate` lines a second for `seconds`, at uneven moments.

    One line in five is of a channel, and never says of it what the line before did; the others are levels and locks.
    """

    def __init__(self, device: PtyDevice, rate: float, seconds: float, channels: int, unit: str = "dB") -> None:
        super().__init__(name="talk", daemon=True)
        self._device, self._rate, self.seconds, self._channels, self._unit = device, rate, seconds, channels, unit
        self.lines = 0
        self.over = threading.Event()

    def run(self) -> None:
        """Speak."""
        draw, due_s = Random(1), time.monotonic()
        end_s = due_s + self.seconds
        while (due_s := due_s + draw.uniform(0.5, 1.5) / self._rate) < end_s and not self.over.is_set():
            time.sleep(max(0.0, due_s - time.monotonic()))
            self._device.say(self._line(draw))
            self.lines += 1

    def _line(self, draw: Random) -> bytes:
        turn, n = divmod(self.lines, 5)
        if n == 0:
            number, around = turn % self._channels + 1, turn // self._channels
            return f"channel {number} {STATES[around % 3]}\n".encode()
        if n == 4 and turn % 10 == 0:
            return b"lock any yes\n"
        level = f"{draw.randint(2, 5)} bars/5" if self._unit == "bars" else f"{draw.uniform(9, 14):.2f} dB"
        return f"signal {('satellite', 'repeater')[n % 2]} {level}\n".encode()


class Commit(NamedTuple):
    """At `at_s` (wall clock) so many rows were in the file for the first time."""

    at_s: float
    rows: int


class Witness(threading.Thread):
    """Sees when rows are committed: reads the job file beside the recording, from a process that does not write."""

    def __init__(self, place: Path) -> None:
        super().__init__(name="witness", daemon=True)
        self._place = place
        self.commits: list[Commit] = []
        self.over = threading.Event()

    def run(self) -> None:
        """Watch the number that SQLite changes with every commit of another connection."""
        with closing(sqlite3.connect(f"file:{self._place}?mode=ro", uri=True, isolation_level=None)) as file:
            before = None
            while not self.over.wait(LOOK_S):
                (version,) = file.execute("PRAGMA data_version").fetchone()
                if version != before:
                    before, at_s = version, time.time()
                    (rows,) = file.execute("SELECT max(number) FROM observations").fetchone()
                    self.commits.append(Commit(at_s, rows or 0))


class Clients:
    """Pages without a browser, in a process of their own; see `load_clients`."""

    def __init__(self, url: str, code: str, count: int) -> None:
        words = [sys.executable, "-m", "tests.live.browser.load_clients", url, code, str(count)]
        self._process = subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        assert self._process.stdout is not None
        assert self._process.stdout.readline() == "ready\n"

    def told(self, rows: int, seconds: float = 120.0) -> dict[str, Any]:
        """End them when each was told of so many rows; what they tell then."""
        out, _ = self._process.communicate(str(rows), timeout=seconds)
        assert self._process.returncode == 0, out
        return dict(json.loads(out))

    def __enter__(self) -> Clients:
        return self

    def __exit__(self, *_: object) -> None:
        if self._process.poll() is None:
            self._process.kill()
        self._process.communicate()


WATCH = """
(() => {
  window.shown = [];
  const frame = (what) => requestAnimationFrame(() => window.shown.push([Date.now() / 1000, what]));
  addEventListener("DOMContentLoaded", () => {
    const kept = document.getElementById("kept");
    let rows = -1;
    new MutationObserver(() => {
      const now = Number(kept.textContent.match(/\\d+/)?.[0] ?? -1);
      if (now !== rows) frame(rows = now);
    }).observe(kept, { childList: true, characterData: true, subtree: true });
    const queue = document.getElementById("queue");
    window.queued = [];
    new MutationObserver(() => window.queued.push([Date.now() / 1000, queue.dataset.state]))
      .observe(queue, { attributes: true });
  });
  window.touched = [];
  addEventListener("pointerdown", (event) => {
    const at_s = Date.now() / 1000;
    if (event.target.closest(".channel")) requestAnimationFrame(() =>
      requestAnimationFrame(() => window.touched.push([at_s, Date.now() / 1000])));
  }, true);
  window.frames = [];
  window.long = [];
  window.measure = () => {
    window.frames = [];
    let before = null;
    const tick = (now) => {
      if (before !== null) window.frames.push(now - before);
      before = now;
      requestAnimationFrame(tick);
    };
    requestAnimationFrame(tick);
    new PerformanceObserver((list) => {
      for (const one of list.getEntries()) window.long.push(one.duration);
    }).observe({ type: "longtask" });
  };
})();
"""
"""Before the page's own scripts: notes the frame in which each number of saved rows is drawn (`shown`), every change
of what waits (`queued`), touches of channels, and on request the time from frame to frame and long tasks."""


def delays_s(commits: Sequence[Commit], shown: Sequence[tuple[float, int]], from_s: float) -> list[float]:
    """Of every row committed after `from_s` the time until it was shown; `shown`: when, and how many rows then."""
    at = np.array([moment for moment, _ in shown])
    rows = np.maximum.accumulate(np.array([count for _, count in shown]))
    found: list[float] = []
    before = commits[0].rows
    for commit in commits[1:]:
        if commit.at_s >= from_s and commit.rows > before:
            places = np.searchsorted(rows, np.arange(before + 1, commit.rows + 1))
            found += [float(at[place]) - commit.at_s for place in places if place < len(at)]
        before = commit.rows
    return found


def spread(values: Sequence[float], unit: str = "ms", scale: float = 1000.0) -> str:
    """The median, the 99th percentile and the greatest of some values in words."""
    if not values:
        return "none"
    half, most = np.percentile(values, (50, 99))
    return f"p50 {half * scale:.0f}, p99 {most * scale:.0f}, most {max(values) * scale:.0f} {unit} ({len(values)})"


def memory_mb(process: int) -> float:
    """The resident memory of a process, where the system tells it (Linux)."""
    for line in Path(f"/proc/{process}/status").read_text("ascii").splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) / 1024
    return 0.0


def children(process: int) -> list[int]:
    """The processes that a process has started and that still run (Linux)."""
    found: list[int] = []
    for task in os.listdir(f"/proc/{process}/task"):
        found += map(int, Path(f"/proc/{process}/task/{task}/children").read_text("ascii").split())
    return found


def cpu_s(process: int) -> float:
    """Seconds that a process has computed so far (Linux)."""
    fields = Path(f"/proc/{process}/stat").read_text("ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def heap_mb(page: Any) -> float:
    """What a page's scripts hold after a collection of garbage."""
    session = page.context.new_cdp_session(page)
    session.send("HeapProfiler.enable")
    session.send("HeapProfiler.collectGarbage")
    used = session.send("Runtime.getHeapUsage")["usedSize"]
    session.send("HeapProfiler.disable")
    session.detach()
    return float(used) / 1e6
