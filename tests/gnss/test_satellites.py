"""GSV sentences in every form that receivers were seen to send, as sentences of our own making."""

import pytest

from satdiag.gnss.identity import PRIMARY_SIGNALS, Satellite, satellite_of
from satdiag.gnss.satellites import Entry, Gsv, in_view, parse_gsv
from tests.gnss.made import sentence

G07, G11 = Satellite("gps", 7), Satellite("gps", 11)


def read(content):
    """A GSV sentence as it is read."""
    found = parse_gsv(sentence(content))
    assert isinstance(found, Gsv)
    return found


def view(*contents):
    """The satellites of one epoch by name."""
    views, _ = in_view([read(content) for content in contents])
    assert len({each.satellite for each in views}) == len(views)
    return {each.satellite.name: each for each in views}


def test_the_plain_form():
    found = read("GPGSV,3,2,11,07,38,351,44,11,73,114,31,12,-02,009,,14,90,359,99")
    assert (found.talker, found.number, found.signal_id, found.system_id) == ("GP", 2, None, None)
    assert found.entries == (
        Entry(G07, 38, 351, 44),
        Entry(G11, 73, 114, 31),
        Entry(Satellite("gps", 12), -2, 9, None),
        Entry(Satellite("gps", 14), 90, 359, 99),
    )


@pytest.mark.parametrize(
    ("content", "signal_id", "system_id"),
    [
        ("GPGSV,1,1,01,07,38,351,44,1", 1, None),
        ("GBGSV,1,1,01,07,38,351,44,B", 11, None),
        ("GBGSV,1,1,01,07,38,351,44,", None, None),
        ("PQGSV,1,1,01,07,38,351,44,0,4", 0, 4),
        ("GLGSV,1,1,00,1", 1, None),
        ("GPGSV,1,1,00", None, None),
    ],
)
def test_what_follows_the_satellites(content, signal_id, system_id):
    found = read(content)
    assert (found.signal_id, found.system_id) == (signal_id, system_id)
    assert len(found.entries) == (0 if ",00" in content[:16] else 1)


@pytest.mark.parametrize("count", ["", "04", "12", "x"])
def test_nothing_is_sized_from_the_counts(count):
    assert len(read(f"GPGSV,{count},{count},{count},07,38,351,44,11,73,114,31").entries) == 2


def test_padding_is_left_out_and_an_id_behind_it_is_read():
    found = read("GPGSV,1,1,01,36,19,156,51,,,,,,,,,,,,,1")
    assert found.entries == (Entry(Satellite("sbas", 123), 19, 156, 51),)
    assert found.signal_id == 1


@pytest.mark.parametrize("content", ["GPGSV", "GPGSV,1,1", "GPGSV,1,1,01,07,38,351", "GPGSV,1,1,01,07,38,351,44,1,4"])
def test_a_number_of_fields_that_fits_no_form(content):
    assert parse_gsv(sentence(content)) is None


@pytest.mark.parametrize(
    ("level", "tracked"),
    [
        ("", False),
        ("00", False),
        ("0", False),
        *((str(n), False) for n in range(1, 8)),
        ("8", True),
        ("08", True),
        ("99", True),
        ("41.5", True),
    ],
)
def test_what_counts_as_tracked(level, tracked):
    (entry,) = read(f"GPGSV,1,1,01,07,38,351,{level}").entries
    assert entry.cn0_db_hz == (float(level) if tracked else None)


@pytest.mark.parametrize(
    ("fields", "direction"),
    [
        ("38,351", (38, 351)),
        ("6,2", (6, 2)),
        ("00,000", (None, None)),  # a receiver without the orbit
        ("0,0", (None, None)),
        ("00,180", (0, 180)),
        ("45,000", (45, 0)),
        ("45,360", (45, 0)),
        (",", (None, None)),
        ("45,", (45, None)),
        (",120", (None, 120)),
    ],
)
@pytest.mark.parametrize("level", ["45", ""])
def test_directions(fields, direction, level):
    (entry,) = read(f"GPGSV,1,1,01,07,{fields},{level}").entries
    assert (entry.elevation_deg, entry.azimuth_deg) == direction
    assert entry.cn0_db_hz == (45 if level else None)


@pytest.mark.parametrize(
    "fields",
    [
        "91,100,40",
        "-91,100,40",
        "40,361,40",
        "40,-1,40",
        "40,100,100",
        "40,100,-3",
        "x,100,40",
        "40,1e2,40",
        "40,100,nan",
        "40,²,40",
    ],
)
def test_an_entry_with_a_value_that_cannot_be_is_left_out_and_counted(fields):
    found = read(f"GPGSV,1,1,02,07,{fields},11,73,114,31")
    assert found.entries == (Entry(G11, 73, 114, 31),)
    assert found.impossible == 1


def test_a_level_without_a_number_is_counted_and_belongs_to_nobody():
    views, nameless = in_view([read("GLGSV,3,3,10,65,12,034,40,,,,52"), read("GLGSV,1,1,01,,56,279,,1")])
    assert [each.satellite.name for each in views] == ["R01"]
    assert nameless == 1


