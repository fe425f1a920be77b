"""Troubles that were put right while the log ran: each is told once, by its own readings."""

import pytest

from satdiag.analysis import analyse, lesson_of
from satdiag.diagnosis.earlier import turns
from tests.helpers import make_job


def spans(rows, fault="not-configured"):
    return [(one.since_s, one.first_s, one.t_s) for one in turns(make_job(rows)) if one.fault == fault]


@pytest.mark.parametrize(
    ("rows", "found"),
    [
        # Two subjects of one readback: one trouble.
        (["0:00 {a} differs", "0:00 {b} differs", "9:00 {a} matches", "9:00 {b} matches"], [(0, 540, 540)]),
        # Read one after the other: it lasts until the last, and the log of the trouble ends with the first.
        (["0:00 {a} differs", "1:00 {b} differs", "9:00 {b} matches", "9:30 {a} matches"], [(0, 540, 570)]),
        # Apart in time: two.
        (
            ["0:00 {a} differs", "1:00 {a} matches", "2:00 {b} differs", "3:00 {b} matches"],
            [(0, 60, 60), (120, 180, 180)],
        ),
        (
            ["0:00 {a} differs", "1:00 {a} matches", "1:00 {b} differs", "3:00 {b} matches"],
            [(0, 60, 60), (60, 180, 180)],
        ),
        # Again and again on one subject.
        (
            ["0:00 {a} differs", "1:00 {a} matches", "2:00 {a} differs", "3:00 {a} matches"],
            [(0, 60, 60), (120, 180, 180)],
        ),
        # Never put right.
        (["0:00 {a} differs", "1:00 {b} matches", "2:00 {a} differs"], []),
        (["0:00 {a} matches", "1:00 {b} matches"], []),
    ],
)
def test_a_trouble_read_in_several_places_is_one(rows, found):
    a, b = "configuration readback", "configuration readback:equipment-list"
    assert spans("\n".join(row.format(a=a, b=b) for row in rows)) == found


ROWS = """
0:00 listing source no
0:30 configuration readback differs
0:30 configuration readback:equipment-list differs
9:00 configuration readback matches
9:20 configuration readback:equipment-list matches
9:40 listing source yes
10:00 audio output playing
"""


def test_a_readback_of_two_subjects_is_told_once():
    (told,) = analyse(make_job(ROWS.strip())).diagnosis.earlier
    assert told.fault == "not-configured"
    assert told.from_.endswith(":00:30Z")
    assert told.to.endswith(":09:20Z")


def test_its_lesson_is_of_before_the_first_cure():
    """At the first cure one of the two still differs: rows after it are of a vehicle half mended."""
    lesson = lesson_of(make_job(ROWS.strip() + "\n20:00 finding not-configured confirmed"))
    assert lesson.evidence["configuration"] == "differs"
    assert lesson.evidence["listing"] != "offered"


SILENT_RING = ["0:00 listing source no", "0:20 ring other-sources lost", "3:00 listing source no"]
PLAYS = ["8:20 channel 14 authorised", "8:30 channel 26 authorised", "9:00 audio output playing"]


def test_a_source_that_is_offered_at_last_ends_what_hid_it():
    """No row says that the ring was closed: what was seen before tells what it was, and the menu that it is over."""
    found = analyse(make_job("\n".join([*SILENT_RING, "8:00 listing source yes", *PLAYS]))).diagnosis.earlier
    (told,) = found
    assert (told.fault, told.ended_by) == ("ring-broken", "the head unit offered the satellite source")
    assert told.to.endswith(":08:00Z")
    assert told.probability >= 0.7


def test_where_it_may_have_been_several_none_is_told():
    rows = ["0:00 listing source no", "8:00 listing source yes", *PLAYS]
    assert not analyse(make_job("\n".join(rows))).diagnosis.earlier


def test_a_reading_of_its_own_goes_before_the_menu():
    """Open, offered again, and only then read as closed: one end, by its own words, judged before the first sign."""
    rows = "0:00 listing source no\n1:00 ring bus open\n8:00 listing source yes\n9:00 ring bus closed"
    (own,) = [one for one in turns(make_job(rows)) if one.fault == "ring-broken"]
    assert (own.since_s, own.first_s, own.t_s, own.ended_by) == (60, 480, 540, "the ring was reported closed")
    assert spans(rows, "not-configured") == [(0, 480, 480)]
    assert spans(rows + "\n20:00 listing source no\n21:00 listing source yes", "ring-broken")[1] == (1200, 1260, 1260)


def test_reception_that_came_back_ends_what_had_taken_it():
    """The feed was open and no channel had a signal; later all channels play, though nobody measured again."""
    rows = ["0:00 place vehicle open-sky", "0:20 bias voltage 5.0 V", "0:20 bias current 0 mA"]
    rows += [f"{1 + n}:00 channel {n + 1} no-signal" for n in range(4)]
    rows += [f"{10 + n}:00 channel {n + 1} authorised" for n in range(6)]
    (told,) = analyse(make_job("\n".join(rows))).diagnosis.earlier
    assert (told.fault, told.ended_by) == ("antenna-open", "channels were received again")
    assert told.from_.endswith(":01:00Z")
    assert told.to.endswith(":10:00Z")


FED = "the antenna drew its usual current again"
UNHEARD = [f"1:{s} lock {path} no" for s in (10, 20, 30, 40) for path in ("satellite", "repeater")]
OPEN = ["0:00 place vehicle open-sky", "0:10 listing source yes", *UNHEARD, "2:00 bias voltage 5.0 V"]
NO_CURRENT, DRAWS = "{} bias current 0 mA", "{} bias current 41 mA"


