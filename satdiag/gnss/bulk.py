"""A long NMEA log as arrays: each satellite at each instant, and where the receiver was. For logs of hours.

`read.read_nmea` says more about each sentence; this reads the same satellites about ten times as fast. What it leaves
out: satellites of unknown identity, entries without a direction, and whether a position was called invalid by GGA.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from satdiag.gnss import fields
from satdiag.gnss.fields import Entries, Flags, Floats, Integers
from satdiag.gnss.fixes import Gga, Position, Rmc, Zda, parse_gga, parse_rmc, parse_zda
from satdiag.gnss.identity import PRIMARY_SIGNALS, Satellite, satellite_of
from satdiag.gnss.satellites import LEAST_CN0_DB_HZ
from satdiag.gnss.sentences import Sentence, sentences_in

BLOCK = 1 << 18
_GSV = fields.code("GSV")
_TIMED = {fields.code("RMC"): parse_rmc, fields.code("GGA"): parse_gga, fields.code("ZDA"): parse_zda}
_OWN_FORM = fields.code("PQ")
_DAY_US = 86_400_000_000
_PRIMARY_WITHOUT_ID = (fields.ABSENT, 0)


@dataclass(frozen=True)
class Track:
    """Where the receiver was, arrays by epoch (m,): UTC in seconds from 1970, NaN where something was not told.

    Where no sentence tells a time, `time_s` counts epochs. `timed` says whether it does. Position and speed over
    ground are NaN without a valid fix.
    """

    time_s: Floats
    latitude_deg: Floats
    longitude_deg: Floats
    speed_m_s: Floats
    timed: bool


@dataclass(frozen=True)
class SkyRows:
    """Satellites with a direction, one row for each at each epoch, arrays (n,).

    `satellite` is a place in `satellites`; `epoch` one in `track`. `signal`: the signal id of the C/N0, `ABSENT`
    where none is told; the primary one where it is tracked. `cn0_db_hz` is NaN where no signal is.
    """

    satellites: tuple[Satellite, ...]
    track: Track
    epoch: Integers
    satellite: Integers
    azimuth_deg: Floats
    elevation_deg: Floats
    cn0_db_hz: Floats
    signal: Integers


def read_sky(data: bytes) -> SkyRows:
    """Read a whole log. Takes any bytes, raises nothing."""
    return read_on(data, Begun())[0]


class Begun:
    """What whole blocks at the beginning of a log held: a longer log with the same beginning is read on from there.

    `length`: how many bytes that is. Nothing changes it once it was given out.
    """

    def __init__(self) -> None:
        self.length = 0
        self._log = _Log()

    def _on(self, data: bytes) -> tuple[Begun, _Log]:
        """This beginning with the whole blocks that follow in `data`, and the log to the end of it."""
        more, log, start = Begun(), self._log.copy(), self.length
        more._log, more.length = self._log, self.length
        for block, end in _blocks(data, self.length):
            if end == len(data):  # the last block may yet grow
                more._log, more.length = log.copy(), start
            log.add(block)
            start = end
        return more, log


def read_on(data: bytes, begun: Begun) -> tuple[SkyRows, Begun]:
    """Read a whole log whose first `begun.length` bytes were read before; also what to read on from next time."""
    more, log = begun._on(data)
    return _joined(log), more


class _Log:
    """What the blocks of a log held so far; entries carry the count of timed sentences before them."""

    def __init__(self) -> None:
        self.entries: list[tuple[Entries, Integers, Integers, Flags]] = []
        self.timed: list[Rmc | Gga | Zda] = []
        self.sends_checksums = False

    def copy(self) -> _Log:
        """The same, to be added to on its own."""
        other = _Log()
        other.entries, other.timed = self.entries.copy(), self.timed.copy()
        other.sends_checksums = self.sends_checksums
        return other

    def add(self, block: bytes) -> None:
        """Read one block of whole lines."""
        bytes_ = np.frombuffer(block, dtype=np.uint8)
        found = fields.find_sentences(bytes_)
        self.sends_checksums = self.sends_checksums or bool((found.checksum == 1).any())
        believed = (found.checksum == 1) | ((found.checksum == -1) & (not self.sends_checksums))
        of_time = believed & np.isin(found.kind, list(_TIMED))
        places = np.flatnonzero(of_time)
        kept = [(place, part) for place in places if (part := _timed(block, found, int(place))) is not None]
        before = np.searchsorted(np.array([place for place, _ in kept], dtype=np.int64), np.arange(len(found.start)))
        gsv = np.flatnonzero(believed & (found.kind == _GSV))
        talker = found.talker[gsv]
        entries = fields.read_entries(bytes_, found.start[gsv], found.star[gsv], talker == _OWN_FORM)
        own = entries.sentence
        unchecked = found.checksum[gsv][own] == -1
        self.entries.append((entries, talker[own], before[gsv][own] + len(self.timed) - 1, unchecked))
        self.timed += [part for _, part in kept]


def _timed(block: bytes, found: fields.Starts, place: int) -> Rmc | Gga | Zda | None:
    """A sentence with a time, read the slow way: there are only a few a second."""
    end = int(found.star[place]) + 3
    pieces = sentences_in(block[int(found.start[place]) : end])
    if not pieces or not isinstance(pieces[0], Sentence):
        return None
    return _TIMED[int(found.kind[place])](pieces[0])


def _blocks(data: bytes, at: int) -> Iterator[tuple[bytes, int]]:
    """The log from a place on in blocks of whole lines, and where each ends; a last line without an end gets one."""
    while at < len(data):
        end = min(at + BLOCK, len(data))
        if end < len(data):
            feed = data.find(b"\n", end)
            end = len(data) if feed < 0 else feed + 1
        yield data[at:end] if data[end - 1 : end] == b"\n" else data[at:end] + b"\r\n", end
        at = end


# --- epochs ------------------------------------------------------------------------------------------------------


def _joined(log: _Log) -> SkyRows:
    parts = [entries for entries, *_ in log.entries]
    talker = _all([one for _, one, _, _ in log.entries], np.int64)
    before = _all([one for _, _, one, _ in log.entries], np.int64)
    sound = np.ones(len(talker), dtype=bool)
    if log.sends_checksums:
        sound = ~_all([one for *_, one in log.entries], np.bool_)
    number, signal, system, run = (
        _all([getattr(part, name) for part in parts], np.int64) for name in ("number", "signal", "system", "part")
    )
    azimuth, elevation, level = (
        _all([getattr(part, name) for part in parts], np.float64)
        for name in ("azimuth_deg", "elevation_deg", "cn0_db_hz")
    )
    track, epoch_of_timed = _track(log.timed)
    if track is None:
        epoch = _counted_epochs(talker, signal, run, number)
        track = _untimed(int(epoch.max()) + 1 if len(epoch) else 0)
    else:
        epoch = epoch_of_timed[np.maximum(before, 0)]
    satellites, satellite, primary = _identities(talker, number, system, signal)
    level = np.where(level >= LEAST_CN0_DB_HZ, level, np.nan)
    placeless = (elevation == 0.0) & (azimuth == 0.0)
    azimuth, elevation = np.where(placeless, np.nan, azimuth), np.where(placeless, np.nan, elevation)
    keep = np.flatnonzero(sound & (satellite >= 0))
    says = 2 * np.isfinite(level) + (np.isfinite(elevation) & np.isfinite(azimuth))
    keep = keep[_once_a_signal(says[keep], signal[keep], satellite[keep], epoch[keep])]
    whole = (one[keep] for one in (epoch, satellite, signal, primary))
    return SkyRows(satellites, track, *_best_of_each(azimuth[keep], elevation[keep], level[keep], *whole))


def _once_a_signal(says: Integers, signal: Integers, satellite: Integers, epoch: Integers) -> Integers:
    """Of the entries of one satellite, signal and epoch the last that says the most, in the first one's place."""
    key = (epoch * (int(satellite.max(initial=0)) + 1) + satellite) * 32 + signal + 1
    order = np.argsort(key, kind="stable")
    new = np.ones(len(order), dtype=bool)
    new[1:] = np.diff(key[order]) != 0
    if new.all():
        return np.arange(len(says))
    group = np.cumsum(new) - 1
    by_worth = np.lexsort((order, says[order], group))
    last = np.append(new[1:], True)  # the groups keep their places in the order
    return np.asarray(order[by_worth[last]][np.argsort(order[new], kind="stable")])


