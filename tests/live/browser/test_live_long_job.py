"""A job of two hours stays smooth on a telephone: frames, long tasks and memory, as the browser tells them.

The real server holds a job of two hours and listens to a device that goes on; the page is as wide as a telephone, and
its processor is made four times slower by the browser's debugger. A finger scrolls every view up and down and taps.
A frame's time is from one call of requestAnimationFrame to the next; a long task is one of 50 ms or more
(https://w3c.github.io/longtasks/). The job is simulated: a visit in which channels fill in, with levels all along,
and a line-up of 400 channels.
"""

from __future__ import annotations

import sys
import time
from contextlib import ExitStack
from random import Random
from typing import Any, NamedTuple

import numpy as np
import pytest

from satdiag.job import build_job
from satdiag.recorder.clock import time_text
from satdiag.rows import OPTIONAL_COLUMNS, REQUIRED_COLUMNS, Row
from satdiag.simulate import make_job, write_job
from satdiag.store import create_job_file
from tests.live.browser.load_rig import WATCH, Talk, heap_mb, spread
from tests.live.browser.real import PHONE, Laptop, go_to, live, saved, until, view
from tests.live.browser.test_live_axe import until_now
from tests.recorder.devices import PtyDevice

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="the device speaks on a pseudo-terminal of Linux")

HOURS = 2.0
SLOWER = 4
CHANNELS = 400
HEADER = ",".join((*REQUIRED_COLUMNS, *OPTIONAL_COLUMNS))
ALL = ("now", "channels", "timing", "byhand", "verdict", "sky", "wiring", "handover", "start")


class Size(NamedTuple):
    """Rows a second in the job, rows a second while the page is open, the views looked at, swipes in each.

    `smooth`: frames are judged, too, which is worth little while other tests run beside.
    """

    rate: float
    goes_on: float
    views: tuple[str, ...]
    swipes: int
    smooth: bool = True


SIZES = [
    pytest.param(Size(0.5, 10, ("channels",), 1, smooth=False), id="short"),
    pytest.param(Size(2.0, 10, ALL, 4), id="usual", marks=[pytest.mark.long, pytest.mark.timeout(600)]),
    pytest.param(Size(20.0, 20, ALL, 4), id="144000-rows", marks=[pytest.mark.long, pytest.mark.timeout(900)]),
]


def two_hours(place: Any, rate: float) -> int:
    """A job file with levels over two hours and the end of a simulated visit; how many rows it has."""
    from satdiag.opening import open_job

    folder = place.with_suffix("")
    write_job(make_job("filling", 1), folder)
    job, draw = open_job(folder), Random(1)
    seen = [row for row in until_now(job.rows) if row.kind != "signal"]
    end_s = time.time() - 60
    levels = []
    for n in range(round(rate * HOURS * 3600)):
        at_ns = round((end_s - HOURS * 3600 + n / rate) * 1e9)
        subject, value = ("satellite", "repeater")[n % 2], str(draw.randint(2, 5))
        levels.append(Row(time_text(at_ns), "signal", subject, value, "bars/5", "demo", *[""] * 4, f"d-{n}", None))
    rows = sorted((*levels, *seen), key=lambda row: row.time)
    there = {line.channel for line in job.lineup or ()}
    more = [f"{n},Demo {n},Demo {n % 9},music all" for n in range(1, CHANNELS + 1) if n not in there]
    lineup = job.documents["lineup.csv"] + "\n".join([*more, ""]).encode()
    create_job_file(place, build_job({**job.documents, "lineup.csv": lineup}, rows, HEADER))
    return len(rows)


class Frames(NamedTuple):
    """What a browser told while a view was used; milliseconds."""

    frames: list[float]
    long: list[float]


def used(page: Any, name: str, swipes: int) -> Frames:
    """Scroll a view down and up with a finger, tap what enters something, and go away and back."""
    finger = page.context.new_cdp_session(page)
    view(page, name)
    page.wait_for_timeout(500)
    page.evaluate("window.frames.length = window.long.length = 0")
    for n in range(swipes):
        swipe = {"x": 195, "y": 500, "yDistance": -900 if n % 2 == 0 else 900, "speed": 1500}
        finger.send("Input.synthesizeScrollGesture", {**swipe, "gestureSourceType": "touch"})
    if name == "channels":
        page.evaluate("window.scrollTo(0, 0)")
        page.locator(".chooser [data-value=authorised]").tap()
        for n in range(3 * swipes):
            page.locator(".channel").nth(n).tap()
        page.fill("#search", "demo 1")
        page.fill("#search", "")
    elif name == "byhand":
        page.locator("#view-byhand [data-enter^='audio output playing']").tap()
    page.wait_for_timeout(500)
    go_to(page, "now" if name != "now" else "channels")
    page.wait_for_timeout(200)
    finger.detach()
    return Frames(page.evaluate("window.frames"), page.evaluate("window.long"))


@pytest.mark.parametrize("size", SIZES)
def test_a_job_of_two_hours_stays_smooth_on_a_slow_telephone(phone, tmp_path, capsys, size):
    place = tmp_path / "demo.satjob"
    count = two_hours(place, size.rate)
    with ExitStack() as stack:
        device = stack.enter_context(PtyDevice(tmp_path))
        begun_s = time.monotonic()
        laptop = stack.enter_context(Laptop(place, f"serial:{device.where}?profile=bench-lines"))
        ready_s = time.monotonic() - begun_s
        page, complaints = phone(WATCH, **PHONE)
        page.goto(laptop.link)
        live(page)
        talk = Talk(device, size.goes_on, 600.0, CHANNELS, "bars")
        stack.callback(talk.join, 30)
        stack.callback(talk.over.set)
        talk.start()
        until(lambda: "worked out" in page.locator("#kept").text_content(), page, what="an analysis")
        slow = page.context.new_cdp_session(page)
        slow.send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})
        page.evaluate("window.measure()")
        before_mb, fewest = heap_mb(page), page.evaluate("document.querySelectorAll('*').length")
        found = {name: used(page, name, size.swipes) for name in size.views}
        slow.send("Emulation.setCPUThrottlingRate", {"rate": 1})
        after_mb, parts = heap_mb(page), page.evaluate("document.querySelectorAll('*').length")
        saved(page)
        talk.over.set()
        code, said = laptop.end()
    assert code == 0, said
    with capsys.disabled():
        print(f"\n{count} rows in two hours, {SLOWER} times slower; the page was served after {ready_s:.1f} s.")
        for name, told in found.items():
            half, most = np.percentile(told.frames, (50, 95))
            print(f"  {name}: frames p50 {half:.0f}, p95 {most:.0f}, longest {max(told.frames):.0f} ms", end="; ")
            print(f"long tasks: {spread(told.long, scale=1.0)}")
        print(f"  heap {before_mb:.1f} MB before, {after_mb:.1f} MB after; {parts} elements")
    assert parts < 1.2 * fewest + 200, "the page grows as it is used"
    for name, told in found.items() if size.smooth else ():
        assert np.percentile(told.frames, 50) < 35, name
        assert np.percentile(told.frames, 95) < 150, name
        assert max(told.frames) < 1500, name
    assert after_mb < 1.5 * before_mb + 5
    assert complaints == []
