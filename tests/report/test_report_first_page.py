"""The first page: verdict, three reasons, one step and two more, what is open; on one screen, in three languages."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

import satdiag
from satdiag.findings import Evidence, NextTest, Repair
from satdiag.language import LANGUAGES, speaking
from satdiag.report import report_html, words
from satdiag.report.first_page import first_page_of
from satdiag.report.local_time import local_time_of
from tests.report import made
from tests.report.reading import Reader

SAMPLES = Path(__file__).parents[2] / "sample_logs"
FULLEST = ("filling", "indoors")


def page_with(**changes: object):
    """The first page of the full findings with other words of the diagnosis or the verdict."""
    findings = made.full_findings()
    of_verdict = {key: value for key, value in changes.items() if hasattr(findings.verdict, key)}
    of_diagnosis = {key: value for key, value in changes.items() if key not in of_verdict}
    findings = dataclasses.replace(
        findings,
        verdict=dataclasses.replace(findings.verdict, **of_verdict),
        diagnosis=dataclasses.replace(findings.diagnosis, **of_diagnosis),
    )
    job = made.full_job()
    return first_page_of(job, findings, local_time_of(job), technician=False)


def evidence(text: str, weight_db: float, for_: str = "none") -> Evidence:
    return Evidence("item", "state", for_, weight_db, text, strength="strong" if abs(weight_db) > 7 else "slight")


# --- reasons -----------------------------------------------------------------------------------------------------


def test_three_reasons_the_strongest_first():
    given = tuple(evidence(f"reason {n}", float(n)) for n in range(1, 10))
    found = page_with(evidence=given).reasons
    assert found == ("Reason 9 (strong).", "Reason 8 (strong).", "Reason 7 (slight).")


def test_what_speaks_clearly_against_it_is_the_third():
    given = (*(evidence(f"reason {n}", float(n)) for n in range(4, 10)), evidence("the doubt", -3.5))
    assert page_with(evidence=given).reasons == (
        "Reason 9 (strong).",
        "Reason 8 (strong).",
        "Against it: the doubt (slight).",
    )


def test_a_slight_doubt_takes_no_place():
    given = (*(evidence(f"reason {n}", float(n)) for n in range(4, 10)), evidence("the doubt", -2.5))
    assert not any("doubt" in one for one in page_with(evidence=given).reasons)


def test_where_the_verdict_names_no_cause_no_chance_is_given_and_each_reason_says_of_what_it_speaks():
    given = (evidence("some play", 11.0, "partial-package"), evidence("they are scattered", -8.0, "partial-package"))
    undecided = {"state": "cannot-tell", "class_": "subscription", "fault": "partial-package", "probability": 0.17}
    page = page_with(**undecided, evidence=given)
    assert page.sure == "Not sure yet: this log fits more than one answer."
    cause = words.FAULTS["partial-package"]
    assert page.reasons == (
        f"Some play (strong, for “{cause}”).",
        f"They are scattered (strong, against “{cause}”).",
    )


def test_without_evidence_it_says_so():
    assert page_with(evidence=()).reasons == ("Nothing that was logged speaks clearly for it.",)


# --- the verdict in a few words ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("state", "fault", "probability", "head"),
    [
        ("fault", "ring-order", 0.72, "Most likely: wrong order on the ring"),
        ("fault", "ring-order", 0.93, "Wrong order on the ring"),
        ("explained", "partial-package", 0.58, "Most likely nothing to repair"),
        ("explained", "partial-package", 0.95, "Nothing to repair"),
        ("cannot-tell", None, None, "Cannot tell yet"),
    ],
)
def test_what_is_only_likely_is_not_said_as_a_fact(state, fault, probability, head):
    assert page_with(state=state, fault=fault, probability=probability).state == head


# --- steps -------------------------------------------------------------------------------------------------------


def test_the_next_step_is_not_said_again_and_two_more_follow_at_most():
    tests = tuple(NextTest(f"t{n}", 20.0, 8.0, 0.1, f"Do thing {n}.") for n in range(1, 6))
    found = page_with(do_next="Do thing 1. And mind the rain.", next_tests=tests)
    assert found.further_title == "After that"
    assert found.further == (
        "Do thing 2. It takes about 8 minutes.",
        "Do thing 3. It takes about 8 minutes.",
    )


def test_without_a_test_that_pays_the_other_repairs_follow():
    repairs = tuple(Repair(f"f{n}", 0.5, 90.0, f"Mend thing {n}.") for n in (1, 2, 2, 3, 4))
    found = page_with(do_next="Mend thing 1.", next_tests=(), repairs=repairs)
    assert found.further_title == "If that is not it"
    assert found.further == (
        "Mend thing 2. It takes about 1.5 hours.",
        "Mend thing 3. It takes about 1.5 hours.",
    )


# --- what is open ------------------------------------------------------------------------------------------------


def test_what_nobody_looked_at_is_named_in_one_sentence():
    job, findings = made.bare_job(), made.empty_findings()
    found = first_page_of(job, findings, local_time_of(job), technician=False)
    assert found.not_checked == (
        "Not checked, or without a result: the channels, what is received, the sky over the vehicle, the time of "
        "channel changes, the antenna's feed, the optical ring and the supply at the receiver."
    )
    assert found.left_out == "See all 6 remarks on this."


def test_what_was_looked_at_is_not_named():
    found = page_with()
    assert "optical ring" not in found.not_checked
    assert "the channels" not in found.not_checked


def test_the_remarks_stand_in_the_section_that_the_page_names():
    reader = Reader(report_html(made.bare_job(), made.empty_findings()))
    section = next(one for one in reader.all("section") if one.attributes["id"] == "limits")
    assert section.text.count("No channel change was timed.") == 1
    assert [one for one in reader.all("a") if one.attributes["href"] == "#limits"]


# --- languages ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("language", "named", "said"),
    [
        ("en", "en-GB", "What to do next"),
        ("es", "es", "Qué hacer ahora"),
        ("fr", "fr", "Que faire maintenant"),
    ],
)
def test_the_page_names_its_language_and_speaks_it(language, named, said):
    with speaking(language):
        reader = Reader(report_html(made.full_job(), made.full_findings()))
    assert reader.all("html")[0].attributes["lang"] == named
    assert said in reader.words


def test_no_language_leaves_a_value_unfilled():
    for language in LANGUAGES:
        with speaking(language):
            reader = Reader(report_html(made.full_job(), made.full_findings()))
        assert "{" not in reader.words, language


# --- on a screen -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("sample", FULLEST)
def test_the_first_page_is_one_screen_and_the_next_step_the_first_of_a_telephone(seen, sample):
    """A desk screen of 1280 by 800 and a telephone of 390 by 844 pixels."""
    job = satdiag.open_job(SAMPLES / sample)
    text = report_html(job, satdiag.analyse(job))
    page, complaints = seen(text, 1280)
    bottom = "document.querySelector('{}').getBoundingClientRect().bottom"
    assert page.evaluate(bottom.format("header.first")) <= 800
    page.set_viewport_size({"width": 390, "height": 844})
    assert page.evaluate(bottom.format(".next > p")) <= 844
    assert complaints == []
