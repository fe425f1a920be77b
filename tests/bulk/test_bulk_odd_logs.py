"""Logs that are odd or wrong: a long one is read, or refused with the same words, as a short one is."""

import numpy as np
import pytest

from satdiag import folder
from satdiag.bulk import ColumnRows, columns_of_rows, ids_of, runs_of
from satdiag.bulk.fields import hashes
from satdiag.errors import BadInput
from satdiag.folder import export_files, read_folder
from satdiag.job import build_job, with_columns, with_rows
from satdiag.recorder.desk import next_run
from satdiag.rows import Row
from satdiag.store import create_job_file, read_job_file

SHEET = b'[job]\nid = "demo"\nopened = 2031-05-03T13:00:00Z\nreason = "check"\n'
HEAD = "time,kind,subject,value,unit,source,note"
WIDE = f"{HEAD},run,elapsed_s,id"
AT = "2031-05-03T13:40:"

ALIKE_NOTES = ("ruavmnqhdrywarm1", "axmjbnatWYEgk6xG")
"""Behind 'note,feed,by day' both have one hash: the second half makes up for what the first half changes."""
ALIKE_IDS = ("lqzanccjdrywarm1", "fdmajkrhCxfnSwbt")
"""The same for texts that stand alone."""


def outcome(place):
    """The job there, or everything that is wrong with it."""
    try:
        return read_folder(place)
    except BadInput as error:
        return list(error.problems)


@pytest.fixture
def both_ways(tmp_path, monkeypatch):
    """A function: what a log is as a short one and as a long one, read from a real folder."""

    def read(text):
        (tmp_path / "job.toml").write_bytes(SHEET)
        data = text if isinstance(text, bytes) else text.encode()
        (tmp_path / "observations.csv").write_bytes(data)
        monkeypatch.setattr(folder, "LONG", len(data) + 1)
        short = outcome(tmp_path)
        monkeypatch.setattr(folder, "LONG", 0)
        return short, outcome(tmp_path)

    return read


def log(*lines, head=HEAD):
    """A log of these lines, a sound one before and behind them."""
    tail = "," * (head.count(",") - 6)
    return "\n".join([head, f"{AT}00Z,lock,any,yes,,hand,{tail}", *lines, f"{AT}59Z,lock,any,no,,hand,{tail}", ""])


BAD = {
    "a byte that is no UTF-8": (log().replace("any", "\u00e9").encode("latin-1"), "is not UTF-8"),
    "columns in another order": (log(head=f"{HEAD},id,run"), "stand in another order"),
    "the header again": (log(HEAD), "the header stands here again"),
    "a short line with a quote": (log(f'{AT}01Z,note,a,"b"'), "too short: 4 fields"),
    "a long line without one": (log(f"{AT}01Z,note,a,b,c,hand,d,e"), "too long: 8 fields"),
    "a long and a short one that make two": (log(f"{AT}01Z,note,a,b,,hand,,x", f"{AT}01Z,note,a,b,,"), "too long"),
    "a note left open for long": (log(f'{AT}01Z,note,a,"b', *["c"] * 120), "a quote is opened"),
    "a quote within a word": (log(f'{AT}01Z,note,a,"b"c,,hand,'), "a quote is opened and not closed"),
    "a line of two million bytes": (log(f"{AT}01Z,note,a,{'b' * 2_200_000},,hand,"), "longer than 100000"),
    "a level beyond all others": (log(*(f"{AT}0{n}Z,signal,satellite,{n}e9,dB,x," for n in (1, 2, 30))), "is above"),
    "a number that is a state elsewhere": (log(*(f"{AT}0{n}Z,lock,any,{n},,x," for n in (1, 2))), "not a state"),
    "a run that is no word": (log(f"{AT}01Z,note,a,b,,hand,,r 1,1,i", head=WIDE), "'r 1' is not a plain word"),
    "elapsed without a run": (log(f"{AT}01Z,note,a,b,,hand,,,1,i", head=WIDE), "without a run"),
    "an id twice": (log(*[f"{AT}01Z,note,a,b,,hand,,,,i"] * 2, head=WIDE), "was used before, in line 3"),
    "two units": (log(f"{AT}01Z,signal,satellite,8,dB,x,", f"{AT}02Z,signal,satellite,8,dB-Hz,x,"), "in dB before"),
    "times of one hash": (log(*(f"{text}:00Z,note,a,b,,hand," for text in ALIKE_IDS)), "is not a time"),
}  # fmt: skip


@pytest.mark.parametrize(("text", "says"), BAD.values(), ids=BAD)
def test_a_long_log_is_refused_with_the_words_of_a_short_one(both_ways, text, says):
    short, long = both_ways(text)
    assert isinstance(short, list)
    assert says in str(BadInput(short))
    assert long == short


