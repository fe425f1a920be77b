"""The page in Spanish and in French: nothing of it is English, nothing is cut, and the choice outlives a reload.

The page is the real one from the real server. Whether a translation is a good one is not proved here.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from pathlib import Path
from shutil import copy
from typing import Any

import pytest
from babel import Locale

from satdiag.job import build_job
from satdiag.language import forms_of
from satdiag.opening import open_job
from satdiag.simulate import make_job, write_job
from satdiag.store import create_job_file
from tests.live.browser.real import Laptop, go_to, live, saved, shoot, until, view, waiting
from tests.live.browser.test_live_axe import UNFOLD, states, until_now, violations

NARROW = {"viewport": {"width": 360, "height": 780}, "has_touch": True, "is_mobile": True}
OTHERS = ("verdict", "sky", "wiring", "handover", "more")
ENGLISH = re.compile(r"(?<![\w-])(the|and|is|of|not|was|with|for|from|this|that)(?![\w-])", re.IGNORECASE)
"""Words that stand in nearly every English sentence, and in none that is Spanish or French."""

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="it ends the server with a signal of POSIX")

READ_OR_HEARD = """() => {
  const marked = "[aria-label], [placeholder], [title], [alt]";
  const names = ["aria-label", "placeholder", "title", "alt"];
  const heard = [...document.querySelectorAll(marked)].filter((one) => one.checkVisibility());
  return [document.title, ...document.body.innerText.split("\\n"),
    ...heard.flatMap((one) => names.map((name) => one.getAttribute(name) ?? ""))];
}"""
COUNTED = """() => import("/static/words.js").then(({ tn }) =>
  [0, 1, 2, 11].map((n) => tn("one channel", "{n} channels", n)))"""
CUT = """() => [...document.querySelectorAll("button, label")].flatMap((key) => {
  if (!key.checkVisibility()) return [];
  const word = document.createRange();
  word.selectNodeContents(key);
  const [inner, outer] = [word.getBoundingClientRect(), key.getBoundingClientRect()];
  const fits = inner.left > outer.left - 1 && inner.right < outer.right + 1 && inner.bottom < outer.bottom + 1;
  return fits ? [] : [[key.textContent, inner.width, outer.width]];
})"""


@pytest.fixture(scope="module")
def filled(tmp_path_factory) -> Path:
    """The job file of a simulated job that has everything in it."""
    place = tmp_path_factory.mktemp("filled")
    write_job(make_job("filling", 1), place / "demo")
    job = open_job(place / "demo")
    create_job_file(place / "demo.satjob", build_job(job.documents, until_now(job.rows), job.header))
    return place / "demo.satjob"


@pytest.fixture
def laptop(filled, tmp_path) -> Iterator[Laptop]:
    """A server of a copy of that job."""
    with Laptop(Path(copy(filled, tmp_path))) as served:
        yield served


@pytest.mark.parametrize("language", ["fr", pytest.param("es", marks=pytest.mark.long)])
def test_every_view_is_in_the_language_and_fits_a_narrow_screen(phone, laptop, language):
    stands = {"geolocation": {"latitude": 41.2, "longitude": -96.1}, "permissions": ["geolocation"]}
    page, complaints = phone(**NARROW, **stands, locale=language, reduced_motion="reduce")
    page.goto(laptop.url)
    assert page.evaluate("document.documentElement.lang") == language
    wrong = []
    for name in every_state(page, laptop):
        page.evaluate(UNFOLD)
        shoot(page, f"{language} {name}", "light", 360)
        said = page.evaluate(READ_OR_HEARD)
        assert len(said) > 10
        wrong += [(name, "English", text) for text in said if ENGLISH.search(text)]
        wrong += [(name, "cut", one) for one in page.evaluate(CUT)]
        if (width := page.evaluate("document.documentElement.scrollWidth")) > 360:
            wrong.append((name, "wide", width))
        if name in ("channels", "byhand"):
            wrong += [(name, "axe", one) for one in violations(page)]
    assert not wrong, "\n".join(map(str, wrong))
    forms, rule = forms_of("one channel", "{n} channels", language), Locale(language).plural_form
    assert page.evaluate(COUNTED) == [forms[rule(n) != "one"].format(n=n) for n in (0, 1, 2, 11)]  # CLDR, by Babel
    assert page.evaluate("import('/static/words.js').then(({ figure }) => figure(1234.5, 2))") == "1234,50"
    assert complaints == []


def every_state(page: Any, laptop: Laptop) -> Iterator[str]:
    """Every view and every dialog, those of a vehicle that moves last; each with a name."""
    for name in states(page, laptop):
        if name == "now":  # an analysis from before the page was opened is in English
            page.wait_for_selector("#told li")
            until(
                lambda: not ENGLISH.search(page.inner_text("#view-now") + page.inner_text("#said")),
                page,
                what="the analysis",
            )
            for other in OTHERS:
                go_to(page, other)
                until(lambda other=other: page.evaluate("document.body.dataset.view") == other, page, what=other)
                page.wait_for_timeout(300)  # what a view asks of the laptop
                yield other
            go_to(page, name)
        yield name


def test_the_language_is_chosen_under_more_and_kept_with_what_waits(phone, laptop):
    page, complaints = phone(**NARROW)
    page.goto(laptop.link)
    live(page)
    assert page.evaluate("document.documentElement.lang") == "en"
    page.route("**/taps", lambda route: route.abort())
    view(page, "byhand")
    page.click("[data-enter='place vehicle canopy']")
    page.click("[data-enter='audio output muted']")
    until(lambda: waiting(page) == 2, page, what="two taps wait")
    view(page, "more")
    with page.expect_navigation():
        page.click("#languages [data-language=es]")
    live(page)
    assert page.evaluate("document.documentElement.lang") == "es"
    assert page.get_attribute("#languages [data-language=es]", "aria-pressed") == "true"
    assert waiting(page) == 2
    page.wait_for_selector("#entries li:has-text('lugar: bajo árboles')", state="attached")
    page.unroute("**/taps")
    saved(page)
    page.reload()
    live(page)
    assert page.evaluate("document.documentElement.lang") == "es"
    view(page, "byhand")
    page.wait_for_selector("#entries li:has-text('sonido: en silencio')")
    assert [row.value for row in open_job(laptop.place).rows[-2:]] == ["canopy", "muted"]
    assert complaints == []
