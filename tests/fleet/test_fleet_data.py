"""Where jobs are found, how the data set is kept and read, and what the command says."""

import io
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pandas
import pyarrow
import pyarrow.dataset
import pyarrow.parquet
import pytest

from satdiag import analyse, open_job
from satdiag.cli import run
from satdiag.cli.docs_cmd import topic_text
from satdiag.diagnosis.lessons import Lesson
from satdiag.diagnosis.pooled import Pool
from satdiag.entitlement.wait_prior import WaitPrior
from satdiag.errors import SatdiagError
from satdiag.fleet import dataset, joining, writing
from satdiag.fleet.columns import TABLES
from satdiag.fleet.dataset import SCHEMAS, read_table
from satdiag.fleet.run import run_fleet
from satdiag.fleet.sources import bytes_digest, sources_in, stamp_of
from satdiag.fleet.task import NOT_THERE, Request, Setting, analyse_one
from satdiag.kept import POOL, PREFIX, analyse_here
from satdiag.user_folder import keep
from tests.fleet.rows import Here, quick_job, rows_of

ROOT = Path(__file__).parents[2]


def found_in(*named):
    empty = []
    return [Path(one.path) for one in sources_in(map(str, named), empty.append)], empty


def test_jobs_are_found_wherever_they_lie_and_each_once(tmp_path, monkeypatch):
    for name in ("b", "a/deep/er", "a/report", ".hidden"):
        quick_job(tmp_path / name, 1)
    quick_job(tmp_path / "b" / "within", 2)  # a job folder is not searched any further
    (tmp_path / "log-alone").mkdir()
    (tmp_path / "log-alone" / "observations.csv").write_text("time\n")
    (tmp_path / "c.satjob").write_bytes(b"torn")
    (tmp_path / "c.satjob.lock").write_text("{}")
    (tmp_path / "notes.txt").write_text("")
    (tmp_path / "empty").mkdir()
    (tmp_path / "a" / "round").symlink_to(tmp_path, target_is_directory=True)
    (tmp_path / "b" / "round").symlink_to(tmp_path / "b", target_is_directory=True)
    wanted = [tmp_path / name for name in ("b", "c.satjob", "log-alone", "a/report", "a/deep/er")]
    assert found_in(tmp_path) == (wanted, [])
    monkeypatch.chdir(tmp_path)
    again, empty = found_in("b", ".", "a/round", "empty", "nowhere", "notes.txt")
    assert again == [Path(p) for p in ("b", "c.satjob", "log-alone", "a/report", "a/deep/er", "notes.txt")]
    assert empty == ["empty", "nowhere"]  # a/round is not empty: all that is there had been found before


def test_a_job_is_known_again_by_its_stamp_and_its_bytes(tmp_path):
    quick_job(tmp_path / "a", 1)
    shutil.copytree(tmp_path / "a", tmp_path / "b")
    log = tmp_path / "b" / "observations.csv"
    assert bytes_digest(tmp_path / "a") == bytes_digest(tmp_path / "b")
    before = stamp_of(tmp_path / "b"), bytes_digest(tmp_path / "b")
    os.utime(log, ns=(1, 1))
    assert stamp_of(tmp_path / "b") != before[0]
    assert bytes_digest(tmp_path / "b") == before[1]
    log.write_bytes(log.read_bytes() + b"x")
    assert bytes_digest(tmp_path / "b") != before[1]
    assert bytes_digest(tmp_path / "nowhere") != bytes_digest(tmp_path / "nowhere-else")
    (tmp_path / "one.satjob").write_bytes(b"same")
    (tmp_path / "two.satjob").write_bytes(b"same")
    assert bytes_digest(tmp_path / "one.satjob") == bytes_digest(tmp_path / "two.satjob")
    (tmp_path / "two.satjob-wal").write_bytes(b"rows that are not in the file yet")
    assert bytes_digest(tmp_path / "one.satjob") != bytes_digest(tmp_path / "two.satjob")


def test_the_documentation_lists_every_column():
    text = topic_text("fleet")
    for name, columns in TABLES.items():
        part = text.partition(f"## The table {name}\n")[2].partition("\n## ")[0]
        listed = [line.split(" | ")[0].removeprefix("| ") for line in part.splitlines() if line.startswith("| ")]
        assert listed[2:] == [column.name for column in columns] == SCHEMAS[name].names


