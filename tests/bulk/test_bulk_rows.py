"""Logs read by column say the same as logs read row by row: rows, tables, and what is wrong with them."""

import pickle
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from satdiag import folder
from satdiag.bulk import ColumnRows, columns_of_rows, frame_of, read_columns
from satdiag.bulk.numbers import seconds_of
from satdiag.bulk.times import NEVER, times_us
from satdiag.csv_text import decode
from satdiag.errors import BadInput
from satdiag.job import build_job, observations_text
from satdiag.rows import parse_number, parse_offset, parse_time_us, rows_frame

ROOT = Path(__file__).parents[2]
SAMPLES = sorted(path for path in (ROOT / "sample_logs").iterdir() if path.is_dir())
HEAD = "time,kind,subject,value,unit,source,note"
SHEET = b"""[job]
id = "demo"
opened = 2031-05-03T13:00:00Z
reason = "check"
vehicle = "demo van"
naive_times = "-05:00"

[[site]]
name = "depot"
latitude_deg = 45.0
longitude_deg = -93.3
height_m = 250.0
timezone = "America/Chicago"

[receiver]
second_hand = false
"""
TIMES = [
    "2031-05-03T13:40:00Z",
    "2031-05-03T13:40:00.25Z",
    "2031-05-03T08:40:01-05:00",
    "2031-05-03T13:40:02.123456Z",
    "2031-05-03T08:40:03",
    "2031-05-03T23:59:59.9+00:00",
]
SAID = [
    "signal,satellite,8.5,dB,serial:levels,",
    "signal,repeater,3,bars/5,serial:levels,",
    "lock,any,yes,,hand,",
    "signal,satellite,unreadable,,hand,",
    "supply,receiver,12.6,V,hand,",
    "note,feed,warm,,hand,",
    "tune,12,requested,,hand,",
    "tune,12,audio,,hand,",
    "site,vehicle,depot,,hand,",
    "gap,serial:levels,lost,,x,",
    'note,a,"said, ""so""",,hand,',
    'note,a,"two\nlines",,hand,"and\nmore"',
    'lock,"any",no,,hand,caf\u00e9',
]
BAD_TIMES = [
    "2031-02-30T13:40:00Z",
    "2031-05-03 13:40:00Z",
    "2031-05-03T13:60:00Z",
    "2031-05-03T13:40:60Z",
    "2031-05-03T13:40:00+25:00",
    "2031-05-03T13:40:00.1234567Z",
    "\u0662031-05-03T13:40:00Z",
    "",
]
BAD_SAID = [
    "signal,satellite,8,5,dB,",
    "signal,satellite,loud,dB,hand,",
    "noise,other,1,dB,hand,",
    "nothing,x,y,,,",
    "signal,satellite,8.5,bars/5,hand,",
    "site,vehicle,elsewhere,,hand,",
    'note,a,"open,,hand,',
    "lock,any,yes,,b ad,",
    "signal,satellite,12,dB-Hz,hand,",
    "withdraw,row,a99,,hand,",
    "note,a,\x07,,hand,",
    "note,a,b,,hand,x\x00",
]
NEARLY_TIMES = r"[0-9]{4}-[01][0-9]-[0-3][0-9]T[0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]{0,7})?(Z|[+-][0-9:]{5})?"
TAILS = ((",", 1), (",12.5", 1), (",,r1,,a{n}", 4), (",,r1,{n}.250000,a{n}", 4), (",1e2,r2,{n},", 4), (",,,,", 4))
BAD_TAILS = (
    (",-1", 1),
    (",,r1,x,a{n}", 4),
    (",,,3,a{n}", 4),
    (",,r1,1e10,", 4),
    (",,r 1,1,a", 4),
    (",,r1,1,a1", 4),
    ("", 1),
)


def exact(documents, data):
    """The job by the reader of single rows."""
    header, rows, lines = folder.parse_observations(decode(data, "observations.csv"))
    return build_job(documents, rows, header, lines)


def by_column(documents, data):
    """The job as a long one is read, or, where that reader gives up, as any other."""
    found = read_columns(data)
    return build_job(documents, found[1], found[0]) if found else exact(documents, data)


def outcome(read, documents, data):
    """The job, or everything that is wrong with it."""
    try:
        return read(documents, data)
    except BadInput as error:
        return list(error.problems)


def same(one, other):
    """Both jobs hold the same."""
    assert one.header == other.header
    assert list(one.rows) == list(other.rows)
    assert one.rows == other.rows
    pd.testing.assert_frame_equal(one.observations, other.observations)
    pd.testing.assert_frame_equal(one.log, other.log)
    assert one.overridden_rows == other.overridden_rows
    assert observations_text(one) == observations_text(other)


@st.composite
def logs(draw, bad):
    """A log with the columns of one kind of tail; with `bad`, some of its pieces are wrong."""
    width = draw(st.sampled_from([1, 4]))
    head = HEAD + (",span_s" if width == 1 else ",span_s,run,elapsed_s,id")
    lines = []
    for n in range(draw(st.integers(0, 14))):
        wrong = bad and draw(st.integers(0, 9)) == 0
        which = draw(st.integers(0, 2)) if wrong else None
        time = draw(st.sampled_from(BAD_TIMES if which == 0 else TIMES))
        said = draw(st.sampled_from(BAD_SAID if which == 1 else SAID))
        tails = [tail for tail, columns in (BAD_TAILS if which == 2 else TAILS) if columns == width]
        lines.append(f"{time},{said}{draw(st.sampled_from(tails)).format(n=n)}")
    if width == 4 and draw(st.booleans()) and lines:
        lines.append(f"{TIMES[0]},withdraw,row,a{draw(st.integers(0, 3))},,hand,,,,,w")
    if bad and draw(st.integers(0, 9)) == 0:
        lines.insert(draw(st.integers(0, len(lines))), draw(st.sampled_from(["", head, "a,b", ","])))
    end = draw(st.sampled_from(["\n", "\r\n"]))
    mark = draw(st.sampled_from(["", "\ufeff"]))
    return (mark + end.join([head, *lines]) + draw(st.sampled_from(["", end]))).encode()


