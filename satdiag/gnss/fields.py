"""GSV sentences of a long log as arrays, without a step of Python for each: framing, checksum and fields by numpy.

It reads what `satellites.parse_gsv` reads and believes what `EpochBuilder` believes, on lines that hold one sentence
from their start to their end; the rare other lines go the slow way through `sentences_in`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Bytes = NDArray[np.uint8]
Integers = NDArray[np.int64]
Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

_DOLLAR, _STAR, _COMMA, _FEED, _RETURN, _BLANK, _TAB, _DELETE = (ord(sign) for sign in "$*,\n\r \t\x7f")
_NO_DIGIT = 255
_HEX = np.full(256, _NO_DIGIT, dtype=np.uint8)
for _value, _signs in enumerate(
    ("0", "1", "2", "3", "4", "5", "6", "7", "8", "9", "Aa", "Bb", "Cc", "Dd", "Ee", "Ff")
):
    for _sign in _signs:
        _HEX[ord(_sign)] = _value

_LETTER, _FIGURE = np.zeros(256, dtype=bool), np.zeros(256, dtype=bool)
_LETTER[ord("A") : ord("Z") + 1] = True
_FIGURE[ord("0") : ord("9") + 1] = True

ABSENT = -1


@dataclass(frozen=True)
class Starts:
    """Sentences by the place of their `$` in a block of bytes, arrays (n,).

    `star` is the place of `*`, or the end where there is none; `checksum`: 1 good, 0 bad, -1 absent. One without a
    checksum that is cut off or no plain text is bad. `kind` is 0 where the address is none of the standard.
    """

    start: Integers
    star: Integers
    checksum: NDArray[np.int8]
    talker: Integers
    kind: Integers


def code(text: str) -> int:
    """Two or three letters as one number."""
    return int.from_bytes(text.encode(), "big")


def find_sentences(block: Bytes) -> Starts:
    """All sentences of a block that ends with a line's end."""
    start = np.flatnonzero(block == _DOLLAR)
    start = start[start + 7 < len(block)]
    end = np.flatnonzero((block == _FEED) | (block == _RETURN) | (block == _DOLLAR))
    end = np.append(end, len(block))[np.searchsorted(end, start, side="right")]
    stars = np.append(np.flatnonzero(block == _STAR), len(block))
    star = np.minimum(stars[np.searchsorted(stars, start)], end)
    sums = np.bitwise_xor.accumulate(block)
    last = len(block) - 1
    high, low = _HEX[block[np.minimum(star + 1, last)]], _HEX[block[np.minimum(star + 2, last)]]
    whole = (star + 2 < end) & (high < 16) & (low < 16)
    right = (sums[np.maximum(star - 1, 0)] ^ sums[start]) == ((high << 4) | (low & 15))
    checksum = np.where(star == end, -1, np.where(whole & right, 1, 0)).astype(np.int8)
    bare = np.flatnonzero(checksum == -1)
    if len(bare):
        star[bare], sound = _without_checksum(block, start[bare], end[bare])
        checksum[bare[~sound]] = 0
    wide = block.astype(np.int64)
    kind = (wide[start + 3] << 16) | (wide[start + 4] << 8) | wide[start + 5]
    standard = _LETTER[block[start + 1]] & (_LETTER | _FIGURE)[block[start + 2]] & (block[start + 6] == _COMMA)
    return Starts(start, star, checksum, (wide[start + 1] << 8) | wide[start + 2], np.where(standard, kind, 0))


def _without_checksum(block: Bytes, start: Integers, end: Integers) -> tuple[Integers, Flags]:
    """Where sentences without a checksum end, blanks behind them left out; and which are whole and all plain text."""
    solid = np.maximum.accumulate(np.where((block == _BLANK) | (block == _TAB), 0, np.arange(len(block))))
    odd = np.cumsum((block < _BLANK) | (block >= _DELETE))
    stop = solid[end - 1] + 1
    return stop, (odd[stop - 1] == odd[start]) & (block[np.minimum(end, len(block) - 1)] != _DOLLAR)


@dataclass(frozen=True)
class Entries:
    """Satellite entries of GSV sentences, arrays (n,): `sentence` counts the sentences given; NaN: an empty field.

    `number`, `signal`, `system` are `ABSENT` where nothing is said; `part` is the sentence's place in its run.
    """

    sentence: Integers
    number: Integers
    elevation_deg: Floats
    azimuth_deg: Floats
    cn0_db_hz: Floats
    signal: Integers
    system: Integers
    part: Integers


