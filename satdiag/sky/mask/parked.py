"""The looks of a receiver's record that belong to one site: those taken while it was parked there.

Which way the vehicle points does not matter: a parked vehicle's mask turns with nothing. While it moves, each instant
has a sky of its own, and such looks serve to learn the levels only.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256

import numpy as np

from satdiag.gnss.bulk import Begun, SkyRows, Track, read_on
from satdiag.gnss.identity import Satellite
from satdiag.sky.mask.baseline import blind_baselines
from satdiag.sky.mask.likelihood import expected_cn0
from satdiag.sky.mask.looks import Flags, Floats, Integers, Looks
from satdiag.sky.mask.memory import Memory
from satdiag.sky.mask.thinning import thinned
from satdiag.sky.mask.weak import weak_on_the_move

STANDING_M_S = 0.5
LEAST_STAND_S = 20.0
LONGEST_GAP_S = 60.0  # some logs hold a look every 15 or 30 s
# judgement: a site's coordinates are those of a yard or a street; within it the vehicle stands on one spot.
SITE_RADIUS_M, SPOT_RADIUS_M = 150.0, 15.0
EARTH_RADIUS_M = 6371_000.0
# Levels learnt while moving count where there are at least so many thinned looks of it.
LEAST_MOVING_LOOKS = 100
MOVING_WINDOW_S = 10.0


@dataclass(frozen=True)
class Record:
    """All that the receivers of a job said, with one numbering of satellites and groups; arrays by look (n,).

    `epoch` is each look's place in the arrays by epoch. `groups` name constellation and signal id. `identity` is a
    hash of all that was read, '' where that is not known.
    """

    satellites: tuple[Satellite, ...]
    groups: tuple[tuple[str, int], ...]
    looks: Looks
    epoch: Integers
    track: Track
    identity: str = ""


_MOST_BYTES = 64_000_000
_BEGUN: Memory[tuple[str, Begun]] = Memory(8, _MOST_BYTES)
_RECORDS: Memory[Record] = Memory(2, _MOST_BYTES)
_HEAD_BYTES = 4096


def record_in(documents: Mapping[str, bytes]) -> Record | None:
    """What the NMEA documents of a job hold, in name order; None without any satellite.

    What was read lately is not read again, and of documents that have grown only what is new.
    """
    data = [documents[name] for name in sorted(documents) if name.endswith(".nmea")]
    identity = sha256(b"".join(sha256(one).digest() for one in data)).hexdigest()
    known = _RECORDS.recall(identity)
    if known is not None:
        return known
    logs = [log for log in (_read(one) for one in data) if len(log.epoch)]
    if not logs:
        return None
    found = replace(record_of(logs), identity=identity)
    _RECORDS.keep(identity, found, sum(len(one) for one in data))
    return found


def _read(data: bytes) -> SkyRows:
    """A log, read on from where it was read before if it still begins with the same bytes."""
    head = sha256(data[:_HEAD_BYTES]).hexdigest()
    told, begun = _BEGUN.recall(head) or ("", Begun())
    if begun.length > len(data) or told != sha256(data[: begun.length]).hexdigest():
        begun = Begun()
    rows, more = read_on(data, begun)
    if more.length:
        _BEGUN.keep(head, (sha256(data[: more.length]).hexdigest(), more), more.length)
    return rows


def record_of(logs: Sequence[SkyRows]) -> Record:
    """Several logs as one."""
    satellites = tuple(sorted({one for log in logs for one in log.satellites}))
    groups = tuple(
        sorted(
            {
                (log.satellites[one].constellation, two)
                for log in logs
                for one, two in set(zip(log.satellite.tolist(), log.signal.tolist(), strict=True))
            }
        )
    )
    parts, epochs, before = [], [], 0
    for log in logs:
        parts.append(_looks(log, satellites, groups))
        epochs.append(log.epoch + before)
        before += len(log.track.time_s)
    columns = Looks.__dataclass_fields__
    looks = Looks(*(np.concatenate([getattr(part, name) for part in parts]) for name in columns))
    tracks = [log.track for log in logs]
    track = Track(
        np.concatenate([one.time_s for one in tracks]),
        np.concatenate([one.latitude_deg for one in tracks]),
        np.concatenate([one.longitude_deg for one in tracks]),
        np.concatenate([one.speed_m_s for one in tracks]),
        all(one.timed for one in tracks),
    )
    return Record(satellites, groups, looks, np.concatenate(epochs), track)


def _looks(log: SkyRows, satellites: tuple[Satellite, ...], groups: tuple[tuple[str, int], ...]) -> Looks:
    number = np.array([satellites.index(one) for one in log.satellites], dtype=np.int64)
    kinds = [one.constellation for one in log.satellites]
    pairs = log.satellite * 32 + log.signal + 1
    known, inside = np.unique(pairs, return_inverse=True)
    group = np.array([groups.index((kinds[one // 32], one % 32 - 1)) for one in known.tolist()], dtype=np.int64)
    witness = np.array([kind == "sbas" for kind in kinds], dtype=bool)
    return Looks(
        log.track.time_s[log.epoch],
        number[log.satellite],
        _of_tracked(group[inside], number[log.satellite], np.isfinite(log.cn0_db_hz)),
        log.azimuth_deg,
        log.elevation_deg,
        log.cn0_db_hz,
        witness[log.satellite],
    )


def _of_tracked(group: Integers, satellite: Integers, tracked: Flags) -> Integers:
    """An untracked look belongs to the group in which its satellite is mostly tracked, whatever signal lists it."""
    if not len(group):
        return group
    counts = np.zeros((int(satellite.max()) + 1, int(group.max()) + 1))
    np.add.at(counts, (satellite[tracked], group[tracked]), 1)
    usual = counts.argmax(axis=1)
    known = counts.max(axis=1) > 0
    return np.where(~tracked & known[satellite], usual[satellite], group)


@dataclass(frozen=True)
class Parked:
    """The looks from one site and the levels to read them by.

    `standing_s`: how long the receiver stood there. `learnt_moving`: the levels were learnt on the move as well.
    `weak`: numbers of satellites that were weak all along the drive.
    """

    looks: Looks
    baseline_db_hz: Floats
    standing_s: float
    learnt_moving: bool
    weak: tuple[int, ...] = ()


def parked_at(record: Record, latitude_deg: float, longitude_deg: float, only_site: bool) -> Parked | None:
    """What was seen while parked at a site; None if nothing was, or too little to learn the levels from.

    A record without any position belongs to the site if it is the only one.
    """
    placed = np.isfinite(record.track.latitude_deg)
    if placed.any():
        here = _standing_here(record.track, latitude_deg, longitude_deg)
    else:
        here = np.full(len(placed), only_site)
    looks = record.looks.where(here[record.epoch])
    groups = len(record.groups)
    levels = blind_baselines(thinned(looks), groups) if len(looks) else None
    if levels is None:
        return None
    moving = record.looks.where((placed & ~here)[record.epoch])
    elsewhere = thinned(moving, MOVING_WINDOW_S)
    learnt = blind_baselines(elsewhere, groups) if len(elsewhere) >= LEAST_MOVING_LOOKS else None
    weak: tuple[int, ...] = ()
    if learnt is not None:
        deficit = expected_cn0(elsewhere.elevation_deg, learnt[elsewhere.group]) - elsewhere.cn0_db_hz
        weak = tuple(np.flatnonzero(weak_on_the_move(elsewhere, deficit)).tolist())
        # Nothing but a better sky raises the level, so the higher one is nearer to that of a clear satellite.
        levels = np.maximum(levels, learnt)
    return Parked(looks, levels, _standing_s(record.track.time_s, here), learnt is not None, weak)


def _standing_s(time_s: Floats, here: Flags) -> float:
    steps = np.diff(time_s)
    return float(steps[here[1:] & here[:-1] & (steps > 0.0) & (steps <= LONGEST_GAP_S)].sum())


def _standing_here(track: Track, latitude_deg: float, longitude_deg: float) -> Flags:
    """Epochs of stretches that stand on one spot within the site: the spot of the longest stretch."""
    north = np.radians(track.latitude_deg - latitude_deg) * EARTH_RADIUS_M
    turn = (track.longitude_deg - longitude_deg + 180.0) % 360.0 - 180.0
    east = np.radians(turn) * EARTH_RADIUS_M * np.cos(np.radians(latitude_deg))
    still = (_speed(track, north, east) < STANDING_M_S) & (np.hypot(north, east) < SITE_RADIUS_M)
    gap = np.abs(np.diff(track.time_s, prepend=track.time_s[:1])) > LONGEST_GAP_S
    number = np.cumsum((np.diff(still.astype(int), prepend=0) != 0) | gap)
    spots = []
    for one in np.unique(number[still]):
        inside = np.flatnonzero(still & (number == one))
        length = float(track.time_s[inside[-1]] - track.time_s[inside[0]])
        if length >= LEAST_STAND_S:
            spots.append((length, float(np.median(north[inside])), float(np.median(east[inside])), inside))
    here = np.zeros(len(still), dtype=bool)
    if spots:
        _, at_north, at_east, _ = max(spots, key=lambda spot: spot[0])
        for _, its_north, its_east, inside in spots:
            here[inside] = np.hypot(its_north - at_north, its_east - at_east) < SPOT_RADIUS_M
    return here


def _speed(track: Track, north_m: Floats, east_m: Floats) -> Floats:
    """Speed over ground as told; where it is not, from the positions. NaN without a position."""
    if len(track.time_s) < 2:
        return np.where(np.isfinite(north_m), track.speed_m_s, np.nan)
    step_s = np.maximum(np.abs(np.gradient(track.time_s)), 0.1)
    walked = np.hypot(np.gradient(north_m), np.gradient(east_m)) / step_s
    told = np.isfinite(track.speed_m_s)
    return np.where(np.isfinite(north_m), np.where(told, track.speed_m_s, walked), np.nan)
