"""The provider: an account that moves between states, and authorisation messages on a broadcast carousel.

A message authorises a group of channels for one receiver. After an activation the messages are repeated fast for
a while, then slowly. A message is heard only by a receiver that is awake and locked when it is on the air.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass, field
from random import Random


@dataclass(frozen=True)
class Provider:
    """How the provider will behave in this world."""

    answer: str = "confirmed"  # confirmed | rejected
    answer_delay_s: float = 150.0
    addressed_to_us: bool = True  # False: the identifier on record belongs to another receiver
    broadcast: bool = True  # False: the order to transmit was lost in the provider's system
    first_air_delay_s: float = 90.0
    fast_period_s: float = 420.0
    fast_for_s: float = 5400.0
    slow_period_s: float = 2700.0
    blocks_per_message: int = 14
    block_loss_floor: float = 0.02  # ignition noise, short fades that no readout shows
    channels_per_group: tuple[int, int] = (1, 6)


@dataclass
class Account:
    """state: none | submitted | confirmed | rejected | lapsed, as the provider has it."""

    provider: Provider
    state: str = "none"
    answer_at_s: float | None = None
    confirmed_at_s: float | None = None
    news: list[tuple[float, str]] = field(default_factory=list)

    def submit(self, now_s: float) -> None:
        """Ask for an activation (or, when there is one, for a resend)."""
        self.state = "submitted"
        self.answer_at_s = now_s + self.provider.answer_delay_s

    def step(self, now_s: float) -> bool:
        """Let time pass; True at the moment the account becomes confirmed."""
        if self.answer_at_s is None or now_s < self.answer_at_s:
            return False
        self.state = self.provider.answer
        self.news.append((self.answer_at_s, self.state))
        self.answer_at_s = None
        if self.state == "confirmed":
            self.confirmed_at_s = now_s
            return True
        return False


def make_groups(channels: list[int], size: tuple[int, int], rng: Random) -> list[tuple[int, ...]]:
    """Cut the channels of a package into message groups of `size[0]`..`size[1]`, in no particular order."""
    left = channels[:]
    rng.shuffle(left)
    groups = []
    while left:
        count = rng.randint(*size)
        groups.append(tuple(left[:count]))
        left = left[count:]
    return groups


class Carousel:
    """Messages in the air, each with its own phase, as a queue of (time, group)."""

    def __init__(self, provider: Provider, channels: list[int], start_s: float, rng: Random) -> None:
        self.provider = provider
        self.start_s = start_s
        self.groups = make_groups(channels, provider.channels_per_group, rng)
        slot_s = provider.fast_period_s / max(1, len(self.groups))
        self.queue = [(start_s + slot_s * (place + rng.random()), place) for place in range(len(self.groups))]
        heapq.heapify(self.queue)

    def period_s(self, now_s: float) -> float:
        """Repetition period at a time [s]."""
        fast = now_s - self.start_s < self.provider.fast_for_s
        return self.provider.fast_period_s if fast else self.provider.slow_period_s

    def pop_due(self, now_s: float) -> list[tuple[float, int]]:
        """Messages on the air up to now; each is put back for its next turn."""
        due = []
        while self.queue and self.queue[0][0] <= now_s:
            at_s, place = heapq.heappop(self.queue)
            due.append((at_s, place))
            heapq.heappush(self.queue, (at_s + self.period_s(at_s), place))
        return due

    def heard(self, block_loss: float, rng: Random) -> bool:
        """Whether one message, all its blocks, comes through at this block loss."""
        loss = min(1.0, block_loss + self.provider.block_loss_floor)
        return rng.random() < (1.0 - loss) ** self.provider.blocks_per_message

    def drop(self, place: int) -> None:
        """Forget a message whose channels are all held."""
        self.queue = [entry for entry in self.queue if entry[1] != place]
        heapq.heapify(self.queue)
