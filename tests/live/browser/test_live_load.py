"""The live page under load: 20 pages open, 50 rows a second from a serial line, and people who tap meanwhile.

The laptop is the real command in a process of its own, the device speaks on a pseudo-terminal, the file is watched
from outside. Some pages are real ones in Chromium, each in a browser profile of its own as on telephones; the others
ask over real HTTP for all that a page asks for, as twenty browsers would take more of a small computer than what is
tried here. All come from one address, which is harder than twenty telephones: limits hold per address.

Every clock is that of one computer. 'Committed' is when another process could read the rows from the job file,
'shown' is the frame of the browser that draws them.
"""

from __future__ import annotations

import sys
import time
from contextlib import ExitStack
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
import pytest

from satdiag.job import build_job
from satdiag.opening import open_job
from satdiag.store import create_job_file
from tests.live.browser.load_rig import (
    WATCH,
    Clients,
    Talk,
    Witness,
    children,
    cpu_s,
    delays_s,
    heap_mb,
    memory_mb,
    spread,
)
from tests.live.browser.real import PHONE, Laptop, live, saved, until, view, waiting
from tests.live.rigs import SHEET
from tests.recorder.devices import PtyDevice

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="it reads the memory of processes from /proc")

CHANNELS = 400
WARM_S = 5.0
"""So long after the beginning figures begin: libraries are loaded then."""


class Size(NamedTuple):
    """How much: open pages, those of them in a real browser, for how long; `patience`: how often the limits fit in.

    Without it nothing is said of seconds: a few of them hold too little, and other tests run beside.
    Twenty browsers take a small computer for themselves.
    """

    pages: int
    real: int
    seconds: float
    patience: float | None = 1.0
    rate: float = 50.0


SIZES = [
    pytest.param(Size(20, 1, 6.0, None), id="short"),
    pytest.param(Size(20, 3, 300.0), id="five-minutes", marks=[pytest.mark.long, pytest.mark.timeout(900)]),
    pytest.param(Size(20, 20, 60.0, 3.0), id="twenty-tabs", marks=[pytest.mark.long, pytest.mark.timeout(900)]),
]


@dataclass
class Seen:
    """What was measured. `memory_mb`, `apart_mb`: of the server and of what it starts, over time."""

    memory_mb: list[float] = field(default_factory=list)
    apart_mb: list[float] = field(default_factory=list)
    heaps_mb: list[list[float]] = field(default_factory=list)
    marked_s: list[float] = field(default_factory=list)
    saved_s: list[float] = field(default_factory=list)
    ages: list[str] = field(default_factory=list)


def new_job(place: Any) -> Any:
    """A job with as many channels as a person orders."""
    lines = ["channel,name,category,packages"]
    lines += [f"{n},Demo {n},{('music', 'talk', 'info')[n % 3]},full" for n in range(1, CHANNELS + 1)]
    create_job_file(place, build_job({"job.toml": SHEET, "lineup.csv": "\n".join(lines).encode()}, []))
    return place


def touch(page: Any, number: int) -> None:
    """Mark a channel as a finger does, and wait until it is saved."""
    page.evaluate("window.queued.splice(0); window.touched.splice(0);")
    for _ in range(5):  # the list may move under the finger
        page.touchscreen.tap(*where(page, number))
        end_s = time.monotonic() + 10
        while time.monotonic() < end_s and not page.evaluate("window.touched.length"):
            page.wait_for_timeout(20)
        if page.evaluate("window.touched.length"):
            break
    until(lambda: page.evaluate("window.touched.length && window.queued.at(-1)?.[1] === 'good'"), page, what="a tap")
    assert waiting(page) == 0


def where(page: Any, number: int) -> list[float]:
    """The middle of a channel's row, after it was brought in sight."""
    found: list[float] = page.evaluate(
        """(number) => {
          const fits = (one) => one.textContent.match(/\\d+/)?.[0] === String(number);
          const target = [...document.querySelectorAll(".channel")].find(fits);
          target.scrollIntoView({ block: "center", behavior: "instant" });
          const box = target.getBoundingClientRect();
          return [box.x + box.width / 2, box.y + box.height / 2];
        }""",
        number,
    )
    return found


def marked(page: Any) -> tuple[float, float]:
    """Of the last touch: the seconds until the page had drawn it, and until it was said to be saved."""
    (touched_s, drawn_s), *_ = page.evaluate("window.touched")
    saved_s = page.evaluate("window.queued.at(-1)[0]")
    return drawn_s - touched_s, saved_s - touched_s


