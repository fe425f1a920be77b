"""From the sentences of a receiver to the sky of a job. The records are made (see made_skies)."""

import numpy as np
import pynmeagps
import pytest

from satdiag.analysis import analyse
from satdiag.gnss.bulk import read_sky
from satdiag.sky.estimate import estimate_sky
from satdiag.sky.horizon import held_before, skyline
from satdiag.sky.mask.looks import Looks
from satdiag.sky.mask.parked import parked_at, record_in, record_of
from satdiag.sky.mask.posterior import KNOT_AZIMUTH_DEG
from satdiag.sky.place_prior import edge_of_place
from satdiag.tables import HorizonPoint, Obstacle
from tests.helpers import make_job
from tests.sky.mask.made_skies import as_nmea, made_sky

YARD = '[[site]]\nname = "yard"\nlatitude_deg = 45.0\nlongitude_deg = 10.0\n'
FAR = '[[site]]\nname = "far"\nlatitude_deg = 45.5\nlongitude_deg = 10.0\n'
SERVICE = '[service]\nconstellation = "constellation.toml"\n'
# Seen from 45 N 10 E: at azimuth 180 and 153 deg, elevation 38 and 36 deg.
PAIR = b'name = "two"\n' + b"".join(
    b'[[satellite]]\nname = "%s"\nlongitude_deg = %d.0\n' % pair for pair in ((b"a", 10), (b"b", 30))
)
ROW = "0:30 power receiver awake"


def wall_between(low_deg, high_deg, minutes=60.0, level_db=0.0, seed=7, step_s=15.0):
    """A record under an open sky with all satellites between two azimuths hidden below 60 deg."""
    looks = made_sky("open", minutes, seed, step_s).looks
    hidden = (looks.azimuth_deg > low_deg) & (looks.azimuth_deg < high_deg) & (looks.elevation_deg < 60.0)
    level = looks.cn0_db_hz - np.where(hidden, 14.0, 0.0) + level_db
    return Looks(*(level if name == "cn0_db_hz" else getattr(looks, name) for name in Looks.__dataclass_fields__))


def sky_of(record, rows=ROW, sheet=YARD + SERVICE, **documents):
    files = {"gnss-a.nmea": record, "constellation.toml": PAIR}
    files |= {name.replace("_", "."): data for name, data in documents.items()}
    return estimate_sky(make_job(rows, sheet, documents=files))


def test_a_wall_in_the_south_hides_the_satellites_there_and_no_others():
    south = sky_of(as_nmea(wall_between(120, 240))).sites[0]
    north = sky_of(as_nmea(wall_between(300, 60))).sites[0]
    assert {sat.from_ for sat in south.satellites} == {sat.from_ for sat in north.satellites} == {"gnss"}
    assert all(sat.p_clear < 0.3 for sat in south.satellites)
    assert all(sat.p_clear > 0.8 for sat in north.satellites)
    for sat in (*south.satellites, *north.satellites):
        assert sat.p_clear_90[0] <= sat.p_clear <= sat.p_clear_90[1]
        assert sat.looks > 0
        assert sat.nearest_deg < 30.0
        assert sat.nearest[0] in "GREC"
        assert sat.stay_s is None or sat.stay_s >= 0.0
    assert south.visible_fraction_90[0] < south.visible_fraction < south.visible_fraction_90[1]
    assert 0.6 < south.visible_fraction < 0.9
    found = south.navigation
    assert found.standing_s == pytest.approx(3585.0)
    assert found.level_from == "site"
    assert found.level_db_hz == pytest.approx(46.4, abs=1.5)  # the mean of the made zenith levels
    assert len(found.points) <= found.looks
    assert found.outage_share == 0.0


def test_the_mask_says_where_it_was_measured():
    mask = sky_of(as_nmea(wall_between(120, 240))).sites[0].mask
    edge = dict(zip(mask.azimuth_deg, mask.edge_elevation_deg, strict=True))
    assert np.mean([edge[at] for at in np.arange(140.0, 222.0, 2.0)]) > 40.0
    assert np.mean([edge[at] for at in np.arange(270.0, 350.0, 2.0)]) < 20.0
    width = np.array(mask.edge_p95_deg) - np.array(mask.edge_p05_deg)
    known = np.array(mask.measured)
    assert 0 < known.sum() < len(known)
    assert width[known].mean() < width[~known].mean()


