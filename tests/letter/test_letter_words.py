"""What the customer is told in states that no sample has, the scale of its words, and how easy it is to read."""

from __future__ import annotations

import importlib
import re
from dataclasses import replace

import nltk
import pytest
import textstat

import satdiag
from satdiag.findings import Quantiles
from satdiag.language import speaking
from satdiag.letter import letter_of, letter_text
from satdiag.letter.customer_words import CLASSES, FAULTS
from satdiag.letter.saying import level_of, rounded_down, rounded_up, span_text
from satdiag.letter.waiting import seconds_without_charger
from satdiag.sheet import Supply
from satdiag.vocabulary import FAULT_CLASSES
from satdiag.vocabulary import FAULTS as KNOWN
from tests.helpers import make_job
from tests.letter.cases import CASES, case_letter
from tests.letter.read import LANGUAGES, RECIPIENTS, body, letter, plain, value_of
from tests.sample_findings import SAMPLES, findings_of, job_of

MOST_GRADE = 8.0


def _changed(name, verdict=None, entitlement=None, kind=None):
    """A sample's findings with parts of them set by hand."""
    found = findings_of(name)
    explanation = replace(found.diagnosis.explanation, **({"kind": kind} if kind else {}))
    return replace(
        found,
        verdict=replace(found.verdict, **(verdict or {})),
        entitlement=replace(found.entitlement, **(entitlement or {})),
        diagnosis=replace(found.diagnosis, explanation=explanation),
    )


def _customer(name, **changes):
    return body(letter_of(job_of(name), _changed(name, **changes), "customer"), "en")


# --- states ------------------------------------------------------------------------------------------------------


def test_every_fault_and_class_has_its_words():
    assert set(FAULTS) == set(KNOWN)
    assert set(CLASSES) == set(FAULT_CLASSES)
    assert all(words.why and words.shop for words in (*FAULTS.values(), *CLASSES.values()))


@pytest.mark.parametrize("p", [0.45, 0.6, 0.7, 0.95, 0.995])
def test_how_sure_the_reason_is_comes_before_it(p):
    found = _changed("antenna-open", verdict={"fault": "antenna-open", "class_": "antenna", "probability": p})
    found = replace(found, diagnosis=replace(found.diagnosis, classes={**found.diagnosis.classes, "antenna": 0.7}))
    said = letter_of(job_of("antenna-open"), found, "customer").sections[0].paragraphs
    sure = "almost certain" if p >= 0.99 else "very likely the" if p >= 0.9 else "is likely the"
    named = FAULTS["antenna-open"] if p >= 2 / 3 else CLASSES["antenna"]
    assert sure in said[1]
    assert said[2] == named.why


def test_a_class_that_is_hardly_likelier_than_not_is_said_to_be_unsure():
    found = _changed("antenna-open", verdict={"fault": "antenna-open", "class_": "antenna", "probability": 0.3})
    found = replace(found, diagnosis=replace(found.diagnosis, classes={**found.diagnosis.classes, "antenna": 0.55}))
    said = letter_of(job_of("antenna-open"), found, "customer").sections[0].paragraphs
    assert said[1].startswith("We are not sure of the reason yet.")


def test_without_a_verdict_nothing_is_claimed():
    text = _customer("feed-lossy", verdict={"state": "cannot-tell", "class_": "other", "fault": None}, kind="unknown")
    assert "We cannot say yet whether your satellite radio works as it should." in text
    assert "We check more and tell you as soon as we know." in text
    assert "subscription" not in text


def test_an_account_that_looks_dead_is_given_to_the_provider_without_a_word_of_who_is_to_pay():
    text = _customer(
        "complete",
        verdict={"state": "cannot-tell", "class_": "none", "fault": "none"},
        entitlement={"p_account_dead": 0.9},
        kind="unknown",
    )
    assert "What we see does not fit with an active subscription." in text
    assert "We ask the provider to look at the subscription for this receiver." in text


def test_before_the_first_channel_no_time_is_promised():
    waiting = tuple(
        replace(one, state="refused", reason="cannot-tell", p_will_come=0.8) if one.reason == "plays" else one
        for one in findings_of("filling").entitlement.channels
    )
    text = _customer("filling", entitlement={"authorised": 0, "refused": 27, "channels": waiting, "steps": None})
    assert "is ready and is waiting for its first channels" in text
    assert "How long that may take cannot be said yet." in text
    assert "very likely there by" not in text
    assert "at least 15 minutes" in text


def test_a_wait_of_a_day_or_more_is_told_in_hours_of_listening_alone():
    long = Quantiles(median=40_000.0, p05=9_000.0, p95=90_000.0)
    text = _customer("filling", entitlement={"remaining_to_last_s": long})
    assert "after 25 h of listening, counted from 1 September 2031, 15:47" in text
    assert "for at least 11 h 10 min" in text


