"""The page in three languages: which one is answered, that nothing but words changes, and that none is left out."""

import asyncio
import errno
import gettext
import json
import re
from html.parser import HTMLParser
from importlib.resources import files

import pytest
from babel import Locale

from satdiag.entry_words import words_of
from satdiag.errors import BadInput
from satdiag.language import LANGUAGES, forms_of, speaking
from satdiag.live import page_words
from satdiag.live.known_words import CHECKED, HEARD, STORED, said
from satdiag.live.page_words import all_script_texts, language_of, page_in, page_texts, script_texts, script_words
from satdiag.live.pasted import read_channels
from satdiag.live.sheet_edit import edited
from satdiag.rows import Row
from satdiag.sheet import KEYS
from satdiag.user_folder import ENVIRONMENT
from tests.live.rigs import PAGE as PAGE_ID
from tests.live.rigs import SHEET, browser, new_job, running, tap, until

PAGE = (files("satdiag.live") / "static" / "index.html").read_text("utf-8")
OTHERS = ("es", "fr")
ENGLISH = re.compile(r"(?<![\w'-])(the|and|is|of|not|was|with|for|from|this|that)(?![\w-])", re.IGNORECASE)


# --- which language -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("accepted", "language"),
    [
        ("da, en-gb;q=0.8, en;q=0.7", "en"),  # the example of RFC 9110, 12.5.4
        ("fr;q=0.4, es;q=0.8, en;q=0.6", "es"),  # weights go before order (12.5.4, 12.4.2)
        ("fr, es", "fr"),  # of the same weight: as they come
        ("es;q=0, fr;q=0.001", "fr"),  # 0: not acceptable; 0.001: the least preferred (12.4.2)
        ("fr ; q=0.5 , es; Q=0.9", "es"),  # blanks before and after the semicolon; a literal of ABNF has no case
        ("ES-mx", "es"),  # ranges have no case (RFC 4647, 2), a longer one stands for its language
        ("de, *;q=0.5", "en"),  # any other one
        ("en;q=0, *;q=0.1", "es"),  # '*' is any that no other range names (RFC 4647, 3.3.1)
        ("", "en"),
        (";q=, fr;q=nan, es;q=2, \x00, q=1, fr;q=0.1234", "en"),  # no weights of the grammar
        (",".join(["da"] * 500 + ["fr"]), "en"),
    ],
)
def test_the_language_that_a_browser_asks_for(accepted, language):
    assert language_of("", accepted) == language


def test_a_choice_goes_before_what_the_browser_asks_for():
    assert language_of("fr", "es") == "fr"
    assert language_of("xx", "es") == "es"


# --- the page -------------------------------------------------------------------------------------------------------


