"""The live page in a real browser: no tap is lost or applied twice, its time is right, and no name does anything."""

from __future__ import annotations

import re
import time
import uuid
from importlib.resources import files

import pytest

from satdiag.rows import Row, check_row
from tests.live.browser.real import PATIENCE_S, go_to
from tests.live.browser.serving import STATES, Kept

WORDS = dict(zip(STATES, ("plays", "refused", "not listed", "could not tell"), strict=True))
HOSTILE = '<img src=x onerror="document.title=1"><script>alert(1)</script>'
OTHER_ORIGIN = "http://127.0.0.2:9/"
READ_BACK_MS = 50.0
TOUCHED = """(one) => {
  const now = () => Date.now();
  const before = now();
  one.dispatchEvent(new PointerEvent("pointerdown", { isPrimary: true, button: 0, bubbles: true }));
  const after = now();
  while (now() < after + 20);
  one.click();
  return [before, after];
}"""
"""Touch an element and let go 20 ms later; between which moments of the page's clock it was touched."""
VIEWS = ("now", "channels", "timing", "byhand", "start")


MOST_CODE_BYTES = 200_000
UNSAFE = (
    "innerHTML",
    "outerHTML",
    "insertAdjacentHTML",
    "document.write",
    "eval(",
    "new Function",
    "randomUUID(",
)


def _sources(kind: str) -> dict[str, str]:
    folder = files("satdiag.live") / "static"
    return {part.name: part.read_text("utf-8") for part in folder.iterdir() if part.name.endswith(kind)}


def test_the_modules_are_small_and_make_no_markup_of_words():
    modules = _sources(".js")
    code = [line for text in modules.values() for line in text.splitlines(True)]
    code = [line for line in code if not line.strip().startswith(("//", "/**", "* "))]
    assert len("".join(code).encode()) < MOST_CODE_BYTES
    for name, text in modules.items():
        assert not [word for word in UNSAFE if word in text], name
    page = _sources(".html")["index.html"]
    assert re.findall(r"<script(?![^>]*src=)|\son\w+=|style=|https?:", page) == []


def _live(page) -> None:
    page.wait_for_selector("#link[data-state=good]")


def _until(done, page, seconds: float = PATIENCE_S) -> None:
    """Wait for something on this side; the page goes on meanwhile."""
    end = time.monotonic() + seconds
    while not done():
        assert time.monotonic() < end, "it did not happen in time"
        page.wait_for_timeout(20)


def _waiting(page) -> list[str]:
    return page.evaluate("Object.keys(localStorage).filter(name => name.startsWith('satdiag.tap.'))")


def _clocks_are_compared(page) -> bool:
    page.click("#link")
    words = page.inner_text("dialog[open]")
    page.click("dialog[open] >> text=Close")
    return "differs from the laptop's by" in words


def _view(page, name: str) -> None:
    go_to(page, name)


def _fits(page) -> bool:
    return page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


