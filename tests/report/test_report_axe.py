"""The report breaks no rule of WCAG 2.2 A and AA that a program can check, on a desk and on a telephone.

Checked by axe-core (Deque, MPL-2.0, as axe-playwright-python ships it), with its rules of good practice besides. What
a program cannot check (whether a word is understood, whether an order makes sense) is not proved here.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

import satdiag
from satdiag.language import LANGUAGES, speaking
from satdiag.report import report_html
from tests.report import made

SAMPLES = Path(__file__).parents[2] / "sample_logs"
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22a", "wcag22aa", "best-practice"]
RUN = """async (tags) => {
  for (const one of document.querySelectorAll("details")) one.open = true;
  const found = await axe.run(document, { runOnly: { type: "tag", values: tags }, resultTypes: ["violations"] });
  return found.violations.map((one) => [one.id, one.help, one.nodes.map((node) => node.html.slice(0, 200))]);
}"""


def violations(page: Any) -> list[Any]:
    """What axe-core finds wrong with a page, all of it unfolded: the rule, what it asks, and the elements."""
    from axe_playwright_python.sync_playwright import Axe

    page.evaluate(Axe().axe_script)
    return list(page.evaluate(RUN, TAGS))


def test_a_page_with_pale_text_and_a_button_without_a_name_is_found_out(chromium):
    page = chromium.new_page()
    page.set_content(
        "<html lang=en><title>t</title><main><h1>t</h1><button></button><p style='color:#aaa'>pale</main>"
    )
    assert {rule for rule, *_ in violations(page)} >= {"button-name", "color-contrast"}
    page.close()


@pytest.mark.parametrize(("scheme", "width"), [("light", 390), pytest.param("dark", 1280, marks=pytest.mark.long)])
def test_the_fullest_report_breaks_no_rule(seen, scheme, width):
    page, complaints = seen(report_html(made.full_job(), made.full_findings()), width, scheme)
    assert violations(page) == []
    assert complaints == []


@pytest.mark.long
@pytest.mark.parametrize("sample", sorted(place.name for place in SAMPLES.iterdir()))
def test_the_report_of_every_sample_breaks_no_rule(seen, sample):
    job = satdiag.open_job(SAMPLES / sample)
    for language, (scheme, width) in zip(LANGUAGES, [("light", 1280), ("dark", 390), ("light", 390)], strict=True):
        with speaking(language):
            text = report_html(job, satdiag.analyse(job))
        page, complaints = seen(text, width, scheme)
        assert violations(page) == []
        assert complaints == []
