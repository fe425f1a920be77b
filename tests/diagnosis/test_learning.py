"""What closed jobs teach: counts with known answers, one wrong finding, and what is read and refused."""

import dataclasses
import json
import tomllib

import numpy as np
import pytest

from satdiag.analysis import lesson_of
from satdiag.diagnosis import learning
from satdiag.diagnosis.counts import (
    HEALTHY_JOBS,
    KIND_JOBS,
    ROW_JOBS,
    counts_of,
    marginals,
    moved_model,
    prior_of,
    rows_of,
)
from satdiag.diagnosis.inference import posterior
from satdiag.diagnosis.learning import (
    Stake,
    chance_right,
    learned_model,
    moved_priors,
    moved_rows,
    moved_shares,
    reading_of,
)
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
    return marginals(space_of(), prior_of(model, reason))[name]


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
    found = learned_model(model, [lesson(k, ("antenna-short",), {"bias": "short"}) for k in range(10)])
    expected = ROW_JOBS * item.given["antenna-short"]
    expected[item.states.index("short")] += found.weight
    assert found.model.items["bias"].given["antenna-short"] == pytest.approx(expected / expected.sum())
    assert found.model.items["bias"].given["antenna-open"] == pytest.approx(item.given["antenna-open"])
    assert found.model.items["swap-lead"] == item or found.model.items["swap-lead"].healthy == pytest.approx(
        model.items["swap-lead"].healthy
    )


def test_a_fault_that_an_item_does_not_know_teaches_its_healthy_row():
    model = load_model()
    found = learned_model(model, [lesson(number, ("account-lapsed",), {"bias": "normal"}) for number in range(10)])
    item = model.items["bias"]
    expected = HEALTHY_JOBS * item.healthy
    expected[0] += found.weight
    assert found.model.items["bias"].healthy == pytest.approx(expected / expected.sum())


def test_jobs_with_several_faults_teach_how_often_but_not_what_it_looks_like():
    model = load_model()
    found = learned_model(model, [lesson(number, ("antenna-open", "indoors")) for number in range(5)])
    before, now = (rows_of(one.items["bias"]) for one in (model, found.model))
    assert now["antenna-open/steady"] is before["antenna-open/steady"]
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
    shift = learning.shift_of([Stake(("row",), 1.0, 160 * 0.01)], 0.5)
    assert shift == pytest.approx(np.log((160 * 0.01 + 0.5) / 160.5 / 0.01) - np.log(160 / 160.5))
    stakes = learning.stakes_of(load_model(), rare, reading_of(load_model(), rare).kinds)
    assert learning.shift_of(stakes, 1.0) > learning.MOST_SHIFT
    held = learning.weight_of(load_model(), rare)
    assert learning.shift_of(stakes, held) == pytest.approx(learning.MOST_SHIFT)


# --- kinds of a fault --------------------------------------------------------------------------------------------

DEAF = {"satellite": "none", "resets": "none"}
RESTARTS = {"satellite": "good", "resets": "several"}


def test_how_likely_each_kind_was_is_bayes_theorem_by_hand():
    """Share times what the kind shows in each item, the floor for a wrong reading mixed in; two families."""
    model = load_model()
    told = lesson(1, ("receiver-defective",), RESTARTS)
    mass = {}
    for kind, share in model.faults["receiver-defective"].kinds.items():
        mass[kind] = np.log(share)
        for name, state in RESTARTS.items():
            item = model.items[name]
            p = item.by_kind["receiver-defective", kind][item.states.index(state)]
            floor = model.error_floor
            mass[kind] += model.tempering_of(item.family) * np.log((1 - floor) * p + floor / len(item.states))
    whole = np.exp(list(mass.values())).sum()
    found = reading_of(model, told).kinds["receiver-defective"]
    assert found == pytest.approx({kind: np.exp(one) / whole for kind, one in mass.items()}, abs=1e-3)
    assert found["restarts"] > 0.8


def test_what_was_seen_moves_the_kind_that_shows_it_and_its_share():
    """Beta and Dirichlet counts by hand; a receiver that restarts says little of what a deaf one looks like."""
    model = load_model()
    lessons = [lesson(k, ("receiver-defective",), RESTARTS) for k in range(12)]
    found = learned_model(model, lessons)
    part = reading_of(model, lessons[0]).kinds["receiver-defective"]["restarts"]
    before, now = (one.faults["receiver-defective"].kinds["restarts"] for one in (model, found.model))
    assert now == pytest.approx((KIND_JOBS * before + found.weight * part) / (KIND_JOBS + found.weight))
    item = model.items["resets"]
    worth = ROW_JOBS * before
    at = item.states.index("several")
    old = item.by_kind["receiver-defective", "restarts"][at]
    new = found.model.items["resets"].by_kind["receiver-defective", "restarts"][at]
    assert new == pytest.approx((worth * old + found.weight * part) / (worth + found.weight * part))
    deaf = [one.items["satellite"].by_kind["receiver-defective", "deaf"] for one in (model, found.model)]
    assert deaf[1] == pytest.approx(deaf[0], abs=0.002)
    (share,) = [one for one in moved_shares(model, found.model) if one.kind == "restarts"]
    assert (share.fault, share.before, share.now) == ("receiver-defective", before, now)


