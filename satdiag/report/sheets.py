"""On which size of sheet a PDF is printed: the one asked for, the usual one of the place, or that of the language.

A page that is printed from a browser says no size: there the printer's own sheet counts.
"""

from __future__ import annotations

import locale
import os
import re
from collections.abc import Mapping
from typing import Literal, get_args

from satdiag.errors import SatdiagError
from satdiag.language import spoken

Paper = Literal["a4", "letter"]
SIZES: dict[Paper, str] = {"a4": "A4", "letter": "letter"}
"""Each as style sheets name it (CSS Paged Media Module Level 3, 7.1)."""

VARIABLE = "SATDIAG_PAPER"
_FIRST_SET = ("LC_ALL", "LC_PAPER", "LANG")
"""Of the environment the first of these that is set counts (POSIX.1, 8.2; LC_PAPER is GNU's)."""

PLACES_OF_LETTER = {
    "BO": "Bolivia",
    "CA": "Canada",
    "CL": "Chile",
    "CO": "Colombia",
    "CR": "Costa Rica",
    "GT": "Guatemala",
    "MX": "Mexico",
    "NI": "Nicaragua",
    "PA": "Panama",
    "PH": "Philippines",
    "PR": "Puerto Rico",
    "SV": "El Salvador",
    "US": "United States",
    "VE": "Venezuela",
}
"""Where letter size is usual (GNU C Library 2.36, LC_PAPER of its locales); elsewhere A4. Windows has the names."""

_OF_LANGUAGE: Mapping[str, Paper] = {"en": "letter"}
_STYLE = re.compile(rb"<style>", re.IGNORECASE)


def paper_or_default(asked: Paper | None = None) -> Paper:
    """The size asked for; else that of SATDIAG_PAPER, of the system's locale, or of the language in use.

    Raises SatdiagError if SATDIAG_PAPER names no size.
    """
    if asked is not None:
        return asked
    named = os.environ.get(VARIABLE, "").strip().lower()
    for paper in get_args(Paper):
        if named == paper:
            found: Paper = paper
            return found
    if named:
        raise SatdiagError(f"{VARIABLE} names '{named[:40]}', which is no size known here. Set it to a4 or letter.")
    return _of_place(_place()) or _OF_LANGUAGE.get(spoken(), "a4")


def _place() -> str:
    """The country of the system's locale as it is written there, e.g. 'US'; blank where none is named."""
    named = next((os.environ[name] for name in _FIRST_SET if os.environ.get(name)), "")
    said = named or locale.getlocale()[0] or ""
    return said.partition(".")[0].partition("@")[0].partition("_")[2]


def _of_place(place: str) -> Paper | None:
    if not place:
        return None
    return "letter" if place in PLACES_OF_LETTER or place in PLACES_OF_LETTER.values() else "a4"


def on_paper(html: bytes, paper: Paper) -> bytes:
    """A page that prints on this size, unless its own style names one: it is said before anything else there."""
    rule = f"<style>@page {{ size: {SIZES[paper]}; }} ".encode()
    return _STYLE.sub(lambda _: rule, html, count=1)
