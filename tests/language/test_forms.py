"""Numbers, dates and lists beside Babel's forms, which are those of the Unicode CLDR."""

from datetime import date, datetime

import pytest
from babel.core import Locale
from babel.dates import format_date
from babel.lists import format_list
from babel.numbers import format_decimal
from babel.plural import to_python

from satdiag.language import (
    chance_text,
    clock_text,
    counted,
    date_text,
    in_figures,
    listed,
    moment_text,
    speaking,
    spoken,
    tell,
    tell_many,
)

NUMBERS = (0, 0.5, -3.25, 12, 999.9, 1234, 1234.5, 12345, 1234567.25)


@pytest.mark.parametrize("language", ["en", "es", "fr"])
@pytest.mark.parametrize("value", NUMBERS)
def test_numbers_are_written_as_cldr_writes_them(language, value):
    wanted = format_decimal(value, locale=language)
    if language == "es" and 1000 <= value < 10000:
        wanted = wanted.replace(".", "")  # CLDR es: minimumGroupingDigits 2, which Babel does not apply
    with speaking(language):
        assert in_figures(f"{value:,}") == wanted
        assert tell("{x:,}", x=value) == wanted


@pytest.mark.parametrize("language", ["en", "es", "fr"])
@pytest.mark.parametrize("month", range(1, 13))
@pytest.mark.parametrize("day", [1, 2, 28])
def test_dates_are_written_as_cldr_writes_them(language, month, day):
    on = date(2031, month, day)
    wanted = format_date(on, format="long", locale="en_GB" if language == "en" else language)
    if language == "fr" and day == 1:
        wanted = wanted.replace("1 ", "1er ", 1)  # the usage of typesetters; common practice, no source
    with speaking(language):
        assert date_text(on) == wanted


def test_an_instant_has_its_date_and_its_time():
    at = datetime(2031, 5, 3, 8, 40, 25)
    said = {}
    for language in ("en", "es", "fr"):
        with speaking(language):
            assert clock_text(at) == "08:40"
            said[language] = moment_text(at)
    assert said == {"en": "3 May 2031, 08:40", "es": "3 de mayo de 2031, 08:40", "fr": "3 mai 2031 à 08:40"}


@pytest.mark.parametrize("language", ["en", "es", "fr"])
@pytest.mark.parametrize(
    "parts", [("a",), ("a", "b"), ("a", "b", "c"), ("a", "iglesia"), ("a", "hielo"), ("a", "ocho")]
)
@pytest.mark.parametrize("style", ["standard", "or"])
def test_lists_are_joined_as_cldr_joins_them(language, parts, style):
    wanted = format_list(list(parts), style=style, locale="en_GB" if language == "en" else language)
    if language == "es" and style == "standard" and parts[-1] == "iglesia":
        wanted = "a e iglesia"  # Babel does not change the word before its sound; Spanish orthography does
    if language == "es" and style == "or" and parts[-1] == "ocho":
        wanted = "a u ocho"
    with speaking(language):
        assert listed(parts, with_or=style == "or") == wanted


def test_english_stands_outside_of_a_block_and_after_it():
    assert spoken() == "en"
    with speaking("fr"):
        with speaking("es"):
            assert spoken() == "es"
        assert spoken() == "fr"
    assert spoken() == "en"


def test_a_count_takes_the_form_of_its_language():
    """French counts 0 and 1 as one, Spanish and English only 1 (CLDR plural rules, from Babel)."""
    for language in ("es", "fr"):
        form = Locale.parse(language).plural_form
        for n in (0, 1, 2, 5, 100):
            is_one = form(n) == "one"
            assert is_one == (n == 1 or (language == "fr" and n == 0))
    assert to_python({"one": "n is 1"})(1) == "one"
    assert tell_many("{n} channel", "{n} channels", 1) == "1 channel"
    assert tell_many("{n} channel", "{n} channels", 0) == "0 channels"


def test_what_is_counted_in_english_alone_is_one_row_or_many_rows():
    assert [counted(n, "row") for n in (0, 1, 2, 12_000)] == ["0 rows", "1 row", "2 rows", "12,000 rows"]
    assert [counted(n, "line is", "lines are") for n in (1, 3)] == ["1 line is", "3 lines are"]


def test_what_the_catalogue_does_not_hold_stands_as_it_is():
    with speaking("es"):
        assert tell("no such text {x:.1f}", x=0.5) == "no such text 0,5"
        assert tell("{x}", x="0.5") == "0.5"  # text is set in as it is


@pytest.mark.parametrize(
    ("chance", "en", "es", "fr"),
    [
        (0.0, "under 1 %", "menos del 1 %", "moins de 1 %"),
        (0.004, "under 1 %", "menos del 1 %", "moins de 1 %"),
        (0.006, "1 %", "1 %", "1 %"),
        (0.994, "99 %", "99 %", "99 %"),
        (0.996, "over 99 %", "más del 99 %", "plus de 99 %"),
        (1.0, "over 99 %", "más del 99 %", "plus de 99 %"),
    ],
)
def test_no_chance_that_was_computed_is_said_to_be_none_or_a_certainty(chance, en, es, fr):
    for language, wanted in (("en", en), ("es", es), ("fr", fr)):
        with speaking(language):
            assert chance_text(chance).replace("\u202f", " ").replace("\u00a0", " ") == wanted