@pytest.mark.parametrize("bad", [False, True], ids=["as they should be", "with mistakes"])
def test_made_up_logs_are_read_alike_or_refused_alike(bad):
    reached = []

    @settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
    @given(data=logs(bad))
    def check(data):
        one, other = (outcome(read, {"job.toml": SHEET}, data) for read in (by_column, exact))
        if isinstance(other, list):
            assert one == other
        else:
            same(one, other)
        reached.append((isinstance(other, list), not isinstance(one, list) and isinstance(one.rows, ColumnRows)))

    check()
    assert any(taken for _, taken in reached)  # the reader by column was what read some of them
    assert any(refused for refused, _ in reached) == bad or bad is False


@pytest.mark.parametrize("place", SAMPLES, ids=lambda path: path.name)
def test_samples_are_read_alike(place):
    documents = {path.name: path.read_bytes() for path in place.iterdir() if path.name != "observations.csv"}
    data = (place / "observations.csv").read_bytes()
    one = by_column(documents, data)
    assert isinstance(one.rows, ColumnRows)
    same(one, exact(documents, data))


def test_a_folder_with_a_long_log_is_read_by_column(tmp_path):
    line = "2031-05-03T13:40:{:02d}.{:03d}Z,signal,satellite,8.5,dB,serial:levels,\n"
    text = HEAD + "\n" + "".join(line.format(n // 50, n % 50) for n in range(2000))
    (tmp_path / "job.toml").write_bytes(SHEET)
    (tmp_path / "observations.csv").write_text(text, "utf-8", newline="")
    job = folder.read_folder(tmp_path)
    assert isinstance(job.rows, ColumnRows)
    assert observations_text(job) == text
    assert job.rows[-1].time == "2031-05-03T13:40:39.049Z"
    assert job.rows[3:5] == tuple(list(job.rows)[3:5])
    assert pickle.loads(pickle.dumps(job.rows)) == job.rows
    broken = text.replace("8.5,dB", "8,5,dB", 1)
    (tmp_path / "observations.csv").write_text(broken, "utf-8", newline="")
    with pytest.raises(BadInput, match="line 2: the row is too long: 8 fields, not 7"):
        folder.read_folder(tmp_path)


def test_blocks_meet_within_a_note_of_several_lines(monkeypatch):
    monkeypatch.setattr("satdiag.bulk.read._BLOCK", 300)
    lines = [f"2031-05-03T13:40:{n:02d}Z,{SAID[n % len(SAID)]}" for n in range(60)]
    data = "\n".join([HEAD, *lines]).encode()
    found = read_columns(data)
    assert found is not None
    same(build_job({"job.toml": SHEET}, found[1], found[0]), exact({"job.toml": SHEET}, data))


def test_rows_put_into_columns_come_out_again_and_some_of_them():
    job = exact(
        {"job.toml": SHEET}, "\n".join([HEAD, *(f"{TIMES[n % 6]},{one}" for n, one in enumerate(SAID))]).encode()
    )
    rows = columns_of_rows(job.rows)
    assert rows == job.rows
    kept = np.array([1, 4, 10, 12])
    some = rows.some(kept)
    assert some == tuple(job.rows[n] for n in kept)
    naive = job.sheet.naive_times
    pd.testing.assert_frame_equal(frame_of(some, naive), rows_frame([job.rows[n] for n in kept], naive))
    assert columns_of_rows([job.rows[0]._replace(id="caf\u00e9")]) is None


@settings(max_examples=80, deadline=None)
@given(texts=st.lists(st.from_regex(r"[0-9.eE+-]{0,20}", fullmatch=True) | st.floats(0, 1e9).map(repr), max_size=20))
def test_numbers_are_the_nearest_floats(texts):
    found = seconds_of(np.array([text.encode() for text in texts], dtype="S32"))
    wanted = [parse_number(text) for text in texts]
    np.testing.assert_array_equal(found, [np.nan if one is None else one for one in wanted])


@settings(max_examples=80, deadline=None)
@given(
    texts=st.lists(
        st.datetimes().map(lambda moment: moment.isoformat())
        | st.datetimes().map(lambda moment: moment.isoformat(timespec="milliseconds") + "Z")
        | st.from_regex(NEARLY_TIMES, fullmatch=True)
        | st.sampled_from([*TIMES, *(text for text in BAD_TIMES if text.isascii())]),
        max_size=20,
    ),
    naive=st.sampled_from([None, parse_offset("-05:00")]),
)  # fmt: skip
def test_times_are_those_of_the_exact_reader(texts, naive):
    found = times_us(np.array([text.encode() for text in texts], dtype="S40"), naive)
    wanted = [parse_time_us(text, naive) for text in texts]
    assert found.tolist() == [NEVER if one is None else one for one in wanted]
