"""The catalogues are whole: each text said has its Spanish and French, with the same values set in."""

import gettext
import importlib.util
from io import BytesIO
from pathlib import Path

import pytest
from babel.messages.mofile import read_mo

ROOT = Path(__file__).resolve().parents[2]
_SPEC = importlib.util.spec_from_file_location("catalogues_script", ROOT / "scripts" / "catalogues.py")
SCRIPT = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(SCRIPT)


@pytest.fixture(scope="module")
def said():
    return SCRIPT.messages()


@pytest.mark.parametrize("language", SCRIPT.LANGUAGES)
def test_every_text_is_translated_and_no_entry_is_left_over(language, said):
    whole, wrong = SCRIPT.catalogue(language)
    assert wrong == []
    assert SCRIPT.missing(whole, said) == []
    assert SCRIPT.unused(whole, said) == []


@pytest.mark.parametrize("language", SCRIPT.LANGUAGES)
def test_the_compiled_catalogue_is_that_of_its_sources(language):
    compiled = texts_of((SCRIPT.CATALOGUES / f"{language}.mo").read_bytes())
    assert compiled == texts_of(SCRIPT.compiled(SCRIPT.catalogue(language)[0])), "run python scripts/catalogues.py"


def texts_of(compiled):
    """The entries of a .mo file, without its header, which names the version of what compiled it."""
    whole = read_mo(BytesIO(compiled))
    return {entry.id if isinstance(entry.id, str) else tuple(entry.id): entry.string for entry in whole if entry.id}


def test_a_text_with_other_values_is_found(tmp_path, monkeypatch):
    monkeypatch.setattr(SCRIPT, "CATALOGUES", tmp_path)
    (tmp_path / "es").mkdir()
    (tmp_path / "es" / "x.po").write_text(
        f'msgid ""\nmsgstr ""\n"Plural-Forms: {SCRIPT.PLURAL_FORMS["es"]}\\n"\n\n'
        'msgid "{n} of {all}"\nmsgstr "{n} de {todo}"\n\nmsgid "a"\nmsgstr ""\n',
        encoding="utf-8",
    )
    _, wrong = SCRIPT.catalogue("es")
    assert len(wrong) == 2
    assert "other values" in wrong[0]
    assert "no translation" in wrong[1]


@pytest.mark.parametrize("language", SCRIPT.LANGUAGES)
def test_every_text_with_a_count_is_said_in_the_language_for_any_count(language):
    """A header with another number of forms than the entries would leave all but one in English."""
    with (SCRIPT.CATALOGUES / f"{language}.mo").open("rb") as file:
        spoken = gettext.GNUTranslations(file)
    counted = [entry for entry in SCRIPT.catalogue(language)[0] if isinstance(entry.id, tuple)]
    assert len(counted) > 100
    for entry in counted:
        for n in (0, 1, 2, 5, 8, 100):
            assert spoken.ngettext(*entry.id, n) in entry.string
