"""Writing the report in one piece: a reader sees the old file or the whole new one, never half of it."""

from __future__ import annotations

import os
from collections.abc import Collection
from pathlib import Path

from satdiag.errors import SatdiagError
from satdiag.findings import Findings
from satdiag.job import Job
from satdiag.report.browser import pdf_or_page
from satdiag.report.page import report_html
from satdiag.report.placing import check_pdf_place, check_place, replace_file
from satdiag.report.sheets import Paper

__all__ = ["check_place", "replace_file", "write_pdf", "write_report"]


def write_report(
    path: str | os.PathLike[str],
    job: Job,
    findings: Findings,
    *,
    technician: bool = False,
    can: Collection[str] | None = None,
) -> None:
    """Write the report of a job to a file, over an older page if there is one. Raises SatdiagError.

    `technician` and `can` as in `report_html`.
    """
    place = Path(path).resolve()
    try:
        check_place(place)
        replace_file(place, report_html(job, findings, technician=technician, can=can).encode())
    except OSError as error:
        why = error.strerror or str(error)
        raise SatdiagError(
            f"{place}: the report cannot be written ({why}). Nothing was changed there; name another place."
        ) from None


def write_pdf(
    path: str | os.PathLike[str],
    job: Job,
    findings: Findings,
    *,
    technician: bool = False,
    can: Collection[str] | None = None,
    paper: Paper | None = None,
) -> Path:
    """Write the report of a job as a PDF and return where it is; where no browser is, the page beside it.

    `technician` and `can` as in `report_html`, `paper` as in `print_pdf`. Raises SatdiagError.
    """
    check_pdf_place(Path(path).resolve())
    return pdf_or_page(report_html(job, findings, technician=technician, can=can), path, paper)
