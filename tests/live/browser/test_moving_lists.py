"""Lists that change while they are used: what is under a finger stays there and keeps its focus.

The server is the small one of `serving.py`: this proves the page alone.
"""

from __future__ import annotations

from typing import Any

from tests.live.browser.real import live, until, view, waiting
from tests.live.browser.serving import Kept
from tests.live.browser.test_sky_page import gnss_told
from tests.live.browser.test_wiring_page import told_of

STILL = """(() => {
  const real = setTimeout;
  window.later = [];
  window.setTimeout = (act, wait_ms, ...more) => (wait_ms === 400 ? later.push(act) : real(act, wait_ms, ...more));
})()"""
"""What has just moved counts as that until `SETTLE`."""

SETTLE = "later.splice(0).forEach((act) => act())"

ELSEWHERE = """([from, to]) => {
  const touch = { bubbles: true, cancelable: true, isPrimary: true, button: 0 };
  from.dispatchEvent(new PointerEvent("pointerdown", touch));
  from.dispatchEvent(new PointerEvent("pointerup", touch));
  to.dispatchEvent(new MouseEvent("click", { bubbles: true, cancelable: true, detail: 1 }));
}"""
"""What a browser tells of a finger that went down at one element and was lifted when another had come under it."""

MOVED = "#snack:has-text('This has just moved here')"
OPEN_SKY = "#entries li:has-text('place: open sky')"


def comes(kept: Kept) -> None:
    """A row that another source brings."""
    with kept.lock:
        entry = {"id": "r1-9", "time": "2031-05-03T13:50:00Z", "words": "sound: muted", "source": "recorder"}
        kept.state["entries"].insert(0, {**entry, "withdrawn": False})
        kept.state["rows"] += 1


def at_entries(opened: Any, kept: Kept) -> tuple[Any, list[str]]:
    """The page at the list of entries, with one that can be taken back in sight."""
    page, complaints = opened(kept)
    live(page)
    view(page, "byhand")
    page.locator(f"{OPEN_SKY} button").scroll_into_view_if_needed()
    return page, complaints


def withdrawn(kept: Kept) -> list[str]:
    """What was taken back, as the server was told."""
    return [tap["value"] for tap in kept.applied.values() if tap["kind"] == "withdraw"]


def press_at(page: Any, key: Any) -> None:
    """Put the pointer on a key and press."""
    place = key.bounding_box()
    page.mouse.move(place["x"] + place["width"] / 2, place["y"] + place["height"] / 2)
    page.mouse.down()


def is_same(page: Any, before: Any, selector: str) -> bool:
    return bool(page.evaluate("([one, css]) => document.querySelector(css) === one", [before, selector]))


def test_a_row_that_comes_while_an_entry_is_pressed_moves_nothing_and_that_entry_is_taken_back(opened: Any) -> None:
    kept = Kept()
    page, complaints = at_entries(opened, kept)
    key = page.locator(f"{OPEN_SKY} button")
    place, mark = key.bounding_box(), key.element_handle()
    press_at(page, key)
    comes(kept)
    page.wait_for_selector("#kept:has-text('215 rows are saved')", state="attached")
    assert mark.evaluate("(one) => one.isConnected")
    assert key.bounding_box() == place
    page.mouse.up()
    page.wait_for_selector("#entries li:has-text('sound: muted')")
    page.wait_for_selector(f"{OPEN_SKY} s")
    until(lambda: withdrawn(kept), page)
    assert withdrawn(kept) == ["r1-7"]
    assert complaints == []


def test_a_row_keeps_its_element_and_its_focus_when_others_come_and_hands_it_on_when_it_is_taken_back(
    opened: Any,
) -> None:
    kept = Kept()
    page, complaints = at_entries(opened, kept)
    row = page.locator("#entries li", has_text="place: open sky").element_handle()
    page.locator(f"{OPEN_SKY} button").focus()
    focused = page.evaluate_handle("document.activeElement")
    comes(kept)
    page.wait_for_selector("#entries li:has-text('sound: muted')")
    assert is_same(page, row, "#entries li:nth-child(2)")
    assert page.evaluate("(one) => document.activeElement === one", focused)
    page.keyboard.press("Enter")
    page.wait_for_selector(f"{OPEN_SKY} s")
    assert page.evaluate("(row) => document.activeElement === row", row)
    until(lambda: withdrawn(kept), page)
    page.wait_for_selector("#entries li:has-text('withdraw row r1-7')")
    assert page.evaluate("(row) => document.activeElement === row", row)
    assert withdrawn(kept) == ["r1-7"]
    assert complaints == []


