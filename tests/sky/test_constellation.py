"""Constellation files: the packaged one, and one clear error for each thing that can be wrong."""

import pytest

from satdiag.errors import BadInput, SatdiagError
from satdiag.sky.constellation import load_packaged, packaged_names, parse_constellation

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
        (HEAD + EAST + 'elements = "elements.tle"\n', 2, "longitude_deg or elements, one of the two"),
        (HEAD + '[[satellite]]\nname = "a"\n', 2, "longitude_deg or elements, one of the two"),
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
