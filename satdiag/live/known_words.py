"""What the recorder, the store and the checks of the sheet say, in the language in use where there are words for it.

They speak English, as a log and a command do. The page looks each message up here; what is not here stays English,
and the page marks it so, for whoever has it read aloud.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple

from satdiag.language import mark, spoken, translated


class Known(NamedTuple):
    """A message: its English with the values in braces. A value `where` is a place, `why` the system's own words."""

    text: str
    pattern: re.Pattern[str]


def _known(text: str) -> Known:
    pattern = re.sub(r"\\\{(\w+)\\\}", r"(?P<\1>.+?)", re.escape(text))
    return Known(text, re.compile(pattern, re.DOTALL))


def _table(*texts: str) -> tuple[Known, ...]:
    return tuple(map(_known, texts))


HEARD: Sequence[Known] = _table(
    mark(
        "{where}: nothing answers as it should there ({why}). Is the other side running, and are host and port "
        "number right?"
    ),
    mark(
        "{where}: the connection is gone ({why}). Plug it in again, or start the other side again. Only one "
        "program may read it."
    ),
    mark(
        "{where}: you may not open it. On Linux a user must be in the group of serial ports, mostly dialout "
        "(common practice): `sudo usermod -aG dialout $USER`, then log in again."
    ),
    mark("{where}: another program has it open. Close that program."),
    mark("{where}: this is not a serial port ({why}). `satdiag ports` lists those there are."),
    mark("{where}: there is no such port now ({why}). Plug it in; `satdiag ports` lists those there are."),
    mark("{where}: the port is closed."),
    mark("{where}: there is no such file any more."),
    mark("{where} cannot be read: {why}."),
    mark("{where}: the file is closed."),
)
"""Of sources."""

STORED: Sequence[Known] = _table(
    mark("{where}: cannot be written just now ({why}). The medium is full: free some space on it."),
    mark("{where}: cannot be written just now ({why}). Another program is writing to it: close that one."),
    mark(
        "{where}: cannot be written just now ({why}). The medium does not answer as it should: see that it is "
        "plugged in."
    ),
    mark("{where}: another program is using it. Close that one, or try again later."),
    mark("{where}: another program has changed it meanwhile; nothing more is added."),
)
"""Of the job file."""

CHECKED: Sequence[Known] = _table(
    mark("is not a number"),
    mark("is not text in quotes"),
    mark("is not true or false"),
    mark("is not an IANA time zone such as America/Chicago"),
    mark("is not dB, dB-Hz, percent or bars/N such as bars/5"),
    mark("is not a package word (small letters, digits, '-'; not 'open')"),
    mark("is not one of {names}"),
    mark("is outside {low} .. {high}"),
    mark("is not a pair of numbers such as [15, 80]"),
    mark("is not a number or a pair of numbers such as [25, 30]"),
    mark("is not a list of numbers such as [41, 42.5]"),
    mark("does not rise from the first number to the second"),
    mark("is not a pair of velocity factors from {low} to {high} such as [0.65, 0.67]"),
    mark("is not a list of at most {most} distances in metres such as [1.2, 3.0]"),
)
"""Of a value of the sheet."""


class Said(NamedTuple):
    """A message as the page shows it; `language` is that of the text."""

    text: str
    language: str


def said(text: str, table: Sequence[Known]) -> Said:
    """A message in the language in use, or as it is."""
    for known in table:
        found = known.pattern.fullmatch(text)
        if found is not None:
            return Said(translated(known.text).format(**found.groupdict()), spoken())
    return Said(text, "en")
