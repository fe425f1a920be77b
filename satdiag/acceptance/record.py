"""The acceptance record: what was confirmed of which job, in one canonical form that a hash can be taken of.

The canonical form is JSON with the keys sorted, no blanks, every character outside ASCII and each of < > & written as
\\uXXXX, so that it can stand in a page as it is. The hash is the SHA-256 of those bytes. There is no signature: who
keeps the record may make another one, hash and all.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass, fields
from datetime import UTC, datetime
from typing import Any, Literal

import satdiag
from satdiag.acceptance.document import SCHEMA as ACCEPTANCE_SCHEMA
from satdiag.acceptance.document import Acceptance
from satdiag.errors import SatdiagError
from satdiag.findings import Instant
from satdiag.folder import job_hash
from satdiag.job import Job
from satdiag.language import LANGUAGES, Language

RECORD_SCHEMA = 1
LAYOUT = 1
"""Raised whenever the page is laid out in another way: an older page can then not be made again from its block."""

LONGEST_NAME = 100


@dataclass(frozen=True)
class Word:
    """One word or sentence of the page, by what it is."""

    name: str
    text: str


@dataclass(frozen=True)
class Row:
    """One criterion as the page shows it: state in words, evidence, and what is lacking ('' if nothing is)."""

    title: str
    state: Literal["holds", "fails", "open"]
    said: str
    evidence: str
    lacking: str


@dataclass(frozen=True)
class Record:
    """What the acceptance record holds; `said` and `rows` are every word that the page shows.

    `by`: who confirmed it, as given; None is not stated. `job_sha256`: the hash of the job's canonical export.
    """

    job: str
    job_sha256: str
    by: str | None
    made_at: Instant
    as_of: Instant | None
    language: Language
    satdiag: str
    acceptance_schema: int
    acceptance: dict[str, Any]
    said: tuple[Word, ...]
    rows: tuple[Row, ...]
    notes: tuple[str, ...]
    layout: int = LAYOUT
    schema: int = RECORD_SCHEMA

    @property
    def canonical(self) -> str:
        """The canonical form (see the module), ASCII."""
        return canonical(asdict(self))

    @property
    def sha256(self) -> str:
        """SHA-256 (hex) of the canonical form."""
        return hashlib.sha256(self.canonical.encode("ascii")).hexdigest()

    def word(self, name: str) -> str:
        """A text of the page. Raises KeyError."""
        return {one.name: one.text for one in self.said}[name]


def canonical(document: Any) -> str:
    """A JSON document in the canonical form."""
    text = json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def make_record(
    job: Job,
    acceptance: Acceptance,
    words: tuple[tuple[Word, ...], tuple[Row, ...], tuple[str, ...]],
    *,
    by: str | None,
    made_at: Instant,
    language: Language,
) -> Record:
    """The record of a judgement; `words`: what the page says, made in `language`. Raises SatdiagError for `by`."""
    return Record(
        job=job.sheet.id,
        job_sha256=job_hash(job),
        by=checked_name(by),
        made_at=made_at,
        as_of=acceptance.as_of,
        language=language,
        satdiag=satdiag.__version__,
        acceptance_schema=ACCEPTANCE_SCHEMA,
        acceptance=acceptance.to_dict(),
        said=words[0],
        rows=words[1],
        notes=words[2],
    )


def checked_name(by: str | None) -> str | None:
    """The name on one line, None for none. Raises SatdiagError."""
    name = " ".join((by or "").split())
    if len(name) > LONGEST_NAME or not name.isprintable():
        raise SatdiagError(f"The name is longer than {LONGEST_NAME} characters, or no plain text. Give a short one.")
    return name or None


def now_text(now: datetime | None = None) -> Instant:
    """An instant (default: now) in whole seconds, UTC."""
    return f"{(now or datetime.now(UTC)).astimezone(UTC):%Y-%m-%dT%H:%M:%S}Z"


def parse_record(text: str) -> Record:
    """A record from its canonical form. Raises ValueError if it is none, or its schema is not this one."""
    data = json.loads(text)
    if not isinstance(data, dict) or set(data) != {part.name for part in fields(Record)}:
        raise ValueError("the block does not hold a record")
    if data["schema"] != RECORD_SCHEMA:
        raise ValueError(f"the record has the schema {data['schema']}")
    texts = [data[name] for name in ("job", "job_sha256", "made_at", "satdiag", "language")]
    texts += [data[name] for name in ("by", "as_of") if data[name] is not None]
    if not all(isinstance(text, str) for text in texts) or not isinstance(data["acceptance"], dict):
        raise ValueError("the block does not hold a record")
    if data["language"] not in LANGUAGES:
        raise ValueError("the block does not hold a record")
    try:
        data["said"] = tuple(Word(**one) for one in data["said"])
        data["rows"] = tuple(Row(**one) for one in data["rows"])
        data["notes"] = tuple(str(one) for one in data["notes"])
    except TypeError:
        raise ValueError("the block does not hold a record") from None
    if not all(isinstance(text, str) for one in (*data["said"], *data["rows"]) for text in vars(one).values()):
        raise ValueError("the block does not hold a record")
    record = Record(**data)
    canonical(asdict(record))  # refuses what JSON has no form for: NaN, a number out of range
    return record


def rates_of(record: Record) -> tuple[float, float]:
    """(alpha, beta) that the record was made with. Raises ValueError."""
    try:
        return float(record.acceptance["alpha"]), float(record.acceptance["beta"])
    except (KeyError, TypeError, OverflowError):
        raise ValueError("the record does not say its error rates") from None


def record_schema() -> dict[str, Any]:
    """The JSON Schema (2020-12) of the block in the page."""
    from satdiag.acceptance.document import acceptance_schema
    from satdiag.findings_schema import schema_of

    definitions: dict[str, Any] = {}
    properties = {
        "job": {"type": "string"},
        "job_sha256": {"type": "string", "pattern": "^[0-9a-f]{64}$"},
        "by": {"type": ["string", "null"], "maxLength": LONGEST_NAME},
        "made_at": {"type": "string", "format": "date-time"},
        "as_of": {"type": ["string", "null"]},
        "language": {"enum": list(LANGUAGES)},
        "satdiag": {"type": "string"},
        "acceptance_schema": {"const": ACCEPTANCE_SCHEMA},
        "acceptance": {"$ref": "#/$defs/Acceptance"},
        "said": {"type": "array", "items": schema_of(Word, definitions)},
        "rows": {"type": "array", "items": schema_of(Row, definitions)},
        "notes": {"type": "array", "items": {"type": "string"}},
        "layout": {"type": "integer"},
        "schema": {"const": RECORD_SCHEMA},
    }
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "satdiag acceptance record",
        "description": "The block inside the page that `satdiag confirm PATH --record FILE.html` writes.",
        "type": "object",
        "properties": properties,
        "required": sorted(properties),
        "additionalProperties": False,
        "$defs": {**acceptance_schema()["$defs"], **definitions},
    }
