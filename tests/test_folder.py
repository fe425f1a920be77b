"""The job folder: one clear error for each fault, the canonical export and its hash, rows added at the end."""

import hashlib
import os
import subprocess
import sys

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from satdiag.errors import BadInput, NotAJob, SatdiagError
from satdiag.folder import (
    append_to_folder,
    export_files,
    job_hash,
    read_folder,
    unknown_files,
    write_folder,
)
from satdiag.job import KNOWN_FILES, build_job
from satdiag.rows import Row
from tests.bad_folders import BAD, HORIZON, LOG, SHEET, SOUND, spoiled, write

FILES = {name: text.encode() for name, text in SOUND.items()}


def problems_of(files, folder):
    """What is wrong with a folder that cannot be read."""
    with pytest.raises(BadInput) as caught:
        read_folder(write(files, folder))
    return caught.value


def test_the_sound_folder_is_read(tmp_path):
    job = read_folder(write(FILES, tmp_path / "job"))
    assert [row.id for row in job.rows] == ["a1", "a2", "a3", "a4", "a5"]
    assert job.sheet.package == "music"
    assert [channel.channel for channel in job.lineup] == [31, 32]
    assert job.horizon[1].elevation_deg == 8.5
    assert job.obstacles[0].note == "shed"


@pytest.mark.parametrize("bad", BAD, ids=lambda bad: bad.name)
def test_each_fault_gives_one_clear_error(bad, tmp_path):
    error = problems_of(spoiled(bad), tmp_path / "job")
    assert len(error.problems) == 1, str(error)
    problem = error.problems[0]
    assert (problem.file, problem.line, problem.column) == (bad.file, bad.line, bad.column), str(error)
    text = str(error)
    assert bad.found in text
    assert bad.allowed in text
    where = bad.file + (f", line {bad.line}" if bad.line else "") + (f", column '{bad.column}'" if bad.column else "")
    assert text.startswith(f"{where}: ")
    assert "\n" not in text


def test_a_naive_time_is_read_where_the_sheet_says_what_it_means(tmp_path):
    sheet = SHEET.replace('id = "demo-0007"', 'id = "demo-0007"\nnaive_times = "-05:00"')
    files = {**FILES, "job.toml": sheet.encode(), "observations.csv": LOG.replace("13:40:00Z", "13:40:00").encode()}
    job = read_folder(write(files, tmp_path / "job"))
    assert str(job.observations["time"].iloc[0]) == "2031-05-03 18:40:00"


def test_two_thousand_bad_rows_give_the_first_twenty_and_a_count(tmp_path):
    rows = ["2031-05-03T13:40:00Z,power,receiver,asleep,,hand,"] * 2000
    log = "\n".join(["time,kind,subject,value,unit,source,note", *rows]) + "\n"
    error = problems_of({"job.toml": SHEET.encode(), "observations.csv": log.encode()}, tmp_path / "job")
    assert len(error.problems) == 2000
    lines = str(error).splitlines()
    assert len(lines) == 21
    assert lines[0].startswith("observations.csv, line 2, ")
    assert lines[19].startswith("observations.csv, line 21, ")
    assert lines[20] == "... and 1980 more; 2000 in all."


def test_faults_of_several_files_are_told_together(tmp_path):
    files = dict(FILES)
    for bad in BAD:
        if bad.name in ("short row", "elevation", "channel number", "latitude"):
            files[bad.file] = spoiled(bad)[bad.file]
    error = problems_of(files, tmp_path / "job")
    assert {problem.file for problem in error.problems} == {
        "job.toml",
        "observations.csv",
        "horizon.csv",
        "lineup.csv",
    }


def test_line_numbers_count_the_lines_of_a_note(tmp_path):
    log = LOG.replace("clear, dry", "one\ntwo\nthree").replace("channel,31", "channel,x")
    error = problems_of({**FILES, "observations.csv": log.encode()}, tmp_path / "job")
    assert error.problems[0].line == 6


def test_a_job_made_of_rows_counts_the_lines_that_they_will_have():
    rows = [
        Row("2031-05-03T13:40:00Z", "note", "", "one\ntwo"),
        Row("2031-05-03T13:40:00Z", "power", "receiver", "x"),
    ]
    with pytest.raises(BadInput, match="line 4, column 'value'"):
        build_job({"job.toml": SHEET.encode()}, rows)


