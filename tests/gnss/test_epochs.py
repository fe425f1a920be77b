"""Sentences to epochs: what belongs together, which day it is, what is believed. All places are invented."""

from datetime import UTC, datetime

import pytest

from satdiag.gnss.epochs import EpochBuilder
from satdiag.gnss.read import read_nmea
from tests.gnss.made import nmea, sentence, stream

PLACE = "4112.0000,N,09606.0000,W"


def rmc(time, day="030531", status="A", more=""):
    return f"GNRMC,{time},{status},{PLACE},0.1,,{day},,{more}"


def gga(time, quality=1, place=PLACE):
    return f"GNGGA,{time},{place},{quality},09,0.95,312.5,M,-27.0,M,,"


def gsv(number, satellite, level="40", talker="GP", signal="1"):
    return f"{talker}GSV,2,{number},02,{satellite:02d},38,351,{level},{signal}"


def at(hour, minute, second, day=3, month=5, year=2031):
    return datetime(year, month, day, hour, minute, second, tzinfo=UTC)


def told(*contents):
    """Of each epoch its time and the names of its satellites."""
    epochs = read_nmea(stream(*contents)).epochs
    return [(epoch.time, [view.satellite.name for view in epoch.satellites]) for epoch in epochs]


def test_time_first_and_satellites_after_it():
    burst = [gga, rmc]
    contents = [
        part
        for second in ("01", "02", "03")
        for part in [*(make(f"1340{second}") for make in burst), gsv(1, int(second)), gsv(2, 9)]
    ]
    assert told(*contents) == [(at(13, 40, n), [f"G0{n}", "G09"]) for n in (1, 2, 3)]


def test_satellites_first_and_time_after_them():
    contents = [part for n in (1, 2, 3) for part in (gsv(1, 9), gsv(2, n), gga(f"13400{n}"), rmc(f"13400{n}"))]
    assert told(*contents) == [(at(13, 40, n), [f"G0{n}", "G09"]) for n in (1, 2, 3)]


def test_satellites_between_the_timed_sentences():
    contents = [part for n in (1, 2) for part in (rmc(f"13400{n}"), gsv(1, n), gsv(2, 9), gga(f"13400{n}"))]
    assert told(*contents) == [(at(13, 40, n), [f"G0{n}", "G09"]) for n in (1, 2)]


def test_satellites_spread_over_several_cycles():
    contents = [rmc("134001"), gsv(1, 1), rmc("134002"), gsv(2, 2), rmc("134003"), gsv(1, 3)]
    assert told(*contents) == [(at(13, 40, 1), ["G01"]), (at(13, 40, 2), ["G02"]), (at(13, 40, 3), ["G03"])]


def test_groups_of_one_epoch_are_taken_together_however_they_are_numbered():
    restarts = [gsv(1, 1), gsv(2, 2), gsv(1, 1, "31", signal="6"), gsv(1, 7, talker="GL"), gsv(1, 8, talker="GA")]
    assert told(rmc("134001"), *restarts) == [(at(13, 40, 1), ["E08", "G01", "G02"])]
    one_run = [gsv(1, 1), gsv(2, 1, "31", signal="6")]
    assert told(rmc("134001"), *one_run) == [(at(13, 40, 1), ["G01"])]


def test_runs_of_one_talker_for_all_constellations_stay_together():
    combined = ["GNGSV,1,1,01,07,38,351,44", "GNGSV,1,1,01,70,20,040,39", "GNGSV,1,1,01,307,10,100,33"]
    assert told(*[rmc("134001"), *combined, rmc("134002"), *combined]) == [
        (at(13, 40, n), ["E07", "R06", "G07"]) for n in (1, 2)
    ]


def test_a_cold_start_without_any_time_still_has_epochs():
    contents = ["GPGGA,,,,,,0,,,,M,,M,,", "GPRMC,,V,,,,,,,,,,N", gsv(1, 15, "44")] * 3
    epochs = read_nmea(stream(*contents)).epochs
    assert len(epochs) == 3
    assert {(epoch.time, epoch.fix, epoch.fix_told, len(epoch.tracked)) for epoch in epochs} == {
        (None, None, True, 1)
    }


def test_only_satellites():
    assert told(*[gsv(1, 1), gsv(2, 2)] * 2) == [(None, ["G01", "G02"])] * 2


def test_over_midnight_with_the_date_in_some_sentences_only():
    contents = [rmc("235958", "311231"), gga("235959"), gga("000000"), gga("000001"), rmc("000002", "010132")]
    assert [time for time, _ in told(*contents)] == [
        at(23, 59, 58, 31, 12),
        at(23, 59, 59, 31, 12),
        at(0, 0, 0, 1, 1, 2032),
        at(0, 0, 1, 1, 1, 2032),
        at(0, 0, 2, 1, 1, 2032),
    ]


