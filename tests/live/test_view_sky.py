"""The view 'Sky' against the findings it shows, a receiver's sentences, and where another library has a satellite."""

from collections import defaultdict
from datetime import date
from io import BytesIO
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pynmeagps
import pytest
from skyfield.api import EarthSatellite, load, wgs84

from satdiag.analysis import analyse
from satdiag.language import speaking
from satdiag.live.views import view_of
from satdiag.live.views.sky import head_of, heading_of
from satdiag.live.views.sky_day import ends_of
from satdiag.live.views.sky_heard import class_of, heard_now
from satdiag.opening import open_job
from satdiag.report.local_time import LocalTime
from tests.helpers import BASE, make_job
from tests.sky.mask.made_skies import as_nmea, made_sky

SAMPLES = Path(__file__).parents[2] / "sample_logs"
ROW = "0:30 power receiver awake"
YARD = '[[site]]\nname = "yard"\nlatitude_deg = 45.0\nlongitude_deg = 10.0\n'
FIELD = '[[site]]\nname = "field"\nlatitude_deg = 41.2\nlongitude_deg = -96.1\nheight_m = 300.0\n'
SERVICE = '[service]\nconstellation = "constellation.toml"\n'
# Seen from 45 N 10 E: at azimuth 180 and 153 deg.
PAIR = b'name = "two"\n' + b"".join(
    b'[[satellite]]\nname = "%s"\nlongitude_deg = %d.0\n' % pair for pair in ((b"a", 10), (b"b", 30))
)


def _line(text):
    """A line of elements with its checksum (digits and minus signs, modulo 10)."""
    return f"{text}{sum(int(c) if c.isdigit() else c == '-' for c in text) % 10}"


# A 24-hour orbit of an invented satellite that stands high over 96 W for hours.
HIGH = (
    _line("1 90001U 31001A   31123.00000000  .00000000  00000-0  00000+0 0    1"),
    _line("2 90001  63.4000  34.5000 2684000 270.0000 180.0000  1.00273791    1"),
)
MOVING = (
    'name = "one"\ncoverage_min_elevation_deg = 30.0\n[[satellite]]\nname = "high"\n'
    f'tle = """\nhigh\n{HIGH[0]}\n{HIGH[1]}\n"""\n'
).encode()


def seen(job):
    return view_of("sky", job, analyse(job))


@pytest.mark.parametrize("sample", ["obstructed", "foliage", "filling"])
def test_every_number_is_that_of_the_findings(sample):
    job = open_job(SAMPLES / sample)
    findings = analyse(job)
    told = view_of("sky", job, findings)
    assert [site["name"] for site in told["sites"]] == [site.name for site in findings.sky.sites]
    for shown, site in zip(told["sites"], findings.sky.sites, strict=True):
        for one, sat in zip(shown["satellites"], site.satellites, strict=True):
            assert (one["name"], one["azimuth_deg"], one["elevation_deg"]) == (
                sat.name,
                pytest.approx(sat.azimuth_deg, abs=0.05),
                pytest.approx(sat.elevation_deg, abs=0.05),
            )
            assert one["azimuth_deg"] == round(one["azimuth_deg"], 1), "more digits would tell the position"
            assert (one["p_clear"], one["p_clear_90"]) == (sat.p_clear, sat.p_clear_90)
            assert f"{sat.azimuth_deg:.1f}°" == one["azimuth"]
            assert sat.p_clear is None or one["kind"] == (
                "clear" if sat.p_clear >= 0.8 else "hidden" if sat.p_clear < 0.2 else "doubtful"
            )
        assert (shown["mask"] is None) == (site.mask is None)
        if site.mask is not None:
            assert shown["mask"]["edge_deg"] == pytest.approx(site.mask.edge_elevation_deg, abs=0.05)
            assert shown["mask"]["low_deg"] == pytest.approx(site.mask.edge_p05_deg, abs=0.05)
            assert shown["mask"]["measured"] == list(site.mask.measured)
    assert told["least_deg"] == findings.sky.coverage_min_elevation_deg
    assert len(told["could_not"]) == len(findings.sky.could_not)


def test_the_site_where_the_vehicle_stands_comes_first_to_the_eye():
    sites = YARD + FIELD + SERVICE
    first = seen(make_job(ROW, sites, documents={"constellation.toml": PAIR}))
    moved = seen(make_job(f"{ROW}\n1:00 site vehicle field", sites, documents={"constellation.toml": PAIR}))
    assert (first["here"], moved["here"]) == (0, 1)