def read_entries(block: Bytes, start: Integers, star: Integers, own_form: Flags) -> Entries:
    """The entries of GSV sentences; `own_form` marks those of the talker PQ, which have one more id at their end."""
    commas = np.flatnonzero(block == _COMMA)
    first, after = np.searchsorted(commas, start), np.searchsorted(commas, star)
    count = after - first
    more = (count - 3) % 4
    fits = (count >= 3) & ((more <= 1) | (own_form & (more == 2)))
    at = np.flatnonzero(fits)
    first, count, more, star = first[fits], count[fits], more[fits], star[fits]
    offset = np.concatenate([[0], np.cumsum(count)])
    owner = np.repeat(np.arange(len(at)), count)
    place = first[owner] + np.arange(offset[-1]) - offset[owner]
    begins = commas[place] + 1
    ends = np.append(commas, len(block))[place + 1]
    ends[offset[1:] - 1] = star
    value, is_number, is_whole = _numbers(block, begins, ends)
    quads = (count - 3) // 4
    of_entry = np.repeat(np.arange(len(at)), quads)
    nth = np.arange(quads.sum()) - np.concatenate([[0], np.cumsum(quads)])[of_entry]
    field = (offset[of_entry] + 3 + 4 * nth)[:, None] + np.arange(4)
    parts, good = value[field], is_number[field].all(axis=1)
    filled = (ends[field] > begins[field]).any(axis=1)
    number, elevation, azimuth, level = parts.T
    possible = ~(np.abs(elevation) > 90.0) & ~((azimuth < 0.0) | (azimuth > 360.0)) & ~((level < 0) | (level >= 100))
    keep = good & filled & possible & is_whole[field[:, 0]]
    ids = 3 + 4 * quads + offset[:-1]
    signal = _hex_fields(block, begins, ends, np.where(more >= 1, ids, -1))
    system = _hex_fields(block, begins, ends, np.where(more == 2, ids + 1, -1))
    run = np.where(is_whole[offset[:-1] + 1], value[offset[:-1] + 1], -1.0).astype(np.int64)
    of_entry = of_entry[keep]
    return Entries(
        at[of_entry],
        number[keep].astype(np.int64),
        elevation[keep],
        azimuth[keep] % 360.0,
        level[keep],
        signal[of_entry],
        system[of_entry],
        run[of_entry],
    )


def _hex_fields(block: Bytes, begins: Integers, ends: Integers, field: Integers) -> Integers:
    """One hexadecimal digit in each named field, `ABSENT` where it is none or the field's number is negative."""
    if not len(begins):
        return np.full(len(field), ABSENT)
    safe = np.clip(field, 0, len(begins) - 1)
    digit = _HEX[block[begins[safe]]]
    known = (field >= 0) & (ends[safe] - begins[safe] == 1) & (digit < 16)
    return np.where(known, digit.astype(np.int64), ABSENT)


def _numbers(block: Bytes, begins: Integers, ends: Integers) -> tuple[Floats, Flags, Flags]:
    """Fields as numbers, NaN where empty; which are empty or plain numbers, not other text; which are whole ones.

    A whole number is what `numbers.whole` takes: one to nine figures and nothing else.
    """
    length = ends - begins
    value = np.full(len(begins), np.nan)
    fine = length == 0
    for digits in (1, 2, 3):
        here = np.flatnonzero(length == digits)
        figures = block[begins[here][:, None] + np.arange(digits)].astype(np.int64) - ord("0")
        plain = ((figures >= 0) & (figures <= 9)).all(axis=1)
        value[here[plain]] = figures[plain] @ (10 ** np.arange(digits - 1, -1, -1))
        fine[here[plain]] = True
    whole = fine & (length > 0)
    for odd in np.flatnonzero(~fine & (length <= 24)):
        text = block[begins[odd] : ends[odd]].tobytes()
        try:
            value[odd] = float(text)
        except ValueError:
            continue
        fine[odd] = bool(np.isfinite(value[odd])) and not text.strip(b"0123456789.+-")
        whole[odd] = text.isdigit() and len(text) <= 9
    return value, fine, whole
