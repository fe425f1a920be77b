"""The view 'Now' in a real browser: calls, the figure of levels, the words of entries, the lock while it moves."""

from __future__ import annotations

import json
import socket
import statistics
import time
from contextlib import closing, contextmanager

import pytest

from satdiag.entry_words import words_of
from satdiag.live.app import make_app
from satdiag.live.pairing import Pairing
from satdiag.live.security import Access
from satdiag.live.serve import _server
from tests.live.browser.real import PATIENCE_S
from tests.live.browser.serving import Kept
from tests.live.rigs import CODE, PAGE, WATCH, new_job, running, tap
from tests.live.vocabulary_rows import every_row
from tests.recorder.conftest import nothing_is_left  # noqa: F401

LISTEN = """(() => {
  window.told = { tones: [], shakes: [] };
  const make = AudioContext.prototype.createOscillator;
  AudioContext.prototype.createOscillator = function () {
    const tone = make.call(this);
    window.told.tones.push(tone.frequency);
    return tone;
  };
  const shake = navigator.vibrate.bind(navigator);
  navigator.vibrate = (how) => { if (Array.isArray(how)) window.told.shakes.push(how); return shake(how); };
})()"""
"""Notes every tone and every vibration that the page asks for; the browser makes them all the same."""

TITLES = """() => {
  window.told.titles = [];
  setInterval(() => {
    const now = [document.title, document.getElementById("next-what").innerText];
    if (JSON.stringify(now) !== JSON.stringify(window.told.titles.at(-1))) window.told.titles.push(now);
  }, 20);
}"""
"""Notes the page's title and what stands in it as next, whenever they change."""

TONES = {"look": [880] * 3, "half": [660, 990, 660, 990], "stop": [660, 440]}
"""Three short ones; two rising pairs; one that falls."""


def _live(page):
    page.wait_for_selector("#link[data-state=good]")


def _until(done, page, seconds=PATIENCE_S):
    """Wait for something on this side: the page's own policy forbids to evaluate text in it."""
    end_s = time.monotonic() + seconds
    while not (found := done()):
        assert time.monotonic() < end_s, "it did not happen in time"
        page.wait_for_timeout(20)
    return found


def _title(page, words):
    _until(lambda: words in page.title(), page)


def _calls(kept, running=True, **in_s):
    calls = [{"what": what, "in_s": wait, "why": f"Demo {what}."} for what, wait in in_s.items()]
    kept.state["now"].update(calls=calls, running=running, running_why="" if running else "Demo: it does not listen.")
    kept.state["analysis_age_s"] = 0.0
    kept.changes += 1


def _tones(page):
    """The tones since the last call, without the one that answers a tap."""
    return page.evaluate("told.tones.splice(0).map((one) => Math.round(one.value))")


# --- calls ----------------------------------------------------------------------------------------------------------


def test_each_call_comes_once_with_a_sound_a_vibration_and_a_title_of_its_own(opened):
    kept = Kept()
    page, complaints = opened(kept)
    page.clock.install()
    page.reload()
    _live(page)
    page.evaluate(LISTEN)
    page.click("#arm")
    page.wait_for_selector("#arm:has-text('I will call')")
    assert _tones(page) == [880]
    page.evaluate(TITLES)
    page.clock.pause_at(page.evaluate("Date.now() / 1000") + 1)  # a page that is held up may leave a call out
    _calls(kept, look=2, half=4, stop=6)
    page.wait_for_selector("#next-why:has-text('Demo look.')")
    page.clock.run_for(9000)  # nothing is called a second time
    assert page.title() == "● Stop waiting – demo-0007"
    titles = [one for one in page.evaluate("told.titles") if "●" in one[0]]
    words = ("Look again now", "Half should have come", "Stop waiting")
    assert titles == [[f"● {one} – demo-0007", one] for one in words]
    assert _tones(page) == [tone for what in ("look", "half", "stop") for tone in TONES[what]]
    shakes = page.evaluate("told.shakes")
    assert len({json.dumps(one) for one in shakes}) == len(shakes) == 3
    assert page.inner_text("#next-why") == "Demo stop."
    for _ in range(6):  # at most every 5 s something is said, and the clock moves only here
        if page.inner_text("#said").startswith("Stop waiting."):
            break
        page.clock.run_for(1000)
    assert page.inner_text("#said").startswith("Stop waiting.")
    assert complaints == []


