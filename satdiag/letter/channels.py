"""The channels of a job as a letter groups them, and their names and numbers in few words."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass

from satdiag.findings import ChannelFinding, Findings
from satdiag.job import Job
from satdiag.language import listed, tell, tell_many
from satdiag.report.numbers import FIXED_SPACE

MOST_NAMED = 12
MOST_RUNS = 40
LOOK = ("subject", "value", "t_s")
SHORT_NAME = 28
"""Longer names are cut, so that a letter keeps to its page."""


@dataclass(frozen=True)
class Groups:
    """Channel numbers by what a reader has to know of them, each in one group only.

    `plays`: authorised at the last check, `open`: those of them that need no subscription; `awaited`: refused and
    still to come, with the chance in `chance`; `locked`: refused, and something has to be done first; `outside`: the
    line-up puts them outside the package; `maybe_outside`: so it seems; `unlisted`: not in the head unit's list;
    `unseen`: not checked, or without a signal when checked. `unheard`: one of those under `plays` or more had no
    signal when somebody looked last, so that it is authorised by an earlier look.
    """

    plays: tuple[int, ...] = ()
    open: tuple[int, ...] = ()
    awaited: tuple[int, ...] = ()
    locked: tuple[int, ...] = ()
    lost: tuple[int, ...] = ()
    outside: tuple[int, ...] = ()
    maybe_outside: tuple[int, ...] = ()
    unlisted: tuple[int, ...] = ()
    unseen: tuple[int, ...] = ()
    chance: dict[int, float] | None = None
    unheard: bool = False


def groups_of(job: Job, findings: Findings) -> Groups:
    """The channels of a job in their groups. Only where the verdict is 'still filling in' may any be awaited."""
    outside = outside_by_lineup(job)
    waits = findings.verdict.state == "filling"
    sorted_in: dict[str, list[int]] = {}
    for one in findings.entitlement.channels:
        sorted_in.setdefault(_group(one, outside, waits), []).append(one.channel)
    found = {name: tuple(sorted(channels)) for name, channels in sorted_in.items()}
    free = {line.channel for line in job.lineup or () if line.is_open}
    chance = {one.channel: one.p_will_come for one in findings.entitlement.channels if one.p_will_come is not None}
    plays = found.get("plays", ())
    unheard = any_unheard(job, plays)
    return Groups(**found, open=tuple(c for c in plays if c in free), chance=chance, unheard=unheard)


def any_unheard(job: Job, channels: Collection[int]) -> bool:
    """True if one of the channels had no signal at the last look, and was not tuned to with success since."""
    looks, tunes = job.select("channel"), job.select("tune")
    heard = tunes[tunes["value"].isin(["audio", "title"]).to_numpy()]
    since_s = dict(zip(heard["subject"], heard["t_s"], strict=True))  # the last one of each
    last = {subject: (value, t_s) for subject, value, t_s in zip(*(looks[c] for c in LOOK), strict=True)}
    lost = {int(one) for one, (value, t_s) in last.items() if value == "no-signal" and t_s > since_s.get(one, -1)}
    return not lost.isdisjoint(channels)


def outside_by_lineup(job: Job) -> frozenset[int]:
    """The channels that the line-up knows to lie outside the job's package."""
    package = job.sheet.package
    if not package:
        return frozenset()
    lines = job.lineup or ()
    return frozenset(line.channel for line in lines if line.packages and not line.packages & {package, "open"})


def _group(one: ChannelFinding, outside: Collection[int], waits: bool) -> str:
    if one.state == "authorised":
        return "plays"
    if one.reason == "not-in-package":
        return "outside" if one.channel in outside else "maybe_outside"
    if one.reason == "lost":
        return "lost"
    if one.state == "missing":
        return "unlisted"
    if one.state != "refused":
        return "unseen"
    return "awaited" if waits and one.reason in ("late", "cannot-tell") and one.p_will_come else "locked"


# --- in words ----------------------------------------------------------------------------------------------------


def names_text(channels: Sequence[int], job: Job) -> str:
    """Channels with their names; many as ranges with the names of both ends, very many as numbers alone.

    A range holds neighbours of the line-up: no channel between its ends is left out.
    """
    names = {line.channel: _short(line.name) for line in job.lineup or ()}

    def named(channel: int) -> str:
        return f"{channel}{FIXED_SPACE}{names[channel]}" if names.get(channel) else str(channel)

    if len(channels) <= MOST_NAMED:
        return listed([named(channel) for channel in channels])
    runs = runs_of(channels, job)
    if len(runs) <= MOST_NAMED // 2:
        return listed([text for run in runs for text in _run(run, named)])
    return numbers_text(channels, job)


def numbers_text(channels: Sequence[int], job: Job) -> str:
    """Channel numbers as ranges: '4, 8 to 17 and 28'; of a very long list its begin, and how many more.

    Who reads it need not have our line-up: a range holds every number between its ends, unless that makes too many.
    """
    runs = _by_number(channels)
    if len(runs) > MOST_RUNS:
        runs = runs_of(channels, job)
    texts = [text for run in runs[:MOST_RUNS] for text in _run(run, str)]
    more = sum(len(run) for run in runs[MOST_RUNS:])
    return listed([*texts, tell_many("{n} more", "{n} more", more)] if more else texts)


def _run(run: Sequence[int], said: Callable[[int], str]) -> list[str]:
    if len(run) < 3:
        return [said(channel) for channel in run]
    return [tell("{first} to {last}", first=said(run[0]), last=said(run[-1]))]


def runs_of(channels: Sequence[int], job: Job) -> list[list[int]]:
    """Channels in stretches of neighbours: by the line-up where there is one, else by number."""
    if not job.lineup:
        return _by_number(channels)
    known = sorted({line.channel for line in job.lineup} | set(channels))
    return _stretches(channels, {channel: k for k, channel in enumerate(known)})


def _by_number(channels: Sequence[int]) -> list[list[int]]:
    return _stretches(channels, {channel: channel for channel in channels})


def _stretches(channels: Sequence[int], place: Mapping[int, int]) -> list[list[int]]:
    runs: list[list[int]] = []
    for channel in sorted(channels):
        if runs and place[channel] == place[runs[-1][-1]] + 1:
            runs[-1].append(channel)
        else:
            runs.append([channel])
    return runs


def _short(name: str) -> str:
    text = " ".join(name.split())
    return text if len(text) <= SHORT_NAME else f"{text[: SHORT_NAME - 1].rstrip()}…"
