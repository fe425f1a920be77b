"""What the page shows of the log: channels, entries, the open channel change; kept up as rows are committed."""

from __future__ import annotations

import re
import tomllib
from collections import deque
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any, NamedTuple

from satdiag.entitlement.channels import TUNE_VERDICTS, expected_channels
from satdiag.entry_words import words_of
from satdiag.language import tell
from satdiag.live.known_words import HEARD, STORED, said
from satdiag.rows import Row, parse_time_us
from satdiag.sheet import KEYS
from satdiag.vocabulary import UNREADABLE

if TYPE_CHECKING:
    from datetime import timezone

    from satdiag.job import Job
    from satdiag.live.pairing import Role
    from satdiag.recorder.status import SourceStatus, Status
    from satdiag.sheet import Sheet
    from satdiag.tables import LineUpChannel

SHOWN = 200
"""So many of the latest entries are shown."""

REMEMBERED = 8
"""So many of the latest checks of a channel are remembered, in case the last of them are withdrawn."""

STATES = ("authorised", "refused", "missing", "no-signal")
_PEOPLE = ("page", "hand", "")
_STREAMS = ("signal", "lock", "errors", "noise", "supply", "bias", "power")
"""Kinds that a device says again and again: the page shows their latest value, not a list of them."""


class Check(NamedTuple):
    """One check of a channel; `time_us` since 1970, None where no clock tells."""

    id: str
    state: str
    time_us: int | None


class LogView:
    """Takes rows in the order in which they were committed. Not for several threads at once.

    `rows` counts them all; `shown` those that say something new of a channel or stand among the entries. `touched`:
    the channels of which something was said since somebody has emptied it.
    """

    def __init__(self, naive: timezone | None) -> None:
        self._naive = naive
        self.rows = self.shown = 0
        self._channels: dict[int, tuple[Check, ...]] = {}
        self._said_by: dict[str, int] = {}
        self.touched: set[int] = set()
        self._entries: deque[tuple[int, Row]] = deque(maxlen=SHOWN)
        self._tuning: deque[Row] = deque(maxlen=SHOWN)
        self._withdrawn: set[str] = set()

    def take(self, rows: Iterable[Row]) -> None:
        """Rows that were committed."""
        for row in rows:
            self.rows += 1
            if row.kind == "withdraw":
                self.shown += 1
                self._withdraw(row.value)
                continue
            if row.kind in ("channel", "tune"):
                self._see_channel(row)
            if row.kind in ("tune", "power", "swap"):
                self._tuning.append(row)
            if (row.kind, row.subject) == ("swap", "receiver") and row.value != UNREADABLE:
                self._channels, self._said_by = dict.fromkeys(self._channels, ()), {}
                self.touched.update(self._channels)
            if row.kind not in _STREAMS or row.source.partition("/")[0] in _PEOPLE:
                self.shown += 1
                self._entries.append((self.rows, row))

    def _see_channel(self, row: Row) -> None:
        number = int(row.subject)
        checks = self._channels.get(number, ())
        state = TUNE_VERDICTS.get(row.value, "") if row.kind == "tune" else row.value
        if state in STATES:
            checks = (*checks, Check(row.id, state, parse_time_us(row.time, self._naive)))
            self._said_by[row.id] = number
            for forgotten in checks[:-REMEMBERED]:
                self._said_by.pop(forgotten.id, None)
        self._channels[number] = checks[-REMEMBERED:]
        self.touched.add(number)

    def _withdraw(self, identifier: str) -> None:
        self._withdrawn.add(identifier)
        number = self._said_by.pop(identifier, None)
        if number is not None:
            checks = self._channels[number]
            self._channels[number] = tuple(check for check in checks if check.id != identifier)
            self.touched.add(number)

    def checks_of(self, number: int) -> tuple[Check, ...]:
        """The latest checks of a channel, oldest first."""
        return self._channels.get(number, ())

    def touch_all(self) -> None:
        """Everything counts as new."""
        self.touched = {*self._channels}

    def is_many(self, lineup: Collection[int], most: int) -> bool:
        """True if the channels of a line-up and those that were ever named are more than `most` together."""
        if max(len(lineup), len(self._channels)) > most:
            return True
        return len(lineup) + sum(number not in lineup for number in self._channels) > most

    def checks(self) -> Mapping[int, tuple[Check, ...]]:
        """The latest checks of every channel that was ever named, oldest first."""
        return dict(self._channels)

    def entries(self) -> list[dict[str, Any]]:
        """The latest entries, newest first; `n` tells them apart: how many rows there were with each."""
        return [
            {
                "n": n,
                "id": row.id,
                "time": row.time,
                "kind": row.kind,
                "words": words_of(row),
                "withdrawn": bool(row.id) and row.id in self._withdrawn,
                "source": row.source,
            }
            for n, row in reversed(self._entries)
        ]

    def attempt(self) -> dict[str, Any] | None:
        """The channel change that is open: asked for, and neither given up nor both heard and named."""
        open_row: Row | None = None
        marks: set[str] = set()
        for row in self._tuning:
            if row.id and row.id in self._withdrawn:
                continue
            ends = row.kind == "power" and row.value in ("off", "standby")
            if ends or (row.kind, row.subject) == ("swap", "receiver"):
                open_row = None
            elif row.kind == "tune" and row.value == "requested":
                open_row, marks = row, set()
            elif row.kind == "tune" and open_row is not None and row.subject == open_row.subject:
                marks.add(row.value)
                if marks & {"refused", "abandoned"} or marks >= {"audio", "title"}:
                    open_row = None
        if open_row is None:
            return None
        time_us = parse_time_us(open_row.time, self._naive)
        return {"channel": int(open_row.subject), "since_ms": None if time_us is None else time_us / 1000}