def test_small_files_are_joined_and_no_row_is_lost_or_doubled_at_any_instant(tmp_path, monkeypatch):
    monkeypatch.setattr(writing, "BATCH_JOBS", 1)
    monkeypatch.setattr(joining, "FEWEST_FILES", 99)
    jobs, out = tmp_path / "jobs", tmp_path / "out"
    for number in range(3):
        quick_job(jobs / f"{number}", number)
    run_fleet([str(jobs)], out, Here)
    before = rows_of(out)
    assert len(list(out.rglob("*.parquet"))) == 9
    shutil.copytree(out, tmp_path / "killed")
    monkeypatch.setattr(joining, "FEWEST_FILES", 3)
    monkeypatch.setattr(joining, "ROWS_AT_A_TIME", 2)
    run_fleet([str(jobs)], out, Here)
    assert len(list(out.rglob("*.parquet"))) == 3
    assert rows_of(out) == before
    # as if it had been killed when the joined files were there and the others not yet removed
    shutil.copytree(out, tmp_path / "killed", dirs_exist_ok=True)
    assert len(list((tmp_path / "killed").rglob("*.parquet"))) == 12
    assert rows_of(tmp_path / "killed") == before
    tally = run_fleet([str(jobs)], tmp_path / "killed", Here)
    assert (tally.done, tally.skipped) == (0, 3)
    assert len(list((tmp_path / "killed").rglob("*.parquet"))) == 3
    assert rows_of(tmp_path / "killed") == before
    theirs = pyarrow.dataset.dataset(out / "channels", format="parquet", partitioning="hive")
    assert theirs.count_rows() == len(before["channels"])


def test_whoever_reads_while_files_are_joined_gets_every_row_once(tmp_path, monkeypatch):
    monkeypatch.setattr(writing, "BATCH_JOBS", 1)
    out = tmp_path / "out"
    for number in range(3):
        quick_job(tmp_path / "jobs" / f"{number}", number)
    run_fleet([str(tmp_path / "jobs")], out, Here)
    before = rows_of(out)
    monkeypatch.setattr(joining, "FEWEST_FILES", 3)
    opened = dataset._opened

    def listed_then_joined(directory, name):
        found = opened(directory, name)
        joining.join_small_files(out, "other")
        return found

    monkeypatch.setattr(dataset, "_opened", listed_then_joined)
    assert rows_of(out) == before
    assert len(list(out.rglob("*.parquet"))) == 3


def test_rows_of_a_job_without_its_row_in_jobs_do_not_count(tmp_path, monkeypatch):
    monkeypatch.setattr(writing, "BATCH_JOBS", 1)
    for number in range(2):
        quick_job(tmp_path / "jobs" / f"{number}", number)
    run_fleet([str(tmp_path / "jobs")], tmp_path / "out", Here)
    whole = rows_of(tmp_path / "out")
    sorted((tmp_path / "out" / "jobs").rglob("*.parquet"))[-1].unlink()  # as if killed before it was written
    assert len(read_table(tmp_path / "out", "channels")) == 1
    run_fleet([str(tmp_path / "jobs")], tmp_path / "out", Here)
    assert rows_of(tmp_path / "out") == whole


def test_columns_can_be_chosen_and_what_is_no_data_set_is_said(tmp_path):
    quick_job(tmp_path / "jobs" / "0", 1)
    run_fleet([str(tmp_path / "jobs")], tmp_path / "out", Here)
    assert read_table(tmp_path / "out", "channels", ["channel", "month"]).to_pylist() == [
        {"channel": 2, "month": "2031-05"}
    ]
    with pytest.raises(SatdiagError, match="no data set of a fleet here"):
        read_table(tmp_path / "jobs", "jobs")
    with pytest.raises(SatdiagError, match="no table 'visits'"):
        read_table(tmp_path / "out", "visits")
    file = next((tmp_path / "out" / "channels").rglob("*.parquet"))
    file.write_bytes(file.read_bytes()[:100])
    with pytest.raises(SatdiagError, match="cannot be read"):
        read_table(tmp_path / "out", "channels")


def test_a_job_that_the_worker_does_not_see_says_so(tmp_path):
    outcome = analyse_one(Request(str(tmp_path / "far" / "away"), "00", Setting()))
    assert outcome.job["error"] == NOT_THERE


# --- the command -------------------------------------------------------------------------------------------------


def fleet(*words):
    return run(["fleet", *map(str, words)])


@pytest.fixture
def here(monkeypatch):
    """The command without processes, where they do not matter."""
    monkeypatch.setattr("satdiag.fleet.processes.ProcessCrew", lambda *_: Here())


