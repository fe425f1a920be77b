"""The reader on real receivers' logs (python scripts/captures.py brings them), against pynmeagps.

Every difference belongs to a named class below that says why it is there; a class's count is asserted for the release
of the logs that it was counted in. A difference without a class fails.
"""

import io
import os
from collections import Counter
from datetime import timedelta
from itertools import pairwise
from pathlib import Path

import numpy as np
import pymap3d
import pynmeagps
import pynmeagps.exceptions
import pytest

from satdiag.gnss.epochs import EpochBuilder
from satdiag.gnss.fixes import parse_gga, parse_gsa, parse_rmc, parse_zda
from satdiag.gnss.read import read_nmea
from satdiag.gnss.satellites import parse_gsv
from satdiag.gnss.sentences import Sentence, sentences

FOLDER = Path(os.environ.get("SATDIAG_CAPTURES") or Path(__file__).parents[2] / "captures")
COUNTED_IN = "gpsd_3.22.orig.tar.xz"
KNOT_M_S = 0.514444444

FOUND = {
    "sentences": 28473,
    # `!` starts a sentence too (IEC 61162-1, encapsulated ones, here AIS); pynmeagps reads `$` only.
    "starts with !": 1772,
    # pynmeagps's stream reader passes over every `$Q`: the letter is missing in its list of first letters.
    "talker Q": 104,
    # A sentence in the line of another that was cut, or of binary data: pynmeagps loses all of the line.
    "behind another start": 15,
    "before another start": 5,
    # pynmeagps wants a number where a maker's own sentence has a letter, and refuses the sentence.
    "field refused": 2,
}
NOT_FOUND = {
    # `bad` is the checksum, one that is not there in full too; `absent`: 13 of a device that sends none.
    "bad": 94,
    "absent": 22,
    "not believed": 9,
    # The next sentence, or the end of the log, came in the middle of it.
    "cut": 5,
}
IN_VIEW = {
    "GSV": 6257,
    "no checksum": 6,
    "signal id": 1905,
    # One sentence in the comment of a log, to show what overwritten lines look like; its checksum is made to fit.
    "no known form": 1,
    "entries": 21374,
    "empty entries": 378,
    "direction": 20440,
    "direction 0/0": 277,
    "C/N0": 15480,
    "C/N0 0": 240,
    "C/N0 1 to 7": 37,
}
PLACED = {"RMC": 2944, "GGA": 3103, "ZDA": 796, "positions": 5527, "no place on earth": 43}
USED = {
    "GSA": 2981,
    # One device sends three empty fields and nothing more while it has no fix.
    "no known form": 1,
    "used": 15721,
}

SLOTS_DEG = {
    138: -107.3,  # lefebure.com/articles/waas-satellites, 2011
    135: -133.0,  # the same
    120: -15.5,  # from memory
    124: 21.5,  # from memory
}
"""Longitudes at which satellites of PRN stood from 2006 to 2020. Some were moved later."""

GEOSTATIONARY_M = 42_164e3
"""Radius of the geostationary orbit: 86164.1 s and GM of WGS84 put into Kepler's third law."""


@pytest.fixture(scope="module")
def captures():
    """The name of the tarball, and the logs by name."""
    stamp = FOLDER / "BROUGHT"
    if not stamp.is_file():
        missing = f"no captures in {FOLDER}: python scripts/captures.py brings them"
        if os.environ.get("CI"):
            pytest.fail(missing)
        pytest.skip(missing)
    tarball, *names = stamp.read_text("utf-8").splitlines()
    return tarball, {name: (FOLDER / name).read_bytes() for name in names}


@pytest.fixture(scope="module")
def skies(captures):
    """What our reader makes of each log."""
    return {name: read_nmea(data) for name, data in captures[1].items()}


def assert_counts(tarball, counted, expected):
    """The counts themselves hold for one release of the logs; that nothing is unexplained holds for all."""
    if tarball == COUNTED_IN:
        assert dict(counted) == expected


def theirs_in(data):
    """The content of every sentence that pynmeagps finds in a stream."""
    reader = pynmeagps.NMEAReader(io.BytesIO(data), quitonerror=pynmeagps.ERR_IGNORE)
    return Counter(pynmeagps.get_parts(raw)[0] for raw, message in reader if message is not None)


