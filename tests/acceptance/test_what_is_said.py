"""What confirm says where checks cannot settle it, where it is too early, and of channels that were lost."""

import pytest

import satdiag
from satdiag.acceptance import confirm
from tests.helpers import make_job

SHEET = '\n[service]\npackage = "all"\n'
START = ["0:00 place vehicle open-sky", "0:00 power receiver awake", "0:00 account service confirmed"]


def clock(seconds):
    return f"{seconds // 60}:{seconds % 60:02d}"


def lineup(channels, *more):
    return "\n".join([*(f"{channel},Demo {channel},Rock,all" for channel in channels), *more])


def locks(minutes):
    return [f"{minute}:00 lock any yes" for minute in range(minutes)]


def checks(channels, at_s, seen, step_s=6):
    return [f"{clock(at_s + step_s * k)} channel {channel} {seen}" for k, channel in enumerate(channels)]


def marked(channels, minute, seen="authorised"):
    return [f"{minute}:00 channel {channel} {seen} span_s=60" for channel in channels]


def changes(delays_s, at_s=1800):
    rows = []
    for k, delay_s in enumerate(delays_s):
        start_s, channel = at_s + 40 * k, 1 + k % 9
        rows.append(f"{clock(start_s)}.000 tune {channel} requested")
        rows.append(f"{clock(start_s + int(delay_s))}.{round(delay_s % 1 * 1000):03d} tune {channel} audio")
    return rows


def judged(rows, lines, sheet=SHEET):
    job = make_job("\n".join(rows), sheet, lines)
    found = confirm(job, satdiag.analyse(job))
    return found, {one.name: one for one in found.criteria}


def test_channels_marked_in_one_go_count_when_looked_at_again_and_as_many_as_asked_for_are_enough():
    rows = [*START, *locks(30), *marked(range(1, 21), 25)]
    one = judged(rows, lineup(range(1, 21)))[1]["activated"]
    assert (one.state, "one by one" in one.lacking) == ("open", True)
    again = checks(range(1, 1 + one.checks_left), 26 * 60, "authorised", 10)
    assert judged([*rows, *again], lineup(range(1, 21)))[1]["activated"].state == "holds"


def test_a_package_of_one_channel_cannot_be_settled_and_the_headline_promises_nothing_for_it():
    rows = [*START, *locks(10), *checks([1] * 6, 60, "authorised", 70)]
    found, by_name = judged(rows, lineup([1]))
    assert by_name["activated"].state == "open"
    assert "cannot settle it" in by_name["activated"].lacking
    assert by_name["activated"].checks_left is None
    assert "may settle all but" in found.text
    assert "Activated" in found.text.split("may settle all but")[1]


def test_a_small_package_is_not_given_up_before_its_channels_had_time_to_come():
    one = judged([*START, *locks(2), *checks([1, 2, 3], 60, "refused")], lineup([1, 2, 3]))[1]["activated"]
    assert (one.state, "more awake and receiving" in one.lacking) == ("open", True)
    assert one.checks_left <= 3


def test_where_every_channel_played_before_the_confirmation_no_check_can_settle_it():
    rows = [*START[:2], *checks(range(1, 11), 60, "authorised"), "5:00 account service confirmed"]
    rows += checks(range(1, 11), 600, "authorised")
    one = judged(rows, lineup(range(1, 11)))[1]["activated"]
    assert (one.state, "cannot settle it" in one.lacking, one.checks_left) == ("open", True, None)


def test_without_a_lineup_any_further_channel_will_do():
    rows = [*START, *locks(10), *checks([1, 2], 300, "authorised")]
    one = judged(rows, None, "")[1]["activated"]
    assert one.state == "open"
    assert one.checks_left > 0
    assert "left" not in one.lacking


def test_silence_that_the_analysis_does_not_call_dead_is_not_ruled_out():
    """Both rooms assume the same delays and paces: an hour of refusals leaves about even chances there."""
    rows = [*START, *locks(61)]
    for at_s in (600, 3590):
        rows += checks(range(1, 21), at_s, "refused", 1)
    job = make_job("\n".join(rows), SHEET, lineup(range(1, 21)))
    findings = satdiag.analyse(job)
    one = next(one for one in confirm(job, findings).criteria if one.name == "activated")
    assert findings.entitlement.p_account_dead < 0.7
    assert (one.state, "more awake and receiving" in one.lacking) == ("open", True)


def test_lost_channels_are_asked_about_not_waited_for():
    rows = [*START, *locks(60)]
    rows += [*checks(range(1, 21), 600, "authorised"), *checks(range(1, 21), 3300, "refused", 2)]
    found, by_name = judged(rows, lineup(range(1, 21)))
    assert found.state != "confirmed"
    assert by_name["activated"].lacking.startswith("Ask the provider why 20 channels that played before are refused")
    assert by_name["no-fault"].state == "open"


@pytest.mark.parametrize(
    ("delays_s", "state"),
    [
        ([1.6] * 10, "holds"),
        ([1.6] * 4, "open"),  # the analysis says so: some more changes settle it
        ([6.2] * 6, "fails"),
        ([1.2, 9.0] * 6, "fails"),  # half of them within a second or so, and yet shown to be slow
        ([1.2] * 12 + [9.0] * 40, "fails"),  # normal at first
    ],
)
def test_changes_are_judged_as_the_analysis_judges_them(delays_s, state):
    rows = [*START, *checks(range(1, 11), 900, "authorised"), *changes(delays_s)]
    job = make_job("\n".join(rows), SHEET, lineup(range(1, 11)))
    findings = satdiag.analyse(job)
    one = next(one for one in confirm(job, findings).criteria if one.name == "changes")
    assert one.state == state
    assert findings.tuning.stop.text in one.evidence
    if state == "open":
        assert one.checks_left == findings.tuning.stop.more


def test_an_open_channel_that_is_missing_was_looked_for():
    rows = [*START, "1:00 channel 20 missing", *checks(range(1, 11), 900, "authorised")]
    one = judged(rows, lineup(range(1, 11), "20,Demo open,Rock,open"))[1]["open-channel"]
    assert (one.state, one.evidence) == ("open", "Open channel 20 is not in the list.")
    assert one.lacking == "Open channel 20 in the list, and 1 check of open channel 20."


def test_an_exchanged_receiver_is_said_to_have_no_confirmation_of_its_own():
    rows = [*START, *locks(20), "9:00 swap receiver better", *checks(range(1, 11), 900, "authorised")]
    found = judged(rows, lineup(range(1, 11)))[0]
    (said,) = [text for text in found.could_not if "confirmation" in text]
    assert "since the receiver was exchanged" in said
    assert "of the log count" not in said


def test_one_look_is_one_check():
    rows = [*START, *locks(10), "9:00 channel 1 authorised"]
    evidence = judged(rows, lineup(range(1, 11)))[1]["activated"].evidence
    assert evidence.startswith("1 look at an expected channel, counted as 1 separate check, 1 good;")
