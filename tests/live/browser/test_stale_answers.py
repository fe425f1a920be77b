"""An answer that was asked for before something changed takes nothing back, however late it comes.

The server is the small one of `serving.py`, and answers are held back on their way: this proves the page alone.
"""

from __future__ import annotations

import json
from typing import Any

from tests.live.browser.real import live, until, view, waiting
from tests.live.browser.serving import Kept
from tests.live.browser.test_sky_page import gnss_told

NOTED = """([css, what]) => {
  const place = document.querySelector(css);
  const look = () => noted.at(-1) === place[what] || noted.push(place[what]);
  window.noted = [];
  setInterval(look, 5);
  look();
}"""
"""Notes every value that a property of an element has from now on."""


class Held:
    """Answers to some requests of a page that wait until they are let go, with what the server said at the time."""

    def __init__(self, page: Any, path: str) -> None:
        self.routes: list[Any] = []
        self.holds = True
        page.route(path, self._hold)

    def _hold(self, route: Any) -> None:
        if self.holds:
            self.routes.append((route, route.fetch()))
        else:
            route.continue_()

    def let_go(self) -> None:
        """Hold no more, and hand over what is held."""
        self.holds = False
        for route, answer in self.routes:
            route.fulfill(response=answer)


def noted(page: Any, css: str, what: str) -> None:
    """Begin to note a property of an element."""
    page.evaluate(NOTED, [css, what])


def test_a_sheet_that_was_saved_is_not_shown_as_it_was_before(opened: Any) -> None:
    kept = Kept()
    page, complaints = opened(kept)
    page.route("**/events", lambda route: route.abort())  # no event puts it right meanwhile
    page.reload()
    view(page, "start")
    until(lambda: page.input_value("#sheet-job-vehicle").startswith("demo saloon"), page)

    def save(route: Any) -> None:
        with kept.lock:
            kept.state["sheet"]["job"]["vehicle"] = "demo bus"
        route.fulfill(json={"sheet": kept.state["sheet"]})

    page.route("**/sheet", save)
    page.evaluate("dispatchEvent(new Event('online'))")  # the state is asked for; the answer tells of before
    early = Held(page, "**/state")
    page.evaluate("dispatchEvent(new Event('online'))")
    until(lambda: early.routes, page)
    page.fill("#sheet-job-vehicle", "demo bus")
    noted(page, "#sheet-job-vehicle", "value")
    page.click("#save-sheet")
    page.wait_for_selector("#sheet-said:has-text('The sheet is saved.')")
    early.let_go()
    page.fill("#sheet-job-technician", "Demo")  # touched, so that nothing but an answer of the laptop empties it
    page.wait_for_timeout(300)
    assert page.evaluate("noted") == ["demo bus"]
    assert complaints == []


def test_a_state_that_was_asked_for_before_an_event_does_not_stand_in_its_place(opened: Any) -> None:
    kept = Kept()
    kept.state["built_s"] = 1.0
    page, complaints = opened(kept)
    live(page)
    early = Held(page, "**/state")
    page.evaluate("dispatchEvent(new Event('online'))")
    until(lambda: early.routes, page)
    with kept.lock:
        kept.state["now"]["sentence"], kept.state["built_s"] = "The newer one.", 2.0
    page.wait_for_selector("#sentence:has-text('The newer one.')")
    noted(page, "#sentence", "textContent")
    with page.expect_response("**/state"):
        early.let_go()
    page.wait_for_timeout(300)
    assert page.evaluate("noted") == ["The newer one."]
    assert complaints == []


def test_an_event_that_is_older_than_an_answer_is_left_out_and_the_next_one_is_drawn_whole(opened: Any) -> None:
    kept = Kept()
    kept.state["built_s"] = 1.0
    page, complaints = opened(kept)
    live(page)
    view(page, "channels")
    first, second = kept.state["channels"][:2]
    later = json.loads(json.dumps(kept.state))
    later["built_s"], later["channels"][0]["state"] = 9.0, "missing"
    later["now"]["sentence"] = "Of an answer."
    page.route("**/state", lambda route: route.fulfill(json=later))
    page.evaluate("dispatchEvent(new Event('online'))")
    row = page.locator(".channel").first
    until(lambda: "not listed" in row.inner_text(), page)
    with kept.lock:
        second["state"], kept.state["built_s"], kept.state["now"]["sentence"] = "missing", 5.0, "Of an old event."
    page.wait_for_timeout(700)
    assert page.text_content("#sentence") == "Of an answer."
    with kept.lock:
        kept.state["built_s"], kept.state["now"]["sentence"] = 10.0, "Of a new event."
    page.wait_for_selector("#sentence:has-text('Of a new event.')", state="attached")
    assert first["state"] == "authorised"
    assert "plays" in row.inner_text()
    assert "not listed" in page.locator(".channel").nth(1).inner_text()
    assert complaints == []


