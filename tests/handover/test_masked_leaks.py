"""The receiver's identifier in odd spellings and places: nothing handed over without --full-id holds it."""

import io
import zipfile

import pytest

import satdiag
from satdiag.handover.bundle import Wishes, bundle_bytes
from satdiag.handover.job_copy import masked_files
from satdiag.job import HEADER, Job, build_job
from satdiag.report.page import masker
from satdiag.rows import Row
from satdiag.sheet import Receiver

LABELS = ("DEMO0000A7", "demo0000a7", "DEMO 0000 A7", "demo-0000-a7", "D E M O 0 0 0 0 A 7", "DEMO.0000/A7")


def job_with(identifier: str, note: str = "", job_id: str = "demo-1", **documents: bytes) -> Job:
    sheet = f'[job]\nid = "{job_id}"\nvehicle = "demo saloon"\n[receiver]\nid = "{identifier}"\n'
    rows = [
        Row("2031-05-03T14:00:00Z", "power", "receiver", "awake"),
        Row("2031-05-03T14:00:05Z", "note", "", "", note=note),
    ]
    return build_job({"job.toml": sheet.encode(), **documents}, rows, HEADER)


@pytest.mark.parametrize("written", LABELS)
def test_the_identifier_is_masked_however_its_groups_are_written(written):
    clean = masker(job_with("DEMO0000A7"))
    assert clean(f"label: {written}, read twice") == "label: •••••••0A7, read twice"
    assert masker(job_with("DEMO-0000-A7"))(written).startswith("•")


def test_a_letter_with_a_mark_is_found_in_either_of_unicodes_forms():
    """NFC and NFD of e with acute: U+00E9, and e with U+0301 (Unicode Standard Annex 15)."""
    clean = masker(job_with("d\u00e9mo00a7"))
    assert clean("DE\u0301MO00A7 d\u00e9mo00a7") == "••••••a7 ••••••a7"


def test_numbers_and_times_that_hold_the_same_digits_stay():
    clean = masker(job_with("395729"))
    for text in ("latitude 39.5729", "39,5729", "139-57-291", "39:57:29", "39\n5729"):
        assert clean(text) == text
    assert clean("label 39-57-29") == "label ••••29"


@pytest.mark.parametrize(("identifier", "masked"), [
    ("7", "•••"), ("A7", "•••"), ("AB7", "•••7"), ("AB7X", "•••X"), ("AB7X9", "••••9"), ("AB7X9Z", "••••9Z"),
    ("AB7X9ZQWE", "••••••QWE"),
])  # fmt: skip
def test_of_a_short_identifier_no_more_than_a_third_is_shown(identifier, masked):
    assert Receiver(identifier).masked_id == masked


def test_job_id_and_names_of_captures_do_not_carry_it_out():
    captures = dict.fromkeys(("gnss-DEMO0000A7.nmea", "gnss-demo0000a7.nmea"), b"$GPGGA,1\n")
    job = job_with("DEMO0000A7", "label DEMO-0000 A7", "job-DEMO0000A7", **captures)
    files = masked_files(job)
    assert files is not None
    assert {name for name in files if name.endswith(".nmea")} == {"gnss-xxxxxxx0A7.nmea", "gnss-xxxxxxx0A7-2.nmea"}
    assert b'id = "job-xxxxxxx0A7"' in files["job.toml"]
    with zipfile.ZipFile(io.BytesIO(bundle_bytes(job, wishes=Wishes(pdf=False)))) as archive:
        for name in archive.namelist():
            assert "demo0000a7" not in name.casefold()
            assert b"demo0000a7" not in archive.read(name).lower(), name


def test_the_masked_copy_is_judged_like_the_job():
    job = job_with("DEMO0000A7", "label DEMO 0000 A7", "job-DEMO0000A7")
    files = masked_files(job)
    documents = {name: data for name, data in files.items() if name != "observations.csv"}
    copy = build_job(documents, job.rows, job.header)
    assert satdiag.analyse(copy).verdict.state == satdiag.analyse(job).verdict.state
