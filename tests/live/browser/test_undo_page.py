"""What is undone on the page is undone there too, and what the page says of codes, ranges and refusals is so.

The server is the small one of `serving.py`: this proves the page against our own model of the laptop only.
"""

from __future__ import annotations

import json

from tests.live.browser.real import go_to
from tests.live.browser.serving import Kept, demo_state


def _live(page) -> None:
    page.wait_for_selector("#link[data-state=good]")


def _view(page, name: str) -> None:
    go_to(page, name)


def _undo(page) -> None:
    page.click("#snack >> text=Undo")


def _kept(page, name: str):
    return json.loads(page.evaluate(f"localStorage.getItem('{name}')") or "null")


def test_a_mark_that_was_undone_goes_out_of_the_attempt_and_opens_it_again(opened):
    page, complaints = opened(Kept())
    _live(page)
    _view(page, "timing")
    page.fill("#tune-number", "31")
    page.click("#changed")
    page.click("[data-sign=audio]")
    page.wait_for_selector("text=Channel 31, sound there: waiting")
    _undo(page)
    page.wait_for_selector("text=Channel 31: waiting")
    assert page.is_enabled("[data-sign=audio]")
    page.click("[data-sign=abandoned]")
    page.wait_for_selector("#past >> text=gave up after")
    _undo(page)
    page.wait_for_selector("text=Channel 31: waiting")
    assert page.inner_text("#past") == "None yet."
    page.fill("#tune-number", "32")
    page.click("#changed")
    page.wait_for_selector("#past >> text=ended by another change")
    _undo(page)
    page.wait_for_selector("text=Channel 31: waiting")
    page.click("[data-sign=audio]")
    page.click("[data-sign=title]")
    page.wait_for_selector("#past >> text=title after")
    _undo(page)
    page.wait_for_selector("text=Channel 31, sound there: waiting")
    assert set(_kept(page, "satdiag.attempt")["keys"]) == {"audio"}
    assert complaints == []


def test_a_refused_tap_that_is_undone_is_gone_and_what_waits_is_shown_beside_refusals(opened):
    kept = Kept(refuse={"indoors": "the job is closed"})
    page, _ = opened(kept)
    _live(page)
    _view(page, "byhand")
    page.click("text=indoors")
    page.wait_for_selector("#queue:has-text('1 refused')")
    kept.down = True
    page.click("[data-enter='place vehicle street']")
    page.wait_for_selector("#queue:has-text('▲ 1 refused · ◷ 1 waiting')")
    kept.down = False
    page.wait_for_selector("#queue:has-text('waiting')", state="hidden")
    page.click("text=indoors")
    page.wait_for_selector("#queue:has-text('2 refused')")
    _undo(page)
    page.wait_for_selector("#queue:has-text('1 refused')")
    page.wait_for_timeout(300)
    assert [tap["kind"] for tap in kept.applied.values()] == ["place"]


def test_another_code_can_be_entered_on_a_page_that_looks_on(opened):
    page, _ = opened(Kept(state={**demo_state(), "role": "watch"}))
    _live(page)
    page.click("#link")
    page.click("dialog[open] >> text=Enter another code")
    page.wait_for_timeout(2500)  # some states come in between
    page.fill("#pair-code", "WRONG")
    page.click("#pairing .go")
    page.wait_for_selector("text=That code is not right")
    page.click("#pair-not")
    page.wait_for_selector("#pairing", state="hidden")
    page.click("#link")
    page.click("dialog[open] >> text=Enter another code")
    assert page.inner_text("#pair-said") == ""
    page.fill("#pair-code", "DEMO-CODE")
    page.click("#pairing .go")
    page.wait_for_selector("#pairing", state="hidden")
    _live(page)


def test_an_old_code_in_the_link_is_said_to_be_old(opened):
    kept = Kept(paired=False)
    page, _ = opened(kept)
    address = page.url.partition("#")[0]
    page.goto("about:blank")
    page.goto(f"{address}#c=WRONG")
    page.wait_for_selector("#pairing >> text=That link is old: type the code.")


def test_a_range_from_the_greater_to_the_smaller_and_one_that_holds_nothing(opened):
    kept = Kept()
    page, _ = opened(kept)
    _live(page)
    _view(page, "channels")
    page.click("#range")
    page.fill("#from", "9")
    page.fill("#to", "3")
    page.wait_for_selector("#many-count:has-text('2 channels will be marked.')")
    page.check("#past-minutes")
    page.fill("#minutes", "")
    page.click("#many .mark >> text=refused")
    page.wait_for_selector("#many-count:has-text('Over how many minutes?')")
    page.fill("#from", "9000")
    page.fill("#to", "9001")
    page.click("#many .mark >> text=refused")
    page.wait_for_selector("#many-count:has-text('nothing is marked')")
    assert kept.applied == {}


def test_words_are_true_and_do_not_break_on_a_narrow_page(opened):
    state = demo_state()
    state |= {"role": "watch", "entries": [], "exposure_s": 0.0, "exposure_max_s": None}
    state["sheet"]["job"]["vehicle"] = "demo saloon with a roof antenna, a tow bar and a long word-" + "x" * 60
    state["levels"] = [{"path": "repeater", "value": 38, "unit": "percent", "age_s": 1.0}]
    kept = Kept(state=state)
    page, _ = opened(kept)
    _live(page)
    assert page.inner_text("#exposure") == "It is not proved yet that the receiver has listened."
    assert page.evaluate("document.querySelector('#level-list strong').textContent") == "38\u00a0%"
    _view(page, "byhand")
    assert page.evaluate("document.querySelector('#entries li').getClientRects()[0].height") < 60
    _view(page, "start")
    label = "document.querySelector('#sheet-values li span').getBoundingClientRect()"
    assert page.evaluate(f"{label}.width") >= 100
    assert page.evaluate(f"{label}.height") < 200
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    _view(page, "now")
    kept.down = True
    page.wait_for_selector("#source-list >> text=not known now")


def test_a_note_of_what_the_recorder_changed_is_not_taken_back(opened):
    state = demo_state()
    for number, source in enumerate(("recorder", "page")):
        entry = {"id": f"x-{number}", "time": "2031-05-03T13:50:00Z", "kind": "note", "words": f"note: {source}"}
        state["entries"].append({**entry, "withdrawn": False, "source": source})
    page, _ = opened(Kept(state=state))
    _live(page)
    _view(page, "byhand")
    page.wait_for_selector("#entries li:has-text('note: recorder')")
    assert page.locator("#entries li:has-text('note: recorder') button").count() == 0
    assert page.locator("#entries li:has-text('note: page') button").count() == 1
