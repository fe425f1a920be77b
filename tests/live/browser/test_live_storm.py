"""A storm on the page: many touches while the server dies again and again and answers are lost on the way.

A real browser, the real server, real touches. What every tap should have become is noted by a listener of the test in
the page: the wall clock of the browser at the moment of the touch. The browser and the server share one computer, so
that clock (less what the test put it wrong by) is the true time, and the row in the job file must have it.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass, field
from itertools import cycle, islice
from random import Random
from re import search
from statistics import median
from typing import Any, NamedTuple

import pytest

from satdiag.opening import open_job
from satdiag.rows import Row, parse_time_us
from satdiag.store import check_job_file
from tests.live.browser.real import PHONE, Dropped, Laptop, live, pair_by_code, saved, until, view, waiting
from tests.live.rigs import new_job

WITHIN_MS = 1000.0
"""Measured: 5 ms on an idle computer. A busy one may stop a page for long between the touch and the look at the
clock, and half of a round trip is what the clocks may be compared wrong by; a defect is off by 90,000."""

SHARE_LOST = 0.3
KILLS = 5
BY_HAND = (
    "place vehicle open-sky",
    "heading vehicle 90 deg",
    "power receiver awake",
    "place vehicle street",
    "audio output playing",
    "heading vehicle 225 deg",
)
MARKS = ("authorised", "refused", "missing", "no-signal")
posix = pytest.mark.skipif(sys.platform == "win32", reason="it ends the server with a signal of POSIX")

NOTE = """
(() => {
  const real = Date.now.bind(Date);
  Date.now = () => real() + SHIFT_MS;
  const saysOf = (target) => {
    const key = target.closest("button");
    if (!key || key.disabled) return null;
    if (key.id === "changed") return ["tune", document.getElementById("tune-number").value, "requested"];
    const running = document.getElementById("attempt").textContent.match(/\\d+/)?.[0];
    if (key.dataset.sign) return ["tune", running, key.dataset.sign];
    if (key.dataset.enter) return key.dataset.enter.split(" ").slice(0, 3);
    const chosen = document.querySelector(".chooser [aria-pressed=true]").dataset.value;
    return key.matches(".channel") && chosen ? ["channel", key.textContent.match(/\\d+/)[0], chosen] : null;
  };
  window.touches = [];
  window.addEventListener("pointerdown", (event) => {
    const hit = Boolean(window.aim?.contains(event.target) && !window.aim.disabled);
    window.touches.push({ wall_ms: Date.now(), hit, row: saysOf(event.target), pointer: event.pointerType });
    window.aim = null;
  }, true);
})();
"""
"""Before the page's own scripts: a clock that is wrong, and a note of every touch: the time that clock shows, whether
it hit what was aimed at (something above may have moved it), and the row it should become, or null."""

AIM = """([css, number]) => {
  const fits = (one) => number === null || one.textContent.match(/\\d+/)?.[0] === number;
  const target = [...document.querySelectorAll(css)].find(fits);
  if (!target || !target.checkVisibility()) return null;
  target.scrollIntoView({ block: "center", behavior: "instant" });
  const box = target.getBoundingClientRect();
  const [x, y] = [box.x + box.width / 2, box.y + box.height / 2];
  if (target.disabled || !target.contains(document.elementFromPoint(x, y))) return null;
  window.aim = target;
  return [x, y];
}"""
"""Bring a target under the finger: where it is, or null if a finger would not hit it now."""


class Step(NamedTuple):
    """One tap that enters something: the view, the target's selector (of a channel: its number), and the row."""

    view: str
    css: str
    number: str | None
    row: tuple[str, str, str]


