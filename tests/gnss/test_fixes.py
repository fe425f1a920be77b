"""RMC, GGA, GSA and ZDA, with invented positions, against pynmeagps and arithmetic done by hand."""

from datetime import date

import pynmeagps
import pytest
from hypothesis import given
from hypothesis import strategies as st

from satdiag.gnss.fixes import Position, parse_gga, parse_gsa, parse_rmc, parse_zda, time_of_day_us
from tests.gnss.made import nmea, sentence

RMC = "GNRMC,134001.25,A,4112.0000,N,09606.0000,W,10.0,045.5,030531,,,A,V"
GGA = "GNGGA,134001.25,4112.0000,N,09606.0000,W,2,09,0.95,312.5,M,-27.0,M,,0000"


def test_rmc():
    found = parse_rmc(sentence(RMC))
    assert found.time_us == ((13 * 60 + 40) * 60 + 1) * 1_000_000 + 250_000
    assert found.date == date(2031, 5, 3)
    assert found.valid
    assert found.position == pytest.approx((41.2, -96.1), abs=1e-12)
    assert found.speed_m_s == pytest.approx(5.144444, abs=1e-6)  # 10 x 1852 m / 3600 s
    assert found.course_deg == 45.5
    assert found.quality == "standard"


@pytest.mark.parametrize(
    ("old", "new", "valid"),
    [
        (",A,41", ",V,41", False),
        ("A,V", "N,V", False),
        (",A,V", "", True),  # before 2.3 there is no mode
        (",A,41", ",,41", None),
        ("A,V", "E,V", True),
    ],
)
def test_rmc_status(old, new, valid):
    assert parse_rmc(sentence(RMC.replace(old, new))).valid is valid


def test_gga():
    found = parse_gga(sentence(GGA))
    assert found.valid
    assert (found.quality, found.satellites_used, found.hdop, found.height_m) == ("differential", 9, 0.95, 312.5)
    assert found.position == pytest.approx((41.2, -96.1), abs=1e-12)


# Quality indicators of NMEA 0183 4.11, GGA.
QUALITIES = ["unknown", "standard", "differential", "precise", "rtk-fixed", "rtk-float", "estimated", "manual"]


@pytest.mark.parametrize(("grade", "quality"), [*enumerate(QUALITIES), (8, "simulated")])
def test_gga_quality(grade, quality):
    found = parse_gga(sentence(GGA.replace("W,2,", f"W,{grade},")))
    assert (found.valid, found.quality) == (grade > 0, quality)


@pytest.mark.parametrize("grade", ["", "9", "23", "A", "-1"])
def test_a_quality_that_is_none_says_nothing(grade):
    found = parse_gga(sentence(GGA.replace("W,2,", f"W,{grade},")))
    assert (found.valid, found.quality) == (None, "unknown")


@pytest.mark.parametrize(
    "place",
    [
        ",,,",
        "4112.0000,,09606.0000,W",
        "4112.0000,E,09606.0000,W",
        "4112.0000,N,09606.0000,NW",
        "9112.0000,N,09606.0000,W",
        "4112.0000,N,18000.0001,W",
        "4160.0000,N,09606.0000,W",
        "36000.0000,N,72000.0000,E",
        "-4112.0,N,09606.0000,W",
        "41.2,N,96.1,W",
        "x,N,y,W",
    ],
)
def test_a_place_that_is_none(place):
    assert parse_gga(sentence(GGA.replace("4112.0000,N,09606.0000,W", place))).position is None
    assert parse_rmc(sentence(RMC.replace("4112.0000,N,09606.0000,W", place))).position is None


