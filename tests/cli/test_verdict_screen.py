"""What `satdiag analyse` prints: times as people say them, and nothing said twice."""

import io
import re
from contextlib import redirect_stdout
from dataclasses import replace

import pytest

from satdiag.cli.verdict_screen import show
from satdiag.findings import Earlier, NextTest, OddReading, Repair
from satdiag.language import LANGUAGES, speaking
from tests.sample_findings import findings_of, job_of

ISO = re.compile(r"\d{4}-\d\d-\d\dT")


def printed(name, found, language="en"):
    """The lines of the screen for a sample's job with findings, a hundred columns wide."""
    with pytest.MonkeyPatch.context() as patch, speaking(language), redirect_stdout(io.StringIO()) as out:
        patch.setenv("COLUMNS", "100")
        show(job_of(name), found)
    return out.getvalue()


def with_diagnosis(**changes):
    """A sample's findings as of a fault, with parts of the diagnosis set by hand."""
    found = findings_of("filling")
    verdict = replace(found.verdict, state="fault", do_next="Try another source. Then look.")
    return replace(found, verdict=verdict, diagnosis=replace(found.diagnosis, **changes))


@pytest.mark.parametrize(
    ("language", "as_of"),
    [
        ("en", "As of 1 September 2031, 15:47 (America/Chicago); job demo-7598."),
        ("es", "A fecha de 1 de septiembre de 2031, 15:47 (America/Chicago); trabajo demo-7598."),
        ("fr", "État au 1er septembre 2031 à 15:47 (America/Chicago)\u202f; dossier demo-7598."),
    ],
)
def test_times_are_those_of_the_place_in_the_language(language, as_of):
    # the last row of the sample is of 20:47 UTC; Chicago is five hours behind in September
    earlier = Earlier("ring-broken", "2031-09-01T20:13:15Z", "2031-09-01T20:19:26Z", 0.9, "the ring was closed")
    found = with_diagnosis(earlier=(earlier,))
    said = re.sub(r"[ \n]+", " ", printed("filling", found, language))
    assert said.count(as_of) == 1
    assert "15:13" in said
    assert "15:19" in said
    assert not ISO.search(said)


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_log_without_times_says_so(language):
    found = findings_of("filling")
    said = printed("filling", replace(found, verdict=replace(found.verdict, as_of=None)), language)
    assert "demo-7598" in said
    assert not ISO.search(said)
    assert "None" not in said


def test_what_the_next_step_says_is_not_said_again():
    test = NextTest("try-other-sources", 0.2, 1.0, 0.1, "Try another source.")
    dear = NextTest("read-levels", 12.0, 4.0, 0.1, "Read the levels.")
    repairs = (
        Repair("ring-broken", 0.5, 10.0, "Then look."),
        Repair("indoors", 0.4, 12.0, "Move out."),
        Repair("obstructed", 0.4, 15.0, "Move out."),
    )
    said = printed("filling", with_diagnosis(next_tests=(test, dear), repairs=repairs, plan=()))
    assert said.count("Try another source.") == 1
    assert "this is try-other-sources (worth less than a minute, takes 1 minute)" in said
    assert "read-levels (worth about 12 min, takes 4 min): Read the levels." in said
    assert said.count("Then look.") == 1
    assert said.count("Move out.") == 1


def test_a_reading_that_fits_badly_is_named_also_where_the_next_step_is_another():
    odd = OddReading("bias", 3.0, 0.01, "the feed is shorted")
    said = printed("filling", with_diagnosis(odd_reading=odd))
    assert "Look again at this too, for it fits badly with the rest: the feed is shorted." in said.replace("\n", " ")


def test_no_line_begins_with_a_percent_sign():
    found = findings_of("filling")
    for width in range(40, 60):
        verdict = replace(found.verdict, text="The cause is known by now (about 79 %).")
        with pytest.MonkeyPatch.context() as patch, redirect_stdout(io.StringIO()) as out:
            patch.setenv("COLUMNS", str(width))
            show(job_of("filling"), replace(found, verdict=verdict))
        assert not re.search(r"^ *%", out.getvalue(), re.MULTILINE), width
