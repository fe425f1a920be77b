"""The exposure clock: for how long could entitlements reach the receiver? A lower and an upper bound, from proofs.

Entitlement messages reach a receiver only while it is awake and receives. Awake and received are proved at instants;
two proofs close enough together, with nothing contrary between them, hold throughout. What is neither proved nor
disproved counts in the upper bound only. The hold times (judgement, no source) stand in `vocabulary`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, reduce
from typing import Literal
from weakref import WeakKeyDictionary

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from satdiag.job import Job
from satdiag.spans import NOTHING, Spans, intersect, length_s, spans, subtract, union, within
from satdiag.vocabulary import AWAKE_HOLD_S, RECEIVED_HOLD_S, RESET_DEAD_S

Floats = NDArray[np.float64]
Basis = Literal["lock", "level", "awake"]
Origin = Literal["confirmed", "first-row"]

SKY_SOURCE = "gnss"
"""The source that hears the navigation satellites and never the receiver: its gaps say nothing of the receiver."""

READOUTS = "serial:"
"""What the names of sources begin with that a run listens to without a pause: where it could not, it has a gap."""


@dataclass(frozen=True, eq=False)
class ExposureClock:
    """Seconds of exposure since the origin, as functions of seconds since the job's first row (`t_s`).

    `era_start_s`: rows before it speak of another receiver (a swapped one). `rounds_s`: when later confirmations
    and resends opened a new round. `proved` and `possible` are the spans that the two bounds count; `awake` is
    proved from the origin on, `asleep` is every stretch from a logged off or standby to the next proof of awake.
    """

    origin_s: float
    origin: Origin
    basis: Basis
    era_start_s: float
    end_s: float
    rounds_s: tuple[float, ...]
    proved: Spans
    possible: Spans
    awake: Spans
    asleep: Spans

    def lower_s(self, t_s: ArrayLike) -> Floats:
        """Lower bound of the exposure at `t_s` (any shape)."""
        return _elapsed(self.proved, t_s)

    def upper_s(self, t_s: ArrayLike) -> Floats:
        """Upper bound of the exposure at `t_s` (any shape)."""
        return _elapsed(self.possible, t_s)

    @property
    def exposure_s(self) -> float:
        """Lower bound at the last row."""
        return length_s(self.proved)

    @property
    def exposure_max_s(self) -> float:
        """Upper bound at the last row."""
        return length_s(self.possible)

    @property
    def since_resend_s(self) -> float | None:
        """Lower bound of the exposure since the last round was opened; None if there was none."""
        if not self.rounds_s:
            return None
        return self.exposure_s - float(self.lower_s(self.rounds_s[-1]))


def _elapsed(part: Spans, t_s: ArrayLike) -> Floats:
    times = np.asarray(t_s, dtype=float)
    if not len(part):
        return np.zeros_like(times)
    done = np.cumsum(part[:, 1] - part[:, 0])
    marks = np.stack([np.concatenate([[0.0], done[:-1]]), done], axis=1)
    elapsed: Floats = np.interp(times, part.ravel(), marks.ravel())
    return elapsed


@dataclass(frozen=True, eq=False)
class _Log:
    """The rows of a job that speak of the receiver now fitted."""

    job: Job
    start_s: float

    def select(self, kind: str) -> pd.DataFrame:
        rows = self.job.select(kind)
        return rows[(rows["t_s"] >= self.start_s).to_numpy()] if self.start_s > 0.0 else rows

    @cached_property
    def locks(self) -> pd.DataFrame:
        """Lock rows, by what is asked of them alone: quick to part, however many there are."""
        return self.select("lock")[["t_s", "subject", "value", "source"]]

    @cached_property
    def levels(self) -> pd.DataFrame:
        """Level rows of scales on which 'no signal' is known: `t_s`, `subject`, `source`, and `above` (bool)."""
        return _usable_levels(self)


def era_start_s(job: Job) -> float:
    """When the receiver now fitted was put in, in seconds since the first row: the last `swap,receiver`, else 0."""
    swaps = _times(job.select("swap", "receiver"))
    return float(swaps[-1]) if len(swaps) else 0.0


_CLOCKS: WeakKeyDictionary[Job, ExposureClock] = WeakKeyDictionary()
"""The clocks of jobs that are still in use: several estimators ask for the same one."""


def exposure_clock(job: Job) -> ExposureClock:
    """The exposure clock of a job; the same job always has the same one."""
    if (known := _CLOCKS.get(job)) is None:
        known = _CLOCKS[job] = _clock(job)
    return known


def _clock(job: Job) -> ExposureClock:
    log = _Log(job, era_start_s(job))
    origin_s, origin = _origin(log)
    basis = _basis(log)
    everything = spans([(0.0, job.end_s)])
    since = within(everything, origin_s, job.end_s)
    awake, asleep = _awake(log)
    got_low, got_high = (everything, everything) if basis == "awake" else _received(log, everything)
    counted = subtract(since, union(_resets(log), _stopped(job)))
    ring_open = stretches(job.select("ring", "bus"), {"open"}, {"closed"}, job.end_s)
    return ExposureClock(
        origin_s=origin_s,
        origin=origin,
        basis=basis,
        era_start_s=log.start_s,
        end_s=job.end_s,
        rounds_s=_rounds(job, origin_s, origin),
        proved=subtract(intersect(counted, awake, got_low), ring_open),
        possible=intersect(subtract(counted, asleep), got_high),
        awake=intersect(since, awake),
        asleep=asleep,
    )


# --- origin, rounds, stops ---------------------------------------------------------------------------------------


def _times(rows: pd.DataFrame, *states: str) -> Floats:
    kept = rows[rows["value"].isin(states)] if states else rows
    return kept["t_s"].to_numpy(dtype=float)


def _origin(log: _Log) -> tuple[float, Origin]:
    confirmed = _times(log.select("account"), "confirmed")
    return (float(confirmed[0]), "confirmed") if len(confirmed) else (log.start_s, "first-row")


def _rounds(job: Job, origin_s: float, origin: Origin) -> tuple[float, ...]:
    """When a later confirmation or a resend opened a round; a request counts until its confirmation is logged.

    A resend in the very first row of a job without a confirmation opens a round too: it is no origin.
    """
    account = job.select("account")
    opened = _times(account, "confirmed", "resend-confirmed")
    asked = _times(account, "resend-requested")
    pending = asked[asked > (opened[-1] if len(opened) else -np.inf)]
    rounds = np.concatenate([opened, pending])
    later = rounds[rounds >= origin_s] if origin == "first-row" else rounds[rounds > origin_s]
    return tuple(float(t) for t in later)


def _stopped(job: Job) -> Spans:
    return stretches(job.select("account"), {"rejected", "lapsed"}, {"confirmed"}, job.end_s)


def stretches(rows: pd.DataFrame, begin: set[str], finish: set[str], end_s: float) -> Spans:
    """From each row with a value in `begin` to the next one in `finish`, or to `end_s`; rows in order of time."""
    found, since = [], None
    for t_s, value in zip(rows["t_s"], rows["value"], strict=True):
        if value in begin and since is None:
            since = float(t_s)
        elif value in finish and since is not None:
            found.append((since, float(t_s)))
            since = None
    if since is not None:
        found.append((since, end_s))
    return spans(found)


def _resets(log: _Log) -> Spans:
    return spans([(t, t + RESET_DEAD_S) for t in _times(log.select("reset"), "seen")])


# --- proofs that hold --------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Proofs:
    """Instants at which something was proved, sorted, and the source of each."""

    t_s: Floats
    source: NDArray[np.object_]

    def of(self, source: str) -> _Proofs:
        """Those of one source."""
        own = self.source == source
        return _Proofs(self.t_s[own], self.source[own])


def _proofs(parts: list[pd.DataFrame]) -> _Proofs:
    """All rows of the parts, sorted by time."""
    t_s = np.concatenate([part["t_s"].to_numpy(dtype=float) for part in parts])
    source = np.concatenate([part["source"].to_numpy(dtype=object) for part in parts])
    order = np.argsort(t_s, kind="stable")
    return _Proofs(t_s[order], source[order])


def _held(log: _Log, proofs: _Proofs, hold_s: float, contrary_s: Floats) -> Spans:
    """Spans between neighbouring proofs at most `hold_s` apart with nothing contrary, and no gap, between them.

    A gap of one source says nothing against what a readout proved that was listened to all the time: the proofs of
    each readout hold by themselves too, unless it has a gap of its own.
    """
    gaps = _gaps(log)
    held = [_joined(proofs.t_s, hold_s, contrary_s, gaps)]
    for source in sorted(set(proofs.source.tolist())):
        own = gaps[(gaps["subject"] == source).to_numpy()]
        if source.startswith(READOUTS) and len(own) < len(gaps):
            held.append(_joined(proofs.of(source).t_s, hold_s, contrary_s, own))
    return union(*held)


def _joined(proofs_s: Floats, hold_s: float, contrary_s: Floats, gaps: pd.DataFrame) -> Spans:
    """As `_held`, from these gaps. What is contrary at the instant of the earlier of two proofs stands between."""
    if len(proofs_s) < 2:
        return NOTHING
    left, right = proofs_s[:-1], proofs_s[1:]
    contrary = np.sort(contrary_s)
    clean = np.searchsorted(contrary, left, "left") == np.searchsorted(contrary, right, "left")
    joined = clean & (right - left <= hold_s) & ~_gap_between(gaps, left, right)
    return union(np.stack([left[joined], right[joined]], axis=1))


def _gaps(log: _Log) -> pd.DataFrame:
    """The gaps of every source that hears the vehicle."""
    gaps = log.job.select("gap")
    hears_vehicle = [source.partition(":")[0].partition("/")[0] != SKY_SOURCE for source in gaps["subject"]]
    return gaps[np.array(hears_vehicle, dtype=bool)]


def _gap_between(gaps: pd.DataFrame, left: Floats, right: Floats) -> NDArray[np.bool_]:
    """True where a gap reaches into the stretch from `left` to `right`."""
    if gaps.empty:
        return np.zeros(len(left), dtype=bool)
    ends = gaps["t_s"].to_numpy(dtype=float)
    starts = ends - gaps["span_s"].to_numpy(dtype=float)
    earliest = np.append(np.minimum.accumulate(starts[::-1])[::-1], np.inf)  # of this gap and all that end later
    found: NDArray[np.bool_] = earliest[np.searchsorted(ends, left, "right")] < right
    return found


# --- awake -------------------------------------------------------------------------------------------------------


def _usable_levels(log: _Log) -> pd.DataFrame:
    """See `_Log.levels`."""
    rows = log.select("signal")
    units = rows["unit"].cat
    floors = [log.job.sheet.receiver.floor_of(unit) for unit in units.categories]
    floor = np.array([*(np.nan if one is None else one for one in floors), np.nan])[units.codes.to_numpy()]
    is_known = ~np.isnan(floor)
    rows = rows[["t_s", "subject", "source"]].assign(above=rows["number"].to_numpy() > floor)
    return rows if is_known.all() else rows[is_known]


def _basis(log: _Log) -> Basis:
    if len(log.select("lock")):
        return "lock"
    return "level" if len(log.levels) else "awake"


def _seen_then(channel: pd.DataFrame, *states: str) -> pd.DataFrame:
    """Channels seen in one of the states at the row's own instant, not marked from memory afterwards."""
    return channel[(channel["value"].isin(states) & (channel["span_s"] == 0)).to_numpy()]


