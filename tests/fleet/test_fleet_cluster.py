"""A run on a real Dask cluster: a scheduler and workers as processes of their own, one of them killed midway."""

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

from satdiag.errors import SatdiagError
from satdiag.fleet.cluster import ClusterCrew
from satdiag.fleet.crew import DIED, took_too_long
from satdiag.fleet.dataset import read_table
from satdiag.fleet.run import Wishes, run_fleet
from satdiag.fleet.task import Setting
from tests.fleet.rows import Here, quick_job, rows_of

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_logs"
NAMES = ("node-unpowered", "ring-broken-open", "not-configured", "partial-package")
LONG_S = 120.0


# what each worker does before it takes work: jobs of these names take longer
SLOWLY = """
import os, time
from satdiag.fleet import cluster
from satdiag.fleet.task import analyse_one as well  # this may be read twice

def slowly(request):
    name = os.path.basename(request.path)
    time.sleep(1e6 if "hangs" in name else 5.0 if "slow" in name else 0.0)
    return well(request)

cluster.analyse_one = slowly
"""


class Cluster:
    """A scheduler and workers, if not said without a nanny, so that the process killed is the one that works."""

    def __init__(self, folder, workers, home=ROOT, nanny="--no-nanny", slowly=False, **more):
        self._home, self._more = home, more
        if slowly:
            (folder / "slowly.py").write_text(SLOWLY)
            self._more["DASK_DISTRIBUTED__WORKER__PRELOAD"] = json.dumps([str(folder / "slowly.py")])
        self._file = folder / "scheduler.json"
        self._log = open(folder / "cluster.log", "wb")  # noqa: SIM115 (closed by `close`)
        self._scheduler = self._start("scheduler", "--port", "0", "--host", "127.0.0.1")
        until = time.monotonic() + LONG_S
        while not self._file.exists() or not self._file.read_text():
            assert time.monotonic() < until
            time.sleep(0.05)
        self.address = json.loads(self._file.read_text())["address"]
        self.workers = [self._start("worker", "--nthreads", "1", nanny) for _ in range(workers)]

    def _start(self, what, *more):
        words = ("--scheduler-file", str(self._file), "--no-dashboard", *more)
        command = [sys.executable, "-m", f"distributed.cli.dask_{what}", *words]
        environment = {**os.environ, "PYTHONPATH": str(self._home), **self._more}
        return subprocess.Popen(command, stdout=self._log, stderr=self._log, env=environment, cwd=self._file.parent)

    def close(self):
        for process in (*self.workers, self._scheduler):
            process.kill()
            process.wait()
        self._log.close()


@pytest.fixture(autouse=True)
def _patience(monkeypatch):
    """A busy computer takes its time until a worker is there."""
    monkeypatch.setattr("satdiag.fleet.cluster.CONNECT_S", LONG_S)


@pytest.fixture
def cluster(tmp_path):
    found = Cluster(tmp_path, 2)
    yield found
    found.close()


@pytest.fixture
def jobs(tmp_path):
    for name in NAMES:
        shutil.copytree(SAMPLES / name, tmp_path / "jobs" / name)
    (tmp_path / "jobs" / "torn.satjob").write_bytes(b"SQLite format 3\0 and then nothing")
    return tmp_path / "jobs"


def test_a_cluster_that_loses_a_worker_gives_what_one_process_of_this_computer_gives(cluster, jobs, tmp_path):
    crew = ClusterCrew(cluster.address, Setting())
    killed = []

    def tell(tally):
        if tally.done + tally.bad >= 1 and not killed:
            busy = [address for address, tasks in crew.client.processing().items() if tasks]
            killed.append(busy[0])
            os.kill(pids[busy[0]], signal.SIGKILL)

    crew.client.wait_for_workers(2, timeout=LONG_S)
    pids = crew.client.run(os.getpid)
    tally = run_fleet([str(jobs)], tmp_path / "far", lambda: crew, wishes=Wishes(tell=tell))
    assert [worker.wait(LONG_S) for worker in cluster.workers if worker.pid == pids[killed[0]]] == [-signal.SIGKILL]
    assert (tally.done, tally.bad) == (len(NAMES), 1)
    near = run_fleet([str(jobs)], tmp_path / "near", Here)
    assert (near.done, near.bad) == (len(NAMES), 1)
    far_rows, near_rows = rows_of(tmp_path / "far"), rows_of(tmp_path / "near")
    assert [Path(row["source"]).name for row in far_rows["jobs"] if row["error"]] == ["torn.satjob"]
    assert len(far_rows["jobs"]) == len(NAMES) + 1
    assert far_rows == near_rows