def sheet_values(sheet: Sheet, unsaid: Collection[str] = ()) -> dict[str, Any]:
    """The sheet by the names that a change uses ('receiver.antenna_lead'), and a list 'site'; None: unknown.

    The receiver's id is masked: the page may lie open where others see it. `unsaid`: names of the sites of which the
    sheet says no height, see `sites_without_height`.
    """
    receiver = sheet.receiver
    values: dict[str, Any] = {
        f"job.{key}": getattr(sheet, key) or None for key in ("id", "reason", "vehicle", "technician")
    }
    values |= {f"receiver.{key}": value for key, value in asdict(receiver).items()}
    values["receiver.id"] = receiver.masked_id if receiver.id else None
    values |= {f"feed.{key}": _ranged(sheet.feed.get(key)) for key in KEYS["feed"]}
    values |= {f"supply.{key}": value for key, value in asdict(sheet.supply).items()}
    values |= {f"feedline.{key}": value for key, value in asdict(sheet.feedline).items()}
    values |= {
        f"feedline.{key}": value or None for key, value in _UNSAID.items() if values[f"feedline.{key}"] == value
    }
    values |= {"service.package": sheet.package or None, "service.constellation": sheet.constellation}
    sites = [asdict(site) for site in sheet.sites]
    values["site"] = [{**site, "height_m": None} if site["name"] in unsaid else site for site in sites]
    return values


_UNSAID: Mapping[str, Any] = {"reference_plane_m": 0.0, "joints_m": ()}
"""What the sheet holds of the lead where job.toml says nothing: on the page that is 'not known'."""


def _ranged(ends: tuple[float, float] | None) -> float | list[float] | None:
    """A range as job.toml has it: one number where it has no width."""
    return None if ends is None else ends[0] if ends[0] == ends[1] else [*ends]


def sites_without_height(text: str) -> frozenset[str]:
    """The names of the sites of which a valid job.toml says no height; `Site` has 0 there, for what is worked out."""
    return frozenset(site["name"] for site in tomllib.loads(text).get("site", ()) if "height_m" not in site)


