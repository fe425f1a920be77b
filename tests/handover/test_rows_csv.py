"""The observations for a spreadsheet: no cell acts as a formula, whatever the program takes for the separator."""

import csv
import io

import pytest

from satdiag.handover.rows_csv import rows_csv
from satdiag.job import HEADER, build_job
from satdiag.rows import Row

# OWASP, 'CSV Injection': a formula begins with one of these, and separators and quotes may open a new cell.
STARTS = ("=", "+", "-", "@")
NOTES = ("=1+1", '"=1+1', "x;=1+1", 'x;"=1+1"', "x\t@sum", "x\n=1+1", "a,=1+1", ';;"-1', "plain -5 dB; fine", "'=1")


def cells(text: str, separator: str) -> list[str]:
    """Every cell as Python's csv module reads it, quotes heeded at the start of a cell only."""
    return [cell for line in csv.reader(io.StringIO(text, newline=""), delimiter=separator) for cell in line]


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("note", NOTES)
def test_no_note_becomes_a_formula_by_any_separator(note, separator):
    sheet = b'[job]\nid = "demo-1"\n'
    job = build_job({"job.toml": sheet}, [Row("2031-05-03T14:00:00Z", "note", "", "", note=note)], HEADER)
    text = rows_csv(job)
    assert not [cell for cell in cells(text, separator) if cell.strip('"').startswith(STARTS)]
    assert not [line for line in text.splitlines() if line.startswith(STARTS)]


def test_plain_words_and_numbers_stay_as_they_are():
    row = Row("2031-05-03T14:00:00Z", "signal", "any", "-7.5", "dB", note="plain -5 dB; fine")
    job = build_job({"job.toml": b'[job]\nid = "demo-1"\n'}, [row], HEADER)
    found = cells(rows_csv(job), ",")
    assert "-7.5" in found
    assert "plain -5 dB; fine" in found
