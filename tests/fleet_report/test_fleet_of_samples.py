"""The whole way on real job folders: analysed, written, told, learned from. The logs are simulated."""

import shutil
from pathlib import Path

import pytest

import satdiag
from satdiag.fleet.dataset import read_table
from satdiag.fleet.pool import learn
from satdiag.fleet.report_data import fleet_in
from satdiag.fleet.report_page import sections_of
from satdiag.fleet.run import Wishes, run_fleet
from satdiag.fleet.task import Setting
from tests.fleet.rows import Here

SAMPLES = Path(__file__).parents[2] / "sample_logs"


def analysed(tmp_path, found):
    """A data set of samples, each with what was found in it; None: nobody wrote it down."""
    for name, fault in found.items():
        folder = tmp_path / "jobs" / name
        shutil.copytree(SAMPLES / name, folder)
        if fault is not None:
            close(folder / "observations.csv", fault)
    (tmp_path / "jobs" / "broken.satjob").write_bytes(b"no job at all")
    setting = Setting()
    run_fleet(iter([str(tmp_path / "jobs")]), tmp_path / "set", Here, setting, Wishes())
    return tmp_path / "set"


def close(file, fault):
    """Write down what was found, at the time of the last row."""
    heads, *_, last = file.read_text("utf-8").splitlines()
    row = {"time": last.partition(",")[0], "kind": "finding", "subject": fault, "value": "confirmed"}
    with file.open("a", encoding="utf-8", newline="") as rows:
        rows.write(",".join(row.get(head, "") for head in heads.split(",")) + "\n")


def check(place, number, closed):
    """The page and the learning say what the rows say."""
    sections = {section.name: section for section in sections_of(fleet_in(place))}
    assert f"The data set holds {number + 1} jobs." in sections["jobs"].sentences
    assert [table.rows[0][2].text for table in sections["outliers"].tables][-1].endswith("broken.satjob")
    assert any(f"Of {closed} jobs" in sentence for sentence in sections["truth"].sentences)
    taught = learn(place)
    assert taught.closed == closed
    assert taught.faults.jobs == closed


def test_three_samples(tmp_path):
    place = analysed(tmp_path, {"antenna-open": "antenna-open", "filling": "none", "indoors": None})
    check(place, 3, 2)
    rows = {row["job"]: row for row in read_table(place, "jobs").to_pylist()}
    job = satdiag.open_job(tmp_path / "jobs" / "filling")
    wait = satdiag.analyse(job).entitlement.typical_wait_s
    assert rows[job.sheet.id]["hours_typical_wait"] == pytest.approx(wait.median / 3600.0)
    assert rows[job.sheet.id]["hours_typical_wait_high"] == pytest.approx(wait.p95 / 3600.0)
    assert rows[job.sheet.id]["wait_prior_jobs"] == 0


@pytest.mark.long
def test_every_sample(tmp_path):
    names = sorted(place.name for place in SAMPLES.iterdir() if place.is_dir())
    faults = {name: ("antenna-open" if name.startswith("antenna") else "other") for name in names}
    check(analysed(tmp_path, faults), len(names), len(names))
