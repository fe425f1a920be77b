"""Runs on real processes of this computer: what is written, going on, processes that die, bad jobs."""

import multiprocessing
import os
import shutil
import signal
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

import psutil
import pyarrow.dataset
import pytest

import satdiag
from satdiag.cli import run
from satdiag.fleet.columns import TABLES
from satdiag.fleet.dataset import SCHEMAS, read_table, whole_table
from satdiag.fleet.processes import ProcessCrew
from satdiag.fleet.run import Wishes, run_fleet
from satdiag.folder import job_hash
from satdiag.store import create_job_file
from satdiag.store.lock import locked
from tests.fleet.rows import Here, quick_job, rows_of

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_logs"
NAMES = ("node-unpowered", "not-configured", "partial-package", "filling")


def two():
    return ProcessCrew(2)


def one():
    return ProcessCrew(1)


@pytest.fixture(scope="module")
def sample_fleet(tmp_path_factory):
    """Four sample logs, a torn job file, and a folder that is no job: analysed once for the tests of this file."""
    folder = tmp_path_factory.mktemp("fleet")
    for name in NAMES:
        shutil.copytree(SAMPLES / name, folder / "jobs" / name)
    whole = folder / "whole.satjob"
    create_job_file(whole, satdiag.open_job(SAMPLES / "not-configured"))
    (folder / "jobs" / "torn.satjob").write_bytes(whole.read_bytes()[:5000])
    (folder / "other").mkdir()
    (folder / "other" / "letter.txt").write_text("no job")
    tally = run_fleet([str(folder / "jobs"), str(folder / "other")], folder / "out", two)
    return folder, tally


def test_every_job_is_a_row_and_a_bad_one_is_its_error(sample_fleet):
    folder, tally = sample_fleet
    assert (tally.found, tally.done, tally.bad, tally.skipped) == (5, 4, 1, 0)
    assert tally.empty == [str(folder / "other")]
    rows = {Path(row["source"]).name: row for row in read_table(folder / "out", "jobs").to_pylist()}
    assert set(rows) == {*NAMES, "torn.satjob"}
    assert rows["torn.satjob"]["month"] == "unknown"
    assert "torn.satjob" in rows["torn.satjob"]["error"]
    assert rows["torn.satjob"]["state"] is None
    for name in NAMES:
        job = satdiag.open_job(SAMPLES / name)
        assert rows[name]["key"] == f"{job_hash(job)}:{rows[name]['analysis']}"
        assert rows[name]["error"] is None


def test_the_rows_say_what_the_analysis_of_the_job_alone_says(sample_fleet):
    folder, _ = sample_fleet
    job = satdiag.open_job(SAMPLES / "filling")
    found = satdiag.analyse(job)
    row = next(row for row in read_table(folder / "out", "jobs").to_pylist() if row["source"].endswith("filling"))
    assert (row["state"], row["fault"], row["probability"]) == (
        found.verdict.state,
        found.verdict.fault,
        pytest.approx(found.verdict.probability, rel=1e-9),
    )
    assert row["started"].isoformat().replace("+00:00", "Z")[:19] == found.from_[:19]
    assert row["hours_to_90"] * 3600 == pytest.approx(found.entitlement.time_to_share_s["0.9"].median)
    assert {part["fault"]: part["p"] for part in row["faults"]} == pytest.approx(dict(found.diagnosis.faults))
    assert row["p_none"] == pytest.approx(found.diagnosis.classes["none"])
    channels = [one for one in read_table(folder / "out", "channels").to_pylist() if one["key"] == row["key"]]
    assert {one["channel"]: one["state"] for one in channels} == {
        c.channel: c.state for c in found.entitlement.channels
    }
    assert sum(one["expected"] for one in channels) == row["channels_expected"] == found.entitlement.expected
    evidence = [one for one in read_table(folder / "out", "evidence").to_pylist() if one["key"] == row["key"]]
    assert {one["item"]: one["state"] for one in evidence} == {e.item: e.state for e in found.diagnosis.evidence}


