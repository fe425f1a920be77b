"""How a number that Python wrote is written in each language: decimal sign and grouping as in CLDR."""

from __future__ import annotations

import re

_WHOLE = re.compile(r"(\d{1,3}(?:,\d{3})+)(?![,\d])")

GROUPS = {"es": ".", "fr": "\u202f"}
LEAST_GROUPED = {"es": 5, "fr": 4}
"""Spanish does not group four digits (CLDR: minimum grouping digits 2)."""


def figures_in(text: str, language: str) -> str:
    """A number as Python's format wrote it ('1,234.5', '0.25') in the form of a language."""
    if language == "en":
        return text
    whole, dot, part = text.partition(".")
    if "," in whole:
        whole = _WHOLE.sub(lambda found: _grouped(found.group(1), language), whole)
    return f"{whole},{part}" if dot else whole


def _grouped(text: str, language: str) -> str:
    digits = text.replace(",", "")
    return digits if len(digits) < LEAST_GROUPED[language] else text.replace(",", GROUPS[language])
