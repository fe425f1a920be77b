"""The parsers at the limits of what they take: numbers, names and files larger than any that a job needs."""

import pytest

from satdiag import folder
from satdiag.csv_text import MAX_FIELD
from satdiag.errors import BadInput, NotAJob, SatdiagError
from satdiag.folder import append_to_folder, export_files, read_folder, write_folder
from satdiag.mapping import foreign
from satdiag.mapping.map_file import parse_map
from satdiag.opening import add_rows, open_job
from satdiag.ring_file import parse_ring
from satdiag.rows import Row, check_row
from satdiag.safe_write import write_over
from satdiag.sheet import parse_sheet
from satdiag.tables import parse_horizon, parse_lineup, parse_obstacles
from satdiag.touchstone import MAX_POINTS, parse_touchstone
from tests.helpers import make_job

JOB = '[job]\nid = "demo"\n'
LINEUP = "channel,name,category,packages\n"


@pytest.mark.parametrize(
    ("sheet", "line", "says"),
    [
        ("[feed]\ngain_db = " + "9" * 400, 4, "is not a number"),
        ("[receiver]\nlevel_floor = " + "9" * 400, 4, "is outside -1e+12 .. 1e+12"),
        (".".join(["a"] * 120) + " = 1", 3, "a key has a hundred parts or more"),
        ("[feedline]\nvelocity_factor = 0.9\nvelocity_factor_range = [0.6, 0.7]", 4, "outside velocity_factor_range"),
        ("[[site]]\nname = ''\nlatitude_deg = 1\nlongitude_deg = 2", 4, "is empty or used twice"),
        ("site = 5", 3, "unknown key 'site' in [job]"),
        ("# " + "x" * 1_000_000, None, "larger than 1 MB"),
    ],
    ids=lambda value: str(value)[:30],
)  # fmt: skip
def test_a_sheet_is_refused_at_its_line(sheet, line, says):
    with pytest.raises(BadInput) as caught:
        parse_sheet(f"{JOB}{sheet}\n")
    (problem,) = caught.value.problems
    assert says in problem.what
    assert problem.line == line


def test_years_that_no_job_has_are_refused():
    for year in (1899, 9999):
        with pytest.raises(BadInput, match="is in no year we know"):
            parse_sheet(f"{JOB}opened = {year}-05-03T13:00:00Z\n")


def test_a_ring_takes_so_many_bridges_and_no_more():
    block = '[[block]]\nname = "{}"\npositions = 2\noutputs_row = "upper"\n'
    text = '[[node]]\nname = "x"\n' + block.format("a") + block.format("b")
    bridges = [f'[[bridge]]\nname = "b{number}"\nfrom = "a"\nto = "b"\n' for number in range(7)]
    file = parse_ring(text + "".join(bridges[:6]))
    assert len(file.bridges) == 6
    assert file.block("b").positions == 2
    with pytest.raises(BadInput, match=r"7 bridges are named, more than 6\. Name only those that the ring uses"):
        parse_ring(text + "".join(bridges))


def test_a_sweep_of_more_points_than_are_taken_is_refused(monkeypatch):
    text = "# MHz S RI R 50\n" + "".join(f"{n} 0 0\n" for n in range(1, 6))
    monkeypatch.setattr("satdiag.touchstone.MAX_POINTS", 5)
    assert len(parse_touchstone(text.encode(), "a.s1p").rows) == 5
    with pytest.raises(BadInput, match="line 7: more than 5 points"):
        parse_touchstone(f"{text}6 0 0\n".encode(), "a.s1p")
    assert MAX_POINTS > 100_000


def test_a_number_of_a_million_digits_is_refused_without_trying_every_way_to_part_it():
    """A pattern that can part digits in many ways would take hours here."""
    with pytest.raises(BadInput, match=r"line 2: '1{50}\.\.\.' is not a number") as caught:
        parse_touchstone(b"# MHz S RI R 50\n" + b"1" * 1_000_000 + b"x 0 0\n", "a.s1p")
    assert len(str(caught.value)) < 300