def test_other_readers_read_it(sample_fleet):
    folder, _ = sample_fleet
    for name in TABLES:
        ours = read_table(folder / "out", name)
        theirs = pyarrow.dataset.dataset(folder / "out" / name, format="parquet", partitioning="hive")
        assert theirs.count_rows() == len(ours) > 0
        assert set(theirs.schema.names) == {*SCHEMAS[name].names, "month"}
    import pandas

    frame = pandas.read_parquet(folder / "out" / "jobs")
    assert Counter(frame["month"].astype(str)) == Counter(read_table(folder / "out", "jobs")["month"].to_pylist())
    assert str(frame["started"].dtype) in ("datetime64[us, UTC]", "datetime64[ns, UTC]")
    assert pyarrow.parquet.ParquetFile(next((folder / "out" / "jobs").rglob("*.parquet"))).schema_arrow.equals(
        SCHEMAS["jobs"]
    )


PRIVATE = """[job]
id = "demo-1"
vehicle = "DEMOVIN0000000017"
technician = "Pat Demo"

[[site]]
name = "Rose Yard"
latitude_deg = 41.87654
longitude_deg = -87.65432

[receiver]
id = "DEMO5550177XYZ"
"""
SEEN = "time,kind,subject,value,unit,source,note\n2031-05-03T14:00:00Z,channel,7,authorised,,hand,call Pat Demo\n"


def test_it_tells_no_names_places_or_identifiers(tmp_path):
    for name, sheet, log in (
        ("good", PRIVATE, SEEN),
        ("no-text", PRIVATE.replace('"DEMO5550177XYZ"', "5550177"), SEEN),
        ("no-number", PRIVATE.replace("41.87654", "141.87654"), SEEN),
        ("one-place", PRIVATE.replace("41.87654", "141.8"), SEEN),
        ("no-sky", PRIVATE + "[service]\nconstellation = 'Pat'\n", SEEN),
        ("twice", PRIVATE + PRIVATE[PRIVATE.index("[[site]]") : PRIVATE.index("[receiver]")], SEEN),
        ("no-channel", PRIVATE, SEEN.replace("channel,7", "channel,Pat Demo's radio")),
    ):
        (tmp_path / "jobs" / name).mkdir(parents=True)
        (tmp_path / "jobs" / name / "job.toml").write_text(sheet)
        (tmp_path / "jobs" / name / "observations.csv").write_text(log)
    run_fleet([str(tmp_path / "jobs")], tmp_path / "out", Here)
    texts = str([read_table(tmp_path / "out", name).to_pylist() for name in TABLES])
    rows = {Path(row["source"]).name: row for row in read_table(tmp_path / "out", "jobs").to_pylist()}
    assert [name for name, row in rows.items() if row["error"] is None] == ["good"]
    assert rows["good"]["receiver"].endswith("XYZ")
    assert (rows["no-number"]["error_file"], rows["no-number"]["error_line"]) == ("job.toml", 8)
    assert (rows["no-channel"]["error_file"], rows["no-channel"]["error_line"]) == ("observations.csv", 2)
    for private in ("DEMOVIN", "Pat", "Rose Yard", "41.8", "87.6", "5550177"):
        assert private not in texts


def test_a_second_run_does_nothing(sample_fleet, tmp_path):
    folder = tmp_path / "copy"
    shutil.copytree(sample_fleet[0] / "out", folder)
    shutil.copytree(sample_fleet[0] / "jobs", tmp_path / "jobs")
    named = [str(tmp_path / "jobs")]  # other places than those of the first run: known by content
    before = rows_of(folder)
    again = run_fleet(named, folder, Here)
    assert (again.done, again.bad, again.same, again.skipped) == (0, 0, 5, 0)
    assert rows_of(folder) == before
    again = run_fleet([str(sample_fleet[0] / "jobs")], folder, Here, wishes=Wishes(reread=True))
    assert (again.done, again.bad, again.skipped, again.bad_before) == (0, 0, 4, 1)
    again = run_fleet([str(sample_fleet[0] / "jobs")], folder, Here, wishes=Wishes(retry=True))
    assert (again.done, again.bad, again.skipped, again.bad_before) == (0, 1, 4, 0)
    assert rows_of(folder) == before
    assert len(whole_table(folder, "jobs", ["key"])) == 6  # the bad job twice; read_table gives it once


