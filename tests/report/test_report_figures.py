"""Every figure of the samples' reports has words, numbers and safe colours; simulated jobs, real reports.

Colours: Okabe and Ito, "Color Universal Design" (2002, revised 2008), and greys, as `palette` holds them.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import satdiag
from satdiag.report import palette
from satdiag.report.figure import Figure
from satdiag.report.local_time import local_time_of
from satdiag.report.sections import sections_of

SAMPLES = Path(__file__).parents[2] / "sample_logs"
FEW = ("filling", "supply-dropout")
COLOUR = re.compile(r"#[0-9a-fA-F]{3,8}\b|rgba?\([^)]*\)")
SAFE = {value for value in vars(palette).values() if isinstance(value, str) and value.startswith("#")}


def figures_of(sample: str) -> list[Figure]:
    job = satdiag.open_job(SAMPLES / sample)
    sections = sections_of(job, satdiag.analyse(job), local_time_of(job))
    return [figure for section in sections for figure in section.figures]


def texts(part: Any) -> Iterator[str]:
    """Every text of a drawing."""
    if isinstance(part, str):
        yield part
    elif isinstance(part, dict):
        for value in part.values():
            yield from texts(value)
    elif isinstance(part, (list, tuple)):
        for value in part:
            yield from texts(value)


def is_safe(colour: str) -> bool:
    """True of a colour of the palette, thinned out or not, and of a grey."""
    if colour in SAFE:
        return True
    parts = [int(part) for part in re.findall(r"\d+", colour)[:3]] if colour.startswith("rgb") else []
    named = {tuple(int(value[at : at + 2], 16) for at in (1, 3, 5)) for value in SAFE}
    return bool(parts) and (tuple(parts) in named or len(set(parts)) == 1)


def lacks(figure: Figure) -> list[str]:
    """What a figure lacks, in words."""
    found = []
    if not re.search(r"[^.]\.$", figure.caption.strip()) or len(figure.caption) < 40:
        found.append(f"a caption in sentences: {figure.caption}")
    if len(figure.alt) < 40:
        found.append(f"an alternative text: {figure.alt}")
    if not any(table.rows for table in figure.tables):
        found.append("a table with the numbers")
    found += [
        f"a safe colour instead of {one}"
        for one in set(COLOUR.findall(" ".join(texts(figure.spec))))
        if not is_safe(one)
    ]
    return [f"{figure.name} lacks {one}" for one in [*found, *_untitled(figure)]]


def _untitled(figure: Figure) -> list[str]:
    """Axes that do not say what they measure. The bands of a timeline say it above each; clock times need no unit."""
    axes = {name: one for name, one in figure.spec["layout"].items() if re.match(r"[xy]axis", name)}
    banded = figure.name.startswith("timeline")
    return [
        f"a title of its {name}"
        for name, one in axes.items()
        if one.get("visible", True)
        and one.get("type") != "date"
        and not (banded and name.startswith("y"))
        and not one.get("title", {}).get("text")
    ]


@pytest.mark.parametrize("sample", FEW)
def test_every_figure_has_a_caption_words_numbers_units_and_safe_colours(sample):
    figures = figures_of(sample)
    assert len(figures) >= 5
    assert [said for figure in figures for said in lacks(figure)] == []


@pytest.mark.long
@pytest.mark.parametrize("sample", sorted(place.name for place in SAMPLES.iterdir()))
def test_every_figure_of_every_sample_lacks_nothing(sample):
    assert [said for figure in figures_of(sample) for said in lacks(figure)] == []


def test_a_figure_that_lacks_everything_is_found_out():
    bare = Figure("bare", "no sentence", "", {"data": [{"fillcolor": "#ff0000"}], "layout": {"xaxis": {}}}, ())
    assert len(lacks(bare)) == 5
