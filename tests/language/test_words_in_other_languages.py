"""Words, numbers and findings on the wiring in Spanish and French: nothing left in English, the same figures.

Forms of numbers are compared with Babel's, which are those of the Unicode CLDR. The sample logs are simulated: they
prove the code against our own model only.
"""

import re
from dataclasses import fields, is_dataclass
from importlib import import_module

import pytest
from babel.messages.pofile import read_po
from babel.numbers import format_decimal, format_percent

from satdiag.language import speaking
from satdiag.language.catalogue import LANGUAGES
from satdiag.report import numbers, words
from satdiag.report.cautions import CAUTIONS
from satdiag.report.figure import layout, table
from satdiag.report.local_time import IN_UTC
from satdiag.report.wiring.ring_page import check_page, plan_page
from satdiag.report.wiring.ring_text import page_lines, plan_lines
from satdiag.report.wiring.section import wiring_parts
from satdiag.wiring.battery import battery_budget
from satdiag.wiring.estimate import estimate_wiring
from satdiag.wiring.feedline import examine
from satdiag.wiring.feedline.setup import Setup
from satdiag.wiring.ring import check_ring, locate_break, plan_ring
from tests.language.test_catalogues import SCRIPT
from tests.sample_findings import job_of
from tests.wiring.lines import sweep_of, two_faults
from tests.wiring.rings import BEFORE, ring_of_cells

OTHERS = ("es", "fr")
ENGLISH = re.compile(r"\b(the|and|is|of|not|was|are|with|its|which|from|than)\b", re.IGNORECASE)
OWN = ("diagnosis_faults", "wiring", "report_words", "report_wiring")
TABLES = ("words", "checklist", "wiring.feed", "wiring.feed_adaptor", "wiring.feed_figure", "wiring.feed_rise")
TABLES += ("wiring.ring", "wiring.supply_figure")
# Words that the languages share.
COGNATES = {"es": {"normal"}, "fr": {"normal"}}


# --- numbers -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("language", OTHERS)
@pytest.mark.parametrize("value", [0.5, 5.02, 41.7, -3.2, 12])
def test_quantities_have_the_decimal_sign_of_cldr(language, value):
    with speaking(language):
        said = numbers.quantity(value, "V")
    assert said.replace("\u2212", "-") == f"{format_decimal(value, locale=language)}\u202fV"


@pytest.mark.parametrize("language", OTHERS)
@pytest.mark.parametrize("share", [0.0, 0.07, 0.97, 1.0])
def test_per_cent_stands_apart_from_its_number_as_in_cldr(language, share):
    """CLDR writes a no-break space in Spanish and a narrow one in French; the house writes the narrow one in both."""
    wanted = format_percent(share, locale=language)
    with speaking(language):
        assert numbers.percent(share) == wanted.replace("\u00a0", "\u202f")


def _spaced(text):
    return text.replace("\u202f", " ").replace("\u00a0", " ")


@pytest.mark.parametrize(
    ("language", "wanted"),
    [
        ("es", ["71 % (de 64 a 78 %)", "menos del 1 %", "más del 99 %", "2,5 h", "3,0 días", "1,7 s (de 1,5 a 2,1)"]),
        ("fr", ["71 % (de 64 à 78 %)", "moins de 1 %", "plus de 99 %", "2,5 h", "3,0 jours", "1,7 s (de 1,5 à 2,1)"]),
    ],
)
def test_ranges_and_durations_in_words(language, wanted):
    with speaking(language):
        said = [numbers.percent(0.712, (0.64, 0.78)), numbers.percent(0.004), numbers.percent(0.996)]
        said += [numbers.duration(9000.0), numbers.duration(260000.0), numbers.seconds(1.7, (1.5, 2.1))]
        assert numbers.decibans(-3.25) in ("\u22123,2", "\u22123,3")
        assert numbers.quantity(None, "V") == numbers.unknown() != numbers.UNKNOWN
        assert numbers.range_words() != numbers.RANGE
    assert [_spaced(text) for text in said] == wanted


@pytest.mark.parametrize("language", OTHERS)
def test_the_pages_script_writes_numbers_in_the_same_form(language):
    with speaking(language):
        decimal, group = layout(10)["separators"]
    assert format_decimal(12345.5, locale=language) == f"12{group}345{decimal}5"
    assert "separators" not in layout(10)


@pytest.mark.parametrize("language", LANGUAGES)
def test_columns_of_numbers_are_known_by_their_english_heads(language):
    with speaking(language):
        whole = table("", (words.translated("voltage"), words.translated("what")), [("1", "a")], "voltage")
        assert whole.numeric == {whole.heads[0]}


# --- words -------------------------------------------------------------------------------------------------------


def _tables():
    for name in TABLES:
        module = import_module(f"satdiag.report.{name}")
        for title, found in vars(module).items():
            if isinstance(found, words.Words):
                yield f"{name}.{title}", found


@pytest.mark.parametrize("language", OTHERS)
def test_every_word_of_the_tables_is_said_in_the_language(language):
    english = {title: dict(found) for title, found in _tables()}
    assert len(english) > 20
    with speaking(language):
        other = {title: dict(found) for title, found in _tables()}
    alike = {one for title, found in english.items() for key, one in found.items() if other[title][key] == one}
    assert alike == COGNATES[language]
    assert {title: dict(found) for title, found in _tables()} == english