def currents(*times_and_words):
    return [word.format(time) for time, word in times_and_words]


def fed(rows):
    return [(one.fault, one.since_s, one.t_s) for one in turns(make_job("\n".join(rows))) if one.ended_by == FED]


def test_a_current_that_flows_again_ends_an_open_lead():
    """A joint was reseated: what was open before, and what was not received through it, is of before the repair."""
    rows = [*OPEN, *currents(("2:02", NO_CURRENT), ("12:00", DRAWS))]
    found = analyse(make_job("\n".join(rows))).diagnosis
    (told,) = found.earlier
    assert (told.fault, told.ended_by) == ("antenna-open", FED)
    assert told.from_.endswith(":02:02Z")
    assert told.to.endswith(":12:00Z")
    assert not {"satellite", "repeater", "any-path"} & {one.item for one in found.evidence}
    assert found.faults["antenna-open"] < 0.05


def test_only_what_was_received_since_the_feed_was_mended_counts():
    rows = [*OPEN, *currents(("2:02", NO_CURRENT), ("12:00", DRAWS))]
    rows += [f"13:{s} lock {path} yes" for s in (10, 20, 30, 40) for path in ("satellite", "repeater")]
    seen = {one.item: one.state for one in analyse(make_job("\n".join(rows))).diagnosis.evidence}
    assert (seen["satellite-beside"], seen["repeater"]) == ("good", "good")


def test_the_lesson_of_a_reseated_joint_is_of_before():
    rows = [*OPEN, *currents(("2:02", NO_CURRENT), ("12:00", DRAWS)), "20:00 finding antenna-open confirmed"]
    evidence = lesson_of(make_job("\n".join(rows))).evidence
    assert (evidence["bias"], evidence["satellite"]) == ("open", "none")


def test_a_short_that_was_cleared_is_told_as_one():
    rows = [*OPEN, "2:02 bias current 190 mA", *currents(("12:00", DRAWS))]
    assert fed(rows) == [("antenna-short", 122, 720)]


@pytest.mark.parametrize(
    "rows",
    [
        # Read once more at once: a slip of the probe, and nothing was mended in between.
        currents(("2:02", NO_CURRENT), ("2:30", DRAWS)),
        # It jumps while it is read.
        currents(("2:02", DRAWS), ("2:20", NO_CURRENT), ("9:00", DRAWS)),
        currents(("2:02", NO_CURRENT), ("9:00", DRAWS), ("9:20", NO_CURRENT)),
        # The feed was switched off on purpose.
        ["2:00 feed bias off", *currents(("2:02", NO_CURRENT)), "8:00 feed bias on", *currents(("9:00", DRAWS))],
        # A lent antenna drew it, and went back.
        [
            *currents(("2:02", NO_CURRENT)),
            "5:00 swap antenna better",
            *currents(("6:00", DRAWS)),
            "8:00 swap antenna worse",
        ],
        currents(("2:02", NO_CURRENT)),
    ],
)
def test_where_nothing_was_mended_the_feed_tells_no_end(rows):
    assert fed([*OPEN, *rows]) == []


def test_a_current_that_goes_again_leaves_what_was_received_before():
    """It comes and goes by itself: what was seen between is evidence of now."""
    rows = [*OPEN, *currents(("2:02", NO_CURRENT), ("12:00", DRAWS), ("20:00", NO_CURRENT))]
    seen = {one.item: one.state for one in analyse(make_job("\n".join(rows))).diagnosis.evidence}
    assert seen["satellite"] == "none"


LOOKED = [f"25:{2 * n:02} channel {n} refused" for n in range(1, 6)]
RESENT = "26:00 account service resend-requested"
CAME = [f"38:{2 * n:02} channel {n} authorised" for n in range(1, 6)]


def resent(rows):
    every = turns(make_job("\n".join(["0:20 account service confirmed", *rows])))
    return [one for one in every if one.fault == "entitlement-not-received"]


def test_a_resend_that_brought_channels_ends_what_had_kept_them_away():
    (told,) = resent([*LOOKED, RESENT, *CAME])  # seconds since the confirmation
    assert (told.since_s, told.first_s, told.t_s) == (1482, 1540, 2262)
    assert told.ended_by == "channels came after the activation had been asked for again"
    assert resent([*LOOKED, RESENT, *CAME, "50:00 account service resend-requested"]) == [told]  # asked for once more


@pytest.mark.parametrize(
    "rows",
    [
        [*LOOKED, RESENT],
        [*LOOKED, RESENT, CAME[0]],
        [RESENT.replace("26:", "24:"), *LOOKED, *CAME],
        [*LOOKED, *CAME, RESENT.replace("26:", "50:")],
        [RESENT, *CAME],
    ],
)
def test_a_resend_that_brought_nothing_ends_nothing(rows):
    """One channel may be a slip of the pen; what came before, or was not seen refused before, it did not bring."""
    assert not resent(rows)


def test_the_lesson_of_a_resend_that_helped_is_of_before():
    rows = ["0:20 account service confirmed", *LOOKED, RESENT, *CAME]
    evidence = lesson_of(make_job("\n".join([*rows, "40:00 finding entitlement-not-received confirmed"]))).evidence
    assert evidence["account"] == "confirmed"
    assert evidence["refused-pattern"] == "scattered"
