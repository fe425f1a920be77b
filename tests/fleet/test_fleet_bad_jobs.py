"""Jobs that hang, kill their process or take all memory: each is a row of its own, and the others go on."""

import json
import multiprocessing
import operator
import os
import signal
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

import pytest

from satdiag.errors import SatdiagError
from satdiag.fleet import processes
from satdiag.fleet.crew import DIED, took_too_long
from satdiag.fleet.dataset import read_table
from satdiag.fleet.processes import MOST_LOST_AT_START, ProcessCrew
from satdiag.fleet.run import Wishes, run_fleet
from satdiag.fleet.task import NO_MEMORY
from tests.fleet.rows import quick_job
from tests.recorder.devices import at_some_pace

ROOT = Path(__file__).parents[2]

# in every process that imports this as its main module, jobs of these names do what their name says
BADLY = """
import os, signal, sys, time
from pathlib import Path
from satdiag.fleet import task
well = task.analyse_one

def badly(request):
    name = Path(request.path).name
    with open(os.environ["TRIES"], "a") as tries:
        tries.write(name + "\\n")
    if "hangs" in name:
        signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGTERM})  # nothing but the end of the process ends it
        time.sleep(1e6)
    if "dies" in name:
        os.kill(os.getpid(), signal.SIGKILL)  # what Linux does to a process when memory has run out
    if "slow" in name:
        time.sleep(1.0)
    if "large" in name:
        import resource
        resource.setrlimit(resource.RLIMIT_DATA, (1 << 30, 1 << 30))
        from satdiag import analysis
        analysis.analyse = lambda *args, **more: bytearray(1 << 40)
    return well(request)

task.analyse_one = badly
if __name__ == "__main__":
    from satdiag.cli import main
    main()
"""


def run_badly(folder, *more):
    """`satdiag fleet` over folder/jobs, with what it printed, its tries of each job, and its seconds."""
    script, tries = folder / "badly.py", folder / "tries"
    script.write_text(BADLY)
    tries.write_text("")
    words = ["fleet", str(folder / "jobs"), "--to", str(folder / "out"), "--json", *more]
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "TRIES": str(tries)}
    begun = time.monotonic()
    done = subprocess.run(
        [sys.executable, str(script), *words], cwd=ROOT, env=environment, capture_output=True, text=True, timeout=300
    )
    assert done.returncode == 1, done.stderr
    return json.loads(done.stdout), Counter(tries.read_text().split()), time.monotonic() - begun


@pytest.mark.skipif(os.name == "nt", reason="the jobs of this test act by signals and limits of POSIX")
def test_jobs_that_hang_die_or_take_all_memory_are_rows_of_their_own_and_the_others_go_on(tmp_path):
    at_some_pace(lambda slowly: bad_jobs_and_good_ones(tmp_path / f"{slowly:g}", 0.05 * slowly))


def bad_jobs_and_good_ones(folder, most_minutes):
    """No job may take longer than so many minutes."""
    folder.mkdir()
    for number, name in enumerate(["0-dies", "1-hangs", "2", "3-large", "4", "5", "6-hangs", "7", "8"]):
        quick_job(folder / "jobs" / name, number)
    told, tries, _ = run_badly(folder, "--workers", "2", "--most-minutes", f"{most_minutes:g}")
    assert (told["done"], told["bad"], told["stopped"]) == (5, 4, False)
    rows = {Path(row["source"]).name: row["error"] for row in read_table(folder / "out", "jobs").to_pylist()}
    assert rows == {
        "0-dies": DIED,
        "1-hangs": took_too_long(60 * most_minutes),
        "6-hangs": took_too_long(60 * most_minutes),
        "3-large": NO_MEMORY,
        **dict.fromkeys(("2", "4", "5", "7", "8")),
    }
    assert rows["1-hangs"].startswith(f"took longer than {most_minutes:g} minutes")
    assert tries["0-dies"] == 2  # once with others beside it, once alone
    assert tries["1-hangs"] == tries["6-hangs"] == tries["3-large"] == 1


