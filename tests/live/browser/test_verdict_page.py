"""The view 'Verdict' in a real browser: buttons that enter rows, a plan that moves with them, and nothing that jumps.

The logs are made up by this project's own simulation: that the verdict moves the right way proves the page, not the
diagnosis.
"""

from __future__ import annotations

import re
import socket
import sys
from contextlib import closing, contextmanager
from typing import NamedTuple

import pytest

from satdiag.analysis import analyse
from satdiag.job import build_job
from satdiag.live import analyst
from satdiag.live.app import make_app
from satdiag.live.pairing import Pairing
from satdiag.live.security import Access
from satdiag.live.serve import _server
from satdiag.live.views import view_of
from satdiag.opening import open_job
from satdiag.simulate import make_job, write_job
from satdiag.store import create_job_file
from tests.live.browser.real import Laptop, live, pair_by_code, saved, until, view
from tests.live.browser.serving import Kept
from tests.live.browser.test_live_axe import UNFOLD, until_now, violations
from tests.live.rigs import CODE, WATCH, running

posix = pytest.mark.skipif(sys.platform == "win32", reason="it ends the server with a signal of POSIX")
PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True, "locale": "en"}
PAGE = "#view-verdict"


def made(tmp_path, scenario, keep):
    """The job of a scenario with the rows that are kept, as it would be if the last of them were a minute old."""
    write_job(make_job(scenario, 1), tmp_path / "demo")
    job = open_job(tmp_path / "demo")
    return build_job(job.documents, until_now(keep(job.rows)), job.header)


class Near(NamedTuple):
    """A server in this very process."""

    place: object
    url: str
    watch_code = WATCH

    @property
    def link(self):
        """The link that pairs."""
        return f"{self.url}#c={CODE}"


@pytest.fixture
def near(tmp_path, monkeypatch):
    """A function for a real server on such a job, which analyses again at once, where a laptop rests in between."""
    monkeypatch.setattr(analyst, "LONGEST_PAUSE_S", 0.2)

    @contextmanager
    def serve(scenario, keep=lambda rows: rows):
        job_file = tmp_path / "demo.satjob"
        create_job_file(job_file, made(tmp_path, scenario, keep))
        with closing(socket.create_server(("127.0.0.1", 0))) as place, running(job_file, analyse_every_s=0.2) as deck:
            port = place.getsockname()[1]
            access = Access({f"127.0.0.1:{port}"}, Pairing(CODE, WATCH), f"satdiag_{port}")
            with _server(make_app(deck, access), place, deck.closing):
                yield Near(job_file, f"http://127.0.0.1:{port}/")

    return serve


@contextmanager
def laptop(tmp_path, scenario, keep):
    """`satdiag live` in a process of its own on such a job."""
    create_job_file(tmp_path / "demo.satjob", made(tmp_path, scenario, keep))
    with Laptop(tmp_path / "demo.satjob") as served:
        yield served


def without(*kinds):
    return lambda rows: [row for row in rows if row.kind not in kinds]


def opened_at(phone, served, **more):
    """The view, once the first analysis is there."""
    page, complaints = phone(**{**PHONE, **more})
    page.goto(served.link)
    live(page)
    view(page, "verdict")
    page.wait_for_selector(f"{PAGE} .sentence")
    return page, complaints


@contextmanager
def no_newer_analysis(page):
    """Until it ends the page hears of no newer analysis, which would work an answer in and take its step away."""
    page.route("**/view/verdict", lambda route: route.abort())
    yield
    page.unroute("**/view/verdict")


def share_of(page, name):
    """The number beside a cause's bar, of a hundred."""
    words = page.inner_text(f"{PAGE} .causes:last-of-type li:has(span:text-is('{name}')) strong")
    return int(re.search(r"\d+", words)[0])


def rows_in(served, kind):
    return [(row.subject, row.value, row.unit) for row in open_job(served.place).rows if row.kind == kind]


def put_in(page, key, number):
    """Press a key that asks for a number, and type it."""
    page.click(f"{PAGE} .choice-key:has-text('{key}')")
    for digit in number:
        page.click(f"dialog[open] .key:text-is('{digit}')")
    page.click("dialog[open] .go")


# --- with a real server ---------------------------------------------------------------------------------------------


