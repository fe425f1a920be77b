"""From hand-made jobs to entitlement findings: counts, intervals, reasons, sentences."""

import dataclasses
import math

import numpy as np
import pytest

from satdiag.entitlement.channels import checks_by_channel, fill_in_of, history_of
from satdiag.entitlement.estimate import estimate_entitlement
from satdiag.entitlement.fill_in import FillIn
from satdiag.entitlement.goodness import largest_gap
from satdiag.entitlement.grid import Priors
from satdiag.entitlement.posterior import posterior_of
from satdiag.exposure import exposure_clock
from tests.entitlement.made import NO_TIMES, canonical_fill
from tests.helpers import make_job

CONFIRMED = "0:00 account service confirmed"
MUSIC = '[service]\npackage = "music"\n'


def locked(until_min, every_min=5):
    """Lock rows that prove listening from 0:00 on."""
    return "\n".join(f"{m}:00 lock any yes" for m in range(0, until_min + 1, every_min))


def checks(minute, state, channels):
    """All these channels seen in this state at one minute."""
    return "\n".join(f"{minute}:00 channel {channel} {state}" for channel in channels)


def lineup(music=(), sport=(), free=(), unknown=()):
    lines = [f"{c},name {c},music,music" for c in music]
    lines += [f"{c},name {c},sport,sport" for c in sport]
    lines += [f"{c},name {c},free,open" for c in free]
    lines += [f"{c},name {c},talk," for c in unknown]
    return "\n".join(lines)


def found_in(*rows, sheet="", **kinds):
    job = make_job("\n".join(rows), sheet, lineup(**kinds) if kinds else None)
    return estimate_entitlement(job, exposure_clock(job))


def reasons(found):
    return {channel.channel: channel.reason for channel in found.channels}


def fill_of(*rows, channels):
    """The fill-in with every check taken at its word."""
    job = make_job("\n".join(rows))
    clock = exposure_clock(job)
    seen = checks_by_channel(job, clock)
    histories = [history_of(c, seen.get(c, []), clock) for c in channels]
    plain = [history.readings[0] if history.readings else None for history in histories]
    return fill_in_of(histories, plain, clock.exposure_s, clock.origin == "confirmed")


FILLING = (
    CONFIRMED,
    locked(20),
    checks(2, "refused", range(1, 21)),
    checks(5, "authorised", range(1, 9)),
    checks(5, "refused", range(9, 21)),
    checks(10, "authorised", range(9, 14)),
    checks(10, "refused", range(14, 21)),
    checks(20, "authorised", range(14, 17)),
    checks(20, "refused", range(17, 21)),
)


def test_a_filling_job():
    found = found_in(*FILLING, sheet=MUSIC, music=range(1, 21))
    assert (found.expected_from, found.expected, found.checked) == ("package", 20, 20)
    assert (found.authorised, found.refused, found.complete) == (16, 4, False)
    assert found.exposure_s == 1200.0
    assert found.exposure_origin == "confirmed"
    assert found.p_account_dead == 0.0
    assert 0.8 <= found.entitled_fraction_90[0] <= found.entitled_fraction <= found.entitled_fraction_90[1] <= 1.0
    assert 0.0 < found.p_all_expected < 1.0
    assert found.arrival_events == 3
    half = found.time_to_share_s["0.5"]
    # The 8th (came between 2:00 and 5:00) to the 10th (between 5:00 and 10:00), by how many of the 20 will come.
    assert (half.p05, half.p95) == (120.0, 600.0)
    assert set(found.time_to_share_s) == {"0.5", "0.9", "1.0"}
    assert found.remaining_to_last_s.p05 >= 0.0
    waiting = [c for c in found.channels if c.state == "refused"]
    assert len(waiting) == 4
    for channel in waiting:
        assert channel.reason in ("late", "cannot-tell")
        assert 0.2 < channel.p_will_come < 1.0
        assert channel.remaining_s.p95 > channel.remaining_s.median > 0.0


def test_the_curve_for_the_figure():
    found = found_in(*FILLING, sheet=MUSIC, music=range(1, 21))
    curve = found.curve
    assert len(curve.exposure_s) == len(curve.median) == len(curve.p05) == len(curve.p95)
    assert curve.exposure_s[0] == 0.0
    assert curve.exposure_s[-1] > 1200.0
    seen = dict(zip(curve.seen_s, zip(curve.seen_low, curve.seen_high, strict=True), strict=True))
    assert seen == {0.0: (0, 0), 120.0: (0, 0), 300.0: (8, 8), 600.0: (13, 13), 1200.0: (16, 16)}


