"""Any bytes at all: no error, counts that add up, and the same result however a log is cut up."""

from itertools import pairwise

import pynmeagps
from hypothesis import given
from hypothesis import strategies as st

from satdiag.gnss.read import read_nmea
from satdiag.gnss.sentences import Sentence, sentences

TYPES = st.sampled_from(["RMC", "GGA", "GSA", "GSV", "ZDA", "TXT"])
TALKERS = st.sampled_from(["GP", "GN", "GL", "GA", "GB", "BD", "GQ", "QZ", "GI", "PQ", "XX"])
WORDS = st.one_of(
    st.sampled_from(["", "A", "V", "N", "E", "W", "B", ".", "-", "²", " ", "1e9", "nan", "-1", "999999999999"]),
    st.sampled_from(["0", "1", "2", "3", "07", "33", "45", "65", "199", "360", "000"]),
    st.sampled_from(["4112.0", "09606.5", "134001", "134001.50", "235960", "030531", "2031"]),
)
CONTENTS = st.builds(
    lambda talker, kind, fields: ",".join([talker + kind, *fields]), TALKERS, TYPES, st.lists(WORDS, max_size=24)
)


def whole(content):
    return f"${content}*{pynmeagps.calc_checksum(content)}\r\n".encode("latin-1")


def bare(content):
    return f"${content}\r\n".encode("latin-1")


PIECES = st.one_of(
    st.binary(max_size=40),
    CONTENTS.map(whole),
    CONTENTS.map(bare),
    CONTENTS.map(lambda content: whole(content)[:-6]),
    st.sampled_from([b"$", b"!", b"*", b"$$", b"\r", b"\n", b"$GPGGA,", b"!AIVDM,1", b"*00\r\n"]),
)


@given(st.binary(max_size=500))
def test_any_bytes(data):
    read_nmea(data)


@given(st.lists(PIECES, max_size=30).map(b"".join), st.data())
def test_any_mixture_of_sentences_and_rubbish(data, draws):
    log = read_nmea(data)
    counts = log.counts
    assert counts.sentences == counts.good + counts.bad + counts.absent
    assert counts.not_believed <= counts.absent
    ends = sorted([0, *draws.draw(st.lists(st.integers(0, len(data)), max_size=6)), len(data)])
    assert read_nmea(data[start:end] for start, end in pairwise(ends)) == log
    for epoch in log.epochs:
        for view in epoch.satellites:
            assert view.elevation_deg is None or -90 <= view.elevation_deg <= 90
            assert view.azimuth_deg is None or 0 <= view.azimuth_deg < 360
            assert view.tracked is bool(view.signals)
            assert view.cn0_db_hz is None or 8 <= view.cn0_db_hz < 100
            assert view.satellite.name[0] in "GRECJIS"


@given(st.lists(CONTENTS, max_size=20))
def test_every_whole_sentence_is_found_as_it_was_written(contents):
    found = list(sentences(b"".join(map(whole, contents))))
    assert [each.content for each in found] == contents
    assert all(isinstance(each, Sentence) and each.checksum == "good" for each in found)