def their_reading(content):
    """One sentence as pynmeagps reads it, with a checksum made by it."""
    return pynmeagps.NMEAReader.parse(f"${content}*{pynmeagps.calc_checksum(content)}\r\n".encode())


def refused(content):
    """Whether pynmeagps raises for the type of a field."""
    try:
        their_reading(content)
    except pynmeagps.exceptions.NMEATypeError:
        return True
    return False


def why_only_ours(content, data):
    """The class of a sentence that pynmeagps does not find, for each time that it stands in a log."""
    body = content.encode("latin-1")
    for line in data.split(b"\n"):
        before, start, behind = line.partition(b"$" + body + b"*")
        if b"!" + body + b"*" in line:
            yield "starts with !"
        elif not start:
            continue
        elif b"$" in before:
            yield "behind another start"
        elif behind[2:].strip():
            yield "before another start"
        elif content.startswith("Q"):
            yield "talker Q"
        elif refused(content):
            yield "field refused"


def test_the_same_sentences_are_found(captures):
    tarball, logs = captures
    counted, unexplained = Counter(), []
    for name, data in logs.items():
        pieces = list(sentences(data))
        ours = Counter(each.content for each in pieces if isinstance(each, Sentence) and each.checksum == "good")
        theirs = theirs_in(data)
        counted["sentences"] += ours.total()
        unexplained += [(name, content) for content in theirs - ours]
        for content, number in (ours - theirs).items():
            classes = list(why_only_ours(content, data))
            counted.update(classes)
            unexplained += [] if len(classes) == number else [(name, content)]
    assert unexplained == []
    assert_counts(tarball, counted, FOUND)


def test_what_is_not_believed(captures, skies):
    tarball, logs = captures
    counted = Counter()
    for name, data in logs.items():
        counts = skies[name].counts
        assert counts.sentences == counts.good + counts.bad + counts.absent
        assert counts.impossible == 0
        counted += Counter(bad=counts.bad, absent=counts.absent, cut=counts.cut)
        counted["not believed"] += counts.not_believed
        for each in sentences(data):
            if isinstance(each, Sentence) and each.checksum == "bad":
                body = each.content.encode("latin-1")
                shown = {line.partition(b"$" + body + b"*")[2] for line in data.split(b"\n") if body + b"*" in line}
                assert any(text[:2].upper() != pynmeagps.calc_checksum(body.decode()).encode() for text in shown)
    assert_counts(tarball, counted, NOT_FOUND)


def believed_sentences(logs):
    """Every sentence that is believed: with a good checksum, or of a device that sends none."""
    for data in logs.values():
        builder = EpochBuilder()
        for each in sentences(data):
            if isinstance(each, Sentence):
                builder.add(each)
                if builder.believes(each):
                    yield each


def field(message, name):
    """A value of pynmeagps, None where the field is empty, missing or means nothing."""
    value = getattr(message, name, "")
    return None if value == "" else value


def their_satellites(message):
    """(number, elevation, azimuth, C/N0) of each entry that holds any, and how many hold none."""
    found, number = [], 1
    while hasattr(message, f"svid_{number:02d}"):
        found.append(tuple(field(message, f"{name}_{number:02d}") for name in ("svid", "elv", "az", "cno")))
        number += 1
    kept = [entry for entry in found if entry != (None,) * 4]
    return kept, len(found) - len(kept)


def rinex_name(talker, number):
    """Name of a satellite by RINEX 3.05, tables of section 3.5, from the numbers of the receivers' descriptions."""
    if talker in ("GP", "GN"):
        ranges = ((32, "G", 0), (64, "S", 13), (99, "R", 64), (158, "S", 100), (202, "J", 192), (336, "E", 300))
        for last, letter, less in (*ranges, (463, "C", 400)):
            if number <= last:
                return f"{letter}{number - less:02d}"
    if talker == "GL":
        return f"R{number - 64:02d}"
    letter = {"GA": "E", "GB": "C", "BD": "C", "QZ": "J", "GQ": "J"}[talker]
    return f"{letter}{number - 192 if letter == 'J' and number > 192 else number % 100:02d}"


