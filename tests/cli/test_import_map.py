"""`satdiag import --map`: into a job file, a job folder, a new job; all lines or none."""

from datetime import datetime, timedelta
from importlib.resources import files
from time import perf_counter

import pytest

from satdiag.cli import run
from satdiag.opening import open_job

EXAMPLE = files("satdiag.mapping") / "example"
SHEET = '[job]\nid = "demo"\n[[site]]\nname = "yard"\nlatitude_deg = 41.2\nlongitude_deg = -96.1\n'
LOG = "time,kind,subject,value,unit,source,note\n2031-05-03T13:00:00Z,power,receiver,awake,,hand,\n"
TOTAL = 26  # the observations of the example, see tests/mapping/test_bench_example.py


@pytest.fixture
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for name in ("bench-log.csv", "bench-log.toml"):
        (tmp_path / name).write_bytes((EXAMPLE / name).read_bytes())
    (tmp_path / "job").mkdir()
    (tmp_path / "job" / "job.toml").write_text(SHEET)
    (tmp_path / "job" / "observations.csv").write_text(LOG)
    return tmp_path


def bring(job, *more, log="bench-log.csv", form="bench-log.toml"):
    """Run the import and return its exit code."""
    return run(["import", "--map", form, log, job, *more])


def contents(folder):
    """Every file with its bytes."""
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_a_new_job_says_what_is_missing(here, capsys):
    assert bring("new.satjob") == 0
    text = capsys.readouterr().out
    assert "lines: 8; observations: 26; lines that gave none: 1." in text
    assert "Skipped: blank lines: 1; remarks: 1; repeated headers: 0." in text
    assert "From 2031-05-03T09:40:00-04:00 to 2031-05-03T09:45:00-04:00." in text
    assert "signal               8  (1 unreadable)" in text
    assert "job.toml holds the id alone" in text
    job = open_job("new.satjob")
    assert (job.sheet.id, job.sheet.opened, job.sheet.sites) == ("new", None, ())
    assert len(job.rows) == TOTAL
    assert run(["check", "new.satjob"]) == 0


@pytest.mark.parametrize("job", ["job", "job.satjob"])
def test_rows_are_added_to_a_job_that_is_there(here, job, capsys):
    if job != "job":
        assert run(["import", "job", job]) == 0
    before = open_job(job)
    assert bring(job) == 0
    after = open_job(job)
    assert [row._replace(raw=None) for row in after.rows[:1]] == [row._replace(raw=None) for row in before.rows]
    assert len(after.rows) == 1 + TOTAL
    assert after.rows[1].id == "i1-5"
    assert after.sheet == before.sheet
    assert f"{TOTAL + 1} observations" in capsys.readouterr().out
    assert run(["note", job, "--withdraw", "i1-7.5"]) == 0
    assert run(["check", job]) == 0


def test_a_second_import_has_ids_of_its_own_and_the_same_file_is_refused(here, capsys):
    assert bring("job") == 0
    more = (here / "bench-log.csv").read_bytes() + b"03.05.2031;09:50:00;restart;;;;;;;;\n"
    (here / "more.csv").write_bytes(more)
    before = contents(here)
    assert bring("job") == 2
    assert "all of its 26 observations stand in the job already" in capsys.readouterr().err
    assert contents(here) == before
    assert bring("job", log="more.csv") == 0
    assert "26 of 27 observations stand in the job already" in capsys.readouterr().err
    assert open_job("job").rows[-1].id == "i2-15"


@pytest.mark.parametrize("job", ["job", "new.satjob"])
def test_a_dry_run_shows_and_writes_nothing(here, job, capsys):
    before = contents(here)
    assert bring(job, "--dry-run") == 0
    lines = capsys.readouterr().out.splitlines()
    at = lines.index("Nothing is written. The first rows would be:")
    assert lines[at + 1] == "time,kind,subject,value,unit,source,note,id"
    assert lines[at + 2].startswith("2031-05-03T09:40:00-04:00,signal,satellite:east,11.2,dB,import,roof antenna")
    assert len(lines) == at + 2 + 10
    assert contents(here) == before


