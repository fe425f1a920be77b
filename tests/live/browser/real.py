"""The live page for real: `satdiag live` in a process of its own, a simulated receiver in another, a phone's browser.

Everything that is waited for has a deadline, and everything that was started is stopped by the end of its `with`.
"""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from random import Random
from typing import Any

from tests.ports import free_port

PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}
"""What a browser is told so that it takes touches and lays the page out as on a telephone."""

VIEWS = ("now", "channels", "timing", "byhand", "start")
START_S = END_S = PATIENCE_S = 240.0


class Told:
    """A command of satdiag in a process of its own; `said` is all that it has printed so far."""

    def __init__(self, *words: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "satdiag", *words],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            encoding="utf-8",
            env={**os.environ, "PYTHONUNBUFFERED": "1", "PYTHONUTF8": "1"},
        )
        self.said = ""
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.said += line

    def wait_for(self, words: str, seconds: float = START_S) -> None:
        """Wait until it has printed something."""
        end_s = time.monotonic() + seconds
        while words not in self.said:
            assert self.process.poll() is None, f"it ended:\n{self.said}"
            assert time.monotonic() < end_s, f"it did not say '{words}' in time:\n{self.said}"
            time.sleep(0.02)

    def kill(self) -> None:
        """End it as a laptop ends whose battery falls out (SIGKILL)."""
        self.process.kill()
        self._finish()

    def end(self) -> int:
        """End it in good order; its exit code."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
        return self._finish()

    def _finish(self) -> int:
        try:
            code = self.process.wait(END_S)
        except subprocess.TimeoutExpired:
            self.process.kill()
            code = self.process.wait(END_S)
        self._reader.join(END_S)
        assert self.process.stdout is not None
        self.process.stdout.close()
        return code

    def __enter__(self) -> Told:
        return self

    def __exit__(self, *_: object) -> None:
        if self.process.stdout is not None and not self.process.stdout.closed:
            self.kill()


class Laptop:
    """`satdiag live` on one job file and one port, over as many starts as are asked for; `kills`: so far.

    `start_s`: how long a start may take, longer for a very large job.
    """

    def __init__(self, place: Path, *specs: str, start_s: float = START_S) -> None:
        self.place, self._specs, self._start_s = place, specs, start_s
        self.port = free_port()  # not the usual one: others may want it meanwhile
        self.kills = 0
        self._told: Told | None = None

    def begin(self) -> None:
        """Start it, on the port it had before; returns at once."""
        assert self._told is None, "it runs already"
        froms = [word for spec in self._specs for word in ("--from", spec)]
        self._told = Told("live", str(self.place), "--no-browser", "--port", str(self.port), *froms)

    def ready(self) -> bool:
        """Whether it serves."""
        if self._told is None:
            return False
        assert self._told.process.poll() is None, f"it ended:\n{self._told.said}"
        return "It ends after" in self._told.said

    def wait(self) -> None:
        """Wait until it serves."""
        assert self._told is not None
        self._told.wait_for("It ends after", self._start_s)

    def _found(self, pattern: str) -> str:
        assert self._told is not None
        found = re.search(pattern, self._told.said)
        assert found, self._told.said
        return found[1]

    @property
    def process(self) -> int:
        """The id of its process."""
        assert self._told is not None
        return self._told.process.pid

    @property
    def url(self) -> str:
        """The page's address, without a code."""
        return f"http://127.0.0.1:{self.port}/"

    @property
    def link(self) -> str:
        """The link that pairs, as it was printed."""
        return self._found(r"(http://\S+#c=\d+)")

    @property
    def code(self) -> str:
        """The code that lets write."""
        return self._found(r"#c=(\d+)")

    @property
    def watch_code(self) -> str:
        """The code that lets look on."""
        return self._found(r"Code to look on:\s+(\d{4} \d{4})")

    def kill(self) -> None:
        """SIGKILL: it has no chance to end anything."""
        assert self._told is not None
        self._told.kill()
        self._told = None
        self.kills += 1

    def end(self) -> tuple[int, str]:
        """SIGTERM: its exit code and what it said."""
        assert self._told is not None
        told, self._told = self._told, None
        return told.end(), told.said

    def __enter__(self) -> Laptop:
        self.begin()
        try:
            self.wait()
        except BaseException:
            self.__exit__()
            raise
        return self

    def __exit__(self, *_: object) -> None:
        if self._told is not None:
            self._told.kill()
            self._told = None