def steps(count: int) -> list[Step]:
    """A long visit: channels marked, changes timed, things entered by hand, over and over."""
    found: list[Step] = []
    hands, marks, numbers = cycle(BY_HAND), cycle(MARKS), cycle("12345")
    while len(found) < count:
        mark = next(marks)
        for number in islice(numbers, 9):
            found.append(Step("channels", ".channel", number, ("channel", number, mark)))
        number = next(numbers)
        found.append(Step("timing", "#changed", None, ("tune", number, "requested")))
        for sign in ("audio", "title"):
            found.append(Step("timing", f"#view-timing [data-sign={sign}]", None, ("tune", number, sign)))
        for words in islice(hands, 4):
            kind, subject, value = words.split(" ")[:3]
            found.append(Step("byhand", f'#view-byhand [data-enter="{words}"]', None, (kind, subject, value)))
    return found[:count]


@dataclass
class Storm:
    """One phone in the storm. `noted`: of every tap what it should become, and the browser's clock at the touch.

    `strays`: touches that hit something else than what was aimed at, as the page moved just then. `asked`: how often
    the page asked for the code of a new start.
    """

    page: Any
    laptop: Laptop
    noted: list[tuple[tuple[str, str, str], float]] = field(default_factory=list)
    strays: int = 0
    reloads: int = 0
    asked: int = 0
    _view: str = ""
    _mark: str = ""

    def tap(self, step: Step) -> None:
        """Touch what a step says, after going to its view."""
        if step.view != self._view:
            self._touch(f"#bar [data-view={step.view}]", None)
            self._view = step.view
        if step.view == "channels" and self._mark != step.row[2]:
            self._touch(f".chooser [data-value={step.row[2]}]", None)
            self._mark = step.row[2]
        if step.css == "#changed":
            self.page.fill("#tune-number", step.row[1])
        self._touch(step.css, step.number)

    def _touch(self, css: str, number: str | None) -> None:
        """Touch one target, again if the page moved under the finger."""
        for _ in range(5):
            self.page.touchscreen.tap(*self._aim(css, number))
            told = self.page.evaluate("window.touches.splice(0)")
            assert [one["pointer"] for one in told] == ["touch"], "every touch is noted once"
            if told[0]["row"]:
                self.noted.append((tuple(told[0]["row"]), told[0]["wall_ms"]))
            if told[0]["hit"]:
                return
            self.strays += 1
        raise AssertionError(f"{css} cannot be hit")

    def _aim(self, css: str, number: str | None) -> list[float]:
        spot: list[float] = []
        until(lambda: spot.extend(self.page.evaluate(AIM, [css, number]) or ()) or spot, self.page, what=css)
        return spot

    def reload(self, away: bool) -> None:
        """Load the page anew, in the middle of sending; `away`: while nobody serves it, and once more afterwards."""
        from playwright.sync_api import Error

        if away:
            assert waiting(self.page) > 0
            with pytest.raises(Error):
                self.page.reload(timeout=5000)
            self._back()
        else:
            self.page.reload()
        self._view = self._mark = ""
        self.reloads += 1
        self.until_live()

    def _back(self) -> None:
        self.laptop.begin()
        until(self.laptop.ready, self.page, what="the start of the server")
        until(self._is_at_the_page, self.page, what="the page")

    def _is_at_the_page(self) -> bool:
        """Go there; the browser's own page of what could not be reached may still come in between."""
        from playwright.sync_api import Error

        try:
            self.page.goto(self.laptop.url)
        except Error as error:
            if "interrupted by another navigation" not in str(error):
                raise
            return False
        return True

    def until_live(self) -> None:
        """Wait until the page hears the server, if only by asking; a server that wants its code gets it."""

        def hears() -> bool:
            self.pair_if_asked()
            return self.laptop.ready() and self.page.locator("#link:not([data-state=bad])").count() == 1

        try:
            until(hears, self.page, what="hearing the server again")
        except AssertionError as error:
            raise AssertionError(f"{error}: {self.page.inner_text('body')[:400]}") from error

    def kill(self) -> None:
        """SIGKILL to the server that has taken something since it was started."""
        self.until_live()
        self.laptop.kill()

    def pair_if_asked(self) -> None:
        """A server that knows no session of the one before asks for its code."""
        if self.laptop.ready() and self.page.is_visible("#pairing"):
            self.asked += 1
            pair_by_code(self.page, self.laptop.code)
            self.page.evaluate("window.touches.splice(0)")


