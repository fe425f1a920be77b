"""What each part of the wiring section is made of."""

from __future__ import annotations

from dataclasses import dataclass

from satdiag.report.figure import Figure, Table


@dataclass(frozen=True)
class Part:
    """One part: its row in the summary (part, state, measured), sentences, figures, tables."""

    row: tuple[str, str, str]
    sentences: tuple[str, ...] = ()
    figures: tuple[Figure, ...] = ()
    tables: tuple[Table, ...] = ()
