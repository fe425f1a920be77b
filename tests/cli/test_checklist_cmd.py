"""`satdiag checklist`: the plain form, the document, the page."""

import json
from pathlib import Path

import pytest

from satdiag.cli import run

SAMPLES = Path(__file__).parent.parent.parent / "sample_logs"


def said(capsys, *words):
    code = run(["checklist", *map(str, words)])
    captured = capsys.readouterr()
    return code, captured.out, captured.err


def test_the_walk_through_a_sample(capsys, tmp_path):
    page = tmp_path / "page.html"
    code, out, err = said(capsys, SAMPLES / "antenna-open", "--report", page)
    assert code == 0
    assert out.startswith("The log proves ")
    assert "[ ] Feed to the antenna normal (question 3)" in out
    assert "[!] Satellites received (question 5)" in out
    assert "page written" in err
    assert page.read_text("utf-8").startswith("<!DOCTYPE html>")


def test_the_document(capsys):
    code, out, _ = said(capsys, SAMPLES / "antenna-open", "--json")
    document = json.loads(out)
    assert (code, document["schema"], document["next"]) == (0, 1, "bias")
    assert [part["key"] for part in document["sections"]][:2] == ["install", "ring"]


@pytest.mark.parametrize("words", [("nowhere",), (SAMPLES / "antenna-open", "--report", SAMPLES)])
def test_bad_input_is_2_and_one_message(words, capsys):
    code, out, err = said(capsys, *words)
    assert (code, out) == (2, "")
    assert len(err.strip().splitlines()) == 1