def test_a_row_stays_the_mean_over_its_kinds_and_a_kind_left_healthy_stays_healthy():
    model = load_model()
    lessons = [lesson(k, ("receiver-defective",), (DEAF, RESTARTS)[k % 2]) for k in range(8)]
    moved = learned_model(model, [*lessons, *(lesson(k, (), {"resets": "none"}) for k in range(20, 25))]).model
    for item in moved.items.values():
        assert item.healthy.sum() == pytest.approx(1.0)
        for fault, row in item.given.items():
            own = {kind: one for (name, kind), one in item.by_kind.items() if name == fault}
            if own:
                mean = sum(moved.faults[fault].kinds[kind] * one for kind, one in own.items())
                assert row == pytest.approx(mean)
    before, now = model.items["resets"], moved.items["resets"]
    assert not np.array_equal(now.healthy, before.healthy)
    left = [kind for kind, row in before.by_kind.items() if np.array_equal(row, before.healthy)]
    assert ("receiver-defective", "resting") in left
    assert [kind for kind, row in now.by_kind.items() if np.array_equal(row, now.healthy)] == left


def test_lessons_drawn_from_the_model_itself_move_nothing_on_the_average():
    """A kind drawn by its share, states by its rows: what is added is what was there (our own model)."""
    model, rng = load_model(), np.random.default_rng(4)
    kinds = model.faults["receiver-defective"].kinds
    lessons = []
    for k in range(1500):
        kind = str(rng.choice(list(kinds), p=list(kinds.values())))
        evidence = {}
        for name in ("satellite", "resets"):
            row = model.items[name].by_kind["receiver-defective", kind]
            evidence[name] = str(rng.choice(model.items[name].states, p=row / row.sum()))
        lessons.append(lesson(k, ("receiver-defective",), evidence))
    read = {tuple(one.evidence.items()): reading_of(model, one) for one in lessons}
    of = [read[tuple(one.evidence.items())].kinds for one in lessons]
    moved = moved_model(model, counts_of(model, lessons, [1.0] * len(lessons), of, 120.0))
    assert moved.faults["receiver-defective"].kinds == pytest.approx(dict(kinds), abs=0.03)
    for name in ("satellite", "resets"):
        for kind in kinds:
            old, new = (one.items[name].by_kind["receiver-defective", kind] for one in (model, moved))
            assert new == pytest.approx(old, abs=0.08)


def test_what_is_received_well_teaches_what_a_sound_vehicle_shows():
    """The job is judged by the healthy row of what comes after reception; that is the row it must teach."""
    model = load_model()
    name = next(one.name for one in model.items.values() if one.through_reception and "indoors" in one.given)
    state = model.items[name].states[0]
    for path, row in (("good", "none"), ("none", "indoors")):
        told = lesson(1, ("indoors",), {"any-path": path, name: state})
        moved = {(one.item, one.fault) for one in moved_rows(model, learned_model(model, [told]).model)}
        assert {fault for item, fault in moved if item == name} == {row}


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


def _moves_of_its_own_job(samples, name, wrongs):
    """How far each wrong finding on just the readings of a job moves a fault of that job, which it moves most."""
    seen, reason = samples[name]
    before = _faults(load_model(), seen, reason)
    return {wrong: np.abs(_faults(_taught(seen, reason, wrong), seen, reason) - before).max() for wrong in wrongs}


def test_one_wrong_finding_moves_no_fault_of_its_own_job_by_more_than_a_twentieth(samples):
    """Two wrong findings a sample, all in turn; simulated jobs, which prove the bound for such alone."""
    for number, name in enumerate(SAMPLES):
        wrongs = [WRONG[(2 * number + k) % len(WRONG)] for k in range(2)]
        assert max(_moves_of_its_own_job(samples, name, wrongs).values()) <= 0.05, (name, wrongs)


@pytest.mark.long
@pytest.mark.parametrize("name", SAMPLES)
def test_no_wrong_finding_at_all_moves_a_fault_of_its_own_job_by_more_than_a_twentieth(samples, name):
    moves = _moves_of_its_own_job(samples, name, WRONG)
    assert max(moves.values()) <= 0.05, moves


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
    space = model.space()
    found = posterior(model, space, prior_of(model, reason).log(space), log_terms(model, space, seen))
    return np.array([*found.faults().values(), found.probability_of("none")])


def test_what_moved_is_told_the_furthest_first():
    model = load_model()
    moved = learned_model(model, [lesson(number) for number in range(20)]).model
    first = moved_priors(model, moved)[0]
    assert (first.reason, first.fault) == ("complaint", "antenna-open")
    assert first.now > first.before
    rows = {(one.item, one.state, one.fault) for one in moved_rows(model, moved)}
    assert ("bias", "open", "antenna-open/steady") in rows
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
