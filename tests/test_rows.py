"""One row: numbers, times, the vocabulary; all rows: ids, units, order; the typed table."""

from datetime import timedelta, timezone

import numpy as np
import pytest

from satdiag.rows import (
    Row,
    check_row,
    check_rows,
    parse_number,
    parse_offset,
    parse_time_us,
    rows_frame,
)
from satdiag.vocabulary import KINDS, TABLE, UNREADABLE, takes_unreadable
from tests.helpers import make_job, make_rows

NOON = "2031-05-03T12:00:00Z"
EXAMPLES = {
    "satellite:NAME": "satellite:east",
    "CHANNEL": "31",
    "voltage:PATH": "voltage:repeater",
    "current:PATH": "current:satellite",
    "node:NAME": "node:receiver",
    "position:NAME": "position:amp-1",
    "readback:NAME": "readback:gateway",
    "SOURCE": "serial:bench",
    "FAULT": "antenna-open",
    "ANY": "whatever, really",
}
VALUES = {"number": "4.5", "whole": "3", "site": "yard", "row-id": "n1", "text": "free, text"}


def wrongs(*fields, sites=("yard",), naive=None):
    """What is wrong with a row, as (column, what) pairs."""
    return [(wrong.column, wrong.what) for wrong in check_row(Row(*fields), naive, sites)]


@pytest.mark.parametrize(
    ("text", "number"),
    [("0", 0), ("-71.2", -71.2), ("+.5", 0.5), ("7.", 7), ("2.5e-3", 0.0025), ("1E2", 100), ("007", 7)],
)
def test_plain_decimal_numbers_are_read(text, number):
    assert parse_number(text) == number


@pytest.mark.parametrize(
    "text", ["", " 1", "1 ", "1,5", "1_000", "nan", "inf", "-inf", "0x10", "1e999", "१", "1e", ".", "--1", "½", "1\n"]
)
def test_other_spellings_are_no_numbers(text):
    assert parse_number(text) is None


@pytest.mark.parametrize(
    ("text", "microseconds"),
    [
        # RFC 3339, section 5.8; seconds since 1970 by `date -u -d ... +%s` of GNU coreutils.
        ("1985-04-12T23:20:50.52Z", 482196050_520000),
        ("1996-12-19T16:39:57-08:00", 851042397_000000),
        ("1996-12-20T00:39:57Z", 851042397_000000),
        ("1937-01-01T12:00:27.87+00:20", -1041337172_130000),
    ],
)
def test_times_with_offsets(text, microseconds):
    assert parse_time_us(text, None) == microseconds


def test_a_naive_time_needs_the_offset_of_the_sheet():
    assert parse_time_us("1996-12-19T16:39:57", None) is None
    assert parse_time_us("1996-12-19T16:39:57", timezone(timedelta(hours=-8))) == 851042397_000000


@pytest.mark.parametrize(
    "text",
    [
        "1996-12-19",
        "1996-12-19 16:39:57Z",
        "1996-12-19t16:39:57z",
        "1996-12-19T16:39Z",
        "1996-02-30T16:39:57Z",
        "1996-12-19T16:39:60Z",
        "1996-12-19T16:39:57.1234567Z",
        "1996-12-19T16:39:57+24:00",
        "1996-12-19T16:39:57+0800",
        "1996-12-19T16:39:57Z\n",
        "١٩٩٦-12-19T16:39:57Z",
        "now",
    ],
)
def test_other_spellings_are_no_times(text):
    assert parse_time_us(text, None) is None


def test_offsets():
    assert parse_offset("Z").utcoffset(None) == timedelta(0)
    assert parse_offset("-05:30").utcoffset(None) == -timedelta(hours=5, minutes=30)
    assert parse_offset("5") is parse_offset("+24:00") is parse_offset("+05:60") is None


@pytest.mark.parametrize("entry", TABLE, ids=lambda entry: f"{entry.kind} {entry.subjects[0]}")
def test_every_line_of_the_vocabulary_is_accepted_and_nothing_beside_it(entry):
    units = [unit.replace("bars/N", "bars/5") for unit in entry.units] or [""]
    values = entry.states or (VALUES[entry.value],)
    for template in entry.subjects:
        subject = EXAMPLES.get(template, template)
        for value in values:
            for unit in units:
                number = "4" if unit.startswith("bars") else value
                assert wrongs(NOON, entry.kind, subject, number, unit) == []
        if entry.kind != "note":
            assert [column for column, _ in wrongs(NOON, entry.kind, "no such: thing", values[0])] == ["subject"]
            assert [column for column, _ in wrongs(NOON, entry.kind, subject, "no such", units[0])] == ["value"]
        assert [column for column, _ in wrongs(NOON, entry.kind, subject, values[0], "furlong")] == ["unit"]
        refused = [] if takes_unreadable(entry.kind) or entry.value == "text" else ["value"]
        found = [column for column, _ in wrongs(NOON, entry.kind, subject, UNREADABLE, "")]
        if entry.units and not takes_unreadable(entry.kind):
            refused = ["unit"]
        elif entry.value == "row-id":
            refused = []  # 'unreadable' may be the id of a row
        assert found == refused


