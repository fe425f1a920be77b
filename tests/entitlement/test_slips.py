"""Checks noted wrongly: one false sighting must not make a dead account live or a quick one slow."""

import numpy as np
import pytest

from satdiag.entitlement.channels import Check, History, Reading, readings_of
from satdiag.entitlement.grid import Priors
from satdiag.entitlement.slips import are_too_many, settle
from tests.entitlement.test_estimate import CONFIRMED, MUSIC, checks, found_in, locked

INF = np.inf


def checks_of(text, step_s=60.0):
    """'rra' as checks at 60, 120, 180 s of exposure: refused, refused, authorised."""
    words = {"r": "refused", "a": "authorised"}
    return [Check(step_s * k, words[c], step_s * k, step_s * k) for k, c in enumerate(text, 1)]


def history(channel, text):
    seen = checks_of(text)
    return History(
        channel,
        "authorised" if text.endswith("a") else "refused",
        readings=readings_of(seen, 0.0),
        refused_now=text.endswith("r"),
        sightings=text.count("a"),
        judged=len(text),
        last_check_s=seen[-1].lower_s,
    )


def settled(texts):
    histories = [history(k, text) for k, text in enumerate(texts)]
    now_s = 60.0 * max(len(text) for text in texts)
    return settle(histories, now_s, True, Priors()).chosen


def test_the_plain_reading_comes_first():
    assert readings_of(checks_of("rraa"), 0.0)[0] == Reading(120.0, 180.0, 0)
    assert readings_of(checks_of("rrr"), 0.0)[0] == Reading(180.0, INF, 0)
    assert readings_of(checks_of("aa"), -INF)[0] == Reading(-INF, 60.0, 0)
    assert readings_of([], 0.0) == ()


def test_other_readings_with_at_most_one_slip_more():
    found = readings_of(checks_of("rraa"), 0.0)
    assert set(found[1:]) == {Reading(60.0, 120.0, 1), Reading(180.0, 240.0, 1)}
    lone = readings_of(checks_of("rarr"), 0.0)
    assert lone[0] == Reading(60.0, 120.0, 2)
    assert Reading(240.0, INF, 1) in lone
    assert Reading(60.0, 120.0, 0, revoked=True) in lone


def test_a_lone_sighting_among_refusals_is_a_slip():
    chosen = settled(["raaaaa"] * 12 + ["rrrrrr"] * 6 + ["rrarrr"])
    assert chosen[-1] == Reading(360.0, INF, 1)
    assert all(reading.slips == 0 for reading in chosen[:-1])


def test_a_last_sighting_long_after_all_others_is_a_slip():
    # Twelve came within a minute or two; of those refused for forty minutes one is seen to play at the very end.
    late = "r" * 39 + "a"
    chosen = settled(["ra" + "a" * 38] * 12 + ["r" * 40] * 8 + [late])
    assert chosen[-1] == Reading(2400.0, INF, 1)


def test_a_lone_refusal_between_sightings_is_a_slip():
    chosen = settled(["raaaaa"] * 12 + ["rrrrrr"] * 6 + ["raaraa"])
    assert chosen[-1] == Reading(60.0, 120.0, 1)


def test_the_first_channels_of_a_fill_in_are_no_slips():
    chosen = settled(["rrrra"] * 8 + ["rrrrr"] * 60)
    assert all(reading.came for reading in chosen[:8])


def test_one_sighting_in_a_silent_account_is_a_slip():
    chosen = settled(["rrrrrrrr"] * 40 + ["rrrrarrr"] + ["rrrrrrra"])
    assert not any(reading.came for reading in chosen)


def test_channels_that_went_together_are_lost_and_no_slips():
    chosen = settled(["arrr"] * 20)
    assert all(reading.came for reading in chosen)


def test_how_many_slips_are_believed():
    assert not are_too_many(0, 0)
    assert not are_too_many(2, 100)
    assert are_too_many(5, 60)
    assert not are_too_many(5, 400)


def test_a_quick_account_stays_quick_in_spite_of_two_slips():
    rows = [CONFIRMED, locked(60)]
    for minute in range(1, 61, 4):
        rows += [checks(minute, "refused" if minute < 3 else "authorised", range(1, 25))]
        rows += [checks(minute, "refused", range(25, 33))]
        rows += [checks(minute, "authorised" if minute == 29 else "refused", [33])]
        rows += [checks(minute, "authorised" if minute == 57 else "refused", [34])]
    found = found_in(*rows)
    reasons = {channel.channel: channel.reason for channel in found.channels}
    assert {reasons[channel] for channel in range(25, 34)} == {"not-in-package"}
    assert reasons[34] == "plays"  # what was seen is said
    assert found.channels[33].p_will_come < 0.05  # and what is thought of it
    assert any("look again at channels 33, 34" in text for text in found.could_not)
    assert found.time_to_share_s["1.0"].p95 < 600.0


@pytest.mark.parametrize("sighting", [None, 30])
def test_a_dead_account_stays_dead_in_spite_of_a_slip(sighting):
    rows = [CONFIRMED, locked(120), *(checks(m, "refused", range(1, 60)) for m in (10, 30, 60, 120))]
    rows += [checks(m, "authorised" if m == sighting else "refused", [60]) for m in (10, 30, 60, 120)]
    found = found_in(*rows, sheet=MUSIC, music=range(1, 61))
    assert found.p_account_dead > 0.5
    assert {channel.reason for channel in found.channels} == {"account"}