class Outline(HTMLParser):
    """What a page is apart from its words: tags with all attributes that nobody reads; and its texts."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, list[tuple[str, str | None]]]] = []
        self.texts: list[str] = []
        self.words = ""
        self._in_words = False
        self.feed(page)
        self.close()

    def handle_starttag(self, tag, attrs):
        self._in_words = ("id", "words") in attrs
        if not self._in_words:
            self.tags.append((tag, [one for one in attrs if one[0] not in page_words.SAID_IN and tag != "html"]))

    def handle_endtag(self, tag):
        if not self._in_words:
            self.tags.append((f"/{tag}", []))
        self._in_words = False

    def handle_data(self, data):
        if self._in_words:
            self.words += data
        elif data.strip():
            self.texts.append(" ".join(data.split()))


@pytest.mark.parametrize("language", LANGUAGES)
def test_only_words_change_with_the_language(language):
    plain, said = Outline(PAGE), Outline(page := page_in(PAGE, language))
    assert said.tags == plain.tags
    assert len(said.texts) == len(plain.texts)
    assert f'<html lang="{language}">' in page
    assert (said.texts == plain.texts) == (language == "en")
    assert json.loads(said.words) == {"language": language, "texts": dict(script_words(language))}


def test_what_is_sent_never_depends_on_the_language():
    options = [dict(attrs) for tag, attrs in Outline(PAGE).tags if tag == "option"]
    assert len(options) > 20
    assert all("value" in option for option in options)


def test_what_is_no_language_stays():
    page = (
        '<p translate="no">dB</p><p title="here" translate="no">dB-Hz</p><p>the page</p><p data-x="the page">12</p>'
    )
    assert list(page_texts(page)) == ["the page"]
    assert 'translate="no">dB</p>' in page_in(page, "es")
    assert 'data-x="the page"' in page_in(page, "es")


def test_the_lines_of_an_attribute_are_said_one_by_one():
    page = '<textarea placeholder="7 First channel&#10;12 Second channel"></textarea>'
    assert list(page_texts(page)) == ["7 First channel", "12 Second channel"]
    assert Outline(page).tags == Outline(page_in(page, "fr")).tags
    assert "&#10;12 " in page_in(page, "fr")


def test_no_word_can_end_the_table_of_words(monkeypatch):
    bad = {"</script><b>": ["<!--</SCRIPT>", "\u2028&amp;"]}
    monkeypatch.setattr(page_words, "script_words", lambda language: bad)
    outline = Outline(page_in("<html lang='en'><head></head><body>1</body></html>", "fr"))
    assert [tag for tag, _ in outline.tags] == ["html", "head", "/head", "body", "/body", "/html"]
    assert json.loads(outline.words)["texts"] == bad


def test_the_texts_of_a_script():
    script = """
    // not t("this")
    put(x, t("one \\u2013 {n}", { n }), input("no"), not_t("no"), count("no"));
    tn(
        "a channel", "{n} channels", 2);
    """
    assert list(script_texts(script)) == ["one \u2013 {n}", ("a channel", "{n} channels")]


# --- the catalogues -------------------------------------------------------------------------------------------------


class _Lacking(gettext.NullTranslations):
    def gettext(self, message):
        return ""

    def ngettext(self, one, many, n):
        return ""


@pytest.mark.parametrize("language", OTHERS)
def test_every_text_of_the_page_and_of_its_scripts_is_said_in_the_language(language):
    place = files("satdiag.language") / "catalogues" / f"{language}.mo"
    with place.open("rb") as file:
        catalogue = gettext.GNUTranslations(file)
    catalogue.add_fallback(_Lacking())
    lacking, english = [], []
    texts = [*page_texts(PAGE), *all_script_texts()]
    assert len(texts) > 400
    for text in texts:
        one, many = (text, text) if isinstance(text, str) else text
        said = [catalogue.gettext(one)] if one is many else [catalogue.ngettext(one, many, n) for n in (1, 2)]
        lacking += [text] * (not all(said))
        english += [words for words in said if ENGLISH.search(words)]
    assert lacking == []
    assert english == []


@pytest.mark.parametrize("language", OTHERS)
def test_the_forms_for_one_and_for_many_are_those_of_cldr(language):
    one, many = forms_of("one channel", "{n} channels", language)
    rule = Locale(language).plural_form  # CLDR, as Babel ships it
    assert [rule(n) for n in (1, 2)] == ["one", "other"]
    assert one != many


# --- what the laptop says -------------------------------------------------------------------------------------------


def test_entries_readings_and_lists_in_words():
    lists = "7 Demo First\n7 Demo Second"
    with speaking("es"):
        assert words_of(Row("", "channel", "31", "missing")) == "canal 31: no está en la lista"
        assert words_of(Row("", "signal", "satellite:east", "-11.5", "dB")) == "nivel, satélite east: -11,5 dB"
        assert words_of(Row("", "note", "", "the lead is new")) == "nota: the lead is new"
        assert "canal" in read_channels(lists).how
        assert "línea 1" in read_channels(lists).left_out[0].why
    with speaking("fr"):
        assert words_of(Row("", "bias", "voltage:repeater", "5.1", "V")).endswith(
            "tension répéteur terrestre\u202f: 5,1 V"
        )
        assert words_of(Row("", "signal", "any", "3", "bars/5")) == "niveau, ensemble\u202f: 3 barres sur 5"


def test_what_is_wrong_with_a_typed_value_is_said_as_the_sheet_has_it():
    wrong = {
        ("site", "latitude_deg"): "x",
        ("site", "timezone"): "x",
        ("receiver", "level_scale"): "x",
        ("service", "package"): "A B",
        ("receiver", "id"): 3,
        ("receiver", "second_hand"): "x",
        ("receiver", "bias_normal_ma"): [3],
        ("receiver", "bias_learnt_v"): "x",
        ("supply", "code"): "E",
        ("supply", "awake_a"): -1,
        ("feed", "gain_db"): "x",
        ("feed", "lead_loss_db"): [8, 4],
        ("feedline", "velocity_factor_range"): [2, 3],
        ("feedline", "joints_m"): "x",
    }
    told = [KEYS[table][key](value) for (table, key), value in wrong.items()]
    met = {known.text for text in told for known in CHECKED if known.pattern.fullmatch(text)}
    assert met == {known.text for known in CHECKED}, "each message of the table is one that the sheet says"
    for language in ("es", "fr"):
        with speaking(language):
            assert [one for one in (said(text, CHECKED) for text in told) if one.language != language] == []
    for change in ({"site": {"name": "a", "latitude_deg": 91, "longitude_deg": "x"}}, {"service.package": "A B"}):
        with speaking("fr"), pytest.raises(BadInput) as caught:
            edited(SHEET.decode(), change)
        assert not [one for one in caught.value.problems if ENGLISH.search(f"{one.what} {one.mend}")]


def test_what_the_recorder_and_the_store_say_is_said_in_the_language_and_anything_else_is_marked_as_english():
    """The messages come from the code that says them, with a system's error in each."""
    from satdiag.recorder.port_trouble import gone, open_trouble
    from satdiag.store.live import _MENDS

    numbers = (errno.EACCES, errno.EBUSY, errno.ENOTTY, errno.ENOENT)
    troubles = [open_trouble("/dev/demo", OSError(number, "why: so (at all)")) for number in numbers]
    troubles += [open_trouble("socket://127.0.0.1:1", OSError(errno.ECONNREFUSED, "no")), gone("COM3", OSError("x"))]
    stored = [f"/a/b: cannot be written just now (disk). {mend}" for mend in _MENDS.values()]
    for language in ("es", "fr"):
        with speaking(language):
            heard = [said(str(one), HEARD) for one in troubles] + [said(one, STORED) for one in stored]
            assert [one for one in heard if one.language != language] == []
            assert "why: so (at all)" in heard[2].text
            assert not [one for one in heard if " the " in one.text]
            assert said("something new", HEARD) == ("something new", "en")


