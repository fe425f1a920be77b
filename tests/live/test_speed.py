"""The speed that is overheard: from real sentences on a real link, while they are recorded as they came."""

from __future__ import annotations

import pytest

from satdiag.gnss.sentences import checksum
from satdiag.live.speed import Speedometer
from satdiag.recorder.clock import Clock
from satdiag.recorder.gnss_source import GnssSource
from satdiag.store import read_job_file
from tests.live.rigs import new_job, running, until
from tests.recorder.conftest import nothing_is_left  # noqa: F401
from tests.recorder.devices import TcpDevice

KNOT_M_S = 1852 / 3600
"""The international knot: one nautical mile (1852 m) an hour (BIPM, SI brochure, 8th edition, table 8)."""

RMC = b"$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A\r\n"
"""A sentence printed in many descriptions of NMEA 0183 (from memory): valid, 22.4 knots."""


def sentence(body):
    return f"${body}*{checksum(body.encode()):02X}\r\n".encode()


def moving(knots, status="A", mode="A"):
    return sentence(f"GPRMC,123520,{status},4807.038,N,01131.000,E,{knots},084.4,230394,,,{mode}")


def test_the_speed_is_told_with_its_age_and_the_sentences_are_kept_as_they_came(tmp_path):
    place = new_job(tmp_path / "demo.satjob")
    clock = Clock()
    with TcpDevice() as device, running(place, sources=[GnssSource(device.where, clock)], clock=clock) as deck:
        assert (deck.state(None)["speed_m_s"], deck.state(None)["speed_age_s"]) == (None, None)
        device.say(RMC)
        state = until(lambda: (found := deck.state(None))["speed_m_s"] is not None and found)
        assert state["speed_m_s"] == pytest.approx(22.4 * KNOT_M_S, abs=0.051)
        assert 0 <= state["speed_age_s"] < 60
        device.say(moving("0.0"))
        until(lambda: deck.state(None)["speed_m_s"] == 0)
    job = read_job_file(place)
    (kept,) = [data for name, data in job.documents.items() if name.endswith(".nmea")]
    assert kept == RMC + moving("0.0")


@pytest.mark.parametrize(
    ("said", "m_s"),
    [
        (RMC, 11.5),
        (moving("10.0", mode="E"), 5.1),
        (moving("10.0", mode="S"), None),
        (moving("10.0", mode="M"), None),
        (moving("10.0", status="V"), None),
        (moving(""), None),
        (RMC.replace(b"022.4", b"099.9"), None),
        (sentence("GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,"), None),
        (b"\x00\xff noise\r\n", None),
    ],
)
def test_only_a_speed_that_was_measured_counts(said, m_s):
    clock, speedometer = Clock(), Speedometer()
    with TcpDevice() as device:
        (source,) = speedometer.beside([GnssSource(device.where, clock)])
        source.open()
        device.say(said)
        lines = until(lambda: source.read())
        source.close()
    assert lines[0].data == said.rstrip(b"\r\n")
    assert speedometer.now(clock.now()).speed_m_s == m_s


def test_a_file_of_sentences_tells_of_earlier(tmp_path):
    place = tmp_path / "demo.nmea"
    place.write_bytes(RMC)
    source = GnssSource(str(place), Clock())
    assert Speedometer().beside([source]) == [source]
