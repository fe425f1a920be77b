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