def test_without_a_position_or_a_list_of_satellites_it_is_said_what_to_do():
    nowhere = seen(make_job(ROW, ""))
    assert (nowhere["missing"], nowhere["sites"], nowhere["here"]) == ("position", [], None)
    assert "Start" in nowhere["lack"]
    bare = seen(make_job(ROW, YARD))
    assert (bare["missing"], len(bare["sites"])) == ("satellites", 1)
    assert seen(make_job(ROW, YARD + SERVICE, documents={"constellation.toml": PAIR}))["missing"] == ""


def test_the_heading_is_the_last_one_in_the_log_that_was_read():
    assert heading_of(make_job(ROW)) is None
    rows = f"{ROW}\n1:00 heading vehicle 90 deg\n2:00 heading vehicle 360 deg"
    assert heading_of(make_job(rows)) == 0.0
    assert heading_of(make_job(f"{rows}\n3:00 heading vehicle 135.5 deg")) == 135.5
    taken_back = (
        f"{ROW}\n1:00 heading vehicle 90 deg id=x-1\n2:00 heading vehicle 10 deg id=x-2\n3:00 withdraw row x-2"
    )
    assert heading_of(make_job(taken_back)) == 90.0


@pytest.mark.parametrize(
    ("place", "begins"), [("open-sky", "The way to a satellite is probably clear"), ("canopy", "Whether a satellite")]
)
def test_the_first_sentence_goes_by_the_chance_that_one_is_clear(place, begins):
    rows = f"{ROW}\n1:00 place vehicle {place}"
    findings = analyse(make_job(rows, YARD + SERVICE, documents={"constellation.toml": PAIR}))
    assert head_of(findings.sky.sites[0]).startswith(begins)
    assert head_of(None) == "The page does not know where the vehicle stands."


def test_advice_and_skyline_come_from_the_obstacles():
    told = seen(open_job(SAMPLES / "obstructed"))["sites"][0]
    assert any("move it" in text and "east" in text for text in told["advice"])
    assert told["said"][-1] == "The skyline was measured all round."
    assert "a street" in " ".join(told["said"])
    assert "azimuth 173 degrees, elevation 44 degrees" in told["alt"]


def test_in_spanish_words_are_spanish_and_numbers_the_same():
    job = open_job(SAMPLES / "obstructed")
    english = seen(job)
    with speaking("es"):
        spanish = seen(job)
    for one, other in zip(english["sites"], spanish["sites"], strict=True):
        assert one["mask"] == other["mask"]
        assert [sat["azimuth_deg"] for sat in one["satellites"]] == [
            sat["azimuth_deg"] for sat in other["satellites"]
        ]
    assert spanish["sites"][0]["satellites"][0]["azimuth"] == "173,0°"
    assert spanish["head"] == "Es dudoso que aquí haya algún satélite despejado."


# --- navigation satellites ------------------------------------------------------------------------------------------


def test_what_is_heard_now_is_what_the_last_sentences_say():
    # Read by pynmeagps: the last group of GSV sentences of each talker. The record is made (see made_skies).
    data = as_nmea(made_sky("canyon", 4.0, 3, step_s=5.0).looks)
    job = make_job(ROW, YARD, documents={"gnss-a.nmea": data})
    last = defaultdict(dict)
    for _, parsed in pynmeagps.NMEAReader(BytesIO(data)):
        if parsed is None or parsed.msgID != "GSV":
            continue
        if parsed.msgNum == 1:
            last[parsed.talker] = {}
        for n in range(1, 5):
            if getattr(parsed, f"svid_{n:02d}", ""):
                values = [getattr(parsed, f"{name}_{n:02d}") for name in ("az", "elv", "cno")]
                last[parsed.talker][int(getattr(parsed, f"svid_{n:02d}"))] = values
    wanted = sorted((az, elv, cno or None) for group in last.values() for az, elv, cno in group.values())
    found = heard_now(job).satellites
    got = sorted((one["azimuth_deg"], one["elevation_deg"], one["cn0_db_hz"]) for one in found)
    # One that set within the last 15 s may still be listed; none that is in the last sentences may be missing.
    assert [one for one in wanted if one not in got] == []
    assert len(got) - len(wanted) <= 2
    assert {one["name"][0] for one in found} == {"G", "R", "E", "C"}
    assert heard_now(make_job(ROW, YARD)) is None


