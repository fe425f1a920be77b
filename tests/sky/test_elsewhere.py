"""What other kinds of place would give, as findings: for whom, at which site, and why not."""

from pathlib import Path
from types import SimpleNamespace

import pytest

from satdiag.analysis import analyse
from satdiag.diagnosis.next_step import gain_of_moving
from satdiag.findings import SatelliteSky, SiteSky, SkyFindings
from satdiag.opening import open_job
from satdiag.signal.levels import SHADOW_DB
from satdiag.sky.constellation import load_packaged, parse_constellation
from satdiag.sky.elsewhere import elsewhere_of, site_now
from satdiag.sky.estimate import estimate_sky
from satdiag.sky.expect import ENVIRONMENTS, MARGIN_DB, environment, gain_by_moving
from tests.helpers import make_job

SITES = "".join(
    f'[[site]]\nname = "{name}"\nlatitude_deg = {north}\nlongitude_deg = -96.1\n'
    for name, north in (("yard", 41.2), ("far", 60.0))
)
SERVICE = '[service]\nconstellation = "demo-pair"\n'


def _sky(name, elevation_deg, azimuth_deg=200.0):
    return SatelliteSky(name, azimuth_deg, elevation_deg, 38000.0, None, None, "none")


def _site(*satellites):
    return SiteSky("yard", satellites, None, None)


def test_the_figures_are_those_of_the_models_for_the_satellites_that_have_risen():
    found = elsewhere_of(_site(_sky("low", 20.0), _sky("set", -3.0), _sky("high", 40.0)), load_packaged("demo-pair"))
    assert [place.place for place in found.places] == list(ENVIRONMENTS)
    for place in found.places:
        model = environment(place.place, [20.0, 40.0], [200.0, 200.0], 2322e6)
        assert [path.name for path in place.paths] == ["low", "high"]
        assert [path.works_share for path in place.paths] == [path.works_share for path in model.paths]
        assert [path.exceeded_10_db for path in place.paths] == [path.exceeded_10_db for path in model.paths]
        assert place.any_path_share_range == model.any_path_share_range
    assert found.frequency_mhz == pytest.approx(2322.0)
    # ITU-R P.681-11 roadside trees at 40 deg and 2.3325 GHz, 10 % of the way: 9.568 dB; nearly so at 2.322 GHz.
    trees = next(place for place in found.places if place.place == "trees")
    assert trees.paths[1].exceeded_10_db == pytest.approx(9.568, abs=0.05)


def test_the_gain_is_that_of_the_highest_satellite_with_its_range():
    found = elsewhere_of(_site(_sky("low", 20.0), _sky("high", 40.0)), load_packaged("demo-pair"))
    assert [move.fault for move in found.moves] == ["indoors", "obstructed", "foliage"]
    indoors = found.moves[0]
    wanted = gain_by_moving("indoors", "open-sky", 40.0, 2322e6)
    assert (indoors.satellite, indoors.elevation_deg, indoors.gain_db) == ("high", 40.0, wanted.median_db)
    assert indoors.gain_db_90 == (wanted.low_db, wanted.high_db)
    assert indoors.gain_db_90[0] < indoors.gain_db < indoors.gain_db_90[1]
    assert indoors.text == f"{wanted.text} towards the satellite 'high', 40° high"


def test_where_a_way_is_blocked_only_spots_that_lose_so_much_count():
    blocked = elsewhere_of(_site(_sky("high", 40.0)), load_packaged("demo-pair")).moves[1]
    whole = gain_by_moving("street", "open-sky", 40.0, 2322e6)
    assert blocked.gain_db_90[0] >= MARGIN_DB - 2.0  # an open sky loses up to 2 dB itself
    assert blocked.gain_db > whole.median_db
    assert "where 10 dB or more are lost now, towards the satellite 'high', 40° high" in blocked.text
    none = gain_by_moving("open-sky", "open-sky", 40.0, 2322e6, 60.0)
    assert none == "what to gain by moving is unknown: so high up no spot of such a place loses 60 dB"


def test_under_trees_only_spots_count_that_weaken_a_path():
    shaded = elsewhere_of(_site(_sky("high", 40.0)), load_packaged("demo-pair")).moves[2]
    wanted = gain_by_moving("canopy", "open-sky", 40.0, 2322e6, SHADOW_DB)
    assert (shaded.gain_db, shaded.gain_db_90) == (wanted.median_db, (wanted.low_db, wanted.high_db))
    assert shaded.gain_db_90[0] > SHADOW_DB - 1.0
    assert "moving to an open sky" in shaded.text
    assert "outdoors" not in shaded.text


@pytest.mark.parametrize(("fault", "state", "told"), [
    ("indoors", "fault", True), ("indoors", "cannot-tell", False), ("antenna-open", "fault", False),
])  # fmt: skip
def test_the_verdict_tells_the_gain_with_its_range(fault, state, told):
    belief = SimpleNamespace(fault=fault)
    sky = SkyFindings(elsewhere=elsewhere_of(_site(_sky("high", 40.0)), load_packaged("demo-pair")))
    move = sky.elsewhere.moves[0]
    low, high = move.gain_db_90
    text = gain_of_moving(state, belief, sky)
    assert bool(text) is told
    assert not told or f"about {move.gain_db:.0f} dB (90 %: {low:.0f} to {high:.0f})" in text
    assert gain_of_moving(state, belief, SkyFindings()) == gain_of_moving(state, belief, None) == ""


def test_a_sample_under_a_roof_is_told_what_to_gain_outdoors():
    findings = analyse(open_job(Path(__file__).parent.parent.parent / "sample_logs" / "indoors"))
    assert findings.verdict.fault == "indoors"
    assert findings.sky.elsewhere.moves[0].text in findings.verdict.do_next


def test_a_gain_that_no_model_knows_is_unknown_and_says_why():
    foliage = elsewhere_of(_site(_sky("x", 4.0)), load_packaged("demo-pair")).moves[2]
    assert (foliage.gain_db, foliage.gain_db_90) == (None, None)
    assert "4 deg is outside" in foliage.text


@pytest.mark.parametrize(
    ("site", "constellation", "why"),
    [
        (None, "demo-pair", "no direction of a satellite is known"),
        (_site(_sky("x", -1.0), _sky("y", None, None)), "demo-pair", "no direction of a satellite is known"),
        (_site(_sky("x", 30.0)), None, "the constellation states no frequency"),
        (_site(_sky("x", 30.0)), "bare", "the constellation states no frequency"),
    ],
)
def test_what_is_missing_is_said(site, constellation, why):
    bare = parse_constellation('name = "bare"\n[[satellite]]\nname = "x"\nlongitude_deg = 10.0\n')
    found = elsewhere_of(site, {None: None, "bare": bare}.get(constellation, load_packaged("demo-pair")))
    assert found.could_not == (f"what to expect elsewhere is not known: {why}",)
    assert found.places == found.moves == ()


def test_the_site_where_the_vehicle_stood_last_counts():
    stayed = make_job("1 power receiver awake", SITES + SERVICE)
    moved = make_job("1 power receiver awake\n2 site vehicle far", SITES + SERVICE)
    for job, name in ((stayed, "yard"), (moved, "far")):
        found = estimate_sky(job)
        assert site_now(job, found.sites).name == name
        assert found.elsewhere.site == name
        by_name = {site.name: site for site in found.sites}
        wanted = [sat.elevation_deg for sat in by_name[name].satellites]
        assert [path.elevation_deg for path in found.elsewhere.places[0].paths] == wanted
    assert site_now(stayed, ()) is None
