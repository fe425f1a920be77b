"""A copy for sharing holds no secret, in any file, and the analysis of it still runs and says the same."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import satdiag
from satdiag.errors import SatdiagError
from satdiag.folder import export_files
from satdiag.job import HEADER, KNOWN_FILES, Job, build_job
from satdiag.redact import redact_job, removed_lines, write_copy
from satdiag.redact.rows import shifted
from satdiag.rows import Row
from satdiag.sheet import parse_sheet

FEW = settings(max_examples=40, deadline=None)
SAMPLES = sorted(path.name for path in Path("sample_logs").iterdir())
WORDS = st.from_regex(r"[a-z]{4}q[a-z]{4}", fullmatch=True)
"""A word that may stand in every kind of field and that no vocabulary holds."""

S1P = "! {s}\n# MHz S RI R 50 ! {s}\n2300 0.1 0.1 ! {s}\n2310 0.1 0.2\n2320 0.1 0.3\n"
RING = """# {s}
[ring]
wanted = ["{s}", "receiver", "amp{s}"]
[[block]]
name = "blk{s}"
positions = 4
outputs_row = "upper"
[[node]]
name = "{s}"
role = "role {s}"
supply = "fuse {s}"
block = "blk{s}"
[[node]]
name = "receiver"
[[node]]
name = "amp{s}"
[[plug]]
block = "blk{s}"
position = 1
upper = "{s}.out"
lower = "receiver.in"
[[link]]
from = "{s}"
to = "receiver"
length_m = 3.0
"""
SHEET = """# {s}
[job]
id = "job-{s}"
opened = 2031-05-03T14:00:00Z
reason = "complaint"
vehicle = "car of {s}"
technician = "{s}"
[[site]]
name = "yard {s}"
latitude_deg = 40.12345
longitude_deg = -83.98765
height_m = 233.25
timezone = "America/New_York"
[receiver]
id = "{s}"
bias_nominal_v = 5.0
[service]
constellation = "constellation.toml"
package = "{s}"
"""
CONSTELLATION = """# {s}
name = "{s}"
source = "by {s}"
[[satellite]]
name = "{s}"
longitude_deg = -85.0
status = "said {s}"
"""
ROWS = (
    "0:00|site|vehicle|yard {s}", "0:01|power|receiver|awake|note {s}", "0:05|signal|satellite:{s}|11.2|dB",
    "0:06|lock|satellite:{s}|yes", "0:07|note|{s}|told by {s}", "0:08|ring|node:{s}|present",
    "0:09|ring|position:{s}|2", "0:10|configuration|readback:{s}|differs", "0:11|gap|serial:{s}|lost",
    "0:12|channel|31|authorised",
)  # fmt: skip


def secret_job(secret: str) -> Job:
    """A job with the secret in every text field of every file that a job may hold."""
    documents = {
        "job.toml": SHEET,
        "lineup.csv": "channel,name,category,packages\n31,Name {s},cat {s},{s} open\n",
        "horizon.csv": "azimuth_deg,elevation_deg\n0,10\n90,12\n",
        "obstacles.csv": "azimuth_from_deg,azimuth_to_deg,distance_m,height_m,note\n10,20,5,6,house of {s}\n",
        "gnss-{s}.nmea": "$GPTXT,{s}*00\n",
        "constellation.toml": CONSTELLATION,
        "ring.toml": RING,
        "feedline.s1p": S1P,
        "raw-{s}.jsonl": '{"line": "{s}"}\n',
        "truth.toml": 'fault = "{s}"\n',
    }
    files = {name.replace("{s}", secret): text.replace("{s}", secret).encode() for name, text in documents.items()}
    assert all(KNOWN_FILES.fullmatch(name) for name in files)
    rows = []
    for number, line in enumerate(ROWS):
        clock, kind, subject, value, *more = line.replace("{s}", secret).split("|")
        unit = more[0] if kind == "signal" else ""
        note = more[0] if more and not unit else ""
        time = f"2031-05-03T14:{int(clock[2:]):02d}:00Z"
        span = "5" if kind == "gap" else ""
        source, run = f"serial:{secret}", f"run-{secret}"
        rows.append(
            Row(time, kind, subject, value, unit, source, note, span, run, str(number), f"id-{secret}-{number}")
        )
    rows.append(Row("2031-05-03T14:20:00Z", "withdraw", "row", f"id-{secret}-9", "", secret, "", "", "", "", secret))
    return build_job(files, rows, HEADER + ",span_s,run,elapsed_s,id")


def everything_in(place: Path) -> bytes:
    """The bytes of every file, names included."""
    files = [place] if place.is_file() else sorted(place.rglob("*"))
    return b"".join(path.name.encode() + b"\n" + path.read_bytes() for path in files if path.is_file())


@FEW
@given(WORDS)
def test_no_secret_of_any_text_field_survives_in_a_folder(secret):
    job = secret_job(secret)
    found = redact_job(job)
    for name, data in export_files(found.job).items():
        assert secret.encode() not in name.encode() + data, name
        assert b"40.12345" not in data
    assert parse_sheet(export_files(found.job)["job.toml"].decode()).sites[0].latitude_deg == 40.1


def test_no_secret_survives_in_a_job_file_free_pages_included(tmp_path):
    secret = "zzzzqsecret"
    from satdiag.store import create_job_file

    create_job_file(tmp_path / "in.satjob", secret_job(secret))
    assert secret.encode() in everything_in(tmp_path / "in.satjob")
    write_copy(redact_job(satdiag.open_job(tmp_path / "in.satjob")), tmp_path / "out.satjob")
    assert secret.encode() not in everything_in(tmp_path / "out.satjob")
    with closing(sqlite3.connect(tmp_path / "out.satjob")) as connection:
        assert connection.execute("PRAGMA freelist_count").fetchone() == (0,)
        assert secret not in "\n".join(connection.iterdump())
    assert satdiag.open_job(tmp_path / "out.satjob").rows


def test_what_was_taken_out_is_counted_and_the_analysis_still_runs():
    found = redact_job(secret_job("zzzzqsecret"))
    expected = {
        "receiver identifiers": 1, "technician texts": 1, "vehicle texts": 1, "positions": 1, "sites": 1, "notes": 5,
        "captures": 1, "raw files": 1, "other files": 1, "channel names": 1, "categories": 1, "packages": 1,
        "satellites": 1, "nodes": 2, "blocks": 1, "readbacks": 1, "sources": 2, "runs": 1,
    }  # fmt: skip
    assert {name: found.removed[name] for name in expected} == expected
    assert "technicians' names taken out: 1" in removed_lines(found)
    assert satdiag.analyse(found.job).job == found.job.sheet.id


def test_references_still_meet():
    job = redact_job(secret_job("zzzzqsecret")).job
    by_kind = {row.kind: row for row in job.rows}
    assert by_kind["site"].value == job.sheet.sites[0].name == "site-1"
    assert by_kind["lock"].subject == by_kind["signal"].subject == "satellite:satellite-1"
    assert by_kind["gap"].subject == by_kind["gap"].source
    taken_back = next(row for row in job.rows if row.id == by_kind["withdraw"].value)
    assert taken_back.kind == "channel"
    assert job.sheet.package in job.lineup[0].packages


def test_times_stay_or_move_by_whole_days():
    job = satdiag.open_job("sample_logs/indoors")
    assert [row.time for row in redact_job(job).job.rows] == [r.time for r in job.rows if r.kind != "note"]
    moved = redact_job(job, 10).job
    assert (moved.start - job.start).astype("timedelta64[D]").astype(int) == 10
    assert (moved.sheet.opened - job.sheet.opened).days == 10
    assert shifted("2031-12-31T23:59:59.5-05:00", 1) == "2032-01-01T23:59:59.5-05:00"
    with pytest.raises(SatdiagError, match="cannot be shifted"):
        redact_job(job, 10_000_000)


@pytest.mark.parametrize("name", SAMPLES[::9])
def test_samples_keep_their_verdict(name):
    _same_verdict(name)


@pytest.mark.long
@pytest.mark.parametrize("name", SAMPLES)
def test_all_samples_keep_their_verdict(name):
    """All of them do, although positions are rounded: none stands within reach of a border."""
    _same_verdict(name)


def _same_verdict(name):
    job = satdiag.open_job(f"sample_logs/{name}")
    before, after = satdiag.analyse(job).verdict, satdiag.analyse(redact_job(job).job).verdict
    assert (before.state, before.class_) == (after.state, after.class_)


def test_nothing_is_written_over(tmp_path):
    place = tmp_path / "out"
    place.mkdir()
    (place / "mine").write_text("mine", encoding="utf-8")
    with pytest.raises(SatdiagError, match="there already"):
        write_copy(redact_job(satdiag.open_job("sample_logs/indoors")), place)
    assert [path.name for path in place.iterdir()] == ["mine"]
