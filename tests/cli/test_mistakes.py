"""Mistakes that people make: each gets one plain message that says what is wrong and what to do, and exit code 2."""

import shutil

import pytest

from satdiag.cli import run
from satdiag.vocabulary import FAULTS
from tests.sample_findings import ROOT


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    """A folder with a job, files that are none, and jobs with one thing wrong in each."""
    place = tmp_path_factory.mktemp("mistakes")
    for name in ("job", "column", "date", "empty-log", "no-log", "toml", "word", "semicolons"):
        shutil.copytree(ROOT / "filling", place / name)
    for name in ("nothing", "lists.csv"):
        (place / name).mkdir()
    for name in ("empty.satjob", "empty.csv"):
        (place / name).write_bytes(b"")
    for name in ("text.txt", "words"):
        (place / name).write_text("hello\n", "utf-8")

    def mend(name, before, after):
        file = place / name
        file.write_text(file.read_text("utf-8").replace(before, after, 1), "utf-8")

    mend("column/observations.csv", "kind", "knd")
    mend("date/observations.csv", "2031-09", "2031-13")
    mend("toml/job.toml", "[receiver]", "[receiver")
    mend("word/job.toml", "[receiver]", "[reciever]")
    (place / "empty-log" / "observations.csv").write_bytes(b"")
    (place / "no-log" / "observations.csv").unlink()
    log = place / "semicolons" / "observations.csv"
    log.write_text(log.read_text("utf-8").replace(",", ";"), "utf-8")
    return place


MISTAKES = {
    "anaylse job": ["Did you mean 'analyse'?"],
    "analyse": ["Missing argument", "analyse --help"],
    "analyse nowhere": ["nothing there", "NAME.satjob"],
    "analyse nothing": ["no job.toml here", "`satdiag new`"],
    "analyse empty.satjob": ["the file is empty", "Name a NAME.satjob"],
    "analyse text.txt": ["not a job file", "NAME.satjob"],
    "analyse job/observations.csv": ["one file of a job folder", "Name the folder: job"],
    "analyse column": ["line 1", "column 'kind' is missing", "Write time,kind,"],
    "analyse date": ["line 2", "is not a time", "Write it like 2031-05-03T13:40:00Z"],
    "analyse empty-log": ["the file is empty", "Write the header"],
    "analyse no-log": ["the file is missing", "Add it"],
    "analyse toml": ["job.toml, line", "not valid TOML"],
    "analyse word": ["unknown table [reciever]", "Known tables"],
    "analyse semicolons": ["separated by ';'", "Save it with ','"],
    "analyse job --aim speed": ["'speed' is not one of", "'repair', 'proof'"],
    "analyse job --lang de": ["'de' is not one of"],
    "analyse job --report words": ["is not written over", "Name another file"],
    "analyse job --report text.txt": ["a page is written here", "the name says a plain text", "text.html"],
    "analyse job --report page.html --pdf page.csv": ["a PDF is written here", "comma-separated", "page.pdf"],
    "checklist job --report list.pdf": ["a page is written here", "the name says a PDF", "list.html"],
    "paper job --out form.html --pdf form.htm": ["a PDF is written here", "the name says a page", "form.pdf"],
    "export job out.csv": ["a folder is written here", "the name says comma-separated values", "e.g. out."],
    "export job --figures drawn.png": ["a folder is written here", "the name says a picture", "e.g. drawn."],
    "export job --parquet out.csv": ["Parquet is written here", "comma-separated values", "out.parquet"],
    "export job --parquet sub/out.JSON": ["Parquet is written here", "the name says JSON", "out.parquet"],
    "export job --json out.xlsx": ["JSON is written here", "the name says a workbook", "out.json"],
    "export job whole --json out.parquet": ["JSON is written here", "the name says Parquet", "out.json"],
    "export job --spreadsheet out.pdf": ["--spreadsheet writes FILE.csv or FILE.xlsx, not out.pdf"],
    "analyse job --report far/page.html": ["there is no folder", "Make it first"],
    "letter job": ["Missing option '--for'", "dealer"],
    "letter job --for customer --out letter.pdf": ["letter.html"],
    "note job channel 31 refuse": ["'refuse' is not a state of channel", "Allowed: authorised, refused"],
    "note job channel 31 refused --at yesterday": ["is not a time", "Write it like"],
    "note job signal any 4": ["signal any needs a unit, and none is given", "Allowed: dB"],
    "export job job": ["it is there already", "Name a new folder"],
    "compare job job --visits 1,9": ["Name two jobs, or one job and two of its visits"],
    "compare job --visits 1,9": ["has no visit 9", "Visits in it: 1"],
    "sky --at 95,10 --constellation demo-pair": ["the latitude 95 is outside -90 .. 90"],
    "simulate filing": ["There is no scenario 'filing'", "Did you mean filling?"],
    "docs nonsense": ["There is no topic 'nonsense'", "Topics: "],
    "record job --from replay:job": ["goes into a job file", "satdiag import"],
    "new fresh --lineup empty.csv": ["empty.csv, line 1: the file is empty", "Write the header: channel,name"],
    "user add lineups lists.csv": ["lists.csv: this is a folder", "Name a file"],
    "user import nothing": ["nothing: this is a folder", "Name a file"],
    "fleet report nowhere": ["nowhere: there is no such folder", "Name a data set"],
    "ring check job": ["holds no ring.toml", "satdiag ring new"],
}


@pytest.mark.parametrize("line", MISTAKES)
def test_a_mistake_is_told_plainly(line, place, monkeypatch, capsys):
    monkeypatch.chdir(place)
    before = sorted(path.relative_to(place) for path in place.rglob("*"))
    assert run(line.split()) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert "Traceback" not in shown.err
    assert "Internal error" not in shown.err
    for words in MISTAKES[line]:
        assert words in shown.err
    assert sorted(path.relative_to(place) for path in place.rglob("*")) == before


def test_an_unknown_fault_is_answered_with_the_names_of_all(capsys, tmp_path):
    job = tmp_path / "job"
    assert run(["new", str(job), "--id", "demo"]) == 0
    assert run(["note", str(job), "finding", "antenna", "confirmed"]) == 2
    said = capsys.readouterr().err
    assert all(fault in said for fault in FAULTS)


def test_a_file_that_is_not_there_is_not_said_to_lack_rights(capsys, tmp_path):
    job = tmp_path / "job"
    assert run(["new", str(job), "--id", "demo"]) == 0
    assert run(["paper", str(job), "--enter", "--from", str(tmp_path / "form.txt")]) == 2
    said = capsys.readouterr().err
    assert "there is no such file" in said
    assert "rights" not in said
