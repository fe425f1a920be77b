"""The letter as a page: one sheet of paper, valid, readable on a telephone, and asking nothing of the network."""

from __future__ import annotations

import io
import re
from dataclasses import replace

import pypdf
import pytest
from axe_playwright_python.sync_playwright import Axe

from satdiag.language import speaking
from satdiag.letter import letter_html, letter_text
from satdiag.tables import LineUpChannel
from tests.letter.cases import CASES, case, case_letter
from tests.letter.read import LANGUAGES, RECIPIENTS, body, letter, plain
from tests.report.test_report_valid import complaints
from tests.sample_findings import SAMPLES, findings_of, job_of

SHEETS = {"A4": (595, 842), "Letter": (612, 792)}
"""Sheets in points: ISO 216, ANSI/ASME Y14.1."""

TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22a", "wcag22aa", "best-practice"]


def page_of(name, recipient, language, **more):
    with speaking(language):
        return letter_html(job_of(name), findings_of(name), recipient, **more)


def longest(recipient, language):
    """The sample whose letter has the most to say."""
    return max(SAMPLES, key=lambda name: len(body(letter(name, recipient, language), language)))


@pytest.fixture
def opened(chromium, tmp_path):
    """A function that opens a letter and returns the page and what the browser complained of or asked for."""
    contexts = []

    def see(html, width=1000):
        place = tmp_path / "letter.html"
        place.write_text(html, "utf-8")
        context = chromium.new_context(viewport={"width": width, "height": 800})
        contexts.append(context)
        page = context.new_page()
        found = []
        page.on("console", lambda message: found.append(f"{message.type}: {message.text}"))
        page.on("pageerror", lambda error: found.append(f"error: {error}"))
        page.on("request", lambda asked: asked.url == place.as_uri() or found.append(f"fetched {asked.url}"))
        page.goto(place.as_uri())
        return page, found

    yield see
    for context in contexts:
        context.close()


def printed(page, sheet):
    """The pages of the letter printed on a sheet."""
    pdf = pypdf.PdfReader(io.BytesIO(page.pdf(format=sheet)))
    width, height = SHEETS[sheet]
    assert float(pdf.pages[0].mediabox.width) == pytest.approx(width, abs=1.5)
    assert float(pdf.pages[0].mediabox.height) == pytest.approx(height, abs=1.5)
    return pdf.pages


# --- one sheet ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("recipient", RECIPIENTS)
@pytest.mark.parametrize("language", LANGUAGES)
def test_the_longest_letter_is_one_sheet(opened, recipient, language):
    page, found = opened(
        page_of(longest(recipient, language), recipient, language, sender="Demo workshop, Mill Lane 3")
    )
    for sheet in SHEETS:
        assert len(printed(page, sheet)) == 1
    assert found == []


@pytest.mark.parametrize("recipient", RECIPIENTS)
@pytest.mark.parametrize("language", LANGUAGES)
def test_the_longest_letter_about_two_faults_is_one_sheet(opened, recipient, language):
    name = max(CASES, key=lambda name: len(body(case_letter(name, recipient, language), language)))
    with speaking(language):
        html = letter_html(*case(name), recipient, sender="Demo workshop, Mill Lane 3")
    page, found = opened(html)
    assert [len(printed(page, sheet)) for sheet in SHEETS] == [1, 1]
    assert found == []


def test_what_is_printed_is_the_whole_letter(opened):
    page, _ = opened(page_of("filling", "customer", "en"))
    text = plain(printed(page, "A4")[0].extract_text())
    made = letter("filling", "customer", "en")
    for part in made.sections:
        assert part.heading in text
        for words in (*part.paragraphs, *part.points, *(value for _, value in part.facts)):
            assert plain(words) in text


@pytest.mark.long
@pytest.mark.parametrize("name", SAMPLES)
def test_every_letter_is_one_sheet(opened, name):
    for language in LANGUAGES:
        for recipient in RECIPIENTS:
            page, found = opened(page_of(name, recipient, language))
            for sheet in SHEETS:
                assert len(printed(page, sheet)) == 1, (recipient, language, sheet)
            assert found == []


def crowded():
    """A job of 400 channels with long names, every other one refused, and findings that speak of all of them."""
    job, found = job_of("filling"), findings_of("filling")
    name = "The very long name of a channel of the demo service"
    lineup = tuple(LineUpChannel(c, name, "Rock", frozenset({"music", "all"})) for c in range(1, 401))
    like = {one.reason: one for one in found.entitlement.channels}
    kinds = ("plays", "late", "plays", "not-in-package")
    channels = tuple(replace(like[kinds[c % 4]], channel=c) for c in range(1, 401))
    entitlement = replace(found.entitlement, channels=channels, expected=300, authorised=200, refused=100)
    sheet = replace(job.sheet, vehicle="demo coupe, " + "boot-lid antenna, " * 8, package="music")
    return replace(job, lineup=lineup, sheet=sheet), replace(found, entitlement=entitlement)


