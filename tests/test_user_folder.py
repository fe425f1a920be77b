"""The user folder: where it is, what it takes, and zip files made to harm."""

import ast
import os
import shutil
import stat
import struct
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

import satdiag
from satdiag.errors import BadInput, SatdiagError
from satdiag.sky.constellation import parse_constellation
from satdiag.user_folder import (
    KINDS,
    add,
    default_folder,
    entries,
    export_to,
    find,
    folder_of,
    import_from,
    parse_learned,
    parse_receiver_values,
    remove,
    strangers,
    unwritten,
    user_folder,
)
from satdiag.user_folder.zip_file import MAX_FILE_BYTES, MAX_FILES, MAX_ZIP_BYTES

CHECKS = {"constellations": parse_constellation, "profiles": lambda text, file: None}
GOOD = {
    "profiles/meter.toml": b'name = "meter"\n',
    "lineups/music.csv": b"channel,name,category,packages\n31,North,talk,music\n",
    "constellations/two.toml": b'name = "two"\n[[satellite]]\nname = "east"\nlongitude_deg = -78.5\n',
    "receivers/old-unit.toml": b'[receiver]\nlevel_scale = "bars/5"\nbias_normal_ma = [15, 80]\n',
    "learned/counts.json": b'{"jobs": 3}\n',
}


@pytest.fixture
def home(tmp_path, monkeypatch):
    """An empty user folder that is not there yet."""
    monkeypatch.setenv("SATDIAG_USER_FOLDER", str(tmp_path / "user"))
    return tmp_path / "user"


def fill(folder, files=GOOD):
    """Write files straight into a folder."""
    for name, data in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(data)


def contents(folder):
    """Every file below a folder with its bytes."""
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def zipped(place, members, method=zipfile.ZIP_DEFLATED):
    """A zip file of (name or ZipInfo, bytes)."""
    with zipfile.ZipFile(place, "w", method) as archive:
        for name, data in members:
            archive.writestr(name, data)
    return place


# --- where -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("system", "environment", "wanted"),
    [
        # XDG Base Directory Specification 0.8: $XDG_DATA_HOME, absolute and not empty, else $HOME/.local/share
        ("linux", {}, "/home/demo/.local/share/satdiag"),
        ("linux", {"XDG_DATA_HOME": "/data"}, "/data/satdiag"),
        ("linux", {"XDG_DATA_HOME": "data"}, "/home/demo/.local/share/satdiag"),
        ("linux", {"XDG_DATA_HOME": ""}, "/home/demo/.local/share/satdiag"),
        ("darwin", {"XDG_DATA_HOME": "/data"}, "/home/demo/Library/Application Support/satdiag"),
        ("win32", {"APPDATA": "/roaming"}, "/roaming/satdiag"),
        ("win32", {}, "/home/demo/AppData/Roaming/satdiag"),
    ],
)
def test_one_place_per_system(system, environment, wanted):
    assert default_folder(system, environment, Path("/home/demo")) == Path(wanted)


def test_looking_does_not_make_it(home):
    assert user_folder() == home
    assert folder_of("lineups") == home / "lineups"
    assert (entries(), strangers(), unwritten(), find("lineups", "music")) == ([], [], [], None)
    assert not home.exists()
    with pytest.raises(SatdiagError, match="Kinds: profiles, lineups"):
        folder_of("lineup")


def test_an_empty_variable_names_nothing(monkeypatch, tmp_path):
    monkeypatch.setenv("SATDIAG_USER_FOLDER", " ")
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    if sys.platform == "linux":
        assert user_folder() == tmp_path / "data" / "satdiag"
    monkeypatch.setenv("SATDIAG_USER_FOLDER", "~/mine")
    if os.name != "nt":
        assert user_folder() == tmp_path / "mine"


