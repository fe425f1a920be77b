"""On which size of sheet a PDF is printed: asked for, by the system's place, or by the language."""

from __future__ import annotations

import locale

import pypdf
import pytest
from click.testing import CliRunner

import satdiag.cli as command_line
from satdiag.errors import SatdiagError
from satdiag.language import speaking
from satdiag.report import sheets
from satdiag.report.browser import print_pdf
from satdiag.report.sheets import on_paper, paper_or_default
from tests.report.test_report_pdf import SAMPLES, SHEETS, printing  # noqa: F401

PAGE = "<!DOCTYPE html><html><head><style>@page { margin: 15mm; }</style></head><body><p>Demo</p></body></html>"


@pytest.fixture
def nowhere(monkeypatch):
    """A system that names no country; returns what sets its environment."""
    for name in ("LC_ALL", "LC_PAPER", "LANG", sheets.VARIABLE):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr(locale, "getlocale", lambda *_: (None, None))
    return monkeypatch.setenv


@pytest.mark.parametrize(("language", "paper"), [("en", "letter"), ("es", "a4"), ("fr", "a4")])
def test_where_no_country_is_named_the_language_says_it(nowhere, language, paper):
    with speaking(language):
        assert paper_or_default() == paper
        nowhere("LANG", "C.UTF-8")
        assert paper_or_default() == paper


@pytest.mark.parametrize(
    ("environment", "paper"),
    [
        ({"LANG": "en_GB.UTF-8"}, "a4"),
        ({"LANG": "de_DE@euro"}, "a4"),
        ({"LANG": "es_MX.UTF-8"}, "letter"),
        ({"LANG": "fr_CA"}, "letter"),
        ({"LANG": "en_US.UTF-8", "LC_PAPER": "en_GB.UTF-8"}, "a4"),
        ({"LANG": "en_US.UTF-8", "LC_PAPER": "en_GB.UTF-8", "LC_ALL": "en_US.UTF-8"}, "letter"),
        ({"LANG": "en_US.UTF-8", "SATDIAG_PAPER": "A4"}, "a4"),
        ({"LANG": "en_GB.UTF-8", "SATDIAG_PAPER": "letter"}, "letter"),
    ],
)
def test_the_place_of_the_system_says_it_whatever_is_spoken(nowhere, environment, paper):
    for name, value in environment.items():
        nowhere(name, value)
    for language in ("en", "es", "fr"):
        with speaking(language):
            assert paper_or_default() == paper
            assert paper_or_default("a4") == "a4"
            assert paper_or_default("letter") == "letter"


@pytest.mark.parametrize(("named", "paper"), [("English_United States", "letter"), ("French_France", "a4")])
def test_windows_writes_its_places_as_names(nowhere, monkeypatch, named, paper):
    monkeypatch.setattr(locale, "getlocale", lambda *_: (named, "1252"))
    assert paper_or_default() == paper


def test_an_unknown_size_is_named_with_what_there_is(nowhere):
    nowhere(sheets.VARIABLE, "foolscap")
    with pytest.raises(SatdiagError, match=r"names .foolscap., which is no size known here"):
        paper_or_default()


def test_a_page_that_names_a_size_keeps_it():
    own = PAGE.replace("@page {", "@page { size: letter;").encode()
    assert on_paper(own, "a4").index(b"size: A4") < on_paper(own, "a4").index(b"size: letter")  # the later one counts


@pytest.mark.usefixtures("printing")
@pytest.mark.parametrize(("paper", "sheet"), [("a4", "A4"), ("letter", "letter")])
def test_the_pdf_has_the_sheets_that_were_asked_for(paper, sheet, tmp_path):
    print_pdf(PAGE, tmp_path / "out.pdf", paper)
    (page,) = pypdf.PdfReader(tmp_path / "out.pdf").pages
    assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(SHEETS[sheet], abs=1.5)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["analyse", str(SAMPLES / "filling"), "--paper", "a4"], "say where to as well, --pdf FILE.pdf"),
        (["bundle", str(SAMPLES / "filling"), "x.zip", "--no-pdf", "--paper", "a4"], "take one of them"),
    ],
)
def test_a_size_without_a_pdf_is_a_mistake(words, said):
    found = CliRunner().invoke(command_line.cli, words, obj={})
    assert found.exit_code == 2
    assert said in found.stderr