@pytest.mark.long
def test_a_call_that_moved_is_made_again_only_if_it_lies_well_ahead(opened):
    kept = Kept()
    page, _ = opened(kept)
    _live(page)
    page.evaluate(LISTEN)
    page.click("#arm")
    page.wait_for_selector("#arm:has-text('I will call')")
    _calls(kept, look=2)
    page.wait_for_timeout(400)
    _calls(kept, look=3)
    _title(page, "● Look")
    assert _tones(page)[-3:] == TONES["look"]
    _calls(kept, look=1)
    page.wait_for_timeout(2300)
    assert _tones(page) == []
    _calls(kept, look=-30)
    page.wait_for_timeout(600)
    assert page.inner_text("#next-at") == "due now"
    _calls(kept, look=600)
    page.wait_for_selector("#next-what:has-text('Look again in')")
    assert page.inner_text("#left").startswith(("9:5", "10:00"))
    assert page.evaluate("JSON.parse(localStorage['satdiag.calls']).held.look.called") is False


def test_what_was_switched_on_stays_so_over_a_reload_but_sound_needs_a_tap(opened):
    kept = Kept()
    page, _ = opened(kept)
    _live(page)
    page.click("#arm")
    page.wait_for_selector("#arm:has-text('I will call')")
    _calls(kept, look=1)
    _title(page, "● Look")
    page.reload()
    _live(page)
    assert page.get_attribute("#arm", "aria-pressed") == "true"
    if page.evaluate("new AudioContext().state") != "running":
        page.wait_for_selector("#arm:has-text('Tap for the sound')")
        assert "no sound before a tap" in page.inner_text("#arm-said")
    page.evaluate(LISTEN)
    page.click("#sentence")
    page.wait_for_selector("#arm:has-text('I will call')")
    page.wait_for_timeout(1200)
    assert _tones(page) in ([], [880]), "what was called before the reload is not called again"
    page.click("#arm")
    page.wait_for_selector("#arm:has-text('Call me')")


def test_what_fell_due_while_the_phone_slept_is_shown_when_it_wakes(opened):
    kept = Kept()
    page, _ = opened(kept)
    page.clock.install()
    page.reload()
    _live(page)
    _calls(kept, look=60, half=2000)
    page.wait_for_selector("#next-why:has-text('Demo look.')")  # the calls before them speak of looking too
    kept.down = True
    page.wait_for_selector("#link[data-state=bad]")
    page.clock.fast_forward(60_000 + 3 * 60_000)  # so much, and what has passed already
    page.wait_for_selector("#next-at:text-matches('^due ([3-9]|[1-9][0-9]) min ago$')")
    assert page.inner_text("#next-what") == "Look again now"
    assert page.title().startswith("● Look again now")
    assert "Half should have come" in page.inner_text("#later")
    page.reload()


def test_while_the_receiver_does_not_listen_nothing_is_counted_down(opened):
    kept = Kept()
    page, _ = opened(kept)
    _live(page)
    _calls(kept, running=False, look=90, half=700)
    page.wait_for_selector("#next-at:has-text('stands still')")
    shown = page.inner_text("#next")
    assert "Look again after" in shown
    assert "90 s" in shown
    assert "Demo: it does not listen. Waits only count while the receiver is awake with signal." in shown
    page.wait_for_timeout(2300)
    assert page.inner_text("#next") == shown
    assert page.title().startswith("Waits stand still")
    _calls(kept, running=None, look=90)
    page.wait_for_selector("#next-what:has-text('Look again in')")
    assert "Waits only count while the receiver is awake with signal." in page.inner_text("#waits")


def test_a_browser_without_sound_and_vibration_says_so_and_shows_the_calls(opened):
    kept = Kept()
    page, complaints = opened(kept)
    page.add_init_script("delete window.AudioContext; delete Navigator.prototype.vibrate")
    page.reload()
    _live(page)
    page.wait_for_selector("#arm-said:has-text('neither sound nor vibration')")
    page.click("#arm")
    _calls(kept, look=1)
    _title(page, "● Look again now")
    assert complaints == []


# --- words ----------------------------------------------------------------------------------------------------------


def test_the_page_has_the_same_words_for_every_row_as_the_laptop(opened):
    page, _ = opened(Kept())
    rows = every_row()
    taps = [{"kind": row.kind, "subject": row.subject, "value": row.value, "unit": row.unit} for row in rows]
    said = page.evaluate("async (taps) => taps.map((await import('/static/press.js')).wordsOf)", taps)
    assert said == [words_of(row) for row in rows]


# --- the lock -------------------------------------------------------------------------------------------------------


