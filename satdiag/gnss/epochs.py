"""Sentences to epochs: what a receiver said at one instant, its satellites and its position together.

Only RMC, GGA and ZDA carry a time. A new epoch begins where one of them says another time, where one without a time
comes again, or where a GSV sentence does: same talker, signal and place in the run, and one of the satellites.
Receivers send the satellites before or after the time, and some spread them over several cycles, so they may stand
one or a few cycles beside their instant. Within that, nothing moves in the sky.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from satdiag.gnss.fixes import Gga, Position, Quality, Rmc, Zda, parse_gga, parse_gsa, parse_rmc, parse_zda
from satdiag.gnss.identity import Satellite
from satdiag.gnss.satellites import Gsv, InView, in_view, parse_gsv
from satdiag.gnss.sentences import Sentence

READ_TYPES = ("RMC", "GGA", "ZDA", "GSA", "GSV")
_HALF_DAY = timedelta(hours=12)


@dataclass(frozen=True)
class Fix:
    """A position that the receiver stands by: no sentence of the epoch calls it invalid, and one calls it valid.

    `quality` is how it was found; 'estimated' (dead reckoning), 'manual' and 'simulated' were not measured.
    `height_m` is above mean sea level. `course_deg` (true, over ground) is no heading, and means nothing below 2 m/s.
    """

    position: Position
    quality: Quality
    height_m: float | None
    satellites_used: int | None
    hdop: float | None
    speed_m_s: float | None
    course_deg: float | None


@dataclass(frozen=True)
class Epoch:
    """One instant. `time` is UTC by the receiver, None where no date was known yet; without a fix it may be wrong.

    `fix_told`: a sentence of it says whether there is a fix; without one a missing fix means nothing. `used`: the
    satellites that GSA names, None where it was not sent. `nameless`: entries with a C/N0 that name no known
    satellite. `unchecked`: at least one sentence of it came from a device that sends no checksums.
    """

    time: datetime | None
    fix: Fix | None
    fix_told: bool
    satellites: tuple[InView, ...]
    used: frozenset[Satellite] | None
    nameless: int
    unchecked: bool

    @property
    def tracked(self) -> tuple[InView, ...]:
        """The satellites that the receiver hears."""
        return tuple(view for view in self.satellites if view.tracked)


_Group = tuple[str, int | None, int | None]
"""Talker, system id and signal id of a run of GSV sentences."""


class _Open:
    """The epoch that sentences still come for."""

    def __init__(self) -> None:
        self.time_us: int | None = None
        self.date: date | None = None
        self.types: set[str] = set()
        self.places: set[tuple[_Group, int | None]] = set()
        self.listed: dict[_Group, set[Satellite]] = {}
        self.rmc: list[Rmc] = []
        self.gga: list[Gga] = []
        self.gsv: list[Gsv] = []
        self.used: frozenset[Satellite] | None = None
        self.unchecked = False

    def holds(self, part: Gsv) -> bool:
        """True if a GSV sentence comes again: its place is taken, and it lists a satellite a second time, or none."""
        group = (part.talker, part.system_id, part.signal_id)
        if (group, part.number) not in self.places:
            return False
        satellites = [entry.satellite for entry in part.entries if entry.satellite]
        return not satellites or not self.listed[group].isdisjoint(satellites)

    def add_gsv(self, part: Gsv) -> None:
        """Add satellites in view."""
        group = (part.talker, part.system_id, part.signal_id)
        self.places.add((group, part.number))
        self.listed.setdefault(group, set()).update([entry.satellite for entry in part.entries if entry.satellite])
        self.gsv.append(part)

    def add_timed(self, kind: str, part: Rmc | Gga | Zda) -> None:
        """Add a sentence with a time of day."""
        self.types.add(kind)
        if self.time_us is None:
            self.time_us = part.time_us
        if isinstance(part, Rmc):
            self.rmc.append(part)
        elif isinstance(part, Gga):
            self.gga.append(part)
        if not isinstance(part, Gga) and self.date is None:
            self.date = part.date


class EpochBuilder:
    """Takes sentences one by one and hands over each epoch when the next one begins.

    A sentence with a bad checksum is never believed. One without a checksum is believed, and marked, as long as the
    device has sent none with a good one: some older devices leave it out, but from one that sends it such a sentence
    has lost its end.
    """

    def __init__(self) -> None:
        self.unread = 0
        """Believed sentences of `READ_TYPES` whose fields fit no known form."""
        self.impossible = 0
        """Satellite entries left out because a value in them cannot be."""
        self._open: _Open | None = None
        self._sends_checksums = False
        self._last: datetime | None = None

    def believes(self, sentence: Sentence) -> bool:
        """True if its checksum is good, or absent from a device that sends none."""
        return sentence.checksum == "good" or (sentence.checksum == "absent" and not self._sends_checksums)

    def add(self, sentence: Sentence) -> Epoch | None:
        """Take the next sentence. Returns the epoch that ended before it, if one did."""
        self._sends_checksums = self._sends_checksums or sentence.checksum == "good"
        if sentence.type not in READ_TYPES or not self.believes(sentence):
            return None
        done: Epoch | None = None
        if sentence.type == "GSV":
            done = self._add_gsv(sentence)
        elif sentence.type == "GSA":
            self._add_gsa(sentence)
        else:
            done = self._add_timed(sentence)
        if self._open:
            self._open.unchecked |= sentence.checksum == "absent"
        return done

    def finish(self) -> Epoch | None:
        """The epoch that was still open, if there is one."""
        ended, self._open = self._open, None
        if ended is None:
            return None
        time = self._time_of(ended)
        self._last = time or self._last
        satellites, nameless = in_view(ended.gsv)
        parts: list[Rmc | Gga] = [*ended.gga, *ended.rmc]
        told = any(part.valid is not None for part in parts)
        return Epoch(time, _fix(ended.rmc, ended.gga), told, satellites, ended.used, nameless, ended.unchecked)

    def _add_gsv(self, sentence: Sentence) -> Epoch | None:
        part = parse_gsv(sentence)
        if part is None:
            self.unread += 1
            return None
        self.impossible += part.impossible
        done = self.finish() if self._open and self._open.holds(part) else None
        self._opened().add_gsv(part)
        return done

    def _add_gsa(self, sentence: Sentence) -> None:
        part = parse_gsa(sentence)
        if part is None:
            self.unread += 1
            return
        epoch = self._opened()
        epoch.used = (epoch.used or frozenset()) | part.used

    def _add_timed(self, sentence: Sentence) -> Epoch | None:
        kind = sentence.type
        part = _TIMED[kind](sentence)
        if part is None:
            self.unread += 1
            return None
        done: Epoch | None = None
        if self._open and _begins_another(self._open, kind, part.time_us):
            done = self.finish()
        self._opened().add_timed(kind, part)
        return done

    def _opened(self) -> _Open:
        self._open = self._open or _Open()
        return self._open

    def _time_of(self, epoch: _Open) -> datetime | None:
        """Time of day and date together; a missing date is the one that lies nearest to the epoch before."""
        if epoch.time_us is None:
            return None
        of_day = timedelta(microseconds=epoch.time_us)
        if epoch.date is not None:
            return _midnight(epoch.date) + of_day
        if self._last is None:
            return None
        near = _midnight(self._last.date()) + of_day
        if near < self._last - _HALF_DAY:
            return near + timedelta(days=1)
        return near - timedelta(days=1) if near > self._last + _HALF_DAY else near


_TIMED = {"RMC": parse_rmc, "GGA": parse_gga, "ZDA": parse_zda}


def _begins_another(epoch: _Open, kind: str, time_us: int | None) -> bool:
    """Whether a timed sentence belongs to another epoch than the open one."""
    if time_us is None or epoch.time_us is None:
        return kind in epoch.types
    return time_us != epoch.time_us


def _midnight(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, tzinfo=UTC)


def _fix(rmc: list[Rmc], gga: list[Gga]) -> Fix | None:
    """The position of an epoch, or None if any sentence calls it invalid or none calls it valid."""
    parts: list[Rmc | Gga] = [*gga, *rmc]
    told = [part.valid for part in parts if part.valid is not None]
    position = next((part.position for part in parts if part.position), None)
    if not told or not all(told) or position is None:
        return None
    return Fix(
        position,
        next((part.quality for part in parts if part.quality != "unknown"), "unknown"),
        gga[0].height_m if gga else None,
        gga[0].satellites_used if gga else None,
        gga[0].hdop if gga else None,
        rmc[0].speed_m_s if rmc else None,
        rmc[0].course_deg if rmc else None,
    )
