"""Logs as arrays: the same satellites as sentence by sentence, and the numbers that pynmeagps finds."""

import io
import os
from collections import Counter
from pathlib import Path
from random import Random

import numpy as np
import pynmeagps
import pytest
from hypothesis import given
from hypothesis import strategies as st

from satdiag.gnss.bulk import read_sky
from satdiag.gnss.identity import Satellite
from satdiag.gnss.read import read_nmea
from tests.gnss.made import nmea, stream

CAPTURES = Path(os.environ.get("SATDIAG_CAPTURES") or Path(__file__).parents[2] / "captures")
RMC = "GNRMC,{clock},A,4512.0000,N,01006.0000,W,{knots},90.0,030531,,,A"

PIECES = (
    "GPGSV,2,1,07,05,41,120,44,07,08,310,,09,63,200,47,12,00,000,45,1",
    "GPGSV,2,2,07,13,15,033,05,40,30,180,38,,,,50,1",
    "GPGSV,1,1,02,05,41,120,39,07,08,310,21,6",
    "GLGSV,1,1,03,66,41,012,33,70,5,360,,,,,52,1",
    "GAGSV,1,1,02,11,45,250,40,12,20,100,,7",
    "GBGSV,1,1,03,21,45,250,41,33,95,100,30,22,20,100,30,1",
    "PQGSV,1,1,02,09,16,120,44,10,30,060,,0,4",
    "GPGSV,1,1,00,1",
    "GPGSV,1,1,03,01,40,083,46,02",
    "GQGSV,1,1,01,02,70,010,42.5,1",
    "GPGSV,1,1,04,1.5,40,083,46,+2,17,308,41,9999999999,07,344,30,00019,07,344,31,1",
    "GPGSV,1,1,02,1e9,40,083,46,04,17,308,41,1",
    "GPGSV,1,99999999999999999999,01,04,17,308,41,1",
    "GPTXT,01,01,02,hello",
)


def counted(data):
    """Every (satellite, azimuth, elevation, C/N0 or None if untracked) of a log, sentence by sentence."""
    found = Counter()
    for epoch in read_nmea(data).epochs:
        for view in epoch.satellites:
            if view.azimuth_deg is None or view.elevation_deg is None:
                continue
            level = view.cn0_db_hz
            if level is None and view.tracked:
                level = max(level for _, level in view.signals)
            found[view.satellite, view.azimuth_deg, view.elevation_deg, level] += 1
    return found


def as_arrays(data):
    """The same from the arrays."""
    rows = read_sky(data)
    levels = [None if np.isnan(level) else float(level) for level in rows.cn0_db_hz]
    return Counter(
        (rows.satellites[one], float(azimuth), float(elevation), level)
        for one, azimuth, elevation, level in zip(
            rows.satellite, rows.azimuth_deg, rows.elevation_deg, levels, strict=True
        )
    )


def test_the_same_satellites_as_sentence_by_sentence():
    data = b""
    for second in range(30):
        data += stream(RMC.format(clock=f"1400{second:02d}.00", knots="0.0"), *PIECES)
    assert as_arrays(data) == counted(data)
    assert as_arrays(data)[Satellite("gps", 5), 120.0, 41.0, 44.0] == 30  # the primary signal, not the second
    assert as_arrays(data)[Satellite("gps", 7), 310.0, 8.0, 21.0] == 30  # tracked on the second alone


def test_bad_and_missing_checksums():
    good = stream(RMC.format(clock="140000.00", knots="0.0"), PIECES[0])
    spoilt = nmea(PIECES[4]).replace(b"250", b"251")
    bare = f"${PIECES[5]}\r\n".encode()
    assert as_arrays(good + spoilt + bare) == as_arrays(good) == counted(good)
    alone = b"".join(f"${text}\r\n".encode() for text in (RMC.format(clock="140000.00", knots="1"), PIECES[0]))
    assert as_arrays(alone) == counted(alone)
    assert sum(as_arrays(alone).values()) == 3


def test_noise_between_sentences_costs_none_of_them():
    one = stream(RMC.format(clock="140000.00", knots="0.0"))
    data = one + b"\x00\xff$$GG" + nmea(PIECES[0]) + b"$GPGSV,1,1,01," + nmea(PIECES[4]) + b"$GP"
    assert as_arrays(data) == counted(data)
    for cut in (b"", b"\x00" * 40, b"$", b"\r\n" * 5):
        assert sum(as_arrays(cut).values()) == 0


def test_time_place_and_speed():
    clocks = ["235959.00", "000000.00", "000001.00"]
    data = b"".join(
        stream(RMC.format(clock=clock, knots="3.6").replace("030531", date), PIECES[0])
        for clock, date in zip(clocks, ("030531", "040531", ""), strict=True)
    )
    track = read_sky(data).track
    assert track.timed
    assert np.diff(track.time_s) == pytest.approx([1.0, 1.0])
    assert track.time_s[0] == 1935619199.0  # `date -u -d '2031-05-03 23:59:59' +%s`
    assert track.latitude_deg == pytest.approx(45.2)
    assert track.longitude_deg == pytest.approx(-10.1)
    assert track.speed_m_s == pytest.approx(3.6 * 1852 / 3600)


