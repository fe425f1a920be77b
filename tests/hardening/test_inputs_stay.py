"""No command changes what it reads: every byte, every time of every file beside it, in both forms of a job.

The commands are taken from the command line itself: a new one must be put into one of the two tables below.
"""

import os
from pathlib import Path

import pytest

from satdiag.cli import cli, run
from satdiag.cli.fleet_cmd import PARTS
from satdiag.folder import export_files, read_folder, write_folder
from satdiag.job import build_job
from satdiag.store import create_job_file, read_job_file
from tests.bad_folders import SOUND
from tests.hardening.fuzz_commands import commands
from tests.hardening.fuzz_recorded import RAW
from tests.hardening.fuzz_texts import DOCUMENTS, job_with
from tests.legal_jobs import RING, SWEEPS

READS = {
    "analyse": [["JOB"], ["JOB", "--json"], ["JOB", "--report", "r.html"], ["JOB", "--reference", "JOB"]],
    "learn": [["JOB"], ["JOB", "--json"]],
    "confirm": [["JOB"], ["JOB", "--record", "rec.html"]],
    "verify": [["rec.html", "JOB"]],
    "compare": [["JOB", "JOB"], ["JOB", "JOB", "--report", "c.html"]],
    "redact": [["JOB", "copy"], ["JOB", "copy.satjob"]],
    "sky": [["JOB"]],
    "letter": [["JOB", "--for", "customer"], ["JOB", "--for", "dealer", "--out", "l.html"]],
    "checklist": [["JOB"], ["JOB", "--report", "k.html"]],
    "feed": [["JOB"], ["JOB", "--report", "f.html"], ["JOB", "--learn", "n.toml"]],
    "feedline": [["JOB"], ["JOB", "--report", "fl.html"]],
    "ring break": [["JOB", "--position", "receiver=0"]],
    "ring check": [["JOB"]],
    "ring plan": [["JOB"]],
    "check": [["JOB"], ["JOB", "--all"], ["JOB", "--repair", "mended"]],
    "export": [
        ["JOB", "out"],
        ["JOB", "--json", "o.json"],
        ["JOB", "--copy", "c.satjob"],
        ["JOB", "--spreadsheet", "o.csv"],
    ],
    "bundle": [["JOB", "b.zip", "--no-pdf"]],
    "fleet": [["JOB", "--to", "out"], ["JOB", "--to", "out", "--reread", "--learned"]],
    "paper": [["JOB", "--out", "p.html"]],
    "reread": [["JOB", "--profile", "bench-lines", "--source", "serial:x"]],
    "import": [["FOLDER", "new.satjob"]],
}
"""What reads a job, and how it is called; 'JOB' is the job in either form."""

NOT_TRIED = {
    "new": "makes a job",
    "note": "is told to add a row",
    "record": "is told to record into the job",
    "live": "is told to record into the job",
    "simulate": "reads no job",
    "try": "reads no job",
    "ports": "reads no job",
    "battery": "reads no job",
    "cable": "reads no job",
    "ring new": "makes a file",
    "profile check": "reads no job",
    "profile list": "reads no job",
    "profile show": "reads no job",
    "user add": "keeps a file for all jobs",
    "user export": "reads no job",
    "user import": "keeps files for all jobs",
    "user remove": "reads no job",
    "user show": "reads no job",
    "schema": "reads no job",
    "docs": "reads no job",
    "selfcheck": "reads the job that comes with satdiag",
    "fleet report": "reads a data set; a test of its own looks",
    "fleet learn": "reads a data set; a test of its own looks",
}


def test_every_command_stands_in_one_of_the_tables():
    found = {" ".join(words) for words, _ in commands(cli)}
    found |= {f"fleet {name}" for name in PARTS}
    unknown = found - READS.keys() - NOT_TRIED.keys()
    assert not unknown, "say how it reads a job, or why it does not"
    assert {name for name in READS if name not in found} == set()


