"""The view 'Start' in a real browser over the real application and a real job file: the sheet and the line-up."""

from __future__ import annotations

import socket
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from satdiag.job import build_job
from satdiag.live.app import make_app
from satdiag.live.deck import Deck
from satdiag.live.pairing import Pairing
from satdiag.live.security import Access
from satdiag.live.serve import _server
from satdiag.store import check_job_file, create_job_file, read_job_file
from satdiag.user_folder import ENVIRONMENT
from tests.live.browser.real import PATIENCE_S, go_to
from tests.live.browser.test_live_page import CONTRASTS
from tests.live.rigs import CODE, SHEET, WATCH, running
from tests.report.conftest import chromium  # noqa: F401  # the same browser as for the report

NO_PACKAGE = SHEET.replace(b'package = "full"\n', b"")
HOSTILE = '<img src=x onerror="document.title=1">'
TURNED = "a\u202eb"
FOUR = "Music\n1 Demo One\n2 Demo Two\n\nTalk\n3 Demo Three\n4 Demo Four"
CATEGORIES = ("Music", "Talk", "Sports", "Weather and traffic", "Comedy", "Children", "Demo")


class Shown(NamedTuple):
    """A page that is open, the complaints it made, the deck behind it and its job file."""

    page: Any
    complaints: list[str]
    deck: Deck
    place: Path


