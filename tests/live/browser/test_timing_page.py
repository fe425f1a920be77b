"""The card of the view 'Change timing' on the real server: dots, median, range and words are those of the findings.

The times are the tests' own; that the findings are right is proved where they are made (tests/tuning).
"""

from __future__ import annotations

import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from satdiag.analysis import analyse
from satdiag.findings import TuningFindings
from satdiag.job import Job, build_job
from satdiag.language import speaking
from satdiag.live.views import view_of
from satdiag.opening import open_job
from satdiag.rows import Row
from satdiag.store import create_job_file
from tests.live.browser.real import PHONE, Laptop, live, saved, shoot, view
from tests.live.browser.test_live_axe import violations

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="it ends the server with a signal of POSIX")

SHEET = b'[job]\nid = "demo-times"\nvehicle = "demo van"\n[receiver]\nid = "DEMO00042"\nantenna_lead = "single"\n'
QUICK = (1.4, 1.5, 1.5, 1.6, 1.6, 1.7, 1.8, 1.9)
"""Times to the sound at the visit before, in seconds."""
SLOW = (3.4, 3.9, 4.1, 4.4, 5.2, 6.0, 3.6)
GIVEN_UP_S = 30.0
LOST = 2
LOOKS = [(360, "light"), (390, "dark"), (1280, "light"), (360, "dark"), (390, "light"), (1280, "dark")]


def changes(begun: datetime, times: tuple[float, ...], lost: int) -> list[Row]:
    """The rows of changes, a minute apart: sound, title a second later; and changes given up."""
    rows = []

    def add(number: int, after_s: float, value: str) -> None:
        at = begun + timedelta(seconds=60 * number + after_s)
        rows.append(Row(f"{at:%Y-%m-%dT%H:%M:%S.%f}Z", "tune", str(11 + number), value))

    for number, time_s in enumerate(times):
        add(number, 0.0, "requested")
        add(number, time_s, "audio")
        add(number, time_s + 1.0, "title")
    for number in range(len(times), len(times) + lost):
        add(number, 0.0, "requested")
        add(number, GIVEN_UP_S, "abandoned")
    return rows


def job_of(*visits: tuple[tuple[float, ...], int]) -> Job:
    """A job of several visits a day apart, the last one an hour ago."""
    first = datetime.now(UTC) - timedelta(hours=1, days=len(visits) - 1)
    rows = [row for n, (times, lost) in enumerate(visits) for row in changes(first + timedelta(days=n), times, lost)]
    return build_job({"job.toml": SHEET}, rows)


def told_of(job: Job) -> tuple[dict[str, Any], TuningFindings]:
    """What the view tells, and the findings that it tells of."""
    findings = analyse(job)
    return view_of("timing", job, findings), findings.tuning


def test_two_visits_are_told_side_by_side_with_the_figures_of_the_findings():
    told, found = told_of(job_of((QUICK, 0), (SLOW, LOST)))
    assert found.audio_s is not None
    assert found.earlier_visit is not None
    judged, before = told["groups"]
    audio, title = judged["rows"]
    assert (audio["median"], (audio["low"], audio["high"])) == (found.audio_s.median, found.audio_s.median_90)
    # The 5th of 9 in order, two of them later than all others: by hand.
    assert audio["median"] == 4.4
    assert audio["times"] == [*((time, True) for time in sorted(SLOW)), *([(GIVEN_UP_S, False)] * LOST)]
    assert [row["mark"] for row in before["rows"]] == ["audio"]
    assert before["rows"][0]["median"] == 1.6  # the 4th of 8, by hand
    assert title["median"] == 5.4
    assert told["state"] == "slow"
    assert found.earlier_visit.state == "slower"
    assert found.earlier_visit.text in " ".join([*told["said"], told["beside"]])
    assert told["end_s"] >= max(SLOW) + 1.0


def test_what_is_not_known_is_not_drawn():
    told, _ = told_of(job_of(((), 3)))
    assert (told["state"], told["head"]) == ("none", "No sound came yet.")
    assert [row["median"] for group in told["groups"] for row in group["rows"]] == [None]
    told, _ = told_of(build_job({"job.toml": SHEET}, [Row("2031-05-03T08:00:00Z", "place", "vehicle", "street")]))
    assert (told["groups"], told["line_s"], told["head"]) == ([], None, "No change was timed yet.")


