"""The measurements of a job for the dealer's letter: each value with its unit, its range where one is known."""

from __future__ import annotations

from satdiag.findings import DelayFindings, Findings, Interval, LeadFindings, PathSignal
from satdiag.language import listed, tell, tell_many, translated
from satdiag.letter.dealer_words import BIAS, SUPPLY
from satdiag.letter.parts import Fact
from satdiag.letter.saying import level_words, number, quantity
from satdiag.paths import path_words
from satdiag.report.numbers import percent

Facts = list[Fact]


def measured(findings: Findings, unheard: bool = False) -> Facts:
    """What was measured, one line for each thing; a line that says so for what was not. `unheard`: see `Groups`."""
    parts: list[tuple[str, Facts]] = [
        (tell("Antenna feed"), _feed(findings)),
        (tell("Supply at the receiver"), _supply(findings)),
        (tell("Optical ring"), _ring(findings)),
        (tell("Level"), _levels(findings)),
        (tell("Time to sound"), _changes(findings)),
        (tell("Channels"), _channels(findings, unheard)),
    ]
    found: Facts = [fact for _, facts in parts for fact in facts]
    lacking = [label for label, facts in parts if not facts]
    return [*found, (tell("Not measured"), " · ".join(lacking))] if lacking else found


def _feed(findings: Findings) -> Facts:
    bias = findings.wiring.bias
    if bias is None:
        return []
    return [(_lead_label(lead), _lead(lead)) for lead in bias.leads if lead.state is not None]


def _lead_label(lead: LeadFindings) -> str:
    if lead.path is None:
        return tell("Antenna feed")
    return tell("Antenna feed, {path}", path=path_words(lead.path))


def _lead(lead: LeadFindings) -> str:
    said = []
    if lead.voltage_v is not None:
        said.append(_ranged(lead.voltage_v, 2, "V", lead.voltage_v_90))
    if lead.current_ma is not None:
        said.append(_ranged(lead.current_ma, 0, "mA", lead.current_ma_90))
    low, high = lead.windows.normal_ma
    normal = tell("usual: {low} to {high} mA", low=number(low, 0), high=number(high, 0))
    state = translated(BIAS[lead.state]) if lead.state else ""
    return ", ".join(part for part in (*said, state, normal) if part)


def _ranged(value: float, digits: int, unit: str, interval: Interval | None) -> str:
    if interval is None:
        return quantity(value, digits, unit)
    low, high = (number(max(end, 0.0), digits) for end in interval)
    if low == high:
        return quantity(value, digits, unit)
    return tell("{value} ({low} to {high})", value=quantity(value, digits, unit), low=low, high=high)


def _supply(findings: Findings) -> Facts:
    found = findings.wiring.supply
    if found is None or (found.median_v is None and not found.resets):
        return []
    said = []
    if found.median_v is not None:
        said.append(tell("usually {v}", v=quantity(found.median_v, 1, "V")))
    if found.minimum_v is not None:
        said.append(tell("lowest {v}", v=quantity(found.minimum_v, 1, "V")))
    if found.resets:
        said.append(tell_many("{n} unexpected restart", "{n} unexpected restarts", found.resets))
    elif found.state is not None:
        said.append(translated(SUPPLY[found.state]))
    return [(tell("Supply at the receiver"), ", ".join(said))]


def _ring(findings: Findings) -> Facts:
    ring = findings.wiring.ring
    if ring is None:
        return []
    said = []
    if ring.state is not None:
        said.append(tell("the ring is closed") if ring.state == "closed" else tell("the ring is open"))
    if ring.other_sources is not None:
        works = ring.other_sources == "working"
        said.append(tell("other audio sources work") if works else tell("other audio sources do not work"))
    if ring.nodes_absent:
        said.append(tell("no answer from {nodes}", nodes=listed(list(ring.nodes_absent))))
    return [(tell("Optical ring"), ", ".join(said))] if said else []


def paths_told(findings: Findings) -> list[tuple[str, PathSignal]]:
    """The paths worth a line: 'any' only where it holds a level, or stands alone."""
    paths = findings.signal.paths
    return [(name, path) for name, path in paths.items() if name != "any" or path.unit is not None or len(paths) == 1]


def _levels(findings: Findings) -> Facts:
    facts: Facts = []
    for name, path in paths_told(findings):
        said = []
        level = path.level_here if path.level_here is not None else path.clear_level
        if level is not None:
            said.append(level_words(level, path.unit))
        ends = path.deficit_90
        if path.deficit_db is not None and ends is not None and ends[0] > 0.0:
            short = _ranged(path.deficit_db, 0, "dB", ends if path.unit in ("dB", "dB-Hz") else None)
            said.append(tell("short of what is expected by {db}", db=short))
        if path.share is not None and path.share.blocked is not None:
            said.append(tell("received {share} of the time", share=percent(1.0 - path.share.blocked)))
        if said:
            facts.append((tell("Level, {path}", path=path_words(name)), ", ".join(said)))
    return facts


def _changes(findings: Findings) -> Facts:
    found = findings.tuning.audio_s
    return [] if found is None else [(tell("Time to sound"), _delay(found))]


def _delay(found: DelayFindings) -> str:
    said = []
    if found.median is not None:
        said.append(tell("half of the changes within {time}", time=quantity(found.median, 1, "s")))
    if found.p90 is not None:
        said.append(tell("nine in ten within {time}", time=quantity(found.p90, 1, "s")))
    said.append(tell_many("{n} change timed", "{n} changes timed", found.n))
    if found.timed_out:
        said.append(tell("{n} given up", n=found.timed_out))
    return ", ".join(said)


def _channels(findings: Findings, unheard: bool) -> Facts:
    found = findings.entitlement
    if not found.expected or not found.checked:
        return []
    text = tell(
        "playing: {plays} of {total} expected, refused: {refused}, not checked: {unseen}",
        plays=found.authorised or 0,
        total=found.expected,
        refused=found.refused or 0,
        unseen=found.expected - found.checked,
    )
    if unheard:
        text = tell("{counts} (as last received: at the last look some had no signal)", counts=text)
    return [(tell("Channels"), text)]
