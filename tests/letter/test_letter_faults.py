"""The letters name a second fault, say of the account only what the log bears out, and announce nothing that is done.

What must be said follows from the rows of each case as somebody of the trade reads them (common practice, no source).
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from satdiag.diagnosis.model import load_model
from satdiag.diagnosis.titles import TITLES
from satdiag.letter import letter_of
from satdiag.letter.asking import ACTIONS, HINDERED, SEEMS_HINDERED
from satdiag.letter.customer_words import FAULTS, SECOND
from satdiag.letter.faults import others
from satdiag.letter.saying import level_of
from satdiag.report.numbers import percent
from tests.letter.cases import CASES, case, case_letter
from tests.letter.read import LANGUAGES, RECIPIENTS, body, letter, plain, truth, value_of
from tests.sample_findings import SAMPLES, findings_of, job_of

TWO = {"not configured, antenna open": "antenna-open", "trees, wrong identifier": "id-mismatch"}


def _text(name, recipient):
    return body(case_letter(name, recipient), "en")


def _sample(name, recipient):
    return body(letter(name, recipient, "en"), "en")


def _with_second(name, fault, p, state="fault"):
    """A sample's findings with a second fault set by hand."""
    found = findings_of(name)
    faults = {**found.diagnosis.faults, fault: p}
    return replace(
        found,
        verdict=replace(found.verdict, state=state),
        diagnosis=replace(found.diagnosis, faults=faults),
    )


def _firm(name):
    """A sample's findings with its true fault likely enough to be named, and nothing left to test."""
    found = findings_of(name)
    fault = found.verdict.fault
    assert fault in [one["fault"] for one in truth(name)["faults"]]
    p = 0.8 if found.verdict.state == "explained" else 0.95
    verdict = replace(found.verdict, probability=p, do_next=load_model().faults[fault].action)
    return replace(found, verdict=verdict, diagnosis=replace(found.diagnosis, next_tests=()))


# --- a second fault ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", TWO)
def test_a_letter_names_the_same_second_fault_as_the_verdict(name):
    found = case(name)[1]
    assert others(found) == [TWO[name]]
    assert f"Besides, most likely this: {TITLES[TWO[name]]}" in found.verdict.text


@pytest.mark.parametrize("name", sorted([*CASES, *SAMPLES]))
def test_no_letter_names_a_second_fault_that_the_verdict_does_not_name(name):
    found = findings_of(name) if name in SAMPLES else case(name)[1]
    named = [fault for fault, title in TITLES.items() if f"Besides, most likely this: {title}" in found.verdict.text]
    assert sorted(others(found)) == sorted(named)


@pytest.mark.parametrize("name", TWO)
def test_the_customer_reads_the_second_reason_how_sure_it_is_and_who_sees_to_it(name):
    found, said = case(name)[1], case_letter(name, "customer").sections
    second = said[0].paragraphs[-2:]
    assert second[0] == SECOND[level_of(found.diagnosis.faults[TWO[name]])]
    assert second[1] == FAULTS[TWO[name]].why
    steps = next(part.paragraphs for part in said if part.heading == "What happens next")
    assert "Then we see to the other reason." in steps[:-1]


@pytest.mark.parametrize(("p", "word"), [(0.55, "may well be"), (0.7, "is likely"), (0.95, "is very likely")])
def test_the_second_reason_is_hedged_by_its_own_chance(p, word):
    text = body(letter_of(job_of("feed-lossy"), _with_second("feed-lossy", "id-mismatch", p), "customer"), "en")
    assert f"There {word} " in text
    assert "another reason, too." in text
    almost = body(letter_of(job_of("feed-lossy"), _with_second("feed-lossy", "id-mismatch", 0.995), "customer"), "en")
    assert "We are almost certain that there is another reason, too." in almost


def test_below_even_odds_or_beside_a_radio_that_works_no_second_fault_is_named():
    for found in (
        _with_second("feed-lossy", "id-mismatch", 0.45),
        _with_second("complete", "id-mismatch", 0.9, "works"),
    ):
        assert others(found) == []


