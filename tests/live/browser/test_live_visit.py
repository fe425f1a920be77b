"""A whole visit with one hand: from a blank job to the customer's letter, on a phone, beside a simulated receiver.

Three real processes (the server, the receiver, a browser that takes touches) and one person, played here, who sees
what the simulated head unit shows at that moment and taps it in. What is wrong is known beforehand from `truth.toml`.
The receiver is simulated: this proves that the parts fit together, and the code against our own model only.
"""

from __future__ import annotations

import csv
import json
import re
import subprocess
import sys
import time
import tomllib
from collections import Counter
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from satdiag.opening import open_job
from satdiag.simulate.device import Device
from satdiag.simulate.headunit import channel_state
from tests.letter.read import expected, plain
from tests.live.browser.real import PATIENCE_S, PHONE, Laptop, Receiver, live, saved, view
from tests.live.browser.test_handover_page import make, opened

posix = pytest.mark.skipif(sys.platform == "win32", reason="it ends the server with a signal of POSIX")


class Visit(NamedTuple):
    """A scenario, how fast its world goes, what the page's first sentence says when it is recognised, and the letter.

    `kind`: which words the customer must not read, in expected.toml; `letter`: words of which one must stand there.
    """

    scenario: str
    seed: int
    speed: float
    sentence: str
    kind: str
    letter: str


VISITS = [
    Visit("filling", 1, 20.0, r"filling in", "filling", r"still receiving its channels"),
    Visit("antenna-open", 2, 4.0, r"^The antenna.s feed is open", "broken", r"roof antenna"),
]


class World(NamedTuple):
    """What `satdiag simulate --to` writes of a scenario: its sheet, line-up and truth."""

    sheet: dict[str, Any]
    lineup: list[dict[str, str]]
    truth: dict[str, Any]

    @property
    def outside(self) -> list[str]:
        """The categories of which no channel is in the package, but for those that are open to all."""
        package = self.sheet["service"]["package"]
        closed = [line for line in self.lineup if line["packages"] != "open"]
        inside = {line["category"] for line in closed if package in line["packages"].split()}
        return sorted({line["category"] for line in closed} - inside)


def world_of(visit: Visit, folder: Path) -> World:
    """Have the scenario written by the real command and read it."""
    command = [sys.executable, "-m", "satdiag", "simulate", visit.scenario, "--to", str(folder)]
    subprocess.run([*command, "--seed", str(visit.seed)], check=True, capture_output=True, timeout=PATIENCE_S)
    sheet, truth = (tomllib.loads((folder / name).read_text("utf-8")) for name in ("job.toml", "truth.toml"))
    with open(folder / "lineup.csv", encoding="utf-8", newline="") as lines:
        return World(sheet, list(csv.DictReader(lines)), truth)


class HeadUnit:
    """What a person sees on the simulated head unit: the same world a second time, at the same moment of it."""

    def __init__(self, visit: Visit, begun_s: float) -> None:
        self._device, self._speed, self._begun_s = Device(visit.scenario, visit.seed), visit.speed, begun_s
        self.levels: dict[str, tuple[str, str]] = {}
        self.look()
        self.channels = {channel.number: channel for channel in self._device.world.setup.lineup}

    def look(self) -> None:
        """See it as it is now."""
        for _, line in self._device.lines_until((time.monotonic() - self._begun_s) * self._speed):
            kind, subject, value, *unit = line.split(" ")
            if kind == "signal" and unit:
                self.levels[subject] = (value, unit[0])

    def shows(self, number: int) -> str:
        """The state of a channel now."""
        self.look()
        return channel_state(self._device.world, self.channels[number])


# --- what the person does ------------------------------------------------------------------------------------------


def unfold(page: Any) -> None:
    """Open what is folded away in the views."""
    page.evaluate("() => { for (const one of document.querySelectorAll('main details')) one.open = true; }")


