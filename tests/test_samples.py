"""Every sample log: the verdict says what is true of it, and the findings document keeps its published schema.

The samples are simulated: they prove the code against our own model of the world only.
"""

import json
import re
import tomllib

import jsonschema
import pytest

import satdiag
from satdiag.findings_schema import findings_schema
from tests.sample_findings import ROOT, SAMPLES, findings_of


def test_there_are_enough_of_them():
    assert len(SAMPLES) >= 15


@pytest.mark.parametrize("name", SAMPLES)
def test_verdict_equals_truth(name):
    truth = tomllib.loads((ROOT / name / "truth.toml").read_text("utf-8"))
    verdict = findings_of(name).verdict
    assert (verdict.state, verdict.class_) == (truth["state"], truth["class"])


@pytest.mark.parametrize("name", SAMPLES)
def test_findings_keep_the_published_schema(name):
    document = json.loads(json.dumps(findings_of(name).to_dict(), allow_nan=False))
    validator = jsonschema.Draft202012Validator(findings_schema())
    assert [error.message for error in validator.iter_errors(document)] == []


@pytest.mark.parametrize("name", SAMPLES)
def test_probabilities_and_intervals_are_in_order(name):
    found = findings_of(name)
    chances = [*found.diagnosis.faults.values(), *found.diagnosis.classes.values()]
    assert all(0 <= p <= 1 for p in chances)
    entitlement = found.entitlement
    assert entitlement.exposure_s <= entitlement.exposure_max_s
    if entitlement.entitled_fraction is not None:
        low, high = entitlement.entitled_fraction_90
        assert low <= entitlement.entitled_fraction <= high
    for channel in entitlement.channels:
        if channel.remaining_s is not None:
            assert channel.remaining_s.p05 <= channel.remaining_s.median <= channel.remaining_s.p95


def test_a_ring_that_broke_midway_is_told_as_earlier():
    found = findings_of("ring-broken")
    assert "ring-broken" in [earlier.fault for earlier in found.diagnosis.earlier]
    assert found.diagnosis.faults["ring-broken"] < 0.2


def test_absence_of_everything_is_not_a_verdict():
    """An empty log: nothing is claimed, and it is said."""
    from tests.helpers import make_job

    found = satdiag.analyse(make_job(""))
    assert found.verdict.state == "cannot-tell"
    assert found.could_not
    jsonschema.Draft202012Validator(findings_schema()).validate(json.loads(json.dumps(found.to_dict())))


@pytest.mark.parametrize("name", SAMPLES)
def test_what_is_said_of_the_channels_is_true(name):
    """Against truth.toml, which the analysis never sees. Simulated worlds: it proves the way, not the real world."""
    truth = tomllib.loads((ROOT / name / "truth.toml").read_text("utf-8"))
    entitled = set(truth["entitled"])
    found = findings_of(name).entitlement
    reasons = {}
    for channel in found.channels:
        reasons.setdefault(channel.reason, set()).add(channel.channel)
    assert reasons.get("late", set()) <= entitled
    assert not reasons.get("not-in-package", set()) & entitled
    assert not reasons.get("lost", set()) & entitled
    numbers = {int(text) for text in re.findall(r"(?<![\d.-])\d+(?![\d.%-])", found.text)}
    assert not found.text or found.expected == 1 or {found.expected, found.authorised or found.expected} <= numbers
    if found.p_account_dead is not None and found.p_account_dead > 0.8:
        assert not entitled
    if truth["state"] == "filling":
        arrivals = [at_s for channel, at_s in truth["arrival_s"].items() if int(channel) in entitled]
        rest_s = max(arrivals) - found.exposure_s
        assert found.remaining_to_last_s.p05 <= rest_s <= found.remaining_to_last_s.p95
