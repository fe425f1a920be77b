"""A report of more channels and rows than a page can hold: the first stand there, and where the rest is."""

from __future__ import annotations

import json
import re

import pytest

from satdiag.language import speaking
from satdiag.report import appendix, fill_in_marks, report_html, tables
from satdiag.report.local_time import local_time_of
from satdiag.report.page import masker
from satdiag.report.sections import _few
from tests.report import made


@pytest.fixture
def narrow(monkeypatch):
    """As if a page could hold 20 channels of a state and 40 rows."""
    monkeypatch.setattr(tables, "LISTED", 20)
    monkeypatch.setattr(appendix, "MOST_ROWS", 40)


def test_of_many_channels_the_first_are_listed_and_the_page_says_so(narrow):
    """As made: 61 that play, 76 that are refused, 5 others."""
    groups = {group.words: group for group in tables.channel_groups(made.full_findings().entitlement, None)}
    assert [len(group.table.rows) for group in groups.values() if group.count > 20] == [20, 20]
    assert sum(group.count for group in groups.values()) == 142
    page = report_html(made.full_job(), made.full_findings())
    assert "The first 20 of 76 channels are listed" in page
    assert "The first 20 of 61 channels are listed" in page
    assert page.count("channels are listed") == 2


def test_of_a_very_long_log_the_first_and_the_last_rows_stand_in_the_page(narrow):
    job = made.full_job()
    count = len(job.rows)
    assert count > 100
    found = appendix.appendix_of(job, local_time_of(job), masker(job))
    assert found is not None
    assert (len(found.rows), found.all) == (40, count)
    subjects = [row[1] for row in found.rows]
    assert subjects == [row.subject for row in (*job.rows[:20], *job.rows[count - 20 :])]
    page = report_html(job, made.full_findings())
    assert f"The log holds {count} rows" in page
    assert "This page has the first and the last 20 of them" in page
    data = re.search(r'id="rows-data">(.*?)</script>', page, re.DOTALL)
    assert data is not None
    assert json.loads(data[1])["all"] == count


def test_an_ordinary_report_leaves_nothing_out():
    page = report_html(made.full_job(), made.full_findings())
    assert "channels are listed" not in page
    assert "This page has the first and the last" not in page


@pytest.mark.parametrize(
    ("language", "said"), [("es", "primeros 20 de 76 canales"), ("fr", "20 premiers canaux sur 76")]
)
def test_it_is_said_in_the_language_of_the_page(narrow, language, said):
    with speaking(language):
        assert said in report_html(made.full_job(), made.full_findings())


def test_of_very_many_channels_that_do_not_play_some_marks_are_drawn_as_tall_as_all(monkeypatch):
    found = made.full_findings().entitlement
    whole = {one["name"]: one for one in fill_in_marks.rest_marks(found, 60.0)}
    most = max(len(one["y"]) for one in whole.values())
    assert most > 10
    monkeypatch.setattr(fill_in_marks, "MOST_MARKS", 10)
    few = {one["name"]: one for one in fill_in_marks.rest_marks(found, 60.0)}
    assert few.keys() == whole.keys()
    for name, one in few.items():
        assert len(one["x"]) == len(one["text"]) == len(one["y"]) == min(10, len(whole[name]["y"]))
        assert (one["y"][0], one["y"][-1]) == (whole[name]["y"][0], whole[name]["y"][-1])
        named = dict(zip(whole[name]["y"], whole[name]["text"], strict=True))
        assert [named[height] for height in one["y"]] == one["text"]
    assert "as tall as the number of channels" in fill_in_marks.rest_words(found)


def test_of_many_channels_that_play_unexpectedly_the_first_are_named():
    assert _few(range(1, 41)).endswith("39, 40")
    assert _few(range(1, 1447)).endswith("39, 40 and others (1446 in all)")