def test_entry_is_locked_by_the_speed_that_the_laptop_hears(opened):
    kept = Kept()
    kept.state.update(speed_m_s=13.9, speed_age_s=60.0)
    page, _ = opened(kept)
    _live(page)
    assert not page.is_visible("#lock")
    kept.state.update(speed_m_s=13.9, speed_age_s=0.4)
    kept.changes += 1
    page.wait_for_selector("#lock:has-text('Never use this page while you drive')")
    assert page.evaluate("document.querySelector('#view-byhand').inert")
    kept.state.update(speed_m_s=1.1, speed_age_s=0.4)
    kept.changes += 1
    page.wait_for_selector("#lock", state="hidden")
    kept.state.update(speed_m_s=13.9)
    kept.changes += 1
    page.click("text=I am the passenger")
    page.wait_for_timeout(1200)
    assert not page.is_visible("#lock")
    page.reload()
    page.wait_for_selector("#lock")


# --- the real application -------------------------------------------------------------------------------------------


@contextmanager
def served(deck):
    """The deck's page on a port of its own; its address."""
    with closing(socket.create_server(("127.0.0.1", 0))) as place:
        port = place.getsockname()[1]
        access = Access({f"127.0.0.1:{port}"}, Pairing(CODE, WATCH), f"satdiag_{port}")
        with _server(make_app(deck, access), place, deck.closing):
            yield f"http://127.0.0.1:{port}/"


@pytest.fixture
def real(chromium, tmp_path):
    """A function that opens the page of a real deck: deck, page, complaints and foreign requests."""
    with running(new_job(tmp_path / "demo.satjob")) as deck, served(deck) as url:
        contexts = []

        def open_page(width=390, scheme="light"):
            size = {"width": width, "height": 844 if width < 500 else 800}
            context = chromium.new_context(viewport=size, color_scheme=scheme)
            contexts.append(context)
            page = context.new_page()
            complaints = []
            page.on("console", lambda said: "net::ERR" in said.text or complaints.append(said.text))
            page.on("pageerror", lambda error: complaints.append(f"error: {error}"))
            context.on(
                "request",
                lambda asked: asked.url.startswith((url, "data:,", "blob:")) or complaints.append(asked.url),
            )
            page.goto(f"{url}#c={CODE}")
            _live(page)
            return page, complaints

        yield deck, open_page
        for context in contexts:
            context.close()


def _levels(deck, minutes=29):
    """Half an hour of levels on three paths, in two units."""
    sent = []
    for n in range(minutes):
        before_ms = 60_000 * (minutes - n)
        for path, value, unit in (
            ("satellite:east", f"{9 + 2 * (n % 5) / 4}", "dB"),
            ("satellite:west", "unreadable" if n == 9 else f"{6 + n % 3}", "" if n == 9 else "dB"),
            ("repeater", f"{2 + n % 4 // 2}", "bars/5"),
        ):
            one = tap("signal", path, value, unit=unit)
            sent.append({**one, "wall_ms": one["wall_ms"] - before_ms})
    for at in range(0, len(sent), 50):
        assert len(deck.take_taps(PAGE, sent[at : at + 50]).saved) == len(sent[at : at + 50])


def test_each_row_is_on_the_page_soon_after_its_commit(real):
    """`test_live_load` measures how soon; a page on which a row never came would wait for it in vain."""
    deck, open_page = real
    page, complaints = open_page(1280)
    page.evaluate(
        """() => {
          window.shown = {};
          new MutationObserver(() => {
            const words = document.getElementById("entries").textContent.match(/note: demo \\d+ /)?.[0].trim();
            if (words && !(words in shown)) requestAnimationFrame(() => (shown[words] ??= Date.now()));
          }).observe(document.getElementById("entries"), { childList: true, subtree: true, characterData: true });
        }"""
    )
    took_ms = []
    for n in range(8):
        handed_ms = time.time() * 1000
        assert deck.take_taps(PAGE, [tap("note", "", f"demo {n} ")]).saved
        shown_ms = _until(lambda n=n: page.evaluate(f"window.shown['note: demo {n}']"), page)
        took_ms.append(shown_ms - handed_ms)
        page.wait_for_timeout(37 * (n % 7))
    print(f"to the screen: median {statistics.median(took_ms):.0f} ms, worst {max(took_ms):.0f} ms of {len(took_ms)}")
    assert complaints == []


TRACES = """document.getElementById("figure").data.map(
  ({ name, line, marker }) => [name, line.dash, marker.symbol, line.color])"""

