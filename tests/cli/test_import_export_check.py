"""`satdiag import`, `export` and `check`."""

import csv
import io

import pytest

from satdiag.cli import run
from satdiag.folder import job_hash
from satdiag.job import with_rows
from satdiag.opening import open_job
from satdiag.rows import Row
from satdiag.store import create_job_file
from tests.bad_folders import BAD, LOG, SHEET, SOUND, spoiled, write
from tests.helpers import make_job

FILES = {name: text.encode() for name, text in SOUND.items()}


def test_import_and_export_are_lossless(tmp_path, capsys):
    folder = write(FILES, tmp_path / "job")
    assert run(["import", str(folder), str(tmp_path / "x.satjob")]) == 0
    assert run(["export", str(tmp_path / "x.satjob"), str(tmp_path / "out")]) == 0
    assert {path.name: path.read_bytes() for path in (tmp_path / "out").iterdir()} == FILES
    text = capsys.readouterr().out
    assert text.count(job_hash(open_job(folder))) == 2
    assert "5 observations and 4 other files" in text


def test_import_names_what_it_leaves_out(tmp_path, capsys):
    folder = write({**FILES, "notes.txt": b""}, tmp_path / "job")
    assert run(["import", str(folder), str(tmp_path / "x.satjob")]) == 0
    assert "notes.txt does not belong" in capsys.readouterr().err
    assert len(open_job(tmp_path / "x.satjob").documents) == 4


