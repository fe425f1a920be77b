"""A damaged job folder: every line that is whole comes back, no other one, and the folder stays as it is."""

import json
import random
from itertools import pairwise

import pytest

from satdiag.cli import run
from satdiag.errors import SatdiagError
from satdiag.folder import export_files, job_hash, read_folder, write_folder
from satdiag.opening import open_job
from satdiag.repair import recover, repair
from tests.helpers import make_job
from tests.repair.damaged import row

LOG = "observations.csv"


@pytest.fixture(scope="module")
def files():
    job = make_job("", "[service]\npackage = 'music'", "1,North,music,music")
    quoted = '2031-05-03T14:00:01Z,note,x,"one, two",,hand,"a note\nover ""two"" lines",,,,q1\n'
    header = "time,kind,subject,value,unit,source,note,span_s,run,elapsed_s,id\n"
    lines = [",".join(row(number)[:11]) + "\n" for number in range(1, 300)]
    text = header + "".join(lines[:100]) + quoted + "".join(lines[100:])
    return {**job.documents, LOG: text.encode()}


@pytest.fixture
def folder(files, tmp_path):
    """Writes a folder with other bytes in place of the log's; the test fails if it is not as before at its end."""
    place = tmp_path / "job"
    before = {}

    def write(log, **others):
        write_folder({**files, LOG: log, **others}, place)
        before.update({path.name: (path.read_bytes(), path.stat().st_mtime_ns) for path in place.iterdir()})
        return place

    yield write
    assert {path.name: (path.read_bytes(), path.stat().st_mtime_ns) for path in place.iterdir()} == before


def came_back(job):
    return [one for one in job.rows if one.source != "repair"]


def test_a_sound_folder_is_copied_whole(files, folder, tmp_path):
    place = folder(files[LOG])
    job, losses = repair(place, tmp_path / "new")
    assert losses.whole
    assert job_hash(read_folder(tmp_path / "new")) == job_hash(read_folder(place)) == job_hash(job)


@pytest.mark.parametrize("seed", range(25))
def test_only_whole_lines_come_back(files, folder, seed):
    """Zeros, garbage and lines of elsewhere over some bytes, or the end cut off."""
    rng = random.Random(seed)
    log = files[LOG]
    at, size = rng.randrange(len(log)), rng.choice((2, 40, 512, 4096))
    what = {0: bytes(size), 1: bytes(rng.randrange(128, 256) for _ in range(size)), 2: None}[seed % 3]
    hurt = log[:at] if what is None else (log[:at] + what + log[at + size :])[: len(log)]
    end = len(log) if what is None else at + size
    starts = [0]
    starts += [place + 1 for place, byte in enumerate(log) if byte == 10 and not log[place + 1 :].startswith(b"over")]
    untouched = [log[first:last].decode() for first, last in pairwise(starts[1:]) if last <= at or first >= end]
    job, losses = recover(folder(hurt))
    whole = [one._replace(raw=None) for one in read_rows(files)]
    found = [one._replace(raw=None) for one in came_back(job)]
    assert found == [one for one in whole if one in set(found)]
    assert len(found) >= len(untouched) - 1  # at the edge a line end may be gone
    assert losses.whole is (found == whole)


def read_rows(files):
    from satdiag.csv_text import decode
    from satdiag.folder import parse_observations

    return parse_observations(decode(files[LOG], LOG))[1]


@pytest.mark.parametrize(
    ("old", "new", "why"),
    [
        (b",lock,satellite:east,yes,", b",lock,satellite:east,ye\x00,", "stands in it"),
        (b",lock,satellite:east,yes,", b",lock,satellite:east,maybe,", "'maybe' is not a state"),
        (b",lock,satellite:east,yes,", b",lock,satellite:east,yes", "no whole row"),
        (b",lock,satellite:east,yes,", b'"', "no whole row"),
        (b",lock,satellite:east,yes,", b",lock,satellite:east,y\xff\xff,", "no whole row"),
    ],
)
def test_a_line_that_is_broken_is_lost_alone(files, folder, old, new, why):
    job, losses = recover(folder(files[LOG].replace(old, new, 1)))
    assert len(came_back(job)) == 299
    assert [hole[:3] for hole in losses.holes] == [(6, 6, losses.holes[0].why)]
    assert why in losses.holes[0].why
    assert losses.lost_rows is None
    assert any(line.startswith("- lost: line 6, between 2031-05-03T14:00:40Z and") for line in losses.lines())


def test_the_last_line_without_its_end_is_not_believed(files, folder):
    job, losses = recover(folder(files[LOG].replace(b",yes,", b"\x00", 1)[:-2]))
    assert "1 zero bytes stand there" in losses.holes[0].why
    assert len(came_back(job)) == 298
    assert losses.holes[-1].why == "its line end is missing"
    assert losses.holes[-1].before is None


def test_a_last_line_without_its_end_that_reads_well_is_named(files, folder):
    job, losses = recover(folder(files[LOG][:-1]))
    assert len(came_back(job)) == 300
    assert losses.whole
    assert "may have been cut short" in losses.asides[0]


