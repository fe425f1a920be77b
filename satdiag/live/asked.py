"""What a page asks for in an address: which part of the channels, which numbers. Checked, as anyone may write one."""

from __future__ import annotations

from collections.abc import Mapping

from satdiag.live.roll import SHOWS, Ask

LONGEST = 1000
"""No name of a category that is asked for may be longer, and no words that are looked for."""

GREATEST = 9_999_999
"""The greatest number of a channel."""


class NotAsked(Exception):
    """An address asks for nothing that can be told; the text says why."""


def ask_of(asked: Mapping[str, str]) -> Ask:
    """The part of the channels that an address asks for. Raises NotAsked."""
    show = asked.get("show", "all")
    if show not in SHOWS:
        raise NotAsked(f"'show' must be one of {', '.join(SHOWS)}.")
    return Ask(_text(asked, "words") or "", show, _text(asked, "category"), _number(asked, "first") or 0)


def range_of(asked: Mapping[str, str]) -> tuple[int | None, int | None, str | None]:
    """From which number to which, and of which category. Raises NotAsked."""
    return _number(asked, "from"), _number(asked, "to"), _text(asked, "category")


def _text(asked: Mapping[str, str], key: str) -> str | None:
    text = asked.get(key)
    if text is not None and len(text) > LONGEST:
        raise NotAsked(f"'{key}' must be text of {LONGEST} characters at most.")
    return text


def _number(asked: Mapping[str, str], key: str) -> int | None:
    text = asked.get(key)
    if text is None:
        return None
    if not (text.isascii() and text.isdigit() and len(text) <= 7):
        raise NotAsked(f"'{key}' must be a whole number from 0 to {GREATEST}.")
    return int(text)