def time_ms(row: Row) -> float:
    """The time of a row in ms since 1970."""
    time_us = parse_time_us(row.time, None)
    assert time_us is not None
    return time_us / 1000


def offset_ms(row: Row) -> int:
    """The difference of the clocks that a row's note tells."""
    found = search(r"clock ([+-]\d+) ms", row.note)
    assert found, row.note
    return int(found[1])


def figures(differences_ms: list[float]) -> str:
    """The worst and the median of some differences."""
    return f"worst {max(differences_ms):.1f} ms, median {median(differences_ms):.1f} ms"


@posix
@pytest.mark.parametrize(
    ("count", "shift_ms"),
    [
        (90, -90_000),
        pytest.param(500, 0, marks=[pytest.mark.long, pytest.mark.timeout(600)]),
        pytest.param(500, -90_000, marks=[pytest.mark.long, pytest.mark.timeout(600)]),
    ],
)
def test_in_a_storm_every_tap_is_in_the_job_once_with_its_time(phone, tmp_path, capsys, count, shift_ms):
    place = new_job(tmp_path / "demo.satjob")
    dropped = Dropped(SHARE_LOST, Random(count))
    page, complaints = phone(NOTE.replace("SHIFT_MS", str(shift_ms)), **PHONE)
    with Laptop(place) as laptop:
        page.goto(laptop.link)
        live(page)
        dropped.over(page)
        storm = Storm(page, laptop)
        begun_s = time.monotonic()
        play(storm, steps(count))
        tapped_s = time.monotonic() - begun_s
        storm.until_live()
        view(page, "now")
        saved(page)
        code, said = laptop.end()
    assert code == 0, said
    rows = sorted((row for row in open_job(place).rows if row.source == "page"), key=time_ms)
    assert len({row.id for row in rows}) == len(rows)
    assert [(row.kind, row.subject, row.value) for row in rows] == [row for row, _ in storm.noted]
    late = [abs(time_ms(row) - offset_ms(row) - wall) for row, (_, wall) in zip(rows, storm.noted, strict=True)]
    wrong = [abs(time_ms(row) - wall + shift_ms) for row, (_, wall) in zip(rows, storm.noted, strict=True)]
    runs = {row.run.partition(".")[0] for row in rows}
    with capsys.disabled():
        print(f"\n{len(storm.noted)} taps in {tapped_s:.1f} s; {laptop.kills} kills, {storm.reloads} reloads,")
        print(f"{len(runs)} runs, the code asked for {storm.asked} times, {storm.strays} touches astray; {dropped}.")
        print(f"Row against touch by the phone's clock: {figures(late)}; against the true time: {figures(wrong)}.")
    assert count <= len(storm.noted) <= count + storm.strays
    assert max(late) <= WITHIN_MS
    assert max(wrong) <= WITHIN_MS
    assert (laptop.kills, storm.reloads) == (KILLS, 2)
    assert storm.asked == 0, "a page that was paired stays paired over a crash"
    assert dropped.lost >= count // 60
    assert len(runs) > 1
    assert len({row.run for row in rows}) >= 3, "other page, other run"
    assert check_job_file(place) == []
    assert complaints == []


def play(storm: Storm, plan: list[Step]) -> None:
    """All taps; between them the kills at equal distances, a reload while the server is away and one while not.

    After the second kill it stays away until the page was loaded anew in vain; after the others it starts at once.
    """
    gap = len(plan) // (KILLS + 2)
    for n, step in enumerate(plan):
        if n % gap == 0 and 1 <= n // gap <= KILLS:
            storm.kill()
            if n != gap * 2:
                storm.laptop.begin()
        storm.pair_if_asked()
        storm.tap(step)
        if n == gap * 2 + 3:
            storm.reload(away=True)
        elif n == gap * 4 + gap // 2:
            storm.until_live()
            storm.reload(away=False)
