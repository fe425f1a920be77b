"""Folder to job file to folder, for any legal job: nothing is lost, nothing is changed."""

import tempfile
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from satdiag.folder import export_files, job_hash, read_folder, write_folder
from satdiag.job import with_rows
from satdiag.opening import add_rows, open_job
from satdiag.rows import Row
from satdiag.store import check_job_file, create_job_file, read_job_file
from tests.legal_jobs import TEXT, as_normalised, legal_folders


@pytest.fixture(autouse=True, scope="module")
def _no_waiting_for_the_disk():
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("satdiag.safe_write.sync", lambda path: None)
        patch.setattr("satdiag.folder.sync", lambda path: None)
        yield


EVERYDAY, MANY = 50, 500
sizes = pytest.mark.parametrize(
    "count", [EVERYDAY, pytest.param(MANY, marks=[pytest.mark.long, pytest.mark.timeout(1800)])]
)


def so_many(count):
    """How many examples, however long they take."""
    return settings(max_examples=count, deadline=None, suppress_health_check=list(HealthCheck))


def put(files, folder):
    """Write files as they are."""
    folder.mkdir()
    for name, data in files.items():
        (folder / name).write_bytes(data)
    return folder


@sizes
def test_folder_job_file_folder_is_lossless(count):
    so_many(count)(given(legal_folders())(is_lossless))()


def is_lossless(files):
    """The two forms hold the same, there and back."""
    with tempfile.TemporaryDirectory() as temporary:
        here = Path(temporary)
        job = read_folder(put(files, here / "in"))
        create_job_file(here / "x.satjob", job)
        stored = read_job_file(here / "x.satjob")
        write_folder(export_files(stored), here / "out")
        written = {path.name: path.read_bytes() for path in (here / "out").iterdir()}
        again = read_folder(here / "out")
        assert check_job_file(here / "x.satjob") == []
    assert dict(sorted(written.items())) == as_normalised(files)
    assert job_hash(job) == job_hash(stored) == job_hash(again)
    assert job.sheet == stored.sheet
    assert job.rows == stored.rows
    assert (job.lineup, job.horizon, job.obstacles) == (stored.lineup, stored.horizon, stored.obstacles)
    pd.testing.assert_frame_equal(job.observations, stored.observations)
    assert len(job.log) + job.overridden_rows <= len(job.rows)


@sizes
def test_a_row_added_to_either_form_gives_the_same_job(count):
    more = st.sampled_from(["", "30"]), st.sampled_from(["", "new:1"])
    so_many(count)(given(legal_folders(), TEXT, *more)(takes_a_row))()


def takes_a_row(files, text, span_s, row_id):
    """A row added to the file, to the folder, or to the job read from it: the same job."""
    row = Row("2031-05-03T13:40:00Z", "note", "", text, source="hand", span_s=span_s, id=row_id)
    with tempfile.TemporaryDirectory() as temporary:
        here = Path(temporary)
        folder = put(files, here / "in")
        before = read_folder(folder)
        create_job_file(here / "x.satjob", before)
        in_file = add_rows(here / "x.satjob", [row])
        in_folder = add_rows(folder, [row])
        found = [open_job(here / "x.satjob"), open_job(folder), in_file, in_folder, with_rows(before, [row])]
        after = (folder / "observations.csv").read_bytes()
    assert len({job_hash(job) for job in found}) == 1
    assert [old._replace(raw=None) for old in found[0].rows[:-1]] == [old._replace(raw=None) for old in before.rows]
    assert found[0].rows[-1] == row
    if found[0].header == before.header:
        assert after.startswith(files["observations.csv"])