class Receiver(Told):
    """A simulated receiver on a socket; `spec` is what `--from` takes."""

    def __init__(self, scenario: str, seed: int, speed: float) -> None:
        where = ("--serve", "socket://127.0.0.1:0")
        super().__init__("simulate", scenario, *where, "--seed", str(seed), "--speed", f"{speed:g}")

    @property
    def spec(self) -> str:
        """The source, as the simulation prints it."""
        self.wait_for("Stop with Ctrl-C")
        found = re.search(r'--from "([^"]+)"', self.said)
        assert found, self.said
        return found[1]

    def __enter__(self) -> Receiver:
        return self


class Dropped:
    """Lets some answers to POST /taps get lost after the server has committed what was sent."""

    def __init__(self, share: float, draw: Random) -> None:
        self.share, self._draw = share, draw
        self.lost = self.answered = self.unheard = 0

    def __str__(self) -> str:
        return (
            f"{self.lost} answers lost after the commit, {self.answered} heard, "
            f"{self.unheard} requests that nobody answered or that nobody waited for"
        )

    def over(self, page: Any) -> None:
        """Stand between a page and its server."""
        page.route("**/taps", self._pass)

    def _pass(self, route: Any) -> None:
        from playwright.sync_api import Error

        try:
            try:
                answer = route.fetch(timeout=4000)
            except Error:  # nobody listens, or the server died while it answered
                self.unheard += 1
                route.abort()
                return
            if answer.ok and self._draw.random() < self.share:
                self.lost += 1
                route.abort()
                return
            self.answered += answer.ok
            route.fulfill(response=answer)
        except Error:  # the page was reloaded meanwhile, and wants no answer
            self.unheard += 1


# --- what one does with the page -----------------------------------------------------------------------------------


def until(done: Callable[[], object], page: Any, seconds: float = PATIENCE_S, what: str = "it") -> None:
    """Wait for something; the page goes on meanwhile."""
    end_s = time.monotonic() + seconds
    while not done():
        assert time.monotonic() < end_s, f"{what} did not happen in time"
        page.wait_for_timeout(20)


def live(page: Any) -> None:
    """Wait until the page hears its server as it happens."""
    page.wait_for_selector("#link[data-state=good]")


def go_to(page: Any, name: str) -> None:
    """Touch the key of a view; on a narrow screen some stand behind 'More'."""
    key = page.locator(f"#bar [data-view={name}]")
    if not key.is_visible():
        page.locator("#bar [data-view=more]").click()
        key = page.locator(f"#gates [data-view={name}]")
    key.click()


def view(page: Any, name: str) -> None:
    """Go to a view as a person does."""
    go_to(page, name)
    page.wait_for_selector(f"#view-{name}", state="visible")


def pair_by_code(page: Any, code: str) -> None:
    """Type a code into the form that asks for it."""
    page.wait_for_selector("#pairing", state="visible")
    page.fill("#pair-code", code)
    page.locator("#pairing .go").click()
    page.wait_for_selector("#pairing", state="hidden")


def waiting(page: Any) -> int:
    """How many taps the page still holds."""
    return int(page.evaluate("Object.keys(localStorage).filter(name => name.startsWith('satdiag.tap.')).length"))


def saved(page: Any) -> None:
    """Wait until nothing waits any more."""
    until(lambda: waiting(page) == 0, page, what="the saving of what was tapped")
    page.wait_for_selector("#queue[data-state=good]")


def shoot(page: Any, name: str, scheme: str, width: int) -> None:
    """Save a picture of the page as it stands, if SATDIAG_SHOTS names a folder for such.

    The whole page, or what a person sees of it while a dialog is open.
    """
    folder = os.environ.get("SATDIAG_SHOTS")
    if folder:
        Path(folder).mkdir(parents=True, exist_ok=True)
        words = re.sub(r"\W+", "-", name)
        whole = page.locator("dialog[open]").count() == 0
        page.screenshot(path=Path(folder) / f"{words}-{scheme}-{width}.png", full_page=whole)
