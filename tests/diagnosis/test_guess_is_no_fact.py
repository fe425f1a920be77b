"""What is likely only is said as likely, and what has no time says 'then' to nobody. The wanted words: what a reader
without the numbers would take from them (common practice, no source)."""

from dataclasses import replace

import pytest

from satdiag.cli.sheet_form import read_site
from satdiag.diagnosis.explain import KIND_TEXT, KIND_TEXT_UNPROVED, kind_if_likely, kind_text, of_hundred
from satdiag.language import LANGUAGES, speaking, translated
from satdiag.letter import letter_of
from satdiag.wiring.estimate import estimate_wiring
from tests.diagnosis.test_verdict import belief_in
from tests.helpers import make_job
from tests.letter.read import body
from tests.sample_findings import findings_of, job_of


def test_a_kind_is_said_flatly_only_where_all_its_faults_together_are_very_likely():
    torn = belief_in(supply_dropout=0.6, receiver_defective=0.35, none=0.05)  # broken it is, whichever it be
    assert kind_text("broken", torn) == KIND_TEXT["broken"]
    guess = belief_in(ring_order=0.55, node_unpowered=0.2, none=0.25)
    assert kind_text("broken", guess) == KIND_TEXT_UNPROVED["broken"]
    assert kind_text("not-paid", belief_in(partial_package=0.58, none=0.42)).startswith("Most likely not paid for")
    assert kind_text("not-yet", belief_in(none=0.55, not_activated=0.45)).startswith("Most likely not working yet")


@pytest.mark.parametrize(
    ("kind", "faults", "said"),
    [
        ("not-here", "indoors__not_configured", "where the vehicle stands the signal is missing"),
        ("not-paid", "not_activated__antenna_open", "missing in the account"),
        ("not-sent", "id_mismatch__antenna_open", "the provider has to send or to correct something"),
    ],
)
def test_no_equipment_is_called_sound_where_a_fault_in_it_is_likely_besides(kind, faults, said):
    both = kind_text(kind, belief_in(**{faults: 0.97, "none": 0.03}))
    assert said in both
    assert "something in the vehicle has to be mended" in both
    assert "sound" not in both
    assert "does its work" not in both
    alone = kind_text(kind, belief_in(**{faults: 0.03, faults.partition("__")[0]: 0.97}))
    assert alone == KIND_TEXT[kind]


def test_where_faults_of_several_kinds_share_the_lead_no_kind_is_named():
    account = belief_in(not_activated=0.25, entitlement_not_received=0.2, id_mismatch=0.15, none=0.4)
    assert account.top() == ("subscription", "not-activated")
    assert kind_if_likely("not-paid", account) == "unknown"
    assert kind_if_likely("not-paid", belief_in(not_activated=0.3, partial_package=0.3, none=0.4)) == "not-paid"


def test_of_a_hundred_vehicles_never_all_are_meant():
    assert "about 99 would" in of_hundred(belief_in(antenna_open=0.9999, none=0.0001))


@pytest.mark.parametrize("language", LANGUAGES)
def test_both_ways_of_saying_a_kind_differ_in_every_language(language):
    with speaking(language):
        for kind, text in KIND_TEXT.items():
            assert kind == "unknown" or translated(text) != translated(KIND_TEXT_UNPROVED[kind])


def test_no_letter_speaks_of_a_time_that_it_does_not_name():
    job, found = job_of("filling"), findings_of("filling")
    assert "after that time" in body(letter_of(job, found, "customer"), "en")
    endless = replace(found, entitlement=replace(found.entitlement, remaining_to_last_s=None))
    said = body(letter_of(job, endless, "customer"), "en")
    assert "after that time" not in said
    assert "named below" in said


def test_a_large_current_is_written_out():
    job = make_job("0:00 power receiver awake\n1:00 bias voltage 4.61 V\n1:10 bias current 41000 mA")
    said = estimate_wiring(job).bias.leads[0].text
    assert "4.61 V and 41000 mA" in said


def test_decimal_commas_in_a_place_are_named():
    with pytest.raises(Exception, match="Write decimals with a point"):
        read_site("yard,41,2,-96,1")
    assert read_site("yard,41.2,-96.1,300,America/Chicago")["timezone"] == "America/Chicago"
