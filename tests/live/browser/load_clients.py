"""Pages without a browser: what the live page asks for, from one process, over real HTTP. Run as a program.

    python -m tests.live.browser.load_clients URL CODE PAGES

It says "ready" when all pages are open, and ends when each was told of as many rows as its input says. Each page
pairs, asks for the state, holds the stream of events, asks for its view whenever there is a newer analysis and for
the levels every 2 s, as "Now" does while its figure is open. At the end it prints a line of JSON: of each page when
it was told how many rows there are, its analyses and their ages, and what went wrong.
"""

from __future__ import annotations

import asyncio
import json
import sys
import time
from contextlib import suppress
from itertools import cycle
from typing import Any
from urllib.parse import urlsplit

import httpx

VIEWS = cycle(("now", "channels", "timing", "verdict", "sky", "wiring", "handover"))
ASKED_FOR = ("timing", "verdict", "sky", "wiring", "handover")
LEVELS_EVERY_S = 2.0
LONGEST_LINE = 1 << 24


class Page:
    """One page. `told`: (wall clock in s, rows) of each event; `ages_s`: of the analysis, as each event tells it."""

    def __init__(self, url: str, name: str) -> None:
        self._url, self._name = url, name
        self.told: list[tuple[float, int]] = []
        self.ages_s: list[float] = []
        self.views_s: list[float] = []
        self.trouble: list[str] = []
        self.numbers: set[int] = set()
        self._newer = asyncio.Event()
        self._analysis = 0

    async def run(self, code: str, over: asyncio.Event) -> None:
        """Look on until it is over."""
        async with httpx.AsyncClient(base_url=self._url, headers={"X-Satdiag": "1"}, timeout=60) as client:
            (await client.post("/pair", json={"code": code})).raise_for_status()
            (await client.get("/state")).raise_for_status()
            cookie = "; ".join(f"{name}={value}" for name, value in client.cookies.items())
            tasks = [asyncio.create_task(self._listen(cookie)), asyncio.create_task(self._views(client))]
            tasks += [asyncio.create_task(self._levels(client))] if self._name == "now" else []
            tasks += [asyncio.create_task(over.wait())]
            done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
            for task in tasks:
                task.cancel()
            for task, result in zip(tasks, await asyncio.gather(*tasks, return_exceptions=True), strict=True):
                if task in done and task is not tasks[-1]:
                    self.trouble.append(f"ended early: {result!r}")

    async def _listen(self, cookie: str) -> None:
        """The stream, read from the socket: a client library would take more of the machine than the server."""
        where = urlsplit(self._url)
        reader, writer = await asyncio.open_connection(where.hostname, where.port, limit=LONGEST_LINE)
        try:
            head = f"GET /events HTTP/1.1\r\nHost: {where.netloc}\r\nCookie: {cookie}\r\n\r\n"
            writer.write(head.encode())
            await writer.drain()
            status = await reader.readline()
            if b" 200 " not in status:
                self.trouble.append(f"events: {status.decode().strip()}")
            while line := await reader.readline():
                if line.startswith(b"data: "):
                    self._take(json.loads(line[6:]))
        finally:
            writer.close()
            with suppress(OSError):
                await writer.wait_closed()

    def _take(self, state: dict[str, Any]) -> None:
        self.told.append((time.time(), state["rows"]))
        if state["analysis_age_s"] is not None:
            self.ages_s.append(state["analysis_age_s"])
        if state.get("analysis", self._analysis) != self._analysis:  # it is told when it is another one
            self._analysis = state["analysis"]
            self.numbers.add(self._analysis)
            self._newer.set()

    async def _views(self, client: httpx.AsyncClient) -> None:
        while True:
            await self._newer.wait()
            self._newer.clear()
            if self._name in ASKED_FOR:
                begun_s = time.monotonic()
                answer = await client.get(f"/view/{self._name}")
                self.views_s.append(time.monotonic() - begun_s)
                if not answer.is_success:
                    self.trouble.append(f"view {self._name}: {answer.status_code}")

    async def _levels(self, client: httpx.AsyncClient) -> None:
        while True:
            await asyncio.sleep(LEVELS_EVERY_S)
            answer = await client.get("/levels")
            if not answer.is_success:
                self.trouble.append(f"levels: {answer.status_code}")


async def look_on(url: str, code: str, count: int) -> list[Page]:
    """So many pages, each on a view of its own kind; says when all of them have heard something."""
    pages, over = [Page(url, next(VIEWS)) for _ in range(count)], asyncio.Event()
    running = [asyncio.create_task(page.run(code, over)) for page in pages]
    while not all(page.told or task.done() for page, task in zip(pages, running, strict=True)):
        await asyncio.sleep(0.05)
    print("ready", flush=True)
    rows = int(await asyncio.to_thread(sys.stdin.read) or 0)
    while not all(page.told[-1][1] >= rows or task.done() for page, task in zip(pages, running, strict=True)):
        await asyncio.sleep(0.05)
    over.set()
    await asyncio.gather(*running)
    return pages


def main() -> None:
    """See above."""
    url, code, count = sys.argv[1:]
    pages = asyncio.run(look_on(url, code, int(count)))
    told = [
        {key: getattr(page, key) for key in ("told", "ages_s", "views_s", "trouble")}
        | {"numbers": sorted(page.numbers)}
        for page in pages
    ]
    print(json.dumps({"pages": told, "cpu_s": time.process_time()}))


if __name__ == "__main__":
    main()