def test_classes_of_strength():
    assert [class_of(level) for level in (40.0, 39.9, 30.0, 29.9, None)] == [
        "strong",
        "fair",
        "fair",
        "weak",
        "unheard",
    ]


def test_a_record_gives_a_trail_and_says_what_it_rests_on():
    data = as_nmea(made_sky("wall", 20.0, 5, step_s=15.0).looks)
    job = make_job(ROW, YARD + SERVICE, documents={"gnss-a.nmea": data, "constellation.toml": PAIR})
    findings = analyse(job)
    told = view_of("sky", job, findings)["sites"][0]
    above = [point for point in findings.sky.sites[0].navigation.points if point.elevation_deg >= 0]
    assert len(told["trail"]) == len(above) > 100
    assert {one["kind"] for one in told["trail"]} <= {"strong", "weakened", "unheard"}
    assert any("navigation satellites" in text for text in told["measuring"])
    assert told["heard"]["satellites"]


# --- satellites that move -------------------------------------------------------------------------------------------


def test_the_way_of_a_satellite_that_moves_is_where_another_library_has_it():
    # skyfield, a reference library: a direction at every full hour of the day.
    told = seen(make_job(ROW, FIELD + SERVICE, documents={"constellation.toml": MOVING}))["sites"][0]
    (way,) = told["ways"]
    assert way["name"] == "high"
    times = load.timescale(builtin=True)
    there = EarthSatellite(*HIGH, "high", times) - wgs84.latlon(41.2, -96.1, 300.0)
    hours = {hour: (azimuth, height) for part in way["parts"] for azimuth, height, hour in part if hour}
    compared = 0
    for hour in range(1, 24):
        elevation, azimuth, _ = there.at(times.utc(2031, 5, 3, hour)).altaz()
        assert (f"{hour:02d}:00" in hours) == (elevation.degrees >= 0)
        if elevation.degrees >= 0:
            theirs = (azimuth.degrees, elevation.degrees)
            assert hours[f"{hour:02d}:00"] == pytest.approx(theirs, abs=0.1)
            compared += 1
    assert compared >= 12
    for part in way["parts"]:
        assert all(abs(one[1] - other[1]) < 20.0 for one, other in pairwise(part))


def test_when_it_stands_high_enough_is_said_as_another_library_has_it():
    told = seen(make_job(ROW, FIELD + SERVICE, documents={"constellation.toml": MOVING}))["sites"][0]
    times = load.timescale(builtin=True)
    place, satellite = wgs84.latlon(41.2, -96.1, 300.0), EarthSatellite(*HIGH, "high", times)
    day = times.utc(2031, 5, 3), times.utc(2031, 5, 4)
    moments, events = satellite.find_events(place, *day, altitude_degrees=30.0)
    said = " ".join(told["passes"])
    assert len(events) >= 2
    for moment in moments:
        near = {(moment.utc_datetime() + np.timedelta64(s, "s").item()).strftime("%H:%M") for s in (-1, 0, 1)}
        assert any(clock in said for clock in near), (said, near)
    assert any(text.startswith("Best hour") for text in told["hours"])


def test_elements_that_are_too_old_leave_the_page_whole():
    old = MOVING.replace(HIGH[0].encode(), _line(HIGH[0][:-1].replace("31123", "20123")).encode())
    told = seen(make_job(ROW, FIELD + SERVICE, documents={"constellation.toml": old}))
    assert told["sites"][0]["satellites"][0]["azimuth_deg"] is None
    assert told["sites"][0]["satellites"][0]["kind"] == "unknown"
    assert told["sites"][0]["advice"][0].startswith("How to park over the day is not known")
    assert any("too old" in text for text in told["could_not"])


def test_the_day_on_which_clocks_are_put_forward_has_23_hours():
    # In New York on the second Sunday in March (Energy Policy Act of 2005, s. 110).
    local = LocalTime(ZoneInfo("America/New_York"), "")
    begin, end = ends_of(date(2031, 3, 9), local)
    assert end - begin == np.timedelta64(23, "h")
    begin, end = ends_of(BASE.date(), local)
    assert (str(begin)[:16], end - begin) == ("2031-05-03T04:00", np.timedelta64(24, "h"))