def _awake(log: _Log) -> tuple[Spans, Spans]:
    """Where awake is proved, and where asleep is logged."""
    power, lock, audio, levels = log.select("power"), log.locks, log.select("audio"), log.levels
    proofs = _proofs(
        [
            power[power["value"] == "awake"],
            lock[lock["value"] == "yes"],
            levels[levels["above"]],
            _seen_then(log.select("channel"), "authorised", "refused"),
            log.select("tune"),
            audio[audio["value"] == "playing"],
        ]
    )
    off = _times(power, "off", "standby")
    woken = np.append(proofs.t_s, log.job.end_s)[np.searchsorted(proofs.t_s, off, side="right")]
    return _held(log, proofs, AWAKE_HOLD_S, off), spans(list(zip(off, woken, strict=True)))


# --- received ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Path:
    """When one path was seen received, and when not."""

    yes: _Proofs
    no: _Proofs


def _paths(log: _Log) -> dict[str, _Path]:
    """Per path: its lock rows; without any its levels; and for the paths together channels and audio, if neither."""
    lock, levels = log.locks, log.levels
    found = {}
    for name in sorted({*lock["subject"], *levels["subject"]}):
        rows = lock[lock["subject"] == name]
        if len(rows):
            yes = rows["value"] == "yes"
        else:
            rows = levels[levels["subject"] == name]
            yes = rows["above"]
        found[name] = _Path(_proofs([rows[yes]]), _proofs([rows[~yes]]))
    if "any" not in found:
        found["any"] = _Path(_heard(log), _proofs([log.select("lock").iloc[:0]]))
    return found