@pytest.fixture
def jobs(tmp_path, monkeypatch):
    """Both forms of one job in a folder each, and the folder to work in."""
    sheet = job_with("job.toml", DOCUMENTS["job.toml"] + b'constellation = "demo-pair"\n')
    documents = {**sheet.documents, "ring.toml": RING.format(role='"x"').encode(), "feedline.s1p": SWEEPS[0]}
    job = build_job({**documents, "raw-r1.jsonl": RAW}, sheet.rows, sheet.header)
    write_folder(export_files(job), tmp_path / "one" / "job")
    (tmp_path / "two").mkdir()
    create_job_file(tmp_path / "two" / "demo.satjob", job)
    (tmp_path / "work").mkdir()
    monkeypatch.chdir(tmp_path / "work")
    monkeypatch.setenv("PATH", str(tmp_path))  # no browser
    monkeypatch.setenv("SATDIAG_USER_FOLDER", str(tmp_path / "user"))
    for place in (tmp_path / "one", tmp_path / "two"):
        for path in sorted(place.rglob("*"), reverse=True):
            path.chmod(0o555 if path.is_dir() else 0o444)
            os.utime(path, ns=(1_900_000_000_000_000_001, 1_900_000_000_000_000_003))
    yield tmp_path / "one" / "job", tmp_path / "two" / "demo.satjob"
    for path in (tmp_path / "one").rglob("*"):
        path.chmod(0o755)


def marks(place):
    """Bytes, time of change and rights of everything in the folder around a job."""
    root = place.parent
    return {
        path.relative_to(root).as_posix(): (
            path.read_bytes() if path.is_file() else None,
            path.stat().st_mtime_ns,
            path.stat().st_mode,
        )
        for path in root.rglob("*")
    }


def _call(name, words, place, folder):
    shown = {"JOB": str(place), "FOLDER": str(folder)}
    for made in ("copy", "out", "mended"):
        assert not Path(made).exists()
    return run([*name.split(), *(shown.get(word, word) for word in words)])


@pytest.mark.parametrize("both", [False, pytest.param(True, marks=pytest.mark.long)])
@pytest.mark.parametrize("name", READS)
def test_what_is_read_stays_as_it_is(jobs, name, both, capsys):
    forms = jobs if both else (jobs[sorted(READS).index(name) % 2],)
    before = [marks(place) for place in jobs]
    if name == "verify":
        assert run(["confirm", str(jobs[0]), "--record", "rec.html"]) in (0, 1)
    done = set()
    for place in forms:
        for words in READS[name] if both else READS[name][-2:]:
            done.add(_call(name, words, place, jobs[0]))
            for left in Path().iterdir():
                if left.name != "rec.html":
                    _away(left)
    assert [marks(place) for place in jobs] == before, capsys.readouterr()
    assert done & {0, 1}, capsys.readouterr().err
    assert 3 not in done, capsys.readouterr().err


def test_what_reads_a_data_set_leaves_it_and_its_jobs_as_they_are(jobs, monkeypatch, capsys):
    assert run(["fleet", *map(str, jobs), "--to", "set", "--workers", "1"]) == 0
    place = Path("set").resolve()
    before = [marks(one) for one in jobs], marks(place / "jobs")
    assert run(["fleet", "report", "set", "--to", "r.html"]) == 0
    assert run(["fleet", "learn", "set", "--dry-run"]) == 0
    assert run(["fleet", "learn", "set", "--anyway"]) == 0
    assert run(["fleet", *map(str, jobs), "--to", "set", "--workers", "1"]) == 0  # nothing to do: nothing is written
    assert ([marks(one) for one in jobs], marks(place / "jobs")) == before, capsys.readouterr()


def _away(place):
    if place.is_dir():
        for path in place.iterdir():
            _away(path)
        place.rmdir()
    else:
        place.unlink()


def test_what_writes_is_told_to_and_adds_at_the_end_alone(jobs):
    folder, file = jobs
    folder.chmod(0o755)
    (folder / "observations.csv").chmod(0o644)
    file.chmod(0o644)
    before = (folder / "observations.csv").read_bytes()
    for place in jobs:
        assert run(["note", str(place), "account", "service", "confirmed", "--at", "2031-05-03T14:00:00Z"]) == 0
    assert (folder / "observations.csv").read_bytes().startswith(before)
    assert before == SOUND["observations.csv"].encode()
    assert [row[:11] for row in read_job_file(file).rows] == [row[:11] for row in read_folder(folder).rows]