def test_what_a_meter_shows_makes_the_open_lead_lead_more(phone, near):
    with near("antenna-open", without("bias", "swap")) as served:
        measure(phone, served)


@posix
@pytest.mark.long
def test_so_it_does_with_the_command_itself(phone, tmp_path):
    with laptop(tmp_path, "antenna-open", without("bias", "swap")) as served:
        measure(phone, served)


def measure(phone, served):
    """Enter 5.0 V and no current, and see the verdict move."""
    page, complaints = opened_at(phone, served)
    title = f"{PAGE} .step-card h3"
    assert page.inner_text(title).startswith("Measure voltage and current of the antenna feed")
    assert page.locator(f"{PAGE} .caution").all_inner_texts()[0].startswith("▲ Airbag and belt wiring")
    until(
        lambda: re.search(r"Worked out \d+ (s|min) ago\.", page.inner_text(PAGE)),
        page,
        what="a state that tells its age",
    )
    before = share_of(page, "Antenna lead open")
    with no_newer_analysis(page):
        put_in(page, "Voltage of the feed (V)", "5.0")
        page.wait_for_selector(f"{PAGE} .entered:has-text('antenna feed, voltage: 5.0 V')")
        put_in(page, "Current of the feed (mA)", "0")
        saved(page)
    assert rows_in(served, "bias") == [("voltage", "5.0", "V"), ("current", "0", "mA")]
    until(lambda: share_of(page, "Antenna lead open") > before + 20, page, what="a verdict that leads more")
    page.wait_for_selector(f"{PAGE} >> text=Your last answer is worked in")
    assert "open, without a DC path" in page.inner_text(f"{PAGE} .sentence")
    page.locator(f"{PAGE} .reason button").first.click()
    shown = page.inner_text("dialog[open]")
    assert "antenna feed, current: 0 mA" in shown
    assert re.search(r"p-[0-9a-f-]{36}", shown)
    assert complaints == []


def test_a_later_step_says_after_which_answer_it_comes(phone, near):
    with near("supply-dropout") as served:
        page, complaints = opened_at(phone, served)
        page.wait_for_selector(f"{PAGE} .step-card:has-text('If the step before shows this: ')")
        said = page.locator(f"{PAGE} .step-card").first.text_content()
        assert re.search(r"Chance (over )?\d+.%\. Then most likely: [^.]+, (over )?\d+.%\.", said), said
        assert complaints == []


def test_an_answer_can_be_taken_back_and_the_plan_goes_on_from_the_next_one(phone, near):
    with near("ring-order", without("ring")) as served:
        page, complaints = opened_at(phone, served)
        step = page.locator(f"{PAGE} .step-card", has_text="Try another audio source of the ring")
        step.locator("summary").first.click()
        lost = step.locator(".answer", has_text="The other audio sources are lost too")
        before = share_of(page, "Optical ring open")
        with no_newer_analysis(page):
            lost.click()
            page.wait_for_selector(f"{PAGE} .entered:has-text('being worked out')")
            assert lost.get_attribute("aria-disabled") == "true"
            lost.click(force=True)
            step.locator("button", has_text="Take back").click()
            page.wait_for_selector(f"{PAGE} .entered", state="hidden")
            assert lost.get_attribute("aria-disabled") is None
            lost.click()
            saved(page)
        lines = open_job(served.place).rows
        gone = {row.value for row in lines if row.kind == "withdraw"}
        rings = [(row.value, row.id in gone) for row in lines if row.kind == "ring"]
        assert rings == [("lost", True), ("lost", False)], "a second tap enters nothing"
        until(lambda: share_of(page, "Optical ring open") > before + 10, page, what="a verdict that leads more")
        assert page.locator(f"{PAGE} .step-card", has_text="Try another audio source").count() == 0
        assert complaints == []


TIMER = """(timer) => {
  const { due_ms } = JSON.parse(localStorage["satdiag.calls"]).held.look;
  const clock = new Date(due_ms).toLocaleTimeString("en", { timeStyle: "short", hour12: false });
  return [timer.innerText, due_ms === null ? null : clock];
}"""
"""What the countdown says, and to when it counts: at one moment, as a newer state may move it."""


