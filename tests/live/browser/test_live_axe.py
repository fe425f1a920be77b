"""No view and no dialog of the live page breaks a rule of WCAG 2.2 A and AA that a program can check.

Checked by axe-core (Deque, MPL-2.0, as axe-playwright-python ships it), with its rules of good practice besides. What
a program cannot check (whether a word is understood, whether an order makes sense) is not proved here. The page is
the real one from the real server with its content security policy; the script is given to the browser by its
debugger, so that nothing of the policy is lifted.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from typing import Any

import pytest

from satdiag.job import build_job
from satdiag.opening import open_job
from satdiag.recorder.clock import time_text
from satdiag.rows import Row, parse_time_us
from satdiag.simulate import make_job, write_job
from satdiag.store import create_job_file
from tests.live.browser.real import PHONE, Laptop, Receiver, live, pair_by_code, shoot, until, view

TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22a", "wcag22aa", "best-practice"]
LOOKS = [("light", 390, 844), ("dark", 1280, 800)]
ALL_LOOKS = [("light", 1280, 800), ("dark", 390, 844)]

posix = pytest.mark.skipif(sys.platform == "win32", reason="it ends the server with a signal of POSIX")

RUN = """async (tags) => {
  const found = await axe.run(document, { runOnly: { type: "tag", values: tags }, resultTypes: ["violations"] });
  return found.violations.map((one) => [one.id, one.help, one.nodes.map((node) => node.html.slice(0, 200))]);
}"""


UNFOLD = """() => {
  for (const one of document.querySelectorAll("main details")) one.open = true;
  window.scrollTo(0, 0); // nothing lies half under what stays at the top
}"""


def violations(page: Any) -> list[Any]:
    """What axe-core finds wrong with a page as it stands: the rule, what it asks, and the elements."""
    from axe_playwright_python.sync_playwright import Axe

    if not page.evaluate("typeof axe === 'object'"):
        page.evaluate(Axe().axe_script)
    return list(page.evaluate(RUN, TAGS))


def test_a_page_with_a_button_without_a_name_and_pale_text_is_found_out(phone):
    page, _ = phone()
    page.set_content(
        "<html lang=en><title>t</title><main><h1>t</h1><button></button><p style='color:#aaa'>pale</main>"
    )
    assert {rule for rule, *_ in violations(page)} >= {"button-name", "color-contrast"}


def states(page: Any, laptop: Laptop) -> Iterator[str]:
    """Every view and every dialog, one after the other, each with a name."""
    page.wait_for_selector("#pairing", state="visible")
    yield "pairing form"
    pair_by_code(page, laptop.code)
    live(page)
    page.wait_for_selector("#level-list li:nth-child(2)")
    for name in ("now", "channels"):
        view(page, name)
        yield name
    yield from _of_channels(page)
    view(page, "timing")
    yield "timing"
    page.fill("#tune-number", "31")
    page.click("#changed")
    yield "timing, a change is open"
    page.click("#view-timing [data-sign=abandoned]")
    yield from _of_the_rest(page)


def _dialog(page: Any, name: str) -> Iterator[str]:
    page.wait_for_selector("dialog[open]")
    yield name
    page.keyboard.press("Escape")
    page.wait_for_selector("dialog[open]", state="hidden")


def _of_channels(page: Any) -> Iterator[str]:
    page.locator(".channel").nth(3).click()
    page.wait_for_selector(".rows .mark")
    yield "channels, the four targets"
    page.locator(".channel").nth(3).click()
    page.locator(".head button").first.click()
    yield from _dialog(page, "many, a category")
    page.click("#range")
    yield from _dialog(page, "many, a range")


def _of_the_rest(page: Any) -> Iterator[str]:
    view(page, "byhand")
    yield "byhand"
    page.click("#view-byhand [data-ask='heading vehicle deg']")
    yield from _dialog(page, "number pad")
    view(page, "start")
    yield "start"
    page.fill("#list", "7 Demo First\nno number\n12 Demo Second")
    page.click("#read-list")
    page.wait_for_selector("#list-read button")
    yield "start, a list is read"
    for name in ("link", "queue"):
        page.click(f"#{name}")
        yield from _dialog(page, f"{name} dialog")
    moving = {"latitude": 41.2, "longitude": -96.1, "accuracy": 5, "speed": 13.9}
    page.context.new_cdp_session(page).send("Emulation.setGeolocationOverride", moving)
    view(page, "byhand")
    page.wait_for_selector("#lock", state="visible")
    yield "lock banner"


def until_now(rows: Sequence[Row]) -> list[Row]:
    """The same rows at such times that the last one is a minute old."""
    times_us = [parse_time_us(row.time, None) for row in rows]
    told_us = [time_us for time_us in times_us if time_us is not None]
    later_us = time.time_ns() // 1000 - 60_000_000 - max(told_us)
    return [
        row._replace(time=time_text((time_us + later_us) * 1000), raw=None)
        for row, time_us in zip(rows, times_us, strict=True)
        if time_us is not None
    ]


@pytest.fixture
def filled(tmp_path) -> Iterator[Laptop]:
    """A server with a simulated job that has everything in it, and a simulated receiver that goes on."""
    write_job(make_job("filling", 1), tmp_path / "demo")
    job = open_job(tmp_path / "demo")
    create_job_file(tmp_path / "demo.satjob", build_job(job.documents, until_now(job.rows), job.header))
    with ExitStack() as stack:
        receiver = stack.enter_context(Receiver("filling", 1, 1.0))
        yield stack.enter_context(Laptop(tmp_path / "demo.satjob", receiver.spec))


@posix
@pytest.mark.parametrize("looks", [LOOKS, pytest.param(ALL_LOOKS, marks=pytest.mark.long)], ids=["some", "others"])
def test_no_view_and_no_dialog_breaks_a_rule(phone, filled, looks):
    more = {"geolocation": {"latitude": 41.2, "longitude": -96.1}, "permissions": ["geolocation"]}
    page, complaints = phone(**PHONE, **more, reduced_motion="reduce")  # no colour is on its way to another
    page.goto(filled.url)
    wrong = every_look(page, filled, looks, violations)
    told = "\n".join(f"{', '.join(map(str, where))}: {one}" for where, some in wrong.items() for one in some)
    assert not wrong, told
    assert complaints == []


def other_views(page: Any, laptop: Laptop) -> Iterator[str]:
    """The views of the last analysis and those behind 'More'; in everyday tests each has its own check elsewhere."""
    page.goto(laptop.link)
    live(page)
    until(lambda: analysed(page), page, what="an analysis")
    for name in ("verdict", "sky", "wiring", "handover", "more", "timing", "start", "channels", "byhand", "now"):
        view(page, name)
        page.wait_for_timeout(400)
        yield name


def analysed(page: Any) -> bool:
    """Whether there is an analysis."""
    return bool(page.evaluate("async () => (await (await fetch('/state')).json()).analysis"))


FOUR = [*LOOKS, *ALL_LOOKS, ("light", 360, 780)]


@posix
@pytest.mark.long
@pytest.mark.parametrize("language", ["en", "es", "fr"])
def test_no_view_breaks_a_rule_or_runs_off_the_screen_in_any_language_and_look(phone, filled, language):
    page, complaints = phone(**PHONE, reduced_motion="reduce", locale=language)

    def look(page: Any) -> list[Any]:
        over = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        return violations(page) + ([["runs off the screen", over]] if over > 0 else [])

    wrong = every_look(page, filled, FOUR, look, other_views)
    told = "\n".join(f"{', '.join(map(str, where))}: {one}" for where, some in wrong.items() for one in some)
    assert not wrong, told
    assert complaints == []


def every_look(
    page: Any,
    laptop: Laptop,
    looks: list[tuple[str, int, int]],
    look: Callable[[Any], Any],
    way: Callable[[Any, Laptop], Iterator[str]] = states,
) -> Any:
    """What is found in every state of the page on a `way` through it, in each scheme and size; nothing: left out."""
    found = {}
    for state in way(page, laptop):
        for scheme, width, height in looks:
            page.emulate_media(color_scheme=scheme)
            page.set_viewport_size({"width": width, "height": height})
            page.evaluate(UNFOLD)
            shoot(page, f"{page.evaluate('document.documentElement.lang')} {state}", scheme, width)
            if wrong := look(page):
                found[state, scheme, width] = wrong
        page.set_viewport_size({"width": looks[0][1], "height": looks[0][2]})
    return found
