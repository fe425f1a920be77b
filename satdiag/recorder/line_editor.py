"""One line that is being typed: keys go in, a finished line comes out. Nothing is read or drawn here."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Sequence

REMEMBERED = 500
"""How many finished lines the arrow up goes back."""

LONGEST = 10_000
"""So many characters fit into the line; what is typed behind them is not taken."""


class LineEditor:
    """The state of the line. `complete` gets the text before the cursor and returns what its last word may become.

    `text` is the line, `cursor` how many of its characters stand before the cursor, `choices` the completions to show
    after a tab with more than one.
    """

    def __init__(self, complete: Callable[[str], Sequence[str]]) -> None:
        self._complete = complete
        self.text, self.cursor = "", 0
        self.choices: tuple[str, ...] = ()
        self._past: list[str] = []
        self._at = 0  # the line of the past that is shown; len(_past): the new one
        self._draft = ""

    def feed(self, key: str) -> str | None:
        """Take one key: a character, or the name of one such as 'enter', 'left', 'ctrl-u'. Others mean nothing.

        Returns the line on 'enter', also an empty one; None otherwise.
        """
        self.choices = ()
        if key == "enter":
            return self._finish()
        move = self._moves().get(key)
        if move is not None:
            move()
        elif len(key) == 1 and key.isprintable():
            self._insert(key)
        return None

    def _moves(self) -> dict[str, Callable[[], None]]:
        return {
            "tab": self._tab,
            "backspace": lambda: self._cut(self.cursor - 1, self.cursor),
            "delete": lambda: self._cut(self.cursor, self.cursor + 1),
            "ctrl-u": lambda: self._cut(0, self.cursor),
            "ctrl-w": lambda: self._cut(self._word_start(), self.cursor),
            "left": lambda: self._go(self.cursor - 1),
            "right": lambda: self._go(self.cursor + 1),
            "home": lambda: self._go(0),
            "end": lambda: self._go(len(self.text)),
            "up": lambda: self._show(self._at - 1),
            "down": lambda: self._show(self._at + 1),
            "escape": lambda: self._show(len(self._past), ""),
        }

    # --- changing the line -----------------------------------------------------------------------------------------

    def _insert(self, text: str) -> None:
        if len(self.text) + len(text) <= LONGEST:
            self.text = self.text[: self.cursor] + text + self.text[self.cursor :]
            self.cursor += len(text)

    def _cut(self, start: int, end: int) -> None:
        start = max(start, 0)
        self.text = self.text[:start] + self.text[end:]
        self.cursor = start

    def _go(self, cursor: int) -> None:
        self.cursor = min(max(cursor, 0), len(self.text))

    def _word_start(self) -> int:
        """Where the word before the cursor begins, blanks behind it counted in."""
        found = re.search(r"\S*\s*\Z", self.text[: self.cursor])
        return found.start() if found else 0

    def _finish(self) -> str:
        line = self.text
        if line.strip() and (not self._past or self._past[-1] != line):
            self._past = [*self._past, line][-REMEMBERED:]
        self.text, self.cursor = "", 0
        self._at, self._draft = len(self._past), ""
        return line

    # --- the past --------------------------------------------------------------------------------------------------

    def _show(self, at: int, draft: str | None = None) -> None:
        """Show a line of the past, or the new one behind it; the new one is kept while looking back."""
        if self._at == len(self._past):
            self._draft = self.text
        if draft is not None:
            self._draft = draft
        if not 0 <= at <= len(self._past):
            return
        self._at = at
        self.text = self._draft if at == len(self._past) else self._past[at]
        self.cursor = len(self.text)

    # --- completion ------------------------------------------------------------------------------------------------

    def _tab(self) -> None:
        """Complete the word before the cursor as far as it is clear; show the choices if it is not.

        A completion that ends in ':' or '/' wants more behind it and gets no blank.
        """
        before = self.text[: self.cursor]
        found = tuple(dict.fromkeys(self._complete(before)))
        if not found:
            return
        last = "" if not before or before[-1].isspace() else before.split()[-1]
        if len(found) == 1:
            self._replace(last, found[0] if found[0].endswith((":", "/")) else f"{found[0]} ")
            return
        common = os.path.commonprefix(found)  # noqa: RUF071 (character by character is what is meant)
        if len(common) >= len(last):
            self._replace(last, common)
        self.choices = found

    def _replace(self, last: str, word: str) -> None:
        """Put `word` in place of the last word before the cursor, using a blank that stands behind the cursor."""
        if len(self.text) - len(last) + len(word) > LONGEST:
            return
        self._cut(self.cursor - len(last), self.cursor)
        if word.endswith(" ") and self.text[self.cursor : self.cursor + 1] == " ":
            self._insert(word[:-1])
            self.cursor += 1
        else:
            self._insert(word)