def test_few_changes_of_two_visits_are_joined_and_each_visit_is_shown_by_itself():
    told, found = told_of(job_of((QUICK, 0), ((1.5, 1.7), 0)))
    assert [group["title"] for group in told["groups"]][:2] == ["All visits together", "The last visit alone"]
    assert found.audio_s is not None
    assert [len(group["rows"][0]["times"]) for group in told["groups"]] == [found.audio_s.n, 2, len(QUICK)]
    with speaking("fr"):
        assert view_of("timing", job_of((QUICK, 0)), analyse(job_of((QUICK, 0))))["head"]


def test_a_conflict_is_not_called_normal():
    told, found = told_of(job_of(((*(1.5,) * 12, *(9.0,) * 30), 0)))
    assert found.stop is not None
    assert found.stop.state == "normal"
    assert found.p_slow is not None
    assert found.p_slow > 0.5
    assert told["head"] == "The first changes and all together do not agree."


@pytest.fixture
def laptop(tmp_path: Path) -> Any:
    """`satdiag live` on two visits."""
    create_job_file(tmp_path / "demo.satjob", job_of((QUICK, 0), (SLOW, LOST)))
    with Laptop(tmp_path / "demo.satjob") as made:
        yield made


DRAWN = """() => [...document.querySelectorAll('#delays .delay-strip')].map((one) => {
  const x = (mark) => mark.getBoundingClientRect();
  const [box, floor] = [one.getBoundingClientRect(), one.querySelector('.delay-floor').getBoundingClientRect()];
  const share = (mark) => (x(mark).left + x(mark).width / 2 - floor.left) / floor.width;
  return { alt: one.getAttribute('aria-label'), dots: [...one.querySelectorAll('.delay-dot')].map(share),
    wide: floor.width,
    open: one.querySelectorAll('.delay-open').length, median: share(one.querySelector('.delay-median')),
    inside: [...one.querySelectorAll('circle')].every((dot) => x(dot).top >= box.top - 1) };
})"""


def test_the_card_is_drawn_as_it_was_told(phone, laptop):
    told, found = told_of(open_job(laptop.place))
    assert found.stop is not None
    page, complaints = phone(**PHONE, reduced_motion="reduce")
    page.goto(laptop.link)
    live(page)
    view(page, "timing")
    page.wait_for_selector("#delays .delay-strip")
    assert page.inner_text("#delays .state-word") == "▲ Changes are slow."
    rows = [row for group in told["groups"] for row in group["rows"]]
    for drawn, row in zip(page.evaluate(DRAWN), rows, strict=True):
        assert drawn["alt"] == row["alt"]
        assert drawn["inside"]
        came = sorted(time for time, did in row["times"] if did)
        assert sorted(drawn["dots"]) == pytest.approx([time / told["end_s"] for time in came], abs=2 / drawn["wide"])
        assert drawn["open"] == len(row["times"]) - len(came)
        assert drawn["median"] == pytest.approx(row["median"] / told["end_s"], abs=2 / drawn["wide"])
    page.locator("#delays details summary").first.click()
    assert "3.4; 3.6; 3.9" in page.inner_text("#delays .delay-table")
    assert complaints == []


@pytest.mark.long
def test_the_card_follows_what_is_timed(phone, laptop):
    page, complaints = phone(**PHONE, reduced_motion="reduce")
    page.goto(laptop.link)
    live(page)
    view(page, "timing")
    page.wait_for_selector("#delays .delay-strip[aria-label*='9 changes']")
    page.fill("#tune-number", "40")
    page.locator("#changed").tap()
    page.locator("[data-sign=audio]").tap()
    saved(page)
    page.locator("#delays .delay-strip[aria-label*='10 changes']").first.wait_for()
    assert complaints == []


@pytest.mark.long
@pytest.mark.parametrize(("width", "scheme"), LOOKS)
@pytest.mark.parametrize("language", ["en", "es", "fr"])
def test_the_card_fits(phone, laptop, width, scheme, language):
    page, complaints = phone(viewport={"width": width, "height": 844}, color_scheme=scheme, locale=language)
    page.goto(laptop.link)
    live(page)
    view(page, "timing")
    page.wait_for_selector("#delays .delay-strip")
    shoot(page, f"timing-{language}", scheme, width)
    page.evaluate("() => { for (const one of document.querySelectorAll('main details')) one.open = true; }")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert violations(page) == []
    assert complaints == []
