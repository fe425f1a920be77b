"""Scenarios whose cause lies with the account, the package, or nowhere at all."""

from __future__ import annotations

from dataclasses import replace
from random import Random

from satdiag.simulate.base import healthy, in_service, newly_fitted, out_of_date
from satdiag.simulate.setup import Setup


def complete(rng: Random) -> Setup:
    """Fitted, activated, waited for: everything plays."""
    setup = newly_fitted(healthy(rng, "complete"))
    setup.provider = replace(setup.provider, fast_period_s=rng.uniform(120, 300))
    setup.waits_for_all, setup.duration_s = True, 85 * 60
    return setup


def filling(rng: Random) -> Setup:
    """Activated a while ago, more channels at every look, the person leaves before the end."""
    setup = newly_fitted(healthy(rng, "filling"))
    setup.provider = replace(
        setup.provider,
        answer_delay_s=rng.uniform(40, 180),
        first_air_delay_s=rng.uniform(20, 100),
        fast_period_s=rng.uniform(500, 1000),
        channels_per_group=(1, rng.choice((1, 2, 3, 5))),
    )
    setup.duration_s = rng.uniform(17, 34) * 60
    return setup


def partial_package(rng: Random) -> Setup:
    """All of the package plays; the customer misses what it does not hold."""
    setup = in_service(healthy(rng, "partial-package"), "customer: the sport and talk channels are locked", rng)
    setup.package, setup.steady_fault, setup.stays_in_package = "music", "partial-package", False
    return setup


def _refused(rng: Random, name: str, fault: str) -> Setup:
    """Good reception, nothing authorised."""
    setup = healthy(rng, name)
    setup.reason = rng.choice(("just-installed", "complaint"))
    if setup.reason == "complaint":
        setup.customer_words = "customer: only a notice with the receiver's number on most channels"
    setup.steady_fault = fault
    setup.duration_s = rng.uniform(28, 60) * 60
    return out_of_date(setup, rng)


def not_activated(rng: Random) -> Setup:
    """Nobody asked for an activation, or the provider refused it."""
    setup = _refused(rng, "not-activated", "not-activated")
    if rng.random() < 0.35:
        setup.activates = True
        setup.provider = replace(setup.provider, answer="rejected")
    return setup


def _confirmed_some_way(setup: Setup, rng: Random) -> Setup:
    """Confirmed during the visit, or some days before it."""
    if rng.random() < 0.65:
        setup.activates = True
    else:
        setup.account_state = "confirmed"
        setup.confirmed_before_s = rng.uniform(0.8, 4) * 86400
    return setup


def wrong_id(rng: Random) -> Setup:
    """Activated, but for another receiver's identifier (often the one on the old label)."""
    setup = _confirmed_some_way(_refused(rng, "wrong-id", "id-mismatch"), rng)
    setup.provider = replace(setup.provider, addressed_to_us=False)
    setup.identifier_ok, setup.second_hand = False, rng.random() < 0.7
    setup.duration_s = max(setup.duration_s, rng.uniform(40, 60) * 60)
    return setup


def resend_due(rng: Random) -> Setup:
    """Confirmed, everything right here, but no authorisation message is on the air for this receiver."""
    setup = _confirmed_some_way(_refused(rng, "resend-due", "entitlement-not-received"), rng)
    setup.provider = replace(setup.provider, broadcast=False)
    setup.duration_s = rng.uniform(55, 85) * 60
    return setup


def account_lapsed(rng: Random) -> Setup:
    """It played until the subscription ran out; in half of the jobs an earlier visit shows that it did."""
    setup = in_service(healthy(rng, "account-lapsed"), "customer: it used to play, now every channel is locked", rng)
    if rng.random() < 0.5:
        setup.second_visit_after_s = rng.uniform(9, 60) * 86400
        setup.customer_words = ""
        setup.reason = "check"
    else:
        setup.account_state, setup.activated_before = "lapsed", False
        setup.steady_fault = "account-lapsed"
    return out_of_date(setup, rng)
