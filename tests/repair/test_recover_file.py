"""A damaged job file: every row that comes back is one that was there, in order, and what is missing is said.

Which rows must come back is told by SQLite's own table of pages (https://www.sqlite.org/dbstat.html), asked of the
file before it is damaged; what SQLite still reads of the damaged one must come back as well.
"""

import sqlite3
from contextlib import closing, suppress

import numpy as np
import pytest

from satdiag.analysis import analyse
from satdiag.cli import run
from satdiag.errors import SatdiagError
from satdiag.exposure import exposure_clock
from satdiag.folder import job_hash
from satdiag.repair import recover, repair
from satdiag.spans import intersect, length_s
from satdiag.store import check_job_file, read_job_file
from tests.repair.damaged import PAGE, ROWS, any_damage, cut, has_dbstat, overwritten, sure_rows

NEEDS_DBSTAT = pytest.mark.skipif(not has_dbstat(), reason="this SQLite has no table of its pages")


def numbers_of(job, recorded):
    """The numbers of the rows that came back, each compared with the one that was there (`raw` aside)."""
    found = []
    for row in job.rows:
        if row.source != "repair":
            number, was = recorded.rows[row.id]
            assert row._replace(raw=None) == was._replace(raw=None)
            found.append(number)
    return found


def said_lost(losses):
    """The numbers that a repair says are lost."""
    return {number for hole in losses.holes for number in range(hole.first, (hole.last or ROWS) + 1)}


def look_at(recorded, damaged, data, touched):
    """Repair a damaged file, and hold what comes back against what was there. Returns how many rows came back."""
    place = damaged(data)
    sure = sure_rows(recorded.pages, touched)
    try:
        job, losses = recover(place, recorded.job.documents["job.toml"])
    except SatdiagError:
        assert not sure
        return 0
    numbers = numbers_of(job, recorded)
    assert numbers == sorted(set(numbers))
    assert sure <= set(numbers)
    assert set(range(1, ROWS + 1)) - set(numbers) == said_lost(losses)
    assert losses.whole is (losses.agree == dict.fromkeys(losses.agree, True) and not losses.documents)
    assert losses.rows == len(numbers)
    for name in job.documents.keys() - {lost.name for lost in losses.documents}:
        if losses.agree.get("documents") and losses.agree.get("parts"):
            assert job.documents[name] == recorded.job.documents[name]
    return len(numbers)


@NEEDS_DBSTAT
@pytest.mark.parametrize("seed", range(30))
def test_rows_come_back_whatever_is_written_over_the_file(recorded, damaged, seed):
    look_at(recorded, damaged, *any_damage(recorded.data, recorded.pages.leaves, seed))


@pytest.mark.long
@NEEDS_DBSTAT
@pytest.mark.parametrize("first", range(1000, 3000, 100))
def test_rows_come_back_whatever_is_written_over_the_file_long(recorded, damaged, first):
    for seed in range(first, first + 100):
        look_at(recorded, damaged, *any_damage(recorded.data, recorded.pages.leaves, seed))


@NEEDS_DBSTAT
@pytest.mark.parametrize("part", [0.0, 0.0001, 0.003, 0.0122, 0.3, 0.5003, 0.77, 0.999, 0.99999])
def test_a_file_cut_off_at_any_byte(recorded, damaged, part):
    look_at(recorded, damaged, *cut(recorded.data, int(part * len(recorded.data))))


def without(recorded, *pages):
    """The file with pages full of zeros."""
    data = recorded.data
    for page in pages:
        data, _ = overwritten(data, (page - 1) * PAGE, bytes(PAGE))
    return data


@pytest.mark.parametrize("more", [bytes(100), bytes(PAGE), b"\xff" * PAGE], ids=["head", "page", "garbage"])
def test_without_its_first_page_everything_else_is_there(recorded, damaged, more):
    place = damaged(overwritten(recorded.data, 0, more)[0])
    job, losses = recover(place)
    assert job_hash(job) == job_hash(recorded.job)
    assert losses.whole
    assert losses.agree == {"rows": True, "documents": True, "parts": True}


def roots(recorded, tmp_path):
    """The page at which each table begins, as SQLite says."""
    place = tmp_path / "whole.satjob"
    place.write_bytes(recorded.data)
    with closing(sqlite3.connect(place)) as connection:
        return dict(connection.execute("SELECT name, rootpage FROM sqlite_master"))


