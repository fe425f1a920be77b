"""The report of a fleet as one HTML file that needs nothing but itself: every number is one of the data set's."""

from __future__ import annotations

import os
from pathlib import Path

from jinja2 import ChoiceLoader, PackageLoader
from markupsafe import Markup
from plotly.offline import get_plotlyjs

from satdiag import __version__
from satdiag.errors import SatdiagError
from satdiag.fleet.report_counts import classes_section, counted, first_and_last, jobs_section
from satdiag.fleet.report_data import Fleet, fleet_in
from satdiag.fleet.report_outliers import outliers_section
from satdiag.fleet.report_times import times_section
from satdiag.fleet.report_truth import truth_section
from satdiag.language import date_text, mark, tell, tell_many, translated
from satdiag.report import palette
from satdiag.report.page import script_safe, template_environment
from satdiag.report.placing import check_place, replace_file
from satdiag.report.section import Section

COLOURS = {name: getattr(palette, name) for name in ("INK", "FAINT", "GRID", "PAPER", "BLUE", "VERMILLION")}

METHOD = (
    mark("All intervals hold 90 %. Those of shares are Wilson's."),
    mark(
        "Times of a job are known with an error, which its own interval on a logarithmic scale tells. "
        "Jobs of a group "
        "scatter about its median by restricted maximum likelihood; medians of groups scatter about one of all. "
        "“Drawn towards the others” is what both tell together (empirical Bayes): a group with few jobs moves far, "
        "one with many hardly."
    ),
    mark(
        "The distance between probability and share is the expected calibration error over ten bins of equal width; "
        "what chance gives is found by drawing 1000 times from the stated probabilities."
    ),
    mark(
        "Jobs worth a look are chosen by medians and distances from them. For the fill-in the chance of lying so far "
        "out is worked out for each job by the others of its package, and held to a false discovery rate of 5 % "
        "(Benjamini and Hochberg)."
    ),
)


def write_fleet_report(path: str | os.PathLike[str], directory: Path) -> None:
    """Write the page of the data set in a folder, over an older page if there is one. Raises SatdiagError."""
    place = Path(path).resolve()
    try:
        check_place(place)
        replace_file(place, fleet_html(fleet_in(directory), directory.resolve().name).encode())
    except OSError as error:
        why = error.strerror or str(error)
        raise SatdiagError(f"{place}: the page cannot be written ({why}). Nothing was changed there.") from None


def fleet_html(fleet: Fleet, name: str) -> str:
    """The page as HTML text, in the language in use. `name`: what the data set is called."""
    sections = sections_of(fleet)
    drawings = {figure.name: figure.spec for section in sections for figure in section.figures}
    environment = template_environment(lambda text: text)
    own = PackageLoader("satdiag.fleet")
    environment.loader = ChoiceLoader([own, environment.loader]) if environment.loader is not None else own
    return environment.get_template("fleet.html.j2").render(
        name=name,
        head=_head(fleet),
        facts=_facts(fleet),
        sections=sections,
        method=[translated(text) for text in METHOD],
        drawings=drawings,
        palette=palette,
        light=COLOURS,
        plotly_js=Markup(script_safe(get_plotlyjs())) if drawings else "",
    )


def sections_of(fleet: Fleet) -> list[Section]:
    """All sections, in order."""
    return [
        jobs_section(fleet),
        classes_section(fleet),
        times_section(fleet),
        truth_section(fleet),
        outliers_section(fleet),
    ]


def _head(fleet: Fleet) -> str:
    if not fleet.number:
        return tell("No jobs")
    return tell_many("{count} job", "{count} jobs", fleet.number, count=counted(fleet.number))


def _facts(fleet: Fleet) -> list[tuple[str, str]]:
    first, last = first_and_last(fleet)
    return [
        (tell("Analysed"), counted(len(fleet.jobs))),
        (tell("Could not be analysed"), counted(len(fleet.bad))),
        (tell("Closed by a finding"), counted(len(fleet.closed()))),
        (tell("First day of a log"), tell("not known") if first is None else date_text(first)),
        (tell("Last day of a log"), tell("not known") if last is None else date_text(last)),
        (tell("Version"), f"satdiag {__version__}"),
    ]