def test_a_late_sentence_belongs_to_the_day_before():
    assert [time for time, _ in told(rmc("000000", "010132"), gga("235959"))][1] == at(23, 59, 59, 31, 12)


def test_the_date_comes_from_zda_too_and_is_unknown_before():
    contents = [gga("134001"), gga("134002"), "GPZDA,134002.00,03,05,2031,00,00", gga("134003")]
    assert [time for time, _ in told(*contents)] == [None, at(13, 40, 2), at(13, 40, 3)]


@pytest.mark.parametrize(
    ("contents", "fixed"),
    [
        ([rmc("134001"), gga("134001")], True),
        ([rmc("134001")], True),
        ([gga("134001")], True),
        ([rmc("134001", status="V"), gga("134001")], False),
        ([rmc("134001"), gga("134001", 0)], False),
        ([rmc("134001", more=",N"), gga("134001")], False),
        ([rmc("134001", status=""), gga("134001", 23)], False),
        ([rmc("134001"), gga("134001", 23)], True),
        ([rmc("134001", status="V"), gga("134001", 8)], False),
        ([gga("134001", 1, ",,,")], False),
        ([rmc("134001"), gga("134001", 1, ",,,")], True),
    ],
)
def test_what_is_a_fix(contents, fixed):
    (epoch,) = read_nmea(stream(*contents)).epochs
    assert (epoch.fix is not None) is fixed
    if epoch.fix:
        assert epoch.fix.position == pytest.approx((41.2, -96.1), abs=1e-9)


def test_a_fix_holds_what_the_sentences_say_of_it():
    fix = read_nmea(stream(gga("134001", 4), rmc("134001"))).epochs[0].fix
    assert (fix.quality, fix.height_m, fix.satellites_used, fix.hdop) == ("rtk-fixed", 312.5, 9, 0.95)
    assert fix.speed_m_s == pytest.approx(0.0514, abs=1e-4)
    assert fix.course_deg is None
    assert not read_nmea(stream("GPZDA,134001.00,03,05,2031,00,00")).epochs[0].fix_told


def test_used_satellites_of_all_constellations():
    gsa = ["GNGSA,A,3,07,11,,,,,,,,,,,1.7,1.0,1.4,1", "GNGSA,A,3,07,,,,,,,,,,,,1.7,1.0,1.4,3"]
    (epoch,) = read_nmea(stream(rmc("134001"), *gsa)).epochs
    assert {satellite.name for satellite in epoch.used} == {"G07", "G11", "E07"}
    assert read_nmea(stream(rmc("134001"))).epochs[0].used is None


def test_a_wrong_checksum_is_never_believed():
    data = nmea(rmc("134001")) + nmea(gsv(1, 7)).replace(b",40,", b",41,") + nmea(gsv(2, 9))
    log = read_nmea(data)
    assert [view.satellite.name for view in log.epochs[0].satellites] == ["G09"]
    assert (log.counts.good, log.counts.bad) == (2, 1)


def test_a_device_without_checksums_is_believed_and_marked():
    data = b"".join(f"${content}\r\n".encode() for content in (rmc("134001"), gsv(1, 7), rmc("134002")))
    log = read_nmea(data)
    assert [(epoch.time, epoch.unchecked) for epoch in log.epochs] == [(at(13, 40, 1), True), (at(13, 40, 2), True)]
    assert (log.counts.absent, log.counts.not_believed) == (3, 0)


def test_a_sentence_that_lost_its_checksum_is_not_believed():
    """'4112.0000' cut to '4112.0' or '09606' to '096' would look sound."""
    data = nmea(rmc("134001")) + f"${gsv(1, 7)}\r\n".encode() + nmea(gsv(2, 9))
    log = read_nmea(data)
    assert [view.satellite.name for view in log.epochs[0].satellites] == ["G09"]
    assert not log.epochs[0].unchecked
    assert (log.counts.absent, log.counts.not_believed) == (1, 1)


def test_counts():
    data = stream(rmc("134001"), "GPGSV,1,1", "GPGSV,1,1,01,07,95,001,40") + b"\xff\xff\r\n$GPGGA,1$GPGGA"
    counts = read_nmea(data).counts
    assert (counts.sentences, counts.good, counts.unread, counts.impossible) == (3, 3, 1, 1)
    assert (counts.noise, counts.cut, counts.bad) == (2, 1, 0)


def test_levels_that_name_no_satellite_are_counted():
    assert read_nmea(stream("GLGSV,1,1,02,65,12,034,40,,,,52")).epochs[0].nameless == 1


def test_the_builder_hands_over_an_epoch_when_the_next_begins():
    builder = EpochBuilder()
    assert builder.add(sentence(rmc("134001"))) is None
    assert builder.add(sentence("GPTXT,01,01,02,demo")) is None
    assert builder.add(sentence(rmc("134002"))).time == at(13, 40, 1)
    assert builder.finish().time == at(13, 40, 2)
    assert builder.finish() is None
