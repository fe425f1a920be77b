"""Tests for a sure verdict instead of for little work: what is offered, why it stops, and how one asks for it."""

import json
from pathlib import Path

import numpy as np
import pytest

import satdiag
from satdiag.cli import run
from satdiag.diagnosis import estimate, proof
from satdiag.diagnosis.model import load_model
from satdiag.diagnosis.plan import NOTHING_PAYS_TEXT, Bench
from satdiag.diagnosis.proof import trials
from satdiag.diagnosis.proof_chance import chance_of_proof
from satdiag.diagnosis.proof_plan import NOTHING_LEFT_TEXT, PROVED_TEXT, look_for_proof
from satdiag.diagnosis.standing import Standing
from satdiag.diagnosis.waiting import Wait, waiting_option
from satdiag.errors import SatdiagError
from tests.diagnosis.test_verdict import belief_in
from tests.helpers import make_job

SAMPLES = Path(satdiag.__file__).parent.parent / "sample_logs"

# The vehicle hears well, an open channel plays, and the provider knows no account: ordering one is cheaper than any
# test, and yet one in twenty such vehicles has something else.
NO_ACCOUNT = "\n".join(
    [
        "0:00 place vehicle open-sky",
        "0:30 listing source yes",
        "1:00 ring other-sources working",
        "2:00 lock any yes",
        "3:00 lock any yes",
        "4:00 signal satellite:east 12 dB",
        "5:00 channel 1 authorised",
        *(f"6:{k:02d} channel {k + 20} refused" for k in range(10)),
        "8:00 account service none",
    ]
)
# Everything but the current of the feed speaks for nothing; without tools there is little to do.
NO_CURRENT = """
0:00 place vehicle open-sky
0:30 listing source yes
1:00 ring other-sources working
2:00 lock any no
3:00 lock any no
4:00 signal satellite:east 0.1 dB
5:00 bias voltage 5.0 V
5:10 bias current 0 mA
7:00 bias voltage 5.0 V
7:10 bias current 0 mA
"""
NOT_SET = """
0:00 place vehicle open-sky
0:30 listing source no
1:00 ring other-sources working
2:00 ring node:receiver present
2:30 ring bus closed
4:00 configuration readback differs
"""


def standing(seen=(), can=None, waiting=None, wait=None, **p):
    belief = belief_in(**p)
    with np.errstate(divide="ignore"):
        log_prior = np.log(belief.p)
    bench = Bench(
        load_model(), tuple(seen), False, None if can is None else frozenset(can), waiting, wait, frozenset()
    )
    return Standing(bench, belief.space, log_prior, {})


def test_where_acting_is_cheaper_only_the_one_who_must_prove_it_tests_on():
    repair = satdiag.analyse(make_job(NO_ACCOUNT)).diagnosis
    assert (repair.aim, repair.stop, repair.stop_text) == ("repair", "nothing-pays", NOTHING_PAYS_TEXT)
    assert repair.next_tests == ()
    assert repair.repairs[0].fault == "not-activated"
    found = satdiag.analyse(make_job(NO_ACCOUNT), aim="proof")
    told = found.diagnosis
    assert not found.verdict.sure
    assert (told.aim, told.stop, told.repairs) == ("proof", "", ())
    assert told.plan[0].test == told.next_tests[0].test
    assert all(0 <= test.p_sure <= 1 for test in told.next_tests)
    assert found.verdict.do_next == told.next_tests[0].text
    assert told.faults == repair.faults


def test_it_stops_when_the_verdict_is_sure():
    found = satdiag.analyse(make_job(NOT_SET), aim="proof")
    assert found.verdict.sure
    assert (found.diagnosis.stop, found.diagnosis.stop_text) == ("sure", PROVED_TEXT)
    assert (found.diagnosis.next_tests, found.diagnosis.plan) == ((), ())
    assert found.diagnosis.repairs[0].fault == "not-configured"


def test_it_stops_where_what_is_left_cannot_make_it_sure_and_says_what_would_tell_more():
    told = satdiag.analyse(make_job(NO_CURRENT), can=(), aim="proof").diagnosis
    assert told.stop == "cannot-be-sure"
    assert told.stop_text.startswith(
        "What is left to test cannot make the verdict sure: of 900 drawn sets of answers"
    )
    assert load_model().can["feed-switch"] in told.stop_text
    assert told.repairs
    with_switch = satdiag.analyse(make_job(NO_CURRENT), can=("feed-switch",), aim="proof").diagnosis
    assert with_switch.next_tests[0].test == "noise-rise"