def test_sixty_taps_over_a_bad_network_and_a_reload_arrive_once_with_their_times(opened):
    kept = Kept(offset_ms=90_000.0)
    page, complaints = opened(kept)
    _live(page)
    _view(page, "channels")
    kept.drop_before, kept.drop_after = 0.3, 0.3
    numbers = [one["number"] for one in kept.state["channels"]]
    script: list[tuple[str, str, float, float]] = []
    for n in range(60):
        number, value = numbers[n % len(numbers)], STATES[n % 4]
        if n % 20 == 0:
            page.click(f".chooser [data-value={value}]")
        chosen = page.get_attribute(".chooser [aria-pressed=true]", "data-value")
        row = page.locator(".channel", has_text=f"{number}  Demo").first
        row.scroll_into_view_if_needed()
        kept.down = n == 29  # this one is still on its way when the page is reloaded
        script.append((str(number), chosen, *row.evaluate(TOUCHED)))
        if n == 29:
            assert _waiting(page)
            kept.down = False
            page.reload()
            page.wait_for_selector(".channel")
            page.click(f".chooser [data-value={STATES[1]}]")
        if n % 10 == 9:  # else a slow page sends them all at once
            _until(lambda n=n: len(kept.applied) > n, page)
    _until(lambda: len(kept.applied) >= 60 and not _waiting(page), page)
    assert len(kept.applied) == 60
    assert kept.conflicts == []
    assert kept.dropped > 3
    assert sum(len(keys) for keys in kept.posts) > 60, "an acknowledgement was lost, so that something was sent twice"
    assert len({tap["page"] for tap in kept.applied.values()}) == 2
    arrived = sorted(kept.applied.values(), key=lambda tap: tap["wall_ms"])
    for tap, (number, value, before_ms, after_ms) in zip(arrived, script, strict=True):
        assert (tap["kind"], tap["subject"], tap["value"]) == ("channel", number, value)
        assert before_ms <= tap["wall_ms"] <= after_ms
        assert uuid.UUID(tap["key"]).version == 4
        assert abs(tap["offset_ms"] - 90_000) <= tap["uncertainty_ms"] + READ_BACK_MS
        assert 0 <= tap["uncertainty_ms"] <= 10_000
    page.wait_for_selector("#queue[data-state=good]")
    assert complaints == []


def test_taps_made_while_the_laptop_is_away_wait_and_say_so(opened):
    kept = Kept()
    page, _ = opened(kept)
    _live(page)
    _view(page, "byhand")
    kept.down = True
    page.click("text=indoors")
    page.wait_for_selector("#queue:has-text('1 waiting')")
    page.wait_for_selector("#banner:has-text('kept on this device')")
    assert len(_waiting(page)) == 1
    kept.down = False
    _until(lambda: len(kept.applied) == 1 and not _waiting(page), page)
    (tap,) = kept.applied.values()
    assert (tap["kind"], tap["subject"], tap["value"]) == ("place", "vehicle", "indoors")


def test_another_job_behind_the_same_address_does_not_get_the_taps_of_this_one(opened):
    kept = Kept()
    page, _ = opened(kept)
    _live(page)
    _view(page, "byhand")
    kept.down = True
    page.click("text=indoors")
    page.wait_for_selector("#banner:has-text('kept on this device')")
    kept.state["job"], kept.name, kept.down = "demo-0008", "two", False
    page.wait_for_selector("#banner:has-text('for another job')")
    assert kept.applied == {}
    assert len(_waiting(page)) == 1
    kept.state["job"], kept.name, kept.changes = "demo-0007", "three", kept.changes + 1
    _until(lambda: len(kept.applied) == 1, page)


def test_two_pages_of_one_phone_lose_and_double_nothing(opened):
    kept = Kept(drop_after=0.5)
    first, _ = opened(kept)
    second = first.context.new_page()
    second.goto(first.url)
    for page in (first, second):
        _live(page)
        _view(page, "byhand")
    for _ in range(8):
        first.dispatch_event("text=street", "click")
        second.dispatch_event("text=canopy", "click")
    _until(lambda: len(kept.applied) >= 16 and not _waiting(first), first)
    values = sorted(tap["value"] for tap in kept.applied.values())
    assert values == ["canopy"] * 8 + ["street"] * 8
    assert kept.conflicts == []


def test_what_is_refused_is_shown_with_the_reason_until_it_is_dismissed(opened):
    kept = Kept(refuse={"indoors": "the job is closed"})
    page, _ = opened(kept)
    _live(page)
    _view(page, "byhand")
    page.click("text=indoors")
    page.click("#queue:has-text('1 refused')")
    page.wait_for_selector("dialog >> text=the job is closed")
    page.reload()
    _live(page)
    page.click("#queue:has-text('1 refused')")
    page.wait_for_selector("dialog >> text=the job is closed")
    page.click("dialog >> text=Dismiss")
    page.click("dialog[open] >> text=Close")
    page.wait_for_selector("#queue[data-state=good]")
    assert _waiting(page) == []