@pytest.mark.long
def test_a_job_with_which_workers_are_lost_is_tried_alone_and_then_given_up(tmp_path):
    cluster = Cluster(tmp_path, 4, slowly=True, DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES="0")
    try:
        for number in range(6):
            quick_job(tmp_path / "jobs" / (f"{number}-slow" if number == 3 else f"{number}"), number)
        crew = ClusterCrew(cluster.address, Setting())
        crew.client.wait_for_workers(4, timeout=LONG_S)
        pids = crew.client.run(os.getpid)
        killed = []

        def kill_busy(most):
            busy = [address for address, tasks in crew.client.processing().items() if tasks and address not in killed]
            if busy and len(killed) < most:
                killed.append(busy[0])
                os.kill(pids[busy[0]], signal.SIGKILL)

        named = [str(tmp_path / "jobs")]
        tally = run_fleet(named, tmp_path / "out", lambda: crew, wishes=Wishes(tell=lambda tally: kill_busy(1)))
        assert len(killed) == 1
        assert (tally.done, tally.bad) == (6, 0)
        assert rows_of(tmp_path / "out") == rows_of_one(named, tmp_path / "near")
        crew = ClusterCrew(cluster.address, Setting())
        slow = [str(tmp_path / "jobs" / "3-slow")]
        tally = run_fleet(slow, tmp_path / "one", lambda: crew, wishes=Wishes(tell=lambda _: kill_busy(3)))
        assert len(killed) == 3
        assert (tally.done, tally.bad) == (0, 1)
        assert [bad.error for bad in tally.first_bad] == [DIED]
    finally:
        cluster.close()


@pytest.mark.long
@pytest.mark.parametrize("nanny", ["--nanny", "--no-nanny"])
def test_a_job_that_hangs_is_given_up_and_its_worker_is_started_anew_where_that_is_possible(nanny, tmp_path):
    cluster = Cluster(tmp_path, 2, nanny=nanny, slowly=True)
    try:
        for number, name in enumerate(("0", "1-hangs", "2", "3", "4")):
            quick_job(tmp_path / "jobs" / name, number)
        crew = ClusterCrew(cluster.address, Setting(), most_s=15.0)
        crew.client.wait_for_workers(2, timeout=LONG_S)
        before = set(crew.client.run(os.getpid).values())
        after = set()

        def tell(tally):
            if tally.bad and not after:
                crew.client.wait_for_workers(2, timeout=LONG_S)
                after.update(crew.client.run(os.getpid).values())

        tally = run_fleet([str(tmp_path / "jobs")], tmp_path / "out", lambda: crew, wishes=Wishes(tell=tell))
    finally:
        cluster.close()
    assert (tally.done, tally.bad) == (4, 1)
    assert [bad.error for bad in tally.first_bad] == [took_too_long(15.0)]
    assert tally.seconds < LONG_S
    assert len(before & after) == (1 if nanny == "--nanny" else 2)


def rows_of_one(named, out):
    run_fleet(named, out, Here)
    return rows_of(out)


@pytest.mark.long
def test_where_all_workers_are_lost_the_run_ends_and_goes_on_later(tmp_path, monkeypatch):
    monkeypatch.setattr("satdiag.fleet.cluster.GONE_S", 6.0)
    cluster = Cluster(tmp_path, 1)
    try:
        for number in range(6):
            quick_job(tmp_path / "jobs" / f"{number}", number)

        def tell(tally):
            if tally.done >= 1 and cluster.workers[0].poll() is None:
                cluster.workers[0].kill()

        named = [str(tmp_path / "jobs")]
        with pytest.raises(SatdiagError, match="its workers or its scheduler are gone"):
            run_fleet(
                named, tmp_path / "out", lambda: ClusterCrew(cluster.address, Setting()), wishes=Wishes(tell=tell)
            )
    finally:
        cluster.close()
    there = len(read_table(tmp_path / "out", "jobs"))
    assert 0 < there < 6
    tally = run_fleet(named, tmp_path / "out", Here)
    assert (tally.done, tally.skipped) == (6 - there, there)


def test_a_worker_of_another_version_is_refused(tmp_path):
    shutil.copytree(ROOT / "satdiag", tmp_path / "old" / "satdiag", ignore=shutil.ignore_patterns("__pycache__"))
    first = tmp_path / "old" / "satdiag" / "__init__.py"
    first.write_text(first.read_text("utf-8").replace('__version__ = "', '__version__ = "0.0.'), "utf-8")
    cluster = Cluster(tmp_path, 1, tmp_path / "old")
    try:
        with pytest.raises(SatdiagError, match=r"worker would not give the same results: satdiag 0\.0\."):
            ClusterCrew(cluster.address, Setting())
    finally:
        cluster.close()


def test_where_no_scheduler_answers_the_run_says_so(tmp_path, monkeypatch, capsys):
    from satdiag.cli import run

    monkeypatch.setattr("satdiag.fleet.cluster.CONNECT_S", 1.0)
    with socket.socket() as taken:  # a port that is bound and does not listen answers nobody
        taken.bind(("127.0.0.1", 0))
        address = f"tcp://127.0.0.1:{taken.getsockname()[1]}"
        assert run(["fleet", str(SAMPLES), "--to", str(tmp_path / "out"), "--scheduler", address]) == 2
    assert f"{address}: no Dask scheduler answers there" in capsys.readouterr().err
    assert list(tmp_path.rglob("*.parquet")) == []