def _heard(log: _Log) -> _Proofs:
    """When a channel seen authorised, or audio, proved that something was received."""
    tune, audio = log.select("tune"), log.select("audio")
    heard = [tune[tune["value"] == "audio"], audio[audio["value"] == "playing"]]
    return _proofs([_seen_then(log.select("channel"), "authorised"), *heard])


def _received(log: _Log, everything: Spans) -> tuple[Spans, Spans]:
    """Where receiving is proved, and where it is not disproved."""
    paths = _paths(log)
    nowhere_s = paths["any"].no.t_s
    proved = union(
        *(_held(log, path.yes, RECEIVED_HOLD_S, np.concatenate([path.no.t_s, nowhere_s])) for path in paths.values())
    )
    yes_s = np.concatenate([path.yes.t_s for path in paths.values()])
    denied = {name: _held(log, path.no, RECEIVED_HOLD_S, yes_s) for name, path in paths.items()}
    silent = union(denied["any"], intersect(_no_satellite(denied), denied.get("repeater", NOTHING)))
    return proved, union(proved, subtract(everything, silent))


def _no_satellite(denied: dict[str, Spans]) -> Spans:
    """Where every satellite is denied. A single named one says nothing of the others that there may be."""
    named = [part for name, part in denied.items() if name.startswith("satellite:")]
    together = reduce(intersect, named) if len(named) > 1 else NOTHING
    return union(denied.get("satellite", NOTHING), together)
