"""What a letter is made of: a title, facts, sections, small print. Its two forms, page and text, draw the same."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

Recipient = Literal["customer", "provider", "dealer"]
RECIPIENTS: tuple[Recipient, ...] = get_args(Recipient)

Fact = tuple[str, str]
"""A label and its value."""


@dataclass(frozen=True)
class Section:
    """A heading with sentences, points and facts beneath it; what is empty is not drawn.

    `strong`: the section that the reader is to act on.
    """

    heading: str
    paragraphs: tuple[str, ...] = ()
    points: tuple[str, ...] = ()
    facts: tuple[Fact, ...] = ()
    strong: bool = False

    @property
    def is_empty(self) -> bool:
        """True if there is nothing beneath the heading."""
        return not (self.paragraphs or self.points or self.facts)


@dataclass(frozen=True)
class Letter:
    """A letter in the language that was spoken when it was made."""

    recipient: Recipient
    title: str
    facts: tuple[Fact, ...]
    sections: tuple[Section, ...]
    small: tuple[str, ...]
    signed: str = ""