def test_an_entry_of_this_page_keeps_its_row_from_waiting_to_saved(opened: Any) -> None:
    kept = Kept()
    page, complaints = at_entries(opened, kept)
    asked: list[Any] = []
    page.route("**/taps", lambda route: asked.append(route))
    page.click("text=indoors")
    waits = page.wait_for_selector("#entries li:has-text('waiting')")
    assert "place: indoors" in waits.inner_text()
    until(lambda: asked, page)
    asked[0].continue_()
    saved = page.wait_for_selector("#entries li:has-text('place vehicle indoors')")
    assert page.evaluate("([one, other]) => one === other", [waits, saved])
    assert complaints == []


def test_a_finger_that_went_down_at_another_entry_takes_nothing_back(opened: Any) -> None:
    kept = Kept()
    comes(kept)
    page, complaints = at_entries(opened, kept)
    one, other = (page.locator(f"#entries li:has-text('{words}') button") for words in ("sound", "open sky"))
    page.evaluate(ELSEWHERE, [one.element_handle(), other.element_handle()])
    assert waiting(page) == 0
    assert kept.applied == {}
    page.wait_for_selector(MOVED)
    row, heading = page.query_selector(OPEN_SKY), page.query_selector("#beside h2")
    page.evaluate(ELSEWHERE, [heading, other.element_handle()])
    assert waiting(page) == 0
    assert kept.applied == {}
    page.evaluate(ELSEWHERE, [row, other.element_handle()])  # beside the key, as some browsers forgive
    until(lambda: withdrawn(kept), page)
    assert withdrawn(kept) == ["r1-7"]
    assert complaints == []


def test_what_has_just_come_under_a_finger_is_not_taken_back_by_the_first_tap(opened: Any) -> None:
    kept = Kept()
    page, complaints = at_entries(opened, kept)
    page.evaluate(STILL)
    comes(kept)
    page.wait_for_selector("#entries[data-moved] li:has-text('sound: muted')")
    page.click(f"{OPEN_SKY} button")
    page.wait_for_selector(MOVED)
    assert waiting(page) == 0
    assert kept.applied == {}
    page.evaluate(SETTLE)
    page.click(f"{OPEN_SKY} button")
    until(lambda: withdrawn(kept), page)
    assert withdrawn(kept) == ["r1-7"]
    assert complaints == []


def test_a_second_tap_at_the_place_of_a_refusal_that_has_gone_does_not_dismiss_the_next(opened: Any) -> None:
    kept = Kept(refuse={"indoors": "the job is closed", "street": "the job is closed"})
    page, _ = opened(kept)
    live(page)
    view(page, "byhand")
    page.click("text=indoors")
    page.click("[data-enter='place vehicle street']")
    page.click("#queue:has-text('2 refused')")
    page.evaluate(STILL)
    refusals = page.locator("dialog .refusal")
    for _ in range(2):
        refusals.first.locator("text=Dismiss").click()
    assert refusals.all_inner_texts()[0].startswith("place: street")
    assert waiting(page) == 1
    assert page.evaluate("document.activeElement.closest('dialog') !== null")
    page.evaluate(SETTLE)
    refusals.first.locator("text=Dismiss").click()
    page.wait_for_selector("#queue[data-state=good]")
    assert waiting(page) == 0


def test_a_channel_keeps_its_row_its_focus_and_its_question_when_another_is_added(opened: Any) -> None:
    kept = Kept()
    page, complaints = opened(kept)
    live(page)
    view(page, "channels")
    page.click(".channel:has-text('5  Demo Harbour')")
    page.wait_for_selector(".rows .mark")
    page.focus(".rows .mark >> nth=1")
    mark, row = page.evaluate_handle("document.activeElement"), page.query_selector(".rows li:has(.mark)")
    added = {**kept.state["channels"][0], "number": 4, "name": "Demo Added"}
    with kept.lock:
        kept.state["channels"] = [*kept.state["channels"], added]
    page.wait_for_selector(".channel:has-text('4  Demo Added')")
    assert is_same(page, row, ".rows li:nth-child(3)")
    assert page.evaluate("(one) => document.activeElement === one", mark)
    assert page.locator(".channel").count() == 25
    with kept.lock:
        kept.state["channels"] = [one for one in kept.state["channels"] if one["number"] != 5]
    page.wait_for_selector(".channel:has-text('5  Demo Harbour')", state="detached")
    assert page.locator(".rows .mark").count() == 0
    assert page.evaluate("document.activeElement.matches('ul.rows')")
    assert complaints == []


