"""A recorder that is killed or whose computer loses power: every row that it said was written is there, once."""

import os
import random
import shutil
import signal
import sys
import time
from contextlib import ExitStack

import pytest

from satdiag.store import check_job_file, create_job_file, open_live, read_job_file
from tests.helpers import make_job
from tests.store.files import Writer, batch, digests_by_hand, names, recorded

FRAME = 24 + 4096  # https://sqlite.org/fileformat2.html#the_write_ahead_log


@pytest.fixture
def place(tmp_path):
    (tmp_path / "live").mkdir()
    create_job_file(tmp_path / "live" / "demo.satjob", make_job("0:00 account service confirmed"))
    return tmp_path / "live" / "demo.satjob"


def killed_again_and_again(place, times, seed):
    """Kill a recorder at random instants, each time going on with the same file."""
    rng = random.Random(seed)
    stored = 0
    with ExitStack() as running:
        following = running.enter_context(Writer(place, pause_s=0.001, wait=True))
        for number in range(times):
            writer = following
            if number + 1 < times:
                following = running.enter_context(Writer(place, pause_s=0.001, wait=True))  # loads meanwhile
            writer.go()
            if rng.random() < 0.75:
                writer.until(stored + 1)
            time.sleep(rng.uniform(0, 0.15))
            writer.kill()
            stored = _looked_into(place, writer, stored)
    assert stored >= times // 2  # some hundreds on a computer that does nothing else
    with open_live(place) as live:
        assert live.unclean is not None
        live.begin("r2", "2031-05-03T16:00:00Z")
        live.append(*batch(stored + 1, 5))
    assert recorded(read_job_file(place)) == stored + 5
    assert check_job_file(place) == []
    assert names(place) == ["demo.satjob"]


def _looked_into(place, writer, before):
    """How many rows the file holds after the kill, everything about it being right."""
    found = recorded(read_job_file(place))
    assert found >= max(before, writer.acked), "acknowledged rows are missing"
    right, borne = digests_by_hand(place, read_only=True)
    assert borne == right
    said = [problem.what for problem in check_job_file(place)]
    assert all("everything that was committed is there" in what for what in said), said
    assert said or not found
    return found


def test_kills_lose_nothing_and_double_nothing(place):
    killed_again_and_again(place, 5, seed=1)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(2, 12))
def test_a_hundred_kills_lose_nothing_and_double_nothing(place, seed):
    """Ten files, each killed ten times."""
    killed_again_and_again(place, 10, seed)


def images_of(writer, place, folder, pause_s, count):
    """Copies of the file and its log at instants when the writer stands still, and the rows acknowledged by then."""
    rng = random.Random(3)
    found = []
    for number in range(count):
        time.sleep(rng.uniform(0.2, 1.0) * pause_s)
        os.kill(writer.process.pid, signal.SIGSTOP)
        _, status = os.waitpid(writer.process.pid, os.WUNTRACED)
        assert os.WIFSTOPPED(status)
        writer.drain()
        image = folder / f"image {number}"
        image.mkdir()
        for end in ("", "-wal"):
            shutil.copy(f"{place}{end}", image)
        os.kill(writer.process.pid, signal.SIGCONT)
        found.append((image / place.name, writer.acked))
    writer.kill()
    return found


def rows_of(image):
    """How many rows an image holds, everything about it being right."""
    problems = check_job_file(image)
    assert len(problems) == 1, problems
    assert "ended without being closed" in problems[0].what or "rows may be missing" in problems[0].what
    right, borne = digests_by_hand(image, read_only=True)
    assert borne == right
    return recorded(read_job_file(image))


def variant(image, log, number):
    """The image with another log, in a folder of its own."""
    made = image.parent / f"variant {number}" / image.name
    made.parent.mkdir()
    shutil.copy(image, made)
    made.with_name(f"{image.name}-wal").write_bytes(log)
    return made


@pytest.mark.skipif(sys.platform == "win32", reason="no process can be stopped there")
def test_what_a_power_cut_leaves_is_a_whole_beginning(place, tmp_path):
    """Logs cut at any byte and with flipped bytes near their end: some last batches are gone, nothing else."""
    rng = random.Random(5)
    seen, shorter = 0, 0
    with Writer(place, largest=8, pause_s=0.004) as writer:
        writer.until(1)
        images = images_of(writer, place, tmp_path, 0.06, 13)
    for image, acked in images:
        whole = rows_of(image)
        assert whole >= acked > 0
        log = image.with_name(f"{image.name}-wal").read_bytes()
        # As long as nothing was folded in since the run began, every beginning of the log goes with the file.
        assert len(log) < 4000 * FRAME
        logs = [log[: rng.randrange(len(log))] for _ in range(3)] + [log[: -rng.randrange(1, FRAME)]]
        for tail in (FRAME, 5 * FRAME):
            at = len(log) - rng.randrange(1, min(tail, len(log)))
            logs.append(log[:at] + bytes([log[at] ^ 1 << rng.randrange(8)]) + log[at + 1 :])
        for number, other in enumerate(logs):
            found = rows_of(variant(image, other, number))
            assert found <= whole
            seen, shorter = seen + 1, shorter + (found < whole)
    assert seen == 78
    assert shorter > 30
    with open_live(image) as live:
        live.append(*batch(live.row_count, 5))
    assert names(image) == [image.name, *(f"variant {number}" for number in range(6))]


@pytest.mark.skipif(sys.platform == "win32", reason="no process can be stopped there")
def test_images_of_a_log_that_is_folded_in_meanwhile(place, tmp_path):
    """SQLite copies the log into the file and begins it anew, over and over, while the images are taken."""
    with Writer(place, largest=20, pause_s=0.002, pages=25) as writer:
        writer.until(1)
        images = images_of(writer, place, tmp_path, 0.05, 12)
    for image, acked in images:
        assert rows_of(image) >= acked > 0
    sizes = {image.stat().st_size for image, _ in images}
    assert len(sizes) > 3, "the file grew: the log was folded in"
