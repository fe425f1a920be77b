"""A headless browser for the form, and the one that figures and PDFs are made with."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from satdiag.report.browser import find_browser
from tests.report.conftest import patient


@pytest.fixture(scope="session")
def browser() -> Path:
    """The browser of this machine. Without one the test is skipped, or fails where CI is set."""
    found = find_browser()
    if found is None:
        why = "no Chromium, Chrome or Edge on this machine"
        if os.environ.get("CI"):
            pytest.fail(why)
        pytest.skip(why)
    return found


@pytest.fixture(scope="module")
def chromium(browser: Path) -> Iterator[Any]:
    """A running headless browser, to look at pages with."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        running = driver.chromium.launch(executable_path=str(browser), args=["--no-sandbox"])
        running.new_context = patient(running.new_context)
        yield running
        running.close()
