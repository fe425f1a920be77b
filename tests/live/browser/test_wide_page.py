"""A job of thousands of channels on a telephone: the page asks for what it shows, counts all, and stays small.

The real application in a real browser, 360 by 740 points. The line-up is made on the fly, and simulated: it proves
the page, and nothing of a service.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from contextlib import suppress
from typing import Any

import pytest
from playwright.sync_api import Error

from satdiag.job import build_job
from satdiag.live.roll import AT_ONCE, PART
from satdiag.opening import open_job
from satdiag.recorder.clock import time_text
from satdiag.rows import OPTIONAL_COLUMNS, REQUIRED_COLUMNS, Row
from satdiag.store import create_job_file
from tests.live.browser.real import Laptop, saved, shoot, view
from tests.live.browser.test_events_page import Here, live, until
from tests.live.browser.test_live_axe import violations
from tests.live.rigs import SHEET

HEADER = ",".join((*REQUIRED_COLUMNS, *OPTIONAL_COLUMNS))
PHONE = {"viewport": {"width": 360, "height": 740}, "has_touch": True, "is_mobile": True}
CATEGORIES = 40
MOST_ELEMENTS = 4000
SCROLLED = 120  # frames
MOST_HEAP_MB = 150.0
"""Whatever the number of channels; measured: 30 MB of a million."""

MOST_BYTES = 200_000
"""Of any answer of the server, whatever the number of channels."""

posix = pytest.mark.skipif(sys.platform == "win32", reason="it ends the server with a signal of POSIX")


def wide_job(place: Any, count: int) -> Any:
    """A job file with a line-up of so many channels, of which every third was seen."""
    lines = [f"{n},Demo {n},Demo group {n % CATEGORIES},full" for n in range(1, count + 1)]
    lineup = "\n".join(["channel,name,category,packages", *lines, ""]).encode()
    begun_s = time.time() - 3600
    rows = [
        Row(
            time_text(round((begun_s + n / count * 3000) * 1e9)), "channel", str(n), _seen(n), "", "demo", id=f"d-{n}"
        )
        for n in range(3, count + 1, 3)
    ]
    create_job_file(place, build_job({"job.toml": SHEET, "lineup.csv": lineup}, rows, HEADER))
    return place


def _seen(number: int) -> str:
    return "refused" if number % 2 else "authorised"


def shown(page: Any) -> list[int]:
    """The numbers of the channels that are shown, in their order."""
    return [int(text.split()[0]) for text in page.locator("#groups .channel strong").all_text_contents()]


def said(page: Any) -> str:
    """What is said of the part."""
    return str(page.text_content("#part-said"))


def look_for(page: Any, words: str, there: str) -> None:
    """Type words and wait until the page says what it found."""
    page.fill("#search", words)
    until(lambda: said(page) == there, page)


def walk(page: Any, count: int) -> None:
    """Look through the channels as a person does who has so many."""
    whole = f"{count:,}"
    until(lambda: said(page) == f"Shown: 1 to {PART} of {whole}.", page)
    play = f"{count // 6:,} of {whole} channels play, {count - count // 3:,} not checked yet."
    assert page.text_content("#tally") == play
    assert shown(page) == [1 + CATEGORIES * n for n in range(min(PART, count // CATEGORIES))] + [
        2 + CATEGORIES * n for n in range(max(0, PART - count // CATEGORIES))
    ]
    page.click("#part-after")
    until(lambda: said(page) == f"Shown: {PART + 1} to {2 * PART} of {whole}.", page)
    assert page.evaluate("document.activeElement.id") == "groups"
    page.click("#part-before")
    until(lambda: said(page).startswith("Shown: 1 to"), page)
    look_for(page, "no such words", "No channel fits what is looked for.")
    look_for(page, f"{count} demo", "One channel fits.")
    assert shown(page) == [count]
    page.fill("#search", "7")
    until(lambda: shown(page)[:1] == [7], page)
    page.select_option("#filter", label="plays")
    page.select_option("#category", label="Demo group 6")
    page.fill("#search", "")
    play = [n for n in range(6, count + 1, CATEGORIES) if n % 6 == 0]
    until(lambda: shown(page) == play[:PART], page)
    for name in ("#filter", "#category"):
        page.select_option(name, index=0)
    until(lambda: said(page).endswith(f"of {whole}."), page)


def mark_some(page: Any, count: int) -> None:
    """Mark a channel, and a range."""
    look_for(page, f"{count} demo", "One channel fits.")
    page.locator(".chooser [data-value=missing]").tap()
    page.locator("#groups:not([data-moved]) .channel").tap()  # what has just come there takes nothing yet
    saved(page)
    until(lambda: "not listed" in page.text_content(".channel .front"), page)
    page.fill("#search", "")
    page.click("#range")
    too_many = f"That would be {count:,} channels. At most {AT_ONCE} are marked at once: choose fewer."
    until(lambda: page.text_content("#many-count") == too_many, page)
    page.locator("#many-marks .mark").first.tap()
    assert page.text_content("#many-count") == "No channel of the list lies there: nothing is marked."
    page.fill("#to", "20")
    until(lambda: page.text_content("#many-count") == "20 channels will be marked.", page)
    page.locator("#many-marks .mark").first.tap()
    saved(page)


def elements(page: Any) -> int:
    """How many elements the page has."""
    return int(page.evaluate("document.querySelectorAll('*').length"))


def scrolled(page: Any) -> tuple[int, float]:
    """Scroll through the page frame by frame, to its end and from its top again: frames, and the longest of them."""
    frames, worst_ms = page.evaluate(
        """(most) => new Promise((done) => {
            let count = 0, worst = 0, before = performance.now();
            const step = (now) => {
                worst = Math.max(worst, now - before);
                before = now;
                window.scrollTo(0, (count * 97) % document.body.scrollHeight);
                if (++count < most) requestAnimationFrame(step); else done([count, worst]);
            };
            requestAnimationFrame(step);
        })""",
        SCROLLED,
    )
    return int(frames), float(worst_ms)


class Sizes:
    """The sizes of what a page is answered, bytes by path."""

    def __init__(self, page: Any) -> None:
        self.most = Counter[str]()
        page.on("response", self._note)

    def _note(self, response: Any) -> None:
        path = response.url.split("?")[0].split("/", 3)[3]
        if path in ("state", "channels", "channels/numbers"):
            with suppress(Error):  # the page was closed meanwhile
                self.most[path] = max(self.most[path], len(response.body()))


def test_of_thousands_of_channels_the_page_shows_a_part_and_counts_all(chromium, tmp_path):
    place = wide_job(tmp_path / "demo.satjob", 3000)
    context = chromium.new_context(**PHONE)
    with Here(place) as here:
        page = context.new_page()
        complaints: list[str] = []
        page.on("pageerror", lambda error: complaints.append(str(error)))
        sizes = Sizes(page)
        page.goto(here.link())
        live(page)
        view(page, "channels")
        walk(page, 3000)
        mark_some(page, 3000)
        assert elements(page) < MOST_ELEMENTS
        context.close()
    assert {*sizes.most} == {"state", "channels", "channels/numbers"}
    assert max(sizes.most.values()) < MOST_BYTES
    rows = [row for row in open_job(place).rows if row.source == "page"]
    assert Counter(row.value for row in rows) == {"missing": 1, "authorised": 20}
    assert complaints == []


@posix
@pytest.mark.long
@pytest.mark.timeout(1800)
@pytest.mark.parametrize("count", [50_000, 1_000_000])
def test_as_many_channels_as_a_job_may_hold_are_served_to_a_slow_telephone(chromium, tmp_path, capsys, count):
    place = wide_job(tmp_path / "demo.satjob", count)
    context = chromium.new_context(**PHONE)
    with Laptop(place, start_s=900.0) as laptop:
        page = context.new_page()
        complaints: list[str] = []
        page.on("pageerror", lambda error: complaints.append(str(error)))
        sizes = Sizes(page)
        slow = context.new_cdp_session(page)
        slow.send("Emulation.setCPUThrottlingRate", {"rate": 4})
        page.goto(laptop.link)
        live(page)
        view(page, "channels")
        walk(page, count)
        frames, worst_ms = scrolled(page)
        mark_some(page, count)
        shoot(page, f"wide-{count}", "light", 360)
        assert violations(page) == []
        heap_mb = page.evaluate("performance.memory.usedJSHeapSize") / 1e6
        found = elements(page)
        context.close()
        code, told = laptop.end()
    assert code == 0, told
    with capsys.disabled():
        print(f"\n{count} channels: {found} elements, heap {heap_mb:.0f} MB, at most {dict(sizes.most)} bytes")
        print(f"{frames} frames of scrolling, the longest {worst_ms:.0f} ms")
    assert frames == SCROLLED
    assert heap_mb < MOST_HEAP_MB
    assert found < MOST_ELEMENTS
    assert max(sizes.most.values()) < MOST_BYTES
    rows = [row for row in open_job(place).rows if row.source == "page"]
    assert Counter(row.value for row in rows) == {"missing": 1, "authorised": 20}
    assert complaints == []
