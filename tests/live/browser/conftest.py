"""A headless browser and a small server for trying the live page."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from tests.live.browser.serving import Kept, Serving
from tests.report.conftest import chromium  # noqa: F401  # the same browser as for the report


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
