"""What stands around is entered on the view 'Sky' of the real page, and the next analysis reckons with it."""

from __future__ import annotations

from satdiag.store import read_job_file
from tests.live.browser.real import PHONE, live, until, view
from tests.live.browser.test_events_page import Here
from tests.live.rigs import new_job


def test_edges_are_entered_with_either_decimal_sign_and_taken_out_again(phone, tmp_path):
    place = new_job(tmp_path / "demo.satjob")
    page, complaints = phone(**PHONE)
    with Here(place, 0.2) as served:
        page.goto(served.link())
        live(page)
        view(page, "sky")
        page.wait_for_selector("#skyline-azimuth")
        list_ = page.locator(".readings li")
        for azimuth, height, count in (("120", "25", 1), ("87,5", "10.5", 2)):
            page.fill("#skyline-azimuth", azimuth)
            page.fill("#skyline-elevation", height)
            page.get_by_role("button", name="Add this edge").tap()
            until(lambda count=count: list_.count() == count, page, what="the edge")
        assert list_.all_inner_texts()[0].startswith("87.5° (east): 10.5° high")
        page.fill("#skyline-azimuth", "north")
        page.fill("#skyline-elevation", "120")
        page.get_by_role("button", name="Add this edge").tap()
        page.wait_for_selector("#skyline-azimuth-wrong:not([hidden])")
        assert "is outside -10 .. 90" in page.inner_text("#skyline-elevation-wrong")
        list_.nth(1).get_by_role("button").tap()
        until(lambda: list_.count() == 1, page, what="taking out")
        drawn = page.locator("#view-sky")
        until(lambda: "No skyline was measured here" not in drawn.inner_text(), page, what="the next analysis")
        assert list_.count() == 1, "the newer analysis tells the same"
    assert [(point.azimuth_deg, point.elevation_deg) for point in read_job_file(place).horizon] == [(87.5, 10.5)]
    assert complaints == []


def test_an_analysis_that_read_the_job_before_a_change_takes_nothing_back(phone, tmp_path):
    page, complaints = phone(**PHONE)

    def of_a_later_time(route):
        answer = route.fetch()
        told = answer.json()
        route.fulfill(json={"readings": [*told["readings"], [200.0, 40.0]], "analysis": told["analysis"] + 1_000_000})

    with Here(new_job(tmp_path / "demo.satjob"), 0.2) as served:
        page.goto(served.link())
        live(page)
        view(page, "sky")
        page.wait_for_selector("#skyline-azimuth")
        page.route("**/skyline", of_a_later_time)
        page.fill("#skyline-azimuth", "120")
        page.fill("#skyline-elevation", "25")
        page.get_by_role("button", name="Add this edge").tap()
        list_, drawn = page.locator(".readings li"), page.locator("#view-sky")
        until(lambda: list_.count() == 2, page, what="the edges")
        until(lambda: "No skyline was measured here" not in drawn.inner_text(), page, what="the next analysis")
        assert list_.count() == 2, "that analysis knows one edge, and counts as older than the change"
        page.unroute("**/skyline")
        list_.nth(0).get_by_role("button").tap()
        until(lambda: list_.count() == 0, page, what="taking out")
    assert complaints == []