def test_waiting_counts_down_to_the_moment_of_the_view_now(phone, near):
    with near("filling", lambda rows: without("withdraw")(rows[: int(0.35 * len(rows))])) as served:
        page, complaints = opened_at(phone, served)
        step = page.locator(f"{PAGE} .step-card").first
        assert "then check the channels again: if nothing is wrong" in step.inner_text()
        assert "more channels play after the wait" in step.inner_text().lower()
        step.locator("[role=timer]").wait_for(state="visible")
        told, clock = step.locator("[role=timer]").evaluate(TIMER)
        if clock is None:
            assert told.endswith("it stands still while the receiver does not listen.")
        else:
            assert told.startswith("Look again in ")
            assert told.endswith(f"at {clock}.")
        step.locator("button", has_text="Done in: Channels").click()
        page.wait_for_selector("#view-channels", state="visible")
        assert complaints == []


def test_without_a_test_that_pays_the_repairs_stand_there_and_a_watcher_has_no_buttons(phone, near):
    with near("node-unpowered") as served:
        page, complaints = phone(**PHONE)
        page.goto(served.url)
        pair_by_code(page, served.watch_code)
        live(page)
        view(page, "verdict")
        page.wait_for_selector(f"{PAGE} .sentence")
        told = page.inner_text(PAGE)
        assert "Enough is known to act" in told
        assert re.search(r"Receiver does not answer (over )?99.%\n", told)
        assert "About 40 minutes of work." in told
        assert "▲ Light in the fibres" in told
        buttons = set(page.locator(f"{PAGE} button:visible").all_inner_texts())
        assert all(one.startswith("Shown by") for one in buttons), buttons
        page.locator(f"{PAGE} .reason button").first.click()
        rows = {row.id for row in open_job(served.place).rows if row.kind in ("node", "ring", "listing")}
        assert any(name in page.inner_text("dialog[open]") for name in rows)
        assert complaints == []


# --- by itself ------------------------------------------------------------------------------------------------------


@pytest.fixture
def told(tmp_path):
    """What the view is told of a made-up job whose feed was never measured; `number` is 1.

    The first of its other tests, answered by buttons, is that of another job: what is offered when is not the page's.
    """
    job = made(tmp_path / "antenna", "antenna-open", without("bias", "swap"))
    other = made(tmp_path / "unheard", "antenna-open", without("bias", "swap", "channel"))
    (asked,) = [one for one in plan_of(other)["others"] if one["test"] == "play-open-channel"]
    found = view_of("verdict", job, analyse(job))
    return {**found, "plan": {**found["plan"], "others": [asked, *found["plan"]["others"]]}, "number": 1}


def plan_of(job):
    return view_of("verdict", job, analyse(job))["plan"]


def serving(told, **state):
    kept = Kept(views={"verdict": told})
    kept.state.update(analysis=told["number"], **state)
    return kept


def next_one(kept, **changes):
    """Another analysis."""
    with kept.lock:
        number = kept.state["analysis"] + 1
        kept.views["verdict"] = {**kept.views["verdict"], **changes, "number": number}
        kept.state["analysis"] = number
        kept.changes += 1


def seen(opened, kept, **more):
    page, complaints = opened(kept, **more)
    live(page)
    view(page, "verdict")
    page.wait_for_selector(f"{PAGE} .sentence")
    return page, complaints


LONGER = " ".join(["A sentence that has grown long since."] * 12)


def test_what_is_pressed_stays_where_it_is_until_it_is_let_go(opened, told):
    kept = serving(told)
    page, complaints = seen(opened, kept)
    key = page.locator(f"{PAGE} .choice-key").first
    key.scroll_into_view_if_needed()
    place = key.bounding_box()
    page.mouse.move(place["x"] + 20, place["y"] + 20)
    page.mouse.down()
    next_one(kept, head={**told["head"], "text": LONGER})
    page.wait_for_timeout(900)
    assert key.bounding_box() == place
    assert LONGER not in page.inner_text(PAGE)
    page.mouse.up()
    page.wait_for_selector("dialog[open]")
    page.wait_for_selector(f"{PAGE} .sentence:has-text('has grown long')")
    assert complaints == []


