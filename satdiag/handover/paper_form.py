"""The paper form of a job: channels to tick, readings to write down, channel changes to time. One HTML page to print.

Black on white and large: it is filled in with a pen, in the cold. Every line has the code with which it is typed in
afterwards (see `paper_lines`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import escape

from satdiag import __version__
from satdiag.handover.masking import Clean, cleaner, shown_id
from satdiag.handover.paper_codes import MARK_SIGNS, MARK_WORDS, codes_of
from satdiag.job import Job
from satdiag.language import spoken, tell, translated
from satdiag.report.cautions import CAUTIONS, Caution
from satdiag.report.sheets import SIZES, Paper
from satdiag.tables import LineUpChannel

CAUTION_KEYS = ("driving", "airbag", "garage", "rules")
BLANK_CHANNELS = 32
"""Lines without a number, for a job of which no channel is known."""

READINGS = 3
"""How often each reading can be written down on one form."""

CHANGES = 8


@dataclass(frozen=True)
class Group:
    """The channels of one category: its name (blank: none), and number (blank: to be written) and name of each."""

    name: str
    channels: tuple[tuple[str, str], ...]


def form_html(job: Job, paper: Paper = "a4", full_id: bool = False) -> str:
    """The form as one HTML text that needs nothing but itself, in the language in use."""
    clean = cleaner(job, full_id)
    return (
        _environment(clean)
        .get_template("paper.html.j2")
        .render(
            language={"en": "en-GB"}.get(spoken(), spoken()),
            job=job.sheet.id,
            vehicle=job.sheet.vehicle,
            receiver=shown_id(job, full_id) if job.sheet.receiver.id else tell("not known"),
            zone=next((site.timezone for site in job.sheet.sites if site.timezone), ""),
            size=SIZES[paper],
            groups=groups_of(job),
            marks=[(MARK_SIGNS[key], translated(words)) for key, words in MARK_WORDS.items()],
            codes=codes_of(job),
            readings=range(READINGS),
            changes=range(CHANGES),
            cautions=paper_cautions(),
            version=__version__,
        )
    )


def paper_cautions() -> tuple[Caution, ...]:
    """What stands at the foot of the form, what is most to be feared on the road first."""
    known = {caution.key: caution for caution in CAUTIONS}
    return tuple(known[key] for key in CAUTION_KEYS)


def groups_of(job: Job) -> list[Group]:
    """The channels of the line-up by category, in its order; without one those seen in the log, else blank lines."""
    if job.lineup:
        return list(_by_category(job.lineup))
    log = job.log
    seen = sorted({int(subject) for subject in log["subject"][log["kind"].isin(["channel", "tune"])]})
    if seen:
        return [Group("", tuple((str(channel), "") for channel in seen))]
    return [Group("", (("", ""),) * BLANK_CHANNELS)]


def _by_category(lineup: Sequence[LineUpChannel]) -> Iterator[Group]:
    categories = dict.fromkeys(line.category for line in lineup)
    for category in categories:
        lines = [line for line in lineup if line.category == category]
        yield Group(category, tuple((str(line.channel), line.name) for line in lines))


def _environment(clean: Clean) -> Environment:
    environment = Environment(
        loader=PackageLoader("satdiag.handover"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=lambda value: escape(clean(value)) if type(value) is str else value,
    )
    environment.globals["tell"] = tell
    return environment