def test_the_time_is_never_rounded_down():
    for seconds in (1.0, 59.0, 61.0, 599.0, 601.0, 8201.9):
        assert rounded_up(seconds) >= seconds
        assert rounded_up(seconds) - seconds <= (60.0 if seconds < 600.0 else 300.0)


def test_channels_that_were_lost_are_not_said_to_come():
    gone = tuple(
        replace(one, reason="lost", p_will_come=None) if one.channel == 4 else one
        for one in findings_of("filling").entitlement.channels
    )
    made = letter_of(job_of("filling"), _changed("filling", entitlement={"channels": gone}), "customer")
    assert plain(value_of(made, "Played before, not now")) == "4 Winding Mill"
    assert "4 Winding Mill" not in plain(value_of(made, "May still come"))
    assert "We ask the provider about the channels that played before." in body(made, "en")


def test_a_certain_package_is_told_from_one_that_only_seems_so():
    made = letter_of(
        replace(job_of("partial-package"), sheet=replace(job_of("partial-package").sheet, package="")),
        findings_of("partial-package"),
        "customer",
    )
    assert value_of(made, "Not in your package") == ""
    assert plain(value_of(made, "It seems, not in your package")).startswith("8 channels (33 Cedar Gate")


@pytest.mark.parametrize("recipient", RECIPIENTS)
@pytest.mark.parametrize("language", LANGUAGES)
def test_a_job_of_which_nothing_is_known_gives_a_letter_too(recipient, language):
    for job in (make_job(""), make_job("0:00 power receiver awake"), make_job("0:00 channel 7 missing")):
        with speaking(language):
            text = letter_text(job, satdiag.analyse(job), recipient)
        assert "test-job" in text
        assert "None" not in text


def test_a_channel_that_the_radio_does_not_list_is_said_so():
    job = make_job("0:00 channel 7 missing\n0:09 channel 8 authorised")
    made = letter_of(job, satdiag.analyse(job), "customer")
    assert plain(value_of(made, "Not in the radio's list")) == "1 channel (7)"


# --- the scale and spans -----------------------------------------------------------------------------------------


def test_what_was_listened_is_rounded_towards_neither_end():
    """Of 18 minutes that are proved not 20 are said, and of at most 91 no fewer than that."""
    said = {
        (45.0, 100.0): "less than a minute",
        (118.0, None): "1 minute",
        (18 * 60.0, None): "15 minutes",
        (0.0, 91 * 60.0): "no time proved, at most 1 h 35 min",
        (17 * 60.0, 31 * 60.0): "15 minutes, at most 35 minutes",
    }
    for (least_s, most_s), wanted in said.items():
        entitlement = {"exposure_s": least_s, "exposure_max_s": most_s, "exposure_origin": "confirmed"}
        found = letter_of(job_of("filling"), _changed("filling", entitlement=entitlement), "provider")
        assert plain(value_of(found, "On and receiving since the confirmation")) == wanted
    assert [rounded_down(s) for s in (59.0, 599.0, 600.0, 899.0, 900.0)] == [0.0, 540.0, 600.0, 600.0, 900.0]


LENT_ANTENNA = [
    "0:00 place vehicle open-sky",
    "0:10 account service confirmed",
    *(f"{t}:00 signal any 1 bars/5" for t in (1, 3, 5)),
    "10:00 swap antenna better",
    *(f"{t}:00 signal any 5 bars/5" for t in (11, 13)),
    *(f"12:{c} channel {c} authorised" for c in (10, 20, 50)),
    *(f"12:{c} channel {c} refused" for c in (30, 40)),
    "20:00 swap antenna worse",
    *(f"{t}:00 signal any 1 bars/5" for t in (21, 23)),
]
BARS = '[receiver]\nlevel_scale = "bars/5"\n'
GONE = [f"24:{c} channel {c} no-signal" for c in (10, 20, 30, 40, 50)]


@pytest.mark.parametrize(
    ("last", "customer", "provider"),
    [
        ([], "Played when last checked", "Authorised when last checked"),
        (GONE, "Played when last received", "Authorised when last received"),
        (
            [*GONE, "25:00 channel 10 authorised", "25:10 channel 20 authorised", "25:20 channel 50 authorised"],
            "Played when last checked",
            "Authorised when last checked",
        ),
        ([*GONE[1:4], "25:00 channel 50 authorised"], "Played when last received", "Authorised when last received"),
        (
            [*GONE[:1], "25:00 tune 10 requested", "25:02 tune 10 audio"],
            "Played when last checked",
            "Authorised when last checked",
        ),
    ],
)
def test_channels_without_a_signal_at_the_last_look_are_not_said_to_have_played_then(last, customer, provider):
    job = make_job("\n".join([*LENT_ANTENNA, *last]), BARS)
    found = satdiag.analyse(job)
    assert found.verdict.state == "fault"
    assert plain(value_of(letter_of(job, found, "customer"), customer)) == "10, 20 and 50"
    assert plain(value_of(letter_of(job, found, "provider"), provider)) == "3 channels (10, 20 and 50)"
    told = plain(value_of(letter_of(job, found, "dealer"), "Channels"))
    assert told.startswith("playing: 3 of 5 expected")
    assert ("as last received" in told) == (provider == "Authorised when last received")


