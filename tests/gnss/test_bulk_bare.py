"""Lines of devices that send no checksum, spoilt ones too: the arrays hold what is read sentence by sentence."""

import numpy as np
import pytest

from satdiag.gnss.bulk import read_sky
from satdiag.gnss.read import read_nmea
from tests.gnss.made import stream

RMC = b"GPRMC,120001,A,4512.0000,N,01006.0000,W,0.0,90.0,030531,,,A"
GSV = b"GPGSV,1,1,02,05,41,120,44,07,08,310,40"
SOUND = b"$GPRMC,120000,A,4512.0000,N,01006.0000,W,0.0,90.0,030531,,,A\r\n$GPGSV,1,1,01,09,41,120,44\r\n"


def rows(data):
    """(satellite, azimuth, C/N0, UTC in seconds from 1970) of each satellite, by both ways of reading."""
    sky = read_sky(data)
    arrays = {
        (sky.satellites[satellite], azimuth, level, sky.track.time_s[epoch] if sky.track.timed else None)
        for epoch, satellite, azimuth, level in zip(
            sky.epoch.tolist(), sky.satellite.tolist(), sky.azimuth_deg.tolist(), sky.cn0_db_hz.tolist(), strict=True
        )
    }
    one_by_one = {
        (view.satellite, view.azimuth_deg, view.cn0_db_hz, epoch.time.timestamp() if epoch.time else None)
        for epoch in read_nmea(data).epochs
        for view in epoch.satellites
    }
    return arrays, one_by_one


@pytest.mark.parametrize(
    ("line", "more"),
    [
        (b"$" + GSV + b"\r\n", 2),
        (b"$" + GSV + b" \t\r\n", 2),
        (b"$" + GSV + b" \n", 2),
        (b"$" + GSV + b"\xff\r\n", 0),
        (b"$" + GSV.replace(b"41", b"4\x01") + b"\r\n", 0),
        (b"$" + GSV + b"$GPTXT,01,01,02,cut off\r\n", 0),
        (b"$gp" + GSV[2:] + b"\r\n", 0),
        (b"$.." + GSV[2:] + b"\r\n", 0),
        (b"$P1" + GSV[2:] + b"\r\n", 0),
        (b"$" + RMC + b"\x01\r\n$" + GSV + b"\r\n", 2),
        (b"$" + RMC + b"$GPTXT,01,01,02,cut off\r\n$" + GSV + b"\r\n", 2),
        (b"$" + RMC + b"!AIVDM,1\r\n$" + GSV + b"\r\n", 2),
        (b"$" + RMC + b" \r\n$" + GSV + b"\r\n", 2),
        (b"$.." + RMC[2:] + b"\r\n$" + GSV + b"\r\n", 2),
        (b"$,,,,,,,,,\r\n$\r\n$ \t\r\n\r\n$", 0),
    ],
)
def test_lines_without_a_checksum_are_believed_by_both_ways_or_by_neither(line, more):
    arrays, one_by_one = rows(SOUND + line)
    assert arrays == one_by_one
    assert len(arrays) == 1 + more


def test_an_address_that_is_none_tells_no_time_with_a_good_checksum_either():
    odd = stream("..RMC,130000,A,4512.0000,N,01006.0000,W,0.0,90.0,030531,,,A")
    checked = stream("GPRMC,120000,A,4512.0000,N,01006.0000,W,0.0,90.0,030531,,,A", "GPGSV,1,1,01,09,41,120,44")
    arrays, one_by_one = rows(checked + odd)
    assert arrays == one_by_one
    assert np.ptp(read_sky(checked + odd).track.time_s) == 0.0