def test_an_open_attempt_survives_a_reload_and_its_times_are_right(opened):
    kept = Kept()
    page, complaints = opened(kept)
    _live(page)
    _view(page, "timing")
    page.fill("#tune-number", "31")
    start_ms = time.time() * 1000
    page.click("text=Changed channel")
    page.wait_for_timeout(400)
    page.reload()
    page.wait_for_selector("text=Channel 31: waiting")
    page.click("#view-timing >> text=Sound")
    sound_ms = time.time() * 1000
    page.click("#view-timing >> text=Title")
    page.wait_for_selector("text=No attempt is open.")
    _until(lambda: len(kept.applied) == 3, page)
    marks = {tap["value"]: tap for tap in kept.applied.values()}
    assert {tap["subject"] for tap in marks.values()} == {"31"}
    assert {tap["kind"] for tap in marks.values()} == {"tune"}
    took_ms = marks["audio"]["wall_ms"] - marks["requested"]["wall_ms"]
    assert 400 <= took_ms <= sound_ms - start_ms
    assert complaints == []


def test_a_tap_on_a_channel_sends_nothing_until_one_of_four_large_targets_is_tapped(opened):
    kept = Kept()
    page, _ = opened(kept)
    _live(page)
    _view(page, "channels")
    page.click(".channel >> nth=4")
    page.wait_for_timeout(300)
    assert kept.posts == []
    boxes = [one.bounding_box() for one in page.locator(".rows .mark").all()]
    assert [one.inner_text().strip() for one in page.locator(".rows .mark").all()] == list(WORDS.values())
    assert all(box["width"] >= 64 and box["height"] >= 64 for box in boxes)
    page.click(".rows .mark >> text=plays")
    _until(lambda: len(kept.applied) == 1, page)
    page.wait_for_selector(".channel:has-text('14  Demo Weather 5'):has-text('plays')")


def test_a_category_marked_in_one_go_says_over_how_long(opened):
    kept = Kept()
    page, _ = opened(kept)
    _live(page)
    _view(page, "channels")
    page.click("[aria-label='Mark all of Talk']")
    page.fill("#minutes", "3")
    page.click("#many .mark >> text=refused")
    _until(lambda: len(kept.applied) == 8, page)
    assert {tap["span_s"] for tap in kept.applied.values()} == {180}
    page.click("[aria-label='Mark all of Talk']")
    page.click("#many .mark >> text=plays")
    _until(lambda: len(kept.applied) == 16, page)
    assert sum("span_s" not in tap for tap in kept.applied.values()) == 8


def test_a_level_is_one_tap_in_bars_and_typed_on_a_pad_in_db(opened):
    kept = Kept()
    page, _ = opened(kept)
    _live(page)
    _view(page, "byhand")
    page.click("[aria-label='Level, repeater'] [aria-label='3 of 5 bars']")
    _until(lambda: len(kept.applied) == 1, page)
    kept.state["sheet"]["receiver"]["level_scale"] = "dB"
    kept.changes += 1
    page.click("[aria-label='Level, satellite east'] >> text=Number in dB")
    for key in ("1", "1", ".", "2", "⌫", "5", "−"):
        page.click(f"dialog .key >> text={key}")
    page.click("dialog >> text=Enter")
    _until(lambda: len(kept.applied) == 2, page)
    page.click("[aria-label='Level, any'] >> text=unreadable")
    _until(lambda: len(kept.applied) == 3, page)
    page.click("text=Voltage, repeater (V)")
    page.keyboard.type("5.1")
    page.click("dialog >> text=Enter")
    _until(lambda: len(kept.applied) == 4, page)
    assert [[tap[name] for name in ("kind", "subject", "value", "unit")] for tap in kept.applied.values()] == [
        ["signal", "repeater", "3", "bars/5"],
        ["signal", "satellite:east", "-11.5", "dB"],
        ["signal", "any", "unreadable", ""],
        ["bias", "voltage:repeater", "5.1", "V"],
    ]


