"""The tables of the report that stand without a figure: channels, reception, channel changes, versions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from satdiag.findings import (
    ChannelFinding,
    DelayFindings,
    EntitlementFindings,
    PathSignal,
    SignalFindings,
    SwapGain,
    TuningFindings,
)
from satdiag.report import palette, words
from satdiag.report.figure import Cell, Table, table
from satdiag.report.numbers import RANGE, UNKNOWN, duration, percent, quantity, seconds, wait_minutes
from satdiag.tables import LineUpChannel


@dataclass(frozen=True)
class ChannelGroup:
    """The channels in one state: a head with the count, a table, and whether it stands open."""

    words: str
    symbol: str
    count: int
    open: bool
    table: Table


OPEN = ("refused", "missing", "no-signal")
OPEN_UP_TO = 30
# What needs thought comes first.
GROUP_ORDER = ("refused", "missing", "no-signal", "unchecked", "authorised")


def channel_groups(found: EntitlementFindings, lineup: Sequence[LineUpChannel] | None) -> list[ChannelGroup]:
    """The channels by state, those that need thought first."""
    by_number = {channel.channel: channel for channel in lineup or ()}
    groups = []
    for state in GROUP_ORDER:
        channels = sorted((part for part in found.channels if part.state == state), key=lambda part: part.channel)
        if channels:
            whole = _channel_table(state, channels, by_number)
            stands_open = state in OPEN and len(channels) <= OPEN_UP_TO
            symbol = palette.CHANNELS[state].symbol
            groups.append(ChannelGroup(words.CHANNEL_STATES[state], symbol, len(channels), stands_open, whole))
    return groups


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
                Cell(words.CHANNEL_STATES[part.state], symbol),
                percent(part.p_will_come) if state != "authorised" else "",
                wait_minutes(part.remaining_s) if part.remaining_s else "",
                words.CHANNEL_REASONS[part.reason],
            )
        )
    heads = ("channel", "name", "category", "state", "chance of coming", "wait still", "why")
    caption = f"Channels: {words.CHANNEL_STATES[state]}."
    return _without_empty(table(caption, heads, rows, "channel|chance of coming|wait still"))


def _without_empty(whole: Table) -> Table:
    """A table without the columns in which nothing stands; its caption repeats the head above it."""
    kept = [i for i in range(len(whole.heads)) if any(row[i].text for row in whole.rows)]
    rows = tuple(tuple(row[i] for i in kept) for row in whole.rows)
    return Table(whole.caption, tuple(whole.heads[i] for i in kept), rows, whole.numeric, quiet=True)


# --- reception ---------------------------------------------------------------------------------------------------


EXPECTED_LEVEL_FROM = {
    "open-sky": "its own level under an open sky before",
    "remembered": "its own level under an open sky, kept from other jobs",
    "earlier-visit": "its own level at an earlier visit",
    "link-budget": "a link budget, see its inputs",
}


def share_table(found: SignalFindings) -> Table | None:
    """Shares of time by path with intervals, or None if no path is known."""
    if not found.paths:
        return None
    heads = (
        "path",
        "clear",
        "weakened",
        "weakened, each reading alone",
        "nothing received",
        "drop-outs seen per hour",
        "a drop-out seen lasts",
        "rests on",
    )
    caption = (
        "How much of the time logged each path was received, and its drop-outs; in brackets, for the shares, the "
        f"{RANGE} of what such a place gives in the long run. Between two readings a drop-out may pass unseen."
    )
    rows = [(words.path_words(name), *_shares(path)) for name, path in found.paths.items()]
    return table(caption, heads, rows, "|".join(heads[1:]))


def _shares(path: PathSignal) -> tuple[str, ...]:
    shares = [UNKNOWN] * 4
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
        rate += f", at most {quantity(path.dropouts_per_h_90[1], '')}"
    if path.mean_dropout_s is not None and path.mean_dropout_s_90 is not None:
        length += f", at least {quantity(path.mean_dropout_s_90[0], 's')}"
    return rate, length


def level_table(found: SignalFindings) -> Table | None:
    """Levels by path beside what was expected, or None if no path has a level."""
    rows = []
    for name, path in found.paths.items():
        if path.clear_level is not None or path.deficit_at_least is not None:
            unit = words.unit_words(path.unit)
            in_unit = "bars" if unit.endswith("bars") else unit
            short = quantity(path.deficit, in_unit, path.deficit_90)
            if path.deficit_at_least is not None:
                short = f"more than {quantity(path.deficit_at_least, in_unit)}"
            expected = quantity(path.expected_level, unit, path.expected_90)
            level = path.clear_level if path.level_here is None else path.level_here
            beside = EXPECTED_LEVEL_FROM[path.expected_from] if path.expected_from else ""
            told = "nothing above the floor" if path.deficit_at_least is not None else quantity(level, unit)
            rows.append((words.path_words(name), told, expected, short, beside))
    if not rows:
        return None
    heads = ("path", "level at its best", "level expected", "short by", "compared with")
    caption = (
        "The usual level of a path while nothing weakened it for a time, beside what was expected with a clear way; "
        f"in brackets the {RANGE}."
    )
    return table(caption, heads, rows, "|".join(heads[1:4]))


def budget_table(found: SignalFindings) -> Table | None:
    """Every input of the link budgets that levels were compared with, or None if there was none."""
    rows = [
        (words.path_words(name), one.label, quantity(one.value, one.unit, one.range), one.source, one.standing)
        for name, path in found.paths.items()
        for one in path.expected_inputs
    ]
    if not rows:
        return None
    heads = ("path", "input", "value", "from", "standing")
    caption = "What the expected levels were worked out from; in brackets the range that was carried through."
    return table(caption, heads, rows, "value")


def signal_sentences(found: SignalFindings) -> tuple[str, ...]:
    """What drop-outs and weak levels go with, and where single readings tell something else."""
    said = []
    if found.repeats_place_db is not None:
        where = {
            "place": "come back at the same positions: the surroundings make them",
            "vehicle": "do not come back at the same positions: look at vehicle, lead and receiver",
            None: "may or may not come back at the same positions: the passes are too few to say",
        }[found.repeats_at]
        said.append(f"The drop-outs {where}; {found.repeats_positions} positions were passed more than once.")
    if found.turns_vehicle_db is not None:
        turns = {
            "vehicle": "turns with the vehicle: antenna, roof or its load make it",
            "site": "differs from path to path and stays so while the vehicle turns: the surroundings make it",
            None: "shows no clear pattern over the headings",
        }[found.turns_with]
        if found.turns_both:
            turns += "; besides, paths differ whatever the heading, and the surroundings make that"
        said.append(f"What was received {turns}; {found.turns_headings} headings at one spot were compared.")
    if any(path.expected_from in ("open-sky", "remembered", "earlier-visit") for path in found.paths.values()):
        said.append(
            "A comparison with the vehicle's own level cannot show a loss that the vehicle had from its first day."
        )
    said += [_gain(one) for one in found.swap_gains]
    said += [words.sentence(text) for text in found.disagreements]
    said += [words.sentence(one.text) for one in found.sky_agreement]
    return tuple(said)


def _gain(one: SwapGain) -> str:
    """What other parts gained on a path."""
    unit = words.unit_words(one.unit)
    in_unit = "bars" if unit.endswith("bars") else unit
    more = quantity(one.gain, in_unit, one.gain_90)
    went = f"from {quantity(one.before, unit)} to {quantity(one.after, unit)} at the same spot: a gain of {more}"
    return f"With the other {one.part}, the level of {words.path_words(one.path)} went {went}."


def together_sentences(found: SignalFindings) -> tuple[str, ...]:
    """How many drop-outs took every path at once; nothing where too few can tell."""
    if found.together_share is None or found.together_events is None or found.together_taken is None:
        return ()
    share = percent(found.together_share, found.together_share_90)
    counted = f"{found.together_taken} of {found.together_events}"
    return (f"Of the drop-outs that can tell, {counted} took every path at once: {share}.",)


# --- channel changes ---------------------------------------------------------------------------------------------


def tuning_table(found: TuningFindings) -> Table | None:
    """Times to sound and to title, or None if no change was timed."""
    parts = (("to the sound", found.audio_s), ("to the title", found.title_s))
    rows = [(name, *_delay(delay)) for name, delay in parts if delay is not None]
    if not rows:
        return None
    heads = ("from the press", "half are done within", "nine in ten within", "changes timed", "given up")
    return table(f"How long channel changes took; in brackets the {RANGE}.", heads, rows, "|".join(heads[1:]))


def _delay(delay: DelayFindings) -> tuple[str, ...]:
    return seconds(delay.median, delay.median_90), seconds(delay.p90), str(delay.n), str(delay.timed_out)


# --- wiring ------------------------------------------------------------------------------------------------------