def _best_of_each(
    azimuth: Floats,
    elevation: Floats,
    level: Floats,
    epoch: Integers,
    satellite: Integers,
    signal: Integers,
    primary: Integers,
) -> tuple[Integers, Integers, Floats, Floats, Floats, Integers]:
    """One row a satellite and epoch: a tracked primary signal first, else a tracked one, else none."""
    rank = np.where(np.isfinite(level), primary, 100)
    order = np.lexsort((-np.nan_to_num(level), rank, satellite, epoch))
    new = np.ones(len(order), dtype=bool)
    new[1:] = (np.diff(epoch[order]) != 0) | (np.diff(satellite[order]) != 0)
    first = order[new]
    # The direction is the first that says all, from whichever group.
    placed = np.isfinite(azimuth) & np.isfinite(elevation)
    by_place = np.lexsort((~placed, satellite, epoch))
    new[1:] = (np.diff(epoch[by_place]) != 0) | (np.diff(satellite[by_place]) != 0)
    where = by_place[new]
    kept = placed[where]
    first, where = first[kept], where[kept]
    return epoch[first], satellite[first], azimuth[where], elevation[where], level[first], signal[first]


def _identities(
    talker: Integers, number: Integers, system: Integers, signal: Integers
) -> tuple[tuple[Satellite, ...], Integers, Integers]:
    """The satellites named; which one each entry means, -1 for none; and the rank of its signal, 0 the first."""
    key = ((talker * 4096 + np.minimum(number, 4095)) * 32 + system + 1) * 32 + signal + 1
    keys, inside = np.unique(key, return_inverse=True)
    named: list[Satellite | None] = []
    rank = []
    for one in keys.tolist():
        rest, signal_id = divmod(one, 32)
        rest, system_id = divmod(rest, 32)
        letters, which = divmod(rest, 4096)
        satellite = satellite_of(letters.to_bytes(2, "big").decode("latin-1"), which, system_id - 1 or None)
        named.append(satellite)
        rank.append(_rank(satellite, signal_id - 1))
    known = tuple(sorted({one for one in named if one is not None}))
    place = np.array([known.index(one) if one is not None else -1 for one in named], dtype=np.int64)
    return known, place[inside], np.array(rank, dtype=np.int64)[inside]