@pytest.fixture
def opened(chromium: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:  # noqa: F811
    """A function that serves a job of these documents and opens its page at 'Start', paired with a code."""
    monkeypatch.setenv(ENVIRONMENT, str(tmp_path / "user"))
    ends: list[Any] = []

    def open_page(sheet: bytes = SHEET, lineup: str | None = None, code: str = CODE, **more: Any) -> Shown:
        place = tmp_path / f"demo-{len(ends)}.satjob"
        documents = {"job.toml": sheet, **({"lineup.csv": lineup.encode()} if lineup else {})}
        create_job_file(place, build_job(documents, []))
        deck = _entered(running(place))
        with socket.socket() as found:
            found.bind(("127.0.0.1", 0))
            port = found.getsockname()[1]
        listening = socket.socket()
        ends.append(listening.close)
        listening.bind(("127.0.0.1", port))
        listening.listen(16)
        host = f"127.0.0.1:{port}"
        access = Access({host}, Pairing(CODE, WATCH), "satdiag_test")
        _entered(_server(make_app(deck, access), listening, deck.closing))
        more = {"viewport": {"width": 390, "height": 844}, **more}
        context = chromium.new_context(**more)
        ends.append(context.close)
        page, complaints = context.new_page(), []
        expected = ("net::ERR", "Failed to load resource")
        page.on("console", lambda said: any(word in said.text for word in expected) or complaints.append(said.text))
        page.on("pageerror", lambda error: complaints.append(f"error: {error}"))
        context.on(
            "request",
            lambda asked: asked.url.startswith((f"http://{host}/", "data:")) or complaints.append(asked.url),
        )
        page.goto(f"http://{host}/#c={code}")
        page.wait_for_selector("#link[data-state=good]")
        go_to(page, "start")
        return Shown(page, complaints, deck, place)

    def _entered(context: Any) -> Any:
        made = context.__enter__()
        ends.append(lambda: context.__exit__(None, None, None))
        return made

    yield open_page
    for end in reversed(ends):
        end()


def held(place: Path) -> dict[int, list[str]]:
    """The packages of each channel in a job file."""
    return {line.channel: sorted(line.packages) for line in read_job_file(place).lineup or ()}


def until(page: Any, done: Callable[[], object], seconds: float = PATIENCE_S) -> None:
    """Wait for something; the page goes on meanwhile."""
    end_s = time.monotonic() + seconds
    while not done():
        assert time.monotonic() < end_s, "it did not happen in time"
        page.wait_for_timeout(20)


def words(page: Any, selector: str) -> list[str]:
    """The lines of a list."""
    return [" ".join(text.split()) for text in page.locator(f"{selector} li").all_inner_texts()]


def lineup_of(count: int, package: str = "full") -> str:
    """A line-up in seven categories, the last two of them outside the package."""
    rows = []
    for n in range(count):
        category = CATEGORIES[n * len(CATEGORIES) // count]
        rows.append(
            f"{n + 1},Demo {category} {n + 1},{category},{'other' if category in CATEGORIES[-2:] else package}"
        )
    return "\n".join(["channel,name,category,packages", *rows, ""])


def test_a_pasted_list_asks_what_the_package_is_called_and_both_are_saved_in_one_go(opened: Any) -> None:
    page, complaints, _, place = opened(NO_PACKAGE)
    page.fill("[aria-label='Channel list']", FOUR)
    page.click("text=Read the list")
    page.click("#list-read .tick:has-text('Talk')")
    page.click("text=Save 4 channels")
    page.wait_for_selector("#list-read .wrong:has-text('Say what the package is called')")
    assert page.evaluate("document.activeElement.closest('.named') !== null")
    page.get_by_role("checkbox", name="Talk 2 channels").wait_for()
    assert read_job_file(place).lineup is None
    page.keyboard.type("Full House")
    page.click("text=Save 4 channels")
    page.wait_for_selector("#snack:has-text('4 channels saved.')")
    page.wait_for_selector("#lineup-sums li")
    assert words(page, "#lineup-sums") == ["In the package: full-house 2", "Outside it: Talk 2"]
    assert held(place) == {1: ["full-house"], 2: ["full-house"], 3: ["other"], 4: ["other"]}
    assert read_job_file(place).sheet.package == "full-house"
    assert page.input_value("#sheet-service-package") == "full-house"
    until(page, lambda: read_job_file(place).rows)
    notes = [row.value for row in read_job_file(place).rows if row.kind == "note"]
    assert notes == ["sheet: service.package: unknown -> full-house; line-up: 4 channels, outside full-house: Talk"]
    assert complaints == []


def test_a_line_up_with_packages_of_its_own_is_shown_as_it_says_and_comes_through(opened: Any) -> None:
    page, complaints, _, place = opened()
    rows = ["1,a,Rock,all full", "2,b,Talk,gold", "3,c,Mixed,full", "4,d,Mixed,gold", "5,e,Info,open"]
    page.fill("[aria-label='Channel list']", "\n".join(["channel,name,category,packages", *rows]))
    page.click("text=Read the list")
    page.wait_for_selector("#list-said:has-text('packages kept')")
    ticks = page.evaluate(
        "[...document.querySelectorAll('#list-read .tick')].map(row => [row.querySelector('bdi').textContent,"
        " row.querySelector('input')?.checked, row.querySelector('input')?.indeterminate])"
    )
    assert ticks == [["Rock", False, False], ["Talk", True, False], ["Mixed", False, True], ["Info", None, None]]
    page.click("text=Save 5 channels")
    page.wait_for_selector("#snack:has-text('5 channels saved.')")
    assert held(place) == {1: ["all", "full"], 2: ["gold"], 3: ["full"], 4: ["gold"], 5: ["open"]}
    page.wait_for_selector("#lineup-sums li")
    assert words(page, "#lineup-sums") == [
        "In the package: full 2", "Outside it: Talk 1", "Partly outside it: Mixed 1 of 2",
        "Play without an account 1",
    ]  # fmt: skip
    assert complaints == []


def test_categories_go_out_and_in_again_and_another_page_sees_it(opened: Any) -> None:
    page, complaints, _, place = opened(lineup=lineup_of(21))
    assert words(page, "#lineup-sums") == ["In the package: full 15", "Outside it: Children 3", "Outside it: Demo 3"]
    other = page.context.new_page()
    other.goto(page.url)
    other.wait_for_selector("#link[data-state=good]")
    page.click("#lineup-marks summary")
    page.click("#lineup-form .tick:has-text('Sports')")
    page.click("#lineup-form .tick:has-text('Demo')")
    page.click("text=Save what is in the package")
    page.wait_for_selector("#snack:has-text('The package is saved.')")
    expected = ["In the package: full 15", "Outside it: Sports 3", "Outside it: Children 3"]
    for one in (page, other):
        one.wait_for_selector("#lineup-sums:has-text('Sports')")
        assert words(one, "#lineup-sums") == expected
    assert held(place)[21] == ["full"]
    assert [line.category for line in read_job_file(place).lineup if line.packages == {"other"}] == [
        *["Sports"] * 3, *["Children"] * 3,
    ]  # fmt: skip
    assert complaints == []


def test_what_was_ticked_stays_while_the_page_is_told_other_things(opened: Any) -> None:
    page, _, deck, _ = opened(lineup=lineup_of(21))
    page.click("#lineup-marks summary")
    page.click("#lineup-form .tick:has-text('Sports')")
    page.fill("#sheet-job-vehicle", "demo bus")
    deck.change_sheet({"job.technician": "Demo"})
    until(page, lambda: page.input_value("#sheet-job-technician") == "Demo")
    page.fill("#lineup-form input[name=package]", "music")
    page.evaluate("document.activeElement.setSelectionRange(2, 2)")
    deck.change_sheet({"service.package": None})  # the form is made anew
    page.wait_for_selector("#lineup-words:has-text('names no package')")
    assert page.is_checked("#lineup-form .tick:has-text('Sports') input")
    page.keyboard.type("p")
    assert page.input_value("#lineup-form input[name=package]") == "mupsic", "who types goes on where the caret stood"
    page.focus("#lineup-form .tick:has-text('Sports') input")
    deck.change_sheet({"service.package": "full"})
    page.wait_for_selector("#lineup-sums:has-text('In the package')")
    assert page.evaluate("document.activeElement.name") == "tick Sports"
    assert page.input_value("#sheet-job-vehicle") == "demo bus"


def test_a_list_is_kept_for_other_jobs_and_asks_before_it_replaces_one(opened: Any, tmp_path: Path) -> None:
    page, complaints, _, place = opened(lineup=lineup_of(21))
    kept = tmp_path / "user" / "lineups"
    page.click("#lineup-keep summary")
    for name, said in [
        ("../demo", "Not saved"),
        (HOSTILE, "Not saved"),
        (TURNED, "Not saved"),
        ("My region", "Kept as"),
    ]:
        page.fill("#keep-name", name)
        page.click("#keep-go")
        page.wait_for_selector(f"#keep-said:has-text('{said}')")
        assert (kept.exists(), "Replace it" in page.inner_text("#keep")) == (name == "My region", False)
    assert (kept / "My-region.csv").read_bytes() == read_job_file(place).documents["lineup.csv"]
    page.click("#lineup-marks summary")
    page.click("#lineup-form .tick:has-text('Sports')")
    page.click("text=Save what is in the package")
    page.wait_for_selector("#lineup-sums:has-text('Sports')")
    page.click("#keep-go")
    page.wait_for_selector("#keep-said:has-text('is kept as')")
    assert (kept / "My-region.csv").read_bytes() != read_job_file(place).documents["lineup.csv"]
    page.click("#keep-ask button")
    page.wait_for_selector("#keep-said:has-text('Replaced: kept now as My-region.')")
    assert (kept / "My-region.csv").read_bytes() == read_job_file(place).documents["lineup.csv"]

    other = opened(NO_PACKAGE)
    other.page.click("text=Use a kept list")
    other.page.click("#kept-names >> text=My-region")
    other.page.wait_for_selector("#list-said:has-text(\"Kept as 'My-region': 21 channels.\")")
    assert words(other.page, "#list-read ul")[0] == "1 Demo Music 1 (Music)"
    assert other.page.locator("#list-read .tick input:checked").count() == 0
    other.page.click("#list-read .asked >> text=full")
    assert other.page.input_value("#list-read .named input") == "full"
    assert not other.page.is_visible("#list-read .asked")
    assert other.page.locator("#list-read .tick input:checked").count() == 3
    other.page.click("text=Save 21 channels")
    other.page.wait_for_selector("#snack:has-text('21 channels saved.')")
    assert held(other.place) == held(place)
    assert complaints == other.complaints == []


def test_hostile_names_do_nothing_in_a_list_a_category_a_package_and_a_kept_list(opened: Any, tmp_path: Path) -> None:
    rows = [f'1,"{HOSTILE.replace(chr(34), chr(34) * 2)}",__proto__,full', f"2,{TURNED},{TURNED},full"]
    lineup = "\n".join(["channel,name,category,packages", *rows, "3,c,constructor,full", ""])
    (tmp_path / "user" / "lineups").mkdir(parents=True)
    (tmp_path / "user" / "lineups" / "turned.csv").write_text(lineup, "utf-8")
    page, complaints, _, place = opened(lineup=lineup)
    page.click("#lineup-marks summary")
    page.click("#lineup-form .tick:has-text('__proto__')")
    page.click(f"#lineup-form .tick:has-text('{TURNED}')")
    page.click("text=Save what is in the package")
    page.wait_for_selector("#snack:has-text('The package is saved.')")  # and the form is folded
    page.wait_for_selector("#lineup-sums:has-text('__proto__')")
    assert held(place) == {1: ["other"], 2: ["other"], 3: ["full"]}
    assert [line.category for line in read_job_file(place).lineup] == ["__proto__", TURNED, "constructor"]
    page.click("#lineup-marks summary")
    page.fill("#lineup-form .named input", HOSTILE)
    page.click("text=Save what is in the package")
    page.wait_for_selector("#lineup-form .wrong:has-text('is not a package word')")
    page.click("text=Take another list instead")
    page.fill(
        "[aria-label='Channel list']", f"[{HOSTILE}]\n7 {HOSTILE}\n{HOSTILE} no number\n[__proto__]\n8 {TURNED}x"
    )
    page.click("text=Read the list")
    page.wait_for_selector("text=Save 2 channels")
    page.click("text=Use a kept list")
    page.click("#kept-names >> text=turned")
    page.wait_for_selector("text=Save 3 channels")
    page.click("text=Save 3 channels")
    page.wait_for_selector("#snack:has-text('3 channels saved.')")
    assert page.evaluate("document.querySelectorAll('img, script:not([src], #words), iframe, object').length") == 0
    assert page.evaluate("document.title") != "1"
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    assert check_job_file(place) == []
    assert complaints == []


def test_who_may_only_watch_is_offered_no_form_and_sees_what_is_there(opened: Any) -> None:
    sheet = SHEET.replace(b'vehicle = "demo van"', b'vehicle = "demo van"\nreason = "just-installed"')
    sheet = sheet.replace(b"[receiver]\n", b'[receiver]\nlevel_scale = "bars/5"\nsecond_hand = false\n')
    page, complaints, _, _ = opened(sheet, lineup_of(21), WATCH)
    page.wait_for_selector("#sheet-told")
    assert (
        page.locator("#view-start :is(input, select, textarea, button, summary)").locator("visible=true").count() == 0
    )
    told = words(page, "#sheet-values")
    assert told[:2] == ["Vehicle demo van", "Why the person is here the receiver was just fitted"]
    assert "How the receiver shows the signal 0 to 5 bars" in told
    assert "Was the receiver in another vehicle before? no" in told
    assert "DEMO00042" not in page.content()
    assert "may only watch" in page.inner_text("#sheet-told")
    assert words(page, "#lineup-sums")[0] == "In the package: full 15"
    assert complaints == []


def test_the_sheet_is_filled_in_by_plain_words_and_the_values_are_those_of_the_sheet(opened: Any) -> None:
    page, complaints, _, place = opened(NO_PACKAGE)
    page.select_option("#sheet-job-reason", label="the receiver was just fitted")
    page.select_option("#sheet-receiver-antenna_lead", value="dual")
    page.select_option("#sheet-receiver-adaptor", value="combiner")
    page.select_option("#sheet-receiver-adaptor", label="not known")
    page.select_option("#sheet-scale", label="another way")
    page.fill("#sheet-receiver-level_scale", "lots")
    page.fill("#sheet-service-package", "All In")
    page.fill("#sheet-receiver-id", "X")
    page.fill("#sheet-receiver-id", "")
    page.click("text=If you have papers")
    page.fill("#sheet-receiver-bias_nominal_v", "5,5 V")
    page.click("text=If you have papers")
    page.click("text=Save the sheet")
    page.wait_for_selector("#sheet-receiver-level_scale-wrong:has-text('is not dB')")
    page.wait_for_selector("#sheet-receiver-bias_nominal_v-wrong:has-text('is not a number')")
    page.fill("#sheet-receiver-level_scale", "bars/7")
    page.fill("#sheet-receiver-bias_nominal_v", "5,5")
    page.click("text=Save the sheet")
    page.wait_for_selector("#sheet-said:has-text('The sheet is saved.')")
    sheet = read_job_file(place).sheet
    assert (sheet.reason, sheet.receiver.antenna_lead, sheet.package) == ("just-installed", "dual", "all-in")
    assert (sheet.receiver.level_scale, sheet.receiver.bias_nominal_v) == ("bars/7", 5.5)
    assert sheet.receiver.id == "DEMO00042"
    assert b"adaptor" not in read_job_file(place).documents["job.toml"]
    page.select_option("#sheet-scale", label="0 to 5 bars")
    page.click("text=Save the sheet")
    until(page, lambda: read_job_file(place).sheet.receiver.level_scale == "bars/5")
    until(page, lambda: not page.is_visible("#sheet-scale-other"))
    page.fill("#sheet-site-height_m", "12")
    page.click("text=Save the sheet")
    until(page, lambda: read_job_file(place).sheet.sites[0].height_m == 12)
    until(page, lambda: len(read_job_file(place).rows) == 3)
    notes = [row.value for row in read_job_file(place).rows if row.kind == "note"]
    assert notes[-1] == "sheet: site.height_m: unknown -> 12", "latitude 45.0 was sent as 45, and is no change"
    assert complaints == []


@pytest.mark.parametrize(("width", "scheme"), [(390, "light"), pytest.param(1280, "dark", marks=pytest.mark.long)])
def test_with_a_line_up_of_140_channels_all_fits_and_is_large_enough(opened: Any, width: int, scheme: str) -> None:
    size = {"width": width, "height": 844 if width < 500 else 800}
    page, complaints, _, _ = opened(lineup=lineup_of(140), viewport=size, color_scheme=scheme)
    for summary in page.locator("#view-start details summary").all():
        summary.click()
    page.fill("[aria-label='Channel list']", lineup_of(140, "gold"))
    page.click("text=Read the list")
    page.wait_for_selector("text=Save 140 channels")
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    small = page.evaluate(
        """() => [...document.querySelectorAll('#view-start :is(button, select, summary, input, textarea, .tick)')]
        .filter(one => one.checkVisibility()).map(one => [one.textContent, one.getBoundingClientRect()])
        .filter(([, box]) => box.width < 44 || box.height < 44).map(([text]) => text)"""
    )
    assert small == []
    assert [pair for pair in page.evaluate(CONTRASTS) if pair[0] < 4.5] == []
    assert complaints == []
