"""Lines become rows, nothing, or a problem with its line and column."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from satdiag.errors import BadInput
from satdiag.job import with_rows
from satdiag.mapping import check_made, convert, parse_map
from satdiag.rows import Row
from tests.helpers import make_job

TIME = '[time]\ncolumns = "t"\nformat = "iso"\n'
SUPPLY = '[[row]]\nkind = "supply"\nsubject = "receiver"\nvalue_column = "v"\nunit = "V"\n'
T = "2031-05-03T13:40:00Z"


def rows_of(text, rows, file="", prefix=""):
    """What a text gives with a map of these [[row]] tables; the check finds nothing wrong."""
    made = convert(text.encode(), "f.csv", parse_map(f"[file]\n{file}\n{TIME}{rows}"), prefix)
    assert check_made(made, "f.csv", (), None, ()) == []
    return [tuple(row[1:7]) for row in made.rows]


def problems_of(text, rows, file="", before=(), sites=(), time=TIME):
    """The problems of a text as words."""
    made = convert(text.encode(), "f.csv", parse_map(f"[file]\n{file}\n{time}{rows}", "m.toml"))
    return [str(problem) for problem in check_made(made, "f.csv", before, None, sites)]


def test_absent_unreadable_and_zero_differ():
    rows = SUPPLY + 'unreadable = ["--"]\nabsent = ["n/a"]\n'
    text = f"t,v\n{T},\n{T},n/a\n{T},--\n{T},0\n{T}, 0.0 \n"
    assert rows_of(text, rows) == [
        ("supply", "receiver", "unreadable", "", "import", ""),
        ("supply", "receiver", "0", "V", "import", ""),
        ("supply", "receiver", "0.0", "V", "import", ""),
    ]
    made = convert(text.encode(), "f.csv", parse_map(TIME + rows))
    assert (made.lines, made.silent) == (5, 2)


@pytest.mark.parametrize("text", ["nan", "inf", "-inf", "1_000", "١٢", "12,5", "1,234", "0x1F", "12.5V", "--", "−5"])
def test_what_is_no_number_is_named_with_line_and_column(text):
    (problem,) = problems_of(f"t;v\n{T};12\n{T};{text}\n", SUPPLY, 'separator = ";"')
    assert problem.startswith(f"f.csv, line 3, column 'v': '{text}' is not a number with the decimal mark '.'")


def test_numbers_with_suffix_scale_and_groups():
    rows = SUPPLY + 'value_suffix = "mV"\nscale = 0.001\n'
    assert rows_of(f"t;v\n{T};12.800 mV\n{T};900mV\n", rows, 'separator = ";"\ndecimal = ","\nthousands = "."') == [
        ("supply", "receiver", "12.800", "V", "import", ""),
        ("supply", "receiver", "0.900", "V", "import", ""),
    ]
    (problem,) = problems_of(f"t,v\n{T},12.8 V\n", rows)
    assert "'12.8 V' does not end in 'mV'" in problem


def test_quoted_decimal_commas_may_stand_between_commas():
    assert rows_of(f't,v\n{T},"12,5"\n', SUPPLY, 'decimal = ","')[0][2] == "12.5"
    (problem,) = problems_of(f"t,v\n{T},12,5\n", SUPPLY, 'decimal = ","')
    assert "Decimal commas must stand in quotes" in problem


def test_words_of_a_numeric_kind_stand_beside_numbers():
    rows = SUPPLY + 'value_words = { "full" = "14.4", "dead" = "unreadable" }\n'
    assert [row[2:4] for row in rows_of(f"t,v\n{T},full\n{T},dead\n{T},12\n", rows)] == [
        ("14.4", "V"),
        ("unreadable", ""),
        ("12", "V"),
    ]


def test_states_are_taken_as_they_are_or_by_words():
    lock = '[[row]]\nkind = "lock"\nsubject = "any"\nvalue_column = "v"\n'
    assert [row[2] for row in rows_of(f"t,v\n{T},yes\n{T},no\n", lock)] == ["yes", "no"]
    (problem,) = problems_of(f"t,v\n{T},on\n", lock)
    assert problem.startswith("f.csv, line 2, column 'v': 'on' is not a state of lock")
    (problem,) = problems_of(f"t,v\n{T},yes\n", lock + 'value_words = { "on" = "yes" }\n')
    assert problem.startswith("f.csv, line 2, column 'v': 'yes' is none of the words 'on'")


def test_subjects_and_units_from_columns():
    rows = """[[row]]
