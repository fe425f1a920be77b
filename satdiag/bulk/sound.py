"""Whether the rows of a long log are sound, many at a time: what is said once for each that is said."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import UTC, timezone

import numpy as np

from satdiag.bulk.fields import Words, bytes_of, hashes, width_for
from satdiag.bulk.numbers import are_seconds, are_words
from satdiag.bulk.table import ColumnRows, Said, plain, withdrawals, withdrawn
from satdiag.bulk.times import NEVER, times_us
from satdiag.rows import WORD, Row, check_row, number_trouble, parse_number
from satdiag.vocabulary import VISIT_PAUSE_S, entry_of

_SOME_TIME = "2031-05-03T13:40:00Z"
_LONG_NUMBER = 60


def is_sound(rows: ColumnRows, naive: timezone | None, sites: Collection[str]) -> bool:
    """True if `rows.check_rows` has nothing against the rows. False: it may have, and only it can say so."""
    if not _said_is_sound([rows.said[number] for number in np.flatnonzero(np.bincount(rows.code)).tolist()], sites):
        return False
    if not all(not name or WORD.fullmatch(name) for name in rows.runs):
        return False
    at_us = times_us(rows.time, naive)
    if (at_us == NEVER).any() or not are_seconds(rows.elapsed_s) or not are_words(rows.id):
        return False
    unnamed = rows.run == (rows.runs.index("") if "" in rows.runs else -1)
    if (unnamed & (rows.elapsed_s != b"")).any():
        return False
    return _ids_are_sound(rows) and _units_are_sound(rows, at_us)


def _said_is_sound(said: Sequence[Said], sites: Collection[str]) -> bool:
    """True if nothing is wrong with what is said. Where only numbers differ, all but the number is checked once."""
    checked: set[tuple[str, ...]] = set()
    for one in said:
        row, rest = Row(_SOME_TIME, *one), (*one[:2], *one[3:])
        entry = entry_of(row.kind, row.subject)
        is_number = len(row.value) <= _LONG_NUMBER and parse_number(row.value) is not None
        if rest in checked and entry is not None and is_number:
            if entry.value not in ("number", "whole") or number_trouble(row, entry):
                return False
        elif any(True for _ in check_row(row, UTC, sites)):
            return False
        elif is_number:
            checked.add(rest)
    return True


def _ids_are_sound(rows: ColumnRows) -> bool:
    """True if no identifier stands twice, and each that is withdrawn is there."""
    named = rows.id[rows.id != b""]
    found = np.sort(_hashes(named))
    if (found[1:] == found[:-1]).any():
        return False
    taken = withdrawals(rows)
    return not taken or bool(np.isin(plain(taken), named).all())


def _hashes(texts: np.ndarray) -> Words:
    width = texts.dtype.itemsize
    pieces = np.zeros((len(texts), width_for(width)), dtype=np.uint8)
    pieces[:, :width] = bytes_of(texts)
    return hashes(pieces)


def _units_are_sound(rows: ColumnRows, at_us: np.ndarray) -> bool:
    """True if the levels of each path keep one unit within a visit."""
    units: dict[str, list[str]] = {}
    subject, unit = np.full(len(rows.said), -1), np.zeros(len(rows.said), dtype=np.int64)
    names: dict[str, int] = {}
    for number, one in enumerate(rows.said):
        if one[0] == "signal" and one[3]:
            known = units.setdefault(one[1], [])
            if one[3] not in known:
                known.append(one[3])
            subject[number], unit[number] = names.setdefault(one[1], len(names)), known.index(one[3])
    if all(len(known) < 2 for known in units.values()):
        return True
    kept = np.flatnonzero(~withdrawn(rows))
    kept = kept[np.argsort(at_us[kept], kind="stable")]
    visit = np.concatenate([[0], np.cumsum(np.diff(at_us[kept]) > VISIT_PAUSE_S * 1e6)])[: len(kept)]
    of, in_unit = subject[rows.code[kept]], unit[rows.code[kept]]
    group = visit[of >= 0] * len(names) + of[of >= 0]
    return len(np.unique(group)) == len(np.unique(group * (1 + int(unit.max())) + in_unit[of >= 0]))
