"""A headless browser and a small server for trying the live page."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from satdiag.user_folder import ENVIRONMENT
from tests.live.browser.serving import Kept, Serving
from tests.report.conftest import chromium  # noqa: F401  # the same browser as for the report

UNHURRIED = """(() => {
  const real = setTimeout;
  window.setTimeout = (act, wait_ms, ...more) => real(act, wait_ms === 8000 ? 600000 : wait_ms, ...more);
})()"""
"""What goes away after 8 s (the words of an entry with their 'Undo', the hold of what is touched) waits for tests."""


@pytest.fixture
def opened(chromium: Any) -> Iterator[Any]:  # noqa: F811
    """A function that opens the live page of a `Kept`: the page, and the complaints and foreign requests it made."""
    contexts: list[Any] = []
    servers: list[Serving] = []

    def open_page(kept: Kept, width: int = 390, scheme: str = "light", **more: Any) -> tuple[Any, list[str]]:
        server = Serving(kept).__enter__()
        servers.append(server)
        tall = 844 if width < 500 else 800
        context = chromium.new_context(viewport={"width": width, "height": tall}, color_scheme=scheme, **more)
        contexts.append(context)
        context.add_init_script(UNHURRIED)
        page = context.new_page()
        complaints: list[str] = []
        page.on("console", lambda said: "net::ERR" in said.text or complaints.append(f"{said.type}: {said.text}"))
        page.on("pageerror", lambda error: complaints.append(f"error: {error}"))
        context.on(
            "request", lambda asked: asked.url.startswith((server.url, "data:,")) or complaints.append(asked.url)
        )
        page.goto(server.url)
        return page, complaints

    yield open_page
    for context in contexts:
        context.close()
    for server in servers:
        server.__exit__()


@pytest.fixture
def phone(chromium: Any, tmp_path_factory: Any, monkeypatch: Any) -> Iterator[Any]:  # noqa: F811
    """A function that makes a fresh browser of its own (no cookie, nothing stored) and one empty page in it.

    Returns the page, and the complaints it makes. What is said of lost connections is no complaint. `before`: a
    script that runs before any of the page's. `more`: as Playwright's `new_context`. The processes that the test
    starts have a user folder of their own.
    """
    monkeypatch.setenv(ENVIRONMENT, str(tmp_path_factory.mktemp("home")))
    contexts: list[Any] = []

    def make(before: str = "", **more: Any) -> tuple[Any, list[str]]:
        context = chromium.new_context(**more)
        contexts.append(context)
        context.add_init_script(UNHURRIED)
        if before:
            context.add_init_script(before)
        page = context.new_page()
        complaints: list[str] = []
        page.on("console", lambda said: _expected(said.text) or complaints.append(f"{said.type}: {said.text}"))
        page.on("pageerror", lambda error: complaints.append(f"error: {error}"))
        return page, complaints

    yield make
    for context in contexts:
        context.close()


def _expected(words: str) -> bool:
    """Whether a browser says this of a server that is away, or that refuses something in good order."""
    return "net::ERR" in words or "Failed to load resource" in words