def test_the_subscription_is_not_set_against_the_radio_where_the_radio_has_a_fault_too():
    job, found = job_of("resend-due"), _with_second("resend-due", "antenna-weak", 0.7)
    found = replace(found, verdict=replace(found.verdict, probability=0.6))
    text = body(letter_of(job, found, "customer"), "en")
    assert "One reason lies with the subscription." in text
    assert "not with the radio" not in text


def test_who_has_to_park_outdoors_for_the_second_reason_is_warned_of_exhaust_gas():
    found = _with_second("antenna-open", "entitlement-not-received", 0.7)
    text = body(letter_of(job_of("antenna-open"), found, "customer"), "en")
    assert "please park outdoors" in text
    assert "exhaust gas kills" in text
    assert "There is nothing you need to do." not in text


def test_who_has_to_park_outdoors_for_the_subscription_is_warned_too():
    """The subscription's faults as a class may have an account that gives nothing in the lead."""
    found = findings_of("account-lapsed")
    found = replace(found, verdict=replace(found.verdict, probability=0.6))
    text = body(letter_of(job_of("account-lapsed"), found, "customer"), "en")
    assert "please park outdoors" in text
    assert "exhaust gas kills" in text


def test_the_dealer_reads_the_second_fault_its_action_and_its_cautions():
    text = _text("not configured, antenna open", "dealer")
    title, found = TITLES["antenna-open"], case("not configured, antenna open")[1]
    p = plain(percent(found.diagnosis.faults["antenna-open"]))
    assert f"Besides, most likely this: {title} ({p})." in text
    assert title not in value_of(case_letter("not configured, antenna open", "dealer"), "Also possible")
    assert found.verdict.do_next in text
    assert "Besides, do this. Find the open point" in text
    assert "airbag" in text


def test_the_dealer_does_not_read_of_a_package_as_if_it_were_another_cause():
    made = letter("indoors", "dealer", "en")
    assert TITLES["partial-package"] in value_of(made, "Likely as well, and no fault")
    assert TITLES["partial-package"] not in value_of(made, "Also possible")


def test_the_provider_is_asked_on_account_of_the_second_fault_and_to_wait_with_the_signal():
    text = _text("trees, wrong identifier", "provider")
    assert "Please compare the receiver's identifier" in text
    assert "something else keeps the receiver from receiving well" in text.lower()
    assert "Nothing is asked of you" not in text
    assert "We are not sure yet" not in text  # of the identifier we are
    assert "Nothing is asked of you" in _text("not configured, antenna open", "provider")


def test_the_provider_is_told_where_the_second_fault_is_only_likely():
    found = _with_second("antenna-open", "not-activated", 0.7)
    text = body(letter_of(job_of("antenna-open"), found, "provider"), "en")
    assert "Please activate the subscription for this receiver" in text
    assert "We are not sure yet that this is part of the trouble." in text


@pytest.mark.parametrize(("p", "said"), [(0.6, SEEMS_HINDERED), (0.89, SEEMS_HINDERED), (0.95, HINDERED)])
def test_that_the_receiver_cannot_take_in_the_signal_is_hedged_by_its_chance(p, said):
    found = _with_second("resend-due", "feed-lossy", p)
    assert said in body(letter_of(job_of("resend-due"), found, "provider"), "en")


def test_a_receiver_that_receives_well_is_not_said_to_be_hindered():
    for name in ("resend-due", "wrong-id", "not-activated"):
        assert "receiving well" not in _sample(name, "provider")


# --- an account that gives nothing, and channels that play -------------------------------------------------------


@pytest.mark.parametrize("name", ["package cut", "said to have ended, some play"])
def test_an_account_of_which_channels_play_is_not_said_to_be_inactive(name):
    job, found = case(name)
    found = replace(found, verdict=replace(found.verdict, probability=0.95))
    customer, provider, dealer = (body(letter_of(job, found, one), "en") for one in RECIPIENTS)
    assert "plays only some of its channels" in customer
    assert "is not active now" not in customer
    assert "The subscription may be about to end, or its package was changed." in customer
    assert "Please check why channels that played before are refused now" in provider
    assert "the account is ending, or its package was cut down" in dealer
    assert "have it renewed" not in dealer
    assert found.verdict.do_next in dealer


