"""What one section of the report holds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from satdiag.report import words
from satdiag.report.figure import Figure, Table
from satdiag.report.tables import ChannelGroup


@dataclass(frozen=True)
class Listed:
    """A short head and the sentences under it; `nothing` stands there where there are none."""

    title: str
    items: tuple[str, ...]
    nothing: str = ""


@dataclass(frozen=True)
class Section:
    """One section. `missing` says what is not known and stands in place of, or under, the figures and tables."""

    name: str
    title: str
    sentences: tuple[str, ...] = ()
    groups: tuple[ChannelGroup, ...] = ()
    figures: tuple[Figure, ...] = ()
    tables: tuple[Table, ...] = ()
    missing: tuple[str, ...] = ()
    lists: tuple[Listed, ...] = ()


def because(nothing: str, could_not: Sequence[str], known: bool) -> tuple[str, ...]:
    """Why something is missing: what could not be done; a plain sentence where that is empty and nothing is known."""
    said = tuple(words.sentence(text) for text in could_not)
    return said if said or known else (nothing,)
