"""A current that jumps while the lead is moved is evidence of a joint that opens and closes. Jobs made by hand."""

import pytest

from satdiag.analysis import analyse
from satdiag.diagnosis.received import reception_evidence
from tests.helpers import make_job

SOUND = ["0:00 place vehicle open-sky", "0:10 listing source yes"]
VARIES = [
    f"{minute}:{s} lock {path} {'no' if minute in (5, 8, 9) else 'yes'}"
    for minute in range(4, 12)
    for s in ("00", "30")
    for path in ("satellite", "repeater")
]


def read(numbers, minute=13, step_s=5, subject="current"):
    return [
        f"{minute + at // 60}:{at % 60:02} bias {subject} {number} mA"
        for at, number in zip(range(0, step_s * len(numbers), step_s), numbers, strict=True)
    ]


def watched(rows):
    found = reception_evidence(make_job("\n".join(rows)))
    return [(one.state, one.repeats) for one in found if one.item == "feed-watched"]


@pytest.mark.parametrize(
    ("rows", "told"),
    [
        (read([41, 0, 40, 0, 42]), [("jumps", 2)]),
        (read([0, 41, 0]), [("jumps", 1)]),
        (read([41, 190, 41]), [("jumps", 1)]),
        (read([41, 42, 40, 41]), [("steady", 1)]),
        (read([0, 0, 0]), [("steady", 1)]),
        # Two readings watch nothing; one change is a probe that slipped, or a joint that was reseated.
        (read([41, 0]), []),
        (read([0, 0, 41, 41]), [("steady", 1)]),
        # Minutes apart they are measurements of their own.
        (read([41, 0, 41], step_s=90), []),
        # One run, but no two changes within a minute.
        (read([41, 0, 0, 41], step_s=50), [("steady", 1)]),
        # The joint was reseated, and the lead moved again: the last time counts.
        ([*read([41, 0, 41]), *read([41, 42, 41], minute=25)], [("steady", 1)]),
        ([*read([41, 0, 41]), *read([41], minute=25)], [("jumps", 1)]),
        # Another lead was put in, or the vehicle came back another day.
        ([*read([41, 0, 41]), "20:00 swap lead better"], []),
        ([*read([41, 0, 41]), "9:00:00 listing source yes"], []),
        # A lent lead jumped, not ours.
        (["10:00 swap lead same", *read([41, 0, 41]), "20:00 swap lead same"], []),
        # Of two leads the one that jumps is told.
        (
            [*read([41, 0, 41], subject="current:repeater"), *read([40, 41, 41], 15, subject="current:satellite")],
            [("jumps", 1)],
        ),
        # Switched off on purpose.
        (["13:00 feed bias off", *read([0, 0, 0])], []),
    ],
)
def test_when_the_current_was_watched_and_jumps(rows, told):
    assert watched([*SOUND, *rows]) == told


def test_a_lead_whose_current_jumps_while_it_is_moved_has_a_loose_joint():
    """Reception that comes and goes has many causes; the current that goes with the lead's movements names one."""

    def lossy(numbers):
        found = analyse(make_job("\n".join([*SOUND, *VARIES, "12:50 bias voltage 4.7 V", *read(numbers)])))
        return found.diagnosis.faults["feed-lossy"], found.verdict.fault

    loose, fault = lossy([41, 0, 40, 0, 42, 41, 41])
    steady, _ = lossy([41, 42, 40, 41, 42, 41, 41])
    assert (fault, loose > 0.6, steady < 0.3) == ("feed-lossy", True, True)