@pytest.mark.parametrize(
    "name",
    [
        "ended, only the open channel plays",
        "refused by the provider",
        "submitted, not confirmed",
        "used, no account, all gone",
    ],
)
def test_a_radio_that_plays_the_open_channel_is_not_said_to_play_nothing(name):
    text = _text(name, "customer")
    assert "At the moment your satellite radio plays only the channels that do not need a subscription." in text
    assert "Play without a subscription: 90" in text
    assert "does not play its channels" not in text


def test_a_subscription_that_ended_for_good_is_said_to_have_ended_and_renewed_only_if_that_is_wanted():
    text = _text("ended, only the open channel plays", "customer")
    assert "The subscription was active before and is not active now." in text
    assert "If you go on with it, the provider has to make the subscription active again" in text
    provider = _text("ended, only the open channel plays", "provider")
    assert "Please check whether the account is active" in provider
    assert "make it active" not in provider


def test_channels_that_were_never_open_under_an_ended_account_are_not_said_to_be_open_soon():
    made = letter("account-lapsed", "customer", "en")
    assert value_of(made, "Not open yet") == ""
    assert "16 Cedar Field" in value_of(made, "Not open now").replace("\u00a0", " ")


def test_where_all_plays_and_the_account_has_ended_the_letters_say_both():
    name = "said to have ended, all play"
    customer = _text(name, "customer")
    assert "Channels play, but by what we know no subscription is active for this receiver." in customer
    assert "does not fit with an active subscription" not in customer
    assert "Please check the account of this receiver" in _text(name, "provider")
    verdict, dealer = case(name)[1].verdict, _text(name, "dealer")
    assert verdict.text in dealer
    assert verdict.do_next in dealer


@pytest.mark.parametrize("name", ["used, no account, some play", "used, account on another radio, some play"])
def test_what_plays_on_a_used_receiver_without_an_account_of_its_own_is_explained(name):
    text = _text(name, "customer")
    assert "as it seems from an earlier subscription. They may stop one day." in text


def test_what_played_on_a_used_receiver_before_is_explained():
    text = _text("used, no account, all gone", "customer")
    assert "The channels that played before came, as it seems, from an earlier subscription." in text


def test_a_receiver_that_is_not_known_to_be_used_is_not_said_to_have_had_another_owner():
    job, found = case("used, no account, some play")
    new = replace(job, sheet=replace(job.sheet, receiver=replace(job.sheet.receiver, second_hand=None)))
    text = body(letter_of(new, found, "customer"), "en")
    assert "Some channels play all the same. They may stop one day." in text
    assert "earlier subscription" not in text


def test_a_signal_of_which_a_part_came_is_not_said_to_be_missing():
    channels = findings_of("resend-due").entitlement.channels
    came = tuple(replace(one, state="authorised", reason="plays") if one.channel < 9 else one for one in channels)
    found = _firm("resend-due")
    found = replace(found, entitlement=replace(found.entitlement, channels=came, authorised=4))
    text = body(letter_of(job_of("resend-due"), found, "customer"), "en")
    assert "Not all of the activation signal has reached your receiver yet." in text