@pytest.mark.parametrize("used", ["", "span_s,", "run,elapsed_s,", "span_s,run,elapsed_s,id,"])
def test_a_header_that_is_lost_is_found_again_from_the_lines(folder, used):
    columns = ("time,kind,subject,value,unit,source,note," + used).rstrip(",").split(",")
    rows = [row(number)._replace(span_s=f"{number}.5") for number in range(1, 30)]
    text = "".join(",".join(getattr(one, name) for name in columns) + "\n" for one in rows)
    job, losses = recover(folder(b"ti\x00e,kind\n" + text.encode()))
    assert job.header.split(",")[7:] == [*columns[7:], *job.header.split(",")[len(columns) :]]
    assert [[getattr(one, name) for name in columns] for one in came_back(job)] == [
        [getattr(one, name) for name in columns] for one in rows
    ]
    assert any("header" in remark for remark in losses.remarks)


def test_the_other_files_too(files, folder, tmp_path):
    place = folder(files[LOG], **{"lineup.csv": b"channel,name\n1,\xff\n", "ring.toml": b"[[[", "notes.txt": b"?"})
    job, losses = repair(place, tmp_path / "new.satjob")
    assert {lost.name: lost.state for lost in losses.documents} == dict.fromkeys(
        ("lineup.csv", "ring.toml"), "unreadable"
    )
    assert sorted(job.documents) == ["job.toml"]
    assert open_job(tmp_path / "new.satjob").rows[-1].value.startswith("recovered from a damaged job; lineup.csv:")


def test_without_its_log_or_its_sheet(files, tmp_path):
    write_folder({"job.toml": files["job.toml"]}, tmp_path / "no-log")
    job, losses = recover(tmp_path / "no-log")
    assert [(lost.name, lost.what) for lost in losses.documents] == [(LOG, "the file is missing")]
    assert job.rows == ()
    write_folder({LOG: files[LOG]}, tmp_path / "no-sheet")
    with pytest.raises(
        SatdiagError, match="300 observations and 0 other files can be recovered, but not the job sheet"
    ):
        recover(tmp_path / "no-sheet")
    job, losses = recover(tmp_path / "no-sheet", files["job.toml"])
    assert len(came_back(job)) == 300
    (tmp_path / "empty").mkdir()
    with pytest.raises(SatdiagError, match="nothing can be recovered"):
        recover(tmp_path / "empty")


def test_gaps_reach_over_what_is_lost_of_every_source(files, folder):
    text = files[LOG].replace(b",serial:bench-lines,", b",gnss,", 3).replace(b",yes,", b",\x00,", 1)
    job, _ = recover(folder(text))
    marks = [one for one in job.rows if one.source == "repair"]
    assert [(one.kind, one.subject, one.span_s, one.run) for one in marks[:-1]] == [
        ("gap", "gnss", "20", "r1"),
        ("gap", "hand", "20", "r1"),
        ("gap", "serial:bench-lines", "20", "r1"),
    ]
    assert {one.elapsed_s for one in marks[:-1]} == {"60.0"}


def test_where_nobody_heard_the_vehicle_the_source_is_unknown(folder):
    lines = [
        "time,kind,subject,value,unit,source,note",
        *(f"2031-05-03T14:0{n}:00Z,note,x,{n},,gnss," for n in range(4)),
    ]
    job, _ = recover(folder("\n".join(lines).replace(",x,2,", ",x,\0,").encode() + b"\n"))
    marks = [one for one in job.rows if one.source == "repair"]
    assert [(one.subject, one.span_s) for one in marks] == [("gnss", "120"), ("unknown", "120"), ("repair", "")]


def test_what_is_lost_as_json(files, folder, tmp_path, capsys):
    place = folder(files[LOG].replace(b",yes,", b",\x00,", 1))
    to = tmp_path / "new"
    assert run(["check", str(place), "--repair", str(to), "--json"]) == 1
    found = json.loads(capsys.readouterr().out)
    assert found["rows_recovered"] == 299
    assert found["rows_lost"] is None
    assert found["unit"] == "line"
    assert found["holes"][0]["first"] == 6
    assert found["documents_recovered"] == ["job.toml", "lineup.csv"]
    assert found["sha256"] == job_hash(read_folder(to))
    assert not found["whole"]
    assert run(["check", str(to)]) == 0


def test_options_that_need_repair(files, folder, capsys):
    assert run(["check", str(folder(files[LOG])), "--json"]) == 2
    assert "belong to --repair" in capsys.readouterr().err


def test_a_folder_that_cannot_be_written(files, folder, tmp_path):
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(SatdiagError):
        repair(folder(files[LOG]), tmp_path / "file" / "new")
    assert export_files(recover(tmp_path / "job")[0])[LOG] == files[LOG]


def test_what_is_no_part_of_a_job_is_named_and_not_taken_along(files, tmp_path):
    place = tmp_path / "job"
    write_folder(files, place)
    (place / "photo.jpg").write_bytes(b"demo")
    (place / "more").mkdir()
    _, losses = repair(place, tmp_path / "new")
    assert losses.whole
    assert list(losses.asides) == ["not part of a job, and not taken along: more, photo.jpg"]
    assert not (tmp_path / "new" / "photo.jpg").exists()


def test_nothing_is_written_into_the_damaged_folder(files, folder):
    place = folder(files[LOG])
    before = sorted(place.rglob("*"))
    for new in ("new", "deep/new.satjob"):
        with pytest.raises(SatdiagError, match="lies in the damaged job"):
            repair(place, place / new)
    assert sorted(place.rglob("*")) == before


def test_a_sheet_that_is_not_needed_is_not_used_and_that_is_said(files, folder, tmp_path):
    job, losses = repair(folder(files[LOG]), tmp_path / "new", b'[job]\nid = "other"\n')
    assert job.sheet.id == "test-job"
    assert losses.whole
    assert losses.asides == ("the sheet that was given is not used: job.toml of the damaged job can be read",)
