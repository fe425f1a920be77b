"""Navigation satellites in the figure of the sky: points, words, tables, and figures that plotly takes."""

import dataclasses

import plotly.graph_objects as go
import pytest

from satdiag.findings import NavigationSky, SkyPoint
from satdiag.report.sky_plot import sky_figure
from satdiag.report.sky_points import kind_of, look_cells
from tests.report import made

POINTS = (
    SkyPoint("G05", 120.0, 41.0, 44.0, 1.0),
    SkyPoint("G05", 122.0, 43.0, 45.0, 0.4),
    SkyPoint("E11", 200.0, 12.0, 30.0, 9.5),
    SkyPoint("R09", 300.0, 25.0, None, None),
)
RECORD = NavigationSky(1260.0, 31, 320, 46.2, "site-and-drive", 0.1, 2.0, POINTS)


@pytest.fixture
def site():
    """A site with a record; its first satellite known well enough, its second not."""
    whole = made.full_findings().sky.sites[0]
    first, *rest = whole.satellites
    first = dataclasses.replace(first, looks=3.0, nearest_deg=4.2, nearest="G05", stay_s=0.0)
    rest = [dataclasses.replace(sat, looks=0.1, nearest_deg=22.0, nearest="E11", stay_s=7200.0) for sat in rest]
    return dataclasses.replace(whole, satellites=(first, *rest), navigation=RECORD)


def test_points_by_strength_and_a_figure_that_plotly_takes(site):
    figure = sky_figure(site, 1)
    go.Figure(figure.spec)
    names = [trace.get("name", "") for trace in figure.spec["data"]]
    counts = {
        trace["name"]: len(trace["theta"]) for trace in figure.spec["data"] if "navigation" in trace.get("name", "")
    }
    assert counts == {
        "navigation satellite as strong as in the open": 2,
        "navigation satellite weakened": 1,
        "navigation satellite not heard": 1,
    }
    symbols = [trace["marker"]["symbol"] for trace in figure.spec["data"] if "navigation" in trace.get("name", "")]
    assert len(set(symbols)) == 3  # not told by colour alone
    strong = figure.spec["data"][names.index("navigation satellite as strong as in the open")]
    assert strong["theta"] == [120.0, 122.0]
    assert strong["r"] == [49.0, 47.0]  # 90 deg less the elevation
    assert [kind_of(point) for point in POINTS].count("weakened") == 1


def test_the_joint_chance_is_told_for_two_and_more(site):
    two = dataclasses.replace(site, p_any_clear=0.98, p_any_clear_90=(0.9, 0.99), p_all_clear=0.03)
    figure = sky_figure(two, 1)
    told = "At least one of the satellites is clear with 98"
    assert told in figure.caption
    assert "all 3 with 3" in figure.caption  # the fourth has set
    assert any(told in table.caption for table in figure.tables)
    alone = dataclasses.replace(two, satellites=two.satellites[:1])
    assert told not in sky_figure(alone, 1).caption
    assert told not in sky_figure(site, 1).caption


def test_what_is_inferred_is_hatched_and_the_band_is_filled(site):
    data = sky_figure(site, 1).spec["data"]
    patterns = {trace["name"]: trace["marker"]["pattern"]["shape"] for trace in data if trace["type"] == "barpolar"}
    assert patterns["behind the skyline, only inferred"] == "/"
    assert patterns["behind the skyline, measured"] == "."
    (band,) = [trace for trace in data if trace.get("fill") == "toself"]
    assert len(band["theta"]) == len(band["r"]) == 2 * (len(site.mask.azimuth_deg) + 1)


def test_words_and_tables_say_the_same_without_the_drawing(site):
    figure = sky_figure(site, 1)
    for text in (figure.caption, figure.alt):
        assert "31 navigation satellites as received within 21" in text
        assert "10\u202f% of the time, when all were weak together" in text
        assert f"For {site.satellites[1].name} a useful answer takes about 2.0\u202fh more parked here." in text
        assert f"For {site.satellites[0].name}" not in text
    heads = [table.heads for table in figure.tables]
    assert heads[0][-2:] == ("nearest look", "stay parked")
    assert heads[-1][0] == "navigation satellite"
    assert len(figure.tables[-1].rows) == 3
    assert "46\u202fdB-Hz, learnt here and while driving" in figure.tables[-1].caption
    assert look_cells(site.satellites[0]) == ("4° away (G05)", "known well enough")
    assert look_cells(dataclasses.replace(site.satellites[1], stay_s=None))[1] == "rather hours"


def test_a_record_alone_is_drawn_too(site):
    bare = dataclasses.replace(site, satellites=(), mask=None)
    figure = sky_figure(bare, 1)
    assert "No broadcast satellite is drawn." in figure.alt
    assert sky_figure(dataclasses.replace(bare, navigation=None), 1) is None
