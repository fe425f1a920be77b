"""Lines as received, kept beside what was made of them: any bytes come back as they were."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from satdiag.errors import BadInput
from satdiag.recorder.raw_lines import RawLine, decode_document, document_name, encode, kept_lines
from tests.helpers import make_job


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


def numbered(n, *ids, of=None):
    return encode(RawLine("", n, "2031-05-03T14:00:00Z", "0.5", "serial:x", b"%d" % n, ids, of=of))


def kept(**documents):
    job = make_job("", documents={name.replace("_", "-") + ".jsonl": data for name, data in documents.items()})
    return [(line.document, line.n, ids) for line, ids in kept_lines(job)]


def test_the_lines_of_a_job_come_run_by_run_with_what_stands_for_them_now():
    assert kept(
        raw_r10=numbered(1, "r10-1"),
        raw_r1=numbered(2, "r1-1", "r1-2") + numbered(1, "r1-3") + numbered(3),
        raw_r9=numbered(1, "r1-1", "r9-1", of=("raw-r1.jsonl", 2)) + numbered(2, "r9-2", of=("raw-r1.jsonl", 3)),
        raw_r11=numbered(1, of=("raw-r1.jsonl", 2)),
        raw_r2=numbered(1, "r2-1"),
    ) == [
        ("raw-r1.jsonl", 2, ()),
        ("raw-r1.jsonl", 1, ("r1-3",)),
        ("raw-r1.jsonl", 3, ("r9-2",)),
        ("raw-r2.jsonl", 1, ("r2-1",)),
        ("raw-r10.jsonl", 1, ("r10-1",)),
    ]


def test_the_lines_of_a_job_that_do_not_fit_together_are_named():
    with pytest.raises(BadInput, match=r"raw-r1\.jsonl: the number 1 stands there twice"):
        kept(raw_r1=numbered(1) + numbered(1))
    with pytest.raises(
        BadInput, match=r"raw-r2\.jsonl: its line 1 is of line 7 in 'raw-r1\.jsonl', which is not there"
    ):
        kept(raw_r1=numbered(1), raw_r2=numbered(1, of=("raw-r1.jsonl", 7)))