def test_a_second_option_line_is_passed_over_wherever_it_stands():
    """Touchstone 1.1: only the first option line counts (from memory)."""
    found = parse_touchstone(b"# MHz S RI R 50\n1 0 0\n# GHz S MA R 75\n2 0 0\n", "a.s1p")
    assert (found.unit, found.form, found.resistance_ohm, len(found.rows)) == ("mhz", "ri", 50.0, 2)


def test_a_foreign_file_that_is_too_large_is_refused(monkeypatch):
    monkeypatch.setattr(foreign, "MAX_BYTES", 10)
    assert foreign.text_of(b"0123456789", "utf-8", "f.csv") == "0123456789"
    with pytest.raises(BadInput, match="larger than 10 bytes"):
        foreign.text_of(b"0123456789a", "utf-8", "f.csv")


def test_a_mark_of_a_time_that_cannot_be_seen_is_shown_as_an_escape():
    with pytest.raises(BadInput, match=r"holds %\\ufeff; known are %m"):
        parse_map('[time]\ncolumns = "t"\nformat = "%d.%m.%Y %H:%M%\ufeff"\n' + ROW)


ROW = '[[row]]\nkind = "note"\nsubject = "x"\nvalue_column = "v"\n'


def test_a_trouble_that_several_words_of_a_map_share_is_told_once():
    text = """
[time]
columns = "t"
format = "iso"
[[row]]
kind = "supply"
subject = "receiver"
unit = "mW"
value_column = "v"
value_words = {"a" = "12", "b" = "13"}
"""
    with pytest.raises(BadInput) as caught:
        parse_map(text)
    assert [problem.what for problem in caught.value.problems] == ["'mW' is not a unit of supply receiver"]


# --- a line-up read in one go, and with care -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("body", "says"),
    [
        ("31,A,news,music\n31,B,,\n", "line 3, column 'channel': channel 31 stands in line 2 already"),
        ("031,A,,\n", "'031' is not a channel number"),
        ("31,A,,Music\n", "'Music' is not a list of words"),
        ("31,A,,\n\n32,B,,\n", "line 3: the line is empty"),
        ("31,A\n", "line 2: the row is too short: 2 fields, not 4"),
        (LINEUP, "the header stands here again"),
        ("31,A\rB,,\n", "a lone carriage return"),
    ],
)
def test_a_line_up_with_a_fault_says_where(body, says):
    with pytest.raises(BadInput) as caught:
        parse_lineup(LINEUP + "30,Z,,\n".replace("30", "7") * ("line" not in says) + body)
    assert says in str(caught.value)


@pytest.mark.parametrize("body", ["31,A,news,music open\n5,,,\n", "", "31,A\u2028\x0b,,", "31,\ufeff,#!,a-b\n"])
def test_a_plain_line_up_and_the_same_in_quotes_say_the_same(body):
    lines = [line for line in body.removesuffix("\n").split("\n") if line]
    quoted = "".join(",".join(f'"{field}"' for field in line.split(",")) + "\n" for line in lines)
    assert parse_lineup(LINEUP + body) == parse_lineup(LINEUP + quoted)
    assert len(parse_lineup(LINEUP + body)) == len(lines)


def test_more_channels_than_are_taken_are_refused(monkeypatch):
    monkeypatch.setattr("satdiag.tables.MOST_CHANNELS", 2)
    assert len(parse_lineup(f"{LINEUP}1,A,,\n2,B,,\n")) == 2
    with pytest.raises(BadInput, match=r"line 4: it holds more than the 2 channels"):
        parse_lineup(f"{LINEUP}1,A,,\n2,B,,\n3,C,,\n")


def test_channels_beside_each_other_are_compared_and_said_to_be_open():
    one, two = parse_lineup(f"{LINEUP}1,A,,open\n2,B,,music\n")
    assert (one.is_open, two.is_open) == (True, False)


