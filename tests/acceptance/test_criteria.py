"""Each criterion by itself, on small jobs: when it holds, when it fails, what it asks for."""

import json
import math

import numpy as np
import pytest
from jsonschema import Draft202012Validator

import satdiag
from satdiag.acceptance import acceptance_schema, confirm
from satdiag.acceptance.vehicle import CHANGES_AT_MOST_SLOW, RESTARTS_EVERY_MIN, changes_lacking
from satdiag.errors import SatdiagError
from satdiag.tuning.delays import Delays
from satdiag.tuning.slowness import SLOW_MEDIAN_S, slowness_posterior
from tests.helpers import make_job

SHEET = '\n[service]\npackage = "all"\n'
CHANNELS = range(2, 12)
LINEUP = "\n".join([*(f"{channel},Demo {channel},Rock,all" for channel in CHANNELS), "20,Demo open,Rock,open"])


def clock(seconds):
    return f"{seconds // 60}:{seconds % 60:02d}"


def good_visit(minutes=40):
    """A visit on which everything goes well, as compact rows."""
    rows = ["0:00 place vehicle open-sky", "0:05 power receiver awake", "0:10 listing source yes"]
    rows += ["0:20 account service confirmed", "0:30 channel 20 authorised"]
    for minute in range(1, minutes):
        rows += [f"{minute}:00 lock satellite yes", f"{minute}:01 signal satellite 80 percent"]
    for k, channel in enumerate(CHANNELS):
        rows.append(f"{clock(25 * 60 + 12 * k)} channel {channel} authorised")
    for k, channel in enumerate((3, 4, 5, 6, 7, 8, 9, 3, 4, 5)):
        start = 30 * 60 + 20 * k
        rows += [f"{clock(start)} tune {channel} requested", f"{clock(start + 2)} tune {channel} audio"]
        rows += [f"{clock(start + 4)} tune {channel} title"]
    return rows


def judged(rows, lineup=LINEUP, sheet=SHEET, **rates):
    job = make_job("\n".join(rows), sheet, lineup)
    return confirm(job, satdiag.analyse(job), **rates)


def of(found, name):
    return next(one for one in found.criteria if one.name == name)


def without(rows, *words):
    return [row for row in rows if not any(word in row for word in words)]


def test_all_is_well():
    found = judged(good_visit())
    assert {one.name: one.state for one in found.criteria} == dict.fromkeys(
        ("listed", "locked", "open-channel", "activated", "share", "changes", "restarts", "no-fault"), "holds"
    )
    assert found.state == "confirmed"
    assert (found.checks_left, found.minutes_left) == (None, None)
    assert all(one.lacking == "" for one in found.criteria)
    assert found.checks.channels_playing == len(CHANNELS)
    assert found.checks.weight_db > found.checks.confirm_at_db == pytest.approx(10 * math.log10(20))


def test_levels_that_sink_while_the_lock_holds_are_not_said_to_be_received_now_and_then():
    rows = [
        f"{row.removesuffix('80 percent')}12 percent" if "signal" in row and k % 3 == 0 else row
        for k, row in enumerate(without(good_visit(), "lock"))
    ]
    rows += [f"{minute}:00 lock satellite yes" for minute in range(1, 40)]
    locked = of(judged(rows), "locked")
    assert locked.state == "open"
    assert locked.evidence.startswith("The satellites are not always received well under open sky")
    assert "lock" not in locked.lacking


def test_an_empty_log_asks_for_everything_and_claims_nothing():
    found = judged([], lineup=None, sheet="")
    assert found.state == "go-on"
    assert found.as_of is None
    assert {one.state for one in found.criteria} == {"open"}
    assert all(one.lacking for one in found.criteria)


