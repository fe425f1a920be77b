"""The job's own rows in the report: all of them, at the place's time, filtered and sorted by keyboard."""

from __future__ import annotations

import re

import pytest

from satdiag.report import report_html
from satdiag.report.appendix import appendix_of
from satdiag.report.local_time import local_time_of
from satdiag.report.page import masker
from satdiag.rows import Row
from tests.report import made

MANY = 20_000
SHOWN = "document.querySelectorAll('.rows tbody tr').length"


def rows_of(job):
    found = appendix_of(job, local_time_of(job), masker(job))
    assert found is not None
    return found


@pytest.fixture(scope="module")
def page_text() -> str:
    return report_html(made.full_job(), made.full_findings())


@pytest.fixture(scope="module")
def many() -> str:
    """A report with 20,000 rows."""
    levels = [Row(made.at(0.4 * n), "signal", "satellite:east", f"{10 + n % 70 / 10:.1f}", "dB") for n in range(MANY)]
    return report_html(made.full_job(levels=levels), made.full_findings())


# --- what stands in it -------------------------------------------------------------------------------------------


def test_every_row_of_the_log_is_there_in_its_order():
    job = made.full_job()
    found = rows_of(job)
    assert len(found.rows) == len(job.rows)
    clean = masker(job)
    assert [row[1:5] for row in found.rows] == [
        (row.subject, row.kind, clean(row.value), row.unit) for row in job.rows
    ]
    assert sum(row[-1] for row in found.rows) == 1  # the one that was withdrawn


def test_times_are_the_places_own_and_keep_their_milliseconds():
    """14:00:00.25 UTC on 3 May is 09:00:00.25 in Chicago (daylight time, UTC-5: IANA time zone data)."""
    row = Row("2031-05-03T14:00:00.250000Z", "lock", "any", "yes")
    assert rows_of(made.full_job(row)).rows[-1][0] == "2031-05-03 09:00:00.250"


def test_a_row_stands_at_the_place_that_was_named_last():
    sheet = made.SHEET + '\n[[site]]\nname = "road"\nlatitude_deg = 41.0\nlongitude_deg = -87.0\n'
    added = [
        Row(made.at(9000), "lock", "any", "yes"),
        Row(made.at(9010), "site", "vehicle", "road"),
        Row(made.at(9020), "lock", "any", "yes"),
    ]
    found = rows_of(made.full_job(*added, sheet=sheet))
    assert [row[5] for row in found.rows[-3:]] == ["yard", "road", "road"]
    assert found.places == ("road", "yard")


def test_the_identifier_is_masked_in_notes():
    row = Row(made.at(9000), "note", "", "seen", note=f"the screen shows {made.RECEIVER_ID}")
    assert made.RECEIVER_ID not in str(rows_of(made.full_job(row)).rows)


def test_a_job_without_rows_has_no_such_table():
    job = made.bare_job()
    assert appendix_of(job, local_time_of(job), masker(job)) is None


# --- in the browser ----------------------------------------------------------------------------------------------


def _status(page) -> str:
    return page.inner_text("#rows-status")


def _column(page, number: int) -> list[str]:
    return page.eval_on_selector_all(f".rows tbody tr td:nth-child({number})", "all => all.map(one => one.innerText)")


def test_rows_are_filtered_sorted_and_turned_by_keyboard_alone(seen, page_text):
    total = len(made.full_job().rows)
    page, complaints = seen(page_text)
    assert _status(page) == f"Rows 1 to 50 of {total:,} that fit; the log has {total:,}."
    page.focus("#rows-on")
    page.keyboard.press("Enter")
    assert _status(page).startswith("Rows 51 to 100 of")
    page.focus("#rows-kind")
    page.keyboard.type("channel")
    channels = sum(row.kind == "channel" for row in made.full_job().rows)
    assert _status(page) == f"Rows 1 to {min(50, channels)} of {channels} that fit; the log has {total:,}."
    assert set(_column(page, 3)) == {"channel"}
    head = page.locator(".rows th").nth(1)
    head.locator("button").focus()
    page.keyboard.press("Space")
    assert head.get_attribute("aria-sort") == "ascending"
    numbers = [int(text) for text in _column(page, 2)]
    assert numbers == sorted(numbers)
    page.keyboard.press("Space")
    assert head.get_attribute("aria-sort") == "descending"
    numbers = [int(text) for text in _column(page, 2)]
    assert numbers == sorted(numbers, reverse=True)
    assert page.evaluate("document.activeElement.closest('th') !== null")  # the focus stays where it was
    page.focus("#rows-text")
    page.keyboard.type("nothing holds this")
    page.locator("#rows-status:has-text('No row fits')").wait_for()
    assert _status(page) == f"No row fits; the log has {total:,}."
    assert page.get_attribute("#rows-status", "role") == "status"
    assert complaints == []


def test_twenty_thousand_rows_do_not_freeze_the_page(seen, many):
    """However many there are, only those that are shown are put into the page, after a sort and after a filter.

    Measured on a busy computer of two cores: 30 ms for a sort, 20 ms for a filter beside its wait for the typist.
    """
    page, complaints = seen(many)
    assert page.evaluate(SHOWN) == 50
    page.evaluate("""() => {
      window.put = 0;
      const count = (told) => told.forEach((one) => one.addedNodes.forEach((node) => {
        window.put += 1 + (node.querySelectorAll?.("*").length ?? 0);
      }));
      new MutationObserver(count).observe(document.body, { childList: true, subtree: true });
    }""")
    nodes = page.evaluate("document.querySelectorAll('.rows tbody *').length")
    page.evaluate("document.querySelectorAll('.rows th button')[3].click()")
    assert 50 <= page.evaluate("window.put") < 3 * nodes
    page.evaluate("window.put = 0")
    page.fill("#rows-text", "11.3")
    page.locator("#rows-status", has_text=re.compile(r"of (\d{1,3}|\d,\d{3}) that fit")).wait_for()
    assert 50 <= page.evaluate("window.put") < 3 * nodes
    assert complaints == []


def test_the_printer_gets_a_stated_number_of_rows(seen, many):
    page, _ = seen(many)
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    assert page.evaluate(SHOWN) == 200
    assert _status(page).startswith("Printed here: 200 of 20,")
    assert _status(page).endswith("The job file holds all of them.")
    page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    assert page.evaluate(SHOWN) == 50


def test_without_scripts_the_first_rows_stand(chromium, many, tmp_path):
    place = tmp_path / "report.html"
    place.write_text(many, encoding="utf-8")
    context = chromium.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(place.as_uri())
    assert page.evaluate(SHOWN) == 50
    assert not page.is_visible("#rows-text")
    assert _status(page).startswith("Without scripts the first 50 of 20")
    context.close()
