"""The view 'Sky' in a real browser: its geometry, the picture of real jobs, the heading by key, finger and sensor."""

from __future__ import annotations

import math
import sys
from functools import cache
from itertools import combinations
from pathlib import Path

import pytest

from satdiag.analysis import analyse
from satdiag.job import build_job
from satdiag.live.views import view_of
from satdiag.opening import open_job
from satdiag.store import create_job_file
from tests.helpers import make_job
from tests.live.browser.real import PHONE, Laptop, live, saved, shoot, until, view
from tests.live.browser.serving import Kept
from tests.live.browser.test_live_axe import UNFOLD, violations
from tests.sky.mask.made_skies import as_nmea, made_sky

posix = pytest.mark.skipif(sys.platform == "win32", reason="it ends the server with a signal of POSIX")

SAMPLES = Path(__file__).parents[3] / "sample_logs"
ROW = "0:30 power receiver awake"
YARD = '[[site]]\nname = "yard"\nlatitude_deg = 45.0\nlongitude_deg = 10.0\n'
SERVICE = '[service]\nconstellation = "constellation.toml"\n'
PAIR = b'name = "two"\n' + b"".join(
    b'[[satellite]]\nname = "%s"\nlongitude_deg = %d.0\n' % pair for pair in ((b"a", 10), (b"b", 30))
)
LOOKS = [("light", 360, 780), ("light", 390, 844), ("dark", 390, 844), ("light", 1280, 900), ("dark", 1280, 900)]


def in_module(page, name, expression):
    """What an expression gives that uses `it`, a module of the page."""
    return page.evaluate(f"async () => {{ const it = await import('/static/{name}.js'); return {expression}; }}")


def gnss_job(rows=ROW):
    """A job with a made record of a receiver that stood beside a wall for 20 minutes."""
    data = as_nmea(made_sky("wall", 20.0, 5, step_s=15.0).looks)
    return make_job(rows, YARD + SERVICE, documents={"gnss-a.nmea": data, "constellation.toml": PAIR})


def told_of(job, **more):
    return {**view_of("sky", job, analyse(job)), "number": 1, **more}


@cache
def gnss_told():
    """What the laptop tells of the made record."""
    return told_of(gnss_job())


def served(told=None):
    """A server that tells this of the sky, or what it tells of the made record."""
    kept = Kept()
    kept.views["sky"] = told or gnss_told()
    kept.state["analysis"] = 1
    return kept


def shown(opened, kept, **more):
    """The page with the view open and drawn."""
    page, complaints = opened(kept, **more)
    live(page)
    view(page, "sky")
    page.wait_for_selector("#view-sky .sky-mark")
    return page, complaints


# --- geometry -------------------------------------------------------------------------------------------------------

# Computed by hand: 90 degrees of elevation are 100 units from rim to zenith, x right and y down.
PLACES = [
    ((0, 0, 0), (0.0, -100.0)),
    ((90, 0, 0), (100.0, 0.0)),
    ((180, 45, 0), (0.0, 50.0)),
    ((225, 60, 0), (-23.5702, 23.5702)),  # a third of the way out, at 45 degrees: 100 / 3 / sqrt(2)
    ((30, 90, 0), (0.0, 0.0)),
    ((90, 0, 90), (0.0, -100.0)),  # the nose to the east: what stands there is up
    ((0, 0, 90), (-100.0, 0.0)),
    ((10, 30, 350), (22.8013, -62.6461)),  # 20 degrees right of up, at two thirds: 66.667 sin 20, 66.667 cos 20
    ((120, -5, 0), (86.6025, 50.0)),  # below the horizon it stays on the rim
]


