"""The page in the reader's language: its HTML is translated here once a language, its script gets a table of words.

In the HTML, English texts between the tags and in `aria-label`, `placeholder`, `title` and `alt` are the keys of the
catalogue; what stands right behind a tag with `translate="no"` (HTML Living Standard, 3.2.6.3) is no language. In the
scripts they are the first argument of `t("...", {values})` or the first two of
`tn("one", "many", n, {values})`, see `static/words.js`.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from functools import cache, lru_cache
from html import escape, unescape
from importlib.resources import files

from satdiag.language import LANGUAGES, Language, forms_of, speaking, translated

SAID_IN = ("aria-label", "placeholder", "title", "alt")
"""Attributes that people read or hear."""

_PARTS = re.compile(r"(<!--.*?-->|<(?:style|script)\b.*?</(?:style|script)>|<[^>]*>)", re.S)
_ATTRIBUTE = re.compile(rf'\b({"|".join(SAID_IN)})="([^"]*)"')
_KEPT = re.compile(r"<[a-z]+\b[^>]*\btranslate=\"no\"")
_WORD = re.compile(r"[^\W\d_]")
_RANGE = re.compile(
    r"[ \t]*([a-z]{1,8}|\*)(?:-[a-z0-9*]{1,8})*[ \t]*(?:;[ \t]*q=([01](?:\.[0-9]{0,3})?))?[ \t]*", re.IGNORECASE
)
"""A language range with its weight, as RFC 9110, 12.4.2 and 12.5.4, and RFC 4647, 2.1, write it."""

_TEXT = r'"((?:[^"\\]|\\.)*)"'
_ONE = re.compile(rf"\bt\(\s*{_TEXT}")
_MANY = re.compile(rf"\btn\(\s*{_TEXT},\s*{_TEXT}")


def language_of(choice: str, accepted: str) -> Language:
    """The language of a page: what it chose, else the first that its browser asks for and the page speaks, else 'en'.

    `accepted`: the header Accept-Language (RFC 9110, 12.5.4), whose order and weights count.
    """
    if choice in LANGUAGES:
        return choice
    asked = []
    for place, part in enumerate(accepted.split(",")[:20]):
        if found := _RANGE.fullmatch(part):
            asked.append((-float(found[2] or 1), place, found[1].lower()))
    named = {tag for _, _, tag in asked}
    for weight, _, tag in sorted(asked):
        for language in LANGUAGES:
            if weight < 0 and (tag == language or (tag == "*" and language not in named)):
                return language
    return "en"


def page_texts(page: str) -> Iterator[str]:
    """What is read in an HTML page, in its order: texts with a letter in them; of an attribute line by line."""
    for part, kept in _parts(page):
        if part.startswith("<"):
            values = [unescape(value) for _, value in _ATTRIBUTE.findall("" if kept or _is_no_text(part) else part)]
            texts = [line for value in values for line in value.split("\n")]
        else:
            texts = [] if kept else [unescape(part)]
        for text in texts:
            if _WORD.search(found := " ".join(text.split())):
                yield found


@lru_cache(maxsize=8)
def page_in(page: str, language: Language) -> str:
    """An HTML page in a language, with the words of the scripts in an element `words`; said once for each page."""
    with speaking(language):
        said = "".join(part if kept else _said(part) for part, kept in _parts(page))
    table = json.dumps({"language": language, "texts": script_words(language)}, ensure_ascii=False)
    safe = table.replace("<", "\\u003c")
    said = said.replace('<html lang="en">', f'<html lang="{language}">', 1)
    return said.replace("</head>", f'<script type="application/json" id="words">{safe}</script>\n</head>', 1)


def _parts(page: str) -> Iterator[tuple[str, bool]]:
    """Tags and the texts between them; True: to be kept as it is."""
    before = ""
    for part in _PARTS.split(page):
        yield part, _KEPT.match(part if part.startswith("<") else before) is not None
        before = part


def _is_no_text(part: str) -> bool:
    return part.startswith(("<!", "<script", "<style"))


def _said(part: str) -> str:
    if not part.startswith("<"):
        return _text_said(part)
    if _is_no_text(part):
        return part
    return _ATTRIBUTE.sub(lambda found: f'{found[1]}="{_attribute_said(found[2])}"', part)


def _text_said(text: str) -> str:
    """A text with the blanks about it as they were."""
    words = " ".join(unescape(text).split())
    if not _WORD.search(words):
        return text
    before, after = text[: len(text) - len(text.lstrip())], text[len(text.rstrip()) :]
    return f"{before}{escape(translated(words), quote=False)}{after}"


def _attribute_said(text: str) -> str:
    lines = (translated(" ".join(line.split())) for line in unescape(text).split("\n"))
    return "&#10;".join(escape(line) for line in lines)


def script_texts(script: str) -> Iterator[str | tuple[str, str]]:
    """The texts of a script: those of `t("...")`, and those of `tn("...", "...")` in pairs."""
    script = re.sub(r"^\s*(//|/?\*).*$", "", script, flags=re.M)  # what comments speak of is not said
    for text in _ONE.findall(script):
        yield json.loads(f'"{text}"')
    for one, many in _MANY.findall(script):
        yield json.loads(f'"{one}"'), json.loads(f'"{many}"')


def script_words(language: Language) -> Mapping[str, list[str]]:
    """What the scripts say: English (of a pair the first) to its forms in the language; empty for English."""
    if language == "en":
        return {}
    found: dict[str, list[str]] = {}
    for key in all_script_texts():
        one, many = (key, None) if isinstance(key, str) else key
        found[one] = forms_of(one, many, language)
    return found


@cache
def all_script_texts() -> tuple[str | tuple[str, str], ...]:
    """The texts of all scripts of the page."""
    folder = files("satdiag.live") / "static"
    scripts = sorted(part.name for part in folder.iterdir() if part.name.endswith(".js"))
    return tuple(text for name in scripts for text in script_texts((folder / name).read_text("utf-8")))
