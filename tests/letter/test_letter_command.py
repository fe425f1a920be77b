"""`satdiag letter` as a person runs it: what it prints, what it writes, and what it will not write over."""

from __future__ import annotations

import pytest

from satdiag import cli
from satdiag.letter.writing import write_letter
from tests.sample_findings import ROOT

JOB = str(ROOT / "partial-package")


@pytest.fixture
def satdiag(capsys):
    """Runs a command line; returns exit code, output and errors."""

    def run(*words):
        code = cli.run([str(word) for word in words])
        out, err = capsys.readouterr()
        return code, out, err

    return run


def test_without_a_file_the_letter_is_printed_as_text(satdiag):
    code, out, err = satdiag("letter", JOB, "--for", "customer", "--lang", "fr", "--from", "Atelier Demo")
    assert (code, err) == (0, "")
    assert out.startswith("Votre radio par satellite\n\nVéhicule\u202f: ")
    assert "\nAtelier Demo\n" in out
    assert out.endswith("satdiag customer\n")


def test_a_page_is_written_and_written_over(satdiag, tmp_path):
    place = tmp_path / "letter.html"
    for language in ("en", "es"):
        code, out, err = satdiag("letter", JOB, "--for", "dealer", "--out", place, "--lang", language)
        assert (code, out) == (0, "")
        assert "letter written" in err
        assert f'<html lang="{language}">' in place.read_text("utf-8")
    assert [entry.name for entry in tmp_path.iterdir()] == ["letter.html"]


def test_a_text_is_written_and_written_over(satdiag, tmp_path):
    place = tmp_path / "letter.txt"
    for recipient in ("customer", "provider", "dealer"):
        assert satdiag("letter", JOB, "--for", recipient, "--out", place, "--text")[0] == 0
        assert place.read_text("utf-8").endswith(f"satdiag {recipient}\n")


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("letter.html", "my own notes"),
        ("letter.txt", "my own notes\n"),
        ("letter.txt", "<!doctype html><title>a page</title>"),
        ("letter.html", "Your satellite radio\n\nsatdiag customer\n"),
        ("letter.txt", "satdiag customer\nand more of mine\n"),
    ],
)
def test_what_is_no_letter_is_not_written_over(satdiag, tmp_path, name, content):
    place = tmp_path / name
    place.write_text(content, "utf-8")
    code, out, err = satdiag("letter", JOB, "--for", "customer", "--out", place)
    assert (code, out) == (2, "")
    assert str(place) in err
    assert "not written over" in err
    assert place.read_text("utf-8") == content
    assert len(list(tmp_path.iterdir())) == 1


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--out", "letter.pdf"), "Name it letter.html, or letter.txt for plain text."),
        (("--out", "letter.html", "--text"), "Name it letter.txt."),
        (("--full-id",), "leave --full-id out"),
        (("--out", "missing/letter.html"), "there is no folder"),
        (("--lang", "de"), "'de' is not one of"),
    ],
)
def test_what_cannot_be_done_is_said_and_nothing_is_written(satdiag, tmp_path, monkeypatch, words, said):
    monkeypatch.chdir(tmp_path)
    code, out, err = satdiag("letter", JOB, "--for", "customer", *words)
    assert (code, out) == (2, "")
    assert said in err
    assert list(tmp_path.iterdir()) == []


def test_a_recipient_has_to_be_named(satdiag):
    code, _, err = satdiag("letter", JOB)
    assert code == 2
    assert "--for" in err


def test_a_folder_is_refused(satdiag, tmp_path):
    (tmp_path / "letter.html").mkdir()
    code, _, err = satdiag("letter", JOB, "--for", "customer", "--out", tmp_path / "letter.html")
    assert code == 2
    assert "this is a folder" in err


def test_no_job_is_one_clear_error(satdiag, tmp_path):
    code, out, err = satdiag("letter", tmp_path / "nowhere", "--for", "customer")
    assert (code, out) == (2, "")
    assert "nowhere" in err


def test_the_whole_identifier_goes_to_the_provider_only_when_asked_for(satdiag):
    _, short, _ = satdiag("letter", JOB, "--for", "provider")
    _, full, _ = satdiag("letter", JOB, "--for", "provider", "--full-id")
    assert "•••••••40F" in short
    assert "•" not in full


def test_an_empty_file_is_taken_and_rights_are_kept(tmp_path):
    place = tmp_path / "letter.txt"
    place.touch()
    place.chmod(0o640)
    before = place.stat().st_mode
    write_letter(place, "a\n\nsatdiag customer\n", "text")
    assert place.read_text("utf-8") == "a\n\nsatdiag customer\n"
    assert place.stat().st_mode == before
