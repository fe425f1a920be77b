"""The view 'Hand over' for real: papers are made by a laptop that records, opened in a tab of their own, and saved.

The logs are simulated: what the papers say of them is the analysis's own business. Looked at is whether they are the
papers that were asked for, whether they can do nothing to the page they came from, and whether taps wait for them.
"""

from __future__ import annotations

import io
import re
import sys
import zipfile
from collections.abc import Iterator
from typing import Any

import pytest

from satdiag.acceptance.record import parse_record
from satdiag.job import build_job
from satdiag.opening import open_job
from satdiag.report.browser import is_whole
from satdiag.simulate import make_job, write_job
from satdiag.store import create_job_file
from tests.live.browser.real import PHONE, Laptop, live, pair_by_code, shoot, until, view
from tests.live.browser.test_live_axe import UNFOLD, until_now, violations

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="it ends the server with a signal of POSIX")

MADE = """(what) => [...document.querySelectorAll(`.paper[data-what=${what}] .made a[download]`)]
  .map((one) => one.href)"""
"""The papers of a kind that are there; another one has another address."""

FETCHES = """async () => {
  const tried = [];
  for (const [path, options] of [["/state", {}], ["/time", {}], ["/taps", { method: "POST", body: "{}" }]]) {
    for (const mode of ["cors", "no-cors"]) {
      const address = location.href.replace(/\\/made\\/.*/, path);
      await fetch(address, { ...options, mode, credentials: "include" })
        .then((answer) => tried.push(`${path} ${answer.type}`), () => tried.push("refused"));
    }
  }
  const stored = () => { try { return localStorage.length + document.cookie; } catch (error) { return error.name; } };
  return { tried, origin: self.origin, opener: window.opener, stored: stored() };
}"""
DRAWN = """() => {
  const places = [...document.querySelectorAll(".js-plotly-plot")];
  return places.length > 0 && places.every((place) => place.querySelector("svg.main-svg .trace, svg.main-svg path"));
}"""


@pytest.fixture
def laptop(request: Any, tmp_path: Any, phone: Any) -> Iterator[Laptop]:
    """`satdiag live` on a simulated job whose last row is a minute old."""
    write_job(make_job(request.param, 1), tmp_path / "demo")
    job = open_job(tmp_path / "demo")
    create_job_file(tmp_path / "demo.satjob", build_job(job.documents, until_now(job.rows), job.header))
    with Laptop(tmp_path / "demo.satjob") as made:
        yield made


def begin(phone: Any, laptop: Laptop, **more: Any) -> tuple[Any, list[str]]:
    """The page, paired, at its view 'Hand over', with all papers told."""
    page, complaints = phone(**PHONE, reduced_motion="reduce", **more)
    page.goto(laptop.url)
    pair_by_code(page, laptop.code)
    live(page)
    view(page, "handover")
    page.wait_for_selector(".paper[data-what=bundle]")
    return page, complaints


def card(page: Any, what: str) -> Any:
    """The card of a paper."""
    return page.locator(f".paper[data-what={what}]")


def make(page: Any, what: str, form: str = "html") -> None:
    """Make a paper as a person does, and wait until it is there."""
    before = page.evaluate(MADE, what)
    card(page, what).locator(f".make[data-form={form}]").click()
    until(lambda: page.evaluate(MADE, what) != before, page, what=f"the paper '{what}'")


def opened(page: Any, what: str, nth: int = -1) -> Any:
    """The tab in which a paper was opened."""
    with page.context.expect_page() as fresh:
        card(page, what).locator(".made a.go").nth(nth).click()
    tab = fresh.value
    tab.wait_for_load_state()
    return tab


def kept(page: Any, what: str) -> tuple[str, bytes]:
    """The name and the bytes of a paper that was saved on the device."""
    with page.expect_download() as coming:
        card(page, what).locator(".made a[download]").last.click()
    with open(coming.value.path(), "rb") as file:
        return coming.value.suggested_filename, file.read()


@pytest.mark.parametrize("laptop", ["antenna-open"], indirect=True)
def test_a_report_is_made_while_taps_are_written_at_once_and_can_do_nothing_to_the_page(phone, laptop):
    page, complaints = begin(phone, laptop)
    before = len(open_job(laptop.place).rows)
    card(page, "report").get_by_role("button", name="Make the page").click()
    taps, meanwhile = 0, 0
    while "It is made" not in card(page, "report").locator("[role=status]").inner_text() or taps < 3:
        page.evaluate(
            """async (key) => {
              const { ask } = await import("/static/net.js");
              const now = { wall_ms: Date.now(), mono_ms: performance.now(), offset_ms: 0, uncertainty_ms: 1 };
              await ask("/taps", { page: "0f0e0d0c-1111-4222-8333-444455556666",
                taps: [{ key, kind: "note", subject: "", value: "demo", ...now }] }, 60000);
            }""",
            f"00000000-0000-4000-8000-{taps:012d}",
        )
        taps += 1
        state = card(page, "report").get_attribute("data-state")
        assert state != "failed"
        meanwhile += state == "making"
        if taps == 3:
            shoot(page, "handover, making", "light", 390)
        page.wait_for_timeout(300)
    assert meanwhile > 0, "a tap waited for the report"
    assert len(open_job(laptop.place).rows) == before + taps, "what was acknowledged is in the file"
    stale = card(page, "report").locator(".stale")
    stale.wait_for(state="visible")
    shoot(page, "handover, stale", "light", 390)
    assert re.fullmatch(r"The log has (one more row|\d+ more rows) since\.", stale.inner_text())

    tab = opened(page, "report")
    said: list[str] = []
    tab.on("console", lambda one: said.append(one.text))
    until(lambda: tab.evaluate(DRAWN), tab, what="the drawing of the figures")
    told = tab.evaluate(FETCHES)
    assert told == {"tried": ["refused"] * 6, "origin": "null", "opener": None, "stored": "SecurityError"}
    assert any("Content Security Policy" in one for one in said), "it was the policy that refused it"
    assert "demo-" in tab.inner_text("body")
    tab.close()
    assert complaints == []


