"""When the person is called, against order statistics; and whether waits count, against the exposure clock."""

from __future__ import annotations

import math

import pytest
from scipy.stats import beta, binom

from satdiag.analysis import analyse
from satdiag.exposure import exposure_clock
from satdiag.findings import ChannelFinding, EntitlementFindings, FillCurve, Quantiles
from satdiag.live.bench import looked_s_ago
from satdiag.live.listening import ASLEEP, NO_SIGNAL, Listening
from satdiag.live.sentence import LATEST_LOOK_S, SOONEST_LOOK_S, calls_of, now_of
from satdiag.rows import parse_time_us
from satdiag.store import create_job_file
from satdiag.vocabulary import AWAKE_HOLD_S, RECEIVED_HOLD_S
from tests.helpers import make_job, make_rows, time_text
from tests.live.rigs import PAGE, running, tap, until
from tests.recorder.conftest import nothing_is_left  # noqa: F401

LINEUP = "\n".join(f"{n},Demo {n},music,full" for n in range(1, 21))
SHEET = '[receiver]\nlevel_scale = "dB"\nlevel_floor = 0\n[service]\npackage = "full"\n'


def waiting(number, scale_s, now_s=600.0, here=4, chance=1.0, end_s=20_000.0, step_s=10.0, last_s=9000.0):
    """`number` channels that come one by one, each after an exponential wait, seen to be missing just now.

    How many have come after t is then binomial with 1 - exp(-t / scale), and so is the curve's median.
    """
    at_s = [n * step_s for n in range(int(end_s / step_s) + 1)]
    come = [chance * -math.expm1(-max(t - now_s, 0.0) / scale_s) for t in at_s]
    median = tuple(here + float(binom.median(number, p)) for p in come)
    own = Quantiles(scale_s * math.log(2), 0.05 * scale_s, 3 * scale_s)
    channels = tuple(ChannelFinding(n, "refused", chance, own, "late") for n in range(number))
    curve = FillCurve(tuple(at_s), median, median, median, (0.0, now_s), (0.0, here), (0.0, here))
    last = Quantiles(0.5 * last_s, 0.1 * last_s, last_s)
    return EntitlementFindings(exposure_s=now_s, channels=channels, curve=curve, remaining_to_last_s=last)


def by_name(entitlement, looked_s=0.0):
    return {call.what: call for call in calls_of(entitlement, looked_s)}


@pytest.mark.parametrize("number", [3, 8, 21])
def test_the_first_and_the_half_are_the_medians_of_order_statistics(number):
    """The k-th of n uniform draws is Beta(k, n + 1 - k): H. A. David, Order Statistics, section 2.1 (from memory)."""
    scale_s = 4000.0
    calls = by_name(waiting(number, scale_s))
    rank = math.ceil(number / 2)
    for name, k in (("look", 1), ("half", rank)):
        expected_s = -scale_s * math.log1p(-beta.median(k, number + 1 - k))
        assert calls[name].in_s == pytest.approx(expected_s, abs=20.0), name
    assert calls["stop"].in_s == 9000.0
    assert f"{rank} of the {number} channels" in calls["half"].why


def test_every_call_says_that_the_wait_counts_awake_with_signal():
    for call in calls_of(waiting(8, 4000.0)):
        assert "awake with signal" in call.why
        assert call.why.endswith(".")
    assert "another test than waiting" in by_name(waiting(8, 4000.0))["stop"].why


def test_a_look_is_never_sooner_than_a_minute_nor_later_than_half_an_hour_after_the_last_one():
    soon, late = waiting(20, 60.0), waiting(1, 40_000.0)
    assert by_name(soon)["look"].in_s == SOONEST_LOOK_S
    assert by_name(soon, 45.0)["look"].in_s == 15.0
    assert by_name(late)["look"].in_s == LATEST_LOOK_S
    assert by_name(late, 1000.0)["look"].in_s == LATEST_LOOK_S - 1000.0
    assert "half an hour" in by_name(late)["look"].why
    assert by_name(soon)["half"].in_s >= by_name(soon)["look"].in_s


def test_a_moment_that_has_passed_lies_before_now_and_stays_where_it_was():
    """Ten minutes later, without another look: what counts is when it passed, not when it was worked out again."""
    first = waiting(8, 4000.0)
    later = EntitlementFindings(**{**vars(first), "exposure_s": 600.0 + 1200.0})
    moved_s = by_name(first)["look"].in_s - by_name(later, 1200.0)["look"].in_s
    assert moved_s == pytest.approx(1200.0)
    assert by_name(later, 1200.0)["look"].in_s < 0


def test_where_nothing_tells_there_is_no_call():
    assert calls_of(EntitlementFindings()) == ()
    none_likely = waiting(8, 4000.0, chance=0.2)
    assert list(by_name(none_likely)) == ["stop"]
    assert list(by_name(waiting(2, 4000.0))) == ["look", "stop"]
    curve_ends = waiting(3, 4000.0, end_s=700.0)
    assert by_name(curve_ends)["half"].in_s == pytest.approx(4000.0 * math.log(2))


def filling():
    """A log made by hand, so what is made of it proves the way from rows to calls only."""
    state = {1: "authorised", 0: "refused"}
    checks = [f"{m}:{n:02d} channel {n} {state[n <= 3 * m]}" for m in (1, 3) for n in range(1, 21)]
    locks = [f"{m}:50 lock any yes" for m in range(9)]
    rows = ["0:00 account service confirmed", "0:01 power receiver awake", *checks, *locks]
    return make_job("\n".join(rows), SHEET, LINEUP)


