"""What a person at the head unit can see and hear of the world, and how long a channel change takes."""

from __future__ import annotations

from dataclasses import dataclass

from satdiag.simulate.setup import Channel
from satdiag.simulate.world import World

FRAME_S = 0.36  # one interleaver frame
FRAMES_FOR_AUDIO = 4  # frames the decoder must gather: 1.4 s, so about 1.7 s to audio in good reception
LABEL_S = 0.9  # a channel's title comes round about once a second
LABEL_BLOCKS = 2


def listed(world: World) -> bool:
    """Whether the head unit offers the satellite source."""
    if not (world.setup.configured and world.powered and world.ring.answers("receiver")):
        return False
    return world.ring.in_place("receiver") or not world.ring.strict


def receiving(world: World) -> bool:
    """Awake and locked on at least one path."""
    return world.awake and any(world.locked)


def may_play(world: World, channel: Channel) -> bool:
    """Authorised, or open to all."""
    return channel.is_open or channel.number in world.authorised


def channel_state(world: World, channel: Channel) -> str:
    """The state a careful look at one channel would give."""
    if not channel.shown:
        return "missing"
    if not receiving(world) or world.loss > 0.8:
        return "no-signal"
    return "authorised" if may_play(world, channel) else "refused"


def heard(world: World) -> str:
    """playing, broken or muted, with some channel chosen that may play."""
    if not listed(world) or not world.setup.audio_module_set:
        return "muted"
    if world.loss_ema < 0.03:
        return "playing"
    return "broken" if world.loss_ema < 0.75 else "muted"


@dataclass
class Change:
    """Marks of one channel change: (seconds after the request, mark)."""

    marks: list[tuple[float, str]]


def change_channel(world: World, channel: Channel, patience_s: float) -> Change:
    """Request a channel and wait for the refusal notice, or for audio and title, as long as patience lasts.

    Audio needs a number of good frames; the title needs its blocks from a slow data stream, and first of all
    the service table when the receiver has just been switched on.
    """
    rng = world.rng
    marks: list[tuple[float, str]] = [(0.0, "requested")]
    passed = 0.0
    frames = 0
    blocks = 0
    next_label = rng.uniform(0.4, 0.4 + LABEL_S) + (rng.uniform(2.5, 8.0) if world.cold else 0.0)
    passed_audio = False
    first_lock: float | None = None
    while passed < patience_s:
        world.advance(FRAME_S)
        passed += FRAME_S
        if not receiving(world):
            continue
        if first_lock is None:
            first_lock = passed
        if not may_play(world, channel):
            if passed > first_lock + 0.3:
                return Change([*marks, (passed + rng.uniform(0.1, 0.6), "refused")])
            continue
        if rng.random() > world.loss:
            frames += 1
        if frames == FRAMES_FOR_AUDIO and not passed_audio and world.setup.audio_module_set:
            passed_audio = True
            marks.append((passed + rng.uniform(0.1, 0.45), "audio"))
        if frames > FRAMES_FOR_AUDIO and passed >= next_label:
            next_label += LABEL_S
            blocks += 1 if rng.random() > world.loss + 0.05 else 0
            if blocks >= LABEL_BLOCKS:
                world.cold = False
                marks.append((passed + rng.uniform(0.5, 0.9), "title"))
                break
    world.tuned = channel.number
    words = [mark for _, mark in marks]
    if "title" not in words or "audio" not in words:
        gave_up = max(passed, marks[-1][0], rng.uniform(0.5, 1.0) * patience_s)
        marks.append((gave_up + rng.uniform(0.3, 2.0), "abandoned"))
    return Change(marks)
