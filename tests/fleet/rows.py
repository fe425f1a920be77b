"""What several tests of the fleet share."""

from satdiag.fleet.crew import Crew, Finished
from satdiag.fleet.dataset import read_table
from satdiag.fleet.task import analyse_one
from satdiag.folder import write_folder
from satdiag.job import OBSERVATIONS, observations_text
from tests.helpers import make_job

ORDER = {"jobs": ("key",), "channels": ("key", "channel"), "evidence": ("key", "item")}
RUN_OWN = ("written", "cpu_s", "stamp")
"""What differs from run to run."""


def rows_of(directory):
    """Every row of the three tables in one order, without what differs from run to run."""
    tables = {}
    for name, order in ORDER.items():
        table = read_table(directory, name).sort_by([(column, "ascending") for column in order])
        tables[name] = table.drop_columns([c for c in RUN_OWN if c in table.column_names]).to_pylist()
    return tables


def quick_job(folder, number):
    """A job of two rows, unlike every other one."""
    job = make_job(f"0:00 power receiver awake\n0:{number % 60:02d} channel {number + 1} authorised")
    write_folder({**job.documents, OBSERVATIONS: observations_text(job).encode()}, folder)


class Here(Crew):
    """A crew of none: each job is analysed at once in this process. For what has nothing to do with processes."""

    def __init__(self):
        self._ready = []

    most = 3

    @property
    def in_flight(self):
        return len(self._ready)

    def submit(self, request):
        self._ready.append(Finished(request, analyse_one(request)))

    def collect(self, wait_s):
        found, self._ready = self._ready, []
        return found

    def close(self, drop):
        self._ready = []