kind = "signal"
subject_column = "s"
subject_words = { "E" = "east", "W" = "west.2" }
subject_prefix = "satellite:"
value_column = "v"
unit_column = "u"
unit_words = { "decibel" = "dB", "five" = "bars/5" }
"""
    text = f"t,s,v,u\n{T},E,11.2,decibel\n{T},W,4,five\n"
    assert [row[1:4] for row in rows_of(text, rows)] == [
        ("satellite:east", "11.2", "dB"),
        ("satellite:west.2", "4", "bars/5"),
    ]
    found = problems_of(f"t,s,v,u\n{T},X,11.2,decibel\n{T},,3,five\n{T},W,4.5,five\n{T},E,1,volt\n", rows)
    assert [each.partition(". ")[0] for each in found] == [
        "f.csv, line 2, column 's': 'X' is none of the words 'E', 'W'",
        "f.csv, line 3, column 's': '' is none of the words 'E', 'W'",
        "f.csv, line 4, column 'v': '4.5' is not a whole number",
        "f.csv, line 5, column 'u': 'volt' is none of the words 'decibel', 'five'",
    ]


def test_only_the_lines_that_when_picks():
    rows = '[[row]]\nkind = "reset"\nsubject = "receiver"\nvalue = "seen"\nwhen = { e = ["boot", "dog"], v = "1" }\n'
    text = f"t,e,v\n{T},boot,1\n{T},boot,2\n{T},Boot,1\n{T}, dog ,1\n"
    assert rows_of(text, rows) == [("reset", "receiver", "seen", "", "import", "")] * 2


def test_notes_sources_spans_and_ids():
    rows = SUPPLY + 'note_column = "n"\nsource = "serial:old"\nspan_s = 60\n' + SUPPLY
    made = convert(f't,v,n\n{T},12,"a ""b"", c"\n{T},13,\n'.encode(), "f.csv", parse_map(TIME + rows), "i7")
    assert [(row.note, row.source, row.span_s, row.id) for row in made.rows] == [
        ('a "b", c', "serial:old", "60", "i7-2"),
        ("", "import", "", "i7-2.2"),
        ("", "serial:old", "60", "i7-3"),
        ("", "import", "", "i7-3.2"),
    ]


def test_columns_that_the_map_does_not_use_are_named():
    made = convert(f"t,v,extra,,more\n{T},12,1,2,3\n".encode(), "f.csv", parse_map(TIME + SUPPLY))
    assert made.unused == ("extra", "more")


def test_missing_and_doubled_columns_are_told_of_the_map():
    with pytest.raises(BadInput) as caught:
        convert(b"T;v\n", "f.csv", parse_map(TIME + SUPPLY + 'note_column = "n"\n', "m.toml"))
    first, *others = map(str, caught.value.problems)
    assert first.startswith("m.toml, line 2, column 'columns': there is no column 't' in f.csv. Columns there: 'T;v'")
    assert [each.partition(":")[0] for each in others] == [
        "m.toml, line 7, column 'value_column'",
        "m.toml, line 9, column 'note_column'",
    ]
    with pytest.raises(BadInput, match=r"'v' stands 2 times in the header of f\.csv"):
        convert(b"t,v,v\n", "f.csv", parse_map(TIME + SUPPLY))
    assert rows_of(f"t,v,x,x\n{T},12,,\n", SUPPLY)  # a doubled name that nothing leans on does no harm


def test_problems_of_all_sorts_come_together_in_the_order_of_the_file():
    rows = SUPPLY + '[[row]]\nkind = "channel"\nsubject_column = "c"\nvalue_column = "r"\n'
    text = f"t,v,c,r\n{T},x,31,plays\n{T},12,031,refused\nnever,12,,\n{T},12\n{T},99999999999,,\n,,x,\n"
    found = [each.partition(". ")[0] for each in problems_of(text, rows)]
    assert found == [
        "f.csv, line 2, column 'v': 'x' is not a number with the decimal mark '.'",
        "f.csv, line 2, column 'r': 'plays' is not a state of channel",
        "f.csv, line 3, column 'c': '031' is not a subject of 'channel'",
        "f.csv, line 4, column 't': 'never' is not a time in the format 'iso'",
        "f.csv, line 5: the line is too short: 2 fields, not 4",
        "f.csv, line 6, column 'v': '99999999999' is above 1e+10",
    ]


def test_a_line_that_says_nothing_needs_no_time():
    assert rows_of(f"t,v\nTotal:,\n{T},12\n", SUPPLY) == [("supply", "receiver", "12", "V", "import", "")]


def test_a_unit_that_changes_within_a_visit_is_found_against_the_job_too():
    rows = '[[row]]\nkind = "signal"\nsubject = "any"\nvalue_column = "v"\nunit_column = "u"\n'
    (problem,) = problems_of(f"t,v,u\n{T},12,dB\n2031-05-03T13:50:00Z,40,percent\n", rows)
    assert problem.startswith("f.csv, line 3, column 'u': any was in dB before and is in percent here")
    before = [Row("2031-05-03T13:30:00Z", "signal", "any", "3", "bars/5")]
    (problem,) = problems_of(f"t,v,u\n{T},12,dB\n", rows, before=before)
    assert problem.startswith("f.csv, line 2, column 'u': any was in bars/5 before and is in dB here")
    before = [Row("2031-05-03T14:30:00Z", "signal", "any", "3", "bars/5")]
    (problem,) = problems_of(f"t,v,u\n{T},12,dB\n", rows, before=before)
    assert problem.startswith("a row of the job, column 'unit': any was in dB before")


def test_what_is_fixed_in_the_map_is_told_by_its_row():
    rows = '[[row]]\nkind = "site"\nsubject = "vehicle"\nvalue = "yard"\nwhen = { v = "1" }\n'
    (problem,) = problems_of(f"t,v\n{T},1\n", rows)
    assert problem.startswith(
        "f.csv, line 2: 'yard' is not the name of a [[site]] in job.toml ([[row]] 1 of the map)"
    )
    assert problems_of(f"t,v\n{T},1\n", rows, sites=["yard"]) == []


def test_the_hour_that_comes_twice_is_refused_with_what_to_do():
    time = '[time]\ncolumns = ["d", "h"]\nformat = "%Y-%m-%d %H:%M"\nzone = "America/Chicago"\n'
    text = "d,h,v\n2024-11-03,00:59,12\n2024-11-03,01:30,12\n2024-03-10,02:30,12\n"
    found = problems_of(text, SUPPLY, time=time)
    assert found[0].startswith("f.csv, line 3, column 'd + h': '2024-11-03 01:30' came twice there")
    assert 'fold = "first" or "second"' in found[0]
    assert found[1].startswith("f.csv, line 4, column 'd + h': '2024-03-10 02:30' was skipped there")
    assert len(found) == 2


def test_reading_stops_at_ten_thousand_problems():
    found = problems_of("t,v\n" + f"{T},x\n" * 10_500, SUPPLY)
    assert len(found) == 10_001
    assert found[0].startswith("f.csv: 10000 problems up to line 10001; reading stopped there")


CELL = st.one_of(st.sampled_from(["", "12", "--", "nan", T, '"', ",", "\n"]), st.text(max_size=8))


@given(st.lists(st.tuples(CELL, CELL), max_size=6))
def test_any_file_gives_rows_that_a_job_takes_or_problems(cells):
    text = "t,v\n" + "".join(f"{first},{second}\n" for first, second in cells)
    try:
        made = convert(text.encode("utf-8", "surrogatepass"), "f.csv", parse_map(TIME + SUPPLY), "i1")
    except BadInput:
        return
    if not check_made(made, "f.csv", (), None, ()):
        assert len(with_rows(make_job(""), made.rows).rows) == len(made.rows)
