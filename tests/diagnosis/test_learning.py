"""What closed jobs teach: counts with known answers, one wrong finding, and what is read and refused."""

import dataclasses
import json
import tomllib

import numpy as np
import pytest

from satdiag.analysis import lesson_of
from satdiag.diagnosis import learning
from satdiag.diagnosis.inference import posterior
from satdiag.diagnosis.learning import chance_right, learned_model, moved_priors, moved_rows, prior_of
from satdiag.diagnosis.lessons import Lesson, confirmed_faults, lesson_from
from satdiag.diagnosis.model import load_model
from satdiag.diagnosis.seen import Seen
from satdiag.diagnosis.space import space_of
from satdiag.diagnosis.weighing import log_terms
from satdiag.errors import BadInput
from satdiag.vocabulary import FAULTS
from tests.helpers import make_job
from tests.sample_findings import ROOT, SAMPLES, findings_of

OPEN = {"bias": "open", "any-path": "none"}


def lesson(number, faults=("antenna-open",), evidence=None, reason="complaint"):
    return Lesson(
        f"demo-{number}", f"{number:064d}", reason, frozenset(faults), OPEN if evidence is None else evidence
    )


def marginal(model, name, reason="complaint"):
    return learning._marginals(space_of(), prior_of(model, reason))[name]


def test_without_lessons_nothing_moves():
    assert learned_model(load_model(), []).model is load_model()


def test_a_prior_is_the_packaged_one_with_counts_added():
    """Beta-binomial by hand: (120 p + 20) / (120 + 20) where every lesson counts nearly whole."""
    model = load_model()
    found = learned_model(model, [lesson(number) for number in range(20)])
    weight = found.weight
    assert weight == pytest.approx(20, abs=0.8)
    before = marginal(model, "antenna-open")
    assert marginal(found.model, "antenna-open") == pytest.approx((120 * before + weight) / (120 + weight), abs=1e-5)
    assert marginal(found.model, "none") == pytest.approx(120 * marginal(model, "none") / (120 + weight), abs=1e-5)
    assert marginal(found.model, "antenna-open", "check") == marginal(model, "antenna-open", "check")


def test_a_row_is_the_packaged_one_with_the_states_seen_added():
    """Dirichlet-multinomial by hand."""
    model = load_model()
    item = model.items["bias"]
    found = learned_model(model, [lesson(number) for number in range(10)])
    expected = 160 * item.given["antenna-open"]
    expected[item.states.index("open")] += found.weight
    assert found.model.items["bias"].given["antenna-open"] == pytest.approx(expected / expected.sum())
    assert found.model.items["bias"].given["antenna-short"] == pytest.approx(item.given["antenna-short"])
    assert found.model.items["swap-lead"] == item or found.model.items["swap-lead"].healthy == pytest.approx(
        model.items["swap-lead"].healthy
    )


def test_a_fault_that_an_item_does_not_know_teaches_its_healthy_row():
    model = load_model()
    found = learned_model(model, [lesson(number, ("account-lapsed",), {"bias": "normal"}) for number in range(10)])
    item = model.items["bias"]
    expected = 480 * item.healthy
    expected[0] += found.weight
    assert found.model.items["bias"].healthy == pytest.approx(expected / expected.sum())


def test_jobs_with_several_faults_teach_how_often_but_not_what_it_looks_like():
    model = load_model()
    found = learned_model(model, [lesson(number, ("antenna-open", "indoors")) for number in range(5)])
    assert found.model.items["bias"].given["antenna-open"] == pytest.approx(model.items["bias"].given["antenna-open"])
    assert marginal(found.model, "indoors") > marginal(model, "indoors")
    assert marginal(found.model, "antenna-open") > marginal(model, "antenna-open")


def test_the_order_of_lessons_does_not_matter():
    some = [lesson(1), lesson(2, ("indoors",), {"place": "indoors"}), lesson(3, (), {"any-path": "good"})]
    forth, back = (learned_model(load_model(), chosen).model for chosen in (some, some[::-1]))
    for name, item in forth.items.items():
        assert np.array_equal(item.healthy, back.items[name].healthy)
    assert forth.none_factor == back.none_factor


def test_a_finding_that_its_evidence_denies_counts_for_little():
    model = load_model()
    fits = chance_right(model, lesson(1))
    denied = {"bias": "open", "any-path": "none", "swap-antenna": "better", "place": "open-sky"}
    assert fits > learning.RIGHT - 0.02
    assert chance_right(model, lesson(2, ("account-lapsed",), denied)) < 0.5
    assert chance_right(model, lesson(3, ("account-lapsed",), {})) == pytest.approx(learning.RIGHT)


def test_a_lesson_counts_for_less_where_its_states_are_rare():
    """By hand: a state of chance p in a row worth 160 moves the odds by 1 + w / (160 p)."""
    common, rare = (lesson(1, evidence={"bias": state}) for state in ("open", "short"))
    assert learning.weight_of(load_model(), rare) < 0.25 * learning.weight_of(load_model(), common)
    shift = learning._shift([(1.0, 160 * 0.01)], 0.5)
    assert shift == pytest.approx(np.log((160 * 0.01 + 0.5) / 160.5 / 0.01) - np.log(160 / 160.5))
    assert learning._shift(learning._counts_at_stake(load_model(), rare), 1.0) > learning.MOST_SHIFT
    held = learning.weight_of(load_model(), rare)
    assert learning._shift(learning._counts_at_stake(load_model(), rare), held) == pytest.approx(learning.MOST_SHIFT)


