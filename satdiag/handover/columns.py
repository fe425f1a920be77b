"""A job's observations as a Parquet file: typed columns, and in the schema's metadata which job they are of."""

from __future__ import annotations

import io
import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from satdiag import __version__
from satdiag.bulk import ColumnRows, columns_of_rows
from satdiag.bulk.laying import words
from satdiag.folder import job_hash
from satdiag.handover.extras import needed
from satdiag.handover.masking import Clean, cleaner, shown_id
from satdiag.handover.workbook import time_sentence
from satdiag.job import Job
from satdiag.rows import Row

SCHEMA = 1
_AS_WORDS = ("kind", "unit", "source", "run")
"""Columns of few different texts, kept as a dictionary of them."""
_SAID = ("kind", "subject", "value", "unit", "source", "note")
"""The first of what `bulk.table.Said` names."""


def parquet_bytes(job: Job, full_id: bool = False) -> bytes:
    """The observations in the order of the log as bytes of a Parquet file. Raises MissingPart.

    Columns: time (timestamp[us, UTC]), time_written (the text with its offset), kind, subject, value (text), number
    (float, null where the value is none), unit, source, note, span_s and elapsed_s (float, null where blank), run,
    id, withdrawn. A blank text is a blank text, not null.
    """
    arrow = needed("pyarrow", "parquet", "A Parquet file")
    parquet = needed("pyarrow.parquet", "parquet", "A Parquet file")
    columns = _columns(arrow, job, cleaner(job, full_id))
    table = arrow.table(columns).replace_schema_metadata(metadata(job, full_id))
    made = io.BytesIO()
    parquet.write_table(table, made, compression="zstd")
    return made.getvalue()


def metadata(job: Job, full_id: bool = False) -> Mapping[str, str]:
    """What the file says of the job, by key; `satdiag.sites` is JSON."""
    sheet = job.sheet
    clean = cleaner(job, full_id)
    said = {
        "schema": str(SCHEMA),
        "version": __version__,
        "job": sheet.id,
        "job_sha256": job_hash(job),
        "opened": sheet.opened.isoformat() if sheet.opened else "",
        "reason": sheet.reason,
        "vehicle": sheet.vehicle,
        "receiver": shown_id(job, full_id),
        "constellation": sheet.constellation or "",
        "package": sheet.package,
        "times": time_sentence(job),
        "sites": json.dumps([vars(site) for site in sheet.sites], ensure_ascii=False),
    }
    return {f"satdiag.{key}": clean(text) for key, text in said.items()}


def _columns(arrow: Any, job: Job, clean: Clean) -> dict[str, Any]:
    frame, texts = job.observations, _texts(arrow, job.rows, clean)
    spans = np.where(texts.pop("has_span"), frame["span_s"].to_numpy(), np.nan)
    made = {
        "time": arrow.array(frame["time"].to_numpy(), arrow.timestamp("us", tz="UTC")),
        "time_written": texts["time"],
        **{name: texts[name] for name in ("kind", "subject", "value")},
        "number": _floats(arrow, frame["number"].to_numpy()),
        **{name: texts[name] for name in ("unit", "source", "note")},
        "span_s": _floats(arrow, spans),
        "run": texts["run"],
        "elapsed_s": _floats(arrow, frame["elapsed_s"].to_numpy()),
        "id": texts["id"],
        "withdrawn": arrow.array(frame["withdrawn"].to_numpy(), arrow.bool_()),
    }
    return {name: column.dictionary_encode() if name in _AS_WORDS else column for name, column in made.items()}


def _texts(arrow: Any, rows: Sequence[Row], clean: Clean) -> dict[str, Any]:
    """The columns of texts, cleaned, by name, and `has_span`: which rows name a span.

    By column: the rows are gone through once at most, and what many of them say is cleaned once.
    """
    found = rows if isinstance(rows, ColumnRows) else columns_of_rows(rows)
    assert found is not None  # times and ids of checked rows are ASCII
    code, run = arrow.array(found.code), arrow.array(found.run)
    made = {name: _text(arrow, [clean(one[at]) for one in found.said]).take(code) for at, name in enumerate(_SAID)}
    made["run"] = _text(arrow, map(clean, found.runs)).take(run)
    for name, texts in (("time", found.time), ("id", found.id)):
        made[name] = _text(arrow, map(clean, words(texts)))
    return {**made, "has_span": np.array([bool(one[6]) for one in found.said], dtype=bool)[found.code]}


def _text(arrow: Any, texts: Iterable[str]) -> Any:
    return arrow.array(texts, arrow.string())


def _floats(arrow: Any, numbers: np.ndarray) -> Any:
    """Numbers as float64, null where there is none (NaN)."""
    return arrow.array(numbers, arrow.float64(), from_pandas=True)