def test_the_analysis_never_looks_there():
    allowed = {"cli", "live", "kept.py", "user_folder"}  # they do so where a person asks, or hand it to the analysis
    for path in Path(satdiag.__file__).parent.rglob("*.py"):
        room = path.relative_to(Path(satdiag.__file__).parent).parts[0]
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            names = [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            names += [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            assert room in allowed or not any("user_folder" in name for name in names), path


# --- files -------------------------------------------------------------------------------------------------------


def test_what_is_there_is_found_by_its_exact_name(home):
    fill(
        home, {**GOOD, "lineups/Thumbs.db": b"", "lineups/.hidden.csv": b"", "notes.txt": b"", "unwritten/a.csv": b""}
    )
    (home / "lineups" / "folder.csv").mkdir()
    assert [(entry.kind, entry.name, entry.size_bytes) for entry in entries()] == [
        (name.partition("/")[0], name.partition("/")[2].rpartition(".")[0], len(data)) for name, data in GOOD.items()
    ]
    assert find("lineups", "music") == home / "lineups" / "music.csv"
    assert [find("lineups", name) for name in ("Music", "music.csv", "../lineups/music", "", "folder")] == [None] * 5
    assert sorted(strangers()) == ["lineups/Thumbs.db", "lineups/folder.csv", "notes.txt"]
    assert [path.name for path in unwritten()] == ["a.csv"]


@pytest.mark.parametrize("name", GOOD)
def test_add_and_remove(home, tmp_path, name):
    kind, _, file = name.partition("/")
    (tmp_path / file).write_bytes(GOOD[name])
    assert add(kind, tmp_path / file, CHECKS) == home / name
    assert contents(home) == {name: GOOD[name]}
    assert add(kind, tmp_path / file, CHECKS) == home / name  # the same again does no harm
    assert remove(kind, file.rpartition(".")[0]) == home / name
    assert contents(home) == {}
    with pytest.raises(SatdiagError, match="There are: none"):
        remove(kind, file.rpartition(".")[0])


BAD = [
    ("lineups", "x.csv", b"channel,name,category,packages\nx,,,\n", "x.csv, line 2, column 'channel'"),
    ("lineups", "x.csv", b"\xff", "x.csv, line 1: byte 0xff is not UTF-8"),
    ("lineups", "x.txt", b"", "does not end in .csv"),
    ("lineups", "a b.csv", b"", "not file-name safe"),
    ("lineups", "con.csv", b"", "not file-name safe"),
    ("constellations", "x.toml", b'name = "x"\n', "no satellite is named"),
    (
        "receivers",
        "x.toml",
        b'[receiver]\nid = "DEMO1"\n',
        "x.toml, line 2, column 'id': the id belongs to one receiver",
    ),
    ("receivers", "x.toml", b"[receiver]\nbias_nominal_v = 700\n", "outside 0 .. 60"),
    ("receivers", "x.toml", b"[receiver]\nlevel_floor = 0x" + b"f" * 5000 + b"\n", "a very long number"),
    ("receivers", "x.toml", b'[receiver]\ncolour = "red"\n', "unknown key 'colour'"),
    ("receivers", "x.toml", b"[receiver]\n", "the table [receiver] alone"),
    ("receivers", "x.toml", b'[job]\nid = "x"\n[receiver]\nlevel_floor = 0\n', "the table [receiver] alone"),
    ("receivers", "x.toml", b"receiver = 3\n", "the table [receiver] alone"),
    ("learned", "x.json", b"{\n,}", "x.json, line 2: not valid JSON"),
    ("learned", "x.json", b'{"a": NaN}', "NaN is not a number in JSON"),
    ("learned", "x.json", b"[" * 100_000, "not readable as JSON"),
    ("learned", "x.json", b"[1]", "not one JSON object"),
    ("learned", "x.json", b" " * (MAX_FILE_BYTES + 1), "larger than 5000000 bytes"),
]


@pytest.mark.parametrize(("kind", "file", "data", "found"), BAD, ids=[f"{bad[0]}-{bad[3][-20:]}" for bad in BAD])
def test_a_file_is_checked_before_it_is_kept(home, tmp_path, kind, file, data, found):
    (tmp_path / file).write_bytes(data)
    with pytest.raises(BadInput) as caught:
        add(kind, tmp_path / file, CHECKS)
    assert found in str(caught.value)
    assert not home.exists()


def test_the_checks_of_other_rooms_are_asked(home, tmp_path):
    def refuse(text, file):
        raise BadInput([satdiag.errors.Problem(file, f"it says {text}", "Mend it.")])

    (tmp_path / "x.toml").write_bytes(b"hello")
    with pytest.raises(BadInput, match=r"x\.toml: it says hello"):
        add("profiles", tmp_path / "x.toml", {"profiles": refuse})


def test_a_differing_file_is_replaced_only_when_told(home, tmp_path):
    fill(home)
    (tmp_path / "music.csv").write_bytes(b"channel,name,category,packages\n")
    with pytest.raises(SatdiagError, match=r"There already, and different: lineups/music\.csv"):
        add("lineups", tmp_path / "music.csv", CHECKS)
    assert contents(home) == GOOD
    add("lineups", tmp_path / "music.csv", CHECKS, replace=True)
    assert contents(home) == {**GOOD, "lineups/music.csv": b"channel,name,category,packages\n"}


def test_names_that_differ_in_capitals_alone_are_refused(home, tmp_path):
    fill(home)
    (tmp_path / "MUSIC.csv").write_bytes(GOOD["lineups/music.csv"])
    with pytest.raises(SatdiagError, match=r"but for capitals: lineups/music\.csv"):
        add("lineups", tmp_path / "MUSIC.csv", CHECKS, replace=True)


def test_receiver_values_and_learned_counts_are_read():
    assert parse_receiver_values('[receiver]\nlevel_scale = "dB"\nsecond_hand = true\n', "x") == {
        "level_scale": "dB",
        "second_hand": True,
    }
    assert parse_learned('{"a": {"b": [1, 2.5]}}', "x") == {"a": {"b": [1, 2.5]}}


# --- to another computer -----------------------------------------------------------------------------------------


def test_there_and_back_is_the_same(home, tmp_path, monkeypatch):
    fill(home, {**GOOD, "notes.txt": b"stays"})
    assert len(export_to(tmp_path / "a.zip", CHECKS)) == len(GOOD)
    export_to(tmp_path / "b.zip", CHECKS)
    assert (tmp_path / "a.zip").read_bytes() == (tmp_path / "b.zip").read_bytes()
    monkeypatch.setenv("SATDIAG_USER_FOLDER", str(tmp_path / "other"))
    carried = import_from(tmp_path / "a.zip", CHECKS)
    assert sorted(carried.added) == sorted(GOOD)
    assert contents(tmp_path / "other") == GOOD
    assert sorted(import_from(tmp_path / "a.zip", CHECKS).same) == sorted(GOOD)


@pytest.mark.skipif(shutil.which("unzip") is None or shutil.which("zip") is None, reason="no Info-ZIP here")
def test_another_program_reads_it_and_its_zip_is_read(home, tmp_path):
    """Info-ZIP's unzip and zip, the reference programs."""
    fill(home)
    export_to(tmp_path / "a.zip", CHECKS)
    subprocess.run(["unzip", "-q", str(tmp_path / "a.zip"), "-d", str(tmp_path / "out")], check=True)
    assert contents(tmp_path / "out") == GOOD
    subprocess.run(["zip", "-q", "-r", str(tmp_path / "b.zip"), *KINDS], cwd=tmp_path / "out", check=True)
    shutil.rmtree(home)
    import_from(tmp_path / "b.zip", CHECKS)
    assert contents(home) == GOOD


def test_export_writes_over_nothing_and_carries_nothing_broken(home, tmp_path):
    with pytest.raises(SatdiagError, match="nothing is kept there yet"):
        export_to(tmp_path / "a.zip", CHECKS)
    fill(home)
    (tmp_path / "a.zip").write_bytes(b"mine")
    with pytest.raises(SatdiagError, match="it is there already"):
        export_to(tmp_path / "a.zip", CHECKS)
    with pytest.raises(SatdiagError, match="Is its folder there"):
        export_to(tmp_path / "none" / "a.zip", CHECKS)
    fill(home, {"lineups/bad.csv": b"x\n"})
    with pytest.raises(BadInput, match=r"lineups/bad\.csv, line 1"):
        export_to(tmp_path / "b.zip", CHECKS)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.zip", "user"]
    assert (tmp_path / "a.zip").read_bytes() == b"mine"


def test_import_is_all_or_nothing_and_says_what_differs(home, tmp_path):
    other = {
        "lineups/music.csv": b"channel,name,category,packages\n",
        "receivers/old-unit.toml": b"[receiver]\nlevel_floor = 1\n",
    }
    fill(home, other)
    place = zipped(tmp_path / "a.zip", GOOD.items())
    with pytest.raises(SatdiagError, match=r"different: lineups/music\.csv, receivers/old-unit\.toml"):
        import_from(place, CHECKS)
    assert contents(home) == other
    carried = import_from(place, CHECKS, replace=True)
    assert sorted(carried.replaced) == sorted(other)
    assert sorted(carried.added) == sorted(set(GOOD) - set(other))
    assert contents(home) == GOOD


def test_one_bad_file_in_the_zip_and_nothing_is_taken(home, tmp_path):
    place = zipped(tmp_path / "a.zip", {**GOOD, "lineups/bad.csv": b"x\n", "receivers/bad.toml": b"[x]\n"}.items())
    with pytest.raises(BadInput) as caught:
        import_from(place, CHECKS)
    assert sorted(problem.file for problem in caught.value.problems) == ["lineups/bad.csv", "receivers/bad.toml"]
    assert not home.exists()


@pytest.mark.parametrize("locked", GOOD)
def test_a_failure_in_the_middle_takes_everything_back(home, tmp_path, monkeypatch, locked):
    """One file cannot get its name, as where another program holds it open: all files are as before."""
    before = {"lineups/music.csv": b"channel,name,category,packages\n", "learned/counts.json": b"{}"}
    fill(home, before)
    place = zipped(tmp_path / "a.zip", GOOD.items())

    def unless_locked(real):
        def call(source, target):
            if Path(target) == home / locked and not str(source).endswith("-before"):
                raise PermissionError(13, "locked")
            return real(source, target)

        return call

    monkeypatch.setattr(os, "link", unless_locked(os.link))
    monkeypatch.setattr(os, "replace", unless_locked(os.replace))
    with pytest.raises(SatdiagError, match=r"cannot be written \(locked\)\. Nothing was changed"):
        import_from(place, CHECKS, replace=True)
    assert contents(home) == before


def test_a_file_that_comes_in_between_stays(home, tmp_path, monkeypatch):
    real = os.link

    def someone_was_faster(source, target):
        if Path(target).name == "counts.json":
            Path(target).write_bytes(b"theirs")
        return real(source, target)

    monkeypatch.setattr(os, "link", someone_was_faster)
    with pytest.raises(SatdiagError, match="someone else has put a file there"):
        import_from(zipped(tmp_path / "a.zip", GOOD.items()), CHECKS)
    assert contents(home) == {"learned/counts.json": b"theirs"}


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="needs rights that hold")
def test_a_folder_that_may_not_be_written(home, tmp_path):
    home.mkdir()
    home.chmod(0o500)
    with pytest.raises(SatdiagError, match="cannot be written"):
        import_from(zipped(tmp_path / "a.zip", GOOD.items()), CHECKS)
    home.chmod(0o700)


def test_a_file_where_the_folder_should_be(home, tmp_path):
    home.write_bytes(b"")
    with pytest.raises(SatdiagError, match="cannot be read"):
        import_from(zipped(tmp_path / "a.zip", GOOD.items()), CHECKS)


# --- zip files made to harm ----------------------------------------------------------------------------------------


def link(name, target):
    """A member that is a symbolic link, as Unix programs store one."""
    info = zipfile.ZipInfo(name)
    info.create_system = 3
    info.external_attr = (stat.S_IFLNK | 0o777) << 16
    return info, target


LINEUP = GOOD["lineups/music.csv"]
HOSTILE = {
    "climbs out": ([("../evil.csv", LINEUP)], "lies in none of the folders"),
    "climbs out of a kind": ([("lineups/../../evil.csv", LINEUP)], "is no file NAME.csv in lineups"),
    "absolute": ([("/tmp/evil.csv", LINEUP)], "lies in none of the folders"),
    "a drive": ([("C:/evil.csv", LINEUP)], "lies in none of the folders"),
    "a backslash": ([("lineups\\evil.csv", LINEUP)], "lies in none of the folders"),
    "a backslash inside": ([("lineups/..\\evil.csv", LINEUP)], "is no file NAME.csv in lineups"),
    "a stream": ([("lineups/a.csv:x.csv", LINEUP)], "not file-name safe"),
    "a device": ([("lineups/NUL.csv", LINEUP)], "not file-name safe"),
    "hidden": ([("lineups/.x.csv", LINEUP)], "not file-name safe"),
    "other kind": ([("unwritten/x.csv", LINEUP)], "lies in none of the folders"),
    "wrong ending": ([("lineups/x.toml", LINEUP)], "is no file NAME.csv"),
    "deeper": ([("lineups/a/b.csv", LINEUP)], "is no file NAME.csv"),
    "a link": ([link("lineups/x.csv", "/etc/passwd")], "is a link or another special file"),
    "twice": ([("lineups/x.csv", LINEUP), ("lineups/x.csv", LINEUP)], "stands twice"),
    "twice but for capitals": ([("lineups/x.csv", LINEUP), ("lineups/X.csv", LINEUP)], "stands twice"),
    "a bomb": ([("learned/x.json", b" " * (MAX_FILE_BYTES + 1))], "is larger than 5000000 bytes"),
    "many bombs": (
        [(f"learned/x{n}.json", b" " * MAX_FILE_BYTES) for n in range(11)],
        "it unpacks to 55000051 bytes; at most 50000000",
    ),
    "many files": (
        [(f"learned/x{n}.json", b"{}") for n in range(MAX_FILES + 1)],
        "it holds 1002 files; at most 1000",
    ),
}


@pytest.mark.filterwarnings("ignore:Duplicate name:UserWarning")
@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_zip_files(home, tmp_path, name):
    members, found = HOSTILE[name]
    place = zipped(tmp_path / "a.zip", [("lineups/music.csv", LINEUP), *members])
    before = contents(tmp_path)
    with pytest.raises(BadInput) as caught:
        import_from(place, CHECKS, replace=True)
    assert found in str(caught.value)
    assert contents(tmp_path) == before
    assert not home.exists()


@pytest.mark.parametrize("method", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_other_ways_of_packing_are_refused(home, tmp_path, method):
    with pytest.raises(BadInput, match="packed in a way that is not known here"):
        import_from(zipped(tmp_path / "a.zip", GOOD.items(), method), CHECKS)


def test_an_encrypted_member_is_refused(home, tmp_path):
    place = zipped(tmp_path / "a.zip", [("lineups/music.csv", LINEUP)])
    data = bytearray(place.read_bytes())
    for signature, flags_at in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):  # APPNOTE.TXT 6.3.3, 4.3.7 and 4.3.12
        data[data.index(signature) + flags_at] |= 1
    place.write_bytes(data)
    with pytest.raises(BadInput, match="is encrypted"):
        import_from(place, CHECKS)


def test_a_member_that_lies_about_its_size_is_refused(home, tmp_path):
    place = zipped(tmp_path / "a.zip", [("learned/x.json", b"{}" + b" " * 1000)])
    data = bytearray(place.read_bytes())
    at = data.index(b"PK\x01\x02") + 24
    assert struct.unpack_from("<I", data, at) == (1002,)
    struct.pack_into("<I", data, at, 2)
    place.write_bytes(data)
    with pytest.raises(BadInput):
        import_from(place, CHECKS)
    assert not home.exists()


def test_every_changed_byte_is_found_or_harmless(home, tmp_path):
    """A stick that has lost a bit: the import refuses, or takes exactly what was exported (CRC-32)."""
    wanted = {"lineups/music.csv": LINEUP}
    whole, refused = zipped(tmp_path / "a.zip", wanted.items()).read_bytes(), 0
    for at in range(len(whole)):
        data = bytearray(whole)
        data[at] ^= 0x10
        (tmp_path / "b.zip").write_bytes(data)
        try:
            import_from(tmp_path / "b.zip", CHECKS)
        except BadInput:
            refused += 1
            assert not home.exists()
        else:
            assert contents(home) == wanted
            shutil.rmtree(home)
    assert refused > len(whole) / 2


@pytest.mark.parametrize("data", [b"", b"PK", b"not a zip", b"PK\x05\x06" + bytes(17)])
def test_what_is_no_zip_file(home, tmp_path, data):
    (tmp_path / "a.zip").write_bytes(data)
    with pytest.raises(BadInput, match=r"a\.zip: not a whole zip file"):
        import_from(tmp_path / "a.zip", CHECKS)


def test_a_zip_file_that_is_not_there_or_too_large(home, tmp_path):
    with pytest.raises(SatdiagError, match="cannot be read"):
        import_from(tmp_path / "none.zip", CHECKS)
    with (tmp_path / "big.zip").open("wb") as file:
        file.truncate(MAX_ZIP_BYTES + 1)
    with pytest.raises(BadInput, match="larger than 20000000 bytes"):
        import_from(tmp_path / "big.zip", CHECKS)


def test_an_empty_zip_file_changes_nothing(home, tmp_path):
    assert import_from(zipped(tmp_path / "a.zip", []), CHECKS) == ((), (), ())
    assert not home.exists()