WRONG = ["none", *FAULTS]


@pytest.fixture(scope="module")
def samples():
    """The evidence of every sample job as it was weighed, its reason, and what is believed of it."""
    found = {}
    for name in SAMPLES:
        evidence = findings_of(name).diagnosis.evidence
        job = tomllib.loads((ROOT / name / "job.toml").read_text("utf-8"))
        seen = [Seen(one.item, one.state, soft=one.likelihood) for one in evidence]
        found[name] = (seen, job["job"].get("reason", "unknown"))
    return found


@pytest.mark.parametrize("name", SAMPLES)
def test_one_wrong_finding_moves_no_fault_of_its_own_job_by_more_than_a_twentieth(samples, name):
    """A job is moved most by a finding on just its readings; simulated jobs, which prove the bound for such alone."""
    seen, reason = samples[name]
    before = _faults(load_model(), seen, reason)
    for wrong in WRONG:
        moved = _taught(seen, reason, wrong)
        assert np.abs(_faults(moved, seen, reason) - before).max() <= 0.05, wrong


@pytest.mark.long
@pytest.mark.parametrize("name", SAMPLES)
def test_one_wrong_finding_moves_no_fault_of_any_other_job_by_more_than_a_twentieth(samples, name):
    """All wrong findings on this job, and all the other jobs (simulated)."""
    before = {other: _faults(load_model(), *one) for other, one in samples.items()}
    for wrong in WRONG:
        moved = _taught(*samples[name], wrong)
        worst = max(np.abs(_faults(moved, *one) - before[other]).max() for other, one in samples.items())
        assert worst <= 0.05, wrong


def _taught(seen, reason, wrong):
    """The model after one lesson."""
    told = lesson(1, () if wrong == "none" else (wrong,), {one.item: one.state for one in seen}, reason)
    return learned_model(load_model(), [told]).model


def _faults(model, seen, reason):
    space = space_of()
    found = posterior(model, space, prior_of(model, reason).log(space), log_terms(model, space, seen))
    return np.array([*found.faults().values(), found.probability_of("none")])


def test_what_moved_is_told_the_furthest_first():
    model = load_model()
    moved = learned_model(model, [lesson(number) for number in range(20)]).model
    first = moved_priors(model, moved)[0]
    assert (first.reason, first.fault) == ("complaint", "antenna-open")
    assert first.now > first.before
    assert any(
        (one.item, one.state, one.fault) == ("bias", "open", "antenna-open") for one in moved_rows(model, moved)
    )
    assert moved_rows(model, model) == []
    assert moved_priors(model, model) == []


# --- from jobs ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rows", "faults"),
    [
        ("0:00 note any hello", None),
        ("0:00 finding indoors excluded", None),
        ("0:00 finding antenna-open confirmed", {"antenna-open"}),
        ("0:00 finding none confirmed", set()),
        ("0:00 finding other confirmed", {"other"}),
        ("0:00 finding antenna-open confirmed\n1:00 finding antenna-open excluded", None),
        ("0:00 finding antenna-open confirmed\n1:00 finding indoors confirmed", {"antenna-open", "indoors"}),
    ],
)
def test_what_a_job_turned_out_to_be(rows, faults):
    assert confirmed_faults(make_job(rows)) == (None if faults is None else frozenset(faults))


def test_a_lesson_holds_what_was_seen_and_comes_back_from_its_text():
    job = make_job("0:00 bias voltage 5.0 V\n0:01 bias current 0 mA\n9:00 finding antenna-open confirmed")
    taught = lesson_of(job)
    assert taught.faults == {"antenna-open"}
    assert taught.evidence["bias"] == "open"
    assert lesson_from(json.loads(taught.text()), "x.json") == taught
    assert lesson_of(make_job("0:00 bias voltage 5.0 V")) is None


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"form": 9}, "its form is 9"),
        ({"faults": "antenna-open"}, "'faults' is missing"),
        ({"faults": ["gremlin"]}, "'gremlin' is no fault"),
        ({"reason": "boredom"}, "'boredom' is no reason"),
        ({"evidence": []}, "'evidence' is missing"),
        ({"hash": None}, "'hash' is missing"),
    ],
)
def test_a_broken_lesson_is_one_clear_error(change, said):
    whole = json.loads(lesson(1).text()) | change
    with pytest.raises(BadInput, match=said) as caught:
        lesson_from(whole, "lesson-x.json")
    assert str(caught.value).startswith("lesson-x.json")


def test_evidence_that_this_version_does_not_know_is_left_out():
    whole = json.loads(lesson(1).text())
    whole["evidence"] |= {"tea-leaves": "bitter", "bias": "green"}
    assert lesson_from(whole, "x.json").evidence == {"any-path": "none"}
    assert dataclasses.replace(lesson(1), evidence={"any-path": "none"}) == lesson_from(whole, "x.json")
