"""The acceptance record as a page to print, to keep, and to verify later.

The page is a function of the record alone, and the record holds every word of it: so a changed word shows when the
page is made again from its block. It has its own styles for the same reason.
"""

from __future__ import annotations

import os
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from markupsafe import Markup

from satdiag.acceptance import Acceptance
from satdiag.acceptance.record import Record, Row, Word, checked_name, make_record
from satdiag.acceptance.seen import state_word
from satdiag.errors import SatdiagError
from satdiag.findings import Instant
from satdiag.folder import job_hash
from satdiag.job import Job
from satdiag.language import in_figures, moment_text, speaking, tell
from satdiag.language.catalogue import Language
from satdiag.report.local_time import LocalTime, local_time_of, parse_instant
from satdiag.report.page import Clean, cleaned, masker, template_environment
from satdiag.report.placing import check_place, replace_file


def write_record(path: str | os.PathLike[str], record: Record) -> None:
    """Write the page, over an older page if there is one. Raises SatdiagError."""
    place = Path(path).resolve()
    try:
        check_place(place)
        replace_file(place, record_html(record).encode())
    except OSError as error:
        why = error.strerror or str(error)
        raise SatdiagError(
            f"{place}: the record cannot be written ({why}). Nothing was changed there; name another place."
        ) from None


def record_html(record: Record) -> str:
    """The page as one HTML text that needs nothing but itself, without any script."""
    template = template_environment(lambda text: text).get_template("record.html.j2")
    said = {one.name: one.text for one in record.said}
    return template.render(record=record, said=said, block=Markup(record.canonical))


def record_of(
    job: Job, found: Acceptance, *, by: str | None = None, made_at: Instant, language: Language = "en"
) -> Record:
    """The record of a judgement, which must have been made in the same language. Raises SatdiagError.

    `by`: who confirms; without it the technician of the job sheet, if there is one. The receiver's identifier is
    masked wherever it stands.
    """
    by = checked_name(by) or checked_name(job.sheet.technician)
    with speaking(language):
        local, clean = local_time_of(job), masker(job)
        words = (
            _said(job, found, local, clean, by, made_at),
            _rows(found, clean),
            _notes(found, clean),
        )
    made = make_record(job, found, words, by=by, made_at=made_at, language=language)
    return replace(made, job=clean(made.job), acceptance=cleaned(made.acceptance, clean))


def _said(
    job: Job, found: Acceptance, local: LocalTime, clean: Clean, by: str | None, made_at: Instant
) -> tuple[Word, ...]:
    texts = {
        "head": tell("Acceptance record"),
        "title": tell("Acceptance record, job {job}", job=job.sheet.id),
        "verdict": _verdict(found),
        "text": clean(found.text),
        **_facts(job, found, local, by, made_at),
        "criteria": tell("What was asked for"),
        "criterion": tell("Criterion"),
        "state": tell("State"),
        "evidence": tell("Evidence"),
        "lacking": tell("Still lacking:"),
        "notes": tell("Notes"),
        "rates": _rates(found),
        "hashes": tell("How to verify"),
        "job_hash": tell("SHA-256 of the job"),
        "record_hash": tell("SHA-256 of this record"),
        "verify": tell(
            "The command “satdiag verify” with this page and the job says whether they belong together and were not "
            "changed since. It does not prove who made them or when: there is no signature in them."
        ),
        "signed": tell("Signature"),
        "date": tell("Date"),
        "made": tell("Made by satdiag {version} from the log alone.", version=found.satdiag),
    }
    return tuple(Word(name, clean(text)) for name, text in texts.items())


def _verdict(found: Acceptance) -> str:
    if found.state == "confirmed":
        return tell("Activation confirmed")
    return tell("Not confirmed") if found.state == "not-confirmed" else tell("Not confirmed yet")


def _facts(job: Job, found: Acceptance, local: LocalTime, by: str | None, made_at: Instant) -> dict[str, str]:
    """Heads and texts of the small table, in pairs of 'NAME_head' and 'NAME'."""
    pairs = {
        "job": (tell("Job"), job.sheet.id),
        "vehicle": (tell("Vehicle"), masker(job)(job.sheet.vehicle) or tell("not stated")),
        "receiver": (tell("Receiver"), job.sheet.receiver.masked_id if job.sheet.receiver.id else tell("not stated")),
        "by": (tell("Technician"), by or tell("not stated")),
        "as_of": (tell("As of the last row"), _moment(found.as_of, local)),
        "made_at": (tell("Record made"), _moment(made_at, local)),
        "zone": (tell("Times"), _zone(job)),
        "version": (tell("Version"), f"satdiag {found.satdiag}"),
    }
    found_texts: dict[str, str] = {}
    for name, (head, text) in pairs.items():
        found_texts |= {f"{name}_head": head, name: text}
    return found_texts


def _moment(instant: Instant | None, local: LocalTime) -> str:
    if instant is None:
        return tell("not known")
    moment: datetime = local.wall(parse_instant(instant))
    return moment_text(moment)


def _zone(job: Job) -> str:
    for site in job.sheet.sites:
        if site.timezone:
            return tell("local time at {site} ({zone})", site=site.name, zone=site.timezone)
    return tell("UTC, because the job names no time zone")


def _rates(found: Acceptance) -> str:
    return tell(
        "At most {alpha} % of accounts that are not activated would be confirmed; of activated ones at most {beta} % "
        "ruled out, where channels come in as is usual.",
        alpha=in_figures(f"{100 * found.alpha:g}"),
        beta=in_figures(f"{100 * found.beta:g}"),
    )


def _rows(found: Acceptance, clean: Clean) -> tuple[Row, ...]:
    return tuple(
        Row(one.title, one.state, state_word(one.state), clean(one.evidence), clean(one.lacking))
        for one in found.criteria
    )


def _notes(found: Acceptance, clean: Clean) -> tuple[str, ...]:
    return tuple(clean(text) for text in found.could_not)


def same_job(record: Record, job: Job) -> bool:
    """True if the job is the one that the record was made of, to the byte of its canonical export."""
    return record.job_sha256 == job_hash(job)