def test_it_stops_where_nothing_is_left_to_do():
    everything = tuple(load_model().items)
    ahead = look_for_proof(standing(everything, antenna_open=0.6, indoors=0.4), False)
    assert (ahead.stop, ahead.stop_text) == ("nothing-left", NOTHING_LEFT_TEXT)
    assert look_for_proof(standing(antenna_open=0.6, indoors=0.4), True).stop == "sure"


def test_no_test_is_done_again_whose_answer_would_not_change():
    now, done = standing(antenna_open=0.4, feed_swapped=0.3, receiver_defective=0.3), []
    while found := [one for one in trials(now) if one.rate > 0]:
        done.append(found[0].test.item)
        now = now.told(found[0].test, now.belief(), int(np.argmax(found[0].chance)))
    assert len(done) > 2
    assert len(set(done)) == len(done)


def test_waiting_and_known_good_parts_are_among_the_tests():
    wait = Wait(12.0, 0.9, 8.0)
    torn = {"none": 0.6, "id_mismatch": 0.4}
    option = waiting_option(load_model(), belief_in(**torn), wait)
    waits = look_for_proof(standing(("identity",), can=(), waiting=option, wait=wait, **torn), False)
    assert "wait-and-recheck" in [test.test for test in waits.tests]
    parts = trials(standing(antenna_weak=0.5, receiver_defective=0.5))
    assert {"swap-antenna", "swap-receiver"} <= {one.test.name for one in parts if one.rate > 0}


def test_the_belief_after_an_answer_is_that_of_a_job_that_holds_it():
    """Answered as the plan foresees, the whole analysis says the same: cold node, and the ring is closed."""
    asked = "0:00 place vehicle open-sky\n0:30 listing source no\n1:00 ring other-sources working\n"
    step = _asked_of(asked, "check-ring")
    belief = step.standing.belief()
    after = step.standing.told(step.test, belief, step.states.index("closed")).belief().faults()
    held = satdiag.analyse(make_job(asked + "2:00 ring bus closed\n")).diagnosis.faults
    for fault, p in held.items():
        assert after[fault] == pytest.approx(p, abs=0.02)


class _Asked:
    def __init__(self, now, test):
        self.standing, self.test, self.states = now, test, load_model().items[test.item].states


def _asked_of(rows, name):
    seen = {}

    def keep(found, case, sure):
        seen["standing"] = Standing(case.bench, case.whole.space, case.prior, case.terms)
        return found

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("satdiag.analysis.toward_proof", keep)
        satdiag.analyse(make_job(rows), aim="proof")
    return _Asked(seen["standing"], next(one for one in load_model().tests if one.name == name))


def test_the_chance_of_proof_is_a_share_and_the_same_each_time():
    torn, tests = standing(antenna_open=0.5, receiver_defective=0.5), load_model().tests
    assert chance_of_proof(torn, tests) == chance_of_proof(torn, tests) > 0.5
    assert chance_of_proof(torn, tests) >= chance_of_proof(torn, tests[:3])
    assert chance_of_proof(torn, []) == 0.0


def test_the_chance_of_proof_by_one_test_is_that_of_its_answers():
    """Counted over 4000 drawn answers, and summed over the answers themselves: the same within what chance leaves."""
    torn = standing(antenna_open=0.5, receiver_defective=0.5)
    found = next(one for one in trials(torn) if one.test.name == "measure-bias")
    spread = (found.p_sure * (1 - found.p_sure) / 4000) ** 0.5
    assert 0.1 < found.p_sure < 0.95
    assert chance_of_proof(torn, [found.test], 4000) == pytest.approx(found.p_sure, abs=4 * spread)


def test_sure_means_the_same_everywhere():
    assert proof.SURE_AT == estimate.SURE_AT


def test_the_aim_on_the_command_line(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("SATDIAG_USER_FOLDER", str(tmp_path))
    sample = str(SAMPLES / "antenna-open")
    assert run(["analyse", sample, "--aim", "proof", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["diagnosis"]["aim"] == "proof"
    assert run(["analyse", sample, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["diagnosis"]["aim"] == "repair"
    assert run(["analyse", sample, "--aim", "proof"]) == 0
    assert "takes" in capsys.readouterr().out
    assert run(["analyse", sample, "--aim", "win"]) == 2
    assert "'repair', 'proof'" in capsys.readouterr().err


def test_an_unknown_aim_is_refused_in_words():
    with pytest.raises(SatdiagError, match="the aim 'win' is not known; use one of repair, proof"):
        satdiag.analyse(make_job(NOT_SET), aim="win")
