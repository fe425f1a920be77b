"""The bundle: all in it, hashes that other programs agree with, and everything that was tampered with found out."""

from __future__ import annotations

import hashlib
import io
import json
import shutil
import stat
import subprocess
import zipfile
from pathlib import Path

import pytest

from satdiag.analysis import analyse
from satdiag.cli import run
from satdiag.errors import BadInput
from satdiag.folder import job_hash, read_folder, write_folder
from satdiag.handover import archive
from satdiag.handover.bundle import Wishes, bundle_bytes
from satdiag.handover.bundle_check import check_bundle
from satdiag.handover.job_copy import masked_files
from satdiag.job import build_job
from satdiag.report.record_check import verify_record
from tests.handover.jobs import RECEIVER_ID, SHEET, job, job_and_findings

QUICK = Wishes(pdf=False)
CONFIRMED = Path(__file__).resolve().parents[2] / "sample_logs" / "partial-package"


@pytest.fixture(scope="module")
def data() -> bytes:
    return bundle_bytes(job_and_findings()[0], wishes=QUICK)


@pytest.fixture
def place(data, tmp_path) -> Path:
    made = tmp_path / "out.zip"
    made.write_bytes(data)
    return made


def members(data: bytes) -> dict[str, bytes]:
    """The files of a ZIP by name."""
    with zipfile.ZipFile(io.BytesIO(data)) as read:
        return {name: read.read(name) for name in read.namelist()}


def remade(data: bytes, place: Path, change) -> Path:
    """The ZIP with its files changed."""
    files = members(data)
    change(files)
    with zipfile.ZipFile(place, "w") as made:
        for name, content in files.items():
            made.writestr(name, content)
    return place


# --- what is in it -------------------------------------------------------------------------------------------------


def test_it_holds_what_is_handed_over(data):
    assert sorted(members(data)) == [
        "MANIFEST.txt",
        "job-and-findings.json",
        "job/job.toml",
        "job/lineup.csv",
        "job/observations.csv",
        *sorted(f"letters/{name}.{form}" for name in ("customer", "provider", "dealer") for form in ("html", "txt")),
        "manifest.json",
        "report.html",
        "rows.csv",
    ]


def test_the_manifest_lists_sizes_and_hashes(data):
    files = members(data)
    said = json.loads(files["manifest.json"])
    assert said["job_sha256"] == job_hash(job_and_findings()[0])
    assert {one["name"] for one in said["files"]} == files.keys() - {"manifest.json", "MANIFEST.txt"}
    for one in said["files"]:
        content = files[one["name"]]
        assert (one["size"], one["sha256"]) == (len(content), hashlib.sha256(content).hexdigest())
        assert one["what"]
    assert any("no acceptance record" in text for text in said["left_out"])


@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="no sha256sum here")
def test_sha256sum_reads_the_list(data, tmp_path):
    with zipfile.ZipFile(io.BytesIO(data)) as read:
        read.extractall(tmp_path)
    words = ["sha256sum", "-c", "--strict", "MANIFEST.txt"]
    found = subprocess.run(words, cwd=tmp_path, capture_output=True, text=True, timeout=240, check=False)
    assert found.returncode == 0, found.stderr
    assert len(found.stdout.splitlines()) == len(members(data)) - 1
    (tmp_path / "rows.csv").write_bytes(b"changed")
    found = subprocess.run(words, cwd=tmp_path, capture_output=True, text=True, timeout=240, check=False)
    assert found.returncode == 1


def test_the_same_job_gives_the_same_bytes_with_the_time_of_its_last_row(data):
    assert bundle_bytes(job(), wishes=QUICK) == data
    with zipfile.ZipFile(io.BytesIO(data)) as read:
        assert {info.date_time for info in read.infolist()} == {(2031, 5, 3, 14, 20, 0)}
        assert read.namelist() == sorted(read.namelist())
        assert read.testzip() is None


def test_the_identifier_is_masked_everywhere(data):
    for name, content in members(data).items():
        assert RECEIVER_ID.lower() not in content.decode().lower(), name


def test_with_the_full_identifier_the_job_is_as_it_was():
    files = members(bundle_bytes(job_and_findings()[0], wishes=Wishes(full_id=True, pdf=False)))
    assert RECEIVER_ID in files["letters/provider.txt"].decode()
    assert RECEIVER_ID not in files["letters/customer.html"].decode()
    again = build_job(
        {name.removeprefix("job/"): content for name, content in files.items() if name in JOB_FILES},
        *_rows_of(files["job/observations.csv"]),
    )
    assert job_hash(again) == json.loads(files["manifest.json"])["job_sha256"]


JOB_FILES = ("job/job.toml", "job/lineup.csv")


