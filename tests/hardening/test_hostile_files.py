"""Job files and paths made to harm: one clear error or a safe reading, and nothing in them is carried out.

Beside `tests/store/test_job_file.py`, which looks at the functions: here the commands themselves are called.
"""

import os
import socket
import sqlite3
import stat
import sys
from contextlib import closing, suppress

import pytest

from satdiag.cli import run
from satdiag.errors import BadInput, SatdiagError, StoreProblem
from satdiag.folder import write_folder
from satdiag.opening import open_job
from satdiag.sheet import load_toml
from satdiag.store import create_job_file, read_job_file
from satdiag.toml_text import deep_key
from tests.bad_folders import SOUND
from tests.hardening.fuzz_texts import DOCUMENTS, job_with

POSIX = pytest.mark.skipif(sys.platform == "win32", reason="a path of POSIX systems")
ENDLESS = "WITH RECURSIVE n(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM n) SELECT x FROM n"
COLUMNS = "number, time, kind, subject, value, unit, source, note, span_s, run, elapsed_s, id, raw"

HOSTILE = {
    "a trigger on what is added": [
        "CREATE TRIGGER t AFTER INSERT ON observations BEGIN DELETE FROM documents; DELETE FROM observations; END"
    ],
    "a trigger instead of a view": [
        "CREATE VIEW seen AS SELECT * FROM observations",
        "CREATE TRIGGER t INSTEAD OF INSERT ON seen BEGIN DELETE FROM meta; END",
    ],
    "a view in the place of the rows": [
        "ALTER TABLE observations RENAME TO kept",
        f"CREATE VIEW observations AS SELECT {COLUMNS} FROM kept",
    ],
    "an endless view in the place of the rows": [
        "DROP TABLE observations",
        f"CREATE VIEW observations AS SELECT {COLUMNS.replace('number', 'x AS number').replace(', ', ', x AS ')} "
        f"FROM ({ENDLESS})",
    ],
    "an endless view beside": [f"CREATE VIEW more AS {ENDLESS}"],
    "an endless view in the place of the parts": [
        "DROP TABLE parts",
        f"CREATE VIEW parts(number, name, bytes) AS SELECT x, 'gnss.nmea', x FROM ({ENDLESS})",
    ],
    "a generated column": ["ALTER TABLE observations ADD COLUMN big AS (hex(zeroblob(200000000)))"],
    "a column generated in the place of ours": [
        "DROP TABLE parts",
        "CREATE TABLE parts (number INTEGER NOT NULL PRIMARY KEY, name TEXT NOT NULL AS ('gnss.nmea'), "
        "bytes BLOB NOT NULL AS (zeroblob(200000000)))",
        *(f"INSERT INTO parts (number) VALUES ({number})" for number in range(1, 40)),
    ],
    "a virtual table": ["CREATE VIRTUAL TABLE words USING fts5(text)"],
    "a virtual table in the place of ours": [
        "DROP TABLE parts",
        "CREATE VIRTUAL TABLE parts USING fts5(number, name, bytes)",
    ],
    "an index on an expression": ["CREATE INDEX i ON observations (length(note))"],
    "no rows table": ["DROP TABLE observations"],
    "no meta table": ["DROP TABLE meta"],
    "an empty meta table": ["DELETE FROM meta"],
    "no documents": ["DELETE FROM documents"],
    "another mark": ["PRAGMA application_id = 7"],
    "format 0": ["PRAGMA user_version = 0"],
    "format -1": ["PRAGMA user_version = -1"],
    "a schema that is no SQL": [
        "PRAGMA writable_schema = ON",
        "UPDATE sqlite_master SET sql = 'CREATE TABLE observations (' WHERE name = 'observations'",
    ],
    "a schema that points to another root": [
        "PRAGMA writable_schema = ON",
        "UPDATE sqlite_master SET rootpage = 1 WHERE name = 'observations'",
    ],
    "a huge note": ["UPDATE observations SET note = replace(hex(zeroblob(3000000)), '0', 'x') WHERE number = 1"],
    "a zero byte": ["UPDATE observations SET note = 'a' || char(0) || 'b' WHERE number = 1"],
    "half a character": [
        "UPDATE observations SET note = cast(x'ed a0 80' AS TEXT) WHERE number = 1".replace(" a0 ", "a0")
    ],
    "a number for a text": ["UPDATE observations SET value = 1e308 WHERE number = 1"],
    "a document that climbs out": ["UPDATE documents SET name = '../../x.toml' WHERE name = 'lineup.csv'"],
    "two sheets but for capitals": ["INSERT INTO documents VALUES ('JOB.TOML', x'5b6a6f625d')"],
}


