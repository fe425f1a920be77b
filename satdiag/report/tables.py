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
    "earlier-visit": "its own level at an earlier visit",
    "link-budget": "a link budget with assumed antenna and noise",
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
        "drop-outs per hour",
        "a drop-out lasts",
        "rests on",
    )
    caption = f"How much of the time each path was received, and its drop-outs; in brackets the {RANGE}."
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
    rate = quantity(path.dropouts_per_h, "", path.dropouts_per_h_90)
    return (*shares, rate, quantity(path.mean_dropout_s, "s", path.mean_dropout_s_90), duration(path.observed_s))


def level_table(found: SignalFindings) -> Table | None:
    """Levels by path beside what was expected, or None if no path has a level."""
    rows = []
    for name, path in found.paths.items():
        if path.clear_level is not None:
            unit = words.unit_words(path.unit)
            short = quantity(path.deficit, "bars" if unit.endswith("bars") else unit, path.deficit_90)
            expected = quantity(path.expected_level, unit)
            level = path.clear_level if path.level_here is None else path.level_here
            beside = EXPECTED_LEVEL_FROM[path.expected_from] if path.expected_from else ""
            rows.append((words.path_words(name), quantity(level, unit), expected, short, beside))
    if not rows:
        return None
    heads = ("path", "level when clear", "level expected", "short by", "compared with")
    caption = f"Levels when the way was clear, beside what was expected there; in brackets the {RANGE}."
    return table(caption, heads, rows, "|".join(heads[1:4]))


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
            "site": "stays as it is while the vehicle turns: the surroundings, or something constant, make it",
            None: "shows no clear pattern over the headings",
        }[found.turns_with]
        said.append(f"What was received {turns}; {found.turns_headings} headings at one spot were compared.")
    if any(path.expected_from in ("open-sky", "earlier-visit") for path in found.paths.values()):
        said.append("A level compared with the vehicle's own before shows no loss that was there from the start.")
    said += [words.sentence(text) for text in found.disagreements]
    return tuple(said)


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
