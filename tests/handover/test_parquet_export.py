"""The Parquet file read back by pyarrow: types, values and metadata are those of the log."""

from __future__ import annotations

import io
import json
import math
import sys
from dataclasses import replace
from datetime import UTC, datetime

import pyarrow
import pyarrow.parquet
import pytest

from satdiag.bulk import ColumnRows, columns_of_rows
from satdiag.errors import MissingPart
from satdiag.folder import job_hash
from satdiag.handover.columns import parquet_bytes
from satdiag.rows import Row, parse_number
from tests.handover.jobs import RECEIVER_ID, SHEET, job, job_and_findings


@pytest.fixture(scope="module")
def table():
    return pyarrow.parquet.read_table(io.BytesIO(parquet_bytes(job_and_findings()[0], full_id=True)))


def test_columns_are_typed(table):
    types = {field.name: field.type for field in table.schema}
    assert types["time"] == pyarrow.timestamp("us", tz="UTC")
    for name in ("kind", "unit", "source", "run"):
        assert pyarrow.types.is_dictionary(types[name])
        assert types[name].value_type == pyarrow.string()
    for name in ("number", "span_s", "elapsed_s"):
        assert types[name] == pyarrow.float64()
    assert types["withdrawn"] == pyarrow.bool_()


def test_every_row_comes_back_equal(table):
    made, _ = job_and_findings()
    read = table.to_pylist()
    assert len(read) == len(made.rows)
    for got, row in zip(read, made.rows, strict=True):
        assert got["time"] == datetime.fromisoformat(row.time).astimezone(UTC)
        written = (
            got["time_written"],
            *(got[name] for name in ("kind", "subject", "value", "unit", "source", "note")),
        )
        assert written == tuple(row[:7])
        assert (got["run"], got["id"]) == (row.run, row.id)
        for name in ("span_s", "elapsed_s"):
            text = getattr(row, name)
            assert got[name] == (float(text) if text else None)


def test_a_number_is_null_where_there_is_none_and_never_nan(table):
    for got in table.to_pylist():
        is_level = got["kind"] == "signal" and got["value"] != "unreadable"
        assert got["number"] == (parse_number(got["value"]) if is_level else None)
    assert not any(math.isnan(number) for number in table["number"].drop_null().to_pylist())


def test_the_metadata_say_which_job_it_is(table):
    made, _ = job_and_findings()
    said = {key.decode(): text.decode() for key, text in table.schema.metadata.items() if key.startswith(b"satdiag")}
    assert said["satdiag.job"] == "demo-0007"
    assert said["satdiag.job_sha256"] == job_hash(made)
    assert said["satdiag.receiver"] == RECEIVER_ID
    assert json.loads(said["satdiag.sites"])[0]["timezone"] == "America/Chicago"


def test_the_identifier_is_masked_in_values_and_metadata():
    data = parquet_bytes(job_and_findings()[0])
    read = pyarrow.parquet.read_table(io.BytesIO(data))
    everything = repr(read.to_pylist()) + repr(read.schema.metadata)
    assert RECEIVER_ID.lower() not in everything.lower()
    assert read.schema.metadata[b"satdiag.receiver"].decode() == "•••••••0A7"


def test_a_long_log_held_by_column_gives_the_same_bytes():
    made, _ = job_and_findings()
    by_column = replace(made, rows=columns_of_rows(made.rows))
    assert isinstance(by_column.rows, ColumnRows)
    assert parquet_bytes(by_column) == parquet_bytes(made)


def test_a_span_with_the_digits_of_the_identifier_stays_a_number():
    made = job(
        Row("2031-05-04T08:43:00-05:00", "note", "", "so long", span_s="12500250", id="b-1"),
        sheet=SHEET.replace(RECEIVER_ID, "12500250"),
    )
    read = pyarrow.parquet.read_table(io.BytesIO(parquet_bytes(made))).to_pylist()
    assert read[-1]["span_s"] == 12500250.0


def test_an_empty_log_is_an_empty_table():
    read = pyarrow.parquet.read_table(io.BytesIO(parquet_bytes(job(base=False))))
    assert read.num_rows == 0
    assert read.schema.field("time").type == pyarrow.timestamp("us", tz="UTC")


def test_without_the_library_the_extra_is_named(monkeypatch):
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(MissingPart, match=r'pip install "satdiag\[parquet\]"'):
        parquet_bytes(job_and_findings()[0])