def test_a_short_stay_knows_less_than_a_long_one():
    short, long = (sky_of(as_nmea(wall_between(120, 240, minutes, step_s=5.0))).sites[0] for minutes in (3.0, 60.0))

    def widths(site):
        return np.mean(np.array(site.mask.edge_p95_deg) - np.array(site.mask.edge_p05_deg))

    assert widths(long) < widths(short)


def test_moving_looks_are_not_the_sites_and_a_far_site_has_none():
    record = wall_between(120, 240, 20.0, step_s=5.0)
    moving = sky_of(as_nmea(record, speed_knots=30.0))
    assert moving.sites[0].navigation is None
    assert {sat.from_ for sat in moving.sites[0].satellites} == {"none"}
    assert "holds no stay on one spot" in moving.could_not[0]
    both = sky_of(as_nmea(record), sheet=YARD + FAR + SERVICE)
    assert both.sites[0].navigation is not None
    assert both.sites[1].navigation is None


def test_levels_learnt_while_driving_in_the_open_help_where_all_is_weak():
    drive = as_nmea(made_sky("open", 20.0, 2, 5.0).looks, speed_knots=30.0)
    weak = as_nmea(wall_between(0, 360, 20.0, level_db=-5.0, step_s=5.0)).replace(b"030531", b"030531")
    alone = record_in({"gnss-b.nmea": weak})
    helped = record_in({"gnss-a.nmea": drive, "gnss-b.nmea": weak})
    one, two = (parked_at(record, 45.0, 10.0, True) for record in (alone, helped))
    assert not one.learnt_moving
    assert two.learnt_moving
    assert (two.baseline_db_hz >= one.baseline_db_hz - 1e-9).all()


def test_an_outage_is_told_apart_and_a_weak_antenna_is_no_skyline():
    record = wall_between(120, 240, 20.0, step_s=5.0)
    out = sky_of(as_nmea(record, outage=(300.0, 600.0)))
    assert out.sites[0].navigation.outage_share == pytest.approx(0.25, abs=0.02)
    assert "weak together for 25 %" in out.could_not[0]
    glass = sky_of(as_nmea(wall_between(170, 190, 20.0, level_db=-9.0, step_s=5.0)))
    assert any("may not stand where the broadcast antenna does" in text for text in glass.could_not)
    indoors = sky_of(as_nmea(wall_between(170, 190, 20.0, level_db=-19.0, step_s=5.0)))
    assert indoors.sites[0].navigation is None
    assert {sat.from_ for sat in indoors.sites[0].satellites} == {"none"}
    assert any("nothing is concluded about single directions" in text for text in indoors.could_not)


def test_under_a_roof_the_record_is_set_aside():
    found = sky_of(as_nmea(wall_between(120, 240)), ROW + "\n1:00 place vehicle indoors")
    assert {sat.from_ for sat in found.sites[0].satellites} == {"place"}
    assert "the record of navigation satellites was set aside" in found.could_not[0]


def test_a_record_without_positions_belongs_to_the_only_site():
    bare = b"".join(line for line in as_nmea(wall_between(120, 240)).splitlines(True) if b"RMC" not in line)
    assert sky_of(bare).sites[0].navigation is not None
    assert all(site.navigation is None for site in sky_of(bare, sheet=YARD + FAR + SERVICE).sites)


def test_the_analysis_no_longer_says_that_it_does_not_read_it():
    job = make_job(ROW, YARD + SERVICE, documents={"gnss-a.nmea": as_nmea(wall_between(120, 240)),
                                                   "constellation.toml": PAIR})  # fmt: skip
    findings = analyse(job)
    assert not [text for text in findings.could_not if "GNSS" in text]
    assert findings.sky.sites[0].satellites[0].from_ == "gnss"


