"""The view 'Wiring' in a browser on the real server: the word for a reading stands there at once, the analysis's too.

The comparison of words proves that the page and `satdiag.wiring` agree, not that the windows are right: those are
common practice, without a source.
"""

from __future__ import annotations

import sys
import time
from itertools import product
from typing import Any

import pandas as pd
import pytest

import satdiag
from satdiag.job import build_job
from satdiag.live.views import view_of
from satdiag.live.views.wiring_feed import rules, windows_told
from satdiag.opening import open_job
from satdiag.rows import Row
from satdiag.sheet import Receiver
from satdiag.store import create_job_file
from satdiag.wiring.bias_leads import lead_at_end
from satdiag.wiring.bias_windows import bias_windows
from satdiag.wiring.meter import step_of
from tests.helpers import make_job
from tests.live.browser.real import PHONE, Laptop, live, pair_by_code, saved, until, view
from tests.live.browser.serving import Kept
from tests.live.browser.test_live_axe import UNFOLD, violations
from tests.wiring.rings import TOML

posix = pytest.mark.skipif(sys.platform == "win32", reason="it ends the server with a signal of POSIX")

SHEET = """[job]
id = "demo-wires"
vehicle = "demo van"
[receiver]
id = "DEMO00042"
antenna_lead = "single"
bias_nominal_v = 5.0
"""


def laptop_on(place: Any, ring: str | None = TOML) -> Laptop:
    documents = {"job.toml": SHEET.encode(), **({"ring.toml": ring.encode()} if ring else {})}
    begun = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(time.time() - 600))
    create_job_file(place, build_job(documents, [Row(begun, "place", "vehicle", "open-sky")]))
    return Laptop(place)


def to_wiring(page: Any, laptop: Laptop) -> None:
    """The view, with what the laptop tells of it."""
    page.goto(laptop.link)
    live(page)
    view(page, "wiring")
    page.wait_for_selector("#wiring-checks", state="visible")


def enter(page: Any, key: str, number: str) -> None:
    """Read a meter: a key, the number on the pad."""
    page.locator(f"#wiring-feed .lead-box:not([hidden]) button:has-text('{key}')").click()
    for digit in number:
        page.locator("dialog .key", has_text=digit).first.click()
    page.locator("dialog .go").click()


@posix
def test_a_reading_has_its_word_at_once_and_ticks_outlive_a_reload(phone, tmp_path):
    place = tmp_path / "demo.satjob"
    with laptop_on(place) as laptop:
        page, complaints = phone(**PHONE, reduced_motion="reduce")
        to_wiring(page, laptop)
        enter(page, "Voltage", "5.0")
        enter(page, "Current", "0")
        word = page.locator("#wiring-feed .lead-box:not([hidden]) .word")
        assert word.inner_text() == "▲ voltage is there, no current flows"  # before any answer of the laptop
        saved(page)
        found = [(row.kind, row.subject, row.value, row.unit) for row in open_job(place).rows[1:]]
        assert found == [("bias", "voltage", "5.0", "V"), ("bias", "current", "0", "mA")]
        told = page.locator("#wiring-feed")
        until(lambda: "By the last analysis: voltage is there" in told.inner_text(), page, what="the analysis")
        assert word.inner_text() == "▲ voltage is there, no current flows"
        _ticks(page)
        _fits(page)
        for scheme, width in (("light", 390), ("dark", 1280)):
            page.emulate_media(color_scheme=scheme)
            page.set_viewport_size({"width": width, "height": 844})
            page.evaluate(UNFOLD)
            assert violations(page) == [], scheme
        assert complaints == []


def _ticks(page: Any) -> None:
    """Two steps ticked are ticked after a reload, and counted."""
    page.locator("#wiring-ring summary", has_text="Plan of the plugs").click()
    boxes = page.locator("#wiring-ring details[data-key=plan] .do input")
    boxes.nth(0).check()
    boxes.nth(6).check()
    assert page.locator(".count-of").inner_text() == "2 of 15 done"
    page.reload()
    live(page)
    page.wait_for_selector("#wiring-checks", state="visible")
    assert page.locator(".count-of").inner_text() == "2 of 15 done"
    assert [boxes.nth(place).is_checked() for place in (0, 1, 6)] == [True, False, True]


