"""The report as one HTML text that needs nothing but itself: styles, script, plotly and figures are all inside."""

from __future__ import annotations

import html
import re
import unicodedata
from collections.abc import Callable, Collection
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape
from plotly.offline import get_plotlyjs

from satdiag.findings import Findings
from satdiag.job import Job
from satdiag.language import spoken, tell, tell_many, translated
from satdiag.report import palette
from satdiag.report.appendix import appendix_of
from satdiag.report.cautions import cautions_for
from satdiag.report.first_page import first_page_of
from satdiag.report.local_time import local_time_of
from satdiag.report.sections import sections_of

SHORTEST_MASKED = 5
"""An identifier shorter than this is not searched for in free text: it would strike common words."""

_SPACES = r" \xa0\u202f\u2009\u2010-\u2015-"
_BETWEEN, _BETWEEN_DIGITS = f"[{_SPACES}._/]?", f"[{_SPACES}]?"
"""What people write between the groups of an identifier; in one of digits no point, as every coordinate has one."""

Clean = Callable[[str], str]


def report_html(job: Job, findings: Findings, *, technician: bool = False, can: Collection[str] | None = None) -> str:
    """The report of a job as HTML, in the language in use.

    The receiver's identifier is masked wherever it stands, free text included. `technician` shows the technician's
    name, which is left out otherwise; `can` is what the person said they have or can do (see `satdiag.analyse`).
    Draws what the findings hold; computes nothing.
    """
    clean = masker(job)
    local = local_time_of(job)
    sections = sections_of(job, findings, local, can)
    figures = [figure for section in sections for figure in section.figures]
    template = template_environment(clean).get_template("report.html.j2")
    return template.render(
        first=first_page_of(job, findings, local, technician),
        sections=sections,
        cautions=cautions_for(findings),
        appendix=appendix_of(job, local, clean),
        local=local,
        drawings={figure.name: cleaned(figure.spec, clean) for figure in figures},
        palette=palette,
        light={name: getattr(palette, name) for name in ("INK", "FAINT", "GRID", "PAPER", "BLUE", "VERMILLION")},
        has_figures=bool(figures),
        plotly_js=Markup(script_safe(get_plotlyjs())) if figures else "",
    )


def masker(job: Job) -> Clean:
    """A function that hides the receiver's identifier in any text, as it is, in groups as on a label, or in NFD."""
    receiver = job.sheet.receiver
    if not receiver.id or len(receiver.id) < SHORTEST_MASKED:
        return lambda text: text
    forms = [unicodedata.normalize(form, receiver.id) for form in ("NFC", "NFD", "NFKC")]
    spelled = {re.escape(part) for one in (receiver.id, *forms) for part in (one, html.escape(one, quote=False))}
    bare = [character for character in receiver.id if character.isalnum()]
    if len(bare) >= SHORTEST_MASKED:
        between = _BETWEEN_DIGITS if "".join(bare).isdecimal() else _BETWEEN
        spelled.add(rf"(?<![^\W_]){between.join(map(re.escape, bare))}(?![^\W_])")
    pattern = re.compile("|".join(sorted(spelled)), re.IGNORECASE)
    masked = receiver.masked_id
    return lambda text: pattern.sub(masked, text)


def cleaned(part: Any, clean: Clean) -> Any:
    """A drawing with every text in it masked."""
    if isinstance(part, str):
        return clean(part)
    if isinstance(part, dict):
        return {key: cleaned(value, clean) for key, value in part.items()}
    return [cleaned(value, clean) for value in part] if isinstance(part, (list, tuple)) else part


def template_environment(clean: Clean) -> Environment:
    """The templates of this room; what they print is masked by `clean`, and they may tell texts of the catalogue."""

    def finalize(value: Any) -> Any:
        """Mask what a template prints; what is safe already (styles, script, drawings) passes."""
        if isinstance(value, Markup) or not isinstance(value, str):
            return value
        return escape(clean(value))

    environment = Environment(
        loader=PackageLoader("satdiag.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=finalize,
    )
    environment.policies["json.dumps_kwargs"] = {"allow_nan": False, "sort_keys": False, "ensure_ascii": False}
    environment.globals |= {"tell": tell, "tell_many": tell_many, "translated": translated, "html_lang": html_lang}
    environment.tests["numeric_in"] = lambda head, table: head in table.numeric
    return environment


def html_lang() -> str:
    """The language in use as HTML names it (BCP 47); English is written as in Great Britain."""
    return "en-GB" if spoken() == "en" else spoken()


def script_safe(script: str) -> str:
    """A script that cannot close its own element."""
    return re.sub(r"</(?=script)", r"<\\/", script, flags=re.IGNORECASE)