def test_what_is_written_into_the_log_stays_english():
    with speaking("es"):
        made = edited(SHEET.decode(), {"receiver.antenna_lead": "dual"})
    assert made.words == ("receiver.antenna_lead: unknown -> dual",)


@pytest.mark.parametrize(
    ("headers", "lang", "refusal"),
    [
        ({"accept-language": "fr-CA, en;q=0.5"}, "fr", "Associez d'abord cet appareil"),
        ({"accept-language": "fr", "cookie": "satdiag_lang=es"}, "es", "Empareje primero"),
        ({}, "en", "Pair first"),
    ],
)
def test_the_server_answers_in_the_language_refusals_too(tmp_path, monkeypatch, headers, lang, refusal):
    monkeypatch.setenv(ENVIRONMENT, str(tmp_path / "user"))

    async def run(deck):
        async with browser(deck, code=None) as client:
            return await client.get("/", headers=headers), await client.get("/state", headers=headers)

    with running(new_job(tmp_path / "demo.satjob")) as deck:
        page, state = asyncio.run(run(deck))
    assert f'<html lang="{lang}">' in page.text
    assert "accept-language" in page.headers["vary"].lower()
    assert state.status_code == 401
    assert state.json()["error"].startswith(refusal)


def test_a_page_in_another_language_waits_for_no_pause_of_the_analysis(tmp_path, monkeypatch):
    monkeypatch.setenv(ENVIRONMENT, str(tmp_path / "user"))
    with running(new_job(tmp_path / "demo.satjob"), analyse_every_s=600.0) as deck:
        deck.take_taps(PAGE_ID, [tap()])
        english = until(lambda: (state := deck.state("write"))["analysis"] and state["now"]["sentence"], 30.0)
        with speaking("fr"):
            until(
                lambda: (said := deck.state("write")["now"]["sentence"]) != english and not ENGLISH.search(said), 30.0
            )
        assert deck.state("write")["now"]["sentence"] == english
