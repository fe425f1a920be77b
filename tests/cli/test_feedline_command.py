"""`satdiag feedline` and `satdiag cable`: files and jobs, options, bad input, JSON, and without the library."""

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from satdiag.cli import run
from satdiag.findings import FeedlineFindings
from satdiag.findings_schema import schema_of
from tests.wiring.lines import HARMONIC, noisy, text_of, two_faults

ROOT = Path(__file__).parent.parent.parent
SAMPLES = ROOT / "sample_logs"
LEAD = ("--vf", "0.66", "--cable", "rg-174", "--expected-length", "4.6")


@pytest.fixture(autouse=True)
def _apart(tmp_path, monkeypatch):
    monkeypatch.setenv("SATDIAG_USER_FOLDER", str(tmp_path / "user"))


@pytest.fixture
def sweep(tmp_path):
    place = tmp_path / "lead.s1p"
    place.write_bytes(text_of(noisy(two_faults(HARMONIC), 50, np.random.default_rng(1))))
    return place


def said(capsys, *words):
    code = run([str(word) for word in words])
    captured = capsys.readouterr()
    return code, captured.out, captured.err


def test_a_sweep_in_words(capsys, sweep):
    code, out, err = said(capsys, "feedline", sweep, *LEAD, "--joint", "1")
    assert (code, err) == (0, "")
    assert out.splitlines()[0] == (
        "The lead ends at 3.20 m (3.14 to 3.26 m), before the antenna at 4.60 m (over 99 % sure). It is open there."
    )
    assert "echo between 1 and 2" in out
    assert "Never connect the analyser to a line that carries the feed" in out


@pytest.mark.parametrize(
    ("language", "words"), [("es", "El cable termina a 3,20 m"), ("fr", "Le câble finit à 3,20 m")]
)
def test_a_sweep_in_another_language(capsys, sweep, language, words):
    code, out, _ = said(capsys, "feedline", sweep, *LEAD, "--lang", language)
    assert code == 0
    assert words in out
    assert not re.search(r"\b(?:the|and|is|are|with|never)\b", out)


def test_a_sweep_as_json(capsys, sweep):
    import jsonschema

    code, out, _ = said(capsys, "feedline", sweep, *LEAD, "--json")
    found = json.loads(out)
    assert code == 0
    assert found["end"] == "before"
    assert found["fault_m"] == pytest.approx(3.2, abs=5e-3)
    definitions: dict = {}
    schema = schema_of(FeedlineFindings, definitions)
    jsonschema.validate(found, {**schema, "$defs": definitions})


def test_a_range_of_the_velocity_factor_and_a_band(capsys, sweep):
    _, out, _ = said(capsys, "feedline", sweep, "--vf", "0.64-0.70", "--band", "1000-1100", "--json")
    found = json.loads(out)
    assert found["velocity_factor_range"] == [0.64, 0.7]
    assert found["velocity_factor"] == pytest.approx(0.67)
    assert found["band_mhz"] == [1000.0, 1100.0]


def test_the_band_of_a_constellation(capsys, sweep, tmp_path):
    own = tmp_path / "own.toml"
    own.write_text(
        'name = "own"\nband_mhz = [1452.0, 1492.0]\n[[satellite]]\nname = "x"\nlongitude_deg = -100.0\n', "utf-8"
    )
    _, out, _ = said(capsys, "feedline", sweep, "--constellation", own, "--json")
    assert json.loads(out)["band_mhz"] == [1452.0, 1492.0]


def test_a_job_with_its_own_sheet(capsys, sweep, tmp_path):
    folder = tmp_path / "job"
    shutil.copytree(SAMPLES / "obstructed", folder)
    shutil.copy(sweep, folder / "feedline.s1p")
    sheet = folder / "job.toml"
    sheet.write_text(sheet.read_text("utf-8") + '\n[feedline]\ncable = "rg-174"\nexpected_length_m = 4.6\n', "utf-8")
    code, out, _ = said(capsys, "feedline", folder)
    assert code == 0
    assert out.startswith("The lead ends at 3.20 m")
    _, out, _ = said(capsys, "feedline", folder, "--expected-length", "3.2")
    assert out.startswith("The lead reaches the antenna")
    page = tmp_path / "report.html"
    code, out, _ = said(capsys, "analyse", folder, "--json", "--report", page)
    assert code == 0
    assert json.loads(out)["wiring"]["feedline"]["end"] == "before"
    text = page.read_text("utf-8")
    assert "ends before the antenna" in text
    assert "A sweep of the antenna lead" in text
    assert said(capsys, "check", folder)[0] == 0
    (folder / "feedline.s1p").write_text("# MHz S RI R 50\n1 0,5 0\n", "utf-8")
    code, out, err = said(capsys, "check", folder)
    assert code == 1
    assert "feedline.s1p, line 2" in out + err


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        (("--vf", "fast"), "--vf 'fast' is not a velocity factor such as 0.66"),
        (("--vf", "66"), "--vf '66' is outside 0.3 .. 1"),
        (("--vf", "0.7-0.6"), "is not a velocity factor"),
        (("--band", "2320"), "is not a band in MHz such as 2320-2345"),
        (("--band", "2320-2345", "--constellation", "demo-pair"), "keep one of the two"),
        (("--cable", "rg-9"), "rg-9"),
        (("--expected-length", "0"), "--expected-length"),
    ],
)
def test_bad_options(capsys, sweep, words, wanted):
    code, out, err = said(capsys, "feedline", sweep, *words)
    assert (code, out) == (2, "")
    assert wanted in err


