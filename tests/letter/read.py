"""Reading a letter as a person would: the words of its body, the channels that a line names."""

from __future__ import annotations

import re
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

from satdiag.job import Job
from satdiag.language import speaking
from satdiag.letter import Letter, letter_of
from tests.sample_findings import ROOT, findings_of, job_of

LANGUAGES = ("en", "es", "fr")
RECIPIENTS = ("customer", "provider", "dealer")
AND = {"en": "and", "es": "[ye]", "fr": "et"}
TO = {"en": "to", "es": "al", "fr": "à"}


@cache
def letter(name: str, recipient: str, language: str) -> Letter:
    """A sample's letter. Customer's and provider's take no sentence from the findings, so one analysis will do."""
    with speaking(language):  # type: ignore[arg-type]
        return letter_of(job_of(name), findings_of(name), recipient)  # type: ignore[arg-type]


@cache
def truth(name: str) -> dict[str, Any]:
    """What is true of a sample."""
    return tomllib.loads((ROOT / name / "truth.toml").read_text("utf-8"))


@cache
def expected() -> dict[str, Any]:
    """The table of what must and must not be said."""
    return tomllib.loads((Path(__file__).parent / "expected.toml").read_text("utf-8"))


def plain(text: str) -> str:
    """A text with every kind of blank as one space."""
    return re.sub(r"\s+", " ", text)  # the fixed and the narrow blank count as blanks


def body(made: Letter, language: str) -> str:
    """All that stands beneath the head of a letter, its headings and small print too, as one text."""
    colon = " : " if language == "fr" else ": "
    lines = [line for section in made.sections for line in (section.heading, *section.paragraphs, *section.points)]
    lines += [f"{label}{colon}{value}" for section in made.sections for label, value in section.facts]
    return plain("\n".join([*lines, *made.small]))


def value_of(made: Letter, label: str) -> str:
    """What stands beside a label; empty if the label is not there."""
    return next((value for part in made.sections for name, value in part.facts if plain(name) == label), "")


def channels_in(text: str, job: Job, language: str) -> list[int]:
    """The channel numbers that a line names, ranges spelled out by the line-up. The names hold no digits."""
    known = sorted(line.channel for line in job.lineup or ())
    inner = re.sub(r"^\d+ \S+ \((.*)\)$", r"\1", plain(text))
    found: list[int] = []
    for part in re.split(rf", | {AND[language]} (?=(?:del )?\d)", inner):
        ends = [int(number) for number in re.findall(r"\d+", part)]
        assert len(ends) in (1, 2), part
        if len(ends) == 2:
            assert f" {TO[language]} {ends[1]}" in part
            found += [channel for channel in known if ends[0] <= channel <= ends[1]]
        else:
            found += ends
    return found
