"""Do an acceptance record and a job belong together, and is neither of them changed since?"""

from __future__ import annotations

import os
import re
from dataclasses import dataclass
from pathlib import Path

from jinja2 import TemplateError

import satdiag
from satdiag.acceptance.judgement import confirm
from satdiag.acceptance.record import LAYOUT, Record, parse_record, rates_of
from satdiag.analysis import analyse
from satdiag.csv_text import quoted
from satdiag.errors import SatdiagError
from satdiag.folder import bytes_of
from satdiag.job import Job
from satdiag.language import speaking, tell
from satdiag.report.page import masker
from satdiag.report.record import record_html, record_of, same_job

_BLOCK = re.compile(r'<script type="application/json" id="record">(.*?)</script>', re.DOTALL)
_STATED = re.compile(r'id="record-sha256">([0-9a-f]{64})<')
_BOM = b"\xef\xbb\xbf"
_SNIPPET = 60


@dataclass(frozen=True)
class Check:
    """One thing looked at: `holds` is None where it could not be compared; `text` says what was found."""

    name: str
    holds: bool | None
    text: str


@dataclass(frozen=True)
class Verification:
    """All checks in order. `belongs`: everything could be compared that must be, and it holds."""

    belongs: bool
    text: str
    checks: tuple[Check, ...]


def verify_record(path: str | os.PathLike[str], job: Job) -> Verification:
    """Compare the record at a path with a job. Raises SatdiagError if there is no record in the file."""
    place = Path(path)
    page = _page_text(place)
    found = _BLOCK.search(page)
    if found is None:
        raise SatdiagError(
            f"{place}: this is no acceptance record. `satdiag confirm JOB --record FILE.html` makes one."
        )
    try:
        record = parse_record(found[1])
    except (ValueError, RecursionError) as error:
        return _whole([Check("record", False, f"{_no_record()} ({error})")])
    checks = [_hash_check(record, found[1], page), _page_check(record, page), _job_check(record, job)]
    return _whole([*checks, _criteria_check(record, job, all(one.holds is not False for one in checks))])


def _no_record() -> str:
    return tell("The data in the page cannot be read as a record: they were changed, or are of another version.")


def _page_text(place: Path) -> str:
    if not place.is_file():
        raise SatdiagError(f"{place}: there is no such file. Name the page that `satdiag confirm --record` wrote.")
    data = bytes_of(place).removeprefix(_BOM)
    if data.count(b"\r\n") == data.count(b"\n") > 0:  # all line ends were made anew on the way, nothing else
        data = data.replace(b"\r\n", b"\n")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        raise SatdiagError(f"{place}: this is no acceptance record, since it is not readable as text.") from None


def _hash_check(record: Record, block: str, page: str) -> Check:
    stated = _STATED.search(page)
    if block == record.canonical and stated is not None and stated[1] == record.sha256:
        return Check("record", True, tell("The record's own hash fits its data."))
    return Check("record", False, tell("The record's own hash does not fit its data: one of them was changed."))


def _page_check(record: Record, page: str) -> Check:
    if record.layout != LAYOUT:
        text = tell(
            "The page is laid out by another version (satdiag {version}): its visible words could not be compared. "
            "Verify it with that version.",
            version=record.satdiag,
        )
        return Check("page", None, text)
    stated = _STATED.search(page)
    try:
        expected = record_html(record)
    except TemplateError:  # a word that the page shows is not among the data
        return Check("page", False, _no_record())
    if stated is not None:  # a wrong hash is said by itself
        expected = expected.replace(record.sha256, stated[1])
    where = _BLOCK.search(page)
    assert where is not None  # the caller found it
    expected = expected.replace(record.canonical, where[1])
    if page == expected:
        return Check("page", True, tell("Every visible word is that of the record's data."))
    shown, meant = _first_difference(page, expected)
    text = tell(
        "The page was changed: it says {shown} where the record's data say {meant}.",
        shown=quoted(shown),
        meant=quoted(meant),
    )
    return Check("page", False, text)


def _first_difference(page: str, expected: str) -> tuple[str, str]:
    """What stands in either text about the first character that differs."""
    pairs = zip(page, expected, strict=False)
    at = next((number for number, (left, right) in enumerate(pairs) if left != right), min(len(page), len(expected)))
    start = max(at - 15, 0)
    return page[start : at + _SNIPPET - 15].strip(), expected[start : at + _SNIPPET - 15].strip()


def _job_check(record: Record, job: Job) -> Check:
    if same_job(record, job):
        return Check("job", True, tell("The job is the one of the record, unchanged."))
    shown = masker(job)(job.sheet.id)
    if shown != record.job:
        text = tell("The record is of job {record}, and this is job {job}.", record=record.job, job=shown)
        return Check("job", False, text)
    return Check("job", False, tell("The job was changed since the record was made: its hash is another one."))


def _criteria_check(record: Record, job: Job, is_sound: bool) -> Check:
    if not is_sound:
        return Check("criteria", None, tell("The criteria were not judged again, since something differs already."))
    if record.satdiag != satdiag.__version__:
        text = tell(
            "The record was made by satdiag {theirs}, this is {ours}: the criteria were not judged again.",
            theirs=record.satdiag,
            ours=satdiag.__version__,
        )
        return Check("criteria", None, text)
    try:
        again = _made_again(record, job)
    except (ValueError, SatdiagError):
        return Check("criteria", False, tell("The record's error rates or name are none that satdiag would take."))
    if again == record.canonical:
        return Check("criteria", True, tell("Judged again from the job, every criterion comes out the same."))
    return Check("criteria", False, tell("Judged again from the job, the criteria come out otherwise."))


def _made_again(record: Record, job: Job) -> str:
    """The canonical record as this version makes it from the job."""
    with speaking(record.language):
        found = confirm(job, analyse(job), *rates_of(record))
        again = record_of(job, found, by=record.by, made_at=record.made_at, language=record.language)
    return again.canonical


def _whole(checks: list[Check]) -> Verification:
    names = {one.name: one.holds for one in checks}
    belongs = all(holds is not False for holds in names.values()) and names.get("page") is True
    if belongs:
        text = tell("Record and job belong together, and neither was changed since the record was made.")
    elif False in names.values():
        text = tell("Record and job do not belong together, or one of them was changed.")
    else:
        text = tell("It cannot be told whether the page was changed.")
    return Verification(belongs, text, tuple(checks))


def no_proof() -> str:
    """What a verification does not show."""
    return tell(
        "This does not prove who made them or when: nothing is signed, and whoever can change one can make both anew."
    )
