"""The real application in a real browser: what the stream of events tells, and what a page that looks on holds."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest

from satdiag.live.app import make_app
from satdiag.live.deck import Deck
from satdiag.live.pairing import Pairing
from satdiag.live.security import Access
from satdiag.live.serve import LOOPBACK, _server, hosts_of, listening
from tests.live.browser.real import PATIENCE_S
from tests.live.rigs import CODE, PAGE, WATCH, new_job, tap
from tests.ports import free_port

SITE = {"name": "demo roof", "latitude_deg": 45.1234, "longitude_deg": -93.9876, "height_m": 312}
NOTE, TECHNICIAN = "the demo customer is rude", "Demo Technician"


class Here:
    """The application over a deck, served from this process. `url`: of the page; `link`: with a code."""

    def __init__(self, place: Path, analyse_every_s: float = 600.0) -> None:
        self._deck = Deck(place, analyse_every_s=analyse_every_s)

    def link(self, code: str = CODE) -> str:
        """The link that pairs."""
        return f"{self.url}#c={code}"

    @contextmanager
    def client(self) -> Iterator[httpx.Client]:
        """Another paired page, without a browser."""
        with httpx.Client(base_url=self.url, headers={"X-Satdiag": "1"}, timeout=60) as client:
            answer = client.post("/pair", json={"code": CODE})
            assert answer.status_code == 200, answer.text
            yield client

    def __enter__(self) -> Here:
        with socket_of_its_own() as place:
            port = place.getsockname()[1]
            self.url = f"http://{LOOPBACK}:{port}/"
            self._deck.start()
            access = Access(hosts_of(LOOPBACK, port), Pairing(CODE, WATCH), f"satdiag_{port}", job=self._deck.job)
            self._place = place.dup()
        self._serving = _server(make_app(self._deck, access), self._place, self._deck.closing)
        self._serving.__enter__()
        self._over = threading.Event()
        self._ticking = threading.Thread(target=self._tick, daemon=True)
        self._ticking.start()
        return self

    def _tick(self) -> None:
        while not self._over.wait(0.2):
            self._deck.tick()

    def __exit__(self, *_: object) -> None:
        self._over.set()
        self._ticking.join()
        self._serving.__exit__(None, None, None)
        self._place.close()
        assert self._deck.stop().unwritten == ()


def socket_of_its_own() -> Any:
    """A listening socket on a port that nobody else has or expects."""
    return listening(LOOPBACK, free_port())


@pytest.fixture
def here(tmp_path: Path) -> Iterator[Here]:
    """A server with a job of five channels."""
    with Here(new_job(tmp_path / "demo.satjob")) as served:
        yield served


@pytest.fixture
def phone(chromium: Any) -> Iterator[Any]:
    """A page of a browser that knows nothing yet."""
    context = chromium.new_context(viewport={"width": 390, "height": 844})
    yield context.new_page()
    context.close()


def live(page: Any) -> None:
    """Wait until the stream of events is heard."""
    page.wait_for_selector("#link[data-state=good]")


def until(done: Callable[[], object], page: Any, seconds: float = PATIENCE_S) -> None:
    """Wait for something; the page goes on meanwhile. (Playwright's own way is an `eval`, which the page forbids.)"""
    end_s = time.monotonic() + seconds
    while not done():
        assert time.monotonic() < end_s, "it did not happen in time"
        page.wait_for_timeout(20)


def _numbers(page: Any) -> list[str]:
    return [text.split()[0] for text in page.locator("#groups .channel strong").all_inner_texts()]


def _shows(page: Any, numbers: list[str]) -> None:
    until(lambda: sorted(_numbers(page)) == sorted(numbers), page)


def test_channels_of_another_line_up_come_and_those_that_went_away_go(here: Here, phone: Any) -> None:
    phone.goto(here.link())
    live(phone)
    phone.click("#bar [data-view=channels]")
    _shows(phone, ["1", "2", "3", "4", "5"])
    asked: list[str] = []
    phone.route("**/state", lambda route: (asked.append(route.request.url), route.abort()))  # the stream alone tells
    with here.client() as other:
        for numbers in ([2, 3], [2, 3, 77], [5]):
            channels = [{"number": number, "name": f"Demo {number}", "category": "music"} for number in numbers]
            assert other.post("/lineup", json={"channels": channels}).status_code == 200
            _shows(phone, [str(number) for number in numbers])
        marked = {"page": PAGE, "taps": [tap("channel", "5", "refused")]}
        assert other.post("/taps", json=marked).status_code == 200
    phone.wait_for_selector("#groups .channel:has-text('Demo 5'):has-text('refused')")
    assert _numbers(phone) == ["5"]
    assert phone.get_attribute("#link", "data-state") == "good"


def test_a_page_that_looks_on_holds_nothing_that_is_not_for_it(here: Here, phone: Any) -> None:
    with here.client() as other:
        changes = {"job.technician": TECHNICIAN, "site": SITE}
        assert other.post("/sheet", json={"changes": changes}).status_code == 200
        sent = {"page": PAGE, "taps": [tap("note", "", NOTE), tap("channel", "2", "refused")]}
        assert other.post("/taps", json=sent).status_code == 200
        received: list[str] = []
        phone.on("response", lambda answer: answer.url.endswith("/state") and received.append(answer.text()))
        phone.goto(here.link(WATCH))
        live(phone)
        phone.wait_for_selector("#banner:has-text('may only watch')")
        later = {"page": PAGE, "taps": [tap("note", "", f"{NOTE} again")]}
        assert other.post("/taps", json=later).status_code == 200
    told = phone.locator("#entries li", has_text="a note")
    until(lambda: told.count() == 3, phone)  # one is of the sheet; the last one comes over the stream
    held = phone.evaluate(
        "document.documentElement.textContent + [...document.querySelectorAll('input, textarea, select')]"
        ".map(one => `${one.value} ${one.placeholder ?? ''}`).join('\\n')"
    )
    assert received
    for secret in (NOTE, TECHNICIAN, "45.1234", "93.9876"):
        assert secret not in held
        assert not [text for text in received if secret in text]
    assert "demo van" in held
    assert "channel 2: refused" in held
