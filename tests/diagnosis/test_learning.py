"""What closed jobs teach: counts with known answers, one wrong finding, and what is read and refused."""

import dataclasses
import json

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
from tests.helpers import make_job

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
    """Beta-binomial by hand: (120 p + 20) / (120 + 20) where every lesson counts whole."""
    model = load_model()
    found = learned_model(model, [lesson(number) for number in range(20)])
    weight = found.weight
    assert weight == pytest.approx(20, abs=0.1)
    before = marginal(model, "antenna-open")
    assert marginal(found.model, "antenna-open") == pytest.approx((120 * before + weight) / (120 + weight), abs=1e-5)
    assert marginal(found.model, "none") == pytest.approx(120 * marginal(model, "none") / (120 + weight), abs=1e-5)
    assert marginal(found.model, "antenna-open", "check") == marginal(model, "antenna-open", "check")


def test_a_row_is_the_packaged_one_with_the_states_seen_added():
    """Dirichlet-multinomial by hand."""
    model = load_model()
    item = model.items["bias"]
    found = learned_model(model, [lesson(number) for number in range(10)])
    expected = 40 * item.given["antenna-open"]
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
    expected = 240 * item.healthy
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


@pytest.mark.parametrize("wrong", ["interference", "account-lapsed", "indoors", "antenna-short", "ring-order"])
def test_one_wrong_finding_moves_no_fault_of_a_typical_job_by_more_than_a_twentieth(wrong):
    """The job: an open lead, sure. Beside it: the same readings, short of what would make it sure."""
    model = load_model()
    moved = learned_model(model, [lesson(1, (wrong,))]).model
    for evidence in (OPEN, {"any-path": "none"}, {"any-path": "weak", "bias": "normal"}, {"entitlement": "stalled"}):
        assert np.abs(_faults(model, evidence) - _faults(moved, evidence)).max() <= 0.05


def _faults(model, evidence):
    space = space_of()
    terms = log_terms(model, space, [Seen(*one) for one in evidence.items()])
    return np.array(list(posterior(model, space, prior_of(model, "complaint").log(space), terms).faults().values()))


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
