"""The figures of speed: the load they are taken from, and how they are told."""

import json
import sys
from itertools import pairwise
from pathlib import Path

import pytest

import satdiag
from satdiag.bulk import ColumnRows

SCRIPTS = Path(__file__).parents[2] / "scripts"


@pytest.fixture
def scripts(monkeypatch):
    monkeypatch.syspath_prepend(str(SCRIPTS))
    import bench_figures
    import bench_speed_jobs

    yield bench_figures, bench_speed_jobs
    for name in ("bench_figures", "bench_speed_jobs"):
        sys.modules.pop(name, None)


def test_a_load_gives_every_estimator_something_and_is_the_same_each_time(tmp_path, scripts):
    _, jobs = scripts
    count = jobs.write_job(tmp_path / "one", 0.25, 5.0)
    assert jobs.write_job(tmp_path / "two", 0.25, 5.0) == count
    one, two = ((tmp_path / name / "observations.csv").read_bytes() for name in ("one", "two"))
    assert one == two
    job = satdiag.open_job(tmp_path / "one")
    assert isinstance(job.rows, ColumnRows)
    assert len(job.rows) == count > 0.25 * 3600 * 5.0
    found = satdiag.analyse(job)
    assert set(found.signal.paths) == {"satellite:east", "satellite:west", "repeater"}
    assert found.entitlement.channels
    assert found.tuning.audio_s is not None
    assert found.tuning.audio_s.n > 0
    assert found.wiring.bias is not None
    assert found.wiring.supply is not None


def test_drives_add_up_to_the_hours_that_were_asked_for(scripts):
    _, jobs = scripts
    spans = jobs.stretches_s(21.5)
    assert sum(end - start for start, end in spans) == pytest.approx(21.5 * 3600.0)
    assert all(one[1] < other[0] for one, other in pairwise(spans))


def test_a_figure_is_a_ratio_with_its_floor_beside_it(tmp_path, scripts):
    figures, _ = scripts
    lines = [
        figures.Line("reading", "7 rows", "s", 3.0, 2.0, "a bare read", 1.5),
        figures.Line("writing", "7 rows", "s", 4.0, 2.0, "a bare write", 1.5),
        figures.Line("two at a time", "7 jobs", "times", 1.8, 1.9, "two that count", 0.9, True),
        figures.Line("held", "", "MB", 3000.0, 1500.0, "a frame"),
    ]
    assert [line.met for line in lines] == [True, False, True, None]
    rows = figures.table(lines).splitlines()
    assert rows[2] == "| reading | 7 rows | 3 s | 2 s | 1.5 | at most 1.5 | yes | a bare read |"
    assert rows[3].split(" | ")[4:7] == ["2", "at most 1.5", "**no**"]
    assert rows[4].split(" | ")[5] == "at least 0.9"
    assert {row.count("|") for row in rows} == {9}
    figures.write_json(tmp_path / "figures.json", {"python": "3"}, lines)
    told = json.loads((tmp_path / "figures.json").read_text("utf-8"))
    assert told["figures"][1] == {**lines[1]._asdict(), "ratio": 2.0, "met": False}


@pytest.mark.parametrize("power", [1.0, 2.0])
def test_growth_is_the_slope_between_logarithms(scripts, power):
    figures, _ = scripts
    assert figures.exponent([10, 100, 1000], [3 * 10**power, 3 * 100**power, 3 * 1000**power]) == pytest.approx(power)


def test_what_an_analysis_can_call_is_named_by_its_sources(monkeypatch, tmp_path):
    monkeypatch.syspath_prepend(str(SCRIPTS))
    import bench_speed

    one, other = tmp_path / "one.py", tmp_path / "other.py"
    one.write_text("import numpy as np\nfrom scipy import special\nfrom satdiag import job\nimport json\n", "utf-8")
    other.write_text("def late():\n    from scipy.optimize import brentq\n    from . import pandas\n", "utf-8")
    found = bench_speed.could_import({"satdiag.one": str(one), "satdiag.other": str(other), "else": "/nowhere.py"})
    assert found == {"numpy", "scipy", "scipy.special", "scipy.optimize", "scipy.optimize.brentq"}
    for name in ("bench_speed", "bench_figures", "bench_speed_jobs"):
        sys.modules.pop(name, None)


def test_the_lead_is_read_and_examined_as_scikit_rf_does(monkeypatch):
    pytest.importorskip("skrf")
    monkeypatch.syspath_prepend(str(SCRIPTS))
    import bench_cable

    monkeypatch.setattr(bench_cable, "TURNS", 1)
    found = list(bench_cable.lines(quick=True))
    assert [line.what for line in found] == ["sweep read", "lead examined"]
    assert all(line.ours > 0.0 and line.floor > 0.0 for line in found)
    monkeypatch.setattr(bench_cable, "METRES", 5.5)  # another lead than the one examined
    text = bench_cable.made(401)
    monkeypatch.setattr(bench_cable, "METRES", 5.0)
    monkeypatch.setattr(bench_cable, "made", lambda _: text)
    with pytest.raises(RuntimeError, match="was not found"):
        list(bench_cable.figures(401))
    for name in ("bench_cable", "bench_figures"):
        sys.modules.pop(name, None)


def test_without_scikit_rf_it_is_said_that_there_are_no_figures(monkeypatch):
    monkeypatch.syspath_prepend(str(SCRIPTS))
    import bench_cable

    monkeypatch.setattr(bench_cable.importlib.util, "find_spec", lambda _: None)
    said = []
    assert list(bench_cable.lines(say=said.append)) == []
    assert "scikit-rf" in said[0]
    sys.modules.pop("bench_cable", None)
