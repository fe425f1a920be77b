"""The names of keys: from the bytes of a terminal (ECMA-48 control sequences) and from the console of Windows."""

from __future__ import annotations

import codecs
import re
from collections.abc import Callable

_ESCAPE = "\x1b"

# What a terminal sends after ESC [ or ESC O (ECMA-48 cursor keys and the numbered keys of common terminals).
_FINAL = {"A": "up", "B": "down", "C": "right", "D": "left", "H": "home", "F": "end"}
_NUMBERED = {"1": "home", "7": "home", "4": "end", "8": "end", "3": "delete"}
_CONTROLS = {
    "\r": "enter",
    "\n": "enter",
    "\t": "tab",
    "\x08": "backspace",
    "\x7f": "backspace",
    "\x01": "home",
    "\x05": "end",
    _ESCAPE: "escape",
}
# ESC [ parameters intermediates final; ESC O final; ESC [ [ letter (a function key of the Linux console); ESC other.
_SEQUENCE = re.compile(
    r"\x1b(?:\[\[[A-Z]|\[(?P<parameters>[0-?]*)[ -/]*(?P<final>[@-Z\\-~])|O(?P<short>[ -~])|[^\[O\x00-\x1f])"
)
_BEGUN = re.compile(r"\x1b(?:\[(?:\[|[0-?]*[ -/]*)|O)?\Z")

# The second unit of a two-unit key of the console (Windows scan codes).
_SCAN = {"H": "up", "P": "down", "K": "left", "M": "right", "G": "home", "O": "end", "S": "delete"}


def key_of(character: str) -> str:
    """A single character's key: itself or a name; blank if it means nothing."""
    if character in _CONTROLS:
        return _CONTROLS[character]
    if "\x01" <= character <= "\x1a":
        return f"ctrl-{chr(ord(character) + 96)}"
    return character if character.isprintable() else ""


class KeyReader:
    """Makes keys of the bytes of a terminal, which may be cut anywhere, within a character or a sequence too."""

    def __init__(self) -> None:
        self._decoder = codecs.getincrementaldecoder("utf-8")("replace")
        self._held = ""

    @property
    def waits(self) -> bool:
        """True if the start of a sequence is held that may go on."""
        return bool(self._held)

    def feed(self, data: bytes) -> list[str]:
        """The keys that are complete with these bytes."""
        text, self._held = self._held + self._decoder.decode(data), ""
        found: list[str] = []
        at = 0
        while at < len(text):
            if text[at] != _ESCAPE:
                found.append(key_of(text[at]))
                at += 1
            elif sequence := _SEQUENCE.match(text, at):
                found.append(_sequence_key(sequence))
                at = sequence.end()
            elif _BEGUN.match(text, at):
                self._held = text[at:]
                break
            else:  # an escape, or a broken sequence, with something else behind it
                found.append("escape")
                at += 1
        return [key for key in found if key]

    def flush(self) -> list[str]:
        """Nothing followed: an escape alone is the key; the rest of a broken sequence means nothing."""
        held, self._held = self._held, ""
        return ["escape"] if held == _ESCAPE else []


def _sequence_key(sequence: re.Match[str]) -> str:
    """The key of a sequence; blank for one that means nothing here."""
    if sequence["short"]:
        return _FINAL.get(sequence["short"], "")
    if sequence["final"] == "~":
        return _NUMBERED.get(sequence["parameters"].partition(";")[0], "")
    return _FINAL.get(sequence["final"] or "", "")


def windows_key(unit: str, more: Callable[[], str]) -> str:
    """The key of a UTF-16 unit of the console; `more` gives the next one if it is there already, else blank."""
    if unit in ("\x00", "\xe0"):
        code = more()
        return _SCAN.get(code, "") if code else key_of(unit)
    if "\ud800" <= unit <= "\udbff":
        pair = (unit + more()).encode("utf-16-le", "surrogatepass")
        return pair.decode("utf-16-le", "ignore")
    return key_of(unit)
