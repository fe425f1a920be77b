"""The sentences of the fill-in and its figure on the page, from the real application over a simulated job.

Simulated data: they prove the way from rows to the page only.
"""

from __future__ import annotations

from satdiag.job import build_job
from satdiag.opening import open_job
from satdiag.simulate import make_job, write_job
from satdiag.store import create_job_file
from tests.live.browser.real import Laptop, live

OPENED = "() => document.querySelector('#came-in-figure .main-svg') !== null"


def test_the_sentences_stand_there_and_the_figure_is_drawn_when_it_is_opened(tmp_path, phone):
    write_job(make_job("filling", 1), tmp_path / "demo")
    job = open_job(tmp_path / "demo")
    create_job_file(tmp_path / "demo.satjob", build_job(job.documents, job.rows, job.header))
    with Laptop(tmp_path / "demo.satjob") as laptop:
        page, complaints = phone(color_scheme="dark", viewport={"width": 390, "height": 844})
        page.goto(laptop.link)
        live(page)
        page.wait_for_selector("#told li:has-text('channels in the package')")
        assert page.query_selector("#came-in-figure .main-svg") is None
        page.click("#came-in summary")
        page.wait_for_function(OPENED)
        said = page.inner_text("#came-in-said")
        assert said.startswith("Line chart of channels that play over listening time.")
        names = page.eval_on_selector_all("#came-in-figure .legendtext", "all => all.map(one => one.textContent)")
        assert "step estimate" in names
        assert any(name.startswith("expected, 90") for name in names)
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        line = page.eval_on_selector("#came-in-figure .legendlines path", "one => getComputedStyle(one).stroke")
        assert line.startswith("rgb")
        assert complaints == []