def test_words_of_likelihood_keep_to_the_printed_scale():
    assert [level_of(p) for p in (0.5, 0.66, 0.67, 0.89, 0.9, 0.98, 0.99, 1.0)] == [0, 0, 1, 1, 2, 2, 3, 3]
    small = letter("filling", "customer", "en").small[0]
    assert "likely: at least 2 in 3; very likely: at least 9 in 10; almost certain: at least 99 in 100" in small


@pytest.mark.parametrize(
    ("seconds", "said"),
    [(20.0, "1 minute"), (100.0, "2 minutes"), (1424.0, "25 minutes"), (8400.0, "2 h 20 min"), (7200.0, "2 h")],
)
def test_spans_of_time(seconds, said):
    assert plain(span_text(seconds)) == said
    with speaking("es"):
        assert plain(span_text(seconds)) == said.replace("minute", "minuto")


def test_the_battery_bears_a_tenth_of_its_capacity():
    """t = 0.1 C / I, on the careful side where the sheet names neither, in whole five minutes."""
    assert seconds_without_charger(Supply(awake_a=5.0, battery_ah=50.0)) == 60 * 60
    assert seconds_without_charger(Supply()) == 25 * 60  # 0.1 x 45 Ah / 10 A = 27 min
    assert seconds_without_charger(Supply(awake_a=400.0)) == 5 * 60


# --- how easy it is to read --------------------------------------------------------------------------------------


def _syllables(word: str) -> int:
    """Groups of vowels, without a silent e at the end: more than hyphenation finds, so the stricter count."""
    groups = len(re.findall(r"[aeiouy]+", word))
    silent = word.endswith("e") and not word.endswith("le") and groups > 1
    return max(groups - silent, 1)


def _grade(text: str) -> float:
    """Kincaid, Fishburne, Rogers and Chissom (1975): 0.39 words a sentence + 11.8 syllables a word - 15.59."""
    words = re.findall(r"[a-z']+", text.lower())
    sentences = len(re.findall(r"[.!?](?:\s|$)", text))
    return 0.39 * len(words) / sentences + 11.8 * sum(map(_syllables, words)) / len(words) - 15.59


@pytest.fixture
def offline_textstat(monkeypatch):
    """textstat without a pronouncing dictionary, which it would fetch: syllables by hyphenation (pyphen) then."""
    try:
        nltk.data.find("corpora/cmudict")
    except LookupError:
        counting = importlib.import_module("textstat.backend.counts._count_syllables")
        monkeypatch.setattr(counting, "get_cmudict", lambda language: None)
    return textstat


def test_the_grade_tells_hard_from_easy(offline_textstat):
    hard = (
        "Notwithstanding considerable uncertainty regarding entitlement authorisation, remediation necessitates "
        "reinitialisation of the provisioning infrastructure by the responsible organisation."
    )
    assert offline_textstat.flesch_kincaid_grade(hard) > 15.0
    assert _grade(hard) > 15.0
    assert _grade("The cat sat on the mat.") < 1.0


@pytest.mark.parametrize("name", [*SAMPLES, *CASES])
def test_a_child_of_the_eighth_grade_can_read_the_letter(name, offline_textstat):
    made = case_letter(name, "customer") if name in CASES else letter(name, "customer", "en")
    text = "\n".join(text for part in made.sections for text in (*part.paragraphs, *part.points))
    assert offline_textstat.flesch_kincaid_grade(text) <= MOST_GRADE
    assert _grade(text) <= MOST_GRADE


def test_a_radio_that_plays_a_part_of_its_channels_is_not_said_to_play_none():
    """By the logs: of the lapsed account one channel of the package still played; of the other only 15 and 57 did,
    which the line-up marks as open."""
    in_part = letter_of(job_of("account-lapsed"), findings_of("account-lapsed"), "customer")
    assert "Your satellite radio plays only some of its channels at the moment." in body(in_part, "en")
    none = letter_of(job_of("resend-due"), findings_of("resend-due"), "customer")
    assert "So far your satellite radio plays only the channels that do not need a subscription." in body(none, "en")


def test_one_channel_without_a_name_is_not_written_like_a_count():
    job = make_job("0:00 channel 31 authorised")
    text = plain(value_of(letter_of(job, satdiag.analyse(job), "provider"), "Authorised when last checked"))
    assert text == "1 channel (31)"