def test_without_the_inner_page_of_the_observations_every_row_is_there(recorded, damaged, tmp_path):
    place = damaged(without(recorded, roots(recorded, tmp_path)["observations"]))
    with pytest.raises(SatdiagError):
        read_job_file(place)
    job, losses = recover(place)
    assert job_hash(job) == job_hash(recorded.job)
    assert losses.whole


def test_without_its_digests_and_header_the_rows_say_what_their_columns_are(recorded, damaged, tmp_path):
    place = damaged(without(recorded, roots(recorded, tmp_path)["meta"]))
    job, losses = recover(place)
    assert numbers_of(job, recorded) == list(range(1, ROWS + 1))
    assert job.header == recorded.job.header
    assert losses.agree == {"rows": None, "documents": None, "parts": None}
    assert not losses.whole
    assert job.rows[-1].kind == "note"
    assert "digest of the rows: gone" in job.rows[-1].value


def test_a_sheet_that_is_lost_is_not_made_up(recorded, damaged, tmp_path, capsys):
    place = damaged(without(recorded, roots(recorded, tmp_path)["documents"]))
    to = tmp_path / "new.satjob"
    assert run(["check", str(place), "--repair", str(to)]) == 2
    text = capsys.readouterr().err
    assert "2000 observations" in text
    assert "--sheet FILE" in text
    assert not to.exists()
    (tmp_path / "job.toml").write_bytes(recorded.job.documents["job.toml"])
    assert run(["check", str(place), "--repair", str(to), "--sheet", str(tmp_path / "job.toml")]) == 1
    text = capsys.readouterr().out
    for name in ("job.toml", "lineup.csv"):
        assert f"- {name}: lost" in text
    assert "gnss.nmea: partly lost" in text
    assert numbers_of(read_job_file(to), recorded) == list(range(1, ROWS + 1))
    (tmp_path / "bad.toml").write_bytes(b"[job]\n")
    assert (
        run(["check", str(place), "--repair", str(tmp_path / "x.satjob"), "--sheet", str(tmp_path / "bad.toml")]) == 2
    )
    assert "id" in capsys.readouterr().err


@NEEDS_DBSTAT
def test_the_new_file_is_sound_and_says_in_its_log_what_is_missing(recorded, damaged, tmp_path, capsys):
    """Two pages in the middle and the last one are gone: gaps where rows are missing, and a note."""
    leaves = sorted(recorded.pages.leaves, key=lambda page: recorded.pages.leaves[page])
    gone = [leaves[10], leaves[11], leaves[-1]]
    place = damaged(without(recorded, *gone))
    to = tmp_path / "new.satjob"
    assert run(["check", str(place), "--repair", str(to)]) == 1
    text = capsys.readouterr().out
    first, last = recorded.pages.leaves[gone[0]][0], recorded.pages.leaves[gone[1]][1]
    tail = recorded.pages.leaves[gone[2]][0]
    before, after = recorded.job.rows[first - 2].time, recorded.job.rows[last].time
    assert f"lost: rows {first} to {last}, between {before} and {after}" in text
    assert f"lost: from row {tail} on, after {recorded.job.rows[tail - 2].time}" in text
    assert check_job_file(to) == []
    assert run(["check", str(to)]) == 0
    job = read_job_file(to)
    marks = [row for row in job.rows if row.source == "repair"]
    assert [(row.kind, row.subject, row.value) for row in marks] == [
        ("gap", "serial:bench-lines", "lost"),
        ("note", "repair", marks[1].value),
    ]
    assert job.rows.index(marks[0]) == first - 1
    assert (marks[0].time, float(marks[0].span_s)) == (after, 10.0 * (last - first + 2))
    assert f"{first}-{last}" in marks[1].value
    clock, whole = exposure_clock(job), exposure_clock(recorded.job)
    missing = np.array([[10.0 * (first - 2), 10.0 * last]])
    assert length_s(whole.proved) > length_s(clock.proved) > 0
    assert length_s(intersect(clock.proved, missing)) == 0 < length_s(intersect(whole.proved, missing))
    assert job.end_s == pytest.approx(10.0 * (tail - 2))
    analyse(job)


def change(place, *statements):
    """Run statements on a file as another program could."""
    with closing(sqlite3.connect(place, isolation_level=None)) as connection:
        for statement in statements:
            connection.execute(statement)