def changed(place, statements, version=None):
    """A sound job file changed behind satdiag's back."""
    create_job_file(place, job_with("job.toml", DOCUMENTS["job.toml"]))
    with closing(sqlite3.connect(place, isolation_level=None)) as connection:
        for statement in statements:
            connection.execute(statement)
        if version is not None:
            connection.execute(f"PRAGMA user_version = {version}")
    return place


@pytest.mark.parametrize("version", [None, 3], ids=["our format", "a newer format"])
@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_job_file_is_refused_or_read_safely(name, version, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    place = changed(tmp_path / "demo.satjob", HOSTILE[name], None if "format" in name else version)
    before = place.read_bytes()
    try:
        rows = len(read_job_file(place).rows)
    except SatdiagError as error:
        said, rows = str(error), None
    else:
        said = "read"
    assert 0 < len(said.strip()) < 3000
    if version is None:
        assert rows is None, "every one of these differs from what satdiag writes"
    codes = {}
    for words in (["check", str(place)], ["note", str(place), "account", "service", "confirmed"]):
        codes[words[0]] = run(words)
    told = capsys.readouterr()
    assert codes["check"] in ((1, 2) if rows is None or version else (0,)), told
    assert codes["note"] == 2, told.err
    assert told.err.strip()
    assert "Internal error" not in told.err
    assert place.read_bytes() == before, "nothing was carried out, and nothing was written"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["demo.satjob"]


@pytest.mark.parametrize("name", ["an endless view in the place of the rows", "a view in the place of the rows"])
def test_what_is_recovered_from_a_hostile_file_is_recovered_from_tables_alone(name, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    place = changed(tmp_path / "demo.satjob", HOSTILE[name])
    before = place.read_bytes()
    code = run(["check", str(place), "--repair", str(tmp_path / "mended.satjob")])
    told = capsys.readouterr()
    assert code in (0, 1, 2), told
    assert "Internal error" not in told.err
    assert place.read_bytes() == before


# --- what stands at the path -------------------------------------------------------------------------------------


def _refused(place, capsys):
    """The one error of a path that holds no job, the same for all that read."""
    said = []
    for words in (["analyse", str(place)], ["check", str(place)], ["note", str(place), "power", "receiver", "off"]):
        assert run(words) == 2, words
        told = capsys.readouterr()
        assert told.err.strip()
        assert "Internal error" not in told.err
        assert "Traceback" not in told.err
        said.append(told.err)
    return said


def test_a_path_with_a_zero_byte_is_no_path(tmp_path):
    for path in (f"{tmp_path}/de\0mo.satjob", "\0"):
        with pytest.raises(SatdiagError):
            open_job(path)


@pytest.mark.parametrize("kind", ["nothing", "empty folder", "picture", "empty file", "text"])
def test_what_is_no_job_is_said_to_be_none(kind, tmp_path, capsys):
    place = tmp_path / "demo.satjob"
    if kind == "empty folder":
        place.mkdir()
    elif kind != "nothing":
        place.write_bytes({"picture": b"\x89PNG\r\n\x1a\n", "empty file": b"", "text": b"[job]\n"}[kind])
    assert all(len(text) < 500 for text in _refused(place, capsys))


@POSIX
@pytest.mark.parametrize("kind", ["fifo", "socket", "device", "link to nothing", "link to itself", "name too long"])
def test_what_is_no_file_is_not_waited_for(kind, tmp_path, capsys):
    place = tmp_path / "demo.satjob"
    if kind == "fifo":
        os.mkfifo(place)
    elif kind == "socket":
        with closing(socket.socket(socket.AF_UNIX)) as bound:
            before = os.getcwd()
            os.chdir(tmp_path)  # the name of a socket may have 100 characters
            bound.bind("demo.satjob")
            os.chdir(before)
    elif kind == "device":
        place = "/dev/zero"
    elif kind == "link to nothing":
        place.symlink_to(tmp_path / "missing")
    elif kind == "link to itself":
        place.symlink_to(place)
    else:
        place = tmp_path / ("x" * 300)
    _refused(place, capsys)


@POSIX
@pytest.mark.parametrize("name", ["job.toml", "observations.csv", "lineup.csv", "gnss.nmea"])
def test_a_fifo_in_a_job_folder_is_not_waited_for(name, tmp_path, capsys):
    write_folder({key: text.encode() for key, text in SOUND.items()}, tmp_path / "job")
    (tmp_path / "job" / name).unlink(missing_ok=True)
    os.mkfifo(tmp_path / "job" / name)
    assert run(["check", str(tmp_path / "job")]) in (1, 2)
    assert "Internal error" not in capsys.readouterr().err


@POSIX
@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() == 0, reason="who may do everything may read everything"
)
def test_without_the_right_to_read_it_says_so(tmp_path, capsys):
    place = changed(tmp_path / "demo.satjob", [])
    place.chmod(0)
    assert all("demo.satjob" in text for text in _refused(place, capsys))
    place.chmod(stat.S_IRUSR | stat.S_IWUSR)


@POSIX
def test_a_link_to_a_job_is_the_job(tmp_path):
    place = changed(tmp_path / "demo.satjob", [])
    (tmp_path / "link.satjob").symlink_to(place)
    assert len(open_job(tmp_path / "link.satjob").rows) == 5


# --- a log of SQLite beside it -----------------------------------------------------------------------------------


@pytest.mark.parametrize("end", ["-journal", "-wal", "-shm"])
@pytest.mark.parametrize(
    "data",
    [b"", b"\0" * 5000, b"\xd9\xd5\x05\xf9\x20\xa1\x63\xd7" + b"\xff" * 600, b"7\x7f\x06\x82" + b"\xff" * 9000],
)
def test_rubbish_beside_a_job_file_changes_no_row(end, data, tmp_path, capsys):
    """A hot journal begins with the eight bytes of https://sqlite.org/fileformat2.html#the_rollback_journal."""
    place = changed(tmp_path / "demo.satjob", [])
    whole = read_job_file(place).rows
    place.with_name(place.name + end).write_bytes(data)
    with suppress(StoreProblem):
        assert read_job_file(place).rows == whole
    assert run(["check", str(place)]) in (0, 1, 2)
    assert "Internal error" not in capsys.readouterr().err


def test_a_log_of_another_file_is_not_taken_for_its_own(tmp_path, capsys):
    """The -wal of another job beside this one: its frames bear other salts only if SQLite wrote both."""
    first = changed(tmp_path / "first.satjob", [])
    second = changed(tmp_path / "second.satjob", ["UPDATE meta SET value = value || '' WHERE key = 'header'"])
    with closing(sqlite3.connect(second, isolation_level=None)) as connection:
        connection.execute("PRAGMA journal_mode=WAL")
        connection.execute("UPDATE observations SET note = 'of the other job'")
        log = (tmp_path / "second.satjob-wal").read_bytes()
    (tmp_path / "first.satjob-wal").write_bytes(log)
    notes = set()
    with suppress(SatdiagError):
        notes = {row.note for row in read_job_file(first).rows}
    assert "of the other job" not in notes, "changed rows must not pass the digests"
    assert run(["check", str(first)]) in (0, 1, 2)
    assert "Internal error" not in capsys.readouterr().err


# --- keys of a thousand parts ------------------------------------------------------------------------------------


def test_a_key_of_a_hundred_parts_is_refused_before_it_takes_the_memory(monkeypatch):
    """Python's tomllib takes time and memory with the square of the parts: 200 kB took a computer down."""
    monkeypatch.setattr("satdiag.sheet.tomllib.loads", lambda text: pytest.fail("it was read"))
    for text in ("a." * 150_000 + "a = 1", "[[" + "a." * 400_000 + "a]]", "x = {" + '"a" . ' * 100_000 + "a = 1}"):
        with pytest.raises(BadInput, match=r"job\.toml, line 2: a key has a hundred parts or more"):
            load_toml("[job]\n" + text, "job.toml")
    assert deep_key("x" * 900_000) is None
    assert deep_key('x = "' + "One. Two words. Mr. Demo, etc. " * 20_000 + '"') is None
    assert deep_key("a." * 90 + "a = 1") is None
