"""The hand-over of a job as one ZIP: report, letters, record, job and rows, with a manifest of hashes.

All of it is made from the job alone, not from what this computer has learned, and dated by the job's last row, so
that the same job and version give the same bytes anywhere; PDF and figures are the exception, and are marked so.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from satdiag import __version__
from satdiag.acceptance import Acceptance
from satdiag.acceptance import confirm as judge
from satdiag.acceptance.document import SCHEMA as ACCEPTANCE_SCHEMA
from satdiag.analysis import analyse
from satdiag.findings import SCHEMA as FINDINGS_SCHEMA
from satdiag.findings import Findings
from satdiag.folder import job_hash
from satdiag.handover.archive import packed
from satdiag.handover.document import SCHEMA as EXPORT_SCHEMA
from satdiag.handover.document import export_bytes
from satdiag.handover.figures import Format, pictures
from satdiag.handover.job_copy import job_copy
from satdiag.handover.manifest import SCHEMA as MANIFEST_SCHEMA
from satdiag.handover.manifest import About, Piece, manifest_pieces
from satdiag.handover.masking import cleaner, shown_id
from satdiag.handover.rows_csv import rows_csv
from satdiag.job import Job
from satdiag.language import Language, mark, speaking, spoken, tell, translated
from satdiag.letter import RECIPIENTS, letter_html, letter_text
from satdiag.report import report_html
from satdiag.report.browser import find_browser, print_pdf
from satdiag.report.local_time import utc
from satdiag.report.record import record_html, record_of
from satdiag.report.sheets import Paper

LETTERS = {
    "customer": mark("letter to the customer"),
    "provider": mark("letter to the provider"),
    "dealer": mark("letter to the dealer"),
}
LETTER_TEXTS = {
    "customer": mark("letter to the customer, as plain text"),
    "provider": mark("letter to the provider, as plain text"),
    "dealer": mark("letter to the dealer, as plain text"),
}
NO_TIME = datetime(1980, 1, 1, tzinfo=UTC)
"""The date of a bundle of a job without rows: the first that the format knows."""


@dataclass(frozen=True)
class Wishes:
    """How a bundle is asked for. `by`: who hands over, for letters and record; `figures`: as files too, or None;
    `paper`: the size of the PDF's sheets, None the usual one here.
    """

    full_id: bool = False
    by: str = ""
    figures: Format | None = None
    pdf: bool = True
    paper: Paper | None = None


def bundle_bytes(job: Job, language: Language = "en", wishes: Wishes | None = None) -> bytes:
    """The bundle as bytes of a ZIP file. Raises SatdiagError, MissingPart if figures are asked for and cannot be."""
    asked = wishes or Wishes()
    with speaking(language):
        findings = analyse(job)
        pieces, left_out = _pieces(job, findings, asked)
        about = About(
            satdiag=__version__,
            job=cleaner(job, asked.full_id)(job.sheet.id),
            job_sha256=job_hash(job),
            as_of=findings.verdict.as_of,
            receiver=shown_id(job, asked.full_id),
            full_id=asked.full_id,
            language=language,
            schemas={
                "findings": FINDINGS_SCHEMA,
                "acceptance": ACCEPTANCE_SCHEMA,
                "export": EXPORT_SCHEMA,
                "manifest": MANIFEST_SCHEMA,
            },
            left_out=tuple(left_out),
        )
        pieces += manifest_pieces(about, pieces)
    return packed({piece.name: piece.data for piece in pieces}, _last_moment(job))


def _pieces(job: Job, findings: Findings, asked: Wishes) -> tuple[list[Piece], list[str]]:
    """Every file of the bundle but the manifest, and what was left out."""
    page = report_html(job, findings)
    pieces = [Piece("report.html", page.encode(), tell("the report, for a browser"))]
    left_out: list[str] = []
    makers: tuple[Callable[[], tuple[list[Piece], list[str]]], ...] = (
        lambda: _pdf(page, asked),
        lambda: _letters(job, findings, asked),
        lambda: _record(job, findings, asked),
        lambda: job_copy(job, asked.full_id),
        lambda: _data(job, findings, asked),
        lambda: _figures(job, findings, asked),
    )
    for maker in makers:
        made, lacking = maker()
        pieces += made
        left_out += lacking
    return pieces, left_out


def _pdf(page: str, asked: Wishes) -> tuple[list[Piece], list[str]]:
    if not asked.pdf:
        return [], [tell("The report as a PDF was not asked for; a browser prints report.html.")]
    if find_browser() is None:
        return [], [
            tell("There is no report.pdf: no browser to make it with was found. A browser prints report.html.")
        ]
    return [Piece("report.pdf", printed(page, asked.paper), tell("the report, to print"), steady=False)], []


def printed(page: str, paper: Paper | None = None) -> bytes:
    """A page as bytes of a PDF. Raises SatdiagError."""
    import tempfile

    with tempfile.TemporaryDirectory(prefix="satdiag-bundle-") as folder:
        place = Path(folder) / "page.pdf"
        print_pdf(page, place, paper)
        return place.read_bytes()


def _letters(job: Job, findings: Findings, asked: Wishes) -> tuple[list[Piece], list[str]]:
    pieces = []
    for recipient in RECIPIENTS:
        full = asked.full_id and recipient == "provider"  # who needs it to find the account
        html = letter_html(job, findings, recipient, sender=asked.by, full_id=full)
        text = letter_text(job, findings, recipient, sender=asked.by, full_id=full)
        pieces.append(Piece(f"letters/{recipient}.html", html.encode(), translated(LETTERS[recipient])))
        pieces.append(Piece(f"letters/{recipient}.txt", text.encode(), translated(LETTER_TEXTS[recipient])))
    return pieces, []


def _record(job: Job, findings: Findings, asked: Wishes) -> tuple[list[Piece], list[str]]:
    found: Acceptance = judge(job, findings)
    if found.state != "confirmed" or findings.verdict.as_of is None:
        return [], [tell("There is no acceptance record: the activation is not confirmed by what was logged.")]
    made_at = f"{_last_moment(job):%Y-%m-%dT%H:%M:%S}Z"
    record = record_of(job, found, by=asked.by or None, made_at=made_at, language=spoken())
    what = tell("the acceptance record, dated by the last row of the job")
    return [Piece("acceptance-record.html", record_html(record).encode(), what)], []


def _data(job: Job, findings: Findings, asked: Wishes) -> tuple[list[Piece], list[str]]:
    clean = cleaner(job, asked.full_id)
    rows = rows_csv(job, clean).encode("utf-8-sig")
    return [
        Piece("rows.csv", rows, tell("what was logged, for a spreadsheet program")),
        Piece(
            "job-and-findings.json",
            export_bytes(job, findings, asked.full_id),
            tell("job and findings, for programs"),
        ),
    ], []


def _figures(job: Job, findings: Findings, asked: Wishes) -> tuple[list[Piece], list[str]]:
    if asked.figures is None:
        return [], []
    kind = asked.figures
    made = []
    for picture in pictures(job, findings, kind, find_browser()):
        made.append(Piece(f"figures/{picture.name}.{kind}", picture.data, tell("a figure of the report"), False))
        text = tell("what the figure shows")
        made.append(Piece(f"figures/{picture.name}.txt", picture.text.encode(), text))
    return made, []


def _last_moment(job: Job) -> datetime:
    """The instant of the job's last row, UTC."""
    log = job.log
    return NO_TIME if log.empty else utc(log["at"].to_numpy()[-1])
