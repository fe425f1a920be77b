"""The acceptance record: the page, and whether every change to it or to the job is found."""

import hashlib
import json
import re
import shutil
from pathlib import Path

import jsonschema
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import satdiag
from satdiag.acceptance import confirm, record_schema
from satdiag.acceptance.record import LAYOUT, parse_record
from satdiag.errors import BadInput, SatdiagError
from satdiag.folder import export_files, read_folder
from satdiag.job import HEADER, build_job
from satdiag.language import speaking
from satdiag.report.record import record_html, record_of, same_job, write_record
from satdiag.report.record_check import verify_record
from satdiag.rows import Row
from tests.helpers import make_job
from tests.report.checker import complaints_about

NOW = "2031-05-04T09:00:00Z"
SOME = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
SHEET = '[receiver]\nid = "DEMOSECRET7"\n[[site]]\nname = "yard"\nlatitude_deg = 40.0\nlongitude_deg = -83.0\n'


@pytest.fixture(scope="module")
def job():
    return make_job(
        """
        0:00 account service confirmed
        0:10 power receiver awake
        1:00 channel 31 authorised note="DEMOSECRET7 <b>said</b>"
        2:00 channel 32 authorised
        3:00 tune 31 requested
        3:02 tune 31 audio
        """,
        SHEET,
        "31,News,talk,all\n32,Sport,talk,all",
    )


def made(job, language="en", by="Demo Person & Co <x>"):
    with speaking(language):
        return record_of(job, confirm(job, satdiag.analyse(job)), by=by, made_at=NOW, language=language)


@pytest.fixture(scope="module")
def record(job):
    return made(job)


@pytest.fixture(scope="module")
def page(record):
    return record_html(record)


@pytest.fixture(scope="module")
def folder(job, tmp_path_factory):
    place = tmp_path_factory.mktemp("job")
    for name, data in export_files(job).items():
        (place / name).write_bytes(data)
    return place


def verified(text, job, place):
    place.write_bytes(text if isinstance(text, bytes) else text.encode())
    return verify_record(place, job)


def differs(found):
    return {one.name for one in found.checks if one.holds is False}


def test_record_and_job_belong_together(page, job, tmp_path):
    found = verified(page, job, tmp_path / "r.html")
    assert found.belongs
    assert {one.holds for one in found.checks} == {True}


def test_the_block_is_canonical_and_its_hash_is_that_of_hashlib(page, record):
    block = re.search(r'id="record">(.*?)</script>', page)[1]
    data = json.loads(block)
    again = json.dumps(data, sort_keys=True, separators=(",", ":"))
    for sign in "<>&":
        again = again.replace(sign, f"\\u{ord(sign):04x}")
    assert block == again
    assert hashlib.sha256(block.encode()).hexdigest() in page
    jsonschema.validate(data, record_schema())
    assert parse_record(block) == record
    assert data["by"] == "Demo Person & Co <x>"


def test_the_identifier_is_nowhere_and_unknown_names_are_not_stated(page, job):
    assert "DEMOSECRET7" not in page
    nobody = made(job, by=None)
    assert nobody.by is None
    assert nobody.word("by") == "not stated"
    assert nobody.word("vehicle") == "not stated"


def test_the_technician_of_the_sheet_stands_in_where_nobody_is_named(job):
    named = make_job("0:00 power receiver awake", "")
    sheet = named.documents["job.toml"].decode() + 'technician = "Demo Fitter"\n'
    named = make_job("0:00 power receiver awake", 'technician = "Demo Fitter"\n')
    assert "technician" in sheet
    assert made(named, by=None).by == "Demo Fitter"


@SOME
@given(data=st.data())
def test_any_changed_byte_of_the_page_is_found(data, page, job, tmp_path):
    raw = bytearray(page.encode())
    at = data.draw(st.integers(0, len(raw) - 1))
    raw[at] = data.draw(st.integers(0, 255).filter(lambda byte: byte != raw[at]))
    try:
        found = verified(bytes(raw), job, tmp_path / "r.html")
    except SatdiagError:
        return  # no record at all any more, or no text: it is said, with exit code 2
    assert not found.belongs


@SOME
@given(data=st.data())
def test_any_changed_visible_word_is_found_and_shown(data, page, job, tmp_path):
    words = [found for found in re.finditer(r"[A-Za-z]{3,}", page) if found.start() > page.index("<main>")]
    words = [found for found in words if found.end() < page.index("<script")]
    word = data.draw(st.sampled_from(words))
    changed = page[: word.start()] + word[0][::-1].swapcase() + page[word.end() :]
    found = verified(changed, job, tmp_path / "r.html")
    assert "page" in differs(found) or "record" in differs(found)


def test_a_changed_record_with_its_old_hash_is_found(page, record, job, tmp_path):
    changed = page.replace('"by":"Demo Person', '"by":"Demo Parson')
    assert changed != page
    assert "record" in differs(verified(changed, job, tmp_path / "r.html"))


def test_a_page_made_anew_from_forged_data_is_found_by_judging_again(record, job, tmp_path):
    from dataclasses import replace

    forged = replace(record, said=tuple(replace(w, text="Activation confirmed") if w.name == "verdict" else w
                                        for w in record.said))  # fmt: skip
    found = verified(record_html(forged), job, tmp_path / "r.html")
    assert differs(found) == {"criteria"}


def test_another_layout_or_version_is_said_and_not_taken_for_whole(record, job, tmp_path):
    from dataclasses import replace

    other = verified(record_html(replace(record, layout=LAYOUT + 1)), job, tmp_path / "r.html")
    assert not other.belongs
    older = verified(record_html(replace(record, satdiag="0.0.9")), job, tmp_path / "r.html")
    assert older.belongs
    assert "0.0.9" in older.checks[-1].text
    assert older.checks[-1].holds is None


