"""An answer that is still out, a silence that grows, and refusals while channels are still coming: logs made by hand.

How long answers and first channels take is our own judgement (common practice, no source); the values here follow
from those figures by hand. No log here was made by the simulator.
"""

from math import exp

import pytest

from satdiag.diagnosis.evidence import Known, collect
from satdiag.diagnosis.waiting import Wait
from satdiag.entitlement.estimate import estimate_entitlement
from satdiag.exposure import exposure_clock
from satdiag.findings import SignalFindings, SkyFindings, TuningFindings, WiringFindings
from tests.helpers import make_job

LINEUP = "\n".join(
    [f"{number},Demo {number},{'Rock' if number < 11 else 'Sport'},all" for number in range(1, 21)]
    + ["90,Preview,,open", "91,Preview two,,open"]
)


def seen(rows, reason="just-installed"):
    """Item to what was seen of it."""
    job = make_job("\n".join(rows), f'reason = "{reason}"\n[service]\npackage = "all"\n', LINEUP)
    known = Known(
        job,
        SkyFindings(),
        SignalFindings(),
        estimate_entitlement(job, exposure_clock(job)),
        TuningFindings(None, None, None, None, None),
        WiringFindings(),
    )
    return {one.item: one for one in collect(known)}


def looks(minute, state, channels):
    return [f"{minute}:{2 * place:02d} channel {channel} {state}" for place, channel in enumerate(channels)]


@pytest.mark.parametrize("minutes", [1, 8, 24, 100])
def test_an_answer_that_does_not_come_says_more_by_the_minute(minutes):
    """An answer takes eight minutes on average: the chance that it is still out is exp(-minutes / 8)."""
    found = seen(["0:00 account service submitted", f"{minutes}:00 note - waiting"])["account"]
    assert found.state == "submitted"
    assert found.soft["submitted"] == 1.0
    assert found.soft["confirmed"] == pytest.approx(max(exp(-minutes / 8), 0.01))


def test_an_answer_after_two_hours_is_a_plain_reading():
    assert seen(["0:00 account service submitted", "130:00 note - waiting"])["account"].soft is None


def test_silence_speaks_more_the_longer_it_lasts():
    """Log-logistic: half of all have the first channel within five minutes (common practice, no source)."""
    still = []
    for minutes in (0.5, 5, 40):
        told = [*looks(1, "refused", range(1, 6)), *looks(1 + minutes, "refused", range(1, 6))]
        found = seen([*told, f"{1 + int(minutes) + 1}:00 account service confirmed"])["entitlement"]
        assert found.soft["nothing"] == 1.0
        assert found.soft["early"] == found.soft["complete"] == found.soft["growing"] == found.soft["stalled"]
        still.append(found.soft["growing"])
    assert still == pytest.approx([1 / 1.01, 1 / 2, 1 / 65], rel=0.05)


def test_what_was_asked_for_in_this_log_counts_from_its_confirmation():
    """Refused before the activation was confirmed is no silence."""
    told = ["0:00 account service submitted", *looks(1, "refused", range(1, 6)), *looks(30, "refused", range(1, 6))]
    found = seen([*told, "31:00 account service confirmed"])["entitlement"]
    assert set(found.soft.values()) == {1.0}


def test_open_channels_tell_nothing_of_the_package():
    """All that needs an account is refused: no whole category is held, whatever the previews do."""
    refused = looks(1, "refused", range(1, 21))
    for rows in (refused, [*refused, *looks(2, "authorised", (90, 91))]):
        found = seen(rows)["refused-pattern"]
        assert found.state == "scattered"
        assert found.soft["whole-categories"] < 0.01


def test_a_category_may_fill_in_while_another_never_comes():
    """Five of ten of one category play and all ten of the other are refused: the package, if the rest is coming."""
    rows = [
        *looks(1, "authorised", range(1, 6)),
        *looks(2, "refused", range(6, 11)),
        *looks(3, "refused", range(11, 21)),
    ]
    assert seen(rows)["refused-pattern"].state == "whole-categories"
    assert seen(rows, "complaint")["refused-running"].state == "scattered"


def test_several_missing_channels_are_misread_less_than_one_reading():
    found = seen([*looks(1, "missing", (3, 4, 5)), *looks(2, "authorised", (6, 7, 8))])["listed-channels"]
    assert (found.state, found.repeats) == ("some-missing", 3)


@pytest.mark.parametrize("many", [1.0, 7.0])
def test_a_wait_promises_nothing_for_certain(many):
    assert "(at least one with a chance of over 99 %)" in Wait(30.0, 0.9999, many).text()
    assert "(at least one with a chance of 93 %)" in Wait(30.0, 0.93, many).text()
    assert "(at least one with a chance of under 1 %)" in Wait(30.0, 0.001, many).text()
