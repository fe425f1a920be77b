"""The tables of the report that stand without a figure: channels, reception, channel changes, versions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from satdiag.findings import (
    ChannelFinding,
    DelayFindings,
    EntitlementFindings,
    PathSignal,
    Quantiles,
    SignalFindings,
    SwapGain,
    TuningFindings,
)
from satdiag.language import mark, tell, tell_many, translated
from satdiag.paths import path_words
from satdiag.report import palette, words
from satdiag.report.figure import Cell, Table, table
from satdiag.report.numbers import duration, percent, quantity, range_words, seconds, unknown, wait_minutes
from satdiag.tables import LineUpChannel


@dataclass(frozen=True)
class ChannelGroup:
    """The channels in one state: a head with the count, a table of the first `LISTED`, and whether it stands open."""

    words: str
    symbol: str
    count: int
    open: bool
    table: Table


OPEN = ("refused", "missing", "no-signal")
OPEN_UP_TO = 30
LISTED = 1000
"""Channels of a state in the page, which would not open with hundreds of thousands of them."""

# What needs thought comes first.
GROUP_ORDER = ("refused", "missing", "no-signal", "unchecked", "authorised")


def channel_groups(found: EntitlementFindings, lineup: Sequence[LineUpChannel] | None) -> list[ChannelGroup]:
    """The channels by state, those that need thought first."""
    by_number = {channel.channel: channel for channel in lineup or ()}
    groups = []
    for state in GROUP_ORDER:
        channels = sorted((part for part in found.channels if part.state == state), key=lambda part: part.channel)
        if channels:
            whole = _channel_table(state, channels[:LISTED], by_number)
            stands_open = state in OPEN and len(channels) <= OPEN_UP_TO
            symbol = palette.CHANNELS[state].symbol
            groups.append(ChannelGroup(_state_words(state), symbol, len(channels), stands_open, whole))
    return groups


def _state_words(state: str) -> str:
    return words.CHANNEL_STATES[state]


def _channel_table(state: str, channels: Sequence[ChannelFinding], lineup: Mapping[int, LineUpChannel]) -> Table:
    symbol = palette.CHANNELS[state].symbol
    rows = []
    for part in channels:
        known = lineup.get(part.channel)
        rows.append(
            (
                str(part.channel),
                known.name if known else "",
                known.category if known else "",
                Cell(_state_words(part.state), symbol),
                percent(part.p_will_come) if state != "authorised" else "",
                _wait(part.remaining_s) if part.remaining_s else "",
                words.CHANNEL_REASONS[part.reason],
            )
        )
    channel, chance, wait = tell("channel"), tell("chance of coming"), tell("wait still")
    heads = (channel, tell("name"), tell("category"), tell("state"), chance, wait, tell("why"))
    caption = tell("Channels: {state}.", state=_state_words(state))
    return _without_empty(table(caption, heads, rows, f"{channel}|{chance}|{wait}"))


def _wait(left: Quantiles) -> str:
    return wait_minutes(left) if left.p95 > 0 else tell("may be there already")


def _without_empty(whole: Table) -> Table:
    """A table without the columns in which nothing stands; its caption repeats the head above it."""
    kept = [i for i in range(len(whole.heads)) if any(row[i].text for row in whole.rows)]
    rows = tuple(tuple(row[i] for i in kept) for row in whole.rows)
    return Table(whole.caption, tuple(whole.heads[i] for i in kept), rows, whole.numeric, quiet=True)


# --- reception ---------------------------------------------------------------------------------------------------


EXPECTED_LEVEL_FROM = {
    "open-sky": mark("its own level under an open sky before"),
    "remembered": mark("its own level under an open sky, kept from other jobs"),
    "earlier-visit": mark("its own level at an earlier visit"),
    "link-budget": mark("a link budget, see its inputs"),
}


def share_table(found: SignalFindings) -> Table | None:
    """Shares of time by path with intervals, or None if no path is known."""
    if not found.paths:
        return None
    heads = (
        tell("path"),
        tell("clear"),
        tell("weakened"),
        tell("weakened, each reading alone"),
        tell("nothing received"),
        tell("drop-outs seen per hour"),
        tell("a drop-out seen lasts"),
        tell("rests on"),
    )
    caption = tell(
        "How much of the time logged each path was received, and its drop-outs; in brackets, for the shares, the "
        "{range} of what such a place gives in the long run. Between two readings a drop-out may pass unseen.",
        range=range_words(),
    )
    rows = [(path_words(name), *_shares(path)) for name, path in found.paths.items()]
    return table(caption, heads, rows, "|".join(heads[1:]))


def _shares(path: PathSignal) -> tuple[str, ...]:
    shares = [unknown()] * 4
    if path.share is not None:
        ends, plain = path.share_90, path.plain_share
        shares = [
            percent(path.share.clear, ends.clear if ends else None),
            percent(path.share.shadowed, ends.shadowed if ends else None),
            percent(plain.shadowed if plain else None),
            percent(path.share.blocked, ends.blocked if ends else None),
        ]
    return (*shares, *_dropouts(path), duration(path.observed_s))


def _dropouts(path: PathSignal) -> tuple[str, str]:
    """The rate and length that were seen; with those between readings there may be more of them, and shorter ones."""
    rate, length = quantity(path.dropouts_per_h, ""), quantity(path.mean_dropout_s, "s")
    if path.dropouts_per_h is not None and path.dropouts_per_h_90 is not None:
        rate = tell("{rate}, at most {most}", rate=rate, most=quantity(path.dropouts_per_h_90[1], ""))
    if path.mean_dropout_s is not None and path.mean_dropout_s_90 is not None:
        length = tell("{length}, at least {least}", length=length, least=quantity(path.mean_dropout_s_90[0], "s"))
    return rate, length


def level_table(found: SignalFindings) -> Table | None:
    """Levels by path beside what was expected, or None if no path has a level."""
    rows = []
    for name, path in found.paths.items():
        if path.clear_level is not None or path.deficit_at_least is not None:
            unit = words.unit_words(path.unit)
            in_unit = _difference_unit(path.unit)
            short = quantity(path.deficit, in_unit, path.deficit_90)
            if path.deficit_at_least is not None:
                short = tell("more than {amount}", amount=quantity(path.deficit_at_least, in_unit))
            expected = quantity(path.expected_level, unit, path.expected_90)
            level = path.clear_level if path.level_here is None else path.level_here
            beside = translated(EXPECTED_LEVEL_FROM[path.expected_from]) if path.expected_from else ""
            told = tell("nothing above the floor") if path.deficit_at_least is not None else quantity(level, unit)
            rows.append((path_words(name), told, expected, short, beside))
    if not rows:
        return None
    heads = (
        tell("path"),
        tell("level at its best"),
        tell("level expected"),
        tell("short by"),
        tell("compared with"),
    )
    caption = tell(
        "The usual level of a path while nothing weakened it for a time, beside what was expected with a clear way; "
        "in brackets the {range}.",
        range=range_words(),
    )
    return table(caption, heads, rows, "|".join(heads[1:4]))


def _difference_unit(unit: str | None) -> str:
    """The unit of a difference of levels: bars alone, not 'of 5 bars'."""
    return tell("bars") if unit is not None and unit.startswith("bars/") else words.unit_words(unit)


def budget_table(found: SignalFindings) -> Table | None:
    """Every input of the link budgets that levels were compared with, or None if there was none."""
    rows = [
        (path_words(name), one.label, quantity(one.value, one.unit, one.range), one.source, one.standing)
        for name, path in found.paths.items()
        for one in path.expected_inputs
    ]
    if not rows:
        return None
    value = tell("value")
    heads = (tell("path"), tell("input"), value, tell("taken from"), tell("standing"))
    caption = tell("What the expected levels were worked out from; in brackets the range that was carried through.")
    return table(caption, heads, rows, value)


REPEATS = {
    "place": mark(
        "The drop-outs come back at the same positions: the surroundings make them; {n} positions were passed more "
        "than once."
    ),
    "vehicle": mark(
        "The drop-outs do not come back at the same positions: look at vehicle, lead and receiver; {n} positions "
        "were passed more than once."
    ),
    None: mark(
        "The drop-outs may or may not come back at the same positions: the passes are too few to say; {n} positions "
        "were passed more than once."
    ),
}
TURNS = {
    "vehicle": mark("What was received turns with the vehicle: antenna, roof or its load make it."),
    "site": mark(
        "What was received differs from path to path and stays so while the vehicle turns: the surroundings make it."
    ),
    None: mark("What was received shows no clear pattern over the headings."),
}


def signal_sentences(found: SignalFindings) -> tuple[str, ...]:
    """What drop-outs and weak levels go with, and where single readings tell something else."""
    said = []
    if found.repeats_place_db is not None:
        said.append(translated(REPEATS[found.repeats_at]).format(n=found.repeats_positions))
    if found.turns_vehicle_db is not None:
        said.append(translated(TURNS[found.turns_with]))
        if found.turns_both:
            said.append(tell("Besides, paths differ whatever the heading, and the surroundings make that."))
        said.append(
            tell_many(
                "{n} heading at one spot was compared.",
                "{n} headings at one spot were compared.",
                found.turns_headings or 0,
            )
        )
    if any(path.expected_from in ("open-sky", "remembered", "earlier-visit") for path in found.paths.values()):
        said.append(
            tell(
                "A comparison with the vehicle's own level cannot show a loss that the vehicle had from its first "
                "day."
            )
        )
    said += [_gain(one) for one in found.swap_gains]
    said += [words.sentence(text) for text in found.disagreements]
    said += [words.sentence(one.text) for one in found.sky_agreement]
    return tuple(said)


_GAINS = {
    "antenna": mark(
        "With the other antenna, the level of {path} went from {before} to {after} at the same spot: a gain of "
        "{more}."
    ),
    "lead": mark(
        "With the other lead, the level of {path} went from {before} to {after} at the same spot: a gain of {more}."
    ),
    "antenna and lead": mark(
        "With the other antenna and lead, the level of {path} went from {before} to {after} at the same spot: a gain "
        "of {more}."
    ),
}
"""What is said by the parts that were exchanged, as `signal.swaps` names them."""

_BACK = {
    "antenna": mark(
        "With the old antenna back in, the level of {path} went from {before} to {after} at the same spot: a gain of "
        "{more}."
    ),
    "lead": mark(
        "With the old lead back in, the level of {path} went from {before} to {after} at the same spot: a gain of "
        "{more}."
    ),
    "antenna and lead": mark(
        "With the old antenna and lead back in, the level of {path} went from {before} to {after} at the same spot: "
        "a gain of {more}."
    ),
}
"""The same where they went back after a trial."""


def _gain(one: SwapGain) -> str:
    """What other parts gained on a path."""
    unit = words.unit_words(one.unit)
    said = (_BACK if one.back else _GAINS)[one.part]
    return translated(said).format(
        path=path_words(one.path),
        before=quantity(one.before, unit),
        after=quantity(one.after, unit),
        more=quantity(one.gain, _difference_unit(one.unit), one.gain_90),
    )


def together_sentences(found: SignalFindings) -> tuple[str, ...]:
    """How many drop-outs took every path at once; nothing where too few can tell."""
    if found.together_share is None or found.together_events is None or found.together_taken is None:
        return ()
    said = tell(
        "Of the drop-outs that can tell, {n} of {total} took every path at once: {share}.",
        n=found.together_taken,
        total=found.together_events,
        share=percent(found.together_share, found.together_share_90),
    )
    return (said,)


# --- channel changes ---------------------------------------------------------------------------------------------


def tuning_table(found: TuningFindings) -> Table | None:
    """Times to sound and to title, or None if no change was timed."""
    parts = ((tell("to the sound"), found.audio_s), (tell("to the title"), found.title_s))
    rows = [(name, *_delay(delay)) for name, delay in parts if delay is not None]
    if not rows:
        return None
    heads = (
        tell("from the press"),
        tell("half are done within"),
        tell("nine in ten within"),
        tell("changes timed"),
        tell("given up"),
    )
    caption = tell("How long channel changes took; in brackets the {range}.", range=range_words())
    return table(caption, heads, rows, "|".join(heads[1:]))


def _delay(delay: DelayFindings) -> tuple[str, ...]:
    return seconds(delay.median, delay.median_90), seconds(delay.p90), str(delay.n), str(delay.timed_out)