GOOD = {
    "notes of one hash": (log(*(f"{AT}01Z,note,feed,by day{one},,hand," for one in ALIKE_NOTES)), False),
    "ids of one hash": (log(*(f"{AT}01Z,note,a,b,,hand,,,,{one}" for one in ALIKE_IDS), head=WIDE), False),
    "a long id in a plain line": (log(f"{AT}01Z,note,a,b,,hand,,,,{'i' * 65}", head=WIDE), False),
    "a long id in a row with quotes": (log(f'{AT}01Z,note,a,"b, c",,hand,,,,{"i" * 65}', head=WIDE), False),
    "a note of 120 lines": (log(f'{AT}01Z,note,a,"b', *["c"] * 120, 'd",,hand,'), False),
    "ids that are numbers": (log(*(f"{AT}0{n}Z,note,a,b,,hand,,,,{n}" for n in (1, 2)),
                                 *(f"{AT}0{n}Z,withdraw,row,{n},,hand,,,," for n in (1, 2)), head=WIDE), False),
    "two units, a day apart": (log(f"{AT}01Z,signal,satellite,8,dB,x,",
                                   "2031-05-04T13:40:00Z,signal,satellite,8,dB-Hz,x,"), True),
    "a note of 300 letters": (log(f"{AT}01Z,note,a,{'b' * 300},,hand,"), True),
    "a carriage return in a note": (log(f'{AT}01Z,note,a,"b\r\nc",,hand,'), True),
}  # fmt: skip


@pytest.mark.parametrize(("text", "in_columns"), GOOD.values(), ids=GOOD)
def test_a_long_log_that_is_odd_says_what_a_short_one_says(both_ways, text, in_columns):
    short, long = both_ways(text)
    assert list(long.rows) == list(short.rows)
    assert export_files(long) == export_files(short)
    assert isinstance(long.rows, ColumnRows) == in_columns
    assert long.log.equals(short.log)


def test_the_texts_of_one_hash_have_one():
    """Else the tests with them would prove nothing."""
    for one, other in (("note,feed,by day" + text for text in ALIKE_NOTES), ALIKE_IDS):
        pair = np.frombuffer((one + other).encode(), np.uint8).reshape(2, -1)
        assert len(set(hashes(pair).tolist())) == 1


@pytest.fixture(scope="module")
def rows():
    """More rows than are read one by one from a job file, without run, elapsed time and id."""
    return [Row(f"2031-05-03T13:{n // 60:02d}:{n % 60:02d}Z", "note", "feed", f"w{n % 5}") for n in range(60)] * 70


def test_a_long_job_file_of_the_seven_columns_is_written_out_again(rows, tmp_path):
    job = build_job({"job.toml": SHEET}, rows)
    create_job_file(tmp_path / "demo.satjob", job)
    found = read_job_file(tmp_path / "demo.satjob")
    assert isinstance(found.rows, ColumnRows)
    assert export_files(found) == export_files(job)


def test_rows_by_column_are_a_sequence_as_any_other(rows):
    columns = columns_of_rows(rows[:9])
    assert columns[1::3] == tuple(rows[1:9:3])
    assert columns[::-1] == tuple(rows[8::-1])
    assert columns[5:2] == ()
    assert columns != 9
    assert columns != columns_of_rows(rows[:8])
    assert columns == columns_of_rows([*rows[1:9], rows[0]]).some(np.array([8, *range(8)]))
    with pytest.raises(IndexError):
        columns[9]


def test_some_rows_of_a_long_job_and_the_names_in_it_are_those_of_a_short_one(rows):
    named = [one._replace(run=f"r{n % 3}", elapsed_s="1", id=f"r{n % 3}-{n}") for n, one in enumerate(rows[:90])]
    short, long = (build_job({"job.toml": SHEET}, some, WIDE) for some in (named, columns_of_rows(named)))
    kept = np.array([7, 3, 88])
    assert isinstance(long.only(kept).rows, ColumnRows)
    assert list(long.only(kept).rows) == list(short.only(kept).rows) == [named[n] for n in (7, 3, 88)]
    assert runs_of(long.rows) == runs_of(short.rows) == {"r0", "r1", "r2"}
    assert ids_of(long.rows) == ids_of(short.rows)
    assert next_run(long) == next_run(short) == "r3"


def test_a_header_without_the_columns_that_rows_use_is_refused_in_both_ways(rows):
    documents = {"job.toml": SHEET}
    for header, more, says in (("time,kind", {}, "column 'subject' is missing"), (HEAD, {"id": "a1"}, "column 'id'")):
        made = [*rows[:5], rows[5]._replace(**more)]
        for some in (made, columns_of_rows(made)):
            with pytest.raises(BadInput, match=says):
                build_job(documents, some, header)
    with pytest.raises(BadInput, match=r"ring\.toml"):
        build_job({**documents, "ring.toml": b"x"}, columns_of_rows(rows))


def test_a_new_row_that_is_wrong_is_refused_by_a_long_job_as_by_a_short_one(rows):
    said = []
    for some in (tuple(rows), columns_of_rows(rows)):
        job = build_job({"job.toml": SHEET}, some)
        for new in ([Row("2031-05-03T15:00:00Z", "lock", "any", "perhaps")], [rows[0]._replace(value="\0")]):
            with pytest.raises(BadInput) as caught:
                with_rows(job, new)
            said.append(str(caught.value))
        assert with_rows(job, [rows[0]._replace(value="caf\u00e9")]).rows[-1].value == "caf\u00e9"
        assert with_columns(with_rows(job, []), ["id"]).header == f"{HEAD},id"
    assert said[:2] == said[2:]
    assert "the new row" in said[0]
