"""What to try next: what the person can do, the plan, why it stops, waiting as a test, and the words for all that."""

from pathlib import Path

import numpy as np
import pytest

import satdiag
from satdiag.diagnosis.explain import SCALE_TEXT, kind_of, of_hundred, strength
from satdiag.diagnosis.model import load_model
from satdiag.diagnosis.plan import NOTHING_PAYS_TEXT, Bench, look_ahead
from satdiag.diagnosis.space import space_of
from satdiag.diagnosis.waiting import Wait, wait_for, waiting_option, within
from satdiag.findings import ChannelFinding, EntitlementFindings, Quantiles, SilenceCurve
from satdiag.vocabulary import CLASS_OF, FAULTS
from tests.diagnosis.test_verdict import belief_in
from tests.helpers import make_job

TORN = belief_in(antenna_open=0.5, receiver_defective=0.5)


def bench(seen=(), can=None, waiting=None, wait=None):
    return Bench(load_model(), tuple(seen), False, None if can is None else frozenset(can), waiting, wait)


# --- what can be done --------------------------------------------------------------------------------------------


def test_no_test_is_offered_that_needs_what_is_not_there():
    everything = look_ahead(bench(), TORN, False)
    assert everything.tests[0].test == "measure-bias"
    few = look_ahead(bench(can=("swap-antenna", "outdoors")), TORN, False)
    assert "measure-bias" not in [test.test for test in few.tests]
    for test in few.tests:
        needs = next(one.needs for one in load_model().tests if one.name == test.test)
        assert set(needs) <= {"swap-antenna", "outdoors"}


def test_it_says_what_is_missing_where_only_that_would_help():
    done = [item for item in load_model().items if item not in ("bias", "noise-rise")]
    stopped = look_ahead(bench(done, can=()), TORN, False)
    assert stopped.tests == ()
    assert stopped.stop.startswith("needs ")
    assert "bias-meter" in stopped.stop
    assert load_model().can["bias-meter"] in stopped.stop_text


def test_it_stops_when_sure_and_when_nothing_pays_and_says_which():
    assert look_ahead(bench(), TORN, True).stop == "sure"
    nothing = look_ahead(bench(), belief_in(none=1.0), False)
    assert (nothing.stop, nothing.stop_text) == ("nothing-pays", NOTHING_PAYS_TEXT)


def test_the_plan_tells_every_likely_answer_and_what_it_would_mean():
    ahead = look_ahead(bench(), TORN, False)
    assert 1 <= len(ahead.plan) <= 3
    first = ahead.plan[0]
    assert first.test == ahead.tests[0].test
    assert sum(answer.chance for answer in first.answers) > 0.9
    meant = {answer.state: answer.fault for answer in first.answers}
    assert meant["open"] == "antenna-open"
    assert meant["normal"] == "receiver-defective"
    names = [step.test for step in ahead.plan]
    assert len(set(names)) == len(names)


def test_chances_of_answers_are_the_beliefs_own():
    """By the law of total probability: the mean of what would be believed is what is believed now."""
    step = look_ahead(bench(), TORN, False).plan[0]
    opened = sum(a.chance * (a.probability if a.fault == "antenna-open" else 1 - a.probability) for a in step.answers)
    told = sum(answer.chance for answer in step.answers)
    assert opened / told == pytest.approx(0.5, abs=0.02)


# --- waiting -----------------------------------------------------------------------------------------------------


def channel(number, p=0.9, median=600.0):
    return ChannelFinding(number, "refused", p, Quantiles(median, median / 4, median * 4), "late")


def test_a_time_known_by_three_quantiles():
    remaining = Quantiles(600.0, 150.0, 2400.0)
    assert within(remaining, 600.0) == pytest.approx(0.5)
    assert within(remaining, 150.0) == pytest.approx(0.05)
    assert within(remaining, 2400.0) == pytest.approx(0.95)
    assert within(remaining, 0.0) == 0.0


def test_how_long_to_wait_while_channels_come():
    shares = {"0.5": Quantiles(400.0, 200.0, 700.0)}
    found = EntitlementFindings(
        channels=tuple(channel(n) for n in range(10)), complete=False, remaining_to_share_s=shares
    )
    wait = wait_for(found)
    assert wait.minutes == 12
    assert wait.p_more == pytest.approx(within(shares["0.5"], 720.0))
    assert wait.more == pytest.approx(10 * 0.9 * within(Quantiles(600.0, 150.0, 2400.0), 720.0))
    assert "for 12 minutes" in wait.text()
    assert wait_for(EntitlementFindings(complete=True)) is None
    assert wait_for(EntitlementFindings(channels=(channel(1),), complete=False)) is None