def test_an_augmentation_satellite_close_by_is_a_witness():
    # One that stands still 4 deg from satellite a, well received; nothing else within 20 deg of it.
    looks = made_sky("open", 20.0, 9, 5.0).looks
    away = ~((np.abs(looks.azimuth_deg - 178.0) < 40.0) & (np.abs(looks.elevation_deg - 38.0) < 25.0))
    record = as_nmea(looks.where(away))
    lines = []
    for line in record.splitlines(True):
        lines.append(line)
        if b"RMC" in line:
            lines.append(b"$GPGSV,1,1,01,49,36,178,41,1*56\r\n")
    with_witness = sky_of(b"".join(lines)).sites[0].satellites[0]
    without = sky_of(record).sites[0].satellites[0]
    assert with_witness.nearest == "S36"
    assert with_witness.nearest_deg < 4.0
    assert with_witness.looks > without.looks + 0.5
    assert (with_witness.from_, without.from_) == ("gnss", "none")
    assert with_witness.p_clear > 0.8


def test_an_augmentation_satellite_that_was_never_heard_is_left_out():
    record = as_nmea(made_sky("open", 10.0, 9, 5.0).looks)
    listed = record.replace(b"$GNRMC", b"$GPGSV,1,1,01,51,36,178,,1*5A\r\n$GNRMC")
    assert pynmeagps.calc_checksum("GPGSV,1,1,01,51,36,178,,1") == "5A"
    assert sky_of(listed).sites[0].satellites == sky_of(record).sites[0].satellites


# --- what is held before -----------------------------------------------------------------------------------------


def test_readings_and_record_together():
    flat = b"azimuth_deg,elevation_deg\n" + b"".join(b"%d,10\n" % at for at in range(0, 360, 15))
    record = as_nmea(wall_between(120, 240, 10.0, step_s=5.0))
    with_readings, without = sky_of(record, horizon_csv=flat).sites[0], sky_of(record).sites[0]
    width = [np.mean(np.array(site.mask.edge_p95_deg) - np.array(site.mask.edge_p05_deg))
             for site in (with_readings, without)]  # fmt: skip
    assert width[0] < 0.6 * width[1]
    assert all(with_readings.mask.measured)


def test_what_readings_hold_before_has_the_deviation_of_the_skyline():
    readings = [HorizonPoint(at, high) for at, high in ((20.0, 20.0), (80.0, 35.0), (140.5, 30.0), (300.0, 15.0))]
    mean, covariance = held_before(readings, None, KNOT_AZIMUTH_DEG)
    edge = skyline(readings, None, KNOT_AZIMUTH_DEG)
    assert mean == pytest.approx(edge.elevation_deg)
    assert np.sqrt(np.diag(covariance)) == pytest.approx(np.hypot(edge.sd_deg, 2.0))
    assert np.linalg.eigvalsh(covariance).min() > 1.0
    walls = [Obstacle(80.0, 160.0, 10.0, 12.0, "")]
    for held, listed in ((readings, walls), (None, walls)):
        mean, covariance = held_before(held, listed, KNOT_AZIMUTH_DEG)
        edge = skyline(held, listed, KNOT_AZIMUTH_DEG)
        assert mean == pytest.approx(edge.elevation_deg)
        assert np.sqrt(np.diag(covariance)) == pytest.approx(np.hypot(edge.sd_deg, 2.0))
        assert np.linalg.eigvalsh(covariance).min() > 1.0
    assert held_before(None, None, KNOT_AZIMUTH_DEG) is None


def test_the_edge_that_a_word_stands_for():
    order = [edge_of_place(place)[0] for place in ("open-sky", "street", "canopy", "indoors", "underground")]
    assert order == sorted(order)
    mean, sd = edge_of_place("street")
    assert mean == pytest.approx(32.25, abs=0.1)  # the trapezoid of 1 - P over the table, by hand
    assert 20.0 < sd < 30.0


def test_several_logs_have_one_numbering():
    first, second = (as_nmea(made_sky("open", 5.0, seed).looks) for seed in (1, 2))
    logs = [read_sky(first), read_sky(second)]
    record = record_of(logs)
    assert len(record.looks) == sum(len(log.epoch) for log in logs)
    assert len(record.satellites) == len({one for log in logs for one in log.satellites})
    assert set(record.groups) == {(kind, 1) for kind in ("gps", "glonass", "galileo", "beidou")}
    assert record_in({"job.toml": b""}) is None