def test_a_channel_that_another_phone_marked_leaves_a_choice_and_the_next_is_not_marked_for_it(opened: Any) -> None:
    kept = Kept()
    page, complaints = opened(kept)
    live(page)
    view(page, "channels")
    page.select_option("#filter", label="not checked yet")
    page.locator(".chooser [data-value=authorised]").click()
    page.evaluate(STILL)
    first, second = [one for one in kept.state["channels"] if one["state"] is None][:2]
    with kept.lock:
        first.update(state="refused", checked_s_ago=0.0)
    page.wait_for_selector(f".channel:has-text('{first['name']}')", state="hidden")
    page.click(f".channel:has-text('{second['name']}')")
    page.wait_for_selector(MOVED)
    assert kept.applied == {}
    page.evaluate(SETTLE)
    page.click(f".channel:has-text('{second['name']}')")
    until(lambda: kept.applied, page)
    assert [tap["subject"] for tap in kept.applied.values()] == [str(second["number"])]
    assert complaints == []


def test_keys_of_a_path_keep_their_focus_when_another_path_comes(opened: Any) -> None:
    kept = Kept()
    page, complaints = opened(kept)
    live(page)
    view(page, "byhand")
    three = "#levels .asked:has(> span:text-is('repeater')) .bar-key >> nth=3"
    page.focus(three)
    level = page.evaluate_handle("document.activeElement")
    more = {"path": "satellite:west", "value": 5, "unit": "bars/5", "age_s": 0.4}
    with kept.lock:
        kept.state["levels"] = [kept.state["levels"][0], more, kept.state["levels"][1]]
    page.wait_for_selector("#levels .asked:nth-child(2):has-text('satellite west')")
    assert is_same(page, level, "#levels .asked:nth-child(3) .bar-key:nth-child(4)")
    assert page.evaluate("(one) => document.activeElement === one", level)
    page.focus("#locks .asked:nth-child(3) button")
    lock = page.evaluate_handle("document.activeElement")
    with kept.lock:
        kept.state["sheet"]["receiver"]["level_scale"] = "bars/4"
    page.wait_for_selector("#levels .bar-key[aria-label='5 of 5 bars']", state="detached")
    assert page.evaluate("(one) => document.activeElement === one", lock)
    assert page.locator("#levels .bar-key").count() == 5 * page.locator("#levels .asked").count()
    page.focus(three)
    page.keyboard.press("Enter")
    until(lambda: kept.applied, page)
    assert [(tap["subject"], tap["value"]) for tap in kept.applied.values()] == [("repeater", "3")]
    assert complaints == []


def test_edges_of_the_skyline_keep_their_lines_when_one_is_taken_out(opened: Any) -> None:
    edges = [[10.0, 20.0], [100.0, 30.0], [200.0, 5.0]]
    kept = Kept(views={"sky": {**gnss_told(), "skyline": edges, "number": 1}})
    kept.state["analysis"] = 1
    page, complaints = opened(kept)
    live(page)
    view(page, "sky")
    keys = page.locator(".readings button")
    until(lambda: keys.count() == 3, page)
    asked: list[dict[str, Any]] = []

    def answer(route: Any) -> None:
        asked.append(route.request.post_data_json)
        route.fulfill(json={"readings": edges[len(asked) :], "analysis": 5})

    page.route("**/skyline", answer)
    last = page.query_selector(".readings li:nth-child(3)")
    keys.first.focus()
    page.keyboard.press("Enter")
    until(lambda: keys.count() == 2, page)
    assert is_same(page, last, ".readings li:nth-child(2)")
    assert page.evaluate("document.activeElement.matches('.readings')")
    keys.first.click()
    until(lambda: keys.count() == 1, page)
    assert [one["azimuth_deg"] for one in asked] == [10.0, 100.0]
    assert complaints == []


def test_what_is_pressed_in_the_checklist_is_not_exchanged_by_an_analysis(opened: Any) -> None:
    before = "0:00 ring bus closed\n0:01 place vehicle open-sky"
    kept = Kept(views={"wiring": {**told_of(before), "number": 1}})
    kept.state["analysis"] = 1
    page, complaints = opened(kept)
    live(page)
    view(page, "wiring")
    item = page.locator(".check", has_text="The ring's other sources play").first
    item.locator("xpath=ancestor::details").evaluate("(one) => (one.open = true)")
    key = item.locator("button").first
    key.scroll_into_view_if_needed()
    mark, entry = key.element_handle(), key.inner_text()
    press_at(page, key)
    other = told_of(f"{before}\n0:02 ring other-sources working")
    for number in (2, 3):  # the next is asked for when the one before is drawn, or put off
        with page.expect_response("**/view/wiring"), kept.lock:
            kept.views["wiring"] = {**other, "number": number}
            kept.state["analysis"], kept.changes = number, kept.changes + 1
    assert mark.evaluate("(one) => one.isConnected"), entry
    page.mouse.up()
    until(lambda: kept.applied, page)
    until(lambda: item.locator(".box").get_attribute("data-state") == "proved", page)
    assert complaints == []
