"""Minutes of testing to a sure and right verdict: the tests the diagnosis plans against a fixed checklist.

Three people start from the same log of the same world. One follows the plan for the least work in all (`planned`),
one the plan for a sure verdict (`proof`), one the checklist. After each test the job is analysed again, and one rule
judges all: who is sure stops; each test costs the minutes that `faults.toml` says of it; who ends unsure, or sure and
wrong, has spent `MOST_MINUTES`. Nobody does a test again that he did before, but waiting, which may be done twice
(`planned`: every test, where the diagnosis offers it again).

The checklist is the order of work of the trade (common practice, no source): what needs no tool first, then ring and
configuration, feed and reception, sound, account, waiting, and known-good parts last. It is not made poor: it leaves
out what the log already shows, and holds every test that settles a fault but a second vehicle to stand beside. Nor
does it know anything: its order is the same for every vehicle. Sorted by minutes alone, or with the second vehicle
before the known-good parts, it took 102 % and 97 % of the minutes that it takes as it is (51 worlds of set 'tune',
tests answered once each from the same start).

Beside them stands `shortest`, what nobody can do who does not know the answers beforehand; see
`bench_diagnosis_shortest.py`. Worlds that it cannot solve cost everybody `MOST_MINUTES`, whatever the order of tests:
in the 51 worlds named above it took 66 % of the checklist's minutes, so that no plan can take much less.
"""

import tomllib
from functools import cache
from importlib import resources

MOST_MINUTES = 180.0
MOST_TESTS = 20
WAIT = "wait-and-recheck"
CHECKLIST = (
    "try-other-sources",
    "check-listing",
    "check-node",
    "check-ring",
    "read-configuration",
    "read-levels",
    "check-satellites",
    "measure-bias",
    "noise-rise",
    "move-outdoors",
    "measure-supply",
    "watch-restarts",
    "play-open-channel",
    "listen",
    "compare-identifier",
    "check-account",
    "wait-and-recheck",
    "swap-antenna",
    "swap-lead",
    "swap-receiver",
)


@cache
def prices():
    """Minutes and item of each test that the diagnosis knows."""
    data = tomllib.loads(resources.files("satdiag.diagnosis").joinpath("faults.toml").read_text("utf-8"))
    return {name: (float(table["minutes"]), table.get("item", "")) for name, table in data["test"].items()}


def is_right(verdict, truth):
    """The named fault is there; with nothing wrong, 'none' is named."""
    return verdict.fault in (truth.present or ("none",))


def planned(findings, asked):
    """The diagnosis's own next test, of those a world can answer."""
    return _offered(findings, {name for name in asked if asked.count(name) >= 2})


def for_proof(findings, asked):
    """The diagnosis's own next test, none a second time but waiting."""
    return _offered(findings, {name for name in asked if name != WAIT or asked.count(name) >= 2})


def _offered(findings, over):
    from satdiag.simulate.worlds import known_tests

    can = set(known_tests()) - over
    return next((test.test for test in findings.diagnosis.next_tests if test.test in can), None)


def by_checklist(findings, asked):
    """The first point of the list that was not done."""
    seen = {one.item for one in findings.diagnosis.evidence}
    for name in CHECKLIST:
        if name not in asked and name in prices() and (prices()[name][1] not in seen or name == WAIT):
            return name
    return None


def go_on(order, number, choose, most, aim="repair"):
    """Test until sure: minutes spent, which tests, whether it ended sure and right, and why it stopped."""
    from bench_diagnosis import analysed

    from satdiag.simulate.worlds import make_world

    made = make_world(order.setting, order.seed, number, order.tier)
    asked, minutes = [], 0.0
    while True:
        findings = analysed(made, aim)[0]
        right = is_right(findings.verdict, made.truth)
        if findings.verdict.sure or len(asked) >= most:
            break
        test = choose(findings, asked)
        if test is None:
            break
        made.answer(test)
        asked.append(test)
        minutes += prices()[test][0]
    solved = bool(findings.verdict.sure and right)
    return {
        "solved": solved,
        "sure": bool(findings.verdict.sure),
        "right": right,
        "minutes": minutes,
        "counted": min(minutes, MOST_MINUTES) if solved else MOST_MINUTES,
        "tests": asked,
        "stop": findings.diagnosis.stop,
    }


def both(order, number):
    """All of them at one world; with `shortest` where it is not sure from the start."""
    from bench_diagnosis_shortest import shortest

    found = {
        "planned": go_on(order, number, planned, MOST_TESTS),
        "proof": go_on(order, number, for_proof, MOST_TESTS, "proof"),
        "checklist": go_on(order, number, by_checklist, MOST_TESTS),
    }
    if found["proof"]["sure"] and not found["proof"]["tests"]:
        return found
    return {**found, "shortest": shortest(order, number, prices(), MOST_MINUTES)}