# --- what is done is not announced or asked for ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "recipient", "not_said", "said"),
    [
        ("antenna-weak", "customer", "We compare it with an antenna", "did better, so we change the antenna"),
        ("antenna-weak", "dealer", "Compare with a known-good antenna", "A known-good antenna was better: replace"),
        ("feed-absent", "customer", "We measure this power", "We measured this power: it is missing."),
        ("feed-absent", "dealer", "Measure the voltage of the feed", "The feed was measured, and there is none"),
        ("receiver-defective", "customer", "We put in another receiver", "Another receiver did better here."),
        ("wrong-id", "customer", "We compare the number", "We give the provider the right number of your receiver."),
        ("wrong-id", "dealer", "Compare label, screen and account", "were compared and do not agree"),
        ("wrong-id", "provider", "the one named above", "enter the right one"),
        ("obstructed", "customer", "once more at an open place", "At another place the radio did better."),
        ("interference", "customer", "once more at another place", "At another place the radio did better."),
        ("resend-due", "dealer", "Ask the provider to send the activation again", "A resend has been asked for"),
        ("out-of-coverage", "provider", "Nothing is asked", "Please tell us where your service can be received."),
        ("partial-package", "customer", "There is nothing to repair.", "As it seems, there is nothing to repair."),
        ("partial-package", "dealer", "Verdict\nNothing to repair.", "As it seems, nothing to repair."),
    ],
)
def test_a_letter_fits_with_what_was_done(name, recipient, not_said, said):
    text = body(letter_of(job_of(name), _firm(name), recipient), "en")
    assert said in text
    assert not_said not in text


def test_an_antenna_that_was_not_compared_is_still_to_be_compared():
    found = _firm("antenna-weak")
    kept = tuple(one for one in found.diagnosis.evidence if one.item != "swap-antenna")
    found = replace(found, diagnosis=replace(found.diagnosis, evidence=kept))
    assert FAULTS["antenna-weak"].shop in body(letter_of(job_of("antenna-weak"), found, "customer"), "en")
    assert "Compare with a known-good antenna" in body(letter_of(job_of("antenna-weak"), found, "dealer"), "en")


def test_a_resend_that_brought_nothing_is_asked_for_again_by_all_letters():
    job, found = job_of("resend-due"), _firm("resend-due")
    found = replace(found, entitlement=replace(found.entitlement, exposure_since_resend_s=1800.0))
    assert FAULTS["entitlement-not-received"].shop in body(letter_of(job, found, "customer"), "en")
    assert ACTIONS["resend"] in body(letter_of(job, found, "provider"), "en")
    assert "Ask the provider to send the activation again" in body(letter_of(job, found, "dealer"), "en")


def test_the_full_identifier_is_pointed_to_only_where_it_stands():
    job, found = job_of("wrong-id"), findings_of("wrong-id")
    assert "enter the one named above" in body(letter_of(job, found, "provider", full_id=True), "en")
    nameless = replace(job, sheet=replace(job.sheet, receiver=replace(job.sheet.receiver, id="")))
    assert "named above" not in body(letter_of(nameless, found, "provider", full_id=True), "en")


@pytest.mark.parametrize(
    ("name", "customer", "provider", "dealer"),
    [
        (
            "submitted, not confirmed",
            "We have asked the provider",
            "Please confirm the activation",
            "is submitted: ask",
        ),
        ("refused by the provider", "what is still needed", "why the activation was refused", "Ask the provider why"),
    ],
)
def test_an_activation_is_not_asked_for_as_if_nobody_had(name, customer, provider, dealer):
    assert customer in _text(name, "customer")
    assert provider in _text(name, "provider")
    assert dealer in _text(name, "dealer")
    for recipient in ("customer", "provider", "dealer"):
        text = _text(name, recipient)
        assert "We ask the provider for the activation" not in text
        assert "Please activate the subscription" not in text
        assert "Submit the activation" not in text


@pytest.mark.parametrize("name", [*SAMPLES, *CASES])
def test_customer_and_provider_hear_alike_whether_anything_is_asked(name):
    """A customer who reads 'we ask the provider' holds us to it, and finds the provider told of nothing."""
    made = case_letter if name in CASES else lambda name, recipient: letter(name, recipient, "en")
    customer, provider = (body(made(name, recipient), "en") for recipient in ("customer", "provider"))
    promised = "We ask the provider" in customer or "The provider has to" in customer
    assert not (promised and "Nothing is asked of you." in provider)


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("recipient", ["customer", "provider"])
def test_nothing_of_these_letters_is_left_in_english(name, recipient):
    english = {text for part in case_letter(name, recipient).sections for text in (*part.paragraphs, *part.points)}
    for language in LANGUAGES[1:]:
        made = case_letter(name, recipient, language)
        assert not english & {text for part in made.sections for text in (*part.paragraphs, *part.points)}
