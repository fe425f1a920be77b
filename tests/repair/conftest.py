"""What the tests of the repair share: one job file of 2,000 rows, its bytes, and where its rows lie."""

import os
from typing import NamedTuple

import pytest

from satdiag.job import Job
from tests.repair.damaged import Pages, has_dbstat, pages_of, write_job_file


class Recorded(NamedTuple):
    """A sound job file: its bytes, the job in it, its rows by id with their numbers, and its pages."""

    data: bytes
    job: Job
    rows: dict
    pages: Pages | None


@pytest.fixture(scope="session")
def recorded(tmp_path_factory):
    place = tmp_path_factory.mktemp("recorded") / "demo.satjob"
    job = write_job_file(place)
    rows = {row.id: (number, row) for number, row in enumerate(job.rows, 1)}
    return Recorded(place.read_bytes(), job, rows, pages_of(place) if has_dbstat() else None)


@pytest.fixture
def damaged(tmp_path):
    """Puts bytes into a file to be repaired; the test fails if the file, its time or its folder are not as before."""
    place = tmp_path / "in" / "demo.satjob"
    place.parent.mkdir()
    before = {}

    def write(data, **beside):
        place.write_bytes(data)
        for end, more in beside.items():
            (place.parent / f"demo.satjob-{end}").write_bytes(more)
        for path in place.parent.iterdir():
            os.utime(path, ns=(1, 10**18))
            before[path.name] = (path.read_bytes(), path.stat().st_mtime_ns)
        return place

    yield write
    assert {path.name: (path.read_bytes(), path.stat().st_mtime_ns) for path in place.parent.iterdir()} == before
