"""The levels of the last half hour: as NumPy finds them in all rows, in bounded memory, over a real deck."""

from __future__ import annotations

import asyncio
import time
import tracemalloc
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from satdiag.live.history import BUCKET_S, MOST_POINTS, WINDOW_S, History
from satdiag.rows import Row, parse_time_us
from tests.live.rigs import CODE, PAGE, browser, new_job, running, tap, until
from tests.recorder.conftest import nothing_is_left  # noqa: F401

BASE = datetime(2031, 5, 3, 14, 0, tzinfo=UTC)


def level(at_s, value, path="satellite:east", unit="dB", identifier=""):
    text = (BASE + timedelta(seconds=at_s)).isoformat().replace("+00:00", "Z")
    return Row(text, "signal", path, str(value), "" if value == "unreadable" else unit, "serial:bench", id=identifier)


def us(at_s):
    return parse_time_us(level(at_s, 0).time, None)


def told(rows, now_s):
    history = History(None)
    history.take(rows)
    return history.to_dict(us(now_s))


def test_points_and_spread_are_those_of_all_readings():
    """The reference is NumPy over the same readings, cut into the same buckets."""
    draw = np.random.default_rng(5)
    at_s = np.sort(draw.uniform(0, 1500, 9000))
    values = np.round(draw.normal(10, 2, len(at_s)), 2)
    (path,) = told([level(*pair) for pair in zip(at_s, values, strict=True)], 1500)["paths"]
    place = (at_s // BUCKET_S).astype(int)
    groups = [values[place == one] for one in np.unique(place)]
    assert path["low"] == [group.min() for group in groups]
    assert path["median"] == pytest.approx([np.median(group) for group in groups])
    assert path["high"] == [group.max() for group in groups]
    assert path["spread"] == pytest.approx([values.min(), np.median(values), values.max(), len(values)])
    middles = (np.unique(place) + 0.5) * BUCKET_S - 1500
    assert path["at_s"] == pytest.approx(np.minimum(middles, 0), abs=0.051)


def test_there_are_600_points_at_most_and_none_older_than_half_an_hour():
    (path,) = told([level(n, n) for n in range(2400)], 2400)["paths"]
    assert MOST_POINTS - 2 <= len(path["at_s"]) <= MOST_POINTS
    assert -WINDOW_S <= min(path["at_s"]) < -WINDOW_S + 2 * BUCKET_S
    assert path["spread"][2:] == [2399, pytest.approx(WINDOW_S, abs=2 * BUCKET_S)]


@pytest.mark.long
def test_half_an_hour_of_fifty_rows_a_second_is_small():
    history, count = History(None), 50 * 2400
    texts = [(BASE + timedelta(seconds=n / 50)).isoformat().replace("+00:00", "Z") for n in range(count)]
    tracemalloc.start()
    before = tracemalloc.get_traced_memory()[0]
    history.take(Row(text, "signal", "any", str(n % 17), "dB", id=f"r1-{n}") for n, text in enumerate(texts))
    parse_time_us.cache_clear()
    used = tracemalloc.get_traced_memory()[0] - before
    tracemalloc.stop()
    begun_s = time.perf_counter()
    (path,) = history.to_dict(us(2400))["paths"]
    took_ms = 1000 * (time.perf_counter() - begun_s)
    print(f"40 min at 50 rows/s: {used / 1e6:.2f} MB, told in {took_ms:.0f} ms the first time")
    assert len(path["at_s"]) <= MOST_POINTS
    assert min(path["at_s"]) >= -WINDOW_S
    assert 50 * (WINDOW_S - 2 * BUCKET_S) <= path["spread"][3] <= 50 * WINDOW_S
    assert used < 4e6


def test_a_faster_stream_is_thinned_and_its_median_stays():
    """1,000 rows a second; the readings rise evenly, so the median of a bucket is that of its middle."""
    (path,) = told([level(n / 1000, n / 1000) for n in range(6000)], 6)["paths"]
    assert path["median"] == pytest.approx([1.5, 4.5], abs=0.05)
    assert path["spread"][3] <= 2 * 257


def test_unreadable_is_a_gap_and_so_is_a_minute_without_a_reading():
    rows = [level(0, 7), level(4, "unreadable"), level(8, 9), level(8.5, "unreadable"), level(80, 5)]
    (path,) = told(rows, 80)["paths"]
    assert path["median"] == [7, None, 9, None, 5]
    assert path["at_s"] == sorted(path["at_s"])
    assert path["spread"] == [5, 7, 9, 3]
    (alone,) = told([level(0, "unreadable")], 1)["paths"]
    assert (alone["median"], alone["spread"]) == ([None], None)


def test_what_was_taken_back_is_gone():
    rows = [level(0, 7, identifier="a"), level(1, 99, identifier="b"), level(10, 8, identifier="c")]
    back = Row(rows[0].time, "withdraw", "row", "b")
    (path,) = told([*rows, back], 10)["paths"]
    assert (path["high"], path["spread"]) == ([7, 8], [7, 7.5, 8, 2])
    assert told([*rows, *[back._replace(value=one) for one in "abc"]], 10)["paths"] == []


def test_another_unit_begins_a_path_anew_and_paths_are_bounded():
    (path,) = told([level(0, 11), level(5, 3, unit="bars/5")], 5)["paths"]
    assert (path["unit"], path["median"]) == ("bars/5", [3])
    assert len(told([level(0, 1, path=f"satellite:s{n}") for n in range(100)], 0)["paths"]) == 24


def test_the_half_hour_ends_now_or_where_the_log_is_of_another_day_at_its_latest_level():
    rows = [level(0, 1), level(1500, 2)]
    late = told(rows, 1500 + 900)
    assert (late["end"], late["paths"][0]["at_s"]) == ("now", [pytest.approx(-898.5, abs=0.1)])
    another = told(rows, 1500 + 86400)
    assert another["end"] == "newest"
    assert (another["paths"][0]["at_s"][0], another["paths"][0]["at_s"][-1]) == (-1498.5, 0)
    assert told([], 0) == {"end": "now", "window_s": WINDOW_S, "paths": []}


def test_a_log_of_a_later_day_gives_way_to_what_is_read_now():
    history = History(None, lambda: us(0))
    history.take([level(86400 + n, 5) for n in range(9)])
    assert history.to_dict(us(0))["end"] == "newest"
    history.take([level(0, 7), level(-3, 9)])
    found = history.to_dict(us(1))
    assert (found["end"], found["paths"][0]["spread"]) == ("now", [7, 8, 9, 2])
    history.take([level(-86400, 1)])
    assert history.to_dict(us(1)) == found


def test_a_deck_tells_its_levels_to_who_is_paired_and_those_that_were_there_before(tmp_path):
    place = new_job(tmp_path / "demo.satjob")

    async def ask(deck, code):
        async with browser(deck, code=code) as client:
            return await client.get("/levels")

    with running(place) as deck:
        sent = [tap("signal", "repeater", str(n), unit="bars/5") for n in (1, 2, 5)]
        assert len(deck.take_taps(PAGE, sent).saved) == 3
        back = tap("withdraw", "row", f"p-{sent[2]['key']}")
        assert deck.take_taps(PAGE, [back]).saved == [back["key"]]
        until(lambda: deck.state(None)["rows"] == 4)
        (path,) = asyncio.run(ask(deck, CODE)).json()["paths"]
        assert asyncio.run(ask(deck, None)).status_code == 401
    assert (path["path"], path["unit"], path["spread"]) == ("repeater", "bars/5", [1, 1.5, 2, 2])
    with running(place) as deck:
        assert deck.levels()["paths"][0]["spread"] == [1, 1.5, 2, 2]