def test_the_interval_of_an_arrival():
    fill = fill_of(*FILLING, channels=range(1, 21))
    found = sorted(set(zip(fill.seen_lower_s, fill.seen_upper_s, strict=True)))
    assert found == [(120.0, 300.0), (300.0, 600.0), (600.0, 1200.0)]
    assert list(fill.unseen_s) == [1200.0] * 4


def test_a_span_widens_the_interval_towards_the_past():
    fill = fill_of(
        CONFIRMED,
        locked(10),
        "4:00 channel 1 refused span_s=60",
        "8:00 channel 1 authorised span_s=90",
        "9:00 channel 2 refused span_s=120",
        channels=(1, 2),
    )
    assert (fill.seen_lower_s[0], fill.seen_upper_s[0]) == (180.0, 480.0)
    assert fill.unseen_s[0] == 420.0


def test_unproved_listening_counts_in_the_upper_end_only():
    fill = fill_of(
        CONFIRMED,
        "0:00 lock any yes",
        "1:00 lock any yes",
        "1:00 channel 1 refused",
        "40:00 lock any yes",
        "40:00 channel 1 authorised",
        channels=(1,),
    )
    assert (fill.seen_lower_s[0], fill.seen_upper_s[0]) == (60.0, 2400.0)


def test_tune_marks_are_checks():
    fill = fill_of(
        CONFIRMED,
        locked(5),
        "1:00 tune 7 requested",
        "1:02 tune 7 refused",
        "3:00 tune 7 requested",
        "3:04 tune 7 audio",
        "4:00 tune 8 requested",
        "4:10 tune 8 abandoned",
        channels=(7, 8),
    )
    assert (fill.seen_lower_s[0], fill.seen_upper_s[0]) == (62.0, 184.0)
    assert list(fill.unseen_s) == [-math.inf]


def test_missing_no_signal_and_unreadable_give_no_information():
    rows = (
        CONFIRMED,
        locked(10),
        "2:00 channel 1 refused",
        "8:00 channel 1 no-signal",
        "8:00 channel 2 no-signal",
        "8:00 channel 3 missing",
        "8:00 channel 4 unreadable",
    )
    assert list(fill_of(*rows, channels=(1, 2, 3, 4)).unseen_s) == [120.0, -math.inf, -math.inf, -math.inf]
    found = found_in(*rows)
    states = {c.channel: c.state for c in found.channels}
    assert states == {1: "refused", 2: "no-signal", 3: "missing", 4: "unchecked"}
    assert found.checked == 2
    assert reasons(found)[3] == "not-listed"
    assert reasons(found)[2] == reasons(found)[4] == "cannot-tell"
    text = " ".join(found.could_not)
    assert "1 expected channel: not listed by the head unit" in text
    assert "1 expected channel: not to be judged for lack of signal" in text
    assert "1 expected channel: never checked, or nothing could be read" in text


def test_held_before_the_origin_is_no_arrival():
    fill = fill_of(
        "0:00 channel 1 authorised",
        "0:00 channel 2 authorised",
        "1:00 account service confirmed",
        "2:00 channel 1 authorised",
        "2:00 channel 2 refused",
        "3:00 channel 2 authorised",
        "3:00 lock any yes",
        channels=(1, 2),
    )
    assert fill.held_before == 1
    assert fill.arrivals + len(fill.held_s) == 1  # channel 2 was taken away and came anew


def test_a_channel_refused_since_the_origin_is_awaited_though_it_played_before():
    found = found_in(
        "0:00 channel 1 authorised", "1:00 account service confirmed", "2:00 channel 1 refused", "2:00 lock any yes"
    )
    assert found.channels[0].state == "refused"
    assert found.channels[0].reason != "lost"


def test_without_a_confirmation_the_first_look_has_no_lower_end():
    rows = (locked(10), "2:00 channel 1 authorised", "2:00 channel 2 refused", "9:00 channel 2 authorised")
    fill = fill_of(*rows, channels=(1, 2))
    assert not fill.origin_known
    assert sorted(zip(fill.seen_lower_s, fill.seen_upper_s, strict=True)) == [(-math.inf, 120.0), (120.0, 540.0)]
    confirmed = fill_of(CONFIRMED, *rows, channels=(1, 2))
    assert sorted(confirmed.seen_lower_s) == [0.0, 120.0]  # (0, 120]: it came some time before we looked
    assert any("No confirmation of the account is logged" in text for text in found_in(*rows).could_not)