@pytest.mark.long
@pytest.mark.parametrize("laptop", ["filling", "antenna-open"], indirect=True)
def test_letter_and_record_are_what_was_asked_for(phone, laptop):
    page, complaints = begin(phone, laptop)
    job = open_job(laptop.place)
    page.fill("#paper-by", "Demo Hand")
    page.select_option("#paper-language", "es")
    make(page, "customer")
    tab = opened(page, "customer")
    assert tab.evaluate("document.documentElement.lang") == "es"
    assert "Demo Hand" in tab.inner_text("body")
    assert job.sheet.vehicle in tab.inner_text("body")
    tab.close()
    name, data = kept(page, "customer")
    assert name == f"{job.sheet.id}-letter-customer-es.html"
    assert b"Demo Hand" in data

    page.select_option("#paper-language", "en")
    make(page, "record")
    tab = opened(page, "record")
    record = parse_record(tab.text_content("#record"))
    assert (record.by, record.job, record.language) == ("Demo Hand", job.sheet.id, "en")
    tab.close()
    assert complaints == []


@pytest.mark.long
@pytest.mark.parametrize("laptop", ["filling", "antenna-open"], indirect=True)
def test_report_as_a_pdf_and_bundle_are_whole(phone, laptop):
    page, complaints = begin(phone, laptop)
    job = open_job(laptop.place)
    page.select_option("#paper-language", "fr")
    for what, form in (("report", "html"), ("report", "pdf"), ("provider", "html"), ("bundle", "zip")):
        make(page, what, form)
    assert job.sheet.receiver.id not in kept(page, "provider")[1].decode()
    assert card(page, "report").locator(".made li").count() == 2, "the page is kept beside the PDF"
    name, data = kept(page, "report")
    assert name == f"{job.sheet.id}-report-fr.pdf"
    assert is_whole(data)
    tab = opened(page, "report", 0)
    until(lambda: tab.evaluate(DRAWN), tab, what="the drawing of the figures")
    assert tab.evaluate("document.documentElement.lang") == "fr"
    tab.close()
    name, data = kept(page, "bundle")
    assert name == f"{job.sheet.id}-hand-over-fr.zip"
    with zipfile.ZipFile(io.BytesIO(data)) as bundle:
        assert bundle.testzip() is None
        assert {"report.html", "report.pdf", "letters/provider.txt", "manifest.json"} <= set(bundle.namelist())
        assert job.sheet.receiver.id.encode() not in b"".join(map(bundle.read, bundle.namelist()))
    assert complaints == []


WIDE = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
SMALL = """() => [...document.querySelectorAll("#view-handover :is(button, a, select, input)")]
  .filter((one) => one.checkVisibility()).map((one) => [one.textContent || one.id, one.closest("label") ?? one])
  .map(([name, one]) => [name, Math.round(one.getBoundingClientRect().height), one.matches("button, a") ? 64 : 44])
  .filter(([, height, least]) => height < least)"""


@pytest.mark.parametrize("laptop", ["filling"], indirect=True)
def test_the_view_fits_is_large_enough_and_breaks_no_rule(phone, laptop):
    """In French, whose words are the longest."""
    page, complaints = begin(phone, laptop, locale="fr-FR")
    assert not card(page, "provider").get_by_role("checkbox").is_checked()
    card(page, "provider").get_by_role("checkbox").check()
    make(page, "provider")
    name, data = kept(page, "provider")
    assert open_job(laptop.place).sheet.receiver.id in data.decode()
    assert name.endswith("-provider-whole-id-fr.html")
    assert "Avec l'identifiant complet" in card(page, "provider").inner_text()
    found = []
    for scheme in ("light", "dark"):
        for width, height in ((360, 740), (390, 844), (1280, 800)):
            page.emulate_media(color_scheme=scheme)
            page.set_viewport_size({"width": width, "height": height})
            page.evaluate(UNFOLD)
            shoot(page, "handover", scheme, width)
            found += [(scheme, width, one) for one in page.evaluate(SMALL)]
            if page.evaluate(WIDE) > 0:
                found.append((scheme, width, "it is wider than the screen"))
            if (scheme, width) in (("light", 360), ("dark", 1280)):
                found += [(scheme, width, one) for one in violations(page)]
    assert found == []
    assert complaints == []


@pytest.mark.parametrize("laptop", ["antenna-open"], indirect=True)
def test_who_may_only_watch_makes_nothing_and_sees_no_papers(phone, laptop):
    page, _ = phone(**PHONE)
    page.goto(laptop.url)
    pair_by_code(page, laptop.watch_code)
    live(page)
    view(page, "handover")
    page.wait_for_selector("#view-handover > p:visible")
    page.wait_for_timeout(500)
    assert page.locator("#view-handover button:visible").count() == 0
    assert "may only watch" in page.inner_text("#view-handover")
    assert page.evaluate("fetch('/made').then((answer) => answer.status)") == 403