def test_without_a_fix_there_is_no_place_and_without_a_time_epochs_are_counted():
    void = stream(RMC.format(clock="140000.00", knots="0.0").replace(",A,45", ",V,45"), PIECES[0])
    assert np.isnan(read_sky(void).track.latitude_deg).all()
    rows = read_sky(stream(*PIECES[:2]) * 5)
    assert not rows.track.timed
    assert rows.track.time_s.tolist() == [0.0, 1.0, 2.0, 3.0, 4.0]
    assert np.bincount(rows.epoch).tolist() == [5] * 5


def test_blocks_of_any_length_are_joined(monkeypatch):
    data = b"".join(
        stream(RMC.format(clock=f"14{second // 60:02d}{second % 60:02d}.00", knots="0.0"), *PIECES)
        for second in range(100)
    )
    whole = as_arrays(data)
    monkeypatch.setattr("satdiag.gnss.bulk.BLOCK", 700)
    assert as_arrays(data) == whole


@given(st.binary(max_size=200), st.integers(0, 12), st.integers(0, 60))
def test_any_bytes_are_taken(junk, which, at):
    sound = stream(RMC.format(clock="140000.00", knots="0.0"), *PIECES)
    spot = min(len(sound), 37 * which + at)
    rows = read_sky(sound[:spot] + junk + sound[spot:])
    assert len(rows.epoch) == len(rows.cn0_db_hz)
    read_sky(junk)


def test_numbers_are_those_of_pynmeagps():
    data = stream(RMC.format(clock="140000.00", knots="0.0"), PIECES[0], PIECES[4])
    wanted = set()
    for _, message in pynmeagps.NMEAReader(io.BytesIO(data)):
        for at in range(1, 5):
            if message.msgID == "GSV" and getattr(message, f"svid_{at:02d}", ""):
                parts = (getattr(message, f"{name}_{at:02d}") for name in ("svid", "az", "elv", "cno"))
                number, azimuth, elevation, level = parts
                if (azimuth, elevation) != (0, 0):
                    wanted.add((int(number), azimuth, elevation, level if level != "" else None))
    found = {(satellite.number, *rest) for satellite, *rest in as_arrays(data)}
    assert found == wanted


@pytest.mark.skipif(not CAPTURES.is_dir(), reason="no captures: python scripts/captures.py brings them")
def test_logs_of_real_receivers():
    ours, theirs, common = 0, 0, 0
    for path in sorted(CAPTURES.glob("*.log")):
        one, other = as_arrays(path.read_bytes()), counted(path.read_bytes())
        ours, theirs, common = ours + one.total(), theirs + other.total(), common + (one & other).total()
    # Epochs without a time of their own are merged here; else they agree.
    assert ours > 5000
    assert common >= 0.99 * ours
    assert common >= 0.9 * theirs


TWICE = {
    "in one sentence": (["GPGSV,1,1,02,05,41,120,44,05,42,121,39,1"], (121.0, 42.0, 39.0)),
    "in two of a run": (["GPGSV,2,1,05,05,41,120,44,1", "GPGSV,2,2,05,05,42,121,46,1"], (121.0, 42.0, 46.0)),
    "then without C/N0": (["GPGSV,2,1,05,05,41,120,44,1", "GPGSV,2,2,05,05,42,121,,1"], (120.0, 41.0, 44.0)),
    "then without a direction": (["GPGSV,2,1,05,05,41,120,44,1", "GPGSV,2,2,05,05,,,40,1"], (120.0, 41.0, 44.0)),
    "complete the second time": (["GPGSV,2,1,05,05,41,120,,1", "GPGSV,2,2,05,05,42,121,40,1"], (121.0, 42.0, 40.0)),
    "on two signals": (["GPGSV,1,1,01,05,41,120,39,6", "GPGSV,1,1,01,05,42,121,44,1"], (120.0, 41.0, 44.0)),
    "by two talkers": (["GPGSV,1,1,01,05,41,120,39,1", "GNGSV,1,1,01,05,42,121,44,1"], (121.0, 42.0, 44.0)),
}
"""Of a satellite that an epoch lists twice: (azimuth, elevation, C/N0) of the last complete entry of each signal.

NMEA 0183 has one C/N0 of a satellite and signal in a cycle; which of two counts is judgement.
"""


@pytest.mark.parametrize("how", TWICE)
def test_a_satellite_that_an_epoch_lists_twice_is_counted_once_by_both_ways(how):
    parts, (azimuth, elevation, level) = TWICE[how]
    data = b"".join(
        stream(RMC.format(clock=f"1400{second:02d}.00", knots="0.0"), *parts, PIECES[3]) for second in range(5)
    )
    assert as_arrays(data) == counted(data)
    of_it = {key[1:]: count for key, count in counted(data).items() if key[0] == Satellite("gps", 5)}
    assert of_it == {(azimuth, elevation, level): 5}


def test_lists_with_satellites_named_again_and_again_are_read_alike_by_both_ways():
    draw = Random(5)
    data = b""
    for second in range(200):
        cells = [
            ",".join(
                f"{draw.choice(one)}" for one in ([1, 2, 3, 4, 5, 6], ["", 20, 40], ["", 90, 180], ["", 5, 30, 45])
            )
            for _ in range(12)
        ]
        parts = [f"GPGSV,3,{n + 1},12,{','.join(cells[4 * n : 4 * n + 4])},{draw.choice('16')}" for n in range(3)]
        data += stream(RMC.format(clock=f"14{second // 60:02d}{second % 60:02d}.00", knots="0.0"), *parts)
    assert as_arrays(data) == counted(data)
    assert sum(counted(data).values()) > 500