def test_silence_tells_the_chance_of_more_by_bayes_rule():
    """A dead account has prior odds 1 to 9; life is silent as exp(-t / 300 s): the curve by hand, and back again."""
    t_s = np.linspace(0.0, 6000.0, 601)
    dead = 0.1 / (0.1 + 0.9 * np.exp(-t_s / 300.0))
    found = EntitlementFindings(
        channels=(channel(1),),
        complete=False,
        exposure_s=240.0,
        silence=SilenceCurve(tuple(t_s), tuple(dead)),
    )
    wait = wait_for(found)
    assert wait.minutes == 12  # 1 - exp(-720 / 300) = 0.909 is the first to reach 0.9
    assert wait.p_more == pytest.approx(1 - np.exp(-720.0 / 300.0), abs=1e-3)


def test_waiting_parts_a_dead_account_from_one_that_fills():
    model = load_model()
    option = waiting_option(model, belief_in(none=1.0), Wait(12.0, 0.9, 8.0))
    space = space_of()
    more = option.table[:, 0]
    assert more[space.none] == pytest.approx(0.9, abs=0.02)
    for fault in ("not-activated", "id-mismatch"):
        assert more[space.index_of(fault)] < 0.1
    assert more[space.other] == pytest.approx(0.5)
    assert option.table.sum(axis=1) == pytest.approx(np.ones(len(more)))
    torn = belief_in(none=0.75, id_mismatch=0.25)
    ahead = look_ahead(bench(("identity",), can=(), waiting=option, wait=Wait(12.0, 0.9, 8.0)), torn, False)
    assert "wait-and-recheck" in [test.test for test in ahead.tests]


def test_nothing_is_waited_for_where_nothing_can_be_predicted():
    ahead = look_ahead(bench(can=()), belief_in(none=0.5, id_mismatch=0.5), False)
    assert "wait-and-recheck" not in [test.test for test in ahead.tests]


# --- words -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("weight_db", "word"),
    [
        (0.4, "slight"),
        (-2.9, "slight"),
        (3, "moderate"),
        (-7, "strong"),
        (12.9, "strong"),
        (13, "very strong"),
        (20, "decisive"),
    ],
)
def test_the_words_for_weights_are_those_of_the_scale(weight_db, word):
    assert strength(weight_db) == word
    assert word in SCALE_TEXT


@pytest.mark.parametrize("fault", FAULTS)
def test_every_fault_is_of_one_kind(fault):
    kind = kind_of("fault", fault)
    assert kind in ("not-paid", "not-sent", "not-here", "broken")
    assert (kind in ("not-paid", "not-sent")) == (CLASS_OF[fault] == "subscription")
    assert (kind == "not-here") == (CLASS_OF[fault] in ("sky", "service"))
    assert kind_of("cannot-tell", fault) == "unknown"


def test_not_working_yet_not_paid_for_and_broken_are_told_apart():
    assert kind_of("filling", "none") == "not-yet"
    assert kind_of("explained", "partial-package") == "not-paid"
    assert kind_of("fault", "entitlement-not-received") == "not-sent"
    assert kind_of("fault", "antenna-open") == "broken"
    assert kind_of("works", "none") == "works"


def test_out_of_a_hundred_vehicles():
    text = of_hundred(belief_in(antenna_open=0.47, receiver_defective=0.30, none=0.20, indoors=0.03))
    assert text.startswith(
        "Out of 100 vehicles with these same readings, about 47 would have this: the antenna's feed"
    )
    assert "about 30 would have this: the receiver itself has failed" in text
    assert text.endswith("and about 20 would have nothing wrong.")
    assert "more than one" in of_hundred(belief_in(antenna_open__indoors=1.0))


def test_a_job_says_what_would_change_its_mind():
    job = satdiag.open_job(Path(satdiag.__file__).parent.parent / "sample_logs" / "feed-lossy")
    told = satdiag.analyse(job).diagnosis
    assert any(text.startswith("Were this reading wrong: ") for text in told.explanation.change_mind)
    assert told.explanation.kind == "broken"


def test_a_reading_that_fits_badly_is_named():
    rows = [
        "0:00 place vehicle open-sky",
        *(f"{minute}:00 lock any yes" for minute in range(1, 12)),
        "12:00 bias voltage 0 V",
        "12:01 bias current 0 mA",
        *(f"13:0{k} channel {k} authorised" for k in range(5)),
        "14:00 audio output playing",
    ]
    told = satdiag.analyse(make_job("\n".join(rows))).diagnosis
    assert told.odd_reading.item == "bias"
    assert told.odd_reading.chance < 0.02
    assert "fits badly" not in satdiag.analyse(make_job("\n".join(rows[:12]))).verdict.do_next