def _rank(satellite: Satellite | None, signal: int) -> int:
    """As in `satellites`: the primary signals in their order, then those without an id, then others by id."""
    order = (*PRIMARY_SIGNALS[satellite.constellation], *_PRIMARY_WITHOUT_ID) if satellite else ()
    return order.index(signal) if signal in order else 20 + signal


def _track(timed: list[Rmc | Gga | Zda]) -> tuple[Track | None, Integers]:
    """Epochs from sentences with a time: one wherever the time of day changes; and the epoch of each sentence."""
    times = np.array([np.nan if part.time_us is None else part.time_us for part in timed], dtype=float)
    if not np.isfinite(times).any():
        return None, np.zeros(0, dtype=np.int64)
    filled = _carried(times)
    epoch = np.concatenate([[0], np.cumsum(np.diff(filled) != 0.0)]).astype(np.int64)
    count = int(epoch[-1]) + 1
    days, latitude, longitude, speed = (np.full(count, np.nan) for _ in range(4))
    for at, part in zip(epoch.tolist(), timed, strict=True):
        if not isinstance(part, Gga) and part.date is not None and np.isnan(days[at]):
            days[at] = (part.date - date(1970, 1, 1)).days
        if isinstance(part, (Rmc, Gga)) and part.valid and part.position:
            latitude[at], longitude[at] = Position(*part.position)
        if isinstance(part, Rmc) and part.valid and part.speed_m_s is not None:
            speed[at] = part.speed_m_s
    of_day = filled[np.concatenate([[0], np.flatnonzero(np.diff(epoch)) + 1])]
    return Track(_instants(of_day, days), latitude, longitude, speed, bool(np.isfinite(days).any())), epoch


def _instants(of_day_us: Floats, days: Floats) -> Floats:
    """Seconds from 1970; an epoch without a date takes the last one told, or the first, and midnight turns it."""
    turn = np.diff(of_day_us, prepend=of_day_us[0])
    passed = np.cumsum(np.where(turn < -_DAY_US / 2, 1.0, np.where(turn > _DAY_US / 2, -1.0, 0.0)))
    since = _carried(days - passed)
    return np.asarray((np.nan_to_num(since) + passed) * 86400.0 + of_day_us / 1e6)


def _carried(values: Floats) -> Floats:
    """Gaps filled with the last value before them, leading ones with the first; all NaN stays so."""
    known = np.flatnonzero(np.isfinite(values))
    if not len(known):
        return values
    return values[known[np.maximum(np.searchsorted(known, np.arange(len(values)), side="right") - 1, 0)]]


def _counted_epochs(talker: Integers, signal: Integers, run: Integers, number: Integers) -> Integers:
    """Without any time, an epoch begins where the very first entry's satellite comes again in the same place."""
    if not len(talker):
        return np.zeros(0, dtype=np.int64)
    again = (talker == talker[0]) & (signal == signal[0]) & (run == run[0]) & (number == number[0])
    return np.cumsum(again) - 1


def _untimed(count: int) -> Track:
    nothing = np.full(count, np.nan)
    return Track(np.arange(count, dtype=float), nothing, nothing, nothing, False)


def _all(parts: list[Any], kind: type) -> NDArray[Any]:
    return np.concatenate(parts) if parts else np.zeros(0, dtype=kind)