def _fits(page: Any) -> None:
    """Nothing scrolls sideways at 360 px; targets are as large as gloves want them."""
    page.set_viewport_size({"width": 360, "height": 740})
    page.evaluate(UNFOLD)
    assert page.evaluate("document.documentElement.scrollWidth") == 360
    sizes = page.evaluate(
        """() => [...document.querySelectorAll("#view-wiring :is(button, summary, .do)")]
          .filter((one) => one.checkVisibility())
          .map((one) => [one.className, one.getBoundingClientRect().height, one.getBoundingClientRect().width])"""
    )
    assert len(sizes) > 60
    assert [one for one in sizes if min(one[1:]) < (64 if one[0] in ("choice-key", "do") else 44)] == []


@posix
def test_without_ring_toml_the_keys_are_there_and_a_watcher_has_none(phone, tmp_path):
    place = tmp_path / "demo.satjob"
    with laptop_on(place, None) as laptop:
        page, complaints = phone(**PHONE)
        to_wiring(page, laptop)
        assert "satdiag ring new" in page.locator("#wiring-ring").inner_text()
        page.locator("#wiring-ring button", has_text="open").first.click()
        page.locator("#wiring-ring button", has_text="does not answer").first.click()
        page.locator("#wiring-supply button", has_text="It restarted by itself").click()
        saved(page)
        rows = [(row.kind, row.subject, row.value) for row in open_job(place).rows[1:]]
        assert rows == [("ring", "bus", "open"), ("ring", "node:receiver", "absent"), ("reset", "receiver", "seen")]
        other, more = phone(**PHONE)
        other.goto(laptop.url)
        pair_by_code(other, laptop.watch_code)
        live(other)
        view(other, "wiring")
        other.wait_for_selector("#wiring-checks", state="visible")
        assert other.locator("#view-wiring :is(.enters, .proofs):visible").count() == 0
        assert complaints + more == []


OBSERVE = """() => {
  window.touched = 0;
  const count = (some) => (window.touched += some.length);
  const options = { childList: true, subtree: true, characterData: true, attributes: true };
  const cards = document.querySelectorAll("#view-wiring > .card");
  for (const card of cards) new MutationObserver(count).observe(card, options);
}"""


def told_of(rows: str) -> dict[str, Any]:
    job = make_job(rows, '[receiver]\nantenna_lead = "dual"\n', documents={"ring.toml": TOML.encode()})
    return view_of("wiring", job, satdiag.analyse(job))


def test_nothing_is_touched_by_an_analysis_that_says_the_same(opened):
    kept = Kept()
    same = told_of("0:00 ring bus closed\n0:01 place vehicle open-sky")
    kept.views["wiring"] = {**same, "number": 1}
    kept.state["analysis"] = 1
    page, complaints = opened(kept, 360)
    live(page)
    view(page, "wiring")
    page.wait_for_selector("#wiring-checks", state="visible")
    assert page.locator("#wiring-feed h3:visible").all_inner_texts() == ["Satellite conductor", "Repeater conductor"]
    assert page.locator(".check .state:visible", has_text="see to this first").count() == 1  # unfolded for it
    page.evaluate(OBSERVE)
    with page.expect_response("**/view/wiring"), kept.lock:
        kept.views["wiring"] = {**same, "number": 2}
        kept.state["analysis"], kept.changes = 2, kept.changes + 1
    page.wait_for_timeout(300)
    assert page.evaluate("window.touched") == 0
    other = told_of("0:00 ring bus closed\n0:01 place vehicle open-sky\n0:02 ring other-sources working")
    with page.expect_response("**/view/wiring"), kept.lock:
        kept.views["wiring"] = {**other, "number": 3}
        kept.state["analysis"], kept.changes = 3, kept.changes + 1
    item = page.locator(".check", has_text="The ring's other sources play").first
    until(lambda: item.locator(".box").get_attribute("data-state") == "proved", page, what="the new state")
    assert item.is_visible()  # what was unfolded stays so
    assert page.evaluate("window.touched") > 0
    assert complaints == []