def test_missing_files(tmp_path):
    with pytest.raises(NotAJob, match=r"no job\.toml here"):
        read_folder(write({"observations.csv": LOG.encode()}, tmp_path / "a"))
    error = problems_of({"job.toml": SHEET.replace("41.2", "412").encode()}, tmp_path / "b")
    assert [str(problem.file) for problem in error.problems] == ["observations.csv", "job.toml"]
    with pytest.raises(SatdiagError, match="cannot be read"):
        read_folder(tmp_path / "nowhere")


def test_unknown_files_and_folders_with_known_names_are_named(tmp_path):
    folder = write({**FILES, "notes.txt": b"", "Observations.csv.bak": b""}, tmp_path / "job")
    (folder / "ring.toml").mkdir()
    assert unknown_files(folder) == ["Observations.csv.bak", "notes.txt", "ring.toml"]


@pytest.mark.parametrize("name", ["../out.toml", "observations.csv", "gnss/../x.nmea", "notes.txt", "gnss\n.nmea"])
def test_a_job_holds_no_other_file(name):
    with pytest.raises(BadInput, match="does not belong to a job"):
        build_job({"job.toml": SHEET.encode(), name: b""}, [])


def test_the_hash_is_what_the_documentation_says(tmp_path):
    """SHA-256 over name, line end, length, line end, bytes of each file in name order, by hashlib alone."""
    parts = b"".join(name.encode() + b"\n%d\n" % len(FILES[name]) + FILES[name] for name in sorted(FILES))
    edited = {name: b"\xef\xbb\xbf" + data.replace(b"\n", b"\r\n") for name, data in FILES.items()}
    for number, files in enumerate((FILES, edited)):
        job = read_folder(write(files, tmp_path / str(number)))
        assert job_hash(job) == hashlib.sha256(parts).hexdigest()
        assert export_files(job) == dict(sorted(FILES.items()))


@settings(max_examples=200, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.sampled_from(sorted(SOUND)), st.binary(max_size=60), st.integers(0, 400), st.integers(0, 40))
@example("job.toml", b'[job]\nid="x"\nopened=9999-12-31T23:59:59-12:00\n', 0, 10_000)
@example("job.toml", b'[job]\nid="x"\n[receiver]\nlevel_floor=0x' + b"f" * 4_000, 0, 10_000)
@example("job.toml", b"a = " + b"[" * 5000, 0, 10_000)
@example("observations.csv", b"2031-05-03T13:40:00Z,note,,x,,,,,r1,1e300,\n", len(LOG), 0)
@example("observations.csv", b'"' + b"x" * 200_000, len(LOG), 0)
def test_random_bytes_in_any_file_raise_nothing_but_our_errors(tmp_path_factory, name, junk, at, cut):
    data = FILES[name]
    folder = write({**FILES, name: data[:at] + junk + data[at + cut :]}, tmp_path_factory.mktemp("fuzz") / "job")
    job = message = None
    try:
        job = read_folder(folder)
    except SatdiagError as error:
        message = str(error)
    if job is not None:
        assert len(job.log) <= len(job.rows)
    else:
        assert all(line.isprintable() for line in message.split("\n"))


def test_normalising_is_done_once_for_all(tmp_path):
    """Repeated carriage returns and BOMs must not make a second import differ from the first."""
    odd = b"\xef\xbb\xbf\xef\xbb\xbf" + HORIZON.encode().replace(b"\n", b"\r\r\n") + b"90,1\r"
    job = read_folder(write({**FILES, "horizon.csv": odd}, tmp_path / "a"))
    write_folder(export_files(job), tmp_path / "b")
    assert job_hash(read_folder(tmp_path / "b")) == job_hash(job)
    assert (tmp_path / "b" / "horizon.csv").read_bytes() == HORIZON.encode() + b"90,1\n"


def test_an_existing_folder_is_never_written_over(tmp_path):
    folder = write({"job.toml": b"mine"}, tmp_path / "job")
    with pytest.raises(SatdiagError, match="it is there already"):
        write_folder(FILES, folder)
    assert (folder / "job.toml").read_bytes() == b"mine"
    (tmp_path / "empty").mkdir()
    write_folder(FILES, tmp_path / "empty")
    assert sorted(path.name for path in (tmp_path / "empty").iterdir()) == sorted(FILES)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["empty", "job"]


def test_nothing_is_left_behind_where_a_folder_cannot_be_written(tmp_path):
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(SatdiagError, match="cannot be written"):
        write_folder(FILES, tmp_path / "file" / "job")
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


ROW = Row("2031-05-03T14:00:00Z", "place", "vehicle", "street", source="hand", note='a "b"')