def test_an_arrival_without_listening_in_between_tells_nothing_of_the_wait():
    fill = fill_of(CONFIRMED, "0:00 channel 1 refused", "0:00 tune 1 audio", channels=(1,))
    assert fill.arrivals == 0
    assert len(fill.held_s) == 1


def test_another_receiver_starts_anew():
    rows = (
        CONFIRMED,
        locked(5),
        checks(4, "authorised", [1, 2]),
        "6:00 swap receiver better",
        "7:00 account service confirmed",
        checks(8, "refused", [1]),
    )
    found = found_in(*rows)
    states = {c.channel: c.state for c in found.channels}
    assert states == {1: "refused", 2: "unchecked"}
    assert "lost" not in reasons(found).values()


# --- expected channels -------------------------------------------------------------------------------------------


def test_expected_by_package():
    found = found_in(
        CONFIRMED,
        locked(5),
        checks(5, "authorised", [1, 30, 40]),
        checks(5, "refused", [2, 31, 50]),
        sheet=MUSIC,
        music=[1, 2, 3],
        sport=[30, 31, 32],
        free=[40],
        unknown=[50],
    )
    assert (found.expected_from, found.expected) == ("package", 3)
    assert found.beyond_package == (30, 40)
    assert (found.authorised, found.refused, found.checked) == (1, 1, 2)
    said = {c.channel: (c.reason, c.p_will_come) for c in found.channels}
    assert said[1] == ("plays", 1.0)
    assert said[31] == ("not-in-package", 0.0)
    assert said[32] == ("not-in-package", 0.0)
    assert said[50] == ("cannot-tell", None)
    assert any("which packages hold 1 channel" in text for text in found.could_not)


def test_expected_by_line_up():
    found = found_in(CONFIRMED, locked(5), checks(5, "authorised", [1, 40]), music=[1, 2], sport=[30], free=[40])
    assert (found.expected_from, found.expected) == ("lineup", 3)
    assert found.beyond_package == (40,)


def test_expected_as_seen():
    found = found_in(
        "0:00 channel 9 authorised",
        "1:00 account service submitted",
        "2:00 account service confirmed",
        "3:00 channel 1 authorised",
        "3:00 channel 2 refused",
        "4:00 tune 3 requested",
        "4:00 lock any yes",
    )
    assert (found.expected_from, found.expected) == ("seen", 3)
    assert found.beyond_package == (9,)
    assert any("1 channel played before the account was submitted" in text for text in found.could_not)


# --- reasons -----------------------------------------------------------------------------------------------------


def test_late():
    found = found_in(
        CONFIRMED,
        locked(6),
        checks(2, "authorised", range(1, 5)),
        checks(2, "refused", range(5, 31)),
        checks(4, "authorised", range(5, 9)),
        checks(4, "refused", range(9, 31)),
        checks(6, "authorised", range(9, 13)),
        checks(6, "refused", range(13, 31)),
        sheet=MUSIC,
        music=range(1, 31),
    )
    assert {c.reason for c in found.channels if c.state == "refused"} == {"late"}
    assert found.p_all_expected < 0.9


def test_never_after_a_long_wait():
    rows = [CONFIRMED, locked(120), checks(1, "refused", range(1, 41))]
    for minute, first, last in ((2, 1, 9), (3, 9, 15), (4, 15, 20), (6, 20, 25), (9, 25, 28)):
        rows += [checks(minute, "authorised", range(first, last)), checks(minute, "refused", range(last, 41))]
    rows += [checks(m, "refused", range(28, 41)) for m in (30, 60, 90, 120)]
    found = found_in(*rows)
    refused = [c for c in found.channels if c.state == "refused"]
    assert {c.reason for c in refused} == {"not-in-package"}
    assert all(c.p_will_come < 0.05 and c.remaining_s is None for c in refused)
    assert found.entitled_fraction == pytest.approx(27 / 40, abs=0.01)
    assert found.p_account_dead == 0.0
    assert not any("late from never" in text for text in found.could_not)


