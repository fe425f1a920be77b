"""The letters of every sample say what is true of it, in three languages, and nothing that they must not.

The samples are simulated: they prove the letters against our own model of the world only. What must be said stands in
expected.toml, written by hand from truth.toml and the logs.
"""

from __future__ import annotations

import csv
import re
from datetime import datetime, tzinfo
from zoneinfo import ZoneInfo

import pytest
from babel.dates import format_date

from satdiag.diagnosis.titles import TITLES
from satdiag.vocabulary import FAULTS
from tests.letter.read import LANGUAGES, RECIPIENTS, body, expected, letter, plain, truth
from tests.sample_findings import ROOT, SAMPLES, job_of

INTERNAL = [fault for fault in FAULTS if "-" in fault]
ALIKE = {"Activation", "satellite", "satellite east", "satellite west"}
"""What French writes as English does."""

CODES = ("cannot-tell", "not-yet", "not-here", "not-sent", "class_", "p_will_come", "no-signal", "resend-requested")


def test_the_table_holds_every_sample():
    assert sorted(expected()["sample"]) == SAMPLES


@pytest.mark.parametrize("name", SAMPLES)
def test_every_letter_says_what_it_must(name):
    said = expected()["sample"][name]
    for k, language in enumerate(LANGUAGES):
        for recipient in RECIPIENTS:
            text = body(letter(name, recipient, language), language)
            for group in said[recipient]:
                assert any(words in text for words in group[k].split("|")), (recipient, group[k], text)


@pytest.mark.parametrize("name", SAMPLES)
def test_the_customer_reads_nothing_untrue_no_jargon_and_no_blame(name):
    kind = expected()["sample"][name]["kind"]
    for language in LANGUAGES:
        text = body(letter(name, "customer", language), language)
        never = expected()["never"][kind][language] + expected()["no_customer"][language]
        assert [words for words in never if words.lower() in text.lower()] == [], (language, text)


@pytest.mark.parametrize("name", SAMPLES)
def test_the_provider_is_asked_one_thing(name):
    asked = expected()["sample"][name]["asks"]
    for k, language in enumerate(LANGUAGES):
        text = body(letter(name, "provider", language), language)
        assert [key for key, words in expected()["asks"].items() if words[k] in text] == [asked], text


@pytest.mark.parametrize("name", SAMPLES)
def test_no_letter_holds_a_code_or_the_identifier(name):
    whole = job_of(name).sheet.receiver.id
    for language in LANGUAGES:
        for recipient in RECIPIENTS:
            made = letter(name, recipient, language)
            text = " ".join([made.title, *(plain(value) for _, value in made.facts), body(made, language)])
            assert whole not in text
            assert [code for code in (*INTERNAL, *CODES) if code in text] == []
            assert recipient != "customer" or job_of(name).sheet.receiver.masked_id not in text
            assert not [title for title in TITLES.values() if recipient == "customer" and title in text]


def _long(moment: datetime, language: str) -> str:
    """A date as CLDR writes it (Babel), French 'premier' for the first of a month (from memory)."""
    text = format_date(moment, "long", locale={"en": "en_GB", "es": "es", "fr": "fr"}[language])
    text = text.replace("1 ", "1er ", 1) if language == "fr" and moment.day == 1 else text
    return f"{text}{' à ' if language == 'fr' else ', '}{moment:%H:%M}"


def _aware(text: str, offset: tzinfo | None) -> datetime:
    moment = datetime.fromisoformat(text)
    return moment if moment.tzinfo else moment.replace(tzinfo=offset)


@pytest.mark.parametrize("name", SAMPLES)
def test_dates_are_local_and_in_the_form_of_the_language(name):
    """From the rows of the log as they are written and the zone of the sheet, without our own reading of them."""
    zone = ZoneInfo(job_of(name).sheet.sites[0].timezone)
    with (ROOT / name / "observations.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    moments = [_aware(row["time"], job_of(name).sheet.naive_times).astimezone(zone) for row in rows]
    last = max(moments)
    account = [moment for moment, row in zip(moments, rows, strict=True) if row["kind"] == "account"]
    for language in LANGUAGES:
        for recipient in RECIPIENTS:
            assert letter(name, recipient, language).facts[-1][1] == _long(last, language)
        text = body(letter(name, "provider", language), language)
        assert all(_long(moment, language) in text for moment in account)


@pytest.mark.parametrize("name", SAMPLES)
def test_numbers_have_the_decimal_sign_of_the_language(name):
    for recipient in RECIPIENTS:
        assert not re.search(r"\d,\d", body(letter(name, recipient, "en"), "en"))
        assert not re.search(r"\d\.\d", body(letter(name, recipient, "es"), "es"))
        assert not re.search(r"\d\.\d", body(letter(name, recipient, "fr"), "fr"))


@pytest.mark.parametrize("name", SAMPLES)
def test_french_puts_a_narrow_blank_before_its_marks(name):
    """The dealer's letter holds sentences of the findings, which are proved where they are made."""
    for recipient in ("customer", "provider"):
        made = letter(name, recipient, "fr")
        texts = [text for part in made.sections for text in (*part.paragraphs, *part.points)]
        for text in [*texts, *made.small]:
            assert not re.search(r"(?<!\u202f)[;!?%]", text), text
            assert not re.search(r"(?<![\u202f\d]):", text), text


@pytest.mark.parametrize("name", SAMPLES)
def test_the_state_that_is_said_is_the_true_one(name):
    works = {
        "en": "Your satellite radio works",
        "es": "Su radio por satélite funciona",
        "fr": "Votre radio par satellite fonctionne",
    }
    fills = {"en": "still receiving", "es": "todavía está recibiendo", "fr": "reçoit encore"}
    state = truth(name)["state"]
    for language in LANGUAGES:
        text = body(letter(name, "customer", language), language)
        assert (works[language] in text) == (state in ("works", "explained", "filling"))
        assert (fills[language] in text) == (state == "filling")


@pytest.mark.parametrize("name", SAMPLES)
def test_nothing_is_left_in_english(name):
    """The dealer's letter holds sentences of the findings, which are proved where they are made."""
    for recipient in ("customer", "provider"):
        english = _said(letter(name, recipient, "en"))
        for language in ("es", "fr"):
            assert english & _said(letter(name, recipient, language)) <= ALIKE


def _said(made) -> set[str]:
    """The sentences, headings and labels of a letter."""
    parts = [(part.heading, *part.paragraphs, *part.points) for part in made.sections]
    parts += [tuple(label for label, _ in part.facts) for part in made.sections]
    return {made.title, *made.small, *(text for texts in parts for text in texts)}


def test_the_same_job_gives_the_same_letter():
    from satdiag.letter import letter_html, letter_text
    from tests.sample_findings import findings_of

    for recipient in RECIPIENTS:
        for made in (letter_html, letter_text):
            first = made(job_of("filling"), findings_of("filling"), recipient)
            assert first == made(job_of("filling"), findings_of("filling"), recipient)