def test_a_job_that_changes_replaces_its_row(tmp_path):
    for number in range(2):
        quick_job(tmp_path / "jobs" / f"{number}", number)
    named, out = [str(tmp_path / "jobs")], tmp_path / "out"
    run_fleet(named, out, Here)
    first = read_table(out, "jobs").to_pylist()
    log = tmp_path / "jobs" / "0" / "observations.csv"
    log.write_text(log.read_text() + "2031-05-03T15:00:00Z,channel,77,refused,,hand,\n")
    tally = run_fleet(named, out, Here)
    assert (tally.done, tally.skipped) == (1, 1)
    rows = {Path(row["source"]).name: row for row in read_table(out, "jobs").to_pylist()}
    assert set(rows) == {"0", "1"}
    assert rows["0"]["rows"] == 3
    assert rows["1"] in first
    refused = [row for row in read_table(out, "channels").to_pylist() if row["state"] == "refused"]
    assert [row["key"] for row in refused] == [rows["0"]["key"]]
    assert len(whole_table(out, "jobs", ["key"])) == 3


def test_a_job_in_two_places_is_one_row(tmp_path):
    quick_job(tmp_path / "jobs" / "a", 3)
    shutil.copytree(tmp_path / "jobs" / "a", tmp_path / "jobs" / "b")
    create_job_file(tmp_path / "jobs" / "c.satjob", satdiag.open_job(tmp_path / "jobs" / "a"))
    named, out = [str(tmp_path / "jobs")], tmp_path / "out"
    tally = run_fleet(named, out, Here)
    assert (tally.done, tally.same) == (2, 1)  # the job file has other bytes, and the same canonical hash
    assert len(read_table(out, "jobs")) == 1
    assert len(read_table(out, "channels")) == 1
    tally = run_fleet(named, out, Here)
    assert (tally.done, tally.same, tally.skipped) == (0, 1, 2)
    # another job takes the place of the first: its content still is in the other place, and gets its row there
    shutil.rmtree(tmp_path / "jobs" / "a")
    quick_job(tmp_path / "jobs" / "a", 4)
    (tmp_path / "jobs" / "c.satjob").unlink()
    run_fleet([str(tmp_path / "jobs" / "b"), *named], out, Here)
    assert len(read_table(out, "jobs")) == 2


def test_a_process_that_is_killed_midway_costs_no_job(tmp_path):
    for number in range(6):
        quick_job(tmp_path / "jobs" / f"{number}", number)
    killed = []

    def tell(tally):
        if tally.done >= 1 and not killed:
            killed.append(multiprocessing.active_children()[0])
            killed[0].kill()

    tally = run_fleet([str(tmp_path / "jobs")], tmp_path / "out", two, wishes=Wishes(tell=tell))
    killed[0].join()
    assert killed[0].exitcode == -signal.SIGKILL
    assert (tally.done, tally.bad) == (6, 0)
    assert len({row["key"] for row in read_table(tmp_path / "out", "jobs").to_pylist()}) == 6


def test_two_runs_into_one_data_set_are_refused(tmp_path, capsys):
    quick_job(tmp_path / "jobs" / "0", 1)
    (tmp_path / "out").mkdir()
    with locked(tmp_path / "out" / "fleet", "analysing a fleet"):
        assert run(["fleet", str(tmp_path / "jobs"), "--to", str(tmp_path / "out")]) == 2
    assert "analysing a fleet" in capsys.readouterr().err
    assert not (tmp_path / "out" / "jobs").exists()


def wait_for_rows(out, count, process):
    until = time.monotonic() + 120.0
    while len(list(out.rglob("jobs/*/*.parquet"))) < count:
        assert time.monotonic() < until
        assert process.poll() is None
        time.sleep(0.02)


_SLOWLY = """
import time
from satdiag.fleet import task, writing
writing.BATCH_JOBS = 1  # so that there is a midway in a few jobs
well = task.analyse_one

def slowly(request):
    time.sleep(0.0 if request.path.endswith("00") else 4.0)  # and time to stop it there
    return well(request)

task.analyse_one = slowly
from satdiag.cli import main
if __name__ == "__main__":
    main()
"""


