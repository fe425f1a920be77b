"""The page of one sweep of the antenna lead, as one HTML text that needs nothing but itself."""

from __future__ import annotations

import os
from pathlib import Path

from markupsafe import Markup
from plotly.offline import get_plotlyjs

from satdiag.errors import SatdiagError
from satdiag.findings import FeedlineFindings
from satdiag.language import mark, translated
from satdiag.report import palette
from satdiag.report.cautions import CAUTIONS
from satdiag.report.page import Clean, cleaned, script_safe, template_environment
from satdiag.report.wiring.feedline import feedline_part
from satdiag.report.words import sentence
from satdiag.report.writing import check_place, replace_file

SHOWN_CAUTIONS = ("sweep", "feed", "airbag", "rules")
METHOD = (
    mark(
        "The sweep is turned into a reflection against delay behind a Hann window, with zeros added so that a peak "
        "is placed to a millimetre or so. Delay becomes distance by the velocity factor, and its range is the main "
        "uncertainty."
    ),
    mark(
        "Echoes between two places are told by where they must stand and how high they may be; an echo can hide a "
        "small reflection at the same place."
    ),
    mark(
        "The cable's loss comes from published fits for its class, mostly made below 1 GHz. Cables of one class "
        "differ: the ranges span them."
    ),
    mark("Thresholds for what counts as an end, a bad joint or a smear are judgements, not a standard's."),
)


def write_feedline_page(path: str | os.PathLike[str], found: FeedlineFindings, source: str, clean: Clean) -> None:
    """Write the page over an older one if there is one. Raises SatdiagError. `source` names the file or the job."""
    place = Path(path).resolve()
    try:
        check_place(place)
        replace_file(place, feedline_html(found, source, clean).encode())
    except OSError as error:
        why = error.strerror or str(error)
        raise SatdiagError(
            f"{place}: the page cannot be written ({why}). Nothing was changed there; name another place."
        ) from None


def feedline_html(found: FeedlineFindings, source: str, clean: Clean) -> str:
    """The page as one HTML text; `clean` masks what must not be read."""
    part = feedline_part(found)
    return (
        template_environment(clean)
        .get_template("feedline.html.j2")
        .render(
            part=part,
            source=source,
            notes=[sentence(text) for text in found.cautions],
            cautions=[caution for key in SHOWN_CAUTIONS for caution in CAUTIONS if caution.key == key],
            method=[translated(text) for text in METHOD],
            drawings={figure.name: cleaned(figure.spec, clean) for figure in part.figures},
            palette=palette,
            light={name: getattr(palette, name) for name in ("INK", "FAINT", "GRID", "PAPER", "BLUE", "VERMILLION")},
            plotly_js=Markup(script_safe(get_plotlyjs())),
        )
    )