def test_every_target_by_hand_enters_a_row_of_the_vocabulary():
    told = re.findall(r'data-enter="([^"]+)"', _sources(".html")["index.html"])
    assert len(told) > 40
    for kind, subject, value, *unit in (words.split(" ") for words in told):
        row = Row("2031-05-03T13:44:12Z", kind, subject, value, unit[0] if unit else "", "page", "")
        assert list(check_row(row, None, ())) == []


def test_an_entry_is_taken_back_and_stays_struck_through(opened):
    kept = Kept()
    page, _ = opened(kept)
    _live(page)
    _view(page, "byhand")
    page.click("text=indoors")
    page.click("#snack >> text=Undo")
    _until(lambda: len(kept.applied) == 2, page)
    tap, back = kept.applied.values()
    assert (back["kind"], back["subject"], back["value"]) == ("withdraw", "row", f"p-{tap['key']}")
    page.wait_for_selector("s:has-text('place vehicle indoors')")


def test_hostile_names_do_nothing_and_nothing_leaves_the_origin(opened):
    kept = Kept()
    kept.state["job"] = kept.state["receiver"] = HOSTILE
    kept.state["now"] = {"sentence": HOSTILE, "what_to_do": HOSTILE}
    kept.state["could_not"] = [HOSTILE, OTHER_ORIGIN]
    kept.state["sources"][0].update(name=HOSTILE, state=HOSTILE)
    kept.state["levels"][0].update(path=HOSTILE, value=HOSTILE, unit=HOSTILE)
    kept.state["entries"][0].update(words=HOSTILE, source=HOSTILE)
    kept.state["sheet"]["job"]["vehicle"] = HOSTILE
    for one in kept.state["channels"]:
        one.update(name=HOSTILE, category="__proto__" if one["number"] % 2 else HOSTILE)
    page, complaints = opened(kept)
    _live(page)
    for view in VIEWS:
        _view(page, view)
        assert _fits(page), view
    assert page.evaluate("document.querySelectorAll('img, script:not([src], #words), iframe, object').length") == 0
    assert page.evaluate("[...document.scripts].map(one => new URL(one.src).origin)") == [page.evaluate("origin")]
    assert page.evaluate("document.title") != "1"
    assert page.inner_text("h1.sentence") == HOSTILE
    _view(page, "channels")
    page.click(".channel >> nth=0")
    page.click(".rows .mark >> text=plays")
    _until(lambda: len(kept.applied) == 1, page)
    assert complaints == []


def test_the_sheet_and_a_pasted_list_are_saved_and_a_wrong_value_is_named(opened):
    kept = Kept()
    page, _ = opened(kept)
    _live(page)
    _view(page, "start")
    page.fill("#sheet-receiver-level_floor", "low")
    page.click("text=Save the sheet")
    page.wait_for_selector(".wrong:has-text(\"'low' is not a number\")")
    page.fill("#sheet-receiver-level_floor", "0")
    page.fill("#sheet-site-name", "hall")
    page.click("text=Save the sheet")
    _until(lambda: len(kept.sheets) == 2, page)
    site = {"name": "hall", "latitude_deg": 41.2, "longitude_deg": -96.1}
    assert kept.sheets[1] == {"receiver.level_floor": 0, "site": site}
    page.fill("[aria-label='Channel list']", "7 Demo First\nno number\n12 Demo Second")
    page.click("text=Read the list")
    page.wait_for_selector("text=Line 2: no number")
    page.click("text=Save 2 channels")
    _view(page, "channels")
    page.wait_for_selector(".channel:has-text('12  Demo Second')")


def test_a_page_that_is_not_paired_asks_for_the_code_and_hides_the_one_in_its_address(opened):
    kept = Kept(paired=False)
    page, _ = opened(kept)
    page.fill("#pair-code", "WRONG")
    page.click(".pairing .go")
    page.wait_for_selector("text=That code is not right")
    page.fill("#pair-code", "DEMO-CODE")
    page.click(".pairing .go")
    _live(page)
    page.wait_for_selector(".pairing", state="hidden")
    address = page.url
    page.goto("about:blank")
    kept.paired = False
    page.goto(f"{address}#c=DEMO-CODE")
    _live(page)
    assert "DEMO-CODE" not in page.url


