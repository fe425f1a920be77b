"""Numbers as a foreign log writes them, turned into numbers of the log. Text in, text out: no digit is lost."""

from __future__ import annotations

import re
from decimal import Context, Decimal
from functools import cache

_EXACT = Context(prec=60)
_BLANKS = str.maketrans({"\u00a0": " ", "\u202f": " "})  # no-break spaces, as programs group digits with
MAX_LENGTH = 60


def plain_number(text: str, decimal: str, thousands: str) -> str | None:
    """A number with a decimal point and no groups, digit by digit as written; None if it is no such number.

    Groups are taken only where `thousands` parts every group of three before the decimal mark. Digits of other
    scripts, '1_000', 'nan' and 'inf' are no numbers.
    """
    if thousands == " ":
        text = text.translate(_BLANKS)
    found = _pattern(decimal, thousands).fullmatch(text) if len(text) <= MAX_LENGTH else None
    if not found:
        return None
    sign, whole, fraction, exponent = (part or "" for part in found.groups())
    digits = whole.replace(thousands, "") if thousands else whole
    if not digits and len(fraction) < 2:
        return None
    return f"{sign}{digits}{fraction.replace(decimal, '.')}{exponent}"


@cache
def _pattern(decimal: str, thousands: str) -> re.Pattern[str]:
    groups = rf"\d{{1,3}}(?:{re.escape(thousands)}\d{{3}})+|" if thousands else ""
    return re.compile(rf"([+-]?)({groups}\d*)({re.escape(decimal)}\d*)?([eE][+-]?\d{{1,3}})?", re.ASCII)


def scaled(number: str, scale: Decimal, offset: Decimal) -> str:
    """number * scale + offset, exact, as plain decimal digits; as it is where nothing is to be done.

    A power of ten only moves the point: 0.0340 A are 34.0 mA.
    """
    if scale == 1 and offset == 0:
        return number
    result = _EXACT.add(_EXACT.multiply(Decimal(number), scale.normalize()), offset.normalize())
    return f"{result:f}" if abs(result.adjusted()) < 40 else str(result)