@pytest.mark.usefixtures("here")
def test_the_command_tells_what_it_did_and_its_exit_code(tmp_path, capsys, monkeypatch):
    quick_job(tmp_path / "jobs" / "0", 1)
    out = tmp_path / "out"
    assert fleet(tmp_path / "jobs", "--to", out) == 0
    assert "1 done, 0 skipped, 0 bad" in capsys.readouterr().err
    assert fleet(tmp_path / "jobs", "--to", out, "--json") == 0
    said = capsys.readouterr()
    assert json.loads(said.out)["skipped"] == 1
    (tmp_path / "jobs" / "1").mkdir()
    (tmp_path / "jobs" / "1" / "job.toml").write_text("[job]\nid = 5\n")
    assert fleet(tmp_path / "jobs", "--to", out) == 1
    assert "1: observations.csv: the file is missing (and 1 more)" in capsys.readouterr().err
    assert fleet(tmp_path / "jobs", "--to", out) == 1
    assert "1 were bad before and have not changed" in capsys.readouterr().err
    (tmp_path / "none").mkdir()
    assert fleet(tmp_path / "none", tmp_path / "nowhere", "--to", out) == 2
    said = capsys.readouterr().err
    assert f"{tmp_path / 'none'}: no job in this folder" in said
    assert f"{tmp_path / 'nowhere'}: nothing there" in said
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(os.fsencode(f"{tmp_path / 'jobs' / '0'}\n"))))
    assert fleet("-", "--to", out) == 0
    assert fleet(tmp_path / "jobs", "--to", tmp_path / "jobs" / "1" / "job.toml") == 2


@pytest.mark.usefixtures("here")
def test_a_folder_called_report_is_given_with_its_place(tmp_path, monkeypatch, capsys):
    quick_job(tmp_path / "report", 1)
    monkeypatch.chdir(tmp_path)
    assert fleet("./report", "--to", "out") == 0
    assert fleet("--to", "out", "report") == 0
    assert "0 done, 1 skipped" in capsys.readouterr().err
    assert read_table(Path("out"), "jobs")["source"].to_pylist() == ["report"]


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="rights bind nobody there")
def test_a_folder_that_may_not_be_looked_into_is_said(tmp_path):
    quick_job(tmp_path / "jobs" / "open", 1)
    shut = tmp_path / "jobs" / "shut"
    quick_job(shut / "job", 2)
    shut.chmod(0)
    try:
        found = []
        tally = run_fleet([str(tmp_path / "jobs")], tmp_path / "out", Here)
        assert [one.path for one in sources_in([str(shut / "job")], found.append)] == []
    finally:
        shut.chmod(0o700)
    assert (tally.found, tally.shut, found) == (1, [str(shut)], [str(shut / "job")])


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="rights bind nobody there")
def test_jobs_that_may_not_be_read_are_not_taken_for_the_same(tmp_path):
    for name in ("one", "two"):
        (tmp_path / f"{name}.satjob").write_bytes(b"shut")
        (tmp_path / f"{name}.satjob").chmod(0)
    tally = run_fleet([str(tmp_path)], tmp_path / "out", Here)
    assert (tally.bad, tally.same) == (2, 0)


@pytest.mark.skipif(sys.platform != "linux", reason="names are texts there")
@pytest.mark.usefixtures("here")
def test_a_path_that_is_no_text_is_a_row_like_any_other(tmp_path, capsys):
    quick_job(tmp_path / "jobs" / "a", 1)
    Path(os.fsdecode(os.fsencode(tmp_path / "jobs") + b"/b\xff.satjob")).write_bytes(b"torn")
    assert fleet(tmp_path / "jobs", "--to", tmp_path / "out", "--json") == 1
    assert json.loads(capsys.readouterr().out)["first_bad"][0]["source"].endswith("b?.satjob")
    rows = {Path(row["source"]).name: row["error"] for row in read_table(tmp_path / "out", "jobs").to_pylist()}
    assert rows["a"] is None
    assert "b?.satjob: this is not a job file" in rows["b?.satjob"]


def test_no_data_set_is_written_into_a_job_or_among_jobs(tmp_path):
    quick_job(tmp_path / "jobs" / "a", 1)
    before = sorted(tmp_path.rglob("*"))
    job = tmp_path / "jobs" / "a"
    for directory, why in (
        (tmp_path, "'a' stands in it"),
        (job, "this is a job folder"),
        (job / "out", "it lies in .*a, a job folder"),
    ):
        with pytest.raises(SatdiagError, match=why):
            run_fleet([str(tmp_path / "jobs")], directory, Here)
    assert sorted(tmp_path.rglob("*")) == before