def fill_sheet(page: Any, sheet: dict[str, Any]) -> None:
    """The job sheet, with the first site typed by hand."""
    view(page, "start")
    unfold(page)
    receiver, site = sheet["receiver"], sheet["site"][0]
    page.fill("#sheet-receiver-id", receiver["id"])
    page.select_option("#sheet-receiver-antenna_lead", receiver["antenna_lead"])
    page.select_option("#sheet-job-reason", sheet["job"]["reason"])
    page.fill("#sheet-service-package", sheet["service"]["package"])
    page.fill("#sheet-receiver-bias_nominal_v", "5")
    for key in ("name", "latitude_deg", "longitude_deg", "height_m", "timezone"):
        page.fill(f"#sheet-site-{key}", str(site[key]))
    with page.expect_response("**/sheet") as told:
        page.locator("#save-sheet").tap()
    assert told.value.ok, told.value.text()


def paste_lineup(page: Any, world: World) -> None:
    """The channel list, pasted as a table, and the categories that the package does not hold."""
    lines = [f"{line['channel']}\t{line['name']}\t{line['category']}" for line in world.lineup]
    page.fill("#list", "\n".join(["number\tname\tcategory", *lines]))
    page.locator("#read-list").tap()
    page.wait_for_selector("#list-read input[type=checkbox]")
    for category in world.outside:
        page.locator("#list-read label", has_text=re.compile(rf"^\s*{category}")).locator("input").check()
    with page.expect_response("**/lineup") as told:
        page.locator("#list-read button.go").tap()
    assert told.value.json()["count"] == len(lines)
    page.wait_for_selector("#view-channels .channel", state="attached")


def by_hand(page: Any, words: str) -> None:
    """Touch a target of 'By hand'."""
    page.locator(f'#view-byhand [data-enter="{words}"]').tap()


def mark_channels(page: Any, unit: HeadUnit, lineup: list[dict[str, str]]) -> dict[int, str]:
    """Mark the first channels by the four targets under each, the rest by the mark chosen above; what was marked."""
    view(page, "channels")
    marked = {}
    for n, line in enumerate(lineup):
        number = int(line["channel"])
        state = unit.shows(number)
        row = page.locator(".channel", has_text=f"{number} {line['name']}").first
        page.wait_for_selector("#groups:not([data-moved])")  # what has just come there takes nothing yet
        if n < 4:
            row.tap()
            page.locator(".rows .mark", has_text=WORDS[state]).tap()
        else:
            key = page.locator(f".chooser [data-value={state}]")
            if key.get_attribute("aria-pressed") != "true":
                key.tap()
            row.tap()
        marked[number] = state
    return marked


WORDS = {"authorised": "plays", "refused": "refused", "missing": "not listed", "no-signal": "could not tell"}


def time_changes(page: Any, states: dict[int, str]) -> int:
    """Time three channel changes; how many entries that made."""
    view(page, "timing")
    entries = 0
    chosen = sorted(states, key=lambda number: (states[number] != "authorised", number))[:3]
    for number in chosen:
        signs = {"authorised": ("audio", "title"), "refused": ("refused",)}.get(states[number], ("abandoned",))
        page.fill("#tune-number", str(number))
        page.locator("#changed").tap()
        page.wait_for_timeout(300)
        for sign in signs:
            page.locator(f"#view-timing [data-sign={sign}]").tap()
        entries += 1 + len(signs)
    return entries


def enter_levels(page: Any, unit: HeadUnit) -> int:
    """One level of each path that the receiver shows, in bars."""
    view(page, "byhand")
    unit.look()
    for path, (value, scale) in unit.levels.items():
        group = page.get_by_role("group", name=re.compile(rf"^Level, {path.replace(':', ' ')}$"))
        group.get_by_role("button", name=f"{value} of {scale.removeprefix('bars/')} bars", exact=True).tap()
    return len(unit.levels)


TOLD = """async () => {
  const { channels, entries, ...state } = await (await fetch("/state")).json();
  return JSON.stringify(state);
}"""
"""What the server tells of the state, for a failure's words."""


def now_says(page: Any, pattern: str) -> str:
    """Wait until the sentence of 'Now' is what it should be; the sentence."""
    end_s = time.monotonic() + PATIENCE_S
    while not re.search(pattern, sentence := page.inner_text("#sentence")):
        assert time.monotonic() < end_s, (sentence, page.evaluate(TOLD))
        page.wait_for_timeout(100)
    return sentence


COLONS = "(colon) => { for (const label of document.querySelectorAll('dt')) label.append(colon); }"
"""Labels stand beside their values: as text there is a colon between them."""


