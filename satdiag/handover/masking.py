"""The identifier of the receiver in what is handed over: masked in every text, unless it is asked for in full."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from satdiag.job import Job
from satdiag.report.page import cleaned, masker

Clean = Callable[[str], str]


def cleaner(job: Job, full_id: bool) -> Clean:
    """A function that hides the identifier in any text; with `full_id` one that changes nothing."""
    return (lambda text: text) if full_id else masker(job)


def clean_document(document: Any, clean: Clean) -> Any:
    """A JSON document with every text in it cleaned; the keys stay."""
    return cleaned(document, clean)


def shown_id(job: Job, full_id: bool) -> str:
    """The identifier as it may be shown; 'unknown' if the job names none."""
    receiver = job.sheet.receiver
    return receiver.id if full_id and receiver.id else receiver.masked_id