def test_files_of_an_older_satdiag_with_fewer_columns_are_joined_too(tmp_path, monkeypatch):
    monkeypatch.setattr(writing, "BATCH_JOBS", 1)
    monkeypatch.setattr(joining, "FEWEST_FILES", 3)
    out = tmp_path / "out"
    quick_job(tmp_path / "jobs" / "0", 0)
    run_fleet([str(tmp_path / "jobs")], out, Here)
    (old,) = (out / "jobs").rglob("*.parquet")
    table = pyarrow.parquet.ParquetFile(old).read()
    pyarrow.parquet.write_table(table.drop_columns(["wait_prior_jobs"]), old)
    for number in (1, 2):
        quick_job(tmp_path / "jobs" / str(number), number)
    assert run_fleet([str(tmp_path / "jobs")], out, Here).skipped == 1
    assert len(list((out / "jobs").rglob("*.parquet"))) == 1
    assert sorted(map(str, read_table(out, "jobs", ["wait_prior_jobs"])["wait_prior_jobs"])) == ["0", "0", "None"]


@pytest.mark.usefixtures("here")
def test_what_is_kept_here_counts_only_if_asked_for_and_then_as_it_does_for_one_job(tmp_path, monkeypatch):
    monkeypatch.setenv("SATDIAG_USER_FOLDER", str(tmp_path / "user"))
    name = str(ROOT / "sample_logs" / "filling")
    lesson = Lesson("shop-1", "00", "just-installed", frozenset({"antenna-open"}), {"bias": "open"})
    pool = Pool(waits={"": WaitPrior(mean_log_s=7.5, sd_log=0.3, jobs=40)})
    keep("learned", f"{PREFIX}shop-1.json", lesson.text().encode(), {}, replace=True)
    keep("learned", f"{POOL}.json", pool.text().encode(), {}, replace=True)
    rows = []
    for words in ([], ["--learned"]):
        assert fleet(name, "--to", tmp_path / "out", *words) == 0
        (row,) = read_table(tmp_path / "out", "jobs").to_pylist()
        rows.append(row)
    job = open_job(name)
    for row, found in zip(rows, (analyse(job), analyse_here(job)), strict=True):
        assert row["p_antenna"] == pytest.approx(found.diagnosis.classes["antenna"], rel=1e-12)
        assert row["hours_to_90"] == pytest.approx(found.entitlement.time_to_share_s["0.9"].median / 3600, rel=1e-12)
        assert row["learned_jobs"] == found.diagnosis.learned_jobs
    assert rows[0]["p_antenna"] != rows[1]["p_antenna"]
    assert rows[0]["hours_to_90"] != rows[1]["hours_to_90"]
    assert rows[0]["analysis"] != rows[1]["analysis"]
    assert fleet(name, "--to", tmp_path / "out") == 0  # what was learned no longer counts
    (row,) = read_table(tmp_path / "out", "jobs", ["analysis"]).to_pylist()
    assert row["analysis"] == rows[0]["analysis"]


@pytest.mark.parametrize("minutes", ["0", "-1", "nan", "long"])
def test_a_limit_that_is_none_is_refused(minutes, tmp_path):
    quick_job(tmp_path / "job", 1)
    assert fleet(tmp_path / "job", "--to", tmp_path / "out", "--most-minutes", minutes) == 2
    assert not (tmp_path / "out").exists()


def test_scheduler_and_workers_exclude_each_other(tmp_path, capsys):
    assert fleet(tmp_path, "--to", tmp_path, "--workers", 2, "--scheduler", "tcp://127.0.0.1:1") == 2
    assert "exclude each other" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("lacking", "words"), [("pyarrow", []), ("distributed", ["--scheduler", "tcp://127.0.0.1:1"])]
)
def test_without_the_extra_the_error_names_it(lacking, words, tmp_path):
    quick_job(tmp_path / "job", 1)
    code = f"import sys; sys.modules[{lacking!r}] = None; from satdiag.cli import main; main()"
    command = [sys.executable, "-c", code, "fleet", str(tmp_path / "job"), "--to", str(tmp_path / "out"), *words]
    ran = subprocess.run(
        command, cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True, text=True, check=False
    )
    assert ran.returncode == 2
    assert f"needs {lacking}, which is not installed" in ran.stderr
    assert 'pip install "satdiag[fleet]"' in ran.stderr