@pytest.mark.parametrize(
    ("words", "found"),
    [
        (["import", "job", "x.db"], "NAME.satjob"),
        (["import", "x.satjob", "y.satjob"], "this is a file"),
        (["import", "none", "y.satjob"], "nothing there"),
        (["import", "job", "x.satjob"], "it is there already"),
        (["export", "x.satjob", "job"], "it is there already"),
        (["export", "x.satjob", "--spreadsheet", "taken.csv"], "it is there already"),
        (["export", "x.satjob", "--spreadsheet", "none/x.csv"], "Is its folder there"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else None,
)
def test_nothing_is_written_over_and_bad_names_are_told(tmp_path, monkeypatch, words, found, capsys):
    monkeypatch.chdir(tmp_path)
    write(FILES, tmp_path / "job")
    create_job_file("x.satjob", open_job("job"))
    (tmp_path / "taken.csv").write_bytes(b"mine")
    before = {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    assert run(words) == 2
    assert found in capsys.readouterr().err
    assert {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()} == before


def test_a_spreadsheet_gets_no_formulas_and_numbers_stay(tmp_path):
    time = "2031-05-03T13:40:00Z"
    rows = [
        Row(time, "signal", "any", "-71.2", "dB", note="-5", span_s="30"),
        Row(time, "note", "=1+1", "+x", note="@a, b"),
        Row(time, "note", "\t=x", "-2+3", note="harmless"),
        Row(time, "note", "x", "+5", note="a\n=b"),
    ]
    job = with_rows(make_job(""), rows)
    create_job_file(tmp_path / "x.satjob", job)
    assert run(["export", str(tmp_path / "x.satjob"), "--spreadsheet", str(tmp_path / "x.csv")]) == 0
    data = (tmp_path / "x.csv").read_bytes()
    assert data.startswith(b"\xef\xbb\xbf")
    rows = list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"), newline="")))
    assert [row["value"] for row in rows] == ["-71.2", "'+x", "'-2+3", "+5"]
    assert [row["subject"] for row in rows] == ["any", "'=1+1", "'\t'=x", "x"]
    assert [row["note"] for row in rows] == ["'-5", "'@a, b", "harmless", "a\n'=b"]
    assert rows[0]["span_s"] == "30"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["x.csv", "x.satjob"]


def test_check_is_0_for_a_sound_job(tmp_path, capsys):
    folder = write(FILES, tmp_path / "job")
    create_job_file(tmp_path / "x.satjob", open_job(folder))
    for path in (folder, tmp_path / "x.satjob"):
        assert run(["check", str(path)]) == 0
        text = capsys.readouterr().out
        assert "no problem found in 5 observations and 4 other files" in text
        assert job_hash(open_job(folder)) in text


def test_check_names_everything_at_once(tmp_path, capsys):
    files = {**FILES, "notes.txt": b"", "ring.txt": b""}
    for bad in BAD:
        if bad.name in ("state", "elevation", "latitude", "distance"):
            files[bad.file] = spoiled(bad)[bad.file]
    assert run(["check", str(write(files, tmp_path / "job"))]) == 1
    streams = capsys.readouterr()
    starts = [line.partition(":")[0] for line in streams.out.splitlines()]
    assert streams.err == ""
    assert starts == [
        "notes.txt",
        "ring.txt",
        "job.toml, line 7, column 'latitude_deg'",
        "horizon.csv, line 3, column 'elevation_deg'",
        "obstacles.csv, line 2, column 'distance_m'",
        "observations.csv, line 2, column 'value'",
    ]


def test_check_names_rows_of_the_wrong_length_and_wrong_contents_together(tmp_path, capsys):
    """Also behind each other, before a quote that is left open, and in the line-up; nothing is told that a row which
    could not be read may make right: the id that is withdrawn, the unit that was in use."""
    blank = "," * (len(LOG.splitlines()[0].split(",")) - 4)
    log = [
        LOG.splitlines()[0],
        f"2031-05-03T13:40:00Z,power,receiver,asleep{blank}",
        "2031-05-03T13:41:00Z,power,receiver",
        f"yesterday,power,receiver,awake{blank}",
        f"2031-05-03T13:42:00Z,withdraw,row,z9{blank}",
        f'2031-05-03T13:43:00Z,power,receiver,"awake{blank}',
        "",
    ]
    lineup = "channel,name,category,packages\n1,a,b,c\n2,a\n1,a,b,c\n-3,a,b,c\n"
    files = {"job.toml": SHEET, "observations.csv": "\n".join(log), "lineup.csv": lineup}
    assert run(["check", str(write({name: text.encode() for name, text in files.items()}, tmp_path / "job"))]) == 1
    lines = capsys.readouterr().out.splitlines()
    assert [line.partition(":")[0] for line in lines] == [
        "observations.csv, line 2, column 'value'",
        "observations.csv, line 3",
        "observations.csv, line 4, column 'time'",
        "observations.csv, line 6",
        "lineup.csv, line 3",
        "lineup.csv, line 4, column 'channel'",
        "lineup.csv, line 5, column 'channel'",
    ]
    assert all(line.count(". ") >= 1 for line in lines), "what is wrong, and how to mend it"


def test_check_counts_what_it_does_not_print(tmp_path, capsys):
    log = LOG.splitlines()[0] + "\n" + "2031-05-03T13:40:00Z,power,receiver,asleep,,,,,,,\n" * 50
    folder = write({"job.toml": SHEET.encode(), "observations.csv": log.encode()}, tmp_path / "job")
    assert run(["check", str(folder)]) == 1
    assert capsys.readouterr().out.splitlines()[20:] == ["... and 30 more; 50 in all."]
    assert run(["check", str(folder), "--all"]) == 1
    assert len(capsys.readouterr().out.splitlines()) == 50


@pytest.mark.parametrize(
    ("service", "files", "found"),
    [
        ('constellation = "nowhere"', {}, "'nowhere' is not a packaged constellation"),
        ('constellation = "constellation.toml"', {}, "has no such file"),
        ("", {"constellation.toml": b'name = "x"\n'}, "constellation.toml: no satellite is named"),
        ("", {"constellation.toml": b"name = \xff"}, "constellation.toml, line 1: byte 0xff is not UTF-8"),
        ("", {"elements.tle": b"nonsense\n"}, "elements.tle"),
    ],
)
def test_check_reads_the_constellation_too(tmp_path, capsys, service, files, found):
    sheet = f'[job]\nid = "x"\n[service]\n{service}\n'.encode()
    log = b"time,kind,subject,value,unit,source,note\n"
    folder = write({"job.toml": sheet, "observations.csv": log, **files}, tmp_path / "job")
    assert run(["check", str(folder)]) == 1
    assert found in capsys.readouterr().out
    if b"\xff" not in files.get("constellation.toml", b""):
        create_job_file(tmp_path / "x.satjob", open_job(folder))
        assert run(["check", str(tmp_path / "x.satjob")]) == 1
        assert found in capsys.readouterr().out


def test_check_is_2_for_what_cannot_be_read_at_all(tmp_path, capsys):
    (tmp_path / "picture.png").write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(100))
    (tmp_path / "empty").mkdir()
    for name in ("picture.png", "empty", "none"):
        assert run(["check", str(tmp_path / name)]) == 2
        streams = capsys.readouterr()
        assert streams.out == ""
        assert name in streams.err


def test_check_finds_damage_in_a_job_file(tmp_path, capsys):
    place = tmp_path / "x.satjob"
    create_job_file(place, open_job(write(FILES, tmp_path / "job")))
    place.write_bytes(place.read_bytes().replace(b"clear, dry", b"clear, wet"))
    assert run(["check", str(place)]) == 1
    assert capsys.readouterr().out == (
        "x.satjob: the content is not what was written there; a byte has changed. "
        "Use a copy of it, or the folder that it was made from, or let `satdiag check FILE --repair NEW.satjob` "
        "write what can be recovered.\n"
    )