def seen_by(state: Mapping[str, Any], role: Role | None) -> dict[str, Any]:
    """The state of the page as someone may see it: all of it only who may write.

    Anyone else, e.g. the customer, sees no technician, of a place its name alone, that there are notes, not what they
    say, and no names of folders.
    """
    if role == "write":
        return {**state, "role": role}
    sheet = {key: value for key, value in state["sheet"].items() if key != "job.technician"}
    sheet["site"] = [{"name": site["name"]} for site in sheet["site"]]
    entries = [{**one, "words": tell("a note")} if one["kind"] == "note" else one for one in state["entries"]]
    told = {
        "could_not": [_without_folders(text) for text in state["could_not"]],
        "store_trouble": _without_folders(state["store_trouble"]),
        "sources": [{**one, "trouble": _without_folders(one["trouble"])} for one in state["sources"]],
    }
    return {**state, "role": role, "sheet": sheet, "entries": entries, **told}


def without_folders(told: Any) -> Any:
    """What a view tells, in whose texts no names of folders stand."""
    if isinstance(told, str):
        return _without_folders(told)
    if isinstance(told, dict):
        return {key: without_folders(value) for key, value in told.items()}
    return [without_folders(value) for value in told] if isinstance(told, (list, tuple)) else told


def _without_folders(text: str) -> str:
    """A sentence in which the names of files stand without the folders they lie in."""
    return re.sub(r"(?<!\S)(?:[A-Za-z]:)?[/\\](?:[^:'\"\n]*[/\\])?", "", text)


class Expectation(NamedTuple):
    """The line-up by number, and which channels should play (True), need not (False); others are unknown."""

    lineup: Mapping[int, LineUpChannel]
    expected: Mapping[int, bool]


def expectation_of(job: Job) -> Expectation:
    """What a job's line-up and package say; nothing where there is no line-up."""
    if job.lineup is None:
        return Expectation({}, {})
    told = expected_channels(job, {})
    expected = {line.channel: line.channel in told.channels for line in job.lineup}
    for number in told.package_unknown:
        expected.pop(number, None)
    return Expectation({line.channel: line for line in job.lineup}, expected)


class Chance(NamedTuple):
    """How likely a channel will still come, and the median wait on the exposure clock; None where nothing tells."""

    chance: float | None
    wait_s: float | None


def channel_list(
    view: LogView, expectation: Expectation, chances: Mapping[int, Chance], now_us: int
) -> list[dict[str, Any]]:
    """Every channel of the line-up or of the log, by number."""
    checks = view.checks()
    numbers = sorted({*expectation.lineup, *checks})
    return [told_of(number, checks.get(number, ()), expectation, chances, now_us) for number in numbers]


def told_of(
    number: int, seen: Sequence[Check], expectation: Expectation, chances: Mapping[int, Chance], now_us: int
) -> dict[str, Any]:
    """What the page is told of a channel; `seen`: its checks, oldest first."""
    line = expectation.lineup.get(number)
    last = seen[-1] if seen else None
    chance = chances.get(number, Chance(None, None))
    age_s = None if last is None or last.time_us is None else max(0.0, (now_us - last.time_us) / 1e6)
    return {
        "number": number,
        "name": line.name if line else "",
        "category": line.category if line else "",
        "expected": expectation.expected.get(number),
        "state": last.state if last else None,
        "checked_s_ago": None if age_s is None else round(age_s, 1),
        "before": seen[-2].state if len(seen) > 1 else None,
        "chance": chance.chance,
        "wait_s": chance.wait_s,
    }


def short(seconds: float | None) -> float | None:
    """Tenths of a second are enough."""
    return None if seconds is None else round(seconds, 1)


def figures_of(status: Status) -> dict[str, Any]:
    """The part of the state that is taken from the recorder's status, in the language in use where it has words."""
    stored = said(status.store_trouble, STORED)
    return {
        "exposure_s": short(status.exposure_s),
        "exposure_max_s": short(status.exposure_max_s),
        "held": status.held,
        "store_trouble": stored.text,
        "store_trouble_lang": stored.language,
        "sources": [_source(one) for one in status.sources],
        "levels": [
            {"path": level.path, "value": level.value, "unit": level.unit, "age_s": short(level.age_s)}
            for level in status.levels
        ],
    }


def _source(one: SourceStatus) -> dict[str, Any]:
    """A source; `lang`: the language of its trouble."""
    why = said(one.trouble, HEARD)
    told = {"name": one.name, "state": one.state, "trouble": why.text, "lang": why.language}
    return {**told, "age_s": short(one.age_s)}