def test_a_clock_that_was_set_is_measured_again_and_said(opened):
    kept = Kept()
    page, _ = opened(kept)
    _live(page)
    _until(lambda: _clocks_are_compared(page), page)
    page.evaluate("(() => { const now = Date.now.bind(Date); Date.now = () => now() + 60000; })()")
    page.wait_for_selector("#banner:has-text('clock of this device was set')")
    _view(page, "byhand")
    before_ms = time.time() * 1000
    page.click("text=indoors")
    _until(lambda: len(kept.applied) == 1, page)
    (tap,) = kept.applied.values()
    true_ms, sure_ms = tap["wall_ms"] + tap["offset_ms"], tap["uncertainty_ms"] + READ_BACK_MS
    assert abs(tap["offset_ms"] + 60_000) <= tap["uncertainty_ms"] + READ_BACK_MS
    assert before_ms - sure_ms <= true_ms <= time.time() * 1000 + sure_ms


def test_entry_is_locked_above_walking_speed_unless_a_passenger_holds_the_phone(opened):
    kept = Kept()
    page, _ = opened(kept, geolocation={"latitude": 41.2, "longitude": -96.1}, permissions=["geolocation"])
    _live(page)
    session = page.context.new_cdp_session(page)
    place = {"latitude": 41.2, "longitude": -96.1, "accuracy": 5}
    session.send("Emulation.setGeolocationOverride", {**place, "speed": 13.9})
    page.wait_for_selector("#lock:has-text('entry is locked')")
    assert page.evaluate("document.querySelector('#view-channels').inert")
    page.click("text=I am the passenger")
    page.wait_for_selector("#lock", state="hidden")
    assert not page.evaluate("document.querySelector('#view-channels').inert")


@pytest.mark.parametrize(
    ("width", "scheme"),
    [
        (360, "light"),
        (1280, "dark"),
        pytest.param(390, "dark", marks=pytest.mark.long),
        pytest.param(1280, "light", marks=pytest.mark.long),
    ],
)
def test_every_view_fits_and_its_targets_and_contrasts_are_large_enough(opened, width, scheme):
    page, complaints = opened(Kept(), width, scheme)
    _live(page)
    for view in VIEWS:
        _view(page, view)
        assert _fits(page), view
        small = page.evaluate(
            """() => [...document.querySelectorAll('button, select, summary, input:not([type=radio]), textarea')]
            .filter(one => one.checkVisibility()).map(one => [one.textContent, one.getBoundingClientRect()])
            .filter(([, box]) => box.width < 44 || box.height < 44).map(([text]) => text)"""
        )
        assert small == [], view
        for ratio, text in page.evaluate(CONTRASTS):
            assert ratio >= 4.5, (view, text)
    _view(page, "now")
    assert {text: ratio for ratio, text in page.evaluate(CONTRASTS)}[page.inner_text("#sentence")] >= 7
    assert complaints == []


CONTRASTS = """() => {
  const channel = v => (v /= 255) <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4;
  const light = ([r, g, b]) => 0.2126 * channel(r) + 0.7152 * channel(g) + 0.0722 * channel(b);
  const rgb = text => text.match(/[0-9.]+/g).map(Number);
  const ground = one => {
    for (; one; one = one.parentElement) {
      const colour = rgb(getComputedStyle(one).backgroundColor);
      if (colour.length < 4 || colour[3] === 1) return colour;
    }
    return [255, 255, 255];
  };
  return [...document.querySelectorAll('#top *, #views *, #bar *, #beside *, #snack *, #banner')]
    .filter(one => one.checkVisibility() && [...one.childNodes].some(node => node.nodeType === 3 && node.data.trim()))
    .map(one => {
      const [a, b] = [light(rgb(getComputedStyle(one).color)), light(ground(one))].sort((x, y) => y - x);
      return [(a + 0.05) / (b + 0.05), one.textContent];
    });
}"""
"""The contrast of every text with what lies behind it: WCAG 2.2, 'contrast ratio' and 'relative luminance'."""
