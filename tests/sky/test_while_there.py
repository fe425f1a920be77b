"""Satellites that move, over the time a vehicle stood: against the orbit itself, looked at second by second."""

import dataclasses
import json
from datetime import datetime, timedelta

import numpy as np
import pytest

from satdiag.findings import SkyFindings, plain_values
from satdiag.report.local_time import local_time_of
from satdiag.report.sections import sections_of
from satdiag.report.sky_moved import moved_tables
from satdiag.sky.along import along
from satdiag.sky.constellation import parse_constellation
from satdiag.sky.estimate import estimate_sky
from satdiag.sky.orbits import orbits_of
from satdiag.sky.stay import stays_in
from satdiag.sky.while_there import spans_at
from tests.helpers import make_job
from tests.references import look_angles as reference
from tests.report import made

SITES = "".join(
    f'[[site]]\nname = "{name}"\nlatitude_deg = {north}\nlongitude_deg = -100.0\n'
    for name, north in (("yard", 40.0), ("far", 45.0))
)
SERVICE = '[service]\nconstellation = "constellation.toml"\n'
CONSTELLATION = 'name = "high"\ncoverage_min_elevation_deg = 10.0\n' + "".join(
    f'[[satellite]]\nname = "{name}"\nelements = "elements.tle"\n' for name in ("HIGH-A", "HIGH-B")
)
BEGIN = datetime(2026, 1, 1)
# A wall over the east, 60 deg high.
WALL = b"azimuth_from_deg,azimuth_to_deg,distance_m,height_m,note\n0,180,10,17.32,wall\n"


def job_of(hours, extra="", **documents):
    """A job with a row each half hour from 2026-01-01 00:00 UTC, at the first site unless rows say otherwise."""
    files = {name.replace("_", "."): data for name, data in documents.items()}
    files |= {"constellation.toml": CONSTELLATION.encode(), "elements.tle": reference.TLE.encode()}
    steps = "\n".join(f"{n // 2}:{30 * (n % 2):02d}:00 power receiver awake" for n in range(2 * hours + 1))
    job = make_job(f"{steps}\n{extra}", SITES + SERVICE, documents=files)
    shift = datetime(2031, 5, 3, 14) - BEGIN
    rows = []
    for row in job.rows:
        at = datetime.fromisoformat(row.time.removesuffix("Z")) - shift
        rows.append(row._replace(time=f"{at.isoformat()}Z"))
    return type(job)(
        sheet=job.sheet,
        header=job.header,
        rows=tuple(rows),
        documents=job.documents,
        horizon=job.horizon,
        obstacles=job.obstacles,
    )


def orbit_of(job, name):
    orbits = orbits_of(parse_constellation(CONSTELLATION), job.documents)
    return next(orbit for orbit in orbits if orbit.name == name)


def seconds(begin, end, step=10):
    return np.arange(np.datetime64(begin, "us"), np.datetime64(end, "us"), np.timedelta64(step, "s"))


@pytest.fixture(scope="module")
def day():
    job = job_of(20, obstacles_csv=WALL)
    return job, estimate_sky(job)


def test_rise_set_highest_and_time_up_are_those_of_the_orbit(day):
    job, found = day
    satellite = found.sites[0].satellites[0]
    stay = satellite.while_there
    instants = seconds(BEGIN, BEGIN + timedelta(hours=20))
    heights = orbit_of(job, "HIGH-A").elevation_deg(job.sheet.sites[0], instants)
    up = heights >= 10.0
    assert stay.stood_s == 20 * 3600.0
    assert stay.high_s == pytest.approx(10.0 * up.sum(), abs=20.0)
    assert len(stay.passes) == int(np.sum(up[1:] & ~up[:-1])) + int(up[0])
    (rise,) = instants[1:][up[1:] & ~up[:-1]]
    risen = next(one for one in stay.passes if one.rise is not None)
    assert abs(np.datetime64(risen.rise.removesuffix("Z")) - rise) <= np.timedelta64(11, "s")
    assert max(one.highest_elevation_deg for one in stay.passes) == pytest.approx(heights.max(), abs=0.01)
    # Rises at 14:49:37 UTC on this day from there (skyfield 1.55).
    assert risen.rise == "2026-01-01T14:49:37Z"


def test_hand_overs_are_where_another_one_stands_highest(day):
    job, found = day
    instants = seconds(BEGIN, BEGIN + timedelta(hours=20))
    heights = np.stack([orbit_of(job, f"HIGH-{n}").elevation_deg(job.sheet.sites[0], instants) for n in "AB"])
    names = np.array(["HIGH-A", "HIGH-B", None])
    best = np.where(heights.max(axis=0) >= 10.0, heights.argmax(axis=0), 2)
    edges = np.flatnonzero(best[1:] != best[:-1])
    changes = found.sites[0].handovers
    assert [(one.from_, one.to) for one in changes] == [(names[best[n]], names[best[n + 1]]) for n in edges]
    assert len(changes) >= 3
    for one, n in zip(changes, edges, strict=True):
        assert abs(np.datetime64(one.at.removesuffix("Z")) - instants[n + 1]) <= np.timedelta64(11, "s")


