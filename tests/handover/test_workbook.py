"""The workbook read back by openpyxl and as plain XML: text is text, numbers are numbers, dates are dates."""

from __future__ import annotations

import io
import re
import sys
import zipfile
from datetime import UTC, datetime, timedelta
from xml.etree import ElementTree

import openpyxl
import pytest
from openpyxl.utils.escape import unescape

from satdiag.errors import MissingPart, SatdiagError
from satdiag.handover import workbook
from satdiag.handover.workbook import workbook_bytes
from tests.handover.jobs import FORMULAS, RECEIVER_ID, job, job_and_findings

SHEET = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"  # ECMA-376, Part 1, 18


@pytest.fixture(scope="module")
def data() -> bytes:
    return workbook_bytes(*job_and_findings())


@pytest.fixture(scope="module")
def book(data):
    return openpyxl.load_workbook(io.BytesIO(data))


def _column(sheet, head):
    index = [cell.value for cell in sheet[1]].index(head)
    return [row[index] for row in sheet.iter_rows(min_row=2)]


def test_it_has_three_sheets_with_as_many_rows_as_the_job(book):
    assert book.sheetnames == ["observations", "channels", "findings"]
    assert book["observations"].max_row == 1 + len(job_and_findings()[0].rows)
    assert [cell.value for cell in _column(book["channels"], "channel")] == [31, 32, 40, 41]


def test_no_text_acts_as_a_formula_and_none_is_changed(book):
    notes = _column(book["observations"], "note")
    texts = {cell.value: cell for cell in notes if cell.value}
    for text in FORMULAS:
        cell = texts[text]
        assert cell.data_type == "s"
        assert cell.quotePrefix
        assert cell.number_format == "@"
    names = _column(book["channels"], "name")
    assert names[1].value == "=1+1"
    assert names[1].data_type == "s"


def test_the_file_itself_holds_no_formula_at_all(data):
    """Read without openpyxl: a formula is an element `f` of a cell (ECMA-376, Part 1, 18.3.1.40)."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        sheets = [name for name in archive.namelist() if re.match(r"xl/worksheets/.*\.xml", name)]
        roots = [ElementTree.fromstring(archive.read(name)) for name in sheets]
    assert len(roots) == 3
    cells = [cell for root in roots for cell in root.iter(f"{SHEET}c")]
    assert len(cells) > 300
    assert not [cell for root in roots for cell in root.iter(f"{SHEET}f")]
    assert {cell.get("t", "n") for cell in cells} <= {"s", "n", "inlineStr"}


def test_numbers_are_numbers_and_what_only_looks_like_one_stays_text(book):
    values = _column(book["observations"], "value")
    assert [values[1].value, values[2].value] == [12.1, -0.5]
    assert {values[1].data_type, values[2].data_type} == {"n"}
    assert values[3].value == "unreadable"
    # The format reads '_x0041_' as 'A' (ECMA-376, Part 1, 22.9.2.19), so it is escaped; openpyxl leaves that undone.
    assert unescape(values[8].value) == "_x0041_ and 00123 and 1e5"
    spans = _column(book["observations"], "span_s")
    assert spans[4].value == 30
    assert spans[0].value is None


def test_times_are_dates_in_utc_and_the_book_says_so(book):
    made, _ = job_and_findings()
    moments = _column(book["observations"], "time, UTC")
    for cell, row in zip(moments, made.rows, strict=True):
        assert cell.is_date
        wanted = datetime.fromisoformat(row.time).astimezone(UTC).replace(tzinfo=None)
        assert abs(cell.value - wanted) < timedelta(milliseconds=1)
    assert [cell.value for cell in _column(book["observations"], "time as written")][1] == made.rows[1].time
    said = dict(row[:2] for row in book["findings"].iter_rows(min_row=2, values_only=True))
    assert said["Time zone"] == "Times are UTC. The vehicle's local time zone is America/Chicago."


def test_withdrawn_rows_are_kept_and_marked(book):
    ids = [cell.value for cell in _column(book["observations"], "id")]
    marks = [cell.value for cell in _column(book["observations"], "withdrawn")]
    assert [name for name, mark in zip(ids, marks, strict=True) if mark] == ["a-3"]


def test_findings_stand_under_their_keys(book):
    _, findings = job_and_findings()
    said = dict(row[:2] for row in book["findings"].iter_rows(min_row=2, values_only=True))
    assert said["verdict.state"] == findings.verdict.state
    assert said["verdict.text"] == findings.verdict.text
    assert said["verdict.probability"] == pytest.approx(findings.verdict.probability, rel=1e-5)


def test_many_channels_stand_in_their_own_sheet_alone(monkeypatch, book):
    keys = [cell.value for cell in _column(book["findings"], "what")]
    assert "entitlement.channels[0].state" in keys
    monkeypatch.setattr(workbook, "MANY_CHANNELS", 2)
    other = openpyxl.load_workbook(io.BytesIO(workbook_bytes(*job_and_findings())))
    found = {what.value: value.value for what, value in other["findings"].iter_rows(min_row=2)}
    assert found["entitlement.channels"] == "see the sheet of channels"
    assert set(keys) - set(found) == {key for key in keys if key.startswith("entitlement.channels[")}
    assert [cell.value for cell in _column(other["channels"], "channel")] == [31, 32, 40, 41]


def test_a_sheet_that_would_be_too_long_is_refused(monkeypatch):
    monkeypatch.setattr(workbook, "MOST_ROWS", 30)
    with pytest.raises(SatdiagError, match="findings, and a sheet holds 30 rows"):
        workbook_bytes(*job_and_findings())


def test_the_identifier_is_masked_unless_asked_for(data):
    def texts(raw):
        with zipfile.ZipFile(io.BytesIO(raw)) as archive:
            return b"".join(archive.read(name) for name in archive.namelist()).lower()

    assert RECEIVER_ID.lower().encode() not in texts(data)
    assert RECEIVER_ID.lower().encode() in texts(workbook_bytes(*job_and_findings(), full_id=True))


def test_a_text_that_is_too_long_for_a_cell_is_cut_and_says_so(monkeypatch):
    from satdiag.rows import Row

    monkeypatch.setattr(workbook, "MOST_CHARACTERS", 60)
    made = job(Row("2031-05-03T15:00:00Z", "note", "", "n" * 200, source="hand"))
    read = openpyxl.load_workbook(io.BytesIO(workbook_bytes(made, job_and_findings()[1])))
    last = _column(read["observations"], "value")[-1].value
    assert len(last) == 60
    assert last.endswith("(200 characters in the log)")


def test_without_the_library_the_extra_is_named(monkeypatch):
    monkeypatch.setitem(sys.modules, "openpyxl", None)
    with pytest.raises(MissingPart, match=r'pip install "satdiag\[spreadsheet\]"'):
        workbook_bytes(*job_and_findings())