@pytest.mark.parametrize(
    ("name", "rows"),
    [
        ("locked", without(good_visit(), "place")),
        ("locked", ["0:00 place vehicle street", *without(good_visit(), "place")]),
        ("open-channel", without(good_visit(), "channel 20")),
        ("changes", without(good_visit(), "tune")),
        ("restarts", [*good_visit(), "39:00 reset receiver seen"]),
        ("restarts", [row for row in good_visit() if int(row.split(":")[0]) < 20]),
        ("activated", without(good_visit(), "channel 4 ", *(f" {channel} " for channel in CHANNELS))),
    ],
)
def test_what_was_not_seen_is_open_and_named(name, rows):
    found = judged(rows)
    one = of(found, name)
    assert one.state == "open"
    assert one.lacking
    assert one.minutes_left > 0
    assert found.state == "go-on"
    assert one.title in found.text
    assert found.minutes_left >= one.minutes_left


def test_two_checks_are_too_few_and_it_says_how_many_more():
    few = without(good_visit(), "tune", *(f"channel {channel} " for channel in range(4, 12)))
    one = of(judged(few), "activated")
    assert one.state == "open"
    assert 1 <= one.checks_left <= 6
    assert "at least 5 s apart" in one.lacking
    assert "minute" in one.lacking


def test_what_it_asks_for_is_enough():
    """As many more good checks as it asked for confirm."""
    few = without(good_visit(), "tune", *(f"channel {channel} " for channel in range(4, 12)))
    more = of(judged(few), "activated").checks_left
    extra = [f"{clock(27 * 60 + 20 * k)} channel {4 + k} authorised" for k in range(more)]
    assert of(judged([*few, *extra]), "activated").state == "holds"


def test_a_whole_list_marked_in_one_go_is_not_enough():
    bare = without(good_visit(), *(f" {channel} " for channel in CHANNELS))
    marked = [f"26:00 channel {channel} authorised span_s=60" for channel in CHANNELS]
    found = judged([*bare, *marked])
    assert found.checks.looks == len(CHANNELS)
    assert found.checks.counted == 1
    assert of(found, "share").state == "holds"
    assert of(found, "activated").state == "open"
    assert found.state == "go-on"


def test_stricter_rates_ask_for_more():
    few = without(good_visit(), "tune", *(f"channel {channel} " for channel in range(5, 12)))
    assert of(judged(few, alpha=0.3), "activated").state == "holds"
    strict = of(judged(few, alpha=1e-5), "activated")
    assert (strict.state, strict.checks_left >= 1) == ("open", True)


@pytest.mark.parametrize(
    ("name", "more"),
    [
        ("listed", ["39:30 listing source no"]),
        ("listed", [f"39:{k:02d} channel {k} missing" for k in (2, 3, 4)]),
        ("activated", ["39:30 account service lapsed"]),
        ("activated", ["39:30 account service rejected"]),
        ("restarts", ["38:00 reset receiver seen", "39:00 reset receiver seen"]),
        ("locked", [f"{minute}:00 lock satellite no" for minute in range(41, 240)]),
    ],
)
def test_what_speaks_against_it_fails(name, more):
    found = judged([*good_visit(), *more])
    assert of(found, name).state == "fails"
    assert found.state == "not-confirmed"
    assert of(found, name).title in found.text


def test_changes_that_never_come_to_audio_fail():
    rows = without(good_visit(), "tune")
    for k, channel in enumerate((3, 4, 5, 6)):
        rows += [f"{clock(30 * 60 + 20 * k)} tune {channel} requested"]
        rows += [f"{clock(30 * 60 + 20 * k + 15)} tune {channel} abandoned"]
    assert of(judged(rows), "changes").state == "fails"


def test_open_channels_refused_fail():
    rows = [*without(good_visit(), "channel 20"), "29:00 channel 20 refused", "29:10 channel 21 refused"]
    assert of(judged(rows, lineup=LINEUP + "\n21,Demo two,Rock,open"), "open-channel").state == "fails"


def test_without_open_channels_it_is_not_asked_and_said():
    found = judged(without(good_visit(), "channel 20"), lineup=LINEUP.rpartition("\n")[0])
    assert "open-channel" not in {one.name for one in found.criteria}
    assert any("open channel" in text for text in found.could_not)
    assert found.state == "confirmed"