def test_only_four_kinds_refuse_unreadable():
    assert [kind for kind in KINDS if not takes_unreadable(kind)] == ["gap", "clock", "withdraw", "note"]


@pytest.mark.parametrize(
    ("value", "unit", "trouble"),
    [
        ("0", "percent", None),
        ("100", "percent", None),
        ("-0.1", "percent", "below 0"),
        ("100.1", "percent", "above 100"),
        ("5", "bars/5", None),
        ("5.0", "bars/5", None),
        ("6", "bars/5", "above 5"),
        ("1.5", "bars/5", "whole"),
        ("-3", "dB", None),
        ("1e11", "dB", "above 1e+10"),
        ("-1e11", "dB", "below -1e+10"),
    ],
)
def test_ranges_of_levels(value, unit, trouble):
    found = wrongs(NOON, "signal", "any", value, unit)
    assert found == [] if trouble is None else (len(found) == 1 and trouble in found[0][1])


@pytest.mark.parametrize("unit", ["bars/N", "bars/0", "bars/05", "bars/", "bars", "db", "DB"])
def test_units_are_written_out(unit):
    assert [column for column, _ in wrongs(NOON, "signal", "any", "1", unit)] == ["unit"]


def _trouble(rows, naive=None):
    return [(p.line, p.column) for p in check_rows("f", rows, range(2, len(rows) + 2), naive, ())]


def test_one_path_keeps_one_unit_within_a_visit_only():
    one = make_rows("0:00 signal any 3 dB\n3:59:59 signal any 3 dB-Hz")
    assert _trouble(one) == [(3, "unit")]
    other = make_rows("0:00 signal any 3 dB\n4:00:01 signal any 3 dB-Hz")
    assert _trouble(other) == []
    kept_awake = make_rows("0:00 signal any 3 dB\n2:00:01 note x y\n4:00:01 signal any 3 dB-Hz")
    assert _trouble(kept_awake) == [(4, "unit")]
    assert _trouble(make_rows("0:00 signal any 3 dB\n1:00 signal repeater 3 dB-Hz")) == []


def test_a_withdrawn_row_does_not_bind_the_unit():
    rows = "0:00 signal any 3 dB id=n1\n1:00 signal any 3 dB-Hz\n"
    assert _trouble(make_rows(rows)) == [(3, "unit")]
    assert _trouble(make_rows(rows + "2:00 withdraw row n1")) == []


def test_ids_are_unique_and_withdrawals_name_one():
    rows = make_rows("0:00 note x y id=n1\n0:01 note x y id=n1\n0:02 withdraw row n1\n0:03 withdraw row n2")
    assert _trouble(rows) == [(3, "id"), (5, "value")]
    late = make_rows("0:00 withdraw row n1\n0:01 note x y id=n1")
    assert _trouble(late) == []


def test_the_table_is_typed_and_in_the_order_of_the_file():
    frame = make_job(
        """
        2:00 signal any 11.5 dB source=hand span_s=30 note="a b" id=n1
        1:00 signal any unreadable run=r1 elapsed_s=2.5
        3:00 withdraw row n1
        """
    ).observations
    assert list(frame["row"]) == [0, 1, 2]
    assert frame["time"].dtype == np.dtype("datetime64[us]")
    assert str(frame["time"].iloc[0]) == "2031-05-03 14:02:00"
    assert list(frame["number"].isna()) == [False, True, True]
    assert frame["number"].iloc[0] == 11.5
    assert list(frame["span_s"]) == [30.0, 0.0, 0.0]
    assert frame["elapsed_s"].iloc[1] == 2.5
    assert list(frame["withdrawn"]) == [True, False, False]
    assert frame["value"].iloc[1] == UNREADABLE
    assert list(frame.columns) == [
        *("row", "time", "kind", "subject", "value", "number", "unit", "source", "note"),
        *("span_s", "run", "elapsed_s", "id", "withdrawn"),
    ]


def test_a_table_without_rows_has_the_same_types():
    empty, full = rows_frame([], None), rows_frame(make_rows("0:00 signal any 3 dB"), None)
    assert len(empty) == 0
    assert list(empty.columns) == list(full.columns)
    numeric = ["row", "time", "number", "span_s", "elapsed_s", "withdrawn"]
    assert list(empty[numeric].dtypes) == list(full[numeric].dtypes)


def test_what_a_caller_does_to_the_table_stays_with_the_caller():
    job = make_job("0:00 signal any 3 dB")
    mine = job.observations
    mine["number"] = 0.0
    assert job.observations["number"].iloc[0] == 3.0
