"""What is said to people, and when it counts as sure."""

from dataclasses import replace

import numpy as np
import pytest

import satdiag
from satdiag.diagnosis import inference
from satdiag.diagnosis.model import load_model
from satdiag.diagnosis.plan import Bench, look_ahead
from satdiag.diagnosis.remaining import remaining
from satdiag.diagnosis.remarks import Case
from satdiag.diagnosis.seen import Seen
from satdiag.diagnosis.sensitivity import swings
from satdiag.diagnosis.space import space_of
from satdiag.diagnosis.titles import TITLES
from satdiag.diagnosis.verdict import _shortlist
from satdiag.diagnosis.weighing import log_terms
from satdiag.diagnosis.wording import minutes, percent
from satdiag.diagnosis.worth import COME_BACK_MINUTES, losses
from satdiag.findings import ChannelFinding, EntitlementFindings, Quantiles, TuningFindings
from satdiag.language import LANGUAGES, speaking
from satdiag.sheet import Sheet
from satdiag.vocabulary import CLASS_OF, FAULTS
from tests.helpers import make_job


@pytest.mark.parametrize(
    ("p", "text"),
    [(0.001, "under 5 %"), (0.05, "about 5 %"), (0.5, "about 50 %"), (0.9512, "over 95 %"), (1, "over 95 %")],
)
def test_percent_never_says_never_or_always(p, text):
    assert percent(p) == text


@pytest.mark.parametrize(
    ("seconds", "text"), [(1, "1 minute"), (150, "2 minutes"), (1560, "25 minutes"), (5800, "1.6 hours")]
)
def test_minutes_are_no_finer_than_they_are_worth(seconds, text):
    assert minutes(seconds) == text


def belief_in(**p):
    """A posterior with given probabilities of sets of faults ('none', 'a+b')."""
    space = space_of()
    found = np.zeros(len(space.hypotheses))
    for name, value in p.items():
        faults = frozenset() if name == "none" else frozenset(part.replace("_", "-") for part in name.split("__"))
        found[space.hypotheses.index(faults)] = value
    return inference.Posterior(space, found, 0.0)


def test_the_class_leads_and_then_the_fault_in_it():
    found = belief_in(antenna_open=0.3, antenna_weak=0.25, indoors=0.4, none=0.05)
    assert found.top() == ("antenna", "antenna-open")


def test_an_explanation_yields_to_a_fault_that_is_likely():
    assert belief_in(partial_package=0.4, partial_package__obstructed=0.6).top() == ("sky", "obstructed")
    assert belief_in(partial_package=0.6, partial_package__obstructed=0.4).top() == (
        "subscription",
        "partial-package",
    )


def test_losses_of_acting():
    """Mending the right thing costs nothing extra; leaving it brings the vehicle back; the wrong work is wasted."""
    model, table = load_model(), losses(load_model(), space_of())
    open_, weak = FAULTS.index("antenna-open"), FAULTS.index("antenna-weak")
    single = space_of().index_of("antenna-open")
    assert table[0, 0] == 0
    assert table[1 + open_, single] == 0
    assert table[0, single] == COME_BACK_MINUTES
    assert table[1 + weak, single] == model.faults["antenna-weak"].fix_minutes + COME_BACK_MINUTES


def test_tests_are_offered_only_where_they_pay_and_only_once():
    model = load_model()
    assert look_ahead(Bench(model, (), False, None), belief_in(none=1.0), False).tests == ()
    torn = belief_in(id_mismatch=0.5, entitlement_not_received=0.5)
    offered = look_ahead(Bench(model, (), False, None), torn, False).tests
    assert offered[0].test == "compare-identifier"
    assert all(test.net_minutes > 0 for test in offered)
    nets = [test.net_minutes for test in offered]
    assert nets == sorted(nets, reverse=True)
    again = look_ahead(Bench(model, ("identity",), False, None), torn, False).tests
    assert "compare-identifier" not in [test.test for test in again]


def test_sure_needs_more_than_a_high_probability():
    firm = [
        Seen("bias", "open"),
        Seen("any-path", "none"),
        Seen("swap-antenna", "better"),
        Seen("unjudgeable", "many"),
        Seen("listing", "offered"),
    ]
    assert not any(swing.changes for swing in moved(firm))
    assert any(swing.changes for swing in moved([Seen("swap-antenna", "better")]))


def moved(seen):
    model, space = load_model(), space_of()
    prior = inference.prior_for(model, Sheet("x", reason="just-installed"))
    terms = log_terms(model, space, seen)
    return swings(model, inference.posterior(model, space, prior.log(space), terms), prior, terms)


START = ["0:00 place vehicle open-sky", "0:00 power receiver awake", "0:00 account service confirmed"]
START += [f"{minute}:00 lock any yes" for minute in range(60)]
LINEUP = "\n".join(f"{channel},Demo {channel},Rock,all" for channel in range(1, 21))


def clock(seconds):
    return f"{seconds // 60}:{seconds % 60:02d}"


def checks(seen, at_s, channels=range(1, 21)):
    return [f"{clock(at_s + 2 * k)} channel {channel} {seen}" for k, channel in enumerate(channels)]


def changes(ended, after_s):
    rows = []
    for k in range(8):
        rows += [
            f"{clock(2400 + 40 * k)} tune {k + 1} requested",
            f"{clock(2400 + 40 * k + after_s)} tune {k + 1} {ended}",
        ]
    return rows


def told(*rows, reason=""):
    sheet = (f'reason = "{reason}"\n' if reason else "") + '\n[service]\npackage = "all"\n'
    return satdiag.analyse(make_job("\n".join([*START, *rows]), sheet, LINEUP)).verdict


