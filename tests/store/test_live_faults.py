"""Whatever breaks while a job file is recorded into: a batch that was taken is there once, one that was not is not.

In the way of https://sqlite.org/testing.html section 3: the point of failure is moved on step by step, failing once
and failing for ever.
"""

import sqlite3
import sys
from functools import partial

import pytest

from satdiag.errors import SatdiagError, StoreProblem, StoreWaits
from satdiag.store import check_job_file, create_job_file, open_live, read_job_file
from tests.helpers import make_job
from tests.store.files import batch, digests_by_hand, names, recorded, small_disk

STARTED = "2031-05-03T14:00:00Z"
CONNECT = sqlite3.connect


@pytest.fixture
def place(tmp_path):
    return fresh(tmp_path / "demo.satjob")


def fresh(place):
    """A new job file."""
    create_job_file(place, make_job("0:00 account service confirmed"))
    return place


def closed_and_right(place, count):
    """The file is at rest, holds so many rows of the recorder, and its digests are true."""
    right, found = digests_by_hand(place)
    assert found == right
    assert recorded(read_job_file(place)) == count
    assert check_job_file(place) == []
    assert names(place) == [place.name]


# --- the k-th call of SQLite fails --------------------------------------------------------------------------------


class Fault(sqlite3.Connection):
    """A connection of which the `at`th call fails, and those that follow it, `lasts` of them."""

    at, lasts, name, undoes = None, 1, "SQLITE_FULL", False
    calls = 0

    def _before(self):
        fault = type(self)
        fault.calls += 1
        if fault.at is None or not 0 <= fault.calls - fault.at < fault.lasts:
            return
        if fault.undoes and self.in_transaction:  # as SQLite does after a full disk, by itself
            super().execute("ROLLBACK")
        error = sqlite3.OperationalError(f"made to fail at call {fault.calls}")
        error.sqlite_errorname = fault.name
        raise error

    def execute(self, *arguments):
        """As ever, or fail."""
        self._before()
        return super().execute(*arguments)

    def executemany(self, *arguments):
        """As ever, or fail."""
        self._before()
        return super().executemany(*arguments)


@pytest.fixture
def fault(monkeypatch):
    class ThisFault(Fault):
        pass

    monkeypatch.setattr(sqlite3, "connect", partial(CONNECT, factory=ThisFault))
    return ThisFault


def record(place, tries=2):
    """Record three batches, each tried again if it must wait; how many rows were taken and whether all went well."""
    taken = 0
    try:
        live = open_live(place)
    except SatdiagError:
        return 0, False
    try:
        live.begin("r1", STARTED)
        for size in (3, 5, 2):
            rows, parts = batch(taken + 1, size)
            for left in reversed(range(tries)):
                try:
                    live.append(rows, parts)
                    break
                except StoreWaits:
                    if not left:
                        raise
            taken += size
            assert live.row_count == taken + 1
    except SatdiagError:
        live.close(clean=False)
        return taken, False
    live.close()
    return taken, True


def test_without_a_fault_the_recording_is_whole(place, fault):
    assert record(place) == (10, True)
    assert fault.calls > 50
    closed_and_right(place, 10)


@pytest.mark.parametrize(
    ("name", "undoes", "lasts", "got_over"),
    [
        ("SQLITE_FULL", True, 1, 25),
        ("SQLITE_BUSY", False, 1, 25),
        ("SQLITE_BUSY", False, 3, 25),  # the taking back fails as well
        ("SQLITE_IOERR_WRITE", True, 10**6, 0),
        ("SQLITE_IOERR_FSYNC", False, 10**6, 0),
        ("SQLITE_CORRUPT", False, 1, 0),
    ],
)
def test_whichever_call_fails_what_was_taken_is_there_once(quick, fault, name, undoes, lasts, got_over):
    fault.name, fault.undoes, fault.lasts = name, undoes, lasts
    whole, k = 0, 0
    while True:
        k += 1
        place = quick / str(k) / "demo.satjob"
        place.parent.mkdir()
        fresh(place)
        fault.calls, fault.at = 0, k
        taken, is_whole = record(place)
        reached = fault.calls >= k
        whole += is_whole
        fault.at = None
        assert recorded(read_job_file(place)) == taken, f"call {k}"
        right, found = digests_by_hand(place)
        assert found == right
        assert "demo.satjob.lock" not in names(place)
        with open_live(place) as live:
            assert live.row_count == taken + 1
            live.begin("r2", STARTED)
            live.append(*batch(taken + 1, 4))
        closed_and_right(place, taken + 4)
        if not reached:
            break
    assert k > 50
    assert whole > got_over


def test_what_may_be_tried_again_and_what_may_not(place, fault):
    with open_live(place) as live:
        fault.calls = 0
        live.append(*batch(1, 3))
        calls, taken = fault.calls, 3
        for name, kind in [
            ("SQLITE_FULL", StoreWaits),
            ("SQLITE_BUSY", StoreWaits),
            ("SQLITE_IOERR_WRITE", StoreWaits),
            ("SQLITE_IOERR_FSYNC", StoreWaits),
            ("SQLITE_READONLY", StoreProblem),
            ("SQLITE_CORRUPT", StoreProblem),
            ("SQLITE_CONSTRAINT_PRIMARYKEY", StoreProblem),
        ]:
            for k in range(1, calls + 1):
                fault.name, fault.calls, fault.at = name, 0, k
                with pytest.raises(kind, match=r"demo\.satjob: ") as caught:
                    live.append(*batch(taken + 1, 3))
                assert type(caught.value) is not StoreProblem or kind is StoreProblem
                assert isinstance(caught.value, StoreWaits) == (kind is StoreWaits)
                fault.at = None
            live.append(*batch(taken + 1, 3))
            taken += 3
    closed_and_right(place, taken)