def expected_entry(talker, entry, counted):
    """What is to be made of an entry as pynmeagps reads it; counts what is left out on purpose, and why."""
    number, elevation, azimuth, level = entry
    counted["entries"] += 1
    if elevation == 0 and azimuth == 0:  # before a receiver knows where a satellite is
        counted["direction 0/0"] += 1
        elevation = azimuth = None
    if level is not None and level < 8:  # still searching
        counted["C/N0 0" if level == 0 else "C/N0 1 to 7"] += 1
        level = None
    if number is None:  # GLONASS before its slot is known
        counted["no number"] += 1
    counted["direction"] += elevation is not None and azimuth is not None
    counted["C/N0"] += level is not None
    return (rinex_name(talker, number) if number is not None else None, elevation, azimuth, level)


def test_satellites_in_view(captures):
    tarball, logs = captures
    counted = Counter()
    for sentence in believed_sentences(logs):
        if sentence.type != "GSV":
            continue
        counted["GSV"] += 1
        counted["no checksum"] += sentence.checksum == "absent"
        ours = parse_gsv(sentence)
        if ours is None:  # four fields too few or one too many: lines run into each other
            assert len(sentence.fields) % 4 not in (3, 0)
            counted["no known form"] += 1
            continue
        content, talker = sentence.content, sentence.talker
        if talker == "PQ":  # pynmeagps reads no satellites of this form: as BeiDou's it does, without the system id
            assert not hasattr(their_reading(content), "svid_01")
            content, talker = content.rpartition(",")[0].replace("PQ", "GB", 1), {"4": "GB", "5": "GQ"}[content[-1]]
            counted["PQGSV"] += 1
        message = their_reading(content)
        theirs, empty = their_satellites(message)
        counted["empty entries"] += empty
        assert ours.impossible == 0
        assert [(entry.satellite and entry.satellite.name, *entry[1:]) for entry in ours.entries] == [
            expected_entry(talker, entry, counted) for entry in theirs
        ], sentence
        signal = field(message, "signalID")
        counted["signal id"] += signal is not None
        assert ours.signal_id == (None if signal is None else int(signal, 16))
        assert ours.number == message.msgNum
    assert_counts(tarball, counted, IN_VIEW)


def test_times_and_positions(captures):
    tarball, logs = captures
    counted = Counter()
    parsers = {"RMC": parse_rmc, "GGA": parse_gga, "ZDA": parse_zda}
    for sentence in believed_sentences(logs):
        if sentence.type not in parsers:
            continue
        counted[sentence.type] += 1
        ours, message = parsers[sentence.type](sentence), their_reading(sentence.content)
        time = field(message, "time")
        day_us = None
        if time is not None:
            day_us = ((time.hour * 60 + time.minute) * 60 + time.second) * 1_000_000 + time.microsecond
        assert ours.time_us == day_us, sentence
        if sentence.type == "ZDA":
            theirs = [field(message, name) for name in ("year", "month", "day")]
            assert ours.date is None if None in theirs else [ours.date.year, ours.date.month, ours.date.day] == theirs
            continue
        latitude, longitude = field(message, "lat"), field(message, "lon")
        if ours.position is None and None not in (latitude, longitude):  # 36000 N 72000 E, or 60 minutes of a degree
            counted["no place on earth"] += 1
            assert not ours.valid
            assert (latitude, longitude) == (360, 720) or "60.0000" in sentence.content
        elif ours.position is None:
            assert latitude is None or longitude is None, sentence
        else:
            counted["positions"] += 1
            assert ours.position == pytest.approx((latitude, longitude), abs=1e-9)
        if sentence.type == "RMC":
            assert ours.date == field(message, "date"), sentence
            speed, course = field(message, "spd"), field(message, "cog")
            assert ours.speed_m_s == (None if speed is None else pytest.approx(speed * KNOT_M_S, rel=1e-6))
            assert ours.course_deg == course, sentence
            status, mode = field(message, "status"), field(message, "posMode")
            assert ours.valid == (None if status is None else status == "A" and mode != "N"), sentence
        else:
            quality = field(message, "quality")
            if quality is not None and quality > 8:
                counted["a quality that is none"] += 1
                quality = None
            assert ours.valid == (None if quality is None else quality > 0)
            assert ours.hdop == field(message, "HDOP")
            assert ours.height_m == field(message, "alt")
            assert ours.satellites_used == field(message, "numSV")
    assert_counts(tarball, counted, PLACED)