@pytest.mark.parametrize("job", ["job", "job.satjob", "new.satjob"])
def test_one_bad_line_and_nothing_is_written(here, job, capsys):
    assert run(["import", "job", "job.satjob"]) == 0
    data = (here / "bench-log.csv").read_bytes()
    (here / "bad.csv").write_bytes(data.replace(b"8,6;none", b"8.6;off").replace(b"09:42:25", b"25:42:25"))
    before = contents(here)
    assert bring(job, log="bad.csv") == 2
    lines = capsys.readouterr().err.splitlines()
    assert [line.partition(":")[0] for line in lines] == [
        "bad.csv, line 10, column 'Day + Clock'",
        "bad.csv, line 14, column 'West level'",
        "bad.csv, line 14, column 'Demod'",
        "bad.csv, line 14, column 'Demod'",
    ]
    assert contents(here) == before


def test_twenty_problems_are_shown_and_all_are_counted(here, capsys):
    lines = "03.05.2031;09:40:00;check;;;;;;31;perhaps;\n" * 50
    (here / "bad.csv").write_bytes((here / "bench-log.csv").read_bytes() + lines.encode())
    assert bring("job", log="bad.csv") == 2
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 21
    assert lines[-1] == "... and 30 more; 50 in all."


@pytest.mark.parametrize(
    ("words", "found"),
    [
        (["--map", "bench-log.toml", "bench-log.csv", "none"], "none: nothing there"),
        (["--map", "bench-log.toml", "none.csv", "job"], "none.csv: cannot be read"),
        (["--map", "none.toml", "bench-log.csv", "job"], "none.toml: cannot be read"),
        (["--map", "bench-log.toml", "job", "job"], "job: this is a folder"),
        (["--map", "bench-log.csv", "bench-log.csv", "job"], "bench-log.csv, line 1: not valid TOML"),
        (["--map", "bench-log.toml", "bench-log.csv", "bench-log.csv"], "not a job file"),
        (["--map", "bench-log.toml", "header.csv", "job"], "no line gave an observation (0 lines of data)"),
        (
            ["--map", "bench-log.toml", "commas.csv", "job"],
            "bench-log.toml, line 12, column 'columns': there is no co",
        ),
        (["--dry-run", "job", "x.satjob"], "--dry-run goes with --map"),
        (["bench-log.csv", "x.satjob"], "a foreign CSV log needs --map"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else None,
)
def test_bad_names_are_told_and_nothing_is_written(here, words, found, capsys):
    lines = (here / "bench-log.csv").read_text().splitlines(keepends=True)
    (here / "header.csv").write_text("".join(lines[:4]))
    (here / "commas.csv").write_text("".join(lines).replace(";", ","))
    before = contents(here)
    assert run(["import", *words]) == 2
    assert found in capsys.readouterr().err
    assert contents(here) == before


@pytest.mark.long
def test_a_long_log_goes_in_whole_within_two_minutes(here):
    """200 000 lines of which each gives four rows; every line is found again by the value that only it holds."""
    start = datetime(2031, 5, 3, 9, 0)
    head = (here / "bench-log.csv").read_text().splitlines(keepends=True)[:4]
    with (here / "long.csv").open("w") as file:
        file.writelines(head)
        for number in range(200_000):
            clock = start + timedelta(milliseconds=250 * number)
            time = f"{clock:%d.%m.%Y;%H:%M:%S},{clock.microsecond // 1000:03d}"
            file.write(f"{time};reading;11,2;---;;12,80;0,{number:06d};;;\n")
    began = perf_counter()
    assert bring("new.satjob", log="long.csv") == 0
    assert perf_counter() - began < 120
    rows = open_job("new.satjob").rows
    assert len(rows) == 800_000
    currents = [row for row in rows if row.kind == "bias"]
    assert [round(float(row.value) * 1000) for row in currents] == list(range(200_000))
    assert [row.id for row in currents[::50_000]] == [f"i1-{number + 5}.4" for number in range(0, 200_000, 50_000)]
    assert currents[-1].time == "2031-05-03T22:53:19.750-04:00"