@pytest.mark.parametrize("line_end", [b"\n", b"\r\n"])
@pytest.mark.parametrize("last", [True, False])
def test_an_added_row_leaves_the_bytes_before_it(line_end, last, tmp_path):
    before = b"\xef\xbb\xbf" + LOG.encode().replace(b"\n", line_end)
    before = before if last else before.removesuffix(line_end)
    folder = write({**FILES, "observations.csv": before}, tmp_path / "job")
    append_to_folder(folder, [ROW])
    after = (folder / "observations.csv").read_bytes()
    added = b'2031-05-03T14:00:00Z,place,vehicle,street,,hand,"a ""b""",,,,' + line_end
    assert after == before + (b"" if last else line_end) + added
    assert read_folder(folder).rows[-1] == ROW
    assert sorted(path.name for path in folder.iterdir()) == sorted(FILES)


def test_a_new_column_is_added_to_every_row_and_quotes_are_kept(tmp_path):
    header = 'time,kind,subject,value,unit,source,"note",id\n'
    log = header + '2031-05-03T13:40:00Z,"note",,"a",,hand,"x,""y""",n1\n'
    folder = write({"job.toml": b'[job]\nid = "x"\n', "observations.csv": log.encode()}, tmp_path / "job")
    append_to_folder(folder, [ROW._replace(span_s="30", id="n2")])
    lines = (folder / "observations.csv").read_text().splitlines()
    assert lines[0] == 'time,kind,subject,value,unit,source,"note",span_s,id'
    assert lines[1] == '2031-05-03T13:40:00Z,"note",,"a",,hand,"x,""y""",,n1'
    assert lines[2] == '2031-05-03T14:00:00Z,place,vehicle,street,,hand,"a ""b""",30,n2'


def test_a_new_column_keeps_bom_and_line_ends(tmp_path):
    before = b"\xef\xbb\xbftime,kind,subject,value,unit,source,note\r\n2031-05-03T13:40:00Z,note,,a,,hand,\r\n"
    folder = write({"job.toml": SHEET.encode(), "observations.csv": before}, tmp_path / "job")
    append_to_folder(folder, [ROW._replace(note="", id="n1")])
    assert (folder / "observations.csv").read_bytes() == (
        b"\xef\xbb\xbftime,kind,subject,value,unit,source,note,id\r\n2031-05-03T13:40:00Z,note,,a,,hand,,\r\n"
        b"2031-05-03T14:00:00Z,place,vehicle,street,,hand,,n1\r\n"
    )


@pytest.mark.parametrize(
    ("row", "column"),
    [
        (ROW._replace(value="park"), "value"),
        (ROW._replace(id="a1"), "id"),
        (ROW._replace(kind="withdraw", subject="row", value="zz"), "value"),
        (ROW._replace(note="\ud800"), "note"),
        (Row("2031-05-03T14:00:00Z", "signal", "satellite:east", "3", "bars/5"), "unit"),
    ],
)
def test_a_row_that_is_not_allowed_changes_nothing(row, column, tmp_path):
    folder = write(FILES, tmp_path / "job")
    with pytest.raises(BadInput) as caught:
        append_to_folder(folder, [row])
    assert [problem.column for problem in caught.value.problems] == [column]
    assert str(caught.value).startswith(f"the new row, column '{column}': ")
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == FILES


def test_a_change_by_someone_else_is_not_lost(tmp_path, monkeypatch):
    folder = write(FILES, tmp_path / "job")
    place = folder / "observations.csv"
    copymode = "satdiag.safe_write.shutil.copymode"
    monkeypatch.setattr(copymode, lambda *_: place.write_bytes(LOG.encode() + b"theirs\n"))
    with pytest.raises(SatdiagError, match="someone else has changed it"):
        append_to_folder(folder, [ROW])
    assert place.read_bytes().endswith(b"theirs\n")
    assert sorted(path.name for path in folder.iterdir()) == sorted(FILES)


@pytest.mark.skipif(os.name == "nt", reason="rights work otherwise there")
def test_the_rights_of_the_file_stay(tmp_path):
    folder = write(FILES, tmp_path / "job")
    (folder / "observations.csv").chmod(0o640)
    append_to_folder(folder, [ROW])
    assert (folder / "observations.csv").stat().st_mode & 0o777 == 0o640


def test_known_files_are_those_of_the_documentation():
    """The list in `satdiag docs log` names every pattern."""
    text = subprocess.run(
        [sys.executable, "-m", "satdiag", "docs", "log"], capture_output=True, text=True, check=True, timeout=60
    ).stdout
    block = text.split("```")[1]
    words = block.replace("*", "1").replace(",", " ").replace(":", " ").split()
    named = {word for word in words if KNOWN_FILES.fullmatch(word)}
    assert len(named) == 13