# Each of the eight sides is 45 degrees wide, the first from 22.5 degrees left of the nose to as much right of it.
SIDES = [
    ((180, 180), "ahead"),
    ((200, 110), "on the right"),  # 90 degrees right of the nose
    ((10, 350), "ahead"),  # 20 degrees right
    ((10, 345), "ahead on the right"),  # 25 degrees right
    ((10, 80), "on the left"),  # 70 degrees left
    ((10, 70), "ahead on the left"),  # 60 degrees left
    ((0, 180), "behind"),
]
EVENTS = [
    # W3C, Device Orientation and Motion, 'alpha': flat on its back with its top to the west it tells alpha 90.
    ("{ absolute: true, alpha: 90, beta: 0, gamma: 0 }", 0, 270),
    ("{ absolute: true, alpha: 0, beta: 0, gamma: 0 }", 0, 0),
    ("{ absolute: true, alpha: 90, beta: 10, gamma: 0 }", 90, 0),  # the picture lies on its side
    ("{ absolute: false, alpha: 90, beta: 0, gamma: 0 }", 0, None),  # counted from anywhere
    ("{ absolute: true, alpha: 90, beta: 85, gamma: 0 }", 0, None),  # upright
    ("{ absolute: true, alpha: null, beta: null, gamma: null }", 0, None),
    ("{ webkitCompassHeading: 123.5 }", 0, 123.5),
    ("{ webkitCompassHeading: -1 }", 0, None),
]


def test_directions_sides_and_headings_are_what_the_hand_computes(opened):
    page, _ = opened(Kept())
    for (azimuth, elevation, up), wanted in PLACES:
        assert in_module(page, "skyplot", f"it.place({azimuth}, {elevation}, {up})") == pytest.approx(
            wanted, abs=1e-3
        )
    for (azimuth, heading), words in SIDES:
        assert in_module(page, "sky", f"it.sideOf({azimuth}, {heading})") == words
    for event, turned, heading in EVENTS:
        assert in_module(page, "turning", f"it.headingOf({event}, {turned})") == heading


