"""The comparison of two jobs as a page: the verdict, each measure with its interval, the faults before and after."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from satdiag.acceptance.compare_document import Comparison, Item
from satdiag.acceptance.compare_words import FAULT_STATES, STATES
from satdiag.diagnosis.wording import percent
from satdiag.errors import SatdiagError
from satdiag.findings import Instant
from satdiag.job import Job
from satdiag.language import moment_text, spoken, tell, tell_many, translated
from satdiag.report import palette
from satdiag.report.local_time import LocalTime, local_time_of, parse_instant
from satdiag.report.page import Clean, masker, template_environment
from satdiag.report.placing import check_place, replace_file

COLOURS = {name: getattr(palette, name) for name in ("INK", "FAINT", "GRID", "PAPER", "BLUE", "VERMILLION")}


@dataclass(frozen=True)
class Bar:
    """An interval on a scale of percent from left to right; `none` is where no change lies."""

    left: float
    width: float
    at: float
    none: float
    alt: str


@dataclass(frozen=True)
class Line:
    """One measure as it is drawn."""

    item: Item
    said: str
    bar: Bar | None


def write_comparison(path: str | os.PathLike[str], jobs: tuple[Job, Job], found: Comparison) -> None:
    """Write the page, over an older page if there is one. Raises SatdiagError."""
    place = Path(path).resolve()
    try:
        check_place(place)
        replace_file(place, comparison_html(jobs, found).encode())
    except OSError as error:
        why = error.strerror or str(error)
        raise SatdiagError(
            f"{place}: the page cannot be written ({why}). Nothing was changed there; name another place."
        ) from None


def comparison_html(jobs: tuple[Job, Job], found: Comparison) -> str:
    """The page as one HTML text that needs nothing but itself, without any script. Identifiers are masked."""
    cleans = [masker(job) for job in jobs]

    def clean(text: str) -> str:
        return cleans[1](cleans[0](text))

    template = template_environment(clean).get_template("compare.html.j2")
    template.globals.update(tell=tell, tell_many=tell_many)
    locals_ = [local_time_of(job) for job in jobs]
    return template.render(
        language=spoken(),
        found=found,
        head=_head(found),
        title=_title(found),
        sides=[_side(found, number, locals_[number], clean) for number in (0, 1)],
        lines=[Line(item, translated(STATES[item.state]), bar_of(item)) for item in found.items],
        faults=[
            (one.title, percent(one.before), percent(one.after), translated(FAULT_STATES[one.state]))
            for one in found.faults
        ],
        light=COLOURS,
        palette=palette,
    )


def _title(found: Comparison) -> str:
    a, b = found.before, found.after
    if a.visit is None or b.visit is None:
        return tell("Comparison of job {before} with job {after}", before=a.job, after=b.job)
    named = {"before": a.visit, "after": b.visit, "job": a.job}
    return tell("Comparison of visit {before} with visit {after} of job {job}", **named)


def _head(found: Comparison) -> str:
    heads = {
        "repaired": tell("Repaired"),
        "better, not repaired": tell("Better, not shown to be repaired"),
        "worse": tell("Worse"),
        "no change seen": tell("No change seen"),
        "cannot tell": tell("Cannot tell"),
    }
    return heads[found.state]


def _side(found: Comparison, number: int, local: LocalTime, clean: Clean) -> dict[str, str]:
    side = (found.before, found.after)[number]
    return {
        "name": tell("Before") if number == 0 else tell("After"),
        "visit": "" if side.visit is None else str(side.visit),
        "job": side.job,
        "from": _moment(side.from_, local),
        "to": _moment(side.to, local),
        "zone": clean(local.sentence),
        "verdict": clean(side.verdict),
    }


def _moment(instant: Instant | None, local: LocalTime) -> str:
    return tell("not known") if instant is None else moment_text(local.wall(parse_instant(instant)))


def bar_of(item: Item) -> Bar | None:
    """Where the interval lies on a scale that holds no change, the margin on either side, and the interval."""
    if item.effect is None or item.effect_90 is None or item.margin is None or item.kind == "ratio":
        return None
    low, high = item.effect_90
    if low is None or high is None:
        return None
    none = 0.5 if item.kind == "rank" else 0.0
    reach = max(abs(low - none), abs(high - none), item.margin) * 1.1
    scale = 100.0 / (2.0 * reach)

    def place(value: float) -> float:
        return round((value - none + reach) * scale, 2)

    width = max(place(high) - place(low), 0.8)
    return Bar(place(low), round(width, 2), place(item.effect), 50.0, item.effect_text)
