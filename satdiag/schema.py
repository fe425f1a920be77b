"""The JSON Schema of a job, made from the keys of the sheet and from the vocabulary: for people who write loggers."""

from __future__ import annotations

import re
from typing import Any

from satdiag.rows import NUMBER, OPTIONAL_COLUMNS, REQUIRED_COLUMNS, TIME, WORD
from satdiag.sheet import KEYS, REQUIRED
from satdiag.vocabulary import (
    KINDS,
    TABLE,
    TEMPLATES,
    UNREADABLE,
    Entry,
    subject_pattern,
    takes_unreadable,
    values_text,
)

Schema = dict[str, Any]


def job_schema() -> Schema:
    """The JSON Schema (2020-12) of a job: its sheet as an object, its observations as rows of texts."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "satdiag job",
        "description": "A job: `sheet` is job.toml as an object, `observations` the rows of observations.csv, each "
        "field the text that stands there. What needs more than one row or file to see (ids, sites, one unit a path "
        "within a visit, ranges of numbers) is left to `satdiag check`.",
        "type": "object",
        "properties": {
            "sheet": {"$ref": "#/$defs/sheet"},
            "observations": {"type": "array", "items": {"$ref": "#/$defs/observation"}},
        },
        "required": ["sheet", "observations"],
        "$defs": {"sheet": _sheet_schema(), "observation": _observation_schema()},
    }


def _sheet_schema() -> Schema:
    tables: Schema = {}
    for table, keys in KEYS.items():
        tables[table] = {
            "type": "object",
            "properties": {key: dict(check.schema) for key, check in keys.items()},
            "required": list(REQUIRED.get(table, ())),
            "additionalProperties": False,
        }
    tables["site"] = {"type": "array", "items": tables["site"]}
    return {"type": "object", "properties": tables, "required": ["job"], "additionalProperties": False}


def _observation_schema() -> Schema:
    blank = {"const": ""}
    optional = {
        "span_s": {"anyOf": [blank, _number()]},
        "run": {"anyOf": [blank, _pattern(WORD)]},
        "elapsed_s": {"anyOf": [blank, _number()]},
        "id": {"anyOf": [blank, _pattern(WORD)]},
    }
    properties: Schema = {
        "time": _pattern(TIME),
        "kind": {"enum": list(KINDS)},
        **{name: {"type": "string"} for name in ("subject", "value", "unit", "note")},
        "source": {"anyOf": [blank, _pattern(re.compile(TEMPLATES["SOURCE"]))]},
        **optional,
    }
    return {
        "type": "object",
        "properties": {name: properties[name] for name in (*REQUIRED_COLUMNS, *OPTIONAL_COLUMNS)},
        "required": list(REQUIRED_COLUMNS),
        "additionalProperties": False,
        "anyOf": [_entry_schema(entry) for entry in TABLE],
    }


def _entry_schema(entry: Entry) -> Schema:
    """One line of the vocabulary: kind, subject, and the pairs of value and unit that may stand together."""
    subjects = [_subject(template) for template in entry.subjects]
    pairs: list[Schema] = [{"properties": {"value": _value(entry), "unit": _unit(entry)}}]
    if takes_unreadable(entry.kind):
        pairs.append({"properties": {"value": {"const": UNREADABLE}, "unit": {"const": ""}}})
    return {
        "description": f"{entry.kind}: {entry.meaning}",
        "properties": {"kind": {"const": entry.kind}, "subject": {"anyOf": subjects}},
        "anyOf": pairs,
    }


def _subject(template: str) -> Schema:
    pattern = subject_pattern(template)
    is_word = template not in TEMPLATES and template.partition(":")[2] not in TEMPLATES
    return {"const": template} if is_word else _pattern(pattern)


def _value(entry: Entry) -> Schema:
    if entry.value == "state":
        return {"enum": list(entry.states)}
    if entry.value in ("number", "whole"):
        return {**_number(), "description": values_text(entry)}
    return _pattern(WORD) if entry.value == "row-id" else {"type": "string", "description": values_text(entry)}


def _unit(entry: Entry) -> Schema:
    if not entry.units:
        return {"const": ""}
    fixed: list[Schema] = [{"enum": [unit for unit in entry.units if unit != "bars/N"]}]
    bars: list[Schema] = [{"type": "string", "pattern": "^bars/[1-9][0-9]{0,3}$"}]
    return {"anyOf": fixed + bars} if "bars/N" in entry.units else fixed[0]


def _number() -> Schema:
    return _pattern(NUMBER)


def _pattern(pattern: re.Pattern[str]) -> Schema:
    """A whole text that matches; \\d is written out, as other dialects take more digits for it than ours."""
    return {"type": "string", "pattern": f"^(?:{pattern.pattern})$".replace(r"\d", "[0-9]")}