def changed(recorded, tmp_path, *statements):
    """The bytes of the file after another program changed it."""
    place = tmp_path / "changed.satjob"
    place.write_bytes(recorded.data)
    change(place, *statements)
    return place.read_bytes()


def test_a_letter_that_changed_is_said_though_no_row_is_lost(recorded, damaged, tmp_path):
    data = changed(recorded, tmp_path, "UPDATE observations SET value = '7.5' WHERE number = 1001")
    job, losses = recover(damaged(data))
    assert losses.rows == ROWS
    assert losses.holes == ()
    assert losses.agree == {"rows": False, "documents": True, "parts": True}
    assert job.rows[1000].value == "7.5"
    assert "digest of the rows: wrong" in job.rows[-1].value
    assert any("a letter has changed" in line for line in losses.lines())


@pytest.mark.parametrize(
    ("statement", "lost", "why"),
    [
        ("DELETE FROM observations WHERE number BETWEEN 3 AND 5", {3, 4, 5}, ""),
        ("UPDATE observations SET kind = 'asleep' WHERE number = 7", {7}, "'asleep' is not a kind"),
        ("UPDATE observations SET value = 5 WHERE number = 7", set(), ""),
        ("UPDATE observations SET value = x'00' WHERE number = 7", {7}, ""),
        ("UPDATE observations SET note = 'x' || char(0) WHERE number = 7", {7}, "stands in it"),
        ("UPDATE observations SET id = 'r1-8' WHERE number = 9", {9}, "used before"),
        ("UPDATE observations SET number = 3000 WHERE number = 9", {9, *range(ROWS + 1, 3000)}, ""),
    ],
)
def test_rows_that_the_log_does_not_allow_are_lost_alone(recorded, damaged, tmp_path, statement, lost, why):
    job, losses = recover(damaged(changed(recorded, tmp_path, statement)))
    assert said_lost(losses) == lost
    assert losses.lost_rows == len(lost)
    assert why in "".join(losses.lines())
    assert losses.rows == len([row for row in job.rows if row.source != "repair"])
    assert not losses.whole


def test_a_row_that_takes_back_a_lost_one_goes_too(recorded, damaged, tmp_path):
    data = changed(
        recorded,
        tmp_path,
        "UPDATE observations SET kind = 'withdraw', subject = 'row', value = 'r1-20', unit = '' WHERE number = 30",
        "DELETE FROM observations WHERE number = 20",
    )
    _, losses = recover(damaged(data))
    assert said_lost(losses) == {20, 30}
    assert any("taken back" in remark for remark in losses.remarks)


@pytest.mark.parametrize("name", ["lineup.csv", "job.toml", "gnss.nmea"])
def test_a_document_that_cannot_be_read_is_named(recorded, damaged, tmp_path, name):
    data = changed(recorded, tmp_path, f"UPDATE documents SET bytes = x'ff0a' WHERE name = '{name}'")
    job, losses = recover(damaged(data), recorded.job.documents["job.toml"])
    assert losses.agree["documents"] is False
    assert losses.rows == ROWS
    if name == "gnss.nmea":  # any bytes may stand there: only the digest tells
        assert losses.documents == ()
    else:
        assert [(lost.name, lost.state) for lost in losses.documents] == [(name, "unreadable")]
        assert (name in job.documents) is (name == "job.toml")


def test_orbits_that_cannot_be_read_are_left_out(recorded, damaged, tmp_path):
    data = changed(recorded, tmp_path, "INSERT INTO documents VALUES ('elements.tle', CAST('nonsense' AS BLOB))")
    job, losses = recover(damaged(data))
    assert [(lost.name, lost.state) for lost in losses.documents] == [("elements.tle", "unreadable")]
    assert "elements.tle" not in job.documents


def test_a_piece_of_a_recorded_document_that_is_missing_is_said(recorded, damaged, tmp_path):
    data = changed(recorded, tmp_path, "DELETE FROM parts WHERE number = 3")
    job, losses = recover(damaged(data))
    assert losses.agree == {"rows": True, "documents": True, "parts": False}
    assert [(lost.name, lost.state) for lost in losses.documents] == [("raw-r1.jsonl", "partly")]
    whole = recorded.job.documents["raw-r1.jsonl"].splitlines()
    assert job.documents["raw-r1.jsonl"].splitlines() == whole[:500] + whole[750:]


