"""Views that follow what the laptop tells: another job, or something that was learnt meanwhile."""

from __future__ import annotations

import satdiag
from satdiag.live.views import view_of
from tests.helpers import make_job
from tests.live.browser.real import live, view
from tests.live.browser.serving import Kept


def test_an_identifier_that_is_entered_later_can_be_ticked_without_loading_the_page_anew(opened):
    paper = {"what": "provider", "title": "Demo letter", "purpose": "", "forms": ["html"], "inside": "", "notes": []}
    kept = Kept(views={"handover": {"papers": [{**paper, "full_id": False}], "number": 1}})
    kept.state["analysis"] = 1
    page, _ = opened(kept)
    live(page)
    view(page, "handover")
    page.wait_for_selector(".paper[data-what=provider]")
    assert page.locator(".paper input[type=checkbox]").count() == 0
    with kept.lock:
        kept.views["handover"] = {"papers": [{**paper, "full_id": True}], "number": 2}
        kept.state["analysis"], kept.changes = 2, kept.changes + 1
    page.wait_for_selector(".paper input[type=checkbox]")
    assert page.locator(".paper").count() == 1


def test_of_another_job_that_has_no_analysis_yet_nothing_of_the_one_before_is_shown(opened):
    job = make_job("0:00 ring bus open\n0:01 bias voltage 0 V\n0:02 bias current 0 mA")
    kept = Kept(views={"wiring": {**view_of("wiring", job, satdiag.analyse(job)), "number": 1}})
    kept.state.update(analysis=1)
    kept.state["sheet"]["receiver"]["antenna_lead"] = "single"
    page, complaints = opened(kept)
    live(page)
    view(page, "wiring")
    page.wait_for_selector("#wiring-feed .word[data-state]:not([data-state=''])")
    with kept.lock:
        kept.views["wiring"] = {"number": 0}
        kept.state.update(job="demo-other", analysis=0)
        kept.changes += 1
    page.wait_for_selector("#wiring-checks", state="hidden")
    assert page.inner_text("#wiring-feed .word") == ""
    assert page.locator("#view-wiring .state-word:visible").count() == 0
    assert page.get_by_role("button", name="Voltage (V)").first.is_visible()  # entries can be made already
    assert complaints == []
