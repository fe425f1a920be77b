"""kill -9 at random moments under load: every acknowledged row is there, none is doubled, and recording goes on.

The acknowledgements are read by this process through a pipe; the recording is a real `satdiag record` in another one.
"""

import random
import sys

import pytest

from satdiag.recorder.raw_lines import DOCUMENT, decode_document
from satdiag.store import check_job_file, read_job_file
from tests.recorder.recording import Recording, Talker, new_job_file

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="kill -9 is a POSIX signal")
LINES_PER_S = 2000


def kill_and_compare(folder, kills, seed, lines_per_s=LINES_PER_S):
    """(rows acknowledged, acknowledged rows missing, rows doubled, rows in the file) after so many kills."""
    place = new_job_file(folder / "killed.satjob")
    draw = random.Random(seed)
    talker = Talker(lines_per_s, seed)
    acknowledged = []
    try:
        for _ in range(kills):
            recording = Recording(place, "--from", talker.spec)
            try:
                recording.wait_for(draw.randint(1, 400))
                recording.process.wait(draw.uniform(0.0, 0.4)) if draw.random() < 0.5 else None
            except Exception as error:
                if type(error).__name__ != "TimeoutExpired":
                    raise
            finally:
                recording.kill()
            acknowledged += recording.acknowledged
        recording = Recording(place, "--from", talker.spec)
        recording.wait_for(100)
        assert recording.stop() == 0, recording.messages
        acknowledged += recording.acknowledged
    finally:
        talker.close()
    assert check_job_file(place) == []
    assert [path.name for path in folder.iterdir()] == ["killed.satjob"]
    job = read_job_file(place)
    ids = [row.id for row in job.rows]
    heard = [row.value for row in job.rows if row.kind == "signal"]
    raw = [line for name in job.documents if DOCUMENT.fullmatch(name) for line in lines_of(job, name)]
    assert {name for line in raw for name in line.rows} == {row.id for row in job.rows if row.kind == "signal"}
    missing = set(acknowledged) - set(ids)
    doubled = len(ids) - len(set(ids)) + len(heard) - len(set(heard))
    gaps = [row for row in job.rows if row.kind == "gap" and "ended without closing" in row.note]
    assert len(gaps) == kills
    return len(acknowledged), len(missing), doubled, len(ids)


def lines_of(job, name):
    return list(decode_document(name, job.documents[name]))


def test_five_kills_lose_nothing_that_was_acknowledged(tmp_path):
    acknowledged, missing, doubled, rows = kill_and_compare(tmp_path, 5, seed=1)
    print(f"5 kills: {acknowledged} rows acknowledged, {missing} missing, {doubled} doubled, {rows} in the file")
    assert (missing, doubled) == (0, 0)
    assert acknowledged > 500


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_two_hundred_kills_lose_nothing_that_was_acknowledged(tmp_path, capsys):
    totals = [0, 0, 0, 0]
    for part in range(10):
        folder = tmp_path / str(part)
        folder.mkdir()
        totals = [sum(pair) for pair in zip(totals, kill_and_compare(folder, 20, seed=100 + part), strict=True)]
    with capsys.disabled():
        print("\n200 kills: {} rows acknowledged, {} missing, {} doubled, {} in the files".format(*totals))
    assert totals[1:3] == [0, 0]