def test_what_has_the_focus_keeps_it_and_its_place_when_the_page_grows_above_it(opened, told):
    kept = serving(told)
    page, complaints = seen(opened, kept)
    key = page.locator(f"{PAGE} .choice-key").first
    key.scroll_into_view_if_needed()
    page.evaluate("window.scrollBy({ top: 300, behavior: 'instant' })")
    key.focus()
    mark = page.evaluate_handle("document.activeElement")
    top = key.bounding_box()["y"]
    next_one(kept, head={**told["head"], "text": LONGER})
    page.wait_for_selector(f"{PAGE} .sentence:has-text('has grown long')")
    assert abs(key.bounding_box()["y"] - top) < 2
    assert page.evaluate("(one) => document.activeElement === one", mark), "the very same button"
    first, *others = told["plan"]["others"]
    next_one(kept, plan={**told["plan"], "steps": [first], "others": others})
    page.wait_for_selector(f"{PAGE} .steps >> nth=0 >> text={first['text']}")
    assert page.evaluate("document.activeElement.textContent") == "Next tests", "the step that had the focus is gone"
    assert complaints == []


TAP_AT_ONCE = """(css) => new MutationObserver((_, watch) => {
  const key = document.querySelector(css);
  if (!key?.checkVisibility()) return;
  watch.disconnect();
  key.click();
}).observe(document.body, { childList: true, subtree: true, attributes: true })"""
"""Tap something the moment it is there."""


def test_a_button_that_has_just_come_under_the_finger_takes_nothing(opened, told):
    kept = serving(told)
    page, _ = seen(opened, kept)
    first, *others = told["plan"]["others"]
    assert first["test"] == "play-open-channel"
    page.evaluate(TAP_AT_ONCE, f"{PAGE} .answer")
    next_one(kept, plan={**told["plan"], "steps": [first], "others": others})
    key = page.locator(f"{PAGE} .answer").first
    page.wait_for_selector("#snack span:text-is('This has just come up: tap once more if you mean it.')")
    assert kept.applied == {}
    page.wait_for_timeout(700)
    key.click()
    until(lambda: len(kept.applied) == 1, page)


def test_a_wait_shows_the_countdown_of_the_view_now_and_stands_still_with_it(opened, told):
    step = {**told["plan"]["others"][0], "test": "wait-and-recheck", "wait": True, "answers": [], "view": "channels"}
    kept = serving({**told, "plan": {**told["plan"], "steps": [step], "others": []}})
    kept.state["now"]["calls"][0]["in_s"] = 808  # it stays 13 min for the better part of a minute
    page, complaints = seen(opened, kept)
    timer = page.locator(f"{PAGE} [role=timer]")
    assert re.fullmatch(r"Look again in 13 min, at \d\d:\d\d\.", timer.inner_text())
    kept.state["now"].update(running=False, running_why="Demo: it does not listen.")
    kept.changes += 1
    stands = "Look again after 13 min more: it stands still while the receiver does not listen."
    until(lambda: timer.inner_text() == stands, page)
    kept.state["now"].update(calls=[], running=True)
    kept.changes += 1
    timer.wait_for(state="hidden")
    assert complaints == []


def test_an_answer_counts_as_open_until_an_analysis_holds_it(opened, told):
    kept = serving({**told, "plan": {**told["plan"], "steps": told["plan"]["others"][:1], "others": []}})
    page, complaints = seen(opened, kept)
    page.locator(f"{PAGE} .answer").first.click()
    page.wait_for_selector(f"{PAGE} .entered:has-text('being worked out')")
    assert page.locator(f"{PAGE} .answer.chosen").inner_text().endswith("◷ Entered, being worked out.")
    until(lambda: kept.applied, page)
    next_one(kept, head={**told["head"], "text": "Another sentence, of an analysis that began before."})
    page.wait_for_selector(f"{PAGE} .sentence:has-text('began before')")
    assert page.locator(f"{PAGE} .entered").is_visible()
    next_one(kept, counted=[f"p-{key}" for key in kept.applied])
    page.locator(f"{PAGE} .entered").wait_for(state="hidden")
    assert page.locator(f"{PAGE} .answer.chosen, {PAGE} .answer[aria-disabled]").count() == 0
    assert page.locator(PAGE).get_by_text("✓ Your last answer is worked in.").is_visible()
    (tap,) = kept.applied.values()
    wanted = told["plan"]["others"][0]["answers"][0]["entries"][0]
    assert (tap["kind"], tap["subject"], tap["value"]) == ("channel", wanted["subject"], "authorised")
    assert complaints == []


