"""Minutes of testing to a sure and right verdict: the tests the diagnosis plans against a fixed checklist.

Three people start from the same log of the same world. One follows the plan for the least work in all (`planned`),
one the plan for a sure verdict (`proof`), one the checklist. After each test the job is analysed again, and one rule
judges all: who is sure stops; each test costs the minutes that `faults.toml` says of it; who ends unsure, or sure and
wrong, has spent `MOST_MINUTES`. Whoever follows a plan does a test again where the diagnosis offers it again;
the checklist holds every test once.

The checklist is the order of work of the trade (common practice, no source): what needs no tool first, then ring and
configuration, feed and reception, sound, account, waiting, and known-good parts last. It is not made poor: it leaves
out what the log already shows, and holds every test that settles a fault but a second vehicle to stand beside. Nor
does it know anything: its order is the same for every vehicle. Sorted by minutes alone, or with the second vehicle
before the known-good parts, it took 102 % and 97 % of the minutes that it takes as it is (51 worlds of set 'tune',
tests answered once each from the same start).

Beside them stands `shortest`, what nobody can do who does not know the answers beforehand; see
`bench_diagnosis_shortest.py`. Worlds that it cannot solve cost everybody `MOST_MINUTES`, whatever the order of tests:
in the 51 worlds named above it took 66 % of the checklist's minutes, in 60 later ones 54 % (42 of them solved; a
search ended early counted as solved then), so that no plan can take much less. Two further tables leave them out or
count otherwise: the worlds that somebody can solve, and the minutes until each stops, sure or saying that it cannot
be made sure.
"""

import tomllib
from functools import cache
from importlib import resources

MOST_MINUTES = 180.0
MOST_TESTS = 20
MOST_TIMES = 3
WAIT = "wait-and-recheck"
CHECKLIST = (
    "try-other-sources",
    "check-listing",
    "check-node",
    "check-ring",
    "read-positions",
    "read-configuration",
    "read-levels",
    "check-satellites",
    "measure-bias",
    "noise-rise",
    "move-outdoors",
    "measure-supply",
    "watch-restarts",
    "play-open-channel",
    "check-channels",
    "listen",
    "compare-identifier",
    "check-account",
    "wait-and-recheck",
    "swap-antenna",
    "swap-lead",
    "swap-receiver",
)


@cache
def times(test):
    """How often a test may be done: as often as it can be misread, or as what comes and goes may show; else once."""
    from satdiag.diagnosis.model import load_model

    item = load_model().items.get(prices().get(test, (0.0, ""))[1])
    if test in (WAIT, "check-channels"):
        return 2
    return MOST_TIMES if item is not None and (item.misread or item.anew) else 1


@cache
def prices():
    """Minutes and item of each test that the diagnosis knows."""
    data = tomllib.loads(resources.files("satdiag.diagnosis").joinpath("faults.toml").read_text("utf-8"))
    return {name: (float(table["minutes"]), table.get("item", "")) for name, table in data["test"].items()}


def is_right(verdict, truth):
    """The named fault is there; with nothing wrong, 'none' is named."""
    return verdict.fault in (truth.present or ("none",))


def offered(findings, asked):
    """The diagnosis's own next test, of those a world can answer; none more than three times."""
    from satdiag.simulate.worlds import known_tests

    can = {name for name in known_tests() if asked.count(name) < times(name)}
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
        "planned": go_on(order, number, offered, MOST_TESTS),
        "proof": go_on(order, number, offered, MOST_TESTS, "proof"),
        "checklist": go_on(order, number, by_checklist, MOST_TESTS),
    }
    if found["proof"]["sure"] and not found["proof"]["tests"]:
        return found
    return {**found, "shortest": shortest(order, number, prices(), MOST_MINUTES)}


def stopped(records):
    """What the other counts say of the same people: a table for each, {who: (mean, ratio, low, high)}; None without.

    Ratios are over the checklist's mean, with 95 % by resampling worlds. Tables: `solvable`, minutes counted as
    everywhere (`MOST_MINUTES` where not solved) in the worlds that `shortest` or one of the people solves;
    `stop solvable` and `stop`, the minutes spent until each stops, in those worlds and in all. `cut`: worlds that
    nobody solves and whose search for the shortest way was ended early: nobody knows of them.
    """
    import numpy as np

    pairs = [record["minutes"] for record in records if "minutes" in record]
    pairs = [pair for pair in pairs if pair["checklist"]["tests"] or pair["planned"]["tests"]]
    if not pairs or not all("shortest" in pair for pair in pairs):
        return None
    people = [who for who in ("planned", "proof", "checklist") if who in pairs[0]]
    by_people = np.array([any(pair[who]["solved"] for who in people) for pair in pairs])
    cut = np.array([pair["shortest"].get("cut", False) for pair in pairs], dtype=bool)
    can_be = by_people | (np.array([pair["shortest"]["counted"] < MOST_MINUTES for pair in pairs]) & ~cut)
    every = np.ones(len(pairs), dtype=bool)
    wanted = {"solvable": ("counted", can_be), "stop solvable": ("minutes", can_be), "stop": ("minutes", every)}
    counts = {"worlds": len(pairs), "solvable worlds": int(can_be.sum()), "cut": int((cut & ~by_people).sum())}
    return counts | {
        name: {who: _beside(pairs, kept, who, key) for who in people} for name, (key, kept) in wanted.items()
    }


def cut_text(cut):
    """How many worlds are left out since it is not known whether they can be solved."""
    return f" ({cut} left out: the search for the shortest way was ended early)" if cut else ""


def _beside(pairs, kept, who, key):
    """Mean of `key` of one of the people in the worlds that are kept, and its ratio to the checklist's, resampled."""
    import numpy as np

    mine, listed = (np.array([float(pair[one][key]) for pair in pairs])[kept] for one in (who, "checklist"))
    if not len(mine) or not listed.sum():
        return None
    picks = np.random.default_rng(4).integers(0, len(mine), (2000, len(mine)))
    drawn = mine[picks].sum(axis=1) / np.maximum(listed[picks].sum(axis=1), 1e-9)
    low, high = (float(edge) for edge in np.quantile(drawn, [0.025, 0.975]))
    return float(mine.mean()), float(mine.sum() / listed.sum()), low, high


def stopped_text(records):
    """The tables of `stopped` in words."""
    found = stopped(records)
    if found is None:
        return []
    few, all_ = found["solvable worlds"], found["worlds"]
    words = {
        "solvable": f"the same in the {few} worlds that somebody, or the shortest way, solves (unsolved: 180 min)"
        f"{cut_text(found['cut'])}:",
        "stop solvable": f"minutes until each stops, sure or told that it cannot be made so, in those {few} worlds:",
        "stop": f"minutes until each stops in all {all_} worlds that began unsure:",
    }
    lines = []
    for name, said in words.items():
        rows = {who: row for who, row in found[name].items() if row is not None}
        lines += [said] if rows else []
        for who, (mean, ratio, low, high) in rows.items():
            beside = "" if who == "checklist" else f", of the checklist's {ratio:.2f} [{low:.2f}, {high:.2f}]"
            lines.append(f"{who:>22} {mean:6.1f} min{beside}")
    return lines
