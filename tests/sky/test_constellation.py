"""Constellation files: the packaged one, and one clear error for each thing that can be wrong."""

import pytest

from satdiag.errors import BadInput, SatdiagError
from satdiag.sky.constellation import load_packaged, packaged_names, parse_constellation
from tests.references import look_angles as reference

HEAD = 'name = "test"\n'
EAST = '[[satellite]]\nname = "east"\nlongitude_deg = -78.5\n'


def test_the_packaged_pair():
    pair = load_packaged("demo-pair")
    assert pair.name == "demo-pair"
    assert pair.band_mhz == (2320.0, 2345.0)
    assert pair.coverage_min_elevation_deg == 10.0
    east, west = pair.satellites
    assert (east.name, east.longitude_deg, east.eirp_dbw, east.frequency_mhz) == ("east", -78.5, 66.0, 2322.0)
    assert (west.name, west.longitude_deg, west.eirp_dbw, west.elements) == ("west", -121.5, None, None)


def test_every_packaged_constellation_is_called_what_its_file_is_called():
    assert "demo-pair" in packaged_names()
    assert [load_packaged(name).name for name in packaged_names()] == list(packaged_names())


def test_an_unknown_name_is_told_which_there_are():
    with pytest.raises(
        SatdiagError, match=r"'no-such' is not a packaged constellation.*demo-pair.*constellation\.toml"
    ):
        load_packaged("no-such")


@pytest.mark.parametrize("name", ["", "../demo-pair", "demo-pair.toml", "DEMO-PAIR"])
def test_only_the_exact_name_is_taken(name):
    with pytest.raises(SatdiagError, match="not a packaged constellation"):
        load_packaged(name)


def test_optional_keys_may_be_left_out():
    found = parse_constellation(HEAD + '[[satellite]]\nname = "a"\nelements = "elements.omm"\n')
    assert found.coverage_min_elevation_deg == 0.0
    assert found.band_mhz is None
    assert found.satellites[0].elements == "elements.omm"
    assert found.satellites[0].longitude_deg is None


def test_whole_numbers_are_numbers():
    found = parse_constellation(HEAD + '[[satellite]]\nname = "a"\nlongitude_deg = -100\n')
    assert found.satellites[0].longitude_deg == -100.0


@pytest.mark.parametrize(
    ("text", "line", "told"),
    [
        (HEAD, None, "no satellite is named"),
        (EAST, 1, "'name' is missing"),
        (HEAD + "colour = 1\n" + EAST, 2, "unknown key 'colour'"),
        (HEAD + "band_mhz = [2345.0, 2320.0]\n" + EAST, 2, "does not rise"),
        (HEAD + "band_mhz = 2320.0\n" + EAST, 2, "not a pair of frequencies"),
        (HEAD + 'coverage_min_elevation_deg = "ten"\n' + EAST, 2, "'ten' is not a number"),
        (HEAD + "coverage_min_elevation_deg = -1\n" + EAST, 2, "outside 0 .. 89"),
        (HEAD + EAST + "longitude = 3\n", 5, "unknown key 'longitude'"),
        (HEAD + EAST.replace("-78.5", "278.5"), 4, "outside -180 .. 180"),
        (HEAD + EAST.replace("-78.5", "nan"), 4, "not a number"),
        (HEAD + EAST.replace("-78.5", "true"), 4, "not a number"),
        (HEAD + EAST.replace('"east"', '"far east"'), 3, "cannot stand in satellite:NAME"),
        (HEAD + EAST + 'elements = "elements.tle"\n', 2, "needs one of longitude_deg, elements, tle and omm"),
        (HEAD + '[[satellite]]\nname = "a"\n', 2, "needs one of longitude_deg, elements, tle and omm"),
        (HEAD + '[[satellite]]\nname = "a"\nelements = "mine.txt"\n', 4, "not one of elements.tle, elements.omm"),
        (HEAD + EAST + EAST, 5, "the satellite name 'east' stands twice"),
        (HEAD + "satellite = 3\n", None, "no list of tables"),
        (HEAD + "[satellite]\n", 2, "no list of tables"),
        ("name = \n", 1, "not valid TOML"),
    ],
)
def test_what_is_wrong_is_said_with_file_and_line(text, line, told):
    with pytest.raises(BadInput, match=told) as caught:
        parse_constellation(text, "constellation.toml")
    problem = caught.value.problems[0]
    assert problem.file == "constellation.toml"
    assert problem.line == line
    assert problem.mend


def test_all_problems_are_told_together():
    with pytest.raises(BadInput) as caught:
        parse_constellation(HEAD + "a = 1\nb = 2\n" + EAST.replace("-78.5", "500"))
    assert len(caught.value.problems) == 3


def test_slots_from_memory_carry_a_caution():
    found = load_packaged("north-america-2300")
    assert {satellite.status for satellite in found.satellites} == {"from memory"}
    assert found.caution == (
        "the slots of satellites a and b in 'north-america-2300' are from memory and not checked: check them against "
        "a current list of orbital positions before you rely on a direction"
    )
    one = parse_constellation(HEAD + EAST + 'status = "from memory"\n').caution
    assert one.startswith("the slot of satellite east in 'test' is from memory and not checked: check it against")
    assert load_packaged("demo-pair").caution is None
    assert parse_constellation(HEAD + EAST).caution is None


def _with_tle(lines):
    return HEAD + '[[satellite]]\nname = "HIGH-A"\ntle = """\n' + "\n".join(lines) + '\n"""\n'


def test_elements_may_stand_in_the_file_itself():
    lines = reference.TLE.splitlines()
    found = parse_constellation(_with_tle(lines[:3]))
    assert found.satellites[0].tle.startswith("HIGH-A\n1 90001U")
    assert parse_constellation(_with_tle(lines)).satellites[0].longitude_deg is None
    omm = '{"OBJECT_NAME": "HIGH-A"}'
    with pytest.raises(BadInput, match=r"line 4, column 'omm': the OMM has no EPOCH"):
        parse_constellation(HEAD + f"[[satellite]]\nname = \"HIGH-A\"\nomm = '{omm}'\n")


@pytest.mark.parametrize(
    ("lines", "told"),
    [
        (reference.TLE.splitlines()[1:2], "line 1 of a TLE comes without line 2"),
        (["HIGH-A", "nothing"], "no element set was found"),
        (reference.TLE.splitlines()[3:9], "none of 2 element sets has the title 'HIGH-A'"),
        (
            [reference.TLE.splitlines()[1].replace("26001.0", "26001.1"), reference.TLE.splitlines()[2]],
            "not a valid TLE",
        ),
    ],
)
def test_bad_elements_in_the_file_are_told_with_its_line(lines, told):
    with pytest.raises(BadInput, match=told) as caught:
        parse_constellation(_with_tle(lines))
    assert caught.value.problems[0].file == "constellation.toml"
    assert caught.value.problems[0].line == 4
