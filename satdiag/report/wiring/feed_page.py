"""A page on the antenna's feed alone, for `satdiag feed --report`."""

from __future__ import annotations

import os
from pathlib import Path

from markupsafe import Markup
from plotly.offline import get_plotlyjs

from satdiag.errors import SatdiagError
from satdiag.job import Job
from satdiag.language import mark, tell, translated
from satdiag.report import palette
from satdiag.report.cautions import CAUTIONS
from satdiag.report.figure import table
from satdiag.report.local_time import LocalTime, local_time_of
from satdiag.report.page import Clean, cleaned, masker, script_safe, template_environment
from satdiag.report.wiring.feed import feed_part
from satdiag.report.wiring.feed_adaptor import adaptor_part
from satdiag.report.wiring.feed_rise import rise_part
from satdiag.report.wiring.part import Part
from satdiag.report.words import sentence
from satdiag.report.writing import check_place, replace_file
from satdiag.wiring.feed import FeedFindings

CAUTION_KEYS = ("feed", "airbag", "driving", "rules")
METHOD = (
    mark(
        "The windows of voltage and current are common practice, scaled to what the job sheet says and narrowed to "
        "what was read while the receiver worked. Chances are those that the accuracy of the readings leaves."
    ),
    mark(
        "The expected rise follows from gain, noise figures, loss and temperatures by the textbook formula for "
        "stages in a row, over the stated range of each; an amplifier without supply is taken as a matched load at "
        "290 K."
    ),
)


def feed_parts(found: FeedFindings, local: LocalTime) -> tuple[Part, ...]:
    """The parts of which something is known."""
    return (
        *((feed_part(found.bias, local),) if found.bias is not None else ()),
        *((rise_part(found.noise_rise, local),) if found.noise_rise is not None else ()),
        *((adaptor_part(found.adaptor),) if found.adaptor is not None else ()),
    )


def write_feed_page(path: str | os.PathLike[str], job: Job, found: FeedFindings) -> None:
    """Write the page over an older one, if there is one. Raises SatdiagError."""
    place = Path(path).resolve()
    try:
        check_place(place)
        replace_file(place, feed_html(job, found).encode())
    except OSError as error:
        why = error.strerror or str(error)
        raise SatdiagError(
            f"{place}: the page cannot be written ({why}). Nothing was changed there; name another place."
        ) from None


def feed_html(job: Job, found: FeedFindings) -> str:
    """The page as one HTML text that needs nothing but itself; the receiver's identifier is masked."""
    clean: Clean = masker(job)
    parts = feed_parts(found, local_time_of(job))
    figures = [figure for part in parts for figure in part.figures]
    summary = table(
        tell("What the feed showed."), (tell("part"), tell("state"), tell("measured")), [part.row for part in parts]
    )
    return (
        template_environment(clean)
        .get_template("feed.html.j2")
        .render(
            job=job.sheet.id,
            summary=summary if parts else None,
            parts=parts,
            could_not=[sentence(text) for text in found.could_not],
            cautions=[caution for caution in CAUTIONS if caution.key in CAUTION_KEYS],
            method=[translated(text) for text in METHOD],
            drawings={figure.name: cleaned(figure.spec, clean) for figure in figures},
            palette=palette,
            light={name: getattr(palette, name) for name in ("INK", "FAINT", "GRID", "PAPER", "BLUE", "VERMILLION")},
            plotly_js=Markup(script_safe(get_plotlyjs())) if figures else "",
        )
    )