def test_another_job_is_not_shown_the_verdict_of_the_one_before_though_its_number_is_the_same(opened, told):
    plan = {**told["plan"], "steps": told["plan"]["others"][:1], "others": []}
    kept = serving({**told, "plan": plan}, job="demo-1")
    page, complaints = seen(opened, kept)
    page.locator(f"{PAGE} .answer").first.click()
    page.wait_for_selector(f"{PAGE} .answer[aria-disabled]")
    until(lambda: kept.applied, page)
    with kept.lock:
        kept.views["verdict"] = {**kept.views["verdict"], "head": {**told["head"], "text": "The verdict of job two."}}
        kept.state.update(job="demo-2", run="r1")
        kept.changes += 1
    page.wait_for_selector(f"{PAGE} .sentence:has-text('job two')")
    page.locator(f"{PAGE} .entered").wait_for(state="hidden")
    assert page.locator(f"{PAGE} .answer[aria-disabled]").count() == 0  # the answer was the other job's
    assert complaints == []


def test_the_rare_causes_are_folded_and_what_fits_badly_is_named_first(opened, told):
    row = {"id": "row 7", "at": "10:00:00", "words": "lock any: no"}
    odd = {"item": "any-path", "text": "The receiver locks on nothing.", "said": "Demo chance.", "rows": [row]}
    page, _ = seen(opened, serving({**told, "odd": odd, "earlier": ["Demo fault, gone."]}))
    shown = page.locator(f"{PAGE} .causes li").all_inner_texts()
    assert shown
    assert not any("under 1" in one for one in shown)
    assert all(re.search(r"\d.*% (almost|very|likely|possible|unlikely)", one) for one in shown)
    heads = page.locator(f"{PAGE} h2").all_inner_texts()
    assert heads[:2] == ["Look again at this first", "Next tests"]
    assert "What was wrong earlier and is not now" in heads
    page.locator(f"{PAGE} button", has_text="Shown by 1 row").first.click()
    assert "row 7 10:00:00 · lock any: no" in page.inner_text("dialog[open]")


def test_before_the_first_analysis_it_says_so(opened):
    page, _ = opened(Kept())
    live(page)
    view(page, "verdict")
    page.wait_for_selector(f"{PAGE} >> text=There is not enough in the log yet")
    assert not page.locator(f"{PAGE} .sentence").is_visible()


# --- for every eye and thumb ----------------------------------------------------------------------------------------

SIZES = """(root) => [...document.querySelectorAll(`${root} :is(button, summary)`)].filter((one) => one.offsetParent)
  .map((one) => [one, one.getBoundingClientRect()])
  .map(([one, box]) => [one.className, one.textContent, box.width, box.height])"""
COLOURS = """(what) => {
  const one = document.querySelector(what);
  let ground = one;
  while (getComputedStyle(ground).backgroundColor === "rgba(0, 0, 0, 0)") ground = ground.parentElement;
  const colours = [getComputedStyle(one).color, getComputedStyle(ground).backgroundColor];
  return colours.map((colour) => colour.match(/[0-9.]+/g).map(Number));
}"""


def contrast(one, other):
    """Contrast of two colours by WCAG 2.2, 'contrast ratio' and 'relative luminance'."""

    def luminance(colour):
        parts = [c / 255 for c in colour[:3]]
        r, g, b = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
        return 0.2126 * r + 0.7152 * g + 0.0722 * b

    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_black_on_white_has_the_contrast_that_the_standard_names():
    assert contrast((0, 0, 0), (255, 255, 255)) == pytest.approx(21.0)  # WCAG 2.2: ratios range from 1 to 21


@pytest.mark.parametrize("scheme", ["dark", pytest.param("light", marks=pytest.mark.long)])
def test_it_can_be_read_and_hit_by_everybody(opened, told, scheme):
    page, complaints = seen(opened, serving(told), scheme=scheme, reduced_motion="reduce")
    page.evaluate(UNFOLD)
    for width in (360, 390, 1280):
        page.set_viewport_size({"width": width, "height": 800})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        for look, text, wide, high in page.evaluate(SIZES, PAGE):
            least = 64 if {"answer", "choice-key", "wide"} & set(look.split()) else 44
            assert min(wide, high) >= least - 0.5, (look, text)
    page.set_viewport_size({"width": 390, "height": 844})
    assert contrast(*page.evaluate(COLOURS, f"{PAGE} .sentence")) >= 7
    assert violations(page) == []
    assert complaints == []
