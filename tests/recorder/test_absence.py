"""What is written of the time in which a source could not be heard."""

import pytest

from satdiag.recorder.absence import EVERY_S, Absences
from satdiag.recorder.heard import Moment


def at(seconds):
    return Moment(10**18 + int(seconds * 1e9), int(seconds * 1e9))


def gaps(absences):
    return [(moment.mono_ns / 1e9, gap.value, float(gap.span_s)) for moment, gap in absences.pending]


def test_an_absence_becomes_one_gap_that_covers_it():
    absences = Absences("gnss")
    absences.begin("lost", at(10), "unplugged")
    absences.end(at(14.5))
    assert gaps(absences) == [(14.5, "lost", 4.5)]
    _, gap = absences.pending[0]
    assert (gap.kind, gap.subject, gap.note) == ("gap", "gnss", "unplugged")
    assert absences.value == ""


def test_a_lasting_absence_is_written_piece_by_piece_without_hole_or_overlap():
    absences = Absences("gnss")
    absences.begin("silent", at(0), "")
    for second in range(1, 200):
        absences.tick(at(second))
    absences.end(at(200))
    pieces = gaps(absences)
    assert [piece[0] for piece in pieces] == [EVERY_S, 2 * EVERY_S, 3 * EVERY_S, 200]
    assert sum(piece[2] for piece in pieces) == 200
    assert {piece[1] for piece in pieces} == {"silent"}


def test_silent_then_lost_are_two_stretches_that_touch():
    absences = Absences("serial:x")
    absences.begin("silent", at(5), "")
    absences.begin("silent", at(7), "")  # goes on
    absences.begin("lost", at(9), "unplugged")
    absences.end(at(12))
    assert gaps(absences) == [(9, "silent", 4.0), (12, "lost", 3.0)]


def test_lines_without_room_are_counted_and_said_once():
    absences = Absences("serial:x")
    absences.spill(100, at(20))
    absences.spill(23, at(21))
    assert absences.spilling
    absences.stop_spilling(at(22))
    assert gaps(absences) == [(22, "overflow", 2.0)]
    assert absences.pending[0][1].note == "123 lines could not be kept"
    assert not absences.spilling


def test_a_loss_within_one_instant_still_is_written():
    absences = Absences("serial:x")
    absences.spill(1, at(20))
    absences.stop_spilling(at(20))
    assert [(value, pytest.approx(span)) for _, value, span in gaps(absences)] == [("overflow", 0.001)]


def test_a_sleep_of_the_computer_is_a_gap_unless_the_source_was_away_already():
    absences = Absences("gnss")
    absences.hole(at(30), at(90), "the computer slept")
    assert gaps(absences) == [(90, "lost", 60.0)]
    absences.pending.clear()
    absences.begin("lost", at(95), "")
    absences.hole(at(100), at(150), "the computer slept")
    absences.end(at(151))
    assert gaps(absences) == [(151, "lost", 56.0)]
