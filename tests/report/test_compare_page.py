"""The page of a comparison: valid, readable on a telephone and on paper, in three languages."""

import re

import pytest

import satdiag
from satdiag.acceptance import compare
from satdiag.errors import SatdiagError
from satdiag.language import speaking
from satdiag.report.compare import bar_of, comparison_html, write_comparison
from tests.report.checker import complaints_about

JOBS = ("antenna-weak", "complete")


@pytest.fixture(scope="module")
def jobs():
    found = [satdiag.open_job(f"sample_logs/{name}") for name in JOBS]
    return tuple(found), [satdiag.analyse(job) for job in found]


def page_in(language, jobs):
    (before, after), (first, second) = jobs
    with speaking(language):
        return comparison_html((before, after), compare(before, first, after, second))


@pytest.fixture(scope="module")
def page(jobs):
    return page_in("en", jobs)


def test_every_measure_and_fault_stands_in_the_page_and_no_identifier(page, jobs):
    found = compare(jobs[0][0], jobs[1][0], jobs[0][1], jobs[1][1])
    text = re.sub(r"<[^>]+>", "", page)
    for one in found.items:
        assert one.title in text
        assert one.before_text in text
    for fault in found.faults:
        assert fault.title.replace("'", "&#39;") in text
    for job in jobs[0]:
        assert job.sheet.receiver.id not in page
        assert job.sheet.sites[0].timezone in text  # whose times they are


def test_a_bar_lies_where_its_interval_lies(jobs):
    found = compare(jobs[0][0], jobs[1][0], jobs[0][1], jobs[1][1])
    bars = [(one, bar) for one in found.items if (bar := bar_of(one)) is not None]
    assert bars
    for one, bar in bars:
        assert 0 <= bar.left <= bar.left + bar.width <= 100.9
        none = 0.5 if one.kind == "rank" else 0.0
        assert (bar.left > bar.none) == (one.effect_90[0] > none)


def test_the_pages_are_valid_and_each_in_its_language(jobs, tmp_path):
    places = []
    for language in ("en", "es", "fr"):
        text = page_in(language, jobs)
        assert f'<html lang="{language}">' in text
        assert ("Measure by measure" in text) == (language == "en")
        places.append(tmp_path / f"{language}.html")
        # the checker does not know the style sheet's newer properties, which all pages share: markup alone is judged
        bare = re.sub(r"<style>.*?</style>", "<style></style>", text, flags=re.DOTALL)
        places[-1].write_text(bare, encoding="utf-8")
    assert complaints_about(places, errors_alone=True) == []


AXE = """async () => {
  const found = await axe.run(document, {resultTypes: ["violations"]});
  return found.violations.map(one => [one.id, one.help]);
}"""


@pytest.mark.parametrize("width", [390, pytest.param(1280, marks=pytest.mark.long)])
def test_axe_finds_nothing_and_nothing_overflows(width, chromium, page, tmp_path):
    from axe_playwright_python.sync_playwright import Axe

    place = tmp_path / "c.html"
    place.write_text(page, encoding="utf-8")
    shown = chromium.new_page(viewport={"width": width, "height": 900}, bypass_csp=True)
    try:
        shown.goto(place.as_uri())
        shown.evaluate(Axe().axe_script)
        assert shown.evaluate(AXE) == []
        assert shown.evaluate("document.documentElement.scrollWidth") <= width
    finally:
        shown.close()


def test_foreign_files_are_not_written_over(jobs, tmp_path):
    (before, after), (first, second) = jobs
    place = tmp_path / "mine.csv"
    place.write_text("mine", encoding="utf-8")
    with pytest.raises(SatdiagError, match="not written over"):
        write_comparison(place, (before, after), compare(before, first, after, second))
    assert place.read_text("utf-8") == "mine"