@pytest.mark.parametrize("size", SIZES)
def test_many_pages_and_many_rows_neither_delay_what_is_seen_nor_take_more_and_more_memory(
    phone, tmp_path, capsys, size
):
    place = new_job(tmp_path / "demo.satjob")
    with ExitStack() as stack:
        device = stack.enter_context(PtyDevice(tmp_path))
        laptop = stack.enter_context(Laptop(place, f"serial:{device.where}?profile=bench-lines"))
        opened = [phone(WATCH, **PHONE) for _ in range(size.real)]
        pages = [page for page, _ in opened]
        for page, kind in zip(pages, ("channels", "now", "verdict", "timing") * size.real, strict=False):
            page.goto(laptop.link)
            live(page)
            view(page, kind)
        count = size.pages - size.real
        clients = stack.enter_context(Clients(laptop.url, laptop.code, count)) if count else None
        witness, talk = Witness(place), Talk(device, size.rate, size.seconds, CHANNELS)
        for thread in (witness, talk):
            stack.callback(thread.join, 30)
            stack.callback(thread.over.set)
            thread.start()
        begun_s, cpu_before_s = time.time(), cpu_s(laptop.process)
        seen = play(pages, laptop, talk)
        took_s, cpu_took_s = time.time() - begun_s, cpu_s(laptop.process) - cpu_before_s
        for page in pages:
            saved(page)
        told = len(open_job(place).rows)  # what is said from now on, if anything, is of the recorder itself
        others = clients.told(told)["pages"] if clients else []
        for page in pages:
            until(lambda page=page: page.evaluate("window.shown.at(-1)[1]") >= told, page, what="the last row")
        shown = [page.evaluate("window.shown") for page in pages]
        code, said = laptop.end()
    assert code == 0, said
    rows = [row for row in open_job(place).rows if row.source not in ("page", "recorder")]
    assert len(rows) == talk.lines
    assert talk.lines >= 0.97 * size.rate * size.seconds
    after_s = begun_s + min(WARM_S, size.seconds / 3)
    on_screen = [delay for one in shown for delay in delays_s(witness.commits, one, after_s)]
    heard = [delay for one in others for delay in delays_s(witness.commits, one["told"], after_s)]
    numbers = {number for one in others for number in one["numbers"]}
    ages_s = [age for one in others for age in one["ages_s"]]
    with capsys.disabled():
        print(f"\n{size.pages} pages, {size.real} of them in Chromium; {talk.lines} lines in {took_s:.0f} s.")
        print(f"From commit to screen: {spread(on_screen)}; to the other pages: {spread(heard)}.")
        print(f"A tap is drawn: {spread(seen.marked_s)}; is saved: {spread(seen.saved_s)}.")
        print(f"Server: {', '.join(f'{one:.0f}' for one in thinned(seen.memory_mb))} MB", end="; ")
        print(f"analysis apart: {', '.join(f'{one:.0f}' for one in thinned(seen.apart_mb))} MB", end="; ")
        print(f"{100 * cpu_took_s / took_s:.0f} % of a processor.")
        heaps = ["-".join(f"{mb:.1f}" for mb in one) for one in zip(*seen.heaps_mb, strict=True)]
        print(f"Heaps: {'; '.join(heaps)} MB")
        print(f"{len(numbers)} analyses, {spread(ages_s, 's', 1)} old as shown, e.g. '{seen.ages[-1]}'.")
    trouble = "; ".join(text for one in others for text in one["trouble"])
    assert trouble == ""
    assert [complaints for _, complaints in opened if complaints] == []
    judge(size, seen, on_screen, heard)


def play(pages: list[Any], laptop: Laptop, talk: Talk) -> Seen:
    """One person taps about once a second on the first page while the device speaks."""
    seen, number = Seen(), 0
    pages[0].locator(".chooser [data-value=refused]").tap()
    seen.heaps_mb.append([heap_mb(page) for page in pages])
    half_s = time.monotonic() + talk.seconds / 2
    while talk.is_alive():
        number = number % CHANNELS + 1
        touch(pages[0], number)
        for value, kept in zip(marked(pages[0]), (seen.marked_s, seen.saved_s), strict=True):
            kept.append(value)
        seen.memory_mb.append(memory_mb(laptop.process))
        seen.apart_mb.append(sum(memory_mb(one) for one in children(laptop.process)))
        seen.ages.append(pages[0].locator("#kept").text_content())
        if len(seen.heaps_mb) == 1 and time.monotonic() > half_s:
            seen.heaps_mb.append([heap_mb(page) for page in pages])
        pages[0].wait_for_timeout(700)
    seen.heaps_mb.append([heap_mb(page) for page in pages])
    return seen


def thinned(values: list[float], most: int = 7) -> list[float]:
    """Some of many values, the first and the last among them."""
    step = max(1, (len(values) - 1) // (most - 1))
    return values[::step]


def judge(size: Size, seen: Seen, on_screen: list[float], heard: list[float]) -> None:
    """The limits, several times what was measured on two idle cores."""
    assert len(on_screen) > 0
    if size.patience is None:
        return
    for found in (on_screen, heard) if heard else (on_screen,):
        assert np.percentile(found, 50) < 1.0 * size.patience
        assert np.percentile(found, 99) < 2.5 * size.patience
    assert np.percentile(seen.saved_s, 50) < 0.3 * size.patience
    assert np.percentile(seen.saved_s, 99) < 1.5 * size.patience
    assert np.percentile(seen.marked_s, 99) < 0.5 * size.patience
    if size.seconds >= 300:
        half = len(seen.memory_mb) // 2
        assert max(seen.memory_mb[half:]) < 1.1 * max(seen.memory_mb[:half]) + 10
        assert all(last < 1.5 * first + 10 for first, last in pairwise(map(max, seen.heaps_mb)))