def test_the_chance_is_that_of_the_whole_stay_and_at_each_time_of_the_log(day):
    job, found = day
    satellite = found.sites[0].satellites[0]
    stay = satellite.while_there
    (here, _) = stays_in(job)
    instants = seconds(BEGIN, BEGIN + timedelta(hours=20), 60)
    seen = orbit_of(job, "HIGH-A").seen_from(job.sheet.sites[0], instants)
    fine = along(here, seen.azimuth_deg, seen.elevation_deg)
    assert stay.p_clear == pytest.approx(float(fine.each.mean()), abs=0.01)
    low, high = stay.p_clear_90
    assert low < stay.p_clear < high
    assert abs(satellite.p_clear - stay.p_clear) > 0.1  # the last instant alone says something else
    at = np.array([np.datetime64(one.at.removesuffix("Z"), "us") for one in stay.way])
    assert (at[0], at[-1]) == (np.datetime64(BEGIN, "us"), np.datetime64(BEGIN + timedelta(hours=20), "us"))
    between = np.interp(instants.astype(float), at.astype(float), [one.p_clear for one in stay.way])
    assert np.abs(between - fine.each).mean() < 0.02
    assert stay.way[-1].p_clear == pytest.approx(satellite.p_clear, abs=1e-9)
    assert stay.way[-1].elevation_deg == pytest.approx(satellite.elevation_deg, abs=1e-9)


def test_only_the_time_at_the_site_and_within_a_visit_counts():
    job = job_of(3, "0:45:00 site vehicle far\n2:00:00 site vehicle yard\n11:00:00 power receiver awake")
    yard, far = job.sheet.sites

    def minutes(site):
        start = np.datetime64(BEGIN, "us")
        return [tuple(float((end - start) / np.timedelta64(60, "s")) for end in span) for span in spans_at(job, site)]

    assert minutes(yard) == [(0.0, 45.0), (120.0, 180.0)]  # the pause of 8 h parts visits
    assert minutes(far) == [(45.0, 120.0)]
    found = estimate_sky(job)
    assert [site.satellites[0].while_there.stood_s for site in found.sites] == [105 * 60.0, 75 * 60.0]


def test_of_an_unknown_sky_the_way_is_told_and_the_chance_is_not():
    stay = estimate_sky(job_of(2)).sites[0].satellites[0].while_there
    assert (stay.p_clear, stay.p_clear_90) == (None, None)
    assert {one.p_clear for one in stay.way} == {None}
    assert len(stay.way) > 10


def test_what_stands_still_or_has_no_time_there_has_none():
    still = make_job(
        "0:00 power receiver awake\n2:00 power receiver awake", SITES + '[service]\nconstellation = "demo-pair"\n'
    )
    assert {sat.while_there for site in estimate_sky(still).sites for sat in site.satellites} == {None}
    one_row = job_of(0)
    assert estimate_sky(one_row).sites[0].satellites[0].while_there is None
    assert estimate_sky(one_row).sites[0].handovers == ()


def test_a_long_log_is_not_sampled_without_end():
    job = job_of(96)
    stay = estimate_sky(job).sites[0].satellites[0].while_there
    assert stay.stood_s == 96 * 3600.0
    assert len(stay.way) <= 260


def test_the_report_says_where_they_moved(day):
    job, found = day
    tables = moved_tables(found.sites[0], found.coverage_min_elevation_deg, local_time_of(job))
    moved, changes = tables
    assert "Where they moved while the vehicle stood at yard: rise above 10°" in moved.caption
    rows = [tuple(cell.text for cell in row) for row in moved.rows]
    risen = next(row for row in rows if row[0] == "HIGH-A" and row[1] != "up already")
    assert risen[1] == "1 Jan, 14:49"
    assert {row[4] for row in rows if row[0] == "HIGH-A"} >= {"still up"}
    assert rows[0][6] == "20\u202fh"
    assert "%" in rows[0][7]
    assert len(changes.rows) == len(found.sites[0].handovers)
    still = dataclasses.replace(found.sites[0], satellites=(), handovers=())
    assert moved_tables(still, 10.0, local_time_of(job)) == ()


def test_it_stands_in_the_section_of_the_sky(day):
    job, found = day
    sky = next(
        part
        for part in sections_of(job, dataclasses.replace(made.full_findings(), sky=found), local_time_of(job))
        if part.name == "sky"
    )
    heads = [one.caption for one in sky.tables]
    assert any(text.startswith("Where they moved while the vehicle stood at yard") for text in heads)
    assert "When another satellite became the highest over yard." in heads
    assert "shown as they stood at the end of the stay" in sky.figures[0].caption


def test_it_is_in_the_document(day):
    document = json.loads(json.dumps(plain_values(day[1]), allow_nan=False))
    stay = document["sites"][0]["satellites"][0]["while_there"]
    assert {"stood_s", "high_s", "passes", "p_clear", "p_clear_90", "way"} == set(stay)
    assert document["sites"][0]["handovers"][0]["from"] in ("HIGH-A", "HIGH-B", None)
    assert isinstance(day[1], SkyFindings)