def test_calls_of_a_whole_analysis_are_in_order_and_of_the_findings():
    job = filling()
    findings = analyse(job)
    assert findings.verdict.state == "filling"
    calls = now_of(findings, looked_s_ago(job)).calls
    assert [call.what for call in calls] == ["look", "half", "stop"]
    assert [call.in_s for call in calls] == sorted(call.in_s for call in calls)
    assert calls[-1].in_s == findings.entitlement.remaining_to_last_s.p95
    assert looked_s_ago(job) == 8 * 60 + 50 - (3 * 60 + 20)
    told = now_of(findings).to_dict()["calls"]
    assert all(set(one) == {"what", "in_s", "why"} and isinstance(one["in_s"], int) for one in told)


def test_a_deck_tells_the_calls_and_whether_waits_count_as_soon_as_it_is_tapped(tmp_path):
    place = tmp_path / "demo.satjob"
    create_job_file(place, filling())

    def now(deck):
        return deck.state(None)["now"]

    with running(place, analyse_every_s=0.1) as deck:
        until(lambda: now(deck)["calls"])
        assert [call["what"] for call in now(deck)["calls"]] == ["look", "half", "stop"]
        taps = [tap("power", "receiver", "awake"), tap("lock", "any", "yes")]
        assert len(deck.take_taps(PAGE, taps).saved) == 2
        assert (now(deck)["running"], now(deck)["running_why"]) == (True, "")
        asleep = tap("power", "receiver", "standby")
        assert deck.take_taps(PAGE, [asleep]).saved
        assert (now(deck)["running"], now(deck)["running_why"]) == (False, ASLEEP)
        assert deck.take_taps(PAGE, [tap("withdraw", "row", f"p-{asleep['key']}")]).saved
        assert now(deck)["running"] is True


# --- whether waits count --------------------------------------------------------------------------------------------


def listening(rows, now, sheet=SHEET):
    """What is said of a log, `now` seconds after its first moment."""
    job = make_job(rows, sheet)
    told = Listening(job.sheet)
    told.take(make_rows(rows))
    return told.now(parse_time_us(time_text(now), None))


AWAKE = "0:00 power receiver awake\n0:01 lock any yes\n"


@pytest.mark.parametrize(
    ("rows", "now_s", "running"),
    [
        ("", 0, None),
        (AWAKE, 60, True),
        (AWAKE, RECEIVED_HOLD_S + 2, None),
        (AWAKE + "1:00 power receiver standby", 61, False),
        (AWAKE + "1:00 power receiver off", 4000, False),
        (AWAKE + "1:00 power receiver standby id=a\n1:10 withdraw row a", 80, True),
        (AWAKE + "1:00 power receiver standby\n2:00 lock any yes", 121, True),
        (AWAKE + "1:00 lock any no", 61, False),
        (AWAKE + "1:00 lock any no\n1:30 lock any yes", 100, True),
        (AWAKE + "1:00 gap serial:bench lost", 61, None),
        (AWAKE + "1:00 gap serial:bench lost\n1:10 lock any yes", 71, True),
        (AWAKE + "1:00 swap receiver same", 61, None),
        (AWAKE + "1:00 swap receiver same\n1:10 lock any yes", 71, True),
        ("0:00 lock satellite:east no\n0:00 lock repeater no", 5, None),
        ("0:00 lock satellite:east no\n0:00 lock satellite:west no\n0:00 lock repeater no", 5, False),
        ("0:00 lock satellite no\n0:00 lock repeater no", 5, False),
        ("0:00 lock satellite no\n0:00 lock repeater yes", 5, True),
        ("0:00 signal any 9 dB", 5, True),
        ("0:00 signal any 0 dB", 5, False),
        ("0:00 channel 3 authorised", 5, True),
        ("0:00 channel 3 refused", 5, True),
        ("0:00 power receiver awake", AWAKE_HOLD_S - 1, True),
        ("0:00 power receiver awake", AWAKE_HOLD_S + 1, None),
        ("0:00 power receiver unreadable", 5, None),
        (AWAKE + "2:00:00 power receiver standby", 60, True),
    ],
)
def test_whether_waits_count_now(rows, now_s, running):
    found = listening(rows, now_s)
    assert found.running is running
    assert (found.running_why == "") == (running is True)
    if running is False:
        assert found.running_why == (
            ASLEEP if "power receiver s" in rows or "power receiver o" in rows else NO_SIGNAL
        )


SAME_AGAIN = {
    AWAKE: "2:00 lock any yes",
    AWAKE + "1:00 power receiver standby": "2:00 power receiver standby",
    AWAKE + "1:00 lock any no": "2:00 lock any no",
    "0:00 lock satellite no\n0:00 lock repeater no": "2:00 lock satellite no\n2:00 lock repeater no",
    "0:00 lock satellite no\n0:00 lock repeater yes": "2:00 lock satellite no\n2:00 lock repeater yes",
    "0:00 signal any 9 dB": "2:00 signal any 9 dB",
    "0:00 signal any 0 dB": "2:00 signal any 0 dB",
    "0:00 power receiver awake": "2:00 power receiver awake",
}


@pytest.mark.parametrize("rows", SAME_AGAIN)
def test_the_exposure_clock_counts_what_was_said_to_count(rows):
    """The reference is the clock itself, once the same was seen again: it then knows what happened from 1:10 on."""
    clock = exposure_clock(make_job(f"{rows}\n{SAME_AGAIN[rows]}", SHEET))
    counted = float(clock.lower_s(120.0) - clock.lower_s(70.0)), float(clock.upper_s(120.0) - clock.upper_s(70.0))
    expected = {True: (50.0, 50.0), False: (0.0, 0.0)}[listening(rows, 70).running]
    assert counted == pytest.approx(expected)