@pytest.mark.parametrize("language", OTHERS)
def test_cautions_are_said_in_the_language(language):
    english = [(one.head, one.text) for one in CAUTIONS]
    with speaking(language):
        said = [(one.head, one.text) for one in CAUTIONS]
    assert all(here != there for here, there in zip(sum(english, ()), sum(said, ()), strict=True))
    assert [_figures(text) for _, text in said] == [_figures(text) for _, text in english]


@pytest.mark.parametrize("language", OTHERS)
@pytest.mark.parametrize("name", OWN)
def test_no_translation_holds_english(language, name):
    path = SCRIPT.CATALOGUES / language / f"{name}.po"
    with path.open("rb") as file:
        entries = [entry for entry in read_po(file, locale=language) if entry.id]
    assert len(entries) > 150
    texts = [text for entry in entries for text in _texts(entry.string)]
    assert [text for text in texts if ENGLISH.search(_bare(text))] == []


def _bare(text):
    """A text without what it sets in, and without commands."""
    return re.sub(r"\{[^}]*\}|--\w+|satdiag ring \w+|pip install \S+", "", text)


# --- findings ----------------------------------------------------------------------------------------------------


def _texts(part):
    """Every text of a finding, a page or a figure, in order."""
    if isinstance(part, str):
        yield part
    elif is_dataclass(part):
        for field in fields(part):
            yield from _texts(getattr(part, field.name))
    elif isinstance(part, (tuple, list)):
        for inner in part:
            yield from _texts(inner)


def _figures(text):
    """The numbers in a text, without regard to order and decimal sign."""
    return sorted(found.replace(",", ".") for found in re.findall(r"\d+(?:[.,]\d+)?", text))


def _compared(make):
    """The texts of something made in each language, after a look at them."""
    said = {}
    for language in LANGUAGES:
        with speaking(language):
            said[language] = list(_texts(make()))
    for language in OTHERS:
        pairs = list(zip(said["en"], said[language], strict=True))
        assert [(en, other) for en, other in pairs if _figures(en) != _figures(other)] == []
        sentences = [other for _, other in pairs if " " in other]
        assert [text for text in sentences if ENGLISH.search(_bare(text))] == []
        changed = sum(en != other for en, other in pairs)
        assert changed > 0
    return said


@pytest.mark.parametrize("name", ["feed-absent", "ring-order", "supply-dropout"])
def test_wiring_findings_of_a_sample_say_the_same_figures(name):
    job = job_of(name)
    _compared(lambda: _sentences_of(estimate_wiring(job)))


def _sentences_of(found):
    """The findings' sentences, and the report's part with them; names of the log's contract are left as they are."""
    summary, parts = wiring_parts(found, IN_UTC)
    tables = [one for part in parts for one in (*part.tables, *(t for figure in part.figures for t in figure.tables))]
    shown = [(one.caption, one.heads) for one in (summary, *tables)]
    captions = [(figure.caption, figure.alt) for part in parts for figure in part.figures]
    assert all(one.numeric <= set(one.heads) for one in tables)
    return (found.could_not, shown, captions, [(part.row, part.sentences) for part in parts])


@pytest.mark.parametrize(
    "setup",
    [
        Setup(0.66, (0.64, 0.68), "stated", "rg-174", 5.0, joints_m=(2.0,)),
        Setup(None, (0.64, 0.85), "unknown", expected_length_m=3.0),
        Setup(0.66, (0.64, 0.68), "class", "rg-174"),
    ],
)
def test_a_sweep_says_the_same_figures(setup):
    sweep = sweep_of(two_faults())
    _compared(lambda: (lambda found: (found.verdict, found.sentences, found.cautions))(examine(sweep, setup)))


def test_a_ring_is_checked_planned_and_searched_in_each_language():
    file = ring_of_cells(BEFORE, "HACP")
    _compared(lambda: page_lines(check_page(file, check_ring(file))))
    _compared(lambda: plan_lines(plan_ring(file)))
    _compared(lambda: _page(plan_page(plan_ring(file))))
    for weak, reports in ((False, {"A": 0, "P": 1}), (True, {"P": 2}), (False, {"A": 0, "P": 7})):
        _compared(lambda weak=weak, reports=reports: _break(locate_break(file, reports, weak)))


def _page(page):
    tables = [*page.tables, *page.last_tables, *(one for figure in page.figures for one in figure.tables)]
    told = (page.over, page.title, page.answer, page.said, page.before_hands, page.afterwards)
    captions = [(figure.caption, figure.alt) for figure in page.figures]
    return told, captions, [(one.caption, one.heads, one.rows) for one in tables]


def _break(reading):
    texts = [one.text for one in (*reading.suspects, *reading.tests)]
    return texts, reading.contradictions, reading.could_not


@pytest.mark.parametrize("known", [{}, {"current_a": 5.5, "capacity_ah": 60.0}])
def test_a_wait_says_the_same_figures(known):
    for minutes in (10.0, 240.0):
        _compared(lambda minutes=minutes: battery_budget(minutes, **known).text)
