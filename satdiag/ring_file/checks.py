"""What each key of ring.toml may hold."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from satdiag.vocabulary import TEMPLATES

Check = Callable[[Any], str | None]

MOST_NODES = 64  # nodes on one ring: from memory; here only a bound that keeps a slip of the pen from being read
LONGEST_NAME = 40


def _text(value: Any) -> str | None:
    return None if isinstance(value, str) else "is not text in quotes"


def _flag(value: Any) -> str | None:
    return None if isinstance(value, bool) else "is not true or false"


def name_problem(value: Any) -> str | None:
    """What is wrong with the name of a node, a block or a bridge, in words that follow it; None: nothing."""
    if isinstance(value, str) and len(value) <= LONGEST_NAME and re.fullmatch(TEMPLATES["NAME"], value, re.ASCII):
        return None
    return f"is not a name (letters, digits, '.', '_', '-'; up to {LONGEST_NAME})"


def _names(value: Any) -> str | None:
    if not isinstance(value, list) or any(name_problem(part) for part in value):
        return 'is not a list of node names such as ["head-unit", "amplifier"]'
    return None if len(value) >= 2 else "has fewer than two nodes: a ring joins two or more"


def _end(value: Any) -> str | None:
    owner, _, side = value.rpartition(".") if isinstance(value, str) else ("", "", "")
    if side in ("out", "in") and name_problem(owner) is None:
        return None
    return 'is not a fibre end such as "amplifier.out" or "amplifier.in"'


def _row(value: Any) -> str | None:
    return None if value in ("upper", "lower") else 'is not "upper" or "lower"'


def _whole(low: int, high: int) -> Check:
    def check(value: Any) -> str | None:
        if isinstance(value, bool) or not isinstance(value, int):
            return "is not a whole number"
        return None if low <= value <= high else f"is outside {low} .. {high}"

    return check


def _number(low: float, high: float) -> Check:
    def check(value: Any) -> str | None:
        if isinstance(value, bool) or not isinstance(value, (int, float)) or value != value:  # NaN
            return "is not a number"
        return None if low <= value <= high else f"is outside {low:g} .. {high:g}"

    return check


_POWER = _number(-60.0, 20.0)
OWN_WINDOWS: dict[str, Check] = {
    "transmitter_min_dbm": _POWER,
    "transmitter_max_dbm": _POWER,
    "receiver_min_dbm": _POWER,
    "receiver_max_dbm": _POWER,
}
"""Keys of [optics] that a [[link]] may set for itself."""

KEYS: dict[str, dict[str, Check]] = {
    "ring": {"wanted": _names},
    "block": {"name": name_problem, "positions": _whole(1, MOST_NODES), "outputs_row": _row},
    "node": {"name": name_problem, "timing_master": _flag, "role": _text, "supply": _text, "block": name_problem},
    "bridge": {"name": name_problem, "from": name_problem, "to": name_problem},
    "plug": {"block": name_problem, "position": _whole(1, MOST_NODES), "upper": _end, "lower": _end},
    "direct": {"from": name_problem, "to": name_problem},
    "link": {
        "from": name_problem,
        "to": name_problem,
        "length_m": _number(0.0, 1000.0),
        "inline_connectors": _whole(0, 20),
        "bend_radius_mm": _number(0.0, 1000.0),
        **OWN_WINDOWS,
    },
    "optics": {
        **OWN_WINDOWS,
        "coupling_db": _number(0.0, 20.0),
        "coupling_least_db": _number(0.0, 20.0),
        "attenuation_db_per_m": _number(0.0, 20.0),
        "attenuation_least_db_per_m": _number(0.0, 20.0),
        "bend_warn_mm": _number(0.0, 1000.0),
        "bend_fail_mm": _number(0.0, 1000.0),
    },
}
REQUIRED: dict[str, tuple[str, ...]] = {
    "block": ("name", "positions", "outputs_row"),
    "node": ("name",),
    "bridge": ("name", "from", "to"),
    "plug": ("position",),
    "direct": ("from", "to"),
    "link": ("from", "to"),
}
SINGLE = ("ring", "optics")
"""Tables that stand once; the others are lists, [[block]]."""

RISING = (
    ("transmitter_min_dbm", "transmitter_max_dbm"),
    ("receiver_min_dbm", "receiver_max_dbm"),
    ("coupling_least_db", "coupling_db"),
    ("attenuation_least_db_per_m", "attenuation_db_per_m"),
    ("bend_fail_mm", "bend_warn_mm"),
)
"""Pairs of keys of which the first may not exceed the second."""