def test_line_ends_and_a_mark_at_the_start_of_the_page_are_no_change(page, job, tmp_path):
    sent = b"\xef\xbb\xbf" + page.replace("\n", "\r\n").encode()
    assert verified(sent, job, tmp_path / "r.html").belongs


def test_line_ends_of_the_job_folder_are_no_change(record, folder, tmp_path):
    copy = tmp_path / "copy"
    shutil.copytree(folder, copy)
    for path in copy.iterdir():
        path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n"))
    assert same_job(record, read_folder(copy))


@SOME
@given(data=st.data())
def test_any_changed_character_of_a_job_row_is_found(data, record, folder, tmp_path_factory):
    copy = tmp_path_factory.mktemp("changed") / "job"
    shutil.copytree(folder, copy)
    place = copy / data.draw(st.sampled_from(["observations.csv", "job.toml", "lineup.csv"]))
    text = place.read_text("utf-8")
    at = data.draw(st.integers(0, len(text) - 2))
    new = data.draw(st.sampled_from("abcXYZ0189 -_.,").filter(lambda sign: sign != text[at]))
    place.write_text(text[:at] + new + text[at + 1 :], encoding="utf-8", newline="")
    try:
        job = read_folder(copy)
    except BadInput:
        return  # it cannot even be read as a job
    assert not same_job(record, job)


def test_what_is_no_record_is_refused(job, tmp_path):
    for text in ("", "<!doctype html><p>hello", b"\xff\xfe\x00"):
        with pytest.raises(SatdiagError, match="no acceptance record"):
            verified(text, job, tmp_path / "r.html")
    with pytest.raises(SatdiagError, match="no such file"):
        verify_record(tmp_path / "nothing.html", job)


@pytest.mark.parametrize("change", [
    '"alpha":NaN', '"alpha":1e999', '"made_at":5', '"by":5', '"job":null', '"satdiag":[]', '"language":{}',
])  # fmt: skip
def test_data_that_no_record_can_hold_are_found_and_not_stumbled_over(change, page, job, tmp_path):
    """NaN and infinity are no JSON (RFC 8259, section 6); the others are of another type than the record's schema."""
    key = change.partition(":")[0]
    forged = re.sub(rf'{key}:("[^"]*"|[0-9.e-]+)', change, page)
    assert forged != page
    found = verified(forged, job, tmp_path / "r.html")
    assert not found.belongs
    assert differs(found) == {"record"}


def test_an_identifier_in_the_jobs_id_is_masked_in_the_record(tmp_path):
    sheet = '[job]\nid = "job-DEMO0000A7"\n[receiver]\nid = "DEMO0000A7"\n'
    rows = [Row("2031-05-03T14:00:00Z", "power", "receiver", "awake")]
    job = build_job({"job.toml": sheet.encode()}, rows, HEADER)
    made = record_of(job, confirm(job, satdiag.analyse(job)), by=None, made_at="2031-05-03T15:00:00Z")
    assert "DEMO0000A7" not in record_html(made)
    assert verified(record_html(made), job, tmp_path / "r.html").belongs


def test_foreign_files_are_not_written_over(record, tmp_path):
    place = tmp_path / "notes.txt"
    place.write_text("mine", encoding="utf-8")
    with pytest.raises(SatdiagError, match="not written over"):
        write_record(place, record)
    assert place.read_text("utf-8") == "mine"


def test_the_layout_number_is_raised_when_the_page_changes():
    """Records of an older layout cannot be compared word by word: whoever changes the page raises LAYOUT."""
    text = (Path(satdiag.__file__).parent / "report" / "templates" / "record.html.j2").read_text("utf-8")
    known = {1: "8153335d9d4eab551ed84fc8d4f8b6faeb181744c91e423288a2e3360109a072"}
    assert hashlib.sha256(text.encode()).hexdigest() == known[LAYOUT]


def test_the_pages_are_valid_and_each_in_its_language(job, tmp_path):
    places = [tmp_path / f"{language}.html" for language in ("en", "es", "fr")]
    for place in places:
        write_record(place, made(job, place.stem))
        text = place.read_text("utf-8")
        assert f'<html lang="{place.stem}">' in text
        assert ("What was asked for" in text) == (place.stem == "en")
        assert verify_record(place, job).belongs
    assert complaints_about(places, errors_alone=True) == []


AXE = """async () => {
  const found = await axe.run(document, {resultTypes: ["violations"]});
  return found.violations.map(one => [one.id, one.help]);
}"""


@pytest.mark.parametrize("width", [390, pytest.param(1280, marks=pytest.mark.long)])
def test_axe_finds_nothing_and_it_prints_on_two_pages(width, chromium, page, tmp_path):
    import pypdf
    from axe_playwright_python.sync_playwright import Axe

    place = tmp_path / "r.html"
    place.write_text(page, encoding="utf-8")
    shown = chromium.new_page(viewport={"width": width, "height": 900}, bypass_csp=True)
    try:
        shown.goto(place.as_uri())
        shown.evaluate(Axe().axe_script)
        assert shown.evaluate(AXE) == []
        assert shown.evaluate("document.documentElement.scrollWidth") <= width
        shown.pdf(path=tmp_path / "r.pdf", prefer_css_page_size=True, format="A4")
    finally:
        shown.close()
    assert len(pypdf.PdfReader(tmp_path / "r.pdf").pages) <= 2
