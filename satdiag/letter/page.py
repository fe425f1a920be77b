"""A letter as a page that needs nothing but itself, and as plain text; the receiver's identifier masked."""

from __future__ import annotations

import textwrap
from dataclasses import replace
from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

from satdiag.findings import Findings
from satdiag.job import Job
from satdiag.language import spoken, tell
from satdiag.letter.customer import customer_letter
from satdiag.letter.dealer import dealer_letter
from satdiag.letter.parts import Fact, Letter, Recipient
from satdiag.letter.provider import provider_letter
from satdiag.report.page import Clean, masker

WIDTH = 78
TEXT_MARK = "satdiag"
"""How the last line of a letter in plain text begins: by it a letter is known that may be written over."""


def letter_of(
    job: Job, findings: Findings, recipient: Recipient, *, sender: str = "", full_id: bool = False
) -> Letter:
    """The letter in the language that is spoken. `full_id`: the provider's shows the whole identifier."""
    if recipient == "provider":
        made = provider_letter(job, findings, sender, full_id=full_id)
        return made if full_id else _cleaned(made, masker(job))
    made = customer_letter(job, findings, sender) if recipient == "customer" else dealer_letter(job, findings, sender)
    return _cleaned(made, masker(job))


def letter_html(
    job: Job, findings: Findings, recipient: Recipient, *, sender: str = "", full_id: bool = False
) -> str:
    """The letter as one HTML text without script. Findings and letter should be made in the same language."""
    letter = letter_of(job, findings, recipient, sender=sender, full_id=full_id)
    return _rendered("letter.html.j2", letter)


def letter_text(
    job: Job, findings: Findings, recipient: Recipient, *, sender: str = "", full_id: bool = False
) -> str:
    """The letter as plain text, no line longer than 78 characters unless a word is."""
    letter = letter_of(job, findings, recipient, sender=sender, full_id=full_id)
    return _rendered("letter.txt.j2", letter)


def _cleaned(letter: Letter, clean: Clean) -> Letter:
    """The letter with every text in it masked."""

    def of_facts(facts: tuple[Fact, ...]) -> tuple[Fact, ...]:
        return tuple((clean(label), clean(value)) for label, value in facts)

    sections = tuple(
        replace(
            section,
            paragraphs=tuple(map(clean, section.paragraphs)),
            points=tuple(map(clean, section.points)),
            facts=of_facts(section.facts),
        )
        for section in letter.sections
    )
    return replace(letter, facts=of_facts(letter.facts), sections=sections, signed=clean(letter.signed))


def _rendered(name: str, letter: Letter) -> str:
    return _environment().get_template(name).render(letter=letter, language=spoken(), mark=TEXT_MARK)


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("satdiag.letter"),
        autoescape=select_autoescape(enabled_extensions=("html.j2",)),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.filters["wrapped"] = _wrapped
    environment.globals.update(tell=tell)
    return environment


def _wrapped(text: str, first: str = "", rest: str = "") -> str:
    """A paragraph in lines; `first` stands before the first one, `rest` before the others."""
    return textwrap.fill(
        text,
        WIDTH,
        initial_indent=first,
        subsequent_indent=rest,
        break_long_words=False,
        break_on_hyphens=False,
    )
