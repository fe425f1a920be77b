"""A headless browser for the report's tests."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from satdiag.report import browser

PATIENCE_MS = 240_000
"""What gives way to all else, as an analysis does, is late on a computer that has much else to do."""
NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")


def browser_path() -> str | None:
    """The Chromium of this machine, or None. SATDIAG_CHROMIUM names one outside the search path."""
    named = os.environ.get("SATDIAG_CHROMIUM")
    return named or next((found for name in NAMES if (found := shutil.which(name))), None)


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    """A running headless Chromium. Without one the test is skipped, or fails where CI is set."""
    path = browser_path()
    if path is None:
        why = (
            "no Chromium on this machine: install it, or name it in SATDIAG_CHROMIUM, to try the report in a browser"
        )
        if os.environ.get("CI"):
            pytest.fail(why)
        pytest.skip(why)
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        found = driver.chromium.launch(executable_path=path, args=["--no-sandbox"])
        found.new_context, found.new_page = patient(found.new_context), patient(found.new_page)
        yield found
        found.close()


def patient(make: Any) -> Any:
    """Whatever is waited for in a context or page so made is waited for as long as a busy computer takes."""

    def made(**more: Any) -> Any:
        found = make(**more)
        found.set_default_timeout(PATIENCE_MS)
        return found

    return made


@pytest.fixture(autouse=True)
def patient_printing(monkeypatch: pytest.MonkeyPatch) -> None:
    """A browser that prints has as long, too."""
    monkeypatch.setattr(browser, "TIME_LIMIT_S", PATIENCE_MS / 1000)


@pytest.fixture
def seen(chromium: Any, tmp_path: Path) -> Iterator[Any]:
    """A function that opens a report's HTML in a fresh page and returns the page and its complaints."""
    contexts = []

    def see(text: str, width: int = 1280, scheme: str = "light") -> tuple[Any, list[str]]:
        place = tmp_path / "report.html"
        place.write_text(text, encoding="utf-8")
        context = chromium.new_context(viewport={"width": width, "height": 800}, color_scheme=scheme)
        contexts.append(context)
        page = context.new_page()
        complaints: list[str] = []
        page.on("console", lambda message: complaints.append(f"{message.type}: {message.text}"))
        page.on("pageerror", lambda error: complaints.append(f"error: {error}"))
        page.on("request", lambda asked: asked.url == place.as_uri() or complaints.append(f"fetched {asked.url}"))
        page.goto(place.as_uri())
        page.wait_for_function("document.querySelectorAll('.drawing:not(.js-plotly-plot)').length === 0")
        return page, complaints

    yield see
    for context in contexts:
        context.close()