@pytest.mark.long
@pytest.mark.skipif(os.name == "nt", reason="the jobs of this test act by signals of POSIX")
def test_bad_jobs_are_not_tried_again_until_it_is_wished(tmp_path):
    for number, name in enumerate(["0-dies", "1"]):
        quick_job(tmp_path / "jobs" / name, number)
    run_badly(tmp_path, "--workers", "1")
    told, tries, _ = run_badly(tmp_path, "--workers", "1")
    assert (told["bad_before"], told["skipped"], tries) == (1, 1, {})
    _, tries, _ = run_badly(tmp_path, "--workers", "1", "--retry")
    assert tries == {"0-dies": 2}


@pytest.mark.long
@pytest.mark.skipif(os.name == "nt", reason="the jobs of this test act by signals of POSIX")
def test_the_limit_counts_for_each_job_and_not_for_all_together(tmp_path):
    for number in range(9):
        quick_job(tmp_path / "jobs" / f"{number}-slow", number)
    quick_job(tmp_path / "jobs" / "9-dies", 9)
    told, _, spent_s = run_badly(tmp_path, "--workers", "1", "--most-minutes", "0.1")
    assert (told["done"], told["bad"]) == (9, 1)
    assert spent_s > 9.0


def test_where_every_process_ends_as_it_starts_the_run_says_so(tmp_path, monkeypatch):
    quick_job(tmp_path / "jobs" / "0", 1)
    started = []

    def counted(context):
        started.append(kept(context))
        return started[-1]

    kept = processes.Worker
    monkeypatch.setattr(processes, "Worker", counted)
    monkeypatch.setattr("satdiag.fleet.worker.work", operator.truth)  # all that a process does: it is over at once
    with pytest.raises(SatdiagError, match="end as soon as they start"):
        run_fleet([str(tmp_path / "jobs")], tmp_path / "out", lambda: ProcessCrew(1))
    assert len(started) == MOST_LOST_AT_START
    assert multiprocessing.active_children() == []


@pytest.mark.skipif(os.name == "nt", reason="a process is stopped by a signal of POSIX")
def test_a_process_that_does_not_end_when_it_is_told_to_holds_nobody_up(monkeypatch):
    """As one that waits in the kernel for a disk that is gone; here its end is only kept from it."""
    monkeypatch.setattr("satdiag.fleet.worker.KILL_S", 0.2)
    worker = processes.Worker(processes.get_ready())
    until = time.monotonic() + 60.0
    while not worker.pipe.poll(1.0):
        assert time.monotonic() < until
    end = worker.process.kill
    monkeypatch.setattr(worker.process, "kill", lambda: None)
    os.kill(worker.process.pid, signal.SIGSTOP)
    try:
        worker.kill()  # one that waited for the end would wait until pytest's limit
        assert worker.process not in multiprocessing.active_children()
    finally:
        end()
        worker.process.join()


@pytest.mark.skipif(sys.platform != "linux", reason="oom_score_adj is Linux's")
def test_a_worker_is_the_first_to_go_when_memory_runs_out(tmp_path):
    """By the value that proc(5) says makes a process the likeliest; the kernel's choice itself is not tried here."""
    quick_job(tmp_path / "jobs" / "0", 1)
    crew = ProcessCrew(1)
    seen = []

    def tell(tally):
        places = [Path(f"/proc/{child.pid}/oom_score_adj") for child in multiprocessing.active_children()]
        seen.extend(place.read_text() for place in places)

    run_fleet([str(tmp_path / "jobs")], tmp_path / "out", lambda: crew, wishes=Wishes(tell=tell))
    assert "1000" in {value.strip() for value in seen}
    assert Path("/proc/self/oom_score_adj").read_text().strip() != "1000"
