"""Minutes of testing to a sure and right verdict: the tests the diagnosis plans against a fixed checklist.

Both people start from the same log of the same world. After each test the job is analysed again; who is sure stops.
The checklist is the order of work of the trade (common practice, no source): what needs no tool first, then ring and
configuration, feed and reception, sound, account, waiting, and known-good parts last. It leaves out what the log
already shows. Each test costs the minutes that `faults.toml` says of it, for both alike. Who ends unsure, or sure and
wrong, has spent `MOST_MINUTES`.
"""

import tomllib
from functools import cache
from importlib import resources

MOST_MINUTES = 180.0
MOST_TESTS = 16
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
    from satdiag.simulate.worlds import known_tests

    can = set(known_tests())
    repeated = {name for name in asked if asked.count(name) >= 2}
    return next((t.test for t in findings.diagnosis.next_tests if t.test in can and t.test not in repeated), None)


def by_checklist(findings, asked):
    """The first point of the list that was not done."""
    seen = {one.item for one in findings.diagnosis.evidence}
    for name in CHECKLIST:
        if name not in asked and name in prices() and (prices()[name][1] not in seen or name == "wait-and-recheck"):
            return name
    return None


def go_on(order, number, choose, most):
    """Test until sure: minutes spent, which tests, whether it ended sure and right."""
    from bench_diagnosis import analysed

    from satdiag.simulate.worlds import make_world

    made = make_world(order.setting, order.seed, number, order.tier)
    asked, minutes = [], 0.0
    while True:
        findings = analysed(made)[0]
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
    }


def both(order, number):
    """Both people at one world."""
    return {
        "planned": go_on(order, number, planned, MOST_TESTS),
        "checklist": go_on(order, number, by_checklist, len(CHECKLIST)),
    }
