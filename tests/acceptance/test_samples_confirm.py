"""Every sample log: whether 'confirmed' may be said of it, and why.

The samples are simulated: they prove the code against our own model of the world only.
"""

import tomllib
from functools import cache

import pytest

from satdiag.acceptance import confirm
from tests.sample_findings import ROOT, SAMPLES, findings_of, job_of

MAY = {"works": {"confirmed", "go-on"}, "filling": {"go-on"}, "explained": {"confirmed", "go-on"}}
"""By what is true of the vehicle. A fault may never be confirmed; one that is still filling in is not there yet; of
'explained' every channel of the package plays, so the activation is what was paid for."""

REASONS = {
    # criterion that is not settled, and must not hold, by what is true of the sample
    "account-lapsed": "activated",
    "antenna-open": "locked",
    "antenna-short": "locked",
    "antenna-weak": "locked",
    "audio-path": "changes",
    "feed-absent": "locked",
    "feed-lossy": "locked",
    "feed-swapped": "locked",
    "filling": "share",
    "foliage": "locked",
    "indoors": "locked",
    "interference": "locked",
    "node-unpowered": "listed",
    "not-activated": "activated",
    "not-configured": "listed",
    "obstructed": "locked",
    "out-of-coverage": "locked",
    "receiver-defective": "locked",
    "resend-due": "activated",
    "ring-broken-open": "listed",
    "ring-order": "listed",
    "supply-dropout": "restarts",
    "wrong-id": "activated",
}


@cache
def judged(name):
    return confirm(job_of(name), findings_of(name))


def truth_of(name):
    return tomllib.loads((ROOT / name / "truth.toml").read_text("utf-8"))


@pytest.mark.parametrize("name", SAMPLES)
def test_confirmed_is_said_only_where_it_is_true(name):
    truth = truth_of(name)
    found = judged(name)
    assert found.state in MAY.get(truth["state"], {"not-confirmed", "go-on"})
    states = {one.name: one.state for one in found.criteria}
    if name in REASONS:
        assert states[REASONS[name]] != "holds"
    if truth["state"] == "fault":
        assert states["no-fault"] != "holds"


@pytest.mark.parametrize("name", SAMPLES)
def test_every_criterion_says_why_and_what_lacks(name):
    for one in judged(name).criteria:
        assert one.evidence.endswith(".")
        assert bool(one.lacking) == (one.state != "holds")
        for text in filter(None, (one.evidence, one.lacking)):
            assert text[0].isupper() or text[0].isdigit()


def test_a_sample_that_works_is_confirmed():
    """A vehicle that works and was looked at long enough under open sky."""
    assert judged("partial-package").state == "confirmed"


def test_a_sample_with_few_timed_changes_lacks_only_those():
    """Six changes at normal speed are fewer than the analysis asks for before the timing may stop."""
    found = judged("ring-broken")
    assert [one.name for one in found.criteria if one.state != "holds"] == ["changes"]
    assert found.checks_left == findings_of("ring-broken").tuning.stop.more


def test_dead_accounts_are_ruled_out_by_their_channels_alone():
    """Nobody noted in these logs that there is no account for this receiver."""
    for name in ("wrong-id", "resend-due"):
        found = judged(name)
        assert next(one for one in found.criteria if one.name == "activated").state == "fails"
        assert found.checks.weight_db < found.checks.reject_at_db