def test_cannot_tell_with_little_follow_up():
    found = found_in(
        CONFIRMED,
        locked(20),
        checks(9, "refused", range(1, 31)),
        checks(10, "authorised", range(1, 4)),
        checks(20, "authorised", range(4, 6)),
        checks(20, "refused", range(6, 31)),
    )
    refused = [c for c in found.channels if c.state == "refused"]
    assert {c.reason for c in refused} == {"cannot-tell"}
    assert any("Too early to tell late from never for 25 refused channels" in t for t in found.could_not)
    assert any("min more of listening" in t for t in found.could_not)


def test_account_after_long_silence():
    rows = [CONFIRMED, locked(120)] + [checks(m, "refused", range(1, 61)) for m in (5, 30, 60, 120)]
    found = found_in(*rows, sheet=MUSIC, music=range(1, 61))
    assert found.p_account_dead > 0.5
    assert set(reasons(found).values()) == {"account"}
    early = found_in(CONFIRMED, locked(3), checks(3, "refused", range(1, 61)), sheet=MUSIC, music=range(1, 61))
    assert early.p_account_dead < 0.4
    assert "account" not in reasons(early).values()


@pytest.mark.parametrize("state", ["rejected", "lapsed", "none"])
def test_an_account_that_the_log_says_is_not_there(state):
    found = found_in(locked(5), f"1:00 account service {state}", checks(5, "refused", [1, 2, 3]))
    assert found.p_account_dead > 0.95
    assert set(reasons(found).values()) == {"account"}


def test_an_account_that_lapsed_and_channels_that_still_play():
    found = found_in(CONFIRMED, locked(9), "4:00 account service lapsed", checks(8, "authorised", range(1, 9)))
    assert found.p_account_dead < 1e-6
    unseen_since = found_in(CONFIRMED, locked(9), checks(3, "authorised", [1, 2]), "8:00 account service lapsed")
    assert unseen_since.p_account_dead > 0.9


def test_lost():
    found = found_in(
        CONFIRMED,
        locked(20),
        checks(5, "authorised", [1, 2, 3, 4]),
        checks(20, "authorised", [1, 2, 3]),
        checks(20, "refused", [4]),
    )
    assert reasons(found) == {1: "plays", 2: "plays", 3: "plays", 4: "lost"}
    assert found.complete is False
    assert found.p_all_expected is None
    assert found.p_account_dead == 0.0
    assert found.channels[3].p_will_come is None
    assert any("1 channel played before and is refused now" in text for text in found.could_not)


def test_all_lost_looks_like_a_dead_account():
    found = found_in(CONFIRMED, locked(20), checks(5, "authorised", [1, 2]), checks(20, "refused", [1, 2, 3]))
    assert reasons(found)[1] == reasons(found)[2] == "lost"
    assert reasons(found)[3] == "account"
    assert found.p_account_dead > 0.8


def test_a_channel_that_came_back_plays():
    found = found_in(
        CONFIRMED, locked(9), checks(3, "authorised", [1]), checks(5, "refused", [1]), checks(9, "authorised", [1])
    )
    assert reasons(found) == {1: "plays"}


# --- the whole ---------------------------------------------------------------------------------------------------


def test_complete():
    found = found_in(CONFIRMED, locked(9), checks(9, "authorised", [1, 2, 3]), sheet=MUSIC, music=[1, 2, 3])
    assert found.complete is True
    assert (found.entitled_fraction, found.entitled_fraction_90, found.p_all_expected) == (1.0, (1.0, 1.0), 1.0)
    assert found.remaining_to_last_s.p95 == 0.0


def test_complete_is_unknown_while_channels_are_unchecked():
    found = found_in(CONFIRMED, locked(9), checks(9, "authorised", [1, 2]), sheet=MUSIC, music=[1, 2, 3])
    assert found.complete is None
    assert found.channels[2].reason == "cannot-tell"
    assert 0.5 < found.channels[2].p_will_come < 1.0


def test_no_channel_checked():
    found = found_in(CONFIRMED, locked(10), sheet=MUSIC, music=[1, 2])
    assert found.entitled_fraction is None
    assert found.p_all_expected is None
    assert found.time_to_share_s is None
    assert found.exposure_s == 600.0
    assert [c.state for c in found.channels] == ["unchecked", "unchecked"]
    assert any("nothing can be said of entitlements" in text for text in found.could_not)


def test_nothing_at_all():
    found = found_in("0:00 note any text")
    assert found.expected == 0
    assert found.complete is None
    assert any("No channel is expected" in text for text in found.could_not)


