"""Local times become times of the log: against values worked out by hand from the law, and there and back."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from satdiag.mapping.local_time import offset_at, time_reader, zone_of
from satdiag.rows import parse_time_us

ISO = "%Y-%m-%d %H:%M:%S"

# Summer time in the United States runs from the second Sunday of March to the first of November, at 2 a.m. local
# time (15 U.S.C. 260a); in the European Union from the last Sunday of March to that of October, at 01:00 UTC
# (Directive 2000/84/EC). 2024: 10 March, 3 November; 31 March, 27 October. The UTC instants are worked out by hand.
BY_HAND = [
    ("America/Chicago", "2024-03-10 01:59:59", "refuse", "2024-03-10T07:59:59Z"),
    ("America/Chicago", "2024-03-10 03:00:00", "refuse", "2024-03-10T08:00:00Z"),
    ("America/Chicago", "2024-11-03 00:59:59", "refuse", "2024-11-03T05:59:59Z"),
    ("America/Chicago", "2024-11-03 01:30:00", "first", "2024-11-03T06:30:00Z"),
    ("America/Chicago", "2024-11-03 01:30:00", "second", "2024-11-03T07:30:00Z"),
    ("America/Chicago", "2024-11-03 02:00:00", "refuse", "2024-11-03T08:00:00Z"),
    ("America/Chicago", "2024-07-01 12:00:00", "second", "2024-07-01T17:00:00Z"),
    ("Europe/Berlin", "2024-03-31 01:59:59", "refuse", "2024-03-31T00:59:59Z"),
    ("Europe/Berlin", "2024-03-31 03:00:00", "refuse", "2024-03-31T01:00:00Z"),
    ("Europe/Berlin", "2024-10-27 02:00:00", "first", "2024-10-27T00:00:00Z"),
    ("Europe/Berlin", "2024-10-27 02:59:59", "second", "2024-10-27T01:59:59Z"),
    ("Europe/Berlin", "2024-10-27 03:00:00", "refuse", "2024-10-27T02:00:00Z"),
    ("Asia/Kolkata", "2024-06-01 00:00:00", "refuse", "2024-05-31T18:30:00Z"),  # +05:30, from memory
    ("-05:00", "2024-11-03 01:30:00", "refuse", "2024-11-03T06:30:00Z"),
    ("+05:45", "2024-01-01 00:00:00", "refuse", "2023-12-31T18:15:00Z"),
    ("Z", "2024-01-01 00:00:00", "refuse", "2024-01-01T00:00:00Z"),
]


@pytest.mark.parametrize(("zone", "text", "fold", "wanted"), BY_HAND)
def test_local_times_by_hand(zone, text, fold, wanted):
    found = time_reader(ISO, zone_of(zone), fold)(text)
    assert parse_time_us(found, None) == parse_time_us(wanted, None)
    assert found.startswith(text.replace(" ", "T"))


@pytest.mark.parametrize(
    ("zone", "text", "fold", "found"),
    [
        ("America/Chicago", "2024-03-10 02:00:00", "refuse", "was skipped"),
        ("America/Chicago", "2024-03-10 02:59:59", "first", "was skipped"),
        ("Europe/Berlin", "2024-03-31 02:30:00", "second", "was skipped"),
        ("America/Chicago", "2024-11-03 01:00:00", "refuse", "came twice"),
        ("America/Chicago", "2024-11-03 01:59:59", "refuse", "came twice"),
        ("Europe/Berlin", "2024-10-27 02:30:00", "refuse", "came twice"),
    ],
)
def test_what_no_clock_showed_or_showed_twice(zone, text, fold, found):
    with pytest.raises(ValueError, match=found):
        time_reader(ISO, zone_of(zone), fold)(text)


@given(
    instant=st.datetimes(datetime(1975, 1, 1), datetime(2060, 1, 1), timezones=st.just(UTC)),
    zone=st.sampled_from(
        ["America/Toronto", "Europe/Paris", "Australia/Lord_Howe", "Pacific/Apia", "Asia/Kathmandu"]
    ),
)
def test_from_utc_to_local_and_back(instant, zone):
    local = instant.astimezone(ZoneInfo(zone))
    clock = local.replace(tzinfo=None, fold=0)
    offset = offset_at(clock, ZoneInfo(zone), "second" if local.fold else "first")
    assert clock.replace(tzinfo=offset) == instant


def test_decimals_stay_as_many_as_are_needed():
    read = time_reader("%Y-%m-%d %H:%M:%S.%f", zone_of("-05:00"), "refuse")
    assert read("2031-05-03 08:40:00.000") == "2031-05-03T08:40:00-05:00"
    assert read("2031-05-03 08:40:00.25") == "2031-05-03T08:40:00.250-05:00"
    assert read("2031-05-03 08:40:00.000001") == "2031-05-03T08:40:00.000001-05:00"


def test_an_offset_in_the_text_counts_before_the_zone():
    read = time_reader("iso", ZoneInfo("Europe/Berlin"), "refuse")
    assert read("2024-10-27T02:30:00+01:00") == "2024-10-27T02:30:00+01:00"
    assert read("2024-10-27T02:30:00Z") == "2024-10-27T02:30:00Z"
    with pytest.raises(ValueError, match="names no zone"):
        time_reader("iso", None, "refuse")("2024-10-27T02:30:00")


def test_strange_offsets_and_years():
    # Before 1883 clocks in Chicago showed local mean time, 5 h 50 min 36 s behind (time zone database, from memory).
    assert time_reader(ISO, zone_of("America/Chicago"), "refuse")("1880-01-01 00:00:00") == "1880-01-01T05:50:36Z"
    with pytest.raises(ValueError, match="no year we know"):
        time_reader(ISO, zone_of("-05:00"), "refuse")("9999-12-31 23:59:59")
