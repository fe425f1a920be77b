"""The measures of feed, supply and states of two jobs side by side."""

from __future__ import annotations

from collections.abc import Iterator

from satdiag.acceptance.compare_measures import Measure, Seen, Sides, mean_level, rates
from satdiag.acceptance.effects import Limits, square_and_add
from satdiag.acceptance.repeated import mean_difference
from satdiag.exposure import exposure_clock
from satdiag.findings.feed import LeadFindings
from satdiag.job import Job
from satdiag.language import mark
from satdiag.spans import length_s
from satdiag.wiring.supply import CODE_C_MINIMUM_V

FEED_V, FEED_MA, SUPPLY_V = 0.5, 10.0, 0.5  # the smallest changes that would matter: judgements, no source

GOOD = {"yes", "playing", "closed", "present", "working", "matches", "match"}
STATES = (
    ("listing", "source", mark("Source offered")),
    ("audio", "output", mark("Sound")),
    ("ring", "bus", mark("Optical ring")),
    ("ring", "node:receiver", mark("Receiver on the ring")),
    ("ring", "other-sources", mark("Other sources on the ring")),
    ("configuration", "readback", mark("Stored configuration")),
    ("identity", "receiver-id", mark("Receiver's identifier")),
)


def wiring_measures(before: Seen, after: Seen) -> list[Measure]:
    """The antenna's feed, the supply and its dips, restarts, and states as read last: all that both jobs have."""
    return [*_feed(before, after), *_supply(before, after), *_states(before, after)]


def _feed(before: Seen, after: Seen) -> Iterator[Measure]:
    a, b = _leads(before), _leads(after)
    for path in sorted({*a} & {*b}, key=str):
        pair = (a[path], b[path])
        volts: Sides = (pair[0].voltage_v, pair[1].voltage_v)
        numbers = (pair[0].n_voltage, pair[1].n_voltage)
        title = mark("Antenna feed, voltage")
        limits = (pair[0].voltage_v_90, pair[1].voltage_v_90)
        yield from _reading("feed-voltage", title, "V", FEED_V, path, volts, limits, numbers)
        milliamperes: Sides = (pair[0].current_ma, pair[1].current_ma)
        numbers = (pair[0].n_current, pair[1].n_current)
        title = mark("Antenna feed, current")
        limits = (pair[0].current_ma_90, pair[1].current_ma_90)
        yield from _reading("feed-current", title, "mA", FEED_MA, path, milliamperes, limits, numbers)


def _leads(side: Seen) -> dict[str | None, LeadFindings]:
    bias = side.findings.wiring.bias
    return {lead.path: lead for lead in bias.leads} if bias else {}


def _reading(
    name: str,
    title: str,
    unit: str,
    margin: float,
    path: str | None,
    sides: Sides,
    limits: tuple[Limits | None, Limits | None],
    numbers: tuple[int, int],
) -> Iterator[Measure]:
    if sides[0] is None or sides[1] is None:
        return
    known = limits[0] is not None and limits[1] is not None
    effect = square_and_add(sides[0], limits[0], sides[1], limits[1]) if known else None  # type: ignore[arg-type]
    yield Measure(name, title, "difference", unit, 0, margin, sides, numbers, effect, path)


def _supply(before: Seen, after: Seen) -> Iterator[Measure]:
    jobs = (before.job, after.job)
    rows = [job.select("supply") for job in jobs]
    both = all(len(part) for part in rows)
    if both:
        yield _voltage(jobs)
    awake_s = [length_s(exposure_clock(job).awake) for job in jobs]
    if min(awake_s) > 0:
        low = [int((part["number"] < CODE_C_MINIMUM_V).sum()) for part in rows]
        if both:
            yield rates("supply-dips", mark("Dips of the supply"), (low[0], awake_s[0]), (low[1], awake_s[1]))
        resets = [len(job.select("reset")) for job in jobs]
        yield rates("restarts", mark("Unexpected restarts"), (resets[0], awake_s[0]), (resets[1], awake_s[1]))


def _voltage(jobs: tuple[Job, Job]) -> Measure:
    """The mean of what was read; the lowest of all rows stands beside it in words, since it has no interval."""
    live = [job.select("supply", "receiver") for job in jobs]
    lowest = [float(job.select("supply")["number"].min()) for job in jobs]
    a, b = (mean_level(part, 0.1, stream) for stream, part in enumerate(live))
    effect = mean_difference(a, b) if a and b else None
    return Measure(
        "supply",
        mark("Supply voltage"),
        "difference",
        "V",
        0,
        SUPPLY_V,
        (a.value if a else None, b.value if b else None),
        (len(live[0]), len(live[1])),
        effect,
        n_effective=(a.n_effective, b.n_effective) if a and b else None,
        lowest=(lowest[0], lowest[1]),
    )


def _states(before: Seen, after: Seen) -> Iterator[Measure]:
    for kind, subject, title in STATES:
        rows = [side.job.select(kind, subject) for side in (before, after)]
        if all(len(part) for part in rows):
            words = (str(rows[0]["value"].iloc[-1]), str(rows[1]["value"].iloc[-1]))
            sides = (float(words[0] in GOOD), float(words[1] in GOOD))
            numbers = (len(rows[0]), len(rows[1]))
            name = f"{kind}-{subject.replace(':', '-')}"
            yield Measure(name, title, "state", "", 1, None, sides, numbers, None, words=words)
