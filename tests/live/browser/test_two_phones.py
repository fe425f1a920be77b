"""Two phones that write and one that looks on, at one job and at the same time: real browsers, the real server."""

from __future__ import annotations

import sys
import time
from collections import Counter
from typing import Any

import pytest

from satdiag.opening import open_job
from tests.live.browser.real import PHONE, VIEWS, Laptop, live, pair_by_code, saved, until, view
from tests.live.rigs import new_job

NAMES = ("One", "Two", "Three", "Four", "Five")
"""Of the channels 1 to 5 of the job in `rigs`, each after 'Demo'."""

posix = pytest.mark.skipif(sys.platform == "win32", reason="it ends the server with a signal of POSIX")

STATE_OF = """number => {
  const row = [...document.querySelectorAll(".channel")].find((one) => one.textContent.match(/\\d+/)?.[0] === number);
  return row ? row.textContent : "";
}"""
WATCHED = """([number, word]) => {
  window.seen = new Promise((resolve) => setInterval(() => {
    const rows = [...document.querySelectorAll(".channel")];
    const row = rows.find((one) => one.textContent.match(/\\d+/)?.[0] === number);
    if (row?.querySelector(".front").textContent.includes(word)) resolve(Date.now());
  }, 10));
}"""
"""Note when this page shows a word beside a channel."""

POST = """async ([path, body]) => (await fetch(path, { method: "POST", body: JSON.stringify(body),
  headers: { "Content-Type": "application/json", "X-Satdiag": "1" } })).status"""


def enter(page: Any, laptop: Laptop, code: str) -> None:
    """Open the page, pair by a code that is typed, and go to the channels."""
    page.goto(laptop.url)
    pair_by_code(page, code)
    live(page)
    view(page, "channels")
    page.wait_for_selector(".channel")


def mark(page: Any, number: int, value: str) -> float:
    """Mark a channel; the time at which the page was told that it is saved, s since 1970."""
    page.locator(f".chooser [data-value={value}]").tap()
    row = page.locator(".channel", has_text=f"Demo {NAMES[number - 1]}")
    with page.expect_response("**/taps") as told:
        row.tap()
    assert told.value.ok
    told.value.finished()
    return time.time()


@posix
def test_two_phones_mark_and_see_each_other_and_a_third_only_looks_on(phone, tmp_path, capsys):
    place = new_job(tmp_path / "demo.satjob")
    with Laptop(place) as laptop:
        pages, said = zip(*(phone(**PHONE) for _ in range(3)), strict=True)
        codes = (laptop.code, laptop.code, laptop.watch_code)
        for page, code in zip(pages, codes, strict=True):
            enter(page, laptop, code)
        one, two, watcher = pages
        script = [
            (one, 1, "authorised", "plays"),
            (two, 2, "refused", "refused"),
            (one, 3, "missing", "not listed"),
            (two, 3, "authorised", "plays"),  # both have looked at the same one
            (one, 3, "refused", "refused"),
            (two, 1, "no-signal", "could not tell"),
        ]
        delays = []
        for page, number, value, word in script:
            others = [other for other in pages if other is not page]
            for other in others:
                other.evaluate(WATCHED, [str(number), word])
            acknowledged_s = mark(page, number, value)
            for other in others:
                delays.append(other.evaluate("window.seen") / 1000 - acknowledged_s)
        for page in (one, two):
            saved(page)
        looks_on(watcher)
        assert laptop.end()[0] == 0
    with capsys.disabled():
        print(f"\n{len(delays)} times seen by another phone, {max(delays):.2f} s after the acknowledgement at most")
    rows = [row for row in open_job(place).rows if row.source == "page"]
    assert Counter((row.subject, row.value) for row in rows) == Counter((str(n), value) for _, n, value, _ in script)
    assert [row.subject for row in rows if row.kind != "channel"] == []
    assert len({row.run for row in rows}) == 2
    assert [words for words in said if words] == []


def looks_on(page: Any) -> None:
    """What a page that may only look on shows, what its buttons do, and what becomes of a request it makes itself."""
    page.wait_for_selector("#banner:has-text('may only watch')")
    asked: list[str] = []
    page.on("request", lambda request: request.method == "POST" and asked.append(request.url))
    for name in VIEWS:
        view(page, name)
        for css in (".channel", ".mark", "#changed", "[data-enter]", "#put-note", "#save-sheet"):
            target = page.locator(f"#view-{name} {css}").first
            if target.is_visible() and target.is_enabled():
                target.tap()
    page.wait_for_timeout(500)
    assert asked == []
    assert page.evaluate("Object.keys(localStorage).filter(name => name.startsWith('satdiag.tap.'))") == []
    bodies: dict[str, dict[str, Any]] = {
        "/taps": {"page": "0f0e0d0c-1111-4222-8333-444455556666", "taps": [{}]},
        "/sheet": {"changes": {"job.vehicle": "demo"}},
        "/lineup": {"channels": [{"number": 1, "name": "Demo", "category": ""}]},
        "/lineup/read": {"text": "1 Demo"},
    }
    for path, body in bodies.items():
        assert page.evaluate(POST, [path, body]) == 403, path
    until(lambda: "not checked" in page.evaluate(STATE_OF, "5"), page, what="a list that stands as it was")
