"""What is kept of records and masks: the same answer as without, bounded, safe among threads."""

import threading

import numpy as np
import pytest

from satdiag.gnss.bulk import BLOCK, Begun, read_on, read_sky
from satdiag.sky.estimate import estimate_sky
from satdiag.sky.mask import parked, site
from satdiag.sky.mask.memory import Memory
from satdiag.sky.mask.parked import record_in
from tests.helpers import make_job
from tests.sky.mask.made_skies import as_nmea, made_sky
from tests.sky.mask.test_mask_of_a_job import FAR, PAIR, ROW, SERVICE, YARD, wall_between


@pytest.fixture(autouse=True)
def _nothing_kept():
    for memory in (parked._BEGUN, parked._RECORDS, site._MASKS, site._STAYS):
        memory.forget()


@pytest.fixture(scope="module")
def long_record():
    return as_nmea(made_sky("blocks", 15.0, 5, 1.0).looks)


def same_rows(one, two):
    assert one.satellites == two.satellites
    for name in ("epoch", "satellite", "azimuth_deg", "elevation_deg", "cn0_db_hz", "signal"):
        np.testing.assert_array_equal(getattr(one, name), getattr(two, name))
    for name in ("time_s", "latitude_deg", "longitude_deg", "speed_m_s"):
        np.testing.assert_array_equal(getattr(one.track, name), getattr(two.track, name))


def sky(record, sheet=YARD + SERVICE, rows=ROW):
    return estimate_sky(make_job(rows, sheet, documents={"gnss-a.nmea": record, "constellation.toml": PAIR}))


# --- the memory --------------------------------------------------------------------------------------------------


def test_it_keeps_the_latest_asked_for_within_its_bounds():
    memory = Memory(2, 100.0)
    memory.keep("a", 1, 40.0)
    memory.keep("b", 2, 40.0)
    assert memory.recall("a") == 1
    memory.keep("c", 3, 40.0)
    assert [memory.recall(key) for key in "abc"] == [1, None, 3]
    memory.keep("d", 4, 90.0)
    assert [memory.recall(key) for key in "acd"] == [None, None, 4]
    memory.keep("e", 5, 101.0)
    assert (memory.recall("e"), len(memory)) == (None, 1)
    made = []
    for _ in range(2):
        assert memory.made("f", lambda: made.append(1) or "new") == "new"
    assert made == [1]


def test_threads_at_once():
    memory = Memory(3, 1e9)
    wrong = []

    def work(seed):
        random = np.random.default_rng(seed)
        for key in random.integers(0, 6, 2000).tolist():
            if memory.made(key, lambda key=key: key * 7, 1.0) != key * 7 or len(memory) > 3:
                wrong.append(key)

    threads = [threading.Thread(target=work, args=(seed,)) for seed in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []


# --- a log that grows --------------------------------------------------------------------------------------------


def test_a_log_read_on_is_the_log_read_whole(long_record):
    assert len(long_record) > 2 * BLOCK
    random = np.random.default_rng(4)
    ends = sorted(random.integers(0, len(long_record), 9).tolist())
    begun = Begun()
    for end in (0, 100, BLOCK - 1, BLOCK, BLOCK + 1, *ends, len(long_record)):
        before = begun.length
        rows, more = read_on(long_record[: max(end, before)], begun)
        same_rows(rows, read_sky(long_record[: max(end, before)]))
        assert begun.length == before  # what was given out does not change
        begun = more
    assert begun.length >= BLOCK


def test_a_record_that_grew_or_changed_is_never_out_of_date(long_record):
    half = long_record[: 2 * len(long_record) // 3]
    changed = bytearray(long_record)
    changed[300] ^= 1  # in the first block: what was read of it does not count any more
    for data in (half, long_record, bytes(changed), half):
        found = record_in({"gnss-a.nmea": data})
        for memory in (parked._BEGUN, parked._RECORDS):
            memory.forget()
        fresh = record_in({"gnss-a.nmea": data})
        np.testing.assert_array_equal(found.looks.cn0_db_hz, fresh.looks.cn0_db_hz)
        np.testing.assert_array_equal(found.track.time_s, fresh.track.time_s)
        assert found.identity == fresh.identity
        record_in({"gnss-a.nmea": half})


def test_what_was_read_is_not_read_again(long_record):
    first = record_in({"gnss-a.nmea": long_record, "job.toml": b"a"})
    assert record_in({"gnss-a.nmea": bytes(bytearray(long_record)), "job.toml": b"b"}) is first
    assert record_in({"gnss-a.nmea": long_record, "gnss-b.nmea": long_record}) is not first
    assert len(parked._RECORDS) == 2


# --- masks -------------------------------------------------------------------------------------------------------


def test_a_mask_depends_on_all_that_goes_into_it():
    record = as_nmea(wall_between(120, 240, 10.0, step_s=5.0))
    plain = sky(record)
    assert sky(record) == plain
    assert len(site._MASKS) == 1
    assert sky(record, rows=ROW + "\n1:00 place vehicle canopy").sites[0].mask != plain.sites[0].mask
    assert sky(record, sheet=YARD + FAR + SERVICE).sites[1].navigation is None
    assert len(site._MASKS) > 2
    for memory in (parked._BEGUN, parked._RECORDS, site._MASKS, site._STAYS):
        memory.forget()
    assert sky(record) == plain


def test_the_second_analysis_reads_and_fits_nothing_again(long_record, monkeypatch):
    done = []

    def noted(name, work):
        return lambda *given, **more: done.append(name) or work(*given, **more)

    for room, name in ((parked, "read_on"), (site, "fit_mask"), (site, "stays_s")):
        monkeypatch.setattr(room, name, noted(name, getattr(room, name)))
    first = sky(long_record)
    assert done.count("read_on") == done.count("fit_mask") == 1
    assert "stays_s" in done
    done.clear()
    assert sky(long_record) == first
    assert done == []