def test_no_listening_proved():
    found = found_in(CONFIRMED, "1:00 channel 1 refused", "59:00 lock any no")
    assert found.exposure_s == 0.0
    assert any("No stretch of listening is proved" in text for text in found.could_not)
    assert found.channels[0].reason != "not-in-package"


def test_every_number_is_finite_and_the_same_twice():
    first = found_in(*FILLING, sheet=MUSIC, music=range(1, 21))
    assert first == found_in(*FILLING, sheet=MUSIC, music=range(1, 21))

    def walk(value):
        if dataclasses.is_dataclass(value):
            value = [getattr(value, part.name) for part in dataclasses.fields(value)]
        if isinstance(value, dict):
            value = value.values()
        if isinstance(value, (list, tuple)) or hasattr(value, "mapping") or type(value).__name__ == "dict_values":
            for part in value:
                walk(part)
        elif isinstance(value, float):
            assert math.isfinite(value)

    walk(first)


# --- goodness ----------------------------------------------------------------------------------------------------


def test_the_canonical_set_follows_the_average():
    gap, bound = largest_gap(canonical_fill(), posterior_of(canonical_fill(), Priors()))
    assert gap < 0.5 * bound
    assert bound == pytest.approx(1.358 / np.sqrt(20))


def test_two_waves_far_apart_follow_no_law():
    lower = np.repeat([30.0, 5370.0], [75, 75])
    wait = np.linspace(0.0, 1.0, 75)
    lower = lower + 30 * np.round(np.concatenate([wait, wait]) * 6)
    fill = FillIn(lower, lower + 30.0, NO_TIMES, 6000.0)
    posterior = dataclasses.replace(posterior_of(fill, Priors()), dispersion=1.0)
    gap, bound = largest_gap(fill, posterior)
    assert gap > bound


def test_too_few_arrivals_to_judge():
    fill = FillIn(np.zeros(3), np.full(3, 60.0), np.full(5, 60.0), 60.0)
    assert largest_gap(fill, posterior_of(fill, Priors())) is None


@pytest.mark.parametrize("channels", [60, 150])
def test_looking_one_after_the_other_raises_no_alarm(channels):
    """Channels that follow the exponential, looked through one by one at 2 s each, four times: simulated data."""
    alarms = 0
    for seed in range(12):
        rng = np.random.default_rng(seed)
        wait_s = np.where(rng.random(channels) < 0.85, rng.exponential(400.0, channels), np.inf)
        lower, upper = np.zeros(channels), np.full(channels, np.inf)
        for start_s in (120.0, 600.0, 1200.0, 2400.0):
            look_s = start_s + 2.0 * np.arange(channels)
            plays = wait_s <= look_s
            upper = np.where(plays & np.isinf(upper), look_s, upper)
            lower = np.where(~plays, look_s, lower)
        seen = np.isfinite(upper)
        fill = FillIn(lower[seen], upper[seen], lower[~seen], 2400.0 + 2.0 * channels)
        gap = largest_gap(fill, posterior_of(fill, Priors()))
        alarms += gap is not None and gap[0] > gap[1]
    assert alarms <= 1


def test_what_was_lost_again_neither_plays_nor_is_waited_for():
    rows = [CONFIRMED, locked(30), checks(5, "authorised", range(1, 21)), checks(10, "authorised", range(1, 21))]
    rows += [
        checks(20, "refused", range(1, 4)),
        checks(25, "refused", range(1, 4)),
        checks(25, "authorised", range(4, 21)),
    ]
    found = found_in(*rows, sheet=MUSIC, music=range(1, 21))
    assert [c.channel for c in found.channels if c.reason == "lost"] == [1, 2, 3]
    assert found.remaining_to_last_s is None
    assert found.entitled_fraction == pytest.approx(17 / 20)
    assert (found.curve.seen_low[-1], found.curve.seen_high[-1]) == (17, 17)
    assert found.text.endswith("Channels 1-3 played before and are refused now.")


def test_a_channel_that_nobody_looked_at_since_may_play():
    rows = [CONFIRMED, locked(60), checks(2, "authorised", range(1, 6)), checks(2, "refused", range(6, 21))]
    found = found_in(*rows, sheet=MUSIC, music=range(1, 21))
    assert (found.curve.seen_low[-1], found.curve.seen_high[-1]) == (5, 20)