def _rows_of(data: bytes):
    from satdiag.folder import parse_observations

    header, rows, lines = parse_observations(data.decode())
    return rows, header, lines


def test_the_masked_job_opens_and_is_judged_alike(data, tmp_path):
    files = {name.removeprefix("job/"): content for name, content in members(data).items() if name.startswith("job/")}
    write_folder(files, tmp_path / "copy")
    copy = read_folder(tmp_path / "copy")
    assert copy.sheet.receiver.id == "•••••••0A7"
    assert analyse(copy).diagnosis == job_and_findings()[1].diagnosis


@pytest.mark.parametrize(
    ("identifier", "written"),
    [("DEMO0000A7", '"DEMO\\u0030000A7"'), ("demo'7", '"demo\'7"'), ("ab7x", '"ab7x"')],
)
def test_an_identifier_in_any_spelling_is_masked(identifier, written):
    made = job(sheet=SHEET.replace(f'"{RECEIVER_ID}"', written), base=False)
    assert made.sheet.receiver.id == identifier
    files = masked_files(made)
    assert identifier not in files["job.toml"].decode()


def test_an_identifier_that_cannot_be_masked_keeps_the_job_out():
    inline = SHEET.replace("[receiver]\n", "").replace(f'id = "{RECEIVER_ID}"\nlevel_scale = "dB"\n', "")
    made = job(sheet='receiver = {id = "a7", level_scale = "dB"}\n' + inline, base=False)
    assert masked_files(made) is None


@pytest.mark.long
def test_a_confirmed_job_has_a_record_that_verifies(tmp_path):
    made = read_folder(CONFIRMED)
    files = members(bundle_bytes(made, wishes=Wishes(full_id=True, by="Demo Fitter", pdf=False)))
    page = files["acceptance-record.html"].decode()
    assert "Demo Fitter" in page
    place = tmp_path / "record.html"
    place.write_bytes(files["acceptance-record.html"])
    assert verify_record(place, made).belongs


def test_a_job_without_rows_is_handed_over_too(tmp_path):
    place = tmp_path / "out.zip"
    place.write_bytes(bundle_bytes(job(base=False), "fr", QUICK))
    assert check_bundle(place).wrong == {}
    text = members(place.read_bytes())["MANIFEST.txt"].decode()
    assert text.startswith("# Remise du dossier demo-0007")


# --- what was tampered with ----------------------------------------------------------------------------------------


def test_an_untouched_bundle_passes(place, capsys):
    assert run(["bundle", "--check", str(place)]) == 0
    assert "are as the manifest lists them" in capsys.readouterr().out


def _change(files):
    files["rows.csv"] = files["rows.csv"].replace(b"refused", b"allowed")


def _add(files):
    files["letters/extra.html"] = b"<p>"


def _remove(files):
    del files["report.html"]


def _relist(files):
    """Changed with its hash in manifest.json, and not in the list for people."""
    before = hashlib.sha256(files["rows.csv"]).hexdigest().encode()
    files["rows.csv"] += b"x"
    said = json.loads(files["manifest.json"])
    for one in said["files"]:
        if one["sha256"] == before.decode():
            one.update(size=len(files["rows.csv"]), sha256=hashlib.sha256(files["rows.csv"]).hexdigest())
    files["manifest.json"] = json.dumps(said).encode()


@pytest.mark.parametrize(
    ("change", "name", "words"),
    [
        (_change, "rows.csv", "was changed"),
        (_add, "letters/extra.html", "was added"),
        (_remove, "report.html", "is missing"),
        (_relist, "MANIFEST.txt", "lists other hashes"),
        (lambda files: files.pop("MANIFEST.txt"), "MANIFEST.txt", "is missing"),
    ],
)
def test_what_was_changed_is_named(data, tmp_path, capsys, change, name, words):
    place = remade(data, tmp_path / "out.zip", change)
    assert run(["bundle", "--check", str(place)]) == 1
    streams = capsys.readouterr()
    assert f"{name}: {words}" in streams.out
    assert "not as it was made" in streams.err


def test_packed_again_by_another_program_it_still_passes(data, tmp_path):
    with zipfile.ZipFile(io.BytesIO(data)) as read:
        read.extractall(tmp_path / "all")
    shutil.make_archive(str(tmp_path / "again"), "zip", tmp_path / "all")  # with entries for folders
    assert check_bundle(tmp_path / "again.zip").wrong == {}


# --- what may not be read ------------------------------------------------------------------------------------------


def _refused(place: Path) -> str:
    with pytest.raises(BadInput) as caught:
        check_bundle(place)
    return str(caught.value)