@pytest.mark.parametrize("how", [signal.SIGKILL, pytest.param(signal.SIGINT, marks=pytest.mark.long)])
def test_a_run_that_is_stopped_midway_goes_on_as_if_it_had_not_been(how, tmp_path):
    for number in range(7):
        quick_job(tmp_path / "jobs" / f"{number:02d}", number)
    script = tmp_path / "slowly.py"
    script.write_text(_SLOWLY)
    out = tmp_path / "out"
    command = [sys.executable, str(script), "fleet", str(tmp_path / "jobs"), "--to", str(out), "--workers", "1"]
    process = subprocess.Popen(command, cwd=ROOT, env=environment(), stderr=subprocess.PIPE, text=True)
    with process:
        wait_for_rows(out, 1, process)
        workers = psutil.Process(process.pid).children(recursive=True)
        process.send_signal(how)
        said = process.stderr.read()
    assert process.returncode == (-how if how == signal.SIGKILL else 130), said
    _, alive = psutil.wait_procs(workers, timeout=60)
    assert alive == []
    there = len(read_table(out, "jobs"))
    assert 0 < there < 7
    tally = run_fleet([str(tmp_path / "jobs")], out, Here)
    assert (tally.done, tally.skipped) == (7 - there, there)
    assert list(out.rglob(".satdiag-*")) == []
    run_fleet([str(tmp_path / "jobs")], tmp_path / "whole", Here)
    assert rows_of(out) == rows_of(tmp_path / "whole")


def test_ctrl_c_writes_what_is_finished_and_the_next_run_goes_on(tmp_path, monkeypatch, capsys):
    class Interrupted(Here):
        def submit(self, request):
            super().submit(request)
            if "2" in Path(request.path).name:
                os.kill(os.getpid(), signal.SIGINT)

    for number in range(5):
        quick_job(tmp_path / "jobs" / f"{number}", number)
    monkeypatch.setattr("satdiag.fleet.processes.ProcessCrew", lambda *_: Interrupted())
    command = ["fleet", str(tmp_path / "jobs"), "--to", str(tmp_path / "out")]
    assert run(command) == 130
    assert "Stopped; the same command goes on from here." in capsys.readouterr().err
    assert 0 < len(read_table(tmp_path / "out", "jobs")) < 5
    monkeypatch.setattr("satdiag.fleet.processes.ProcessCrew", lambda *_: Here())
    assert run(command) == 0
    assert len(read_table(tmp_path / "out", "jobs")) == 5


def environment():
    return {**os.environ, "PYTHONPATH": str(ROOT)}


@pytest.mark.long
def test_processes_are_renewed_in_a_long_run(tmp_path, monkeypatch):
    monkeypatch.setattr("satdiag.fleet.processes.LIFE", 2)
    for number in range(5):
        quick_job(tmp_path / "jobs" / f"{number}", number)
    seen = set()
    wishes = Wishes(tell=lambda tally: seen.update(child.pid for child in multiprocessing.active_children()))
    tally = run_fleet([str(tmp_path / "jobs")], tmp_path / "out", one, wishes=wishes)
    assert (tally.done, tally.bad) == (5, 0)
    assert len(seen) == 3
    assert rows_of(tmp_path / "out") == rows_of_here(tmp_path)


def rows_of_here(tmp_path):
    run_fleet([str(tmp_path / "jobs")], tmp_path / "here", Here)
    return rows_of(tmp_path / "here")


@pytest.mark.long
@pytest.mark.timeout(1800)
def test_memory_does_not_grow_with_the_number_of_jobs(tmp_path):
    for number in range(400):
        quick_job(tmp_path / "jobs" / f"{number:03d}", number)
    marks = {}
    own = psutil.Process()

    def tell(tally):
        if tally.done >= 100:
            marks[tally.done // 100] = own.memory_info().rss

    run_fleet([str(tmp_path / "jobs")], tmp_path / "out", two, wishes=Wishes(tell=tell))
    assert len(read_table(tmp_path / "out", "jobs")) == 400
    # after the first batch nothing is held: 300 further jobs, and what they took is less than 25 kB each
    assert marks[4] - marks[1] < 7.5e6