@given(st.floats(-89.99, 89.99), st.floats(-179.99, 179.99))
def test_places_as_the_reference_library_reads_them(latitude, longitude):
    def text(angle, digits):
        degrees, minutes = divmod(abs(angle) * 60, 60)
        return f"{int(degrees):0{digits}d}{min(minutes, 59.99999):08.5f}"

    sides = ("S" if latitude < 0 else "N"), ("W" if longitude < 0 else "E")
    place = f"{text(latitude, 2)},{sides[0]},{text(longitude, 3)},{sides[1]}"
    content = GGA.replace("4112.0000,N,09606.0000,W", place)
    message = pynmeagps.NMEAReader.parse(nmea(content))
    ours = parse_gga(sentence(content)).position
    assert ours == pytest.approx(Position(message.lat, message.lon), abs=1e-9)
    assert ours == pytest.approx((latitude, longitude), abs=1e-6)


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("000000", 0),
        ("235959.999", 86399.999),
        ("134001.", 49201),
        ("134001.1234567", 49201.123456),
        ("235960", 86400),  # a leap second
    ],
)
def test_times(text, seconds):
    assert time_of_day_us(text) == round(seconds * 1e6)


@pytest.mark.parametrize(
    "text", ["", "24000", "240000", "126000", "120061", "-12000", "12:00:00", "1200", "120000.x", "²20000"]
)
def test_times_that_are_none(text):
    assert time_of_day_us(text) is None


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("030531", date(2031, 5, 3)),
        ("060180", date(1980, 1, 6)),
        ("311279", date(2079, 12, 31)),
        ("290224", date(2024, 2, 29)),
        ("290223", None),
        ("000000", None),
        ("", None),
        ("03052031", None),
        ("03-531", None),
    ],
)
def test_dates(text, day):
    assert parse_rmc(sentence(RMC.replace("030531", text))).date == day


def test_zda():
    found = parse_zda(sentence("GPZDA,134001.00,03,05,2031,00,00"))
    assert (found.time_us, found.date) == (49_201_000_000, date(2031, 5, 3))
    assert parse_zda(sentence("GPZDA,,,,,00,00")) == (None, None)
    assert parse_zda(sentence("GPZDA,134001.00,31,02,2031,00,00")).date is None
    assert parse_zda(sentence("GPZDA,134001.00,03,05,1931,00,00")).date is None


@pytest.mark.parametrize(
    ("content", "used"),
    [
        ("GPGSA,A,3,07,11,,,,,,,,,,,1.7,1.0,1.4", {"G07", "G11"}),
        ("GNGSA,A,3,07,11,44,,,,,,,,,,1.7,1.0,1.4,1", {"G07", "G11", "S31"}),
        ("GNGSA,A,3,07,11,,,,,,,,,,,1.7,1.0,1.4,3", {"E07", "E11"}),
        ("GNGSA,A,3,70,71,,,,,,,,,,,1.7,1.0,1.4", {"R06", "R07"}),
        (
            "GNGSA,A,3,07,11,,,,,,,,,,,1.7,1.0,1.4,4.9",
            {"G07", "G11"},
        ),  # a fraction stands where the system id belongs
        ("PQGSA,A,3,12,,,,,,,,,,,,1.2,0.9,0.9,4", {"C12"}),
        ("GPGSA,A,1,,,,,,,,,,,,,,,", set()),
        ("GPGSA,A,3,07,11,13,25" + "," * 20 + ",09.2,07.2,05.7", {"G07", "G11", "G13", "G25"}),  # 24 places
        ("GPGSA,A,3,07,999,x,,,,,,,,,,1.7,1.0,1.4", {"G07"}),
    ],
)
def test_gsa(content, used):
    assert {satellite.name for satellite in parse_gsa(sentence(content)).used} == used


@pytest.mark.parametrize(
    ("parse", "contents"),
    [
        (parse_rmc, ["GPRMC", "GPRMC,134001,A,4112.0,N,09606.0,W,10.0"]),
        (parse_gga, ["GPGGA", "GPGGA,134001,4112.0,N,09606.0,W,1,09"]),
        (parse_gsa, ["GPGSA", "GPGSA,A,1,,,", "GPGSA,A,3,07,11,,,,,,,,,,,1.7,1.0"]),
        (parse_zda, ["GPZDA", "GPZDA,134001"]),
    ],
)
def test_too_few_fields(parse, contents):
    assert [parse(sentence(content)) for content in contents] == [None] * len(contents)