def test_fields_of_the_other_tables_are_checked():
    with pytest.raises(BadInput, match=r"'12,5' is not a number from 0 to 360 \(decimal point"):
        parse_horizon('azimuth_deg,elevation_deg\n"12,5",3\n')
    with pytest.raises(BadInput, match=r"'91' is outside -10 \.\. 90"):
        parse_horizon("azimuth_deg,elevation_deg\n12,91\n")
    head = "azimuth_from_deg,azimuth_to_deg,distance_m,height_m,note\n"
    assert parse_obstacles(f'{head}350,10,5,2.5,"a wall, high"\n')[0].note == "a wall, high"


# --- the folder ----------------------------------------------------------------------------------------------------


@pytest.fixture
def place(tmp_path):
    """A job folder with one row."""
    write_folder(export_files(make_job("0:00 power receiver awake")), tmp_path / "job")
    return tmp_path / "job"


def test_to_add_nothing_changes_nothing(place, tmp_path):
    before = (place / "observations.csv").read_bytes()
    assert add_rows(place, []).rows == read_folder(place).rows
    assert (place / "observations.csv").read_bytes() == before


def test_a_folder_is_written_into_an_empty_one_and_into_no_other(place, tmp_path):
    (tmp_path / "empty").mkdir()
    write_folder(export_files(read_folder(place)), tmp_path / "empty")
    assert read_folder(tmp_path / "empty").rows == read_folder(place).rows
    with pytest.raises(SatdiagError, match="it is there already"):
        write_folder({}, place)
    with pytest.raises(SatdiagError, match=r"cannot be written \(.+\)\. Nothing was left behind"):
        write_folder({}, place / "job.toml" / "deep" / "folder")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["empty", "job"]


def test_a_file_that_someone_else_has_changed_meanwhile_is_not_written_over(place, monkeypatch):
    file = place / "observations.csv"
    with pytest.raises(FileExistsError, match="has changed"):
        write_over(file, b"ours", b"what we had read")
    theirs = file.read_bytes() + b"2031-05-03T15:00:00Z,power,receiver,off,,hand,\n"
    check = folder.with_rows

    def changed_meanwhile(job, rows):
        file.write_bytes(theirs)
        return check(job, rows)

    monkeypatch.setattr(folder, "with_rows", changed_meanwhile)
    for more in ({}, {"id": "a1"}):  # with a column more the whole file is written anew
        with pytest.raises(SatdiagError, match=r"someone else has changed it just now\)\. Nothing was changed"):
            append_to_folder(place, [Row("2031-05-03T16:00:00Z", "power", "receiver", "awake", **more)])
        assert file.read_bytes() == theirs
        file.write_bytes(theirs.replace(b"15:00", b"15:30"))


def test_one_file_of_a_folder_names_the_folder(place):
    with pytest.raises(NotAJob, match=r"one file of a job folder\. Name the folder: .*job"):
        open_job(place / "observations.csv")
    for name in ("gone", "x" * 300):
        with pytest.raises(SatdiagError, match=r"nothing there|cannot be read"):
            open_job(place / name)


def test_a_row_too_long_and_a_fault_that_is_none_are_refused_with_what_is_allowed():
    row = Row("2031-05-03T14:00:00Z", "note", "x", "y")
    assert list(check_row(row._replace(note="n" * MAX_FIELD), None, ())) == []
    (wrong,) = check_row(row._replace(note="n" * (MAX_FIELD + 1)), None, ())
    assert (wrong.column, wrong.mend) == ("note", "Shorten it.")
    (wrong,) = check_row(row._replace(kind="finding", subject="antena-open", value="confirmed"), None, ())
    assert "antenna-open" in wrong.mend


def test_instants_of_a_job_and_of_one_without_rows():
    job = make_job("0:00 power receiver awake\n0:30 power receiver off")
    assert str(job.instant(12.5)) == "2031-05-03T14:00:12.500000"
    assert make_job("").instant(12.5) is None
    assert job.end_s == 30.0