def test_bad_files(capsys, tmp_path, sweep):
    bad = tmp_path / "bad.s1p"
    bad.write_text("# MHz S RI R 50\n1 0 0\n1 0 0\n", "utf-8")
    code, out, err = said(capsys, "feedline", bad)
    assert (code, out) == (2, "")
    assert err.strip() == (
        f"{bad}, line 3: the frequency 1 does not rise: the line before has 1. Keep one line a frequency, in rising "
        "order."
    )
    two = tmp_path / "two.s2p"
    two.write_text("# MHz S RI R 50\n1 0 0 0 0 0 0 0 0\n", "utf-8")
    assert "two ports or more" in said(capsys, "feedline", two)[2]
    assert said(capsys, "feedline", tmp_path / "none.s1p")[0] == 2
    code, _, err = said(capsys, "feedline", SAMPLES / "obstructed")
    assert code == 2
    assert "the job holds no feedline.s1p" in err
    code, out, err = said(capsys, "feedline", sweep, "--report", tmp_path / "nowhere" / "page.html")
    assert (code, out) == (2, "")


def test_without_the_library_one_sentence_and_exit_2(sweep, tmp_path):
    # A real interpreter in which the library cannot be found.
    hide = tmp_path / "hide"
    hide.mkdir()
    (hide / "sitecustomize.py").write_text(
        "import importlib.util, sys\n_usual = importlib.util.find_spec\nsys.modules['skrf'] = None\n"
        "importlib.util.find_spec = lambda name, *more: None if name == 'skrf' else _usual(name, *more)\n",
        "utf-8",
    )
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join([str(hide), str(ROOT)])}
    command = [sys.executable, "-m", "satdiag", "feedline", str(sweep)]
    done = subprocess.run(command, capture_output=True, text=True, env=environment, check=False)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.strip() == (
        'Reading a reflection sweep needs scikit-rf, which is not installed here. Run: pip install "satdiag[rf]"'
    )


def test_cable_in_words_and_json(capsys):
    code, out, err = said(capsys, "cable", "--type", "rg-174", "--length", "5", "--return-loss", "18.98")
    assert (code, err) == (0, "")
    assert "loss one way: 8.0 dB (6.0 to 9.5); per metre 1.60 dB (1.20 to 1.90)" in out
    assert "A class is not a specification" in out
    assert "means 9.49 dB one way, 1.90 dB/m. That fits this class." in out
    _, out, _ = said(capsys, "cable", "--type", "rg-58", "--length", "5", "--mhz", "1000", "--json")
    found = json.loads(out)
    assert found["db_per_m"]["high"] == pytest.approx(0.706, abs=6e-4)
    assert found["measured_loss_db"] is None


@pytest.mark.parametrize(("loss", "wanted"), [("4", "less than this class"), ("30", "more than this class")])
def test_a_measured_loss_that_does_not_fit(capsys, loss, wanted):
    _, out, _ = said(capsys, "cable", "--type", "rg-174", "--length", "5", "--return-loss", loss)
    assert wanted in out


def test_an_unknown_cable_is_a_range(capsys):
    _, out, _ = said(capsys, "cable", "--type", "unknown", "--length", "5", "--connectors", "1")
    assert "a cable of which nothing is known" in out
    assert "velocity factor 0.755 (0.66 to 0.85)" in out


@pytest.mark.parametrize("words", [(), ("--type", "rg-174"), ("--type", "rg-174", "--length", "-1")])
def test_cable_with_too_little_said(capsys, words):
    code, out, _ = said(capsys, "cable", *words)
    assert (code, out) == (2, "")


@pytest.mark.parametrize("number", ["nan", "inf", "-inf"])
@pytest.mark.parametrize("option", ["--expected-length", "--reference-plane", "--joint"])
def test_a_length_that_is_no_number_is_refused(capsys, sweep, option, number):
    code, out, err = said(capsys, "feedline", sweep, f"{option}={number}")
    assert (code, out) == (2, "")
    assert option in err


@pytest.mark.parametrize("option", ["--length", "--mhz", "--temperature", "--return-loss"])
def test_a_cable_without_numbers_is_refused(capsys, option):
    code, out, err = said(capsys, "cable", "--type", "rg-174", "--length", "3", f"{option}=nan")
    assert (code, out) == (2, "")
    assert option in err
