"""Names of files and folders: those that we write are legal everywhere, and a job may lie under any."""

import json
import re
import sys
import zipfile
from pathlib import PureWindowsPath

import pytest

from satdiag.cli import run
from satdiag.errors import BadInput
from satdiag.folder import job_hash, write_folder
from satdiag.opening import open_job
from satdiag.sheet import parse_sheet
from satdiag.store import create_job_file
from tests.bad_folders import SOUND

RESERVED = re.compile(r"(?i)(con|prn|aux|nul|com[0-9¹²³]|lpt[0-9¹²³])(\.|$)")


def is_legal_on_windows(name):
    """By 'Naming Files, Paths, and Namespaces' of the Win32 documentation."""
    return (
        0 < len(name) <= 255
        and not re.search(r'[<>:"/\\|?*\x00-\x1f]', name)
        and name[-1] not in ". "
        and not RESERVED.match(name)
        and PureWindowsPath(name).name == name
    )


def _made(place):
    return list(place.rglob("*"))


@pytest.mark.parametrize("job_id", ["demo-9", "a" * 90, "Demo.Job_1", "nul1", "com10", "x.con"])
def test_every_name_that_is_written_is_legal_on_windows(job_id, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.setenv("SATDIAG_USER_FOLDER", str(tmp_path / "user"))
    text = SOUND["observations.csv"] + "2031-05-03T13:50:00Z,finding,antenna-open,confirmed,,hand,,,,,a9\n"
    files = {**SOUND, "observations.csv": text}
    files["job.toml"] = (
        files["job.toml"].replace("demo-0007", job_id).replace("[receiver]", '[receiver]\nid = "A:B/C*9"')
    )
    write_folder({key: value.encode() for key, value in files.items()}, tmp_path / "job")
    assert run(["learn", "job"]) == 0
    assert run(["bundle", "job", "out.zip", "--no-pdf"]) == 0
    assert run(["redact", "job", "red"]) == 0
    assert run(["export", "job", "out"]) == 0
    names = [part for path in _made(tmp_path) for part in path.relative_to(tmp_path).parts]
    with zipfile.ZipFile("out.zip") as archive:
        names += [part for name in archive.namelist() for part in name.split("/")]
    assert [name for name in names if not is_legal_on_windows(name)] == []


@pytest.mark.parametrize(
    "job_id", ["CON", "nul", "NUL.txt", "com1", "a.", "a b", "a:b", "", ".a", "é", "a/b", "x" * 101, "lpt9.x"]
)
def test_an_identifier_that_cannot_be_a_file_name_is_refused(job_id):
    """Names of files are made of it, on whatever system the job is opened next."""
    with pytest.raises(BadInput, match="file-name safe"):
        parse_sheet(f"[job]\nid = {json.dumps(job_id)}\n")


NAMES = [
    *(
        "a b",
        "Ünïcödé",
        "😀 job",
        "it's",
        "100%",
        "a#b?c=d",
        "[x]",
        "$HOME",
        "-dash",
        "a;b&c",
        "CON",
        "trailing.",
        "\u202edemo",
    ),
    *("e\u0301", "new\nline", "a'b\"c", "~", "%41", "x" * 200),
]


@pytest.mark.skipif(sys.platform == "win32", reason="most of these are no names there")
@pytest.mark.parametrize("name", NAMES)
def test_a_job_may_lie_under_any_name(name, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    folder = tmp_path / name
    write_folder({key: text.encode() for key, text in SOUND.items()}, folder)
    create_job_file(tmp_path / f"{name}.satjob", open_job(folder))
    assert job_hash(open_job(tmp_path / f"{name}.satjob")) == job_hash(open_job(folder))
    for place in (f"./{name}", f"./{name}.satjob"):
        assert run(["check", place]) == 0
        assert run(["note", place, "account", "service", "confirmed"]) == 0


@pytest.mark.skipif(sys.platform == "win32", reason="needs a switch of the system there")
def test_a_path_of_more_than_260_characters(tmp_path):
    place = tmp_path
    while len(str(place)) < 400:
        place = place / ("d" * 60)
    write_folder({key: text.encode() for key, text in SOUND.items()}, place / "job")
    create_job_file(place / "demo.satjob", open_job(place / "job"))
    assert run(["check", str(place / "demo.satjob")]) == 0