@pytest.mark.parametrize("recipient", RECIPIENTS)
def test_four_hundred_scattered_channels_still_fit_one_sheet(opened, recipient):
    job, found = crowded()
    with speaking("fr"):
        page, _ = opened(letter_html(job, found, recipient))
    assert [len(printed(page, sheet)) for sheet in SHEETS] == [1, 1]


@pytest.mark.parametrize("recipient", RECIPIENTS)
def test_two_faults_of_a_job_of_four_hundred_channels_fit_one_sheet(opened, recipient):
    job, found = crowded()
    faults = {**found.diagnosis.faults, "entitlement-not-received": 0.8, "feed-swapped": 0.7}
    verdict = replace(
        found.verdict, state="fault", class_="subscription", fault="entitlement-not-received", probability=0.8
    )
    explanation = replace(found.diagnosis.explanation, kind="not-sent")
    found = replace(
        found, verdict=verdict, diagnosis=replace(found.diagnosis, faults=faults, explanation=explanation)
    )
    with speaking("fr"):
        page, _ = opened(letter_html(job, found, recipient))
    assert [len(printed(page, sheet)) for sheet in SHEETS] == [1, 1]


# --- the page ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("recipient", RECIPIENTS)
def test_the_page_fits_a_telephone_and_breaks_no_rule_of_access(opened, recipient):
    page, found = opened(page_of("filling", recipient, "es"), 390)
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    assert page.evaluate("document.documentElement.lang") == "es"
    assert float(page.evaluate("parseFloat(getComputedStyle(document.body).fontSize)")) >= 16.0
    page.evaluate(Axe().axe_script)
    broken = page.evaluate(
        """async (tags) => (await axe.run(document, {runOnly: {type: "tag", values: tags}})).violations
        .map((one) => [one.id, one.help, one.nodes.map((node) => node.html.slice(0, 200))])""",
        TAGS,
    )
    assert broken == []
    assert found == []


def test_the_pages_are_valid(tmp_path):
    for recipient in RECIPIENTS:
        for language in LANGUAGES:
            html = page_of("filling", recipient, language)
            (tmp_path / f"{recipient}-{language}.html").write_text(html, "utf-8")
    job, found = crowded()
    (tmp_path / "crowded.html").write_text(letter_html(job, found, "provider"), "utf-8")
    assert complaints(tmp_path) == []


@pytest.mark.parametrize("recipient", RECIPIENTS)
def test_there_is_no_script_and_nothing_to_fetch(recipient):
    html = page_of("filling", recipient, "en")
    assert not re.search(r"<script|<img|<link|src=|url\(|https?:|@import", html)


def test_hostile_words_stay_words(opened):
    job = job_of("filling")
    bad = "<img src=x onerror=alert(1)> & </style><script>alert(2)</script>"
    lineup = tuple(replace(line, name=bad) for line in job.lineup)
    job = replace(job, lineup=lineup, sheet=replace(job.sheet, vehicle=bad))
    page, found = opened(letter_html(job, findings_of("filling"), "customer", sender=bad))
    assert found == []
    assert page.locator("img, script").count() == 0
    assert bad in page.inner_text("header")


# --- the identifier ----------------------------------------------------------------------------------------------


def test_the_identifier_is_hidden_wherever_somebody_wrote_it():
    job = job_of("filling")
    whole = job.sheet.receiver.id
    lineup = tuple(replace(line, name=f"{whole.lower()} talk") for line in job.lineup)
    job = replace(job, lineup=lineup, sheet=replace(job.sheet, vehicle=f"saloon with {whole}"))
    for recipient in RECIPIENTS:
        for made in (letter_html, letter_text):
            assert whole.lower() not in made(job, findings_of("filling"), recipient, sender=whole).lower()


def test_the_provider_gets_the_whole_identifier_when_that_is_asked_for():
    job, found = job_of("filling"), findings_of("filling")
    whole = job.sheet.receiver.id
    assert f"Receiver: {whole}" in letter_text(job, found, "provider", full_id=True)
    assert "shortened" not in letter_text(job, found, "provider", full_id=True)
    assert "shortened" in letter_text(job, found, "provider")
    assert whole not in letter_text(job, found, "customer", full_id=True)
    assert whole not in letter_text(job, found, "dealer", full_id=True)


# --- plain text --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("recipient", RECIPIENTS)
@pytest.mark.parametrize("language", LANGUAGES)
def test_text_and_page_say_the_same(recipient, language):
    with speaking(language):
        text = letter_text(job_of("filling"), findings_of("filling"), recipient, sender="Demo workshop")
    lines = text.splitlines()
    assert max(map(len, lines)) <= 78
    assert lines[-1] == f"satdiag {recipient}"
    assert "Demo workshop" in lines
    html = plain(re.sub(r"<[^>]+>", " ", page_of("filling", recipient, language).partition("<body")[2]))
    made = letter("filling", recipient, language)
    whole = plain(text)
    for part in made.sections:
        for words in (part.heading, *part.paragraphs, *part.points, *(value for _, value in part.facts)):
            assert plain(words) in whole
            assert plain(words).replace("'", "&#39;") in html