def customer_letter(page: Any) -> str:
    """Make the customer's letter in the page's language, open it, and read it as one text."""
    view(page, "handover")
    page.wait_for_selector(".paper[data-what=customer]")
    make(page, "customer")
    tab = opened(page, "customer")
    language = page.get_attribute("html", "lang")
    assert tab.get_attribute("html", "lang") == language
    tab.evaluate(COLONS, " :" if language == "fr" else ":")
    text = plain(tab.inner_text("body"))
    tab.close()
    return text


# --- the visit -----------------------------------------------------------------------------------------------------


@posix
@pytest.mark.parametrize(
    "visit",
    [pytest.param(visit, id=visit.scenario, marks=[] if n else pytest.mark.long) for n, visit in enumerate(VISITS)],
)
def test_a_visit_from_a_blank_job_to_the_letter(phone, tmp_path, capsys, visit):
    world, place = world_of(visit, tmp_path / "world"), tmp_path / "demo.satjob"
    page, complaints = phone(**PHONE)
    begun_s = time.monotonic()
    with Receiver(visit.scenario, visit.seed, visit.speed) as receiver:
        spec = receiver.spec
        unit = HeadUnit(visit, time.monotonic())
        with Laptop(place, spec) as laptop:
            page.goto(laptop.link)
            live(page)
            fill_sheet(page, world.sheet)
            paste_lineup(page, world)
            view(page, "byhand")
            for words in ("place vehicle open-sky", "heading vehicle 90 deg", "account service confirmed"):
                by_hand(page, words)
            states = mark_channels(page, unit, world.lineup)
            timed = time_changes(page, states)
            levels = enter_levels(page, unit)
            by_hand(page, "place vehicle indoors")
            page.locator("#snack button", has_text="Undo").tap()
            view(page, "now")
            saved(page)
            sentence = now_says(page, visit.sentence)
            check_letter(customer_letter(page), visit, world, states, unit)
            code, said = laptop.end()
    assert code == 0, said
    rows = open_job(place).rows
    by_page = Counter(row.kind for row in rows if row.source == "page")
    heard = sum(row.source.startswith("serial:") for row in rows)
    with capsys.disabled():
        took_s = time.monotonic() - begun_s
        print(f"\n{visit.scenario}: {took_s:.0f} s, {sum(by_page.values())} taps, {heard} rows heard. {sentence}")
    entered = {"channel": len(states), "tune": timed, "signal": levels, "place": 2, "heading": 1, "account": 1}
    assert by_page == {**entered, "withdraw": 1}
    assert heard > 30
    check_verdict(place, world)
    assert complaints == []


def check_letter(text: str, visit: Visit, world: World, states: dict[int, str], unit: HeadUnit) -> None:
    """The letter says what is true of the world and of what was tapped, and nothing that it must not."""
    assert re.search(visit.letter, text), text
    for table in (expected()["never"][visit.kind], expected()["no_customer"]):
        words = [one for one in table["en"] if not re.fullmatch(r"all \d+", one)]  # that number is a sample's
        assert [one for one in words if one.lower() in text.lower()] == [], text
    if visit.kind == "filling":
        package = [int(line["channel"]) for line in world.lineup if line["category"] not in world.outside]
        tapped = sum(states[number] == "authorised" for number in package)
        by_now = sum(unit.shows(number) == "authorised" for number in package)
        said = re.search(r"(\d+) of the (\d+) channels of your package", text)
        assert said, text
        assert int(said[2]) == len(package)
        assert tapped <= int(said[1]) <= by_now, "those that were tapped, and what the readout told until then"
    receiver = world.sheet["receiver"]["id"]
    assert receiver not in text


def check_verdict(place: Path, world: World) -> None:
    """What the real command says of the job is what was wrong in the simulated world."""
    command = [sys.executable, "-m", "satdiag", "analyse", "--json", str(place)]
    found = json.loads(subprocess.run(command, check=True, capture_output=True, timeout=PATIENCE_S).stdout)["verdict"]
    faults = [one["fault"] for one in world.truth["faults"]] or ["none"]
    assert (found["state"], found["class"]) == (world.truth["state"], world.truth["class"])
    assert [found["fault"]] == faults
