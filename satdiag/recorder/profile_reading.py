"""What the fields of a line become: readings, or a plain word on why not.

Three things are kept apart: absent (no reading at all), unreadable (tried, nothing to read), and zero (a number).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, NamedTuple

from satdiag.csv_text import quoted
from satdiag.recorder.heard import Reading
from satdiag.recorder.profile_parts import Fields, NotUnderstood
from satdiag.rows import parse_number
from satdiag.vocabulary import UNREADABLE

ABSENT = "absent"
NO_FIELD = "no field"
OTHER_LINE = "other line"
"""Why a rule made no reading of a line: it was marked so, its field was not there, its `when` did not hold."""

_PLAIN_DIGITS = 15
"""A scaled number is written without an exponent up to so many places before or behind the point."""


class Understood(NamedTuple):
    """The readings of one line; `why` says why nothing, or not everything, was made of it, blank if all is well."""

    readings: tuple[Reading, ...] = ()
    why: str = ""


@dataclass(frozen=True)
class Column:
    """A column of a reading: a fixed text, or a field and what its texts stand for."""

    text: str = ""
    field: str | None = None
    words: Mapping[str, str] | None = None

    def read(self, fields: Fields) -> str:
        """Its text in this line; blank if the line does not have the field. Raises NotUnderstood."""
        if self.field is None:
            return self.text
        text = fields.get(self.field)
        return "" if text is None else self.meaning(text)

    def meaning(self, text: str) -> str:
        """What a field's text stands for. Raises NotUnderstood for one that the words do not know."""
        if self.words is None:
            return text
        if text not in self.words:
            raise NotUnderstood(f"{quoted(text)} in the field '{self.field}' is none of its words")
        return self.words[text]


@dataclass(frozen=True)
class Value:
    """How the value of a reading is read: its column, the texts with a meaning of their own, and the arithmetic."""

    column: Column
    absent: frozenset[str] = frozenset()
    unreadable: frozenset[str] = frozenset()
    convert: Callable[[str], str] | None = None

    def read(self, fields: Fields) -> str | None:
        """The value; None if there is no reading. Raises NotUnderstood. The field must be there."""
        if self.column.field is None:
            return self.column.text
        text = fields[self.column.field]
        if text is None:
            return None if "null" in self.absent else UNREADABLE
        if text in self.absent:
            return None
        if text in self.unreadable:
            return UNREADABLE
        if not text:
            raise NotUnderstood(f"the field '{self.column.field}' is empty")
        return self.convert(text) if self.convert else self.column.meaning(text)


@dataclass(frozen=True)
class Rule:
    """One [[reading]] of a profile."""

    kind: Column
    subject: Column
    value: Value
    unit: Column
    others: tuple[tuple[str, Column], ...] = ()
    when: tuple[str, frozenset[str]] | None = None

    def read(self, fields: Fields) -> Reading | str:
        """The reading in a line, or the word for why there is none. Raises NotUnderstood."""
        if self.when is not None and fields.get(self.when[0]) not in self.when[1]:
            return OTHER_LINE
        field = self.value.column.field
        if field is not None and field not in fields:
            return NO_FIELD
        value = self.value.read(fields)
        if value is None:
            return ABSENT
        unit = "" if value == UNREADABLE else self.unit.read(fields)
        reading = Reading(self.kind.read(fields), self.subject.read(fields), value, unit)
        if self.others:
            reading = reading._replace(**{name: column.read(fields) for name, column in self.others})
        return reading


def read_fields(rules: Sequence[Rule], fields: Fields) -> Understood:
    """All readings of a line. One that fails does not take the others along."""
    readings: list[Reading] = []
    whys: list[str] = []
    words: list[str] = []
    for rule in rules:
        try:
            found = rule.read(fields)
        except NotUnderstood as error:
            whys.append(str(error))
            continue
        if isinstance(found, str):
            words.append(found)
        else:
            readings.append(found)
    if not readings and not whys and ABSENT not in words:
        if NO_FIELD in words:
            whys.append("it has no field that holds a value")
        else:
            whys.append("no [[reading]] of the profile is made of such a line")
    return Understood(tuple(readings), "; ".join(dict.fromkeys(whys)))


# --- from the profile's tables ----------------------------------------------------------------------------------


def rule_of(table: Mapping[str, Any]) -> Rule:
    """The rule that a checked [[reading]] table says."""
    value = Value(
        _column(table["value"]),
        frozenset(table.get("absent", ())),
        frozenset(table.get("unreadable", ())),
        _conversion(table),
    )
    return Rule(
        kind=_column(table["kind"]),
        subject=_column(table["subject"]),
        value=value,
        unit=_column(table.get("unit", "")),
        others=tuple((name, _column(table[name])) for name in ("note", "span_s", "time") if name in table),
        when=_condition(table["when"]) if "when" in table else None,
    )


def used_fields(rules: Sequence[Rule]) -> frozenset[str]:
    """The fields that the rules look at."""
    found: set[str | None] = set()
    for rule in rules:
        columns = [rule.kind, rule.subject, rule.value.column, rule.unit, *(column for _, column in rule.others)]
        found |= {column.field for column in columns}
        found.add(rule.when[0] if rule.when else None)
    return frozenset(name for name in found if name is not None)


def _condition(when: Mapping[str, Any]) -> tuple[str, frozenset[str]]:
    texts = [when["is"]] if isinstance(when["is"], str) else when["is"]
    return str(when["field"]), frozenset(texts)


def _column(value: Any) -> Column:
    if isinstance(value, str):
        return Column(text=value)
    return Column(field=str(value["field"]), words=dict(value["words"]) if "words" in value else None)


def _conversion(table: Mapping[str, Any]) -> Callable[[str], str] | None:
    """What makes another text of the number in a value; None: it stays as it came."""
    comma = bool(table.get("decimal_comma", False))
    beyond = table.get("unreadable_beyond")
    counted = any(key in table for key in ("scale", "offset", "decimals"))
    scale, offset = Decimal(table.get("scale", 1)), Decimal(table.get("offset", 0))
    decimals = table.get("decimals")
    if not comma and beyond is None and not counted:
        return None

    def convert(text: str) -> str:
        number = _with_point(text) if comma else text
        if parse_number(number) is None:
            raise NotUnderstood(f"{quoted(text)} is not a number")
        if beyond is not None and abs(Decimal(number)) >= beyond:
            return UNREADABLE
        return _written(Decimal(number) * scale + offset, decimals) if counted else number

    return convert


def _with_point(text: str) -> str:
    """A number with a decimal comma as one with a point. Raises NotUnderstood where a point stands in it already."""
    if "." in text:
        raise NotUnderstood(f"{quoted(text)} holds a point, and a comma is what parts its decimals")
    return text.replace(",", ".", 1)


def _written(number: Decimal, decimals: int | None) -> str:
    """A number as text, never with more than a thousand characters."""
    if decimals is not None and number.adjusted() < _PLAIN_DIGITS:
        return f"{number:z.{decimals}f}"  # z: never -0
    plain = number.normalize()
    if abs(plain.adjusted()) < _PLAIN_DIGITS:
        return f"{plain:f}"
    return f"{plain:E}" if plain else "0"
