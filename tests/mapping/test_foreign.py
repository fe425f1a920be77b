"""Reading foreign files: letters, header, lines, and every shape that is not one."""

import pytest

from satdiag.errors import BadInput
from satdiag.mapping import parse_map
from satdiag.mapping.foreign import open_foreign, text_of

MAP = '[time]\ncolumns = "t"\nformat = "iso"\n[[row]]\nkind = "note"\nsubject = "x"\nvalue_column = "v"\n[file]\n'


def read(text, form=""):
    """The columns, the lines, and the open file of a text."""
    foreign = open_foreign(text, "f.csv", parse_map(MAP + form))
    return foreign.columns, list(foreign.lines), foreign


WORDS = "t;v\n1;Grüße, 12 °C – €\n"


@pytest.mark.parametrize(
    ("data", "encoding"),
    [
        (WORDS.encode(), "utf-8"),
        (WORDS.encode("utf-8-sig"), "utf-8"),
        (WORDS.encode("utf-8-sig"), "cp1252"),
        (WORDS.encode("utf-16"), "utf-16"),
        (WORDS.encode("utf-16"), "utf-8"),
        (b"\xfe\xff" + WORDS.encode("utf-16-be"), "utf-16"),
        (WORDS.encode("utf-16-le"), "utf-16-le"),
        (WORDS.encode("utf-16-be"), "utf-16-be"),
        (WORDS.encode("cp1252"), "cp1252"),
        (WORDS.replace("\n", "\r\n").encode("cp1252"), "cp1252"),
    ],
)
def test_letters(data, encoding):
    assert text_of(data, encoding, "f.csv") == WORDS


def test_latin_1_takes_every_byte():
    assert text_of(bytes(range(1, 256)).replace(b"\r", b""), "latin-1", "f.csv")[-1] == "ÿ"


@pytest.mark.parametrize(
    ("data", "encoding", "found"),
    [
        (b"a\nb\n\xe4\n", "utf-8", "f.csv, line 3: byte 0xe4 is not utf-8. Set encoding"),
        (b"\xef\xbb\xbfa\n\xe4\n", "latin-1", "f.csv, line 2: byte 0xe4 is not utf-8"),
        (b"a\n\x81", "cp1252", "f.csv, line 2: byte 0x81 is not cp1252"),
        (b"a\0b\0", "utf-16", "f.csv, line 1: UTF-16 without a byte order mark"),
        (b"a\0b\0\n", "utf-8", "f.csv, line 1: a NUL character"),
        (b"a\nb\0", "latin-1", "f.csv, line 2: a NUL character"),
        (b"\xff\xfe\x00\x00a\x00\x00\x00", "utf-8", "f.csv, line 1: a NUL character"),  # UTF-32
        (b"\xff\xfea\x00\n\x00b", "utf-16", "f.csv, line 2: byte 0x62 is not utf-16-le"),
    ],
)
def test_letters_that_are_not_as_the_map_says(data, encoding, found):
    with pytest.raises(BadInput) as caught:
        text_of(data, encoding, "f.csv")
    assert str(caught.value).startswith(found)


def test_lines_keep_their_numbers_over_quoted_line_ends_remarks_and_blanks():
    text = (
        'logger;\n"x"y;broken above the header is nobody\'s business\n t ;v\nunits;"\n'
        '1;"a\nb;""c"""\n#;"\n\n;\n t;v\n 2 ; d \n'
    )
    columns, lines, foreign = read(
        text, 'separator = ";"\nheader_line = 3\nskip_lines = 1\nremarks_start_with = "#"\n'
    )
    assert columns == ("t", "v")
    assert lines == [(5, ["1", 'a\nb;"c"']), (11, ["2", "d"])]
    assert (foreign.skipped.blank, foreign.skipped.remarks, foreign.skipped.headers) == (2, 1, 1)
    assert foreign.problems == []


def test_without_a_header_the_map_names_the_columns():
    form = 'separator = "|"\nheader_line = 0\ncolumns = ["t", "v"]\nskip_lines = 1\n'
    assert read("rubbish\n1|2\n3|\n", form)[:2] == (("t", "v"), [(2, ["1", "2"]), (3, ["3", ""])])


def test_the_header_may_start_like_a_remark():
    form = 'remarks_start_with = "#"\n'
    assert read("#t,v\n# x\n1,2\n", form)[:2] == (("#t", "v"), [(3, ["1", "2"])])


def test_a_trailing_separator_must_be_told_and_true():
    form = "trailing_separator = true\n"
    assert read("t,v\n1,2,\n3,,\n", form)[1] == [(2, ["1", "2"]), (3, ["3", ""])]
    *_, foreign = read("t,v\n1,2,3\n1,2\n", form)
    assert [(each.line, each.what) for each in foreign.problems] == [
        (2, "text follows the last column: '3'"),
        (3, "the line is too short: 2 fields, not 3"),
    ]


@pytest.mark.parametrize(
    ("text", "form", "line", "found"),
    [
        ("t,v\n1\n", "", 2, "too short: 1 fields, not 2"),
        ("t,v\n1,2,3\n", "", 2, "too long: 3 fields, not 2"),
        ("t,v\n1,2,\n", "", 2, "set trailing_separator"),
        ("t,v\n1,2,5\n", 'decimal = ","\n', 2, "Decimal commas must stand in quotes"),
        ('t,v\n1,2\n3,"4\n5,6\n', "", 3, "the record that starts here runs to line 4"),
        ('t,v\n1,2\n3,"4" \n', "", 3, "a quote is opened and not closed properly (here)"),
        ("t,v\n1,2\r3,4\n", "", 2, "a lone carriage return"),
        ("t,v\n1," + "x" * 100_001 + "\n", "", 2, "longer than 100000 characters"),
    ],
)
def test_broken_lines(text, form, line, found):
    *_, foreign = read(text, form)
    (problem,) = foreign.problems
    assert problem.line == line
    assert found in str(problem)


@pytest.mark.parametrize(("text", "form"), [("", ""), ("\n", ""), (",,\n", ""), ("t,v\n", "header_line = 2\n")])
def test_a_header_must_be_where_the_map_says(text, form):
    with pytest.raises(BadInput, match="there is no header in line"):
        read(text, form)


def test_every_line_counts_when_all_is_well():
    lines = read("t,v\n" + "".join(f"{n},x\n" for n in range(5000)))[1]
    assert lines[0] == (2, ["0", "x"])
    assert lines[-1] == (5001, ["4999", "x"])
    assert len(lines) == 5000
