"""The language in use, and sentences in it from compiled gettext catalogues (`catalogues/LANG.mo`)."""

from __future__ import annotations

import gettext
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache
from importlib import resources
from string import Formatter
from typing import Literal, get_args

from satdiag.language.figures import figures_in

Language = Literal["en", "es", "fr"]
LANGUAGES: tuple[Language, ...] = get_args(Language)

_SPOKEN: ContextVar[Language] = ContextVar("satdiag_language", default="en")


def spoken() -> Language:
    """The language in use: 'en' unless inside `speaking`."""
    return _SPOKEN.get()


@contextmanager
def speaking(language: Language) -> Iterator[None]:
    """Use a language for all that is made inside the block, in this thread or task."""
    token = _SPOKEN.set(language)
    try:
        yield
    finally:
        _SPOKEN.reset(token)


def mark(text: str) -> str:
    """The text itself: marks a constant for the catalogue. Where it is used, `translated` says it."""
    return text


def translated(text: str) -> str:
    """A marked text in the language in use; as it stands where the catalogue does not hold it."""
    language = spoken()
    return text if language == "en" or not text else _catalogue(language).gettext(text)


def tell(text: str, **values: object) -> str:
    """A sentence in the language in use, its values set in as `str.format` does, numbers in the language's form.

    A number that is set in with a format ('{share:.1f}') gets the language's decimal sign; text is set in as it is.
    """
    return _filled(translated(text), values)


def tell_many(one: str, many: str, n: int, **values: object) -> str:
    """`tell` with the form for a count: `one` where the language says so of `n`. `n` itself may be set in."""
    language = spoken()
    text = (one if n == 1 else many) if language == "en" else _catalogue(language).ngettext(one, many, n)
    return _filled(text, {**values, "n": n})


def forms_of(one: str, many: str | None, language: Language) -> list[str]:
    """A text in a language; with `many` its forms for one and for many. For programs that count by themselves."""
    if many is None:
        return [one if language == "en" else _catalogue(language).gettext(one)]
    if language == "en":
        return [one, many]
    return [_catalogue(language).ngettext(one, many, n) for n in (1, 2)]


def _filled(text: str, values: dict[str, object]) -> str:
    return _FORMATTER.vformat(text, (), values)


class _InLanguage(Formatter):
    def format_field(self, value: object, format_spec: str) -> str:
        text = format(value, format_spec)
        is_number = hasattr(value, "__float__") and not isinstance(value, (str, bool))
        return figures_in(text, spoken()) if is_number else text


_FORMATTER = _InLanguage()


@cache
def _catalogue(language: Language) -> gettext.NullTranslations:
    place = resources.files("satdiag.language").joinpath("catalogues", f"{language}.mo")
    with place.open("rb") as file:
        return gettext.GNUTranslations(file)