def test_satellites_used(captures):
    tarball, logs = captures
    counted = Counter()
    for sentence in believed_sentences(logs):
        if sentence.type != "GSA":
            continue
        counted["GSA"] += 1
        ours = parse_gsa(sentence)
        if ours is None:
            counted["no known form"] += 1
            continue
        content = sentence.content
        if sentence.talker == "PQ":  # pynmeagps reads no satellites of this form: as the combined talker's it does
            content = content.replace("PQ", "GN", 1)
            counted["PQGSA"] += 1
        message = their_reading(content)
        numbers = [field(message, f"svid_{slot:02d}") for slot in range(1, 13)]
        system = field(message, "systemId")
        talker = {"1": "GP", "2": "GL", "3": "GA", "4": "GB", "5": "GQ"}.get(system, sentence.talker)
        theirs = {rinex_name(talker, number) for number in numbers if number is not None}
        counted["used"] += len(theirs)
        assert {satellite.name for satellite in ours.used} == theirs, sentence
    assert_counts(tarball, counted, USED)


def test_epochs_are_the_same_however_a_log_is_cut_up(captures, skies):
    random = np.random.default_rng(7)
    for name, data in captures[1].items():
        cuts = np.sort(random.integers(0, len(data) + 1, len(data) // 200))
        parts = (data[start:end] for start, end in pairwise([0, *cuts.tolist(), len(data)]))
        assert read_nmea(parts) == skies[name]


def test_an_epoch_has_a_fix_where_its_sentences_have(captures, skies):
    """RMC and GGA of one time, taken together; an epoch before the first date has no time."""
    parsers = {"RMC": parse_rmc, "GGA": parse_gga}
    for name, data in captures[1].items():
        told = {}
        for sentence in believed_sentences({name: data}):
            if sentence.type in parsers:
                ours = parsers[sentence.type](sentence)
                told.setdefault(ours.time_us, []).append(bool(ours.valid and ours.position))
        expected = {time_us for time_us, valid in told.items() if all(valid)}
        fixed = [epoch.time for epoch in skies[name].epochs if epoch.fix]
        found = {(time - time.replace(hour=0, minute=0, second=0, microsecond=0)) for time in fixed if time}
        found_us = {time // timedelta(microseconds=1) for time in found}
        assert found_us <= expected
        assert len(expected - found_us) <= fixed.count(None)


def longitude_below(epoch, view):
    """Longitude and latitude below a satellite at geostationary height in the direction in which it is seen."""
    latitude, longitude = epoch.fix.position
    here = (latitude, longitude, epoch.fix.height_m or 0.0)
    origin = np.array(pymap3d.geodetic2ecef(*here))
    ray = (np.array(pymap3d.aer2ecef(view.azimuth_deg, view.elevation_deg, 1000.0, *here)) - origin) / 1000.0
    along = -origin @ ray + np.sqrt((origin @ ray) ** 2 - origin @ origin + GEOSTATIONARY_M**2)
    x, y, z = origin + along * ray
    return np.degrees(np.arctan2(y, x)), np.degrees(np.arcsin(z / GEOSTATIONARY_M))


def test_augmentation_satellites_stand_where_they_stood(skies):
    """Position, number, azimuth and elevation together: each satellite is above its slot on the equator."""
    looked = Counter()
    for log in skies.values():
        seen = {}
        for epoch in log.epochs:
            for view in epoch.tracked if epoch.fix and epoch.time and epoch.time.year <= 2020 else ():
                if view.satellite.constellation == "sbas" and None not in (view.elevation_deg, view.azimuth_deg):
                    seen.setdefault(view.satellite.number, []).append(longitude_below(epoch, view))
        for number in seen.keys() & SLOTS_DEG.keys():
            longitude, latitude = np.median(seen[number], axis=0)
            assert longitude == pytest.approx(SLOTS_DEG[number], abs=1.0)
            assert latitude == pytest.approx(0.0, abs=1.0)
            looked[number] += 1
    assert set(looked) == set(SLOTS_DEG)