# --- jobs that were moved, and places that are odd ----------------------------------------------------------------


def grow(folder):
    log = folder / "observations.csv"
    log.write_text(log.read_text() + "2031-05-03T15:00:00Z,channel,77,refused,,hand,\n")


@pytest.mark.parametrize("seen_between", [False, True])
@pytest.mark.parametrize("former_goes", [False, True])
def test_a_job_that_was_moved_and_has_grown_has_one_row(former_goes, seen_between, tmp_path):
    out, jobs = tmp_path / "out", tmp_path / "jobs"
    quick_job(jobs / "a", 1)
    quick_job(jobs / "other", 2)
    run_fleet([str(jobs)], out, Here)
    shutil.copytree(jobs / "a", jobs / "later" / "a")
    if former_goes:
        shutil.rmtree(jobs / "a")
    if seen_between:
        assert run_fleet([str(jobs)], out, Here).same == 1
    grow(jobs / "later" / "a")
    assert run_fleet([str(jobs)], out, Here).done == 1
    rows = {row["source"]: row["rows"] for row in read_table(out, "jobs").to_pylist()}
    both = {str(jobs / "later" / "a"): 3, str(jobs / "other"): 2}
    assert rows == (both if former_goes else {**both, str(jobs / "a"): 2})
    assert len(read_table(out, "channels")) == (3 if former_goes else 4)
    # as others read it, by the rule that the documentation gives
    frame = pandas.read_parquet(out / "jobs").sort_values("written")
    theirs = frame.drop_duplicates("place", keep="last").drop_duplicates("hash", keep="last")
    assert dict(zip(theirs["source"], theirs["rows"], strict=True)) == rows
    files = sorted(out.rglob("*.parquet"))
    assert run_fleet([str(jobs)], out, Here).done == 0
    assert sorted(out.rglob("*.parquet")) == files


def test_another_job_at_a_new_place_hides_nothing(tmp_path):
    out, jobs = tmp_path / "out", tmp_path / "jobs"
    for number in range(3):
        quick_job(jobs / f"{number}", number)
    run_fleet([str(jobs)], out, Here)
    shutil.rmtree(jobs / "0")
    quick_job(jobs / "new", 4)
    sheet = jobs / "new" / "job.toml"
    sheet.write_text(sheet.read_text().replace('id = "', 'id = "another-'))
    run_fleet([str(jobs)], out, Here)
    names = {Path(row["source"]).name for row in read_table(out, "jobs").to_pylist()}
    assert names == {"0", "1", "2", "new"}  # a job that is no longer found keeps its row


@pytest.mark.skipif(os.name == "nt", reason="links and pipes by name are not for everybody there")
@pytest.mark.usefixtures("here")
def test_odd_places_are_each_one_clear_line(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    quick_job(Path("jobs/a"), 1)
    quick_job(Path("jobs/b ü 'q' $x"), 2)
    quick_job(Path("jobs/c\nd"), 3)
    shutil.copytree("jobs/a", "jobs/copy")
    Path("jobs/loop.satjob").symlink_to("loop.satjob")
    Path("jobs/nowhere.satjob").symlink_to("gone.satjob")
    Path("jobs/round").symlink_to("../jobs")
    os.mkfifo("jobs/pipe.satjob")
    Path("jobs/folder.satjob").mkdir()
    Path("empty").mkdir()
    assert fleet("jobs", "./jobs", "jobs/a", "jobs/round/a", "--to", "out") == 1
    said = capsys.readouterr().err
    assert "3 done, 1 skipped, 3 bad" in said
    lines = {line.partition(": ")[0]: line for line in said.splitlines()}
    for name in ("loop", "nowhere", "pipe"):
        assert len(lines[f"jobs/{name}.satjob"].split(".satjob")) <= 4, lines  # the path once, and how to mend it
        assert str(tmp_path) not in lines[f"jobs/{name}.satjob"]
    assert fleet(".", "--to", "out") == 1  # the data set lies among what is searched
    assert "0 done, 4 skipped, 3 bad" in capsys.readouterr().err
    assert fleet("out", "--to", "elsewhere") == 2
    assert "out: this is a data set that `satdiag fleet` made" in capsys.readouterr().err
    assert fleet("empty", "--to", "elsewhere") == 2
    assert "empty: no job in this folder" in capsys.readouterr().err
    assert not Path("elsewhere").exists()  # nothing was written, nothing is left