def test_a_paper_that_is_being_made_is_so_though_an_earlier_answer_did_not_know_it(opened: Any) -> None:
    paper = {"what": "provider", "title": "Demo letter", "purpose": "", "forms": ["html"], "inside": "", "notes": []}
    kept = Kept(views={"handover": {"papers": [{**paper, "full_id": False}], "number": 1}})
    kept.state["analysis"] = 1
    page, complaints = opened(kept)
    live(page)
    asked: list[Any] = []
    nothing: dict[str, Any] = {"making": None, "made": [], "failed": []}
    being = {**nothing, "making": {"what": "provider", "form": "html", "for_s": 0.1}}
    page.route("**/made", lambda route: asked.append(route) if not asked else (asked.append(route), made(route)))
    page.route("**/make", lambda route: route.fulfill(json=being))

    def made(route: Any) -> None:
        route.fulfill(json=being)

    view(page, "handover")
    until(lambda: asked, page)
    page.click(".paper .make")
    page.wait_for_selector(".paper[data-state=making]")
    page.evaluate(NOTED.replace("place[what]", "place.dataset.state"), [".paper", ""])
    asked[0].fulfill(json=nothing)
    until(lambda: len(asked) > 2, page)
    assert page.evaluate("noted") == ["making"]
    assert complaints == []


def test_edges_that_are_taken_out_at_once_all_stay_out(opened: Any) -> None:
    edges = [[10.0, 20.0], [100.0, 30.0], [200.0, 5.0]]
    kept = Kept(views={"sky": {**gnss_told(), "skyline": edges, "number": 1}})
    kept.state["analysis"] = 1
    page, complaints = opened(kept)
    live(page)
    view(page, "sky")
    keys = page.locator(".readings button")
    until(lambda: keys.count() == 3, page)
    asked: list[Any] = []
    page.route("**/skyline", lambda route: asked.append(route))
    keys.nth(0).click()
    keys.nth(1).click()
    until(lambda: asked, page)
    page.wait_for_timeout(300)
    answers = [{"readings": edges[1:], "analysis": 5}, {"readings": edges[2:], "analysis": 5}]
    for n in (1, 0):  # the later one first, should both have been asked at once
        if n < len(asked):
            asked[n].fulfill(json=answers[n])
    until(lambda: len(asked) == 2, page)
    if keys.count() != 1:
        page.wait_for_timeout(100)
        asked[1].fulfill(json=answers[1])
    until(lambda: keys.count() == 1, page)
    assert page.locator(".readings li").inner_text().startswith("200° (south): 5° high")
    assert complaints == []


def test_of_two_lists_that_are_read_the_last_one_is_shown(opened: Any) -> None:
    page, complaints = opened(Kept())
    live(page)
    view(page, "start")
    early = Held(page, "**/lineup/read")
    page.fill("#list", "7 Demo First")
    page.click("#read-list")
    until(lambda: early.routes, page)
    early.holds = False
    page.fill("#list", "8 Demo Second\n9 Demo Third")
    page.click("#read-list")
    page.wait_for_selector("text=Save 2 channels")
    with page.expect_response("**/lineup/read"):
        early.let_go()
    page.wait_for_timeout(300)
    assert "Demo Second" in page.inner_text("#list-read")
    assert "Demo First" not in page.inner_text("#list-read")
    assert complaints == []


def test_the_list_that_is_replaced_is_the_one_that_was_asked_about(opened: Any) -> None:
    kept = Kept()
    one = {"category": "Music", "channels": 3, "open": 0, "blank": 3, "packages": []}
    kept.state["lineup"] = {"channels": 3, "categories": [one]}
    page, _ = opened(kept)
    live(page)
    view(page, "start")
    asked: list[Any] = []
    page.route("**/lineups/keep", lambda route: asked.append(route))
    page.click("#lineup-keep summary")
    page.fill("#keep-name", "First list")
    page.click("#keep-go")
    until(lambda: asked, page)
    page.fill("#keep-name", "Second")
    problem = {"key": "replace", "what": "another list is kept as 'First-list'", "mend": "Choose another name."}
    asked[0].fulfill(status=422, json={"problems": [problem]})
    page.click("#keep-ask button")
    until(lambda: len(asked) == 2, page)
    assert asked[1].request.post_data_json == {"name": "First-list", "replace": True}
    asked[1].fulfill(json={"name": "First-list", "kept": "replaced"})
    page.wait_for_selector("#keep-said:has-text('Replaced: kept now as First-list.')")


def test_a_tap_that_another_page_has_seen_saved_does_not_come_back_as_refused(opened: Any) -> None:
    page, complaints = opened(Kept())
    live(page)
    view(page, "byhand")
    asked: list[Any] = []
    page.route("**/taps", lambda route: asked.append(route))
    page.click("text=indoors")
    until(lambda: asked, page)
    (tap,) = asked[0].request.post_data_json["taps"]
    page.evaluate("(key) => localStorage.removeItem(`satdiag.tap.${key}`)", tap["key"])
    asked[0].fulfill(json={"saved": [], "refused": [], "conflict": [tap["key"]]})
    page.wait_for_selector("#queue[data-state=good]")
    page.wait_for_timeout(300)
    assert page.get_attribute("#queue", "data-state") == "good"
    assert waiting(page) == 0
    assert complaints == []