@NEEDS_DBSTAT
def test_a_row_that_runs_over_a_broken_page_is_lost_alone(recorded, damaged):
    page, over = next((page, over) for page, over in recorded.pages.overflow.items() if over)
    first, last = recorded.pages.leaves[page]
    _, losses = recover(damaged(without(recorded, over[0])))
    assert len(said_lost(losses)) == 1
    assert said_lost(losses) < set(range(first, last + 1))


@pytest.mark.parametrize("size", [512, 1024, 8192, 65536])
def test_pages_of_any_size_are_found_without_the_head(recorded, damaged, tmp_path, size):
    data = changed(recorded, tmp_path, f"PRAGMA page_size = {size}", "VACUUM")
    job, losses = recover(damaged(bytes(100) + data[100:]))
    assert job_hash(job) == job_hash(recorded.job)
    assert losses.whole


@pytest.mark.parametrize("data", [b"", b"x", b"\x89PNG\r\n\x1a\n" + bytes(5000), b"SQLite format 3\x00" + bytes(84)])
def test_of_what_is_no_job_nothing_comes(damaged, tmp_path, capsys, data):
    to = tmp_path / "new.satjob"
    assert run(["check", str(damaged(data)), "--repair", str(to)]) == 2
    assert "nothing can be recovered" in capsys.readouterr().err
    assert not to.exists()


def test_another_database_is_no_job(damaged, tmp_path):
    place = tmp_path / "other.db"
    change(place, "CREATE TABLE words (word TEXT, more TEXT)", "INSERT INTO words VALUES ('one', 'two')")
    with pytest.raises(SatdiagError, match="nothing can be recovered"):
        recover(damaged(place.read_bytes()))


def test_a_newer_format_is_not_repaired_by_half(recorded, damaged, tmp_path):
    with pytest.raises(SatdiagError, match="Update satdiag"):
        recover(damaged(changed(recorded, tmp_path, "PRAGMA user_version = 3")))


def test_a_sound_file_is_copied_whole(recorded, damaged, tmp_path, capsys):
    to = tmp_path / "new.satjob"
    assert run(["check", str(damaged(recorded.data)), "--repair", str(to)]) == 0
    assert "2000 observations and 4 other files recovered" in capsys.readouterr().out
    assert job_hash(read_job_file(to)) == job_hash(recorded.job)


@pytest.mark.parametrize("name", ["taken.satjob", "taken", "link.satjob"])
def test_nothing_is_written_over(recorded, damaged, tmp_path, name):
    place = damaged(recorded.data[:-5000])
    (tmp_path / "taken.satjob").write_bytes(b"mine")
    (tmp_path / "taken").mkdir()
    (tmp_path / "link.satjob").symlink_to(tmp_path / "nowhere")
    with pytest.raises(SatdiagError, match="it is there already"):
        repair(place, tmp_path / name)
    assert (tmp_path / "taken.satjob").read_bytes() == b"mine"
    assert list((tmp_path / "taken").iterdir()) == []


def read_by_sqlite(place):
    """The numbers and texts that SQLite reads of the observations from either end, until it meets the damage."""
    found = {}
    for order in ("ASC", "DESC"):
        with closing(sqlite3.connect(f"{place.as_uri()}?mode=ro&immutable=1", uri=True)) as connection:
            connection.text_factory = lambda data: data.decode("utf-8", "replace")
            with suppress(sqlite3.Error):
                for number, *texts in connection.execute(f"SELECT * FROM observations ORDER BY number {order}"):
                    found[number] = tuple(texts)
    return found


@NEEDS_DBSTAT
def test_no_fewer_rows_than_sqlite_itself_reads_of_the_file(recorded, damaged):
    """Counted are rows that are as they were: of pages full of garbage it reads garbage as well."""
    theirs = ours = 0
    for seed in range(8):
        place = damaged(any_damage(recorded.data, recorded.pages.leaves, seed)[0])
        read = read_by_sqlite(place)
        true = {n for n, row in read.items() if 0 < n <= ROWS and tuple(recorded.job.rows[n - 1]) == row}
        job, _ = recover(place, recorded.job.documents["job.toml"])
        numbers = numbers_of(job, recorded)
        assert true <= set(numbers)
        theirs, ours = theirs + len(true), ours + len(numbers)
    assert 0 < theirs < ours
