"""Paths side by side: when at least one was received, and which drop-outs took all at once."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from satdiag.signal.chain import History
from satdiag.signal.pieces import Flags, Floats, Pieces

ANY = "any"
SATELLITE = "satellite"
REPEATER = "repeater"
LEAST_EVENTS = 3
"""Judgement, no source: of fewer drop-outs no share is told."""
ONE_LOOK_S = 1.0
"""Judgement, no source: readings no further apart belong to one look at all paths."""
_RECEIVED, _BLOCKED, _UNKNOWN = 1, 0, -1


def _edges(paths: Mapping[str, Pieces]) -> Floats:
    return np.unique(np.concatenate([np.concatenate([part.start_s, part.end_s]) for part in paths.values()]))


def _states(pieces: Pieces, t_s: Floats) -> NDArray[np.int8]:
    """For instants (m,): 1 received, 0 blocked, -1 unknown."""
    number = pieces.at(t_s)
    if not len(pieces.received):
        return np.full(len(t_s), _UNKNOWN, dtype=np.int8)
    return np.where(number < 0, _UNKNOWN, pieces.received[number.clip(0)].astype(np.int8)).astype(np.int8)


def overruled(pieces: Pieces, any_path: Pieces | None) -> Pieces:
    """A path's pieces, blocked wherever the reading for all paths together says that nothing is received."""
    if any_path is None or not len(pieces.start_s):
        return pieces
    edges = _edges({"": pieces, ANY: any_path})
    starts, ends = edges[:-1], edges[1:]
    number = pieces.at(starts)
    nothing = _states(any_path, starts) == _BLOCKED
    known = number >= 0
    received = pieces.received[number.clip(0)] & ~nothing
    return Pieces(starts[known], ends[known], received[known], pieces.level[number.clip(0)][known])


def any_history(paths: Mapping[str, Pieces]) -> History:
    """When at least one path was received, where that is known.

    Known yes: any path is received. Known no: `any` says so, or every satellite and the repeater, as far as they
    were ever read, are blocked. A no for one path says nothing of another that was not read then.
    """
    edges = _edges(paths)
    starts, ends = edges[:-1], edges[1:]
    states = {name: _states(part, starts) for name, part in paths.items()}
    blocked = {name: state == _BLOCKED for name, state in states.items()}
    said_no = blocked.pop(ANY, np.zeros(len(starts), dtype=bool))
    yes = np.any([state == _RECEIVED for state in states.values()], axis=0) & ~said_no
    no = said_no | (~yes & _all_blocked(blocked, len(starts)))
    known = yes | no
    return History(starts[known], ends[known], yes[known])


def _all_blocked(blocked: Mapping[str, Flags], count: int) -> Flags:
    """Where all that was ever read is blocked; the reading for all satellites answers for those by name."""
    by_name = [flags for name, flags in blocked.items() if name.startswith(f"{SATELLITE}:")]
    satellites = [np.logical_and.reduce(by_name)] if by_name else []
    if SATELLITE in blocked:
        satellites.append(blocked[SATELLITE])
    parts = [np.logical_or.reduce(satellites)] if satellites else []
    if REPEATER in blocked:
        parts.append(blocked[REPEATER])
    return np.asarray(np.logical_and.reduce(parts)) if parts else np.zeros(count, dtype=bool)


def compared_paths(names: list[str]) -> list[str]:
    """Paths that can drop out on their own: not `any`, and not `satellite` beside satellites by name."""
    named = any(name.startswith(f"{SATELLITE}:") for name in names)
    return [name for name in names if name != ANY and not (named and name == SATELLITE)]


@dataclass(frozen=True)
class _Loss:
    """A drop-out of one path: the last reading that was received, and the first and last that were not, seconds."""

    well_s: float
    first_s: float
    last_s: float
    path: str


def joint_dropouts(paths: Mapping[str, Pieces]) -> tuple[int, int]:
    """How many drop-outs took every path that was received just before, and of how many that can tell.

    A drop-out begins between the last reading that was received and the first that was not. Drop-outs of several
    paths are one event where those stretches overlap. One across a logged move, another part put in or sleep is not
    watched: no reading stands beyond these. An event tells something if two paths or more were received as it began,
    and each of them was lost, or one was read as received while another was lost: where paths are read in turn, a
    short drop-out passes unseen between two readings.
    """
    losses = sorted(
        (loss for name, pieces in paths.items() for loss in _losses(pieces, name)),
        key=lambda loss: (loss.well_s, loss.first_s, loss.path),
    )
    begins_s = np.array([loss.well_s for loss in losses])
    states = {name: _states(part, begins_s) == _RECEIVED for name, part in paths.items()}
    joint = telling = number = 0
    while number < len(losses):
        received = {name for name, state in states.items() if state[number]}
        event, end_s = [losses[number]], losses[number].first_s
        number += 1
        while number < len(losses) and losses[number].well_s < end_s:
            end_s = max(end_s, losses[number].first_s)
            event.append(losses[number])
            number += 1
        taken = {loss.path for loss in event}
        if len(received | taken) >= 2:
            at_once = taken >= received
            joint += at_once
            telling += at_once or any(_read_well_in(paths[name], event) for name in received - taken)
    return joint, telling


def _losses(pieces: Pieces, path: str) -> Iterator[_Loss]:
    """Each drop-out of a path that was watched as it began."""
    touching = pieces.start_s[1:] <= pieces.end_s[:-1]
    goes_on = np.append(touching & ~pieces.received[:-1] & ~pieces.received[1:], False)
    lasts = np.flatnonzero(~goes_on)
    before = np.flatnonzero(touching & pieces.received[:-1] & ~pieces.received[1:])
    last = lasts[np.searchsorted(lasts, before + 1)]
    start_s = pieces.start_s
    for well_s, first_s, last_s in zip(start_s[before], start_s[before + 1], start_s[last], strict=True):
        yield _Loss(float(well_s), float(first_s), float(last_s), path)


def _read_well_in(pieces: Pieces, event: Sequence[_Loss]) -> bool:
    """Whether a path was read anew, and received, while another was not."""
    read_s = pieces.start_s[pieces.received]
    return any(
        np.searchsorted(read_s, loss.first_s - ONE_LOOK_S, "left")
        < np.searchsorted(read_s, loss.last_s + ONE_LOOK_S, "right")
        for loss in event
    )
