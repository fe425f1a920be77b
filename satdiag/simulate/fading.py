"""How one path fades from second to second, and how paths fade together."""

from __future__ import annotations

import math
from dataclasses import dataclass
from random import Random

from satdiag.simulate.places import Passing


@dataclass
class PathFade:
    """Fade of one path: a standing loss, an event that lasts for a while, and a slow sway.

    The event state is a Markov chain clear -> shaded or blocked -> clear with exponential dwell times.
    """

    standing_db: float = 0.0
    sway_sigma_db: float = 0.5
    event_db: float = 0.0
    event_left_s: float = 0.0
    sway_db: float = 0.0

    @property
    def excess_db(self) -> float:
        """Loss against the free path, without the sway [dB]."""
        return self.standing_db + self.event_db

    @property
    def total_db(self) -> float:
        """Loss against the free path [dB]."""
        return self.standing_db + self.event_db + self.sway_db

    def hit(self, passing: Passing, rng: Random) -> None:
        """Something comes between."""
        deep = rng.random() < passing.deep_share
        mean, spread = passing.block_db if deep else passing.shade_db
        self.event_db = max(2.0, rng.gauss(mean, spread))
        self.event_left_s = max(1.0, rng.expovariate(1.0 / passing.dwell_s))

    def step(self, rng: Random) -> None:
        """One second passes (autoregressive sway with a memory of some five seconds)."""
        if self.event_left_s > 0.0:
            self.event_left_s -= 1.0
            if self.event_left_s <= 0.0:
                self.event_db = 0.0
        self.sway_db = 0.82 * self.sway_db + 0.57 * self.sway_sigma_db * rng.gauss(0.0, 1.0)


def step_together(fades: list[PathFade], passing: Passing, rng: Random) -> None:
    """Let one second pass on all paths; one event may reach several of them."""
    chance = passing.per_minute / 60.0
    for fade in fades:
        fade.step(rng)
        if fade.event_left_s <= 0.0 and rng.random() < chance:
            fade.hit(passing, rng)
            for other in fades:
                if other is not fade and other.event_left_s <= 0.0 and rng.random() < passing.together:
                    other.hit(passing, rng)


def share_word(excess_db: float) -> str:
    """clear below 3 dB, shadowed to 15 dB, blocked above: how truth counts the time of a path."""
    if excess_db < 3.0:
        return "clear"
    return "shadowed" if excess_db < 15.0 else "blocked"


def block_loss(cn_db: float) -> float:
    """Share of blocks lost at a carrier-to-noise ratio [dB]: the cliff of a coded channel, about 1 dB wide."""
    if cn_db > 12.0:
        return 0.0
    return 1.0 / (1.0 + math.exp(min(60.0, (cn_db - 4.4) / 0.4)))