def test_it_works_only_where_changes_and_account_do_not_say_otherwise():
    plays = checks("authorised", 1200)
    assert told(*plays, *changes("audio", 2)).text.startswith("It works: 20 of 20 expected channels play and nothing")
    slow = told(*plays, *changes("audio", 6))
    assert slow.state == "works"
    assert "but channel changes are slow: half of them take 6.0 s or more" in slow.text
    assert slow.do_next.startswith("Time some more channel changes")
    silent = told(*plays, *changes("abandoned", 15))
    assert silent.state == "cannot-tell"
    assert "none of the timed channel changes came to sound (8 given up)" in silent.text


@pytest.mark.parametrize(("last", "words"), [("lapsed", "has ended"), ("none", "does not exist")])
def test_a_log_that_ends_with_a_stopped_account_is_no_works(last, words):
    for rows in ((), checks("authorised", 3300)):
        found = told(*checks("authorised", 1200), "50:00 account service " + last, *rows)
        assert found.state == "cannot-tell"
        assert f"20 of 20 expected channels play, but the log says that the account {words}." == found.text
        assert "Ask the provider" in found.do_next


@pytest.mark.parametrize("lost", [3, 20])
@pytest.mark.parametrize("reason", ["", "just-installed"])
def test_channels_that_were_lost_are_not_waited_for(lost, reason):
    rows = ["0:01 listing source yes", *checks("authorised", 600), *checks("authorised", 1200)]
    found = told(*rows, *checks("refused", 3300, range(1, lost + 1)), reason=reason)
    assert (found.state, found.class_) == ("fault", "subscription")
    assert f"{lost} channels that played before are refused now" in found.text
    assert found.do_next.startswith("Ask the provider")
    assert "Waiting does not bring them back." in found.text or found.fault == "account-lapsed"


def test_few_arrivals_give_no_minutes():
    rows = ["0:01 listing source yes", *checks("refused", 60), *checks("authorised", 1200, range(1, 5))]
    found = told(*rows, *checks("refused", 1300, range(5, 21)))
    assert found.state == "filling"
    assert found.text.endswith(" How long the others may take cannot be told yet.")
    assert "90 % range" not in found.text
    assert "for 15 minutes more" in found.do_next


LONG_S = (1500, 180, 8300)


@pytest.mark.parametrize(
    ("chances", "plays", "wait_s", "words"),
    [
        (
            [0.36],
            18,
            (600, 30, 7560),
            "The chance that the last one comes is about 36 %; if it does, that should take",
        ),
        (
            [0.9],
            18,
            (30, 20, 40),
            "The chance that the last one comes is about 90 %; if it does, that should take about",
        ),
        (
            [0.36],
            4,
            LONG_S,
            "The chance that the last one comes is about 36 %; how long that may take cannot be told",
        ),
        ([0.36], 18, None, "The chance that the last one comes is about 36 %."),
        ([0.3] * 59, 18, (2100, 900, 7900), "About 18 of the other 59 should still come; for all of these it should"),
        (
            [0.3] * 59,
            4,
            LONG_S,
            "About 18 of the other 59 should still come; how long that may take cannot be told yet.",
        ),
        ([0.3] * 59, 18, None, "About 18 of the other 59 should still come."),
        ([0.9] * 6, 18, LONG_S, "The last of those still to come should be there after about 25 minutes"),
        ([0.9] * 6, 4, LONG_S, "How long the others may take cannot be told yet."),
        ([0.9] * 6, 18, None, ""),
        ([0.01] * 6, 18, LONG_S, "Whether any of the others comes is doubtful."),
        ([0.01] * 6, 4, LONG_S, "Whether any of the others comes is doubtful."),
        ([], 18, (1.0, 0.0, 2.0), ""),
    ],
)
def test_what_is_said_of_the_rest(chances, plays, wait_s, words):
    rest = tuple(ChannelFinding(100 + k, "refused", p, None, "late") for k, p in enumerate(chances))
    time = Quantiles(*wait_s) if wait_s else None
    found = EntitlementFindings(authorised=plays, channels=rest, remaining_to_last_s=time)
    case = Case(None, None, found, TuningFindings(), None)
    said = remaining(case)
    assert said.startswith(words)
    assert bool(said) == bool(words)
    assert "1 minute to 1 minute" not in said
    for language in LANGUAGES:  # one whole sentence in each
        with speaking(language):
            other = remaining(case)
        assert not other or (other[0].isupper() and other[-1] == "." and ".." not in other)
        assert (other == said) == (language == "en" or not said)


def test_a_second_cause_that_is_hardly_likely_is_not_named():
    found = told("0:00 channel 31 refused", reason="check")
    assert found.state == "cannot-tell"
    assert found.text.startswith("The log does not tell yet which it is; most likely nothing is wrong (about ")
    assert "under 5 %" not in found.text
    assert " or " not in found.text


@pytest.mark.parametrize(
    ("chances", "words"),
    [
        ({"interference": 0.4}, "a strong emission at this place disturbs the reception (about 40 %)"),
        ({"indoors": 0.3, "foliage": 0.2, "obstructed": 0.1}, " (about 30 %) or "),
        ({"indoors": 0.3, "foliage": 0.04}, "a roof over the vehicle blocks the signal (about 30 %)"),
    ],
)
def test_the_shortlist_of_a_class_of_any_size(chances, words):
    class_ = CLASS_OF[next(iter(chances))]
    classes = dict.fromkeys(("none", "other"), 0.0)
    found = satdiag.analyse(make_job("0:00 note - a")).diagnosis
    found = replace(found, faults={**dict.fromkeys(FAULTS, 0.0), **chances}, classes=classes)
    said = _shortlist(found, class_)
    assert said == words if words[0] != " " else words in said


def test_nothing_refused_is_not_called_refused():
    assert "refused" not in TITLES["partial-package"]