@pytest.mark.parametrize("late", [False, True], ids=["before COMMIT", "after COMMIT"])
def test_ctrl_c_in_the_middle_of_a_batch(place, monkeypatch, late):
    """A signal is often handled just when COMMIT returns: the batch is there then, and known to be."""

    class Interrupted(sqlite3.Connection):
        armed = False

        def execute(self, *arguments):
            strikes = self.armed and arguments[0] == "COMMIT"
            if strikes and not late:
                raise KeyboardInterrupt
            result = super().execute(*arguments)
            if strikes:
                raise KeyboardInterrupt
            return result

    monkeypatch.setattr(sqlite3, "connect", partial(CONNECT, factory=Interrupted))
    with open_live(place) as live:
        live.append(*batch(1, 3))
        Interrupted.armed = True
        with pytest.raises(KeyboardInterrupt):
            live.append(*batch(4, 3))
        Interrupted.armed = False
        taken = live.row_count - 1
        assert taken == (6 if late else 3)
        live.append(*batch(taken + 1, 3))
    monkeypatch.undo()
    closed_and_right(place, taken + 3)


# --- the medium fails ---------------------------------------------------------------------------------------------


@pytest.mark.skipif(sys.platform == "win32", reason="no limit on the size of files there")
def test_writes_that_end_at_any_byte(place):
    """The system lets the log grow by so many bytes and no further (man 2 setrlimit, RLIMIT_FSIZE)."""
    import resource

    log = place.with_name("demo.satjob-wal")
    taken, waited = 0, 0
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    with open_live(place) as live:
        live.begin("r1", STARTED)
        live.append(*batch(1, 20))
        taken = 20
        for more in range(0, 40_000, 977):
            rows, parts = batch(taken + 1, 20)
            resource.setrlimit(resource.RLIMIT_FSIZE, (log.stat().st_size + more, hard))
            try:
                live.append(rows, parts)
            except StoreWaits:
                waited += 1
                assert live.row_count == taken + 1
                resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
                assert recorded(read_job_file(place)) == taken
                live.append(rows, parts)
            finally:
                resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
            taken += 20
    assert waited > 10
    closed_and_right(place, taken)


def fill(live, taken):
    """Append until the disk is full, also after the log was folded in; the rows taken and the batch that waits."""
    refused = []
    while len(refused) < 3:
        rows, parts = batch(taken + 1, 200)
        try:
            live.append(rows, parts)
            taken, refused = taken + 200, []
        except StoreWaits as error:
            refused.append(str(error))
    assert all("The medium is full" in text for text in refused)
    return taken, (rows, parts)


def test_a_full_disk_loses_nothing_and_the_same_batch_goes_on_when_there_is_room(tmp_path):
    with small_disk(tmp_path) as disk:
        place = fresh(disk / "demo.satjob")
        (disk / "ballast").write_bytes(bytes(1_900_000))
        live = open_live(place)
        live.begin("r1", STARTED)
        taken, waiting = fill(live, 0)
        assert taken > 400
        right, found = digests_by_hand(place, read_only=True)
        assert found == right
        assert recorded(read_job_file(place)) == taken
        (disk / "ballast").unlink()
        live.append(*waiting)
        assert recorded(read_job_file(place)) == taken + 200
        assert live.close() == ""
        closed_and_right(place, taken + 200)


def test_a_disk_that_is_still_full_at_the_end(tmp_path):
    """Closing joins what it can; the rest is joined at the next opening."""
    with small_disk(tmp_path) as disk:
        place = fresh(disk / "demo.satjob")
        (disk / "ballast").write_bytes(bytes(1_900_000))
        live = open_live(place)
        live.begin("r1", STARTED)
        taken, _ = fill(live, 0)
        said = live.close()
        assert recorded(read_job_file(place)) == taken
        assert said == "" or "joins them" in said
        (disk / "ballast").unlink()
        with open_live(place) as live:
            live.begin("r2", STARTED)
            live.append(*batch(taken + 1, 10))
        closed_and_right(place, taken + 10)


def test_a_disk_that_is_full_at_the_beginning(tmp_path):
    with small_disk(tmp_path) as disk:
        place = fresh(disk / "demo.satjob")
        with open(disk / "ballast", "wb", buffering=0) as ballast:
            try:
                while True:
                    ballast.write(bytes(4096))
            except OSError:
                pass
        before = place.read_bytes()
        with pytest.raises(StoreProblem, match="full"):
            open_live(place)
        assert place.read_bytes() == before
        assert names(place) == ["ballast", "demo.satjob"]
        (disk / "ballast").unlink()
        with open_live(place) as live:
            live.append(*batch(1, 10))
        closed_and_right(place, 10)
