"""Pairing over restarts, with the real server in a process of its own: no tap is lost, none goes into another job."""

from __future__ import annotations

import re
import signal
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from satdiag.job import build_job
from satdiag.rows import Row, parse_time_us
from satdiag.store import check_job_file, create_job_file, read_job_file
from satdiag.user_folder import ENVIRONMENT
from tests.live.browser.test_events_page import Here, live, until
from tests.live.rigs import new_job
from tests.live.test_serve import Served

HOUR_MS = 3_600_000
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")

SHIFTED = """
(() => {
  const real = Date.now.bind(Date);
  Date.now = () => real() + SHIFT_MS;
  window.truths = [];
  for (const early of [true, false]) window.addEventListener("pointerdown", () => truths.push(real()), early);
})()
"""
"""The clock of the telephone is set wrong; what the true clock says before and after a touch is noted."""


@pytest.fixture(autouse=True)
def home(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """A user folder of this test's own, for the processes it starts too."""
    monkeypatch.setenv(ENVIRONMENT, str(tmp_path_factory.mktemp("home")))


@pytest.fixture
def phone(chromium: Any) -> Iterator[Callable[..., Any]]:
    """A function that opens a page in a browser that knows nothing yet; its clock is off by so many milliseconds."""
    contexts: list[Any] = []

    def open_page(shift_ms: int = 0) -> Any:
        contexts.append(chromium.new_context(viewport={"width": 390, "height": 844}))
        contexts[-1].add_init_script(SHIFTED.replace("SHIFT_MS", str(shift_ms)))
        return contexts[-1].new_page()

    yield open_page
    for context in contexts:
        context.close()


def _by_hand(page: Any, *values: str) -> None:
    page.click("#bar [data-view=byhand]")
    for value in values:
        page.click(f"[data-enter='place vehicle {value}']")


def _waiting(page: Any) -> int:
    return int(page.evaluate("Object.keys(localStorage).filter(name => name.startsWith('satdiag.tap.')).length"))


def _saved(page: Any) -> None:
    until(lambda: _waiting(page) == 0, page)
    page.wait_for_selector("#queue[data-state=good]")


def _pair(page: Any, code: str) -> None:
    page.wait_for_selector("#pairing", state="visible")
    page.fill("#pair-code", code)
    page.click("#pairing .go")
    page.wait_for_selector("#pairing", state="hidden")


def _places(place: Path) -> list[str]:
    return [row.value for row in read_job_file(place).rows if row.source == "page"]


def test_taps_wait_for_a_restart_with_kept_sessions_and_for_a_new_code(tmp_path: Path, phone: Any) -> None:
    place = new_job(tmp_path / "demo.satjob")
    served = Served(place)
    try:
        page = phone()
        page.goto(f"{served.base}/#c={served.code}")
        live(page)
        asked = page.evaluate_handle(
            """() => { const seen = [];
            new MutationObserver(() => seen.push(!document.getElementById("pairing").hidden))
                .observe(document.getElementById("pairing"), { attributes: true, attributeFilter: ["hidden"] });
            return seen; }"""
        )
        _by_hand(page, "street")
        _saved(page)
        served.end(signal.SIGKILL)
        _by_hand(page, "canopy")
        page.wait_for_selector("#link[data-state=bad]")
        assert _waiting(page) == 1
        served = Served(place, port=served.port)
        _saved(page)
        live(page)
        assert True not in asked.json_value(), "nobody is asked for a code after a crash"
        served.end(signal.SIGINT)
        _by_hand(page, "indoors", "underground")
        served = Served(place, port=served.port)
        page.wait_for_selector("#pairing", state="visible")
        page.wait_for_timeout(500)
        assert _waiting(page) == 2, "what is answered 401 is kept"
        _pair(page, served.code)
        _saved(page)
        page.wait_for_selector("[data-when=trouble]", state="hidden")
    finally:
        served.end(signal.SIGINT)
    assert _places(place) == ["street", "canopy", "indoors", "underground"]
    assert check_job_file(place) == []


def test_another_job_on_the_same_port_asks_for_its_code_and_gets_none_of_the_first_ones_taps(
    tmp_path: Path, phone: Any
) -> None:
    place, other = new_job(tmp_path / "demo.satjob"), tmp_path / "other.satjob"
    create_job_file(other, build_job({"job.toml": b'[job]\nid = "demo-other"\n'}, []))
    served = Served(place)
    try:
        page = phone()
        page.goto(f"{served.base}/#c={served.code}")
        live(page)
        served.end(signal.SIGKILL)
        _by_hand(page, "indoors")
        served = Served(other, port=served.port)
        _pair(page, served.code)
        page.wait_for_selector("#banner:has-text('for another job')")
        _by_hand(page, "street")
        until(lambda: _waiting(page) == 1, page)
        # Now the first job is back before this page has heard of it: it goes by its last word, and is turned down.
        page.route(re.compile("/(state|events|time)$"), lambda route: route.abort())
        served.end(signal.SIGTERM)
        served = Served(place, port=served.port)
        with page.expect_response("**/taps") as answered:
            _by_hand(page, "canopy")
        assert answered.value.status == 409
        assert _waiting(page) == 2
        page.unroute(re.compile("/(state|events|time)$"))
        until(lambda: _waiting(page) == 1, page)
        assert page.is_hidden("#pairing"), "the pairing for the other job did not undo that for the first"
        served.end(signal.SIGTERM)
        assert _places(place) == ["indoors"]
        served = Served(other, port=served.port)
        _saved(page)
    finally:
        served.end(signal.SIGINT)
    assert _places(place) == ["indoors"]
    assert _places(other) == ["street", "canopy"]


@pytest.mark.parametrize("shift_ms", [5 * HOUR_MS, -3 * HOUR_MS - 417])
def test_a_row_is_as_near_to_the_true_time_as_it_says_though_the_telephone_is_hours_off(
    tmp_path: Path, phone: Any, shift_ms: int
) -> None:
    """The bound is that of RFC 5905 (NTP): half of the round trip; 1 ms more, as Date.now() tells whole ones."""
    place = new_job(tmp_path / "demo.satjob")
    page = phone(shift_ms)
    with Here(place) as here:
        page.goto(here.link())
        live(page)
        _by_hand(page)
        page.evaluate("truths.length = 0")
        for value in ("street", "canopy", "indoors", "underground"):
            page.click(f"[data-enter='place vehicle {value}']")
            time.sleep(0.05)
        _saved(page)
        truths = page.evaluate("truths")
    rows = [row for row in read_job_file(place).rows if row.source == "page"]
    assert len(truths) == 2 * len(rows) == 8
    widths_ms = []
    for row, before_ms, after_ms in zip(rows, truths[::2], truths[1::2], strict=True):
        offset_ms, sure_ms = _told(row)
        at_us = parse_time_us(row.time, None)
        assert at_us is not None
        assert before_ms - sure_ms - 1 <= at_us / 1000 <= after_ms + 1 + sure_ms + 1
        assert abs(offset_ms + shift_ms) <= sure_ms + 1
        assert sure_ms >= 1
        widths_ms.append(max(sure_ms, after_ms - before_ms))
    assert min(widths_ms) < 5000, "it says something"  # an idle computer: 20 ms; the telephone is hours off


def _told(row: Row) -> tuple[int, int]:
    found = re.fullmatch(r"clock ([+-]\d+) ms, ±(\d+) ms", row.note)
    assert found
    return int(found[1]), int(found[2])


def test_a_page_that_looks_on_may_write_after_the_other_code(tmp_path: Path, phone: Any) -> None:
    place = new_job(tmp_path / "demo.satjob")
    served = Served(place)
    try:
        found = re.search(r"Code to look on: +(\d{4}) (\d{4})", served.said)
        assert found
        page = phone()
        page.goto(f"{served.base}/#c={found[1]}{found[2]}")
        live(page)
        page.wait_for_selector("[data-when=watch]", state="visible")
        page.click("#link")
        page.click("dialog[open] >> text=Enter another code")
        _pair(page, served.code)
        page.wait_for_selector("[data-when=watch]", state="hidden")
        _by_hand(page, "street")
        _saved(page)
        page.wait_for_timeout(2000)  # the stream that looked on would have spoken again
        assert page.is_hidden("[data-when=watch]")
    finally:
        served.end(signal.SIGINT)
    assert _places(place) == ["street"]