LUMINANCE = """(text) => {
  const hex = text.startsWith("#") && text.match(/\\w\\w/g).map((two) => parseInt(two, 16));
  const [r, g, b] = hex || text.match(/[0-9.]+/g).map(Number);
  const light = (v) => ((v /= 255) <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
  return 0.2126 * light(r) + 0.7152 * light(g) + 0.0722 * light(b);
}"""
"""Relative luminance: WCAG 2.2."""


def _contrasts(page):
    """Of each line of the figure with the card that it is drawn on."""
    card = page.evaluate("getComputedStyle(document.querySelector('#over-time').parentElement).backgroundColor")
    ground = page.evaluate(LUMINANCE, card)
    pairs = [sorted((page.evaluate(LUMINANCE, one[3]), ground)) for one in page.evaluate(TRACES)]
    return [(high + 0.05) / (low + 0.05) for low, high in pairs]


def _figure_fits(page, width):
    """Whether the figure lies within the screen, and nothing makes the page wider than that."""
    box = page.locator("#figure svg").first.bounding_box()
    inside = box is not None and 0 <= box["x"] < box["x"] + box["width"] <= width
    return inside and page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


def test_the_figure_is_fetched_when_it_is_opened_fits_and_tells_paths_apart(real):
    deck, open_page = real
    _levels(deck)
    page, complaints = open_page()
    page.wait_for_timeout(300)
    assert not page.evaluate("Boolean(window.Plotly)")
    with page.expect_response("**/plotly.js") as got, page.expect_response("**/levels") as told:
        page.click("#over-time summary")
    page.wait_for_selector("#figure .js-line", state="attached")
    sizes = [one.value.request.sizes()["responseBodySize"] for one in (got, told)]
    print(f"{sizes[0]} bytes of plotly.js, {sizes[1]} of levels")
    traces = page.evaluate(TRACES)
    assert [one[0] for one in traces] == ["repeater", "satellite east", "satellite west"]
    assert [len({one[k] for one in traces}) for k in range(4)] == [3, 3, 3, 3]
    words, said = page.inner_text("#figure"), page.inner_text("#figure-said")
    for title in ("minutes before now", "level (dB)", "level (bars, 0 to 5)"):
        assert title in words
    assert said.startswith("In the last half hour: repeater least 2, median ")
    assert "satellite west least 6, median 7, greatest 8 dB (28 readings)" in said
    assert page.evaluate("document.querySelectorAll('#figure a, #figure .modebar-btn').length") == 0
    for scheme, width in (("light", 390), ("dark", 390), ("dark", 1280)):
        page.emulate_media(color_scheme=scheme)
        page.set_viewport_size({"width": width, "height": 844})
        _until(lambda: min(_contrasts(page)) >= 3, page)  # it is drawn anew in the colours of the scheme
        _until(lambda width=width: _figure_fits(page, width), page)
    assert complaints == []


@pytest.mark.long
def test_the_figure_is_drawn_anew_every_two_seconds_while_it_is_open(real):
    deck, open_page = real
    page, _ = open_page()
    asked = []
    page.on("request", lambda one: asked.append(one.url.rpartition("/")[2]))
    page.click("#over-time summary")
    page.wait_for_selector("#figure-said:has-text('No level was read')")
    assert deck.take_taps(PAGE, [tap("signal", "repeater", "4", unit="bars/5")]).saved
    page.wait_for_selector("#figure-said:has-text('(one reading)')")
    page.wait_for_selector("#figure .js-line, #figure .points", state="attached")
    page.wait_for_timeout(2200)
    assert asked.count("plotly.js") == 1
    assert asked.count("levels") >= 3
    page.click("#over-time summary")
    page.wait_for_timeout(200)
    before = asked.count("levels")
    page.wait_for_timeout(2200)
    assert asked.count("levels") == before


def test_a_name_in_the_figure_does_nothing(real):
    _, open_page = real
    page, complaints = open_page()
    name = '<a href="https://192.0.2.1/">x</a>&<img src=x onerror="document.title=1">'
    path = {"path": name, "unit": name, "at_s": [-60, -3], "spread": [1, 1, 2, 2]}
    path |= {name: [1, 2] for name in ("low", "median", "high")}
    told = json.dumps({"end": "now", "window_s": 1800, "paths": [path, {**path, "path": "b"}]})
    page.route("**/levels", lambda route: route.fulfill(body=told, content_type="application/json"))
    page.click("#over-time summary")
    page.wait_for_selector("#figure .legendtext", state="attached")
    assert page.locator("#figure .legendtext").first.text_content().startswith('<a href="https')
    assert page.evaluate("document.querySelectorAll('#figure a, #figure img, #figure image').length") == 0
    assert page.title() != "1"
    assert complaints == []