# NMEA 0183 4.11, satellite numbering; the numbers marked 'seen' are not of it and stand in receivers' logs.
NAMES = [
    ("GP", 1, "G01"),
    ("GP", 32, "G32"),
    ("GP", 33, "S20"),
    ("GP", 44, "S31"),
    ("GP", 64, "S51"),
    ("GP", 65, "R01"),
    ("GP", 88, "R24"),
    ("GP", 123, "S23"),  # seen: PRN itself
    ("GP", 158, "S58"),
    ("GP", 193, "J01"),
    ("GP", 199, "J07"),
    ("GN", 7, "G07"),
    ("GN", 78, "R14"),
    ("GN", 307, "E07"),  # seen
    ("GN", 412, "C12"),
    ("GL", 70, "R06"),
    ("GL", 37, "S24"),
    ("GA", 1, "E01"),
    ("GA", 36, "E36"),
    ("GA", 40, "S27"),
    ("GA", 102, "E02"),  # seen
    ("GA", 301, "E01"),  # seen
    ("GB", 1, "C01"),
    ("GB", 33, "C33"),
    ("GB", 63, "C63"),
    ("BD", 214, "C14"),  # seen
    ("BD", 45, "C45"),
    ("GB", 401, "C01"),
    ("GQ", 2, "J02"),
    ("QZ", 193, "J01"),  # seen
    ("QZ", 10, "J10"),
    ("GI", 14, "I14"),
]


@pytest.mark.parametrize(("talker", "number", "name"), NAMES)
def test_which_satellite_a_number_means(talker, number, name):
    assert satellite_of(talker, number).name == name


@pytest.mark.parametrize(
    ("talker", "number"),
    [
        ("GP", 0),
        ("GP", 100),
        ("GP", 203),
        ("GL", 5),
        ("GA", 65),
        ("GB", 64),
        ("GQ", 11),
        ("GI", 15),
        ("XX", 5),
        ("PQ", 5),
        ("GP", 999),
    ],
)
def test_a_number_that_means_none(talker, number):
    assert satellite_of(talker, number) is None


def test_the_system_id_goes_before_the_talker():
    systems = {1: "G05", 3: "E05", 4: "C05", 5: "J05", 6: "I05"}
    assert {system: satellite_of("GN", 5, system).name for system in systems} == systems
    assert satellite_of("GN", 70, 2).name == "R06"
    assert satellite_of("PQ", 12, 4).name == "C12"
    assert satellite_of("PQ", 193, 5).name == "J01"
    assert satellite_of("GP", 5, 9).name == "G05"


def test_two_signals_of_a_satellite_are_one_satellite():
    found = view("GPGSV,1,1,01,07,38,351,44,1", "GPGSV,1,1,01,07,38,351,36,6", "GAGSV,1,1,01,07,20,040,39,7")
    assert found["G07"].signals == ((1, 44), (6, 36))
    assert found["G07"].cn0_db_hz == 44
    assert list(found) == ["E07", "G07"]


def test_the_primary_signal_counts_and_not_the_strongest():
    assert view("GPGSV,1,1,01,07,38,351,36,1", "GPGSV,1,1,01,07,38,351,44,6")["G07"].cn0_db_hz == 36
    assert view("GAGSV,1,1,01,07,38,351,44,2", "GAGSV,1,1,01,07,38,351,36,7")["E07"].cn0_db_hz == 36
    assert view("GBGSV,1,1,01,07,38,351,44,3", "GBGSV,1,1,01,07,38,351,36,1")["C07"].cn0_db_hz == 36
    assert view("GBGSV,1,1,01,07,38,351,44,3")["C07"].cn0_db_hz == 44
    assert view("GPGSV,1,1,01,07,38,351,44,0", "GPGSV,1,1,01,07,38,351,36,1")["G07"].cn0_db_hz == 36
    assert view("PQGSV,1,1,01,07,38,351,44,0,4")["C07"].cn0_db_hz == 44
    assert set(PRIMARY_SIGNALS) == {"gps", "glonass", "galileo", "beidou", "qzss", "navic", "sbas"}


def test_untracked_means_in_no_group():
    lists_all = view("GPGSV,1,1,02,07,38,351,44,11,73,114,,1", "GPGSV,1,1,02,07,38,351,,11,73,114,,6")
    own_group = view("GPGSV,1,1,01,07,38,351,44,1", "GPGSV,1,1,01,11,73,114,,0")
    for found in (lists_all, own_group):
        assert found["G07"].tracked
        assert not found["G11"].tracked
        assert found["G11"].signals == ()
    only_second = view("GPGSV,1,1,01,07,38,351,,1", "GPGSV,1,1,01,07,38,351,31,6")["G07"]
    assert only_second.tracked
    assert only_second.cn0_db_hz is None


def test_the_direction_comes_from_whichever_group_knows_it():
    signals_in_one_run = ("GAGSV,2,1,04,102,28,167,40,103,69,097,33", "GAGSV,2,2,04,102,,,38,103,,,29,1")
    for contents in (signals_in_one_run, signals_in_one_run[::-1]):
        found = view(*contents)
        assert (found["E02"].elevation_deg, found["E02"].azimuth_deg) == (28, 167)
        assert found["E02"].signals == ((None, 40), (1, 38))
        assert found["E02"].cn0_db_hz == 40
    placeholder = view("GPGSV,1,1,01,07,00,000,45,1", "GPGSV,1,1,01,07,38,351,40,6")["G07"]
    assert (placeholder.elevation_deg, placeholder.azimuth_deg) == (38, 351)


def test_the_same_satellite_under_two_talkers_or_numbers():
    found = view("GPGSV,1,1,01,193,60,120,41", "GQGSV,1,1,01,01,60,120,39,1", "QZGSV,1,1,01,193,60,120,,5")
    assert list(found) == ["J01"]
    assert found["J01"].signals == ((None, 41), (1, 39))
    assert list(view("GPGSV,1,1,01,44,36,218,40", "GLGSV,1,1,01,44,36,218,40")) == ["S31"]


def test_equal_numbers_of_other_constellations_stay_apart():
    found = view(*(f"{talker}GSV,1,1,01,33,38,351,40" for talker in ("GP", "GA", "GB")))
    assert sorted(found) == ["C33", "E33", "S20"]
