"""Edges of what stands around, entered one by one: what becomes of horizon.csv, in the file and in the analysis."""

from __future__ import annotations

import asyncio

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from satdiag.errors import BadInput
from satdiag.live.skyline import FILE, LIMITS, MOST, readings_of, with_reading, without_reading
from satdiag.store import read_job_file
from satdiag.tables import _HORIZON_CHECKS, parse_horizon
from tests.live.rigs import WATCH, browser, new_job, running
from tests.recorder.conftest import nothing_is_left  # noqa: F401

AZIMUTHS, ELEVATIONS = st.floats(0, 360), st.floats(-10, 90)


@settings(max_examples=200, deadline=None)
@given(st.lists(st.tuples(AZIMUTHS, ELEVATIONS, st.booleans()), max_size=12))
def test_after_any_changes_the_table_is_sound_and_holds_the_last_word_on_each_azimuth(changes):
    documents, held = {}, {}
    for azimuth, elevation, out in changes:
        key = round(azimuth, 1) % 360.0
        made = without_reading(documents, azimuth) if out else with_reading(documents, azimuth, elevation)
        held.pop(key, None) if out else held.update({key: round(elevation, 1)})
        documents = {FILE: made.data}
        assert bool(made.words) or out
    found = {point.azimuth_deg % 360.0: point.elevation_deg for point in readings_of(documents)}
    assert found == held
    assert len(parse_horizon(documents.get(FILE, b"azimuth_deg,elevation_deg\n").decode())) == len(held)


def test_the_limits_are_those_of_the_table():
    for name, (low, high) in LIMITS.items():
        for value, is_good in ((low, True), (high, True), (low - 0.1, False), (high + 0.1, False)):
            assert (_HORIZON_CHECKS[name](f"{value:g}") is None) is is_good
            pair = {"azimuth_deg": 1.0, "elevation_deg": 1.0, name: value}
            if is_good:
                with_reading({}, **pair)
                continue
            with pytest.raises(BadInput) as wrong:
                with_reading({}, **pair)
            assert [problem.column for problem in wrong.value.problems] == [name]


@pytest.mark.parametrize("value", [None, "12", True, float("nan"), float("inf"), [1]])
def test_what_is_no_number_is_refused(value):
    with pytest.raises(BadInput):
        with_reading({}, value, 10.0)
    with pytest.raises(BadInput):
        with_reading({}, 10.0, value)


def test_there_is_an_end_to_it():
    documents = {}
    for n in range(MOST):
        documents = {FILE: with_reading(documents, float(n), 5).data}
    with pytest.raises(BadInput):
        with_reading(documents, 0.5, 5)
    assert len(with_reading(documents, 7, 9).readings) == MOST


def test_an_edge_is_written_noted_and_taken_out_and_who_looks_on_changes_nothing(tmp_path):
    place = new_job(tmp_path / "demo.satjob")

    async def enter(deck):
        async with browser(deck) as client, browser(deck, code=WATCH) as other:
            told = [
                await client.post("/skyline", json={"azimuth_deg": azimuth, "elevation_deg": height})
                for azimuth, height in ((120, 25), (90.25, 10.5), (300, 91))
            ]
            gone = await client.post("/skyline", json={"azimuth_deg": 120, "out": True})
            barred = await other.post("/skyline", json={"azimuth_deg": 1, "elevation_deg": 1})
            return told, gone, barred

    with running(place) as deck:
        told, gone, barred = asyncio.run(enter(deck))
    assert [one.status_code for one in told] == [200, 200, 422]
    assert told[1].json()["readings"] == [[90.2, 10.5], [120.0, 25.0]]
    assert gone.json()["readings"] == [[90.2, 10.5]]
    assert all(one.json()["analysis"] >= 1 for one in (*told[:2], gone))
    assert barred.status_code == 403
    job = read_job_file(place)
    assert [tuple(point) for point in ((p.azimuth_deg, p.elevation_deg) for p in job.horizon)] == [(90.2, 10.5)]
    notes = [row.value for row in job.rows if row.kind == "note"]
    assert notes == ["skyline: 120 deg: 25 deg", "skyline: 90.2 deg: 10.5 deg", "skyline: 120 deg taken out"]
