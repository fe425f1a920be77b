"""A job and what was found of it as one JSON document, and the JSON Schema of that document."""

from __future__ import annotations

import io
import json
import tomllib
from datetime import date, datetime, time
from typing import Any

from satdiag import __version__
from satdiag.findings import Findings
from satdiag.findings_schema import findings_schema
from satdiag.folder import job_hash
from satdiag.handover.masking import clean_document, cleaner, shown_id
from satdiag.job import Job, columns_of
from satdiag.schema import job_schema

SCHEMA = 1


def export_document(job: Job, findings: Findings, full_id: bool = False) -> dict[str, Any]:
    """The document as plain JSON values: sheet and rows as in the job's files, the line-up, and the findings."""
    columns, clean = columns_of(job.header), cleaner(job, full_id)
    return {
        "schema": SCHEMA,
        "satdiag": clean(__version__),
        "job_sha256": clean(job_hash(job)),
        "full_id": full_id,
        "sheet": clean_document(_sheet(job, full_id), clean),
        # One by one: a job may have a million rows and channels, and no second copy of all is made.
        "observations": [{name: clean(getattr(row, name)) for name in columns} for row in job.rows],
        "lineup": None if job.lineup is None else [clean_document(_channel(line), clean) for line in job.lineup],
        "findings": clean_document(findings.to_dict(), clean),
    }


def export_bytes(job: Job, findings: Findings, full_id: bool = False) -> bytes:
    """The document as it is written: JSON in UTF-8, put down piece by piece, since a list of all pieces is huge."""
    made = io.BytesIO()
    text = io.TextIOWrapper(made, encoding="utf-8", newline="\n")
    json.dump(export_document(job, findings, full_id), text, indent=1, ensure_ascii=False, allow_nan=False)
    text.write("\n")
    text.detach()
    return made.getvalue()


def export_schema() -> dict[str, Any]:
    """The JSON Schema (2020-12) of `export_document`: those of a job and of the findings in one."""
    job, findings = job_schema(), findings_schema()
    channel = {
        "type": "object",
        "properties": {
            "channel": {"type": "integer", "minimum": 0, "maximum": 9_999_999},
            "name": {"type": "string"},
            "category": {"type": "string"},
            "packages": {"type": "array", "items": {"type": "string", "pattern": "^[a-z0-9-]+$"}},
        },
        "required": ["channel", "name", "category", "packages"],
        "additionalProperties": False,
    }
    properties = {
        "schema": {"const": SCHEMA},
        "satdiag": {"type": "string", "description": "the version that wrote it"},
        "job_sha256": {"type": "string", "pattern": "^[0-9a-f]{64}$", "description": "hash of the job as it was"},
        "full_id": {"type": "boolean", "description": "false: the receiver's identifier is masked in every text"},
        **job["properties"],
        "lineup": {"anyOf": [{"type": "null"}, {"type": "array", "items": channel}]},
        "findings": {key: part for key, part in findings.items() if not key.startswith("$") or key == "$ref"},
    }
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "satdiag export",
        "description": "What `satdiag export JOB --json FILE` writes: `sheet` is job.toml as an object, "
        "`observations` the rows of observations.csv, `findings` what `satdiag analyse JOB --json` prints. "
        "Unknown is null.",
        "type": "object",
        "properties": properties,
        "required": list(properties),
        "additionalProperties": False,
        "$defs": {**job["$defs"], **findings["$defs"]},
    }


def _sheet(job: Job, full_id: bool) -> dict[str, Any]:
    """job.toml as an object; `opened` in UTC, the identifier as it may be shown."""
    sheet: dict[str, Any] = _plain(tomllib.loads(job.documents["job.toml"].decode()))
    if job.sheet.opened is not None:
        sheet["job"]["opened"] = job.sheet.opened.isoformat().replace("+00:00", "Z")
    if "id" in sheet.get("receiver", {}):
        sheet["receiver"]["id"] = shown_id(job, full_id) if job.sheet.receiver.id else ""
    return sheet


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(part) for key, part in value.items()}
    if isinstance(value, list):
        return [_plain(part) for part in value]
    return value.isoformat() if isinstance(value, (datetime, date, time)) else value


def _channel(line: Any) -> dict[str, Any]:
    packages = sorted(line.packages)
    return {"channel": line.channel, "name": line.name, "category": line.category, "packages": packages}