# --- the words of the page and those of the analysis -------------------------------------------------------------

RECEIVERS = {
    "nothing known": Receiver(),
    "5 V": Receiver(bias_nominal_v=5.0, antenna_lead="single"),
    "3.3 V, sheet's current": Receiver(bias_nominal_v=3.3, bias_normal_ma=(20.0, 45.0)),
    "5.5 V, dual": Receiver(bias_nominal_v=5.5, antenna_lead="dual"),
    "combiner": Receiver(adaptor="combiner", antenna_lead="dual"),
    "behind 10 ohm": Receiver(bias_nominal_v=5.0, bias_series_ohm=10.0),
}
VOLTS = (None, "0", "0.7", "0.99", "1.02", "2.5", "3.28", "4.15", "4.20", "4.6", "4.88", "4.90", "5.0", "5.21", "6")
MILLIAMPS = (None, "0", "4", "5.1", "9", "14.6", "15.5", "41", "79", "80.5", "120", "151", "199", "240")
SERIES = (  # several readings of one lead: alike, scattered, one bad contact, two
    (("voltage", "4.6"), ("voltage", "4.62"), ("voltage", "4.61"), ("current", "15.2")),
    (("current", "13.9"), ("current", "15.3"), ("current", "16.0"), ("voltage", "4.9")),
    (("voltage", "4.6"), ("voltage", "0.1"), ("voltage", "4.58"), ("current", "41"), ("current", "0.0")),
)

RUN = """async ([cases, rules]) => {
  const { judged } = await import("/static/feedword.js");
  const found = cases.map(([lead, readings]) => judged(lead, rules, readings));
  return found.map((one) => [one.state, one.doubt, one.chances]);
}"""


def readings_of(some: Any) -> list[dict[str, Any]]:
    return [
        {"quantity": quantity, "number": float(text), "step": step_of(text), "at_ms": 1000.0 * n}
        for n, (quantity, text) in enumerate(some)
    ]


def by_analysis(receiver: Receiver, readings: list[dict[str, Any]]) -> Any:
    """The lead as `satdiag.wiring` judges it, with nothing to learn from."""
    table = pd.DataFrame(readings)
    table = table.assign(row=range(len(table)), t_s=table["at_ms"] / 1000.0, worked=False)
    return lead_at_end(receiver, "", table, table.iloc[:0])


EVERY_DAY = ("5 V", "behind 10 ohm")


@pytest.mark.parametrize(
    "name", [pytest.param(one, marks=() if one in EVERY_DAY else pytest.mark.long) for one in RECEIVERS]
)
def test_the_page_names_a_reading_as_the_analysis_does(opened_static, name):
    receiver = RECEIVERS[name]
    pairs = [
        [("voltage", v)] * (v is not None) + [("current", c)] * (c is not None) for v, c in product(VOLTS, MILLIAMPS)
    ]
    windows = bias_windows(receiver)
    edges = [[("current", f"{edge:.4g}")] for edge in (windows.no_current_ma, *windows.normal_ma, windows.limit_ma)]
    grid = [readings_of(some) for some in (*pairs, *SERIES, *edges) if some]
    lead = {"windows": windows_told(windows), "series_ohm": receiver.bias_series_ohm}
    shown = opened_static.evaluate(RUN, [[(lead, readings) for readings in grid], rules()])
    states, unsure = set(), 0
    for readings, (state, doubt, chances) in zip(grid, shown, strict=True):
        own = by_analysis(receiver, readings)
        assert state == own.found.state, readings
        states.add(state)
        if chances is None:
            assert doubt == own.doubt
            continue
        unsure += 1
        assert own.doubt is not None
        for word, p in own.found.state_p.items():
            assert chances[word] == pytest.approx(p, abs=2e-6)
    assert states == {"normal", "open", "short", "low", "high", "absent", None}
    assert unsure >= len(edges)


@pytest.fixture
def opened_static(opened: Any) -> Any:
    """A page of the small server: its scripts are the real ones."""
    return opened(Kept())[0]
