"""Framing and checksums: every way in which receivers were seen to break a line, with sentences of our own making."""

from itertools import pairwise

import pynmeagps
import pytest
from hypothesis import given
from hypothesis import strategies as st

from satdiag.gnss.sentences import LONGEST_LINE, Flaw, LineCutter, Sentence, checksum, sentences, sentences_in
from tests.gnss.made import nmea

GSV = "GPGSV,1,1,02,07,38,351,44,11,73,114,"


def kinds(data):
    """Of each piece its checksum state, or the kind of flaw."""
    return [each.checksum if isinstance(each, Sentence) else each.kind for each in sentences(data)]


def test_a_sentence():
    assert sentences_in(nmea(GSV)) == [
        Sentence("GP", "GSV", ("1", "1", "02", "07", "38", "351", "44", "11", "73", "114", ""), "good")
    ]


@given(st.binary(max_size=200))
def test_the_checksum_is_that_of_the_reference_library(body):
    text = body.decode("latin-1").translate({ord("$"): None, ord("*"): None}).encode("latin-1").decode("latin-1")
    assert f"{checksum(text.encode('latin-1')):02X}" == _reference(text)


def _reference(text):
    """The checksum by pynmeagps, for texts of one byte a character."""
    return pynmeagps.calc_checksum(text)


@pytest.mark.parametrize(
    ("address", "talker", "kind"),
    [
        ("GNRMC", "GN", "RMC"),
        ("PQGSV", "PQ", "GSV"),
        ("PQGSA", "PQ", "GSA"),
        ("PUBX", "P", "UBX"),
        ("PDEMO42", "P", "DEMO42"),
        ("LOG108", "", "LOG108"),
    ],
)
def test_talker_and_type(address, talker, kind):
    (found,) = sentences_in(nmea(f"{address},1"))
    assert (found.talker, found.type, found.fields) == (talker, kind, ("1",))
    assert found.content == f"{address},1"


def test_an_address_that_is_none_needs_a_good_checksum():
    assert kinds(b"$LOG108,1*00\r\n$hello,1\r\n$GGA,1\r\n") == ["noise", "noise", "noise"]


def test_lower_case_checksum():
    texts = [f"GPTXT,01,01,02,{number}" for number in range(100)]
    sums = {text: pynmeagps.calc_checksum(text).lower() for text in texts}
    assert any(sum_.upper() != sum_ for sum_ in sums.values())
    assert {kinds(f"${text}*{sum_}\r\n".encode())[0] for text, sum_ in sums.items()} == {"good"}


def test_no_checksum_wrong_checksum_half_a_checksum():
    assert kinds(b"$" + GSV.encode() + b"\r\n") == ["absent"]
    right = int(pynmeagps.calc_checksum(GSV), 16)
    wrong = [sum_ for sum_ in range(256) if sum_ != right]
    assert {kinds(f"${GSV}*{sum_:02X}\r\n".encode())[0] for sum_ in wrong} == {"bad"}
    assert kinds(f"${GSV}*{right:02X}"[:-1].encode() + b"\r\n") == ["bad"]
    assert kinds(f"${GSV}*\r\n".encode()) == ["bad"]
    assert kinds(f"${GSV}*zz\r\n".encode()) == ["bad", "noise"]


@pytest.mark.parametrize("end", [b"\r\n", b"\n", b"\r", b"\r\r\n", b" \r\n"])
def test_line_ends(end):
    line = nmea(GSV).strip()
    assert kinds(line + end + line + end) == ["good", "good"]
    assert kinds(b"$" + GSV.encode() + end + line + end) == ["absent", "good"]


def test_the_last_line_may_lack_its_end_if_its_checksum_is_there():
    assert kinds(nmea(GSV).strip()) == ["good"]
    assert kinds(b"$" + GSV.encode()) == ["cut"]
    assert kinds(b"\n".join([b"$" + GSV.encode()] * 2)) == ["absent", "cut"]


def test_a_doubled_start_costs_nothing():
    assert kinds(b"$" + nmea(GSV)) == ["noise", "good"]
    assert kinds(b"$G" + nmea(GSV)) == ["noise", "good"]
    assert kinds(b"$G" + nmea(GSV)[1:]) == ["noise"]  # `$GGPGSV`: an address that is none, and its checksum fails


def test_reading_goes_on_at_the_next_start():
    cut = b"$GPGGA,1234"
    assert sentences_in(cut + nmea(GSV).strip())[0] == Flaw("cut", cut)
    assert kinds(cut + nmea(GSV)) == ["cut", "good"]
    assert kinds(nmea(GSV).strip() + nmea(GSV)) == ["good", "good"]
    assert kinds(nmea(GSV).strip() + b"rubbish" + nmea(GSV)) == ["good", "noise", "good"]
    assert kinds(b"$GPGGA,1234*" + nmea(GSV)) == ["bad", "good"]


def test_binary_beside_and_within_a_sentence():
    frame = b"\xb5b\x01\x07\x04\x00$M\xd5\x0c\xb8\x00"
    assert kinds(frame + nmea(GSV)) == ["noise", "noise", "good"]
    assert kinds(nmea(GSV) + frame) == ["good", "noise", "noise"]
    assert kinds(b"$GPGSV,1,1,\xff\x00\x01,07*11\r\n") == ["noise"]
    assert kinds(b"$GPGSV,1,1,\x00\x00\x00\r\n") == ["noise"]


def test_comments_and_encapsulated_sentences():
    assert kinds(b"# Name: demo\n\n" + nmea("AIVDM,1,1,,A,demo,0").replace(b"$", b"!")) == ["noise", "good"]
    assert kinds(nmea("GPTXT,01,01,02,ready!")) == ["good"]


def test_nothing_and_blank_lines():
    assert kinds(b"") == []
    assert kinds(b"\r\n \t\r\n\0\0\n") == []


def test_an_endless_line_is_cut_and_no_sentence_in_it_is_broken():
    binary = bytes(range(128, 256)) * 100
    data = binary + nmea(GSV).strip() + binary + nmea(GSV) + binary
    assert kinds(data).count("good") == 2
    assert max(len(piece.data) for piece in LineCutter().feed(data)) <= LONGEST_LINE
    assert kinds(b"x" * 100_000) == ["noise"] * (100_000 // LONGEST_LINE + 1)


@given(st.binary(max_size=9000), st.data())
def test_lines_are_the_same_however_they_come(data, draws):
    data = data.replace(b"a", b"\n").replace(b"b", b"\r\n").replace(b"c", nmea(GSV))
    assert _cut(data, draws.draw(st.lists(st.integers(0, len(data)), max_size=5))) == _cut(data, [])


@given(st.integers(LONGEST_LINE - 4, LONGEST_LINE + 4), st.integers(0, LONGEST_LINE + 4), st.data())
def test_lines_at_the_limit_are_the_same_however_they_come(length, mark, draws):
    line = bytearray(b"x" * length)
    line[min(mark, length - 1)] = ord("$")
    data = bytes(line) + b"\r\n" + nmea(GSV)
    assert _cut(data, draws.draw(st.lists(st.integers(0, len(data)), max_size=5))) == _cut(data, [])


def _cut(data, cuts):
    cutter, pieces = LineCutter(), []
    ends = sorted([0, *cuts, len(data)])
    for start, end in pairwise(ends):
        pieces += cutter.feed(data[start:end])
    pieces += cutter.flush()
    kept = b"".join(piece.data for piece in pieces)
    assert kept.replace(b"\r", b"") == data.replace(b"\r", b"").replace(b"\n", b"")
    return pieces