@pytest.mark.parametrize(
    ("lineup", "said"),
    [
        (LINEUP.rpartition("\n")[0], "The line-up marks no open channel: whether one plays was not asked."),
        (
            None,
            "There is no line-up: open channels cannot be told from subscribed ones, so whether one plays was not "
            "asked, and more checks are needed.",
        ),
    ],
)
def test_of_open_channels_that_are_not_known_there_is_one_note(lineup, said):
    found = judged(without(good_visit(), "channel 20"), lineup=lineup)
    assert [text for text in found.could_not if "open channel" in text] == [said]


def test_refusals_before_anything_can_come_do_not_rule_it_out():
    rows = without(good_visit(), "tune", *(f" {channel} " for channel in CHANNELS))
    rows += [f"{clock(120 + 12 * k)} channel {channel} refused" for k, channel in enumerate(CHANNELS)]
    rows = [row for row in rows if int(row.split(":")[0]) < 5]
    one = of(judged(rows), "activated")
    assert one.state == "open"
    assert "good check" in one.lacking


def test_channels_that_played_before_the_confirmation_do_not_count():
    rows = without(good_visit(), "account")
    rows += ["35:00 account service confirmed"]
    rows += [f"{clock(36 * 60 + 10 * k)} channel {channel} authorised" for k, channel in enumerate(CHANNELS)]
    found = judged(rows)
    assert found.checks.looks == 0
    assert of(found, "activated").state == "open"
    assert "did not count" in of(found, "activated").evidence


def test_restarts_need_enough_time_by_the_zero_failure_demonstration():
    """A Poisson fault every 8 minutes stays away for T minutes with chance exp(-T / 8): 24 minutes for 5 %."""
    enough = math.ceil(RESTARTS_EVERY_MIN * math.log(20))
    assert enough == 24
    early = [row for row in good_visit() if int(row.split(":")[0]) < 20]
    one = of(judged(early), "restarts")
    assert one.state == "open"
    assert one.minutes_left == pytest.approx(enough - 19, abs=1.5)


def test_an_exchanged_receiver_starts_afresh():
    found = judged([*good_visit(), "39:30 swap receiver better"])
    assert found.state == "go-on"
    assert found.checks.looks == 0
    assert of(found, "restarts").state == "open"


@pytest.mark.parametrize("late_s", [2.5, 3.0, 4.0, 6.0])
def test_the_changes_it_asks_for_are_about_enough(late_s):
    """Against the posterior itself: a slow change, then as many at normal speed as it asks for, and two more."""
    slow = slowness_posterior(Delays(np.array([late_s]), np.array([True]), 0), 0.1).p_above(SLOW_MEDIAN_S)
    more = changes_lacking(slow) + 2
    seen = Delays(np.array([late_s, *[1.7] * more]), np.ones(more + 1, dtype=bool), 0)
    assert slowness_posterior(seen, 0.1).p_above(SLOW_MEDIAN_S) <= CHANGES_AT_MOST_SLOW


@pytest.mark.parametrize("wrong", [{"alpha": 0.0}, {"alpha": 0.7}, {"beta": -1.0}, {"alpha": math.nan}])
def test_rates_that_make_no_sense_are_refused(wrong):
    with pytest.raises(SatdiagError, match=r"give an error rate"):
        judged(good_visit(), **wrong)


def test_the_document_keeps_its_schema():
    validator = Draft202012Validator(acceptance_schema())
    Draft202012Validator.check_schema(acceptance_schema())
    for rows in (good_visit(), [], good_visit(10)):
        document = json.loads(json.dumps(judged(rows).to_dict(), allow_nan=False))
        assert [error.message for error in validator.iter_errors(document)] == []
        assert next(iter(document)) == "schema"
    document["state"] = "perhaps"
    assert not validator.is_valid(document)