def test_the_words_of_satellites_close_together_do_not_cover_each_other(opened):
    page, _ = shown(opened, served({**gnss_told(), **crowded()}))
    for heading in range(0, 360, 45):
        page.locator(".sky-turning .choice-key").nth(heading // 45).click()
        boxes = page.evaluate(
            "[...document.querySelectorAll('.skyplot .sky-words, .skyplot .sky-wind')]"
            ".map((one) => one.getBoundingClientRect().toJSON())"
        )
        for one, other in combinations(boxes, 2):
            wide = min(one["right"], other["right"]) - max(one["left"], other["left"])
            high = min(one["bottom"], other["bottom"]) - max(one["top"], other["top"])
            assert wide <= 1 or high <= 5, (heading, one, other)  # of lines of words, halves of the room between them


def crowded():
    """A site with three satellites in nearly one direction."""
    site = gnss_told()["sites"][0]
    one = site["satellites"][0]
    near = [
        {**one, "name": f"demo-{n}", "azimuth_deg": 170.0 + 9 * n, "elevation_deg": 40.0 + 2 * n} for n in range(3)
    ]
    return {"sites": [{**site, "satellites": near}]}


# --- what is drawn --------------------------------------------------------------------------------------------------


def where_drawn(page):
    """The middle of each satellite's mark from the middle of the picture, in hundredths of the rim's radius."""
    return page.evaluate(
        """() => {
          const rim = document.querySelector(".skyplot .sky-rim").getBoundingClientRect();
          const middle = (box) => [box.left + box.width / 2, box.top + box.height / 2];
          const [x, y] = middle(rim);
          const marks = document.querySelectorAll(".skyplot circle.sky-mark, .skyplot g:has(> .sky-mark-under)");
          const places = [...marks].map((one) => middle(one.getBoundingClientRect()));
          return places.map((place) => place.map((at, n) => ((at - [x, y][n]) * 200) / rim.width));
        }"""
    )


def test_marks_turn_with_the_heading_and_their_words_stay_upright(opened):
    page, complaints = shown(opened, served())
    sats = gnss_told()["sites"][0]["satellites"]
    for heading in (0, 90, 225):
        if heading:
            page.locator(".sky-turning .choice-key").nth(heading // 45).click()
        wanted = []
        for sat in sats:
            reach, angle = (90 - sat["elevation_deg"]) / 0.9, math.radians(sat["azimuth_deg"] - heading)
            wanted.append((reach * math.sin(angle), -reach * math.cos(angle)))
        for found, want in zip(where_drawn(page), wanted, strict=True):
            assert found == pytest.approx(want, abs=0.7)
    turns = page.evaluate(
        "[...document.querySelectorAll('.skyplot text')].map((one) => one.getScreenCTM())"
        ".map(({ b, c }) => Math.abs(b) + Math.abs(c))"
    )
    assert len(turns) > 10
    assert max(turns) < 1e-6
    assert complaints == []
    page.get_by_role("button", name="North up").click()
    assert where_drawn(page)[0] == pytest.approx((0.0, (90 - sats[0]["elevation_deg"]) / 0.9), abs=0.7)


def test_measured_and_inferred_differ_in_pattern_and_colour(opened):
    page, _ = shown(opened, served({**gnss_told(), "heading_deg": 130.0}))
    assert page.inner_text(".dial-middle strong") == "130°"  # the log's heading is taken at once
    assert (
        page.locator("#view-sky td .side").first.inner_text() == "ahead on the right"
    )  # 50 degrees right of the nose
    fills = {
        how: page.locator(f".skyplot .sky-blocked.{how}").get_attribute("fill") for how in ("measured", "inferred")
    }
    assert fills == {"measured": "url(#sky-dots)", "inferred": "url(#sky-hatch)"}
    colours = [
        page.locator(f".sky-ground.{how}").evaluate("(one) => getComputedStyle(one).fill")
        for how in ("measured", "inferred")
    ]
    assert colours[0] != colours[1]
    words = page.locator(".sky-legend").inner_text()
    assert "behind the skyline, measured" in words
    assert "behind the skyline, only inferred" in words


def test_nothing_is_drawn_anew_but_on_a_newer_analysis(opened):
    kept = served()
    page, _ = shown(opened, kept)
    page.evaluate("document.querySelector('.skyplot .sky-edge').id = 'held'")
    page.evaluate("document.querySelector('.sky-turning .choice-key').id = 'key'")
    for _ in range(3):
        kept.state["rows"] += 1
        kept.changes += 1
        page.wait_for_timeout(250)
    assert page.locator(".skyplot #held").count() == 1
    kept.views["sky"] = told_of(gnss_job(f"{ROW}\n1:00 heading vehicle 90 deg"), number=2)
    kept.state["analysis"] = 2
    kept.changes += 1
    page.wait_for_selector(".skyplot #held", state="detached")
    page.wait_for_selector(".dial-middle:has-text('90°')")  # that of the log is taken
    assert page.locator("#key").count() == 1


def test_the_site_that_was_chosen_stays_and_its_key_is_not_exchanged(opened):
    two = served().views["sky"]
    two["sites"].append({**two["sites"][0], "name": "demo hall", "said": ["Said of the hall."], "heard": None})
    kept = served(two)
    page, _ = shown(opened, kept)
    page.locator(".site-key", has_text="demo hall").click()
    page.evaluate("document.querySelector('.site-key[aria-pressed=true]').id = 'hall'")
    with page.expect_response("**/view/sky"), kept.lock:
        kept.views["sky"] = {**two, "number": 2, "times": "Another analysis."}
        kept.state["analysis"], kept.changes = 2, kept.changes + 1
    page.wait_for_selector("#view-sky :text('Another analysis.')", state="attached")
    assert page.locator("#hall").get_attribute("aria-pressed") == "true"
    assert page.locator("#view-sky li:text('Said of the hall.')").count() == 1


def test_without_a_position_it_leads_to_where_one_is_given(opened):
    kept = served(told_of(make_job(ROW)))
    page, complaints = opened(kept)
    live(page)
    view(page, "sky")
    page.wait_for_selector("#view-sky .advice")
    assert page.locator(".skyplot").is_hidden()
    assert page.inner_text("#view-sky .sentence") == "The page does not know where the vehicle stands."
    page.get_by_role("button", name="Go to Start").click()
    page.wait_for_selector("#view-start", state="visible")
    assert complaints == []


# --- the heading ----------------------------------------------------------------------------------------------------


def slider(page):
    return page.get_by_role("slider", name="Heading of the vehicle's nose")


def test_by_keyboard_in_steps_of_five_and_entered(opened):
    kept = served()
    page, complaints = shown(opened, kept)
    enter = page.locator(".sky-turning .go")
    assert enter.is_disabled()
    assert slider(page).get_attribute("aria-valuetext") == "not chosen yet"
    slider(page).focus()
    for key, heading in (
        ("ArrowRight", 5),
        ("ArrowUp", 10),
        ("ArrowLeft", 5),
        ("PageUp", 50),
        ("Home", 0),
        ("ArrowDown", 355),
    ):
        page.keyboard.press(key)
        assert slider(page).get_attribute("aria-valuenow") == str(heading)
    assert slider(page).get_attribute("aria-valuetext") == "355 degrees, north"
    enter.click()
    saved(page)
    (tap,) = kept.applied.values()
    assert (tap["kind"], tap["subject"], tap["value"], tap["unit"]) == ("heading", "vehicle", "355", "deg")
    assert complaints == []


def test_by_touch_the_arrow_follows_the_finger(opened):
    page, _ = shown(opened, served(), has_touch=True, is_mobile=True)
    page.evaluate("document.querySelector('.dial').scrollIntoView({ block: 'center' })")
    dial = page.locator(".dial").bounding_box()
    x, y, reach = dial["x"] + dial["width"] / 2, dial["y"] + dial["height"] / 2, 86
    client = page.context.new_cdp_session(page)
    before = page.evaluate("window.scrollY")

    def touch(kind, degrees):
        points = [] if degrees is None else [
            {"x": x + reach * math.sin(math.radians(degrees)), "y": y - reach * math.cos(math.radians(degrees))}
        ]  # fmt: skip
        client.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    touch("touchStart", 0)
    for degrees in range(0, 222, 20):
        touch("touchMove", degrees)
    touch("touchMove", 222)
    touch("touchEnd", None)
    until(lambda: slider(page).get_attribute("aria-valuenow") == "220", page, what="the turn")
    assert page.evaluate("window.scrollY") == before

    def tapped():
        """A touch beside the arrow puts it there; not so soon after a finger that still moved when it left."""
        page.wait_for_timeout(400)
        page.touchscreen.tap(x + reach, y - 2)
        return slider(page).get_attribute("aria-valuenow") == "90"

    until(tapped, page, what="the touch")
    assert "90°" in page.inner_text(".dial-middle")


FIRST_READING = """async () => {
  const card = document.querySelector(".sky-turning");
  [...card.querySelectorAll("button")].find((one) => one.textContent.includes("this device's compass")).click();
  while (!card.textContent.includes("Waiting for the compass")) await new Promise((done) => setTimeout(done, 5));
  const told = { absolute: true, alpha: 160, beta: 3, gamma: 0 };
  dispatchEvent(new DeviceOrientationEvent("deviceorientationabsolute", told));
}"""


def test_the_sensor_turns_the_dial_until_a_hand_does(opened):
    page, complaints = shown(opened, served())
    page.evaluate(FIRST_READING)  # at once: a sensor that says nothing for long is not waited for
    assert slider(page).get_attribute("aria-valuenow") == "200"
    for alpha, heading in ((240, 120), (235, 125), (0.0, 0)):
        page.evaluate(
            f"dispatchEvent(new DeviceOrientationEvent('deviceorientationabsolute', "
            f"{{ absolute: true, alpha: {alpha}, beta: 3, gamma: 0 }}))"
        )
        assert slider(page).get_attribute("aria-valuenow") == str(heading)
    assert page.locator(".sky-turning :text('magnetic north')").count() == 1
    page.locator(".sky-turning .choice-key").nth(2).click()
    page.evaluate(
        "dispatchEvent(new DeviceOrientationEvent('deviceorientationabsolute', "
        "{ absolute: true, alpha: 10, beta: 0, gamma: 0 }))"
    )
    assert slider(page).get_attribute("aria-valuenow") == "90"
    assert complaints == []


def test_a_sensor_that_is_not_there_is_not_waited_for_and_it_is_said(opened):
    page, _ = shown(opened, served())
    follow = page.get_by_role("button", name="Follow this device's compass")
    follow.click()
    page.wait_for_selector(".sky-turning :text('tells no direction')")
    assert follow.get_attribute("aria-pressed") == "false"
    page.evaluate(
        "Object.defineProperty(window, 'isSecureContext', { value: false })"
    )  # as over plain http to a phone
    follow.click()
    page.wait_for_selector(".sky-turning :text('without https: turn the dial')")
    assert follow.get_attribute("aria-pressed") == "false"


# --- the real server ------------------------------------------------------------------------------------------------


def place_of(sample, folder):
    """A job file of a sample, or of the made record."""
    job = gnss_job(f"{ROW}\n1:00 heading vehicle 130 deg") if sample == "gnss" else open_job(SAMPLES / sample)
    place = folder / f"{sample}.satjob"
    create_job_file(place, build_job(job.documents, job.rows, job.header))
    return place


@posix
@pytest.mark.parametrize(
    ("sample", "looks"),
    [
        ("obstructed", LOOKS[::4]),
        *(pytest.param(one, LOOKS, marks=pytest.mark.long) for one in ("obstructed", "foliage", "filling", "gnss")),
    ],
)
def test_real_jobs_are_shown_whole_and_within_the_rules(phone, tmp_path, sample, looks):
    place = place_of(sample, tmp_path)
    with Laptop(place) as laptop:
        page, complaints = phone(**PHONE, reduced_motion="reduce")
        page.goto(laptop.link)
        live(page)
        view(page, "sky")
        page.wait_for_selector("#view-sky .sky-mark")
        names = [sat["name"] for sat in told_of(open_job(place))["sites"][0]["satellites"]]
        assert page.locator(".skyplot .name").all_text_contents() == names
        wrong = {}
        for scheme, width, height in looks:
            page.emulate_media(color_scheme=scheme)
            page.set_viewport_size({"width": width, "height": height})
            page.evaluate(UNFOLD)
            shoot(page, f"sky {sample}", scheme, width)
            assert page.evaluate("document.documentElement.scrollWidth") <= width
            if found := violations(page):
                wrong[scheme, width] = found
            assert page.evaluate(SMALL) == []
        assert wrong == {}
        if sample == "obstructed":
            _enter_for_real(page, place)
        assert complaints == []


SMALL = """() => {
  const least = (one) => (one.matches(".go, .choice-key, .site-key, [role=slider]") ? 64 : 44);
  return [...document.querySelectorAll("#view-sky button, #view-sky summary, #view-sky [role=slider]")]
    .filter((one) => one.checkVisibility() && one.getBoundingClientRect().height < least(one) - 0.5)
    .map((one) => one.outerHTML);
}"""


def _enter_for_real(page, place):
    """Choose and enter a heading; the log has it, and after the next analysis the page has it from the log."""
    page.set_viewport_size({"width": 390, "height": 844})
    page.locator(".sky-turning .choice-key").nth(3).click()
    page.locator(".sky-turning .go").click()
    saved(page)
    rows = []
    until(lambda: rows.extend(row for row in open_job(place).rows if row.kind == "heading") or rows, page)
    assert [(row.subject, row.value, row.unit) for row in rows] == [("vehicle", "135", "deg")]