@pytest.mark.parametrize("name", ["../out.txt", "/etc/x", "job/../../x", "a\\..\\x", "C:x", "./x", "a//b", "job/.."])
def test_names_that_lead_out_are_refused(data, tmp_path, name):
    place = remade(data, tmp_path / "out.zip", lambda files: files.update({name: b"x"}))
    assert "leads out of the archive" in _refused(place)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["out.zip"]


def test_links_doubles_and_unknown_packing_are_refused(data, tmp_path):
    place = tmp_path / "out.zip"
    with zipfile.ZipFile(place, "w") as made:
        link = zipfile.ZipInfo("link")
        link.external_attr = (stat.S_IFLNK | 0o777) << 16
        made.writestr(link, "/etc/passwd")
        made.writestr("rows.csv", b"")
        made.writestr("ROWS.csv", b"")
        made.writestr("packed", b"x", zipfile.ZIP_LZMA)
    said = _refused(place)
    for words in ("'link' is a link", "'ROWS.csv' stands twice", "'packed' is packed in a way"):
        assert words in said


@pytest.mark.parametrize("limit", ["MAX_ZIP_BYTES", "MAX_TOTAL_BYTES", "MAX_FILES", "MAX_TEXT_BYTES"])
def test_more_than_the_limits_is_refused(place, monkeypatch, limit):
    monkeypatch.setattr(archive, limit, 3)
    assert "3 " in _refused(place)


def test_a_member_that_unpacks_to_more_than_it_says_is_refused(tmp_path):
    """The size in the directory is made smaller than the data (APPNOTE.TXT 4.3.12: 24 bytes into the header)."""
    place = tmp_path / "out.zip"
    with zipfile.ZipFile(place, "w", zipfile.ZIP_DEFLATED) as made:
        made.writestr("manifest.json", b"0" * 5_000_000)
    raw = bytearray(place.read_bytes())
    at = raw.index(b"PK\x01\x02")
    raw[at + 24 : at + 28] = (10).to_bytes(4, "little")
    place.write_bytes(raw)
    _refused(place)


@pytest.mark.parametrize("cut", [0, 10, 1000, -1, -30])
def test_half_a_file_is_refused(data, tmp_path, cut):
    place = tmp_path / "out.zip"
    place.write_bytes(data[:cut] if cut else b"not a zip")
    assert "out.zip" in _refused(place)


@pytest.mark.parametrize(
    "text",
    ["", "[]", "{}", '{"schema": 9}', '{"schema": 1, "files": [{}]}', '{"schema": 1, "files": 7}', "[" * 100_000],
)
def test_a_manifest_that_is_none_is_refused(data, tmp_path, text):
    place = remade(data, tmp_path / "out.zip", lambda files: files.update({"manifest.json": text.encode()}))
    assert "manifest.json" in _refused(place)


def test_a_zip_of_something_else_is_refused(tmp_path):
    place = tmp_path / "out.zip"
    with zipfile.ZipFile(place, "w") as made:
        made.writestr("readme.txt", b"x")
    assert "manifest.json is missing" in _refused(place)


# --- the command ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["{job}"], "Name the job and the file to make"),
        (["{job}", "{out}.tar"], "A bundle is named NAME.zip"),
        (["--check", "{out}.zip", "x"], "--check takes the bundle alone"),
        (["{job}", "{taken}"], "it is there already"),
        (["{job}", "{out}/none/x.zip"], "no such folder"),
        (["--check", "{out}.zip"], "cannot be read"),
    ],
)
def test_bad_usage_is_told_and_leaves_nothing(tmp_path, capsys, words, said):
    write_folder({"job.toml": SHEET.encode(), "observations.csv": HEADER}, tmp_path / "job")
    (tmp_path / "taken.zip").write_bytes(b"mine")
    names = {"job": tmp_path / "job", "out": tmp_path / "out", "taken": tmp_path / "taken.zip"}
    assert run(["bundle", *(word.format(**names) for word in words)]) == 2
    assert said in capsys.readouterr().err
    assert sorted(path.name for path in tmp_path.iterdir()) == ["job", "taken.zip"]
    assert (tmp_path / "taken.zip").read_bytes() == b"mine"


HEADER = b"time,kind,subject,value,unit,source,note\n"


def test_the_command_makes_one_without_a_browser_and_says_so(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr("satdiag.handover.bundle.find_browser", lambda: None)
    write_folder({"job.toml": SHEET.encode(), "observations.csv": HEADER}, tmp_path / "job")
    place = tmp_path / "out.zip"
    assert run(["bundle", str(tmp_path / "job"), str(place), "--lang", "es"]) == 0
    assert "files of job demo-0007" in capsys.readouterr().out
    said = json.loads(members(place.read_bytes())["manifest.json"])
    assert any(text.startswith("No hay report.pdf") for text in said["left_out"])
    assert said["language"] == "es"
