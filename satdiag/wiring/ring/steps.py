"""The moves of a plan as steps for the hands: in an order in which each socket is free in time, and the way back.

Cautions are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, NamedTuple

from satdiag.language import mark, tell
from satdiag.ring_file import End, RingFile, Socket
from satdiag.wiring.ring.named import end_text, socket_mark, socket_text
from satdiag.wiring.ring.planner import Move, RingPlan

Action = Literal["move", "plug-in", "take-out", "lay-aside", "plug-back"]

EYES = mark(
    "Never look into a fibre or a socket, and use no magnifier: hold a white card before it and look at that."
)
CAPS = mark(
    "Put a cap on every open end and socket, and do not touch an end face: no solvent, no heat, no sharp bend. Do "
    "not cut or splice a fibre by hand: fit a whole one."
)

BEFORE = (
    mark(
        "Where panels, seats or pillar covers come off: airbag and belt wiring runs there. Follow the vehicle "
        "maker's steps to make that system safe, and wait as long as they say."
    ),
    mark(
        "Switch everything off, lock the vehicle and wait until the bus sleeps; then power down as the vehicle maker "
        "describes. An open ring mutes all sources of that ring."
    ),
    EYES,
    CAPS,
    mark("Take a photograph of each block, and put the labels on the plugs before you touch one."),
)
AFTERWARDS = (
    mark("Pull softly at each plug that you moved: it must have snapped in. Cap the sockets that stay open."),
    mark("Compare the block with the drawing of how it is afterwards."),
    mark("Power up, wait for the bus to wake, and see that the ring's other sources play and every node answers."),
    mark("Write the plugs as they are now into ring.toml, and run: satdiag ring check."),
)
"""Both as they were marked: whoever says them calls `translated`."""


class Step(NamedTuple):
    """One thing to do. A plug that has to wait aside for its socket is moved in two halves, under one number."""

    number: int
    half: Literal["", "a", "b"]
    action: Action
    end: End
    from_: Socket | None
    to: Socket | None

    @property
    def name(self) -> str:
        """Its number with its half: '3', '1a'."""
        return f"{self.number}{self.half}"


def steps_of(moves: Sequence[Move]) -> tuple[Step, ...]:
    """The moves in an order in which no plug goes into a socket that is still used.

    Plugs that leave the ring come first; where sockets wait for each other in a circle, one plug is laid aside.
    """
    waiting = sorted(moves, key=lambda move: (move.to is not None, move.from_ is None))
    used = {move.from_ for move in moves if move.from_ is not None}
    aside: dict[End, int] = {}
    steps: list[Step] = []
    number = 0
    while waiting:
        free = next((move for move in waiting if move.to is None or move.to not in used), None)
        if free is None:  # every target is used by a plug that waits itself
            first = next(move for move in waiting if move.from_ in used)
            number += 1
            aside[first.end] = number
            steps.append(Step(number, "a", "lay-aside", first.end, first.from_, None))
            used.discard(first.from_)
            continue
        waiting.remove(free)
        if free.end in aside:
            steps.append(Step(aside[free.end], "b", "plug-back", free.end, None, free.to))
            continue
        number += 1
        used.discard(free.from_)
        steps.append(Step(number, "", _action(free), free.end, free.from_, free.to))
    return tuple(steps)


def _action(move: Move) -> Action:
    if move.to is None:
        return "take-out"
    return "plug-in" if move.from_ is None else "move"


_BACK: dict[Action, Action] = {
    "move": "move",
    "plug-in": "take-out",
    "take-out": "plug-in",
    "lay-aside": "plug-back",
    "plug-back": "lay-aside",
}
_OTHER_HALF: dict[str, Literal["", "a", "b"]] = {"": "", "a": "b", "b": "a"}


def undo_of(steps: Sequence[Step]) -> tuple[Step, ...]:
    """The exact way back: the steps from last to first, each the other way round, numbered afresh."""
    numbers: dict[int, int] = {}
    for step in reversed(steps):
        numbers.setdefault(step.number, len(numbers) + 1)
    return tuple(
        Step(numbers[step.number], _OTHER_HALF[step.half], _BACK[step.action], step.end, step.to, step.from_)
        for step in reversed(steps)
    )


def step_text(step: Step) -> str:
    """A step as a sentence."""
    to = None if step.to is None else socket_text(step.to)
    from_ = None if step.from_ is None else socket_text(step.from_)
    end = end_text(step.end)
    values = {"end": end, "from_": from_, "to": to}
    if step.action == "move":
        return tell("Take {end} out of {from_} and plug it into {to}.", **values)
    if step.action == "plug-in":
        return tell("Take the cap off {end} and plug it into {to}.", **values)
    if step.action == "take-out":
        return tell("Take {end} out of {from_}; cap it and the socket.", **values)
    if step.action == "lay-aside":
        return tell("Take {end} out of {from_}, cap it and lay it aside: its socket is needed first.", **values)
    return tell("Take the cap off {end}, laid aside before, and plug it into {to}.", **values)


def labels_of(plan: RingPlan) -> tuple[tuple[str, str, str], ...]:
    """What to write on the tape of each plug that is touched, in the order of the steps: the plug, the two lines."""
    found = []
    order = {step.end: step.number for step in steps_of(plan.moves)}
    for move in sorted(plan.moves, key=lambda move: order[move.end]):
        plug = str(move.end).upper()
        if move.from_ is None:
            now = tell("{plug}: not plugged", plug=plug)
        else:
            now = tell("{plug}: now {place}", plug=plug, place=socket_mark(move.from_))
        then = tell("take out") if move.to is None else tell("to {place}", place=socket_mark(move.to))
        found.append((end_text(move.end), now, then))
    return tuple(found)


def done(file: RingFile, steps: Sequence[Step]) -> dict[Socket, End]:
    """What each socket holds after the steps. Raises ValueError if a step is not possible as it stands."""
    held = dict(file.held)
    for step in steps:
        if step.from_ is not None and held.pop(step.from_, None) != step.end:
            raise ValueError(f"step {step.name}: {step.end} is not at {step.from_}")
        if step.to is not None:
            if step.to in held:
                raise ValueError(f"step {step.name}: {step.to} is used by {held[step.to]}")
            held[step.to] = step.end
    return held
