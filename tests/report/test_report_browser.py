"""The report in a real browser: drawn without complaint, on a desk and on a phone, light, dark and on paper."""

from __future__ import annotations

import pytest

from satdiag.report import report_html
from tests.report import made
from tests.report.test_report_page import _with_hostile_words

TRACES = ".scatterlayer .trace, .barlayer .trace, .barpolar .trace"
INKS = {"light": "rgb(29, 33, 38)", "dark": "rgb(233, 231, 225)"}
LONG = "Averylongnamewithoutanyblanksinitwhichmustnotpushthepagewiderthanthephone" * 2


@pytest.fixture(scope="module")
def full() -> str:
    return report_html(made.full_job(), made.full_findings())


def _ink(page) -> str:
    """The colour of the words in a figure."""
    return page.evaluate("getComputedStyle(document.querySelector('#drawing-evidence .annotation-text')).fill")


def _fits(page) -> bool:
    return page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


@pytest.mark.parametrize(
    ("width", "scheme"),
    [
        (390, "dark"),
        (1280, "light"),
        *(pytest.param(*one, marks=pytest.mark.long) for one in ((390, "light"), (1280, "dark"))),
    ],
)
def test_every_figure_is_drawn_and_nothing_overflows(seen, full, width, scheme):
    page, complaints = seen(full, width, scheme)
    assert complaints == []
    drawings = page.query_selector_all(".drawing")
    assert len(drawings) == full.count('<div class="drawing"') >= 6
    for drawing in drawings:
        name = drawing.get_attribute("id")
        assert drawing.query_selector_all(TRACES), name
        box = drawing.query_selector("svg.main-svg").bounding_box()
        assert box["width"] <= width
        assert box["height"] >= 100
    assert _ink(page) == INKS[scheme]
    assert _fits(page)
    page.evaluate("document.querySelectorAll('details').forEach(part => part.open = true)")
    assert _fits(page)


def test_an_empty_report_makes_no_complaint(seen):
    page, complaints = seen(report_html(made.bare_job(), made.empty_findings()), 390)
    assert complaints == []
    assert _fits(page)
    assert page.inner_text("h1").strip() == "Cannot tell yet"


def test_long_names_do_not_push_the_page_wider(seen):
    lineup = f"channel,name,category,packages\n62,{LONG},{LONG},music\n"
    sheet = made.SHEET.replace("demo saloon", LONG).replace('"yard"', f'"{LONG}"')
    page, _ = seen(report_html(made.full_job(sheet=sheet, lineup=lineup), made.full_findings()), 390)
    page.evaluate("document.querySelectorAll('details').forEach(part => part.open = true)")
    assert _fits(page)


def test_hostile_names_do_nothing(seen):
    page, complaints = seen(report_html(made.full_job(), _with_hostile_words(made.full_findings())), 1280)
    assert complaints == []
    assert page.evaluate("document.querySelectorAll('a:not([href^=\"#\"])').length") == 0
    assert page.evaluate("[...document.querySelectorAll('a')].every(a => !a.closest('svg'))")


def test_the_printer_gets_light_figures_and_all_channels(seen, full):
    page, complaints = seen(full, 390, "dark")
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    assert (
        page.evaluate("getComputedStyle(document.querySelector('#drawing-evidence .annotation-text')).fill")
        == INKS["light"]
    )
    assert page.evaluate("document.querySelectorAll('details.group:not([open])').length") == 0
    page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    assert page.evaluate("document.querySelectorAll('details.group:not([open])').length") == 3
    assert (
        page.evaluate("getComputedStyle(document.querySelector('#drawing-evidence .annotation-text')).fill")
        == INKS["dark"]
    )
    assert complaints == []


def test_without_scripts_the_tables_still_stand(chromium, full, tmp_path):
    place = tmp_path / "report.html"
    place.write_text(full, encoding="utf-8")
    context = chromium.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(place.as_uri())
    assert page.locator("noscript").first.is_visible()
    assert page.locator("figure table").count() >= 6
    context.close()
