"""Jobs whose letters are easily wrong: two faults at once, an account that gives nothing while channels play.

Written by hand by the rules of the trade (common practice, no source); none was made by the simulator.
"""

from __future__ import annotations

from functools import cache

import satdiag
from satdiag.findings import Findings
from satdiag.job import Job
from satdiag.language import speaking
from satdiag.letter import Letter, letter_of
from tests.diagnosis.test_hard_jobs import GOOD, JOBS, WITH_SPORT, under_trees
from tests.diagnosis.test_where_the_naive_reading_is_wrong import LINEUP, SERVICE, checks, every
from tests.helpers import make_job

SKY = ["0:00 place vehicle open-sky", *every(range(1, 90, 3), GOOD)]
FEW, REST = range(1, 6), range(6, 21)
USED = "[receiver]\nsecond_hand = true\n"
NEW, OLD = "just-installed", "complaint"
CONFIRMED = "0:10 account service confirmed"
OPEN_PLAYS = "70:00 channel 90 authorised"
STALE = [*checks(60, "authorised", FEW), *checks(61, "refused", REST), *checks(80, "refused", REST)]

CASES: dict[str, tuple[list[str], str, str, str]] = {
    "not configured, antenna open": (
        JOBS["two faults: not configured, and the antenna open"][0],
        NEW,
        "",
        LINEUP,
    ),
    "trees, wrong identifier": (
        [
            "0:00 place vehicle open-sky",
            CONFIRMED,
            *every(range(1, 11), GOOD),
            "11:00 identity receiver-id mismatch",
            "11:30 place vehicle canopy",
            *under_trees(range(12, 40)),
            *checks(41, "refused"),
            "45:00 identity receiver-id mismatch",
        ],
        OLD,
        "",
        LINEUP,
    ),
    "package cut": (
        [
            *SKY,
            *checks(2, "authorised", [*range(1, 13), *range(30, 38)]),
            *checks(60, "authorised", range(1, 13)),
            *checks(61, "refused", range(30, 38)),
            *checks(80, "refused", range(30, 38)),
            *checks(82, "authorised", range(1, 13)),
        ],
        OLD,
        "",
        WITH_SPORT,
    ),
    "ended, only the open channel plays": (
        [
            *SKY,
            *checks(2, "authorised"),
            *checks(60, "refused"),
            OPEN_PLAYS,
            *checks(80, "refused"),
            "88:00 account service lapsed",
        ],
        OLD,
        "",
        LINEUP,
    ),
    "said to have ended, some play": (
        [
            *SKY,
            CONFIRMED,
            *checks(2, "authorised"),
            *STALE,
            *checks(84, "authorised", FEW),
            "88:00 account service lapsed",
        ],
        OLD,
        "",
        LINEUP,
    ),
    "said to have ended, all play": (
        [*SKY, *checks(2, "authorised"), *checks(60, "authorised"), "88:00 account service lapsed"],
        OLD,
        "",
        LINEUP,
    ),
    "used, account on another radio, some play": (
        [
            *SKY,
            *checks(2, "authorised"),
            *STALE,
            "70:00 identity receiver-id mismatch",
            "88:00 identity receiver-id mismatch",
        ],
        NEW,
        USED,
        LINEUP,
    ),
    "used, no account, some play": (
        [*SKY, *checks(2, "authorised", FEW), *STALE, "88:00 account service none"],
        NEW,
        USED,
        LINEUP,
    ),
    "used, no account, all gone": (
        [
            *SKY,
            *checks(2, "authorised"),
            *checks(40, "refused"),
            OPEN_PLAYS,
            *checks(80, "refused"),
            "88:00 account service none",
        ],
        NEW,
        USED,
        LINEUP,
    ),
    "refused by the provider": (
        [*SKY, *checks(2, "refused"), *checks(61, "refused"), OPEN_PLAYS, "88:00 account service rejected"],
        NEW,
        "",
        LINEUP,
    ),
    "submitted, not confirmed": (
        [*SKY, "0:10 account service submitted", *checks(2, "refused"), *checks(61, "refused"), OPEN_PLAYS],
        NEW,
        "",
        LINEUP,
    ),
}


@cache
def case(name: str) -> tuple[Job, Findings]:
    """A case's job and its findings."""
    rows, reason, sheet, lineup = CASES[name]
    job = make_job("\n".join(rows), f'reason = "{reason}"\n{sheet}{SERVICE}', lineup)
    return job, satdiag.analyse(job)


def case_letter(name: str, recipient: str, language: str = "en") -> Letter:
    """A case's letter."""
    job, found = case(name)
    with speaking(language):  # type: ignore[arg-type]
        return letter_of(job, found, recipient)  # type: ignore[arg-type]
