"""Lines as received, kept beside what was made of them: any bytes come back as they were."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from satdiag.errors import BadInput
from satdiag.recorder.raw_lines import RawLine, decode_document, document_name, encode


def line(data, **more):
    return RawLine("raw-r1.jsonl", 1, "2031-05-03T14:00:00.000000Z", "0.500000", "serial:x", data, ("r1-1",), **more)


@given(st.lists(st.binary(max_size=200), max_size=20))
def test_any_bytes_come_back(datas):
    lines = [line(data, why="no reason") for data in datas]
    document = b"".join(encode(one) for one in lines)
    assert list(decode_document("raw-r1.jsonl", document)) == lines


@given(st.text(max_size=60), st.text(max_size=20))
def test_any_reason_stays_on_one_line(text, why):
    kept = encode(line(text.encode(errors="replace"), why=why.encode(errors="replace").decode()))
    assert kept.count(b"\n") == 1
    json.loads(kept)


def test_plain_text_stays_readable_and_the_rest_is_hex():
    assert b'"line":"signal any 11.2 dB"' in encode(line(b"signal any 11.2 dB"))
    assert "Straße".encode() in encode(line("Straße".encode()))
    assert b'"hex":"ff00"' in encode(line(b"\xff\x00"))
    assert b'"hex":"1b5b41"' in encode(line(b"\x1b[A"))


def test_a_new_reading_names_the_line_it_reads():
    again = line(b"x", of=("raw-r1.jsonl", 7))
    assert next(decode_document("raw-r1.jsonl", encode(again))).of == ("raw-r1.jsonl", 7)


@pytest.mark.parametrize(
    "text", ["{", "[]", '{"n":1}', '{"n":"1","time":"","elapsed_s":"","source":"","line":"","rows":[]}', "[" * 10**5]
)
def test_what_the_recorder_did_not_write_is_named(text):
    good = encode(line(b"x"))
    with pytest.raises(BadInput, match=r"raw-r1\.jsonl, line 2"):
        list(decode_document("raw-r1.jsonl", good + text.encode() + b"\n"))


def test_the_run_is_in_the_name():
    assert line(b"").run == "r1"
    assert document_name("r12") == "raw-r12.jsonl"
