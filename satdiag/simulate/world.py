"""The latent world, one second at a time.

The world knows causes and moves them on: supply, ring, feed, radio path, carousel. It never writes a log row;
a person or a logger looks at it through `headunit` and decides what to write.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from random import Random

from satdiag.simulate.fading import PathFade, block_loss, share_word, step_together
from satdiag.simulate.feed import BiasLoad, BiasPoint, solve
from satdiag.simulate.geometry import DEMO_PAIR, Look, look
from satdiag.simulate.places import Place
from satdiag.simulate.radio import (
    OWN_BANDWIDTH_DBHZ,
    Chain,
    receiver_noise_db,
    repeater_cn0_dbhz,
    satellite_cn0_dbhz,
)
from satdiag.simulate.service import Account, Carousel
from satdiag.simulate.setup import Setup
from satdiag.simulate.supply import BROWN_OUT_V

PATHS = ("satellite:east", "satellite:west", "repeater")
LOCK_CN_DB = 4.0  # acquisition, held for two seconds
LOSE_CN_DB = 2.6  # tracking is lost below this


@dataclass
class Span:
    """A cause that holds over a stretch of time; `to_s` None while it still does."""

    fault: str
    from_s: float
    to_s: float | None = None


class World:
    """State of one job's world; `now_s` counts seconds from its first instant."""

    def __init__(self, setup: Setup, rng: Random) -> None:
        self.setup, self.rng = setup, rng
        self.now_s = 0.0
        self.tick_s = 0
        self.place: Place = setup.places[setup.start]
        self.lead = setup.lead
        self.ring, self.supply = setup.ring, setup.supply
        self.switched_on = True
        self.boot_left_s = rng.uniform(5, 15)
        self.bias_switch = True
        self.loose_open = False
        self.resets: list[float] = []
        self.account = Account(setup.provider, state=setup.account_state)
        self.carousel: Carousel | None = None
        self.authorised: set[int] = set()
        self.arrival_tick: dict[int, float] = {}
        if setup.activated_before:
            self.authorised = set(setup.entitled())
        self.tuned: int | None = None
        self.cold = True  # no title table in memory yet
        self.fades = [PathFade() for _ in PATHS]
        self.cn_db = [-9.0, -9.0, -9.0]
        self.lock_for = [0, 0, 0]
        self.locked = [False, False, False]
        self.base_db = [-99.0, -99.0, -99.0]
        self.loss_ema = 1.0
        self.loss = 1.0
        self.received: list[list[float]] = []  # spans of seconds awake and locked on some path
        self.shares = {path: {"clear": 0, "shadowed": 0, "blocked": 0} for path in PATHS}
        self.watchers: list[Callable[[World], None]] = []
        self.events = sorted(setup.events, key=lambda event: event[0])
        self.spans: list[Span] = []
        self.bias = BiasPoint(0.0, 0.0, False)
        self._enter(self.place)
        if setup.steady_fault:
            self.begin(setup.steady_fault)

    # ---- faults as spans of time (truth only) ----

    def begin(self, fault: str) -> None:
        """A cause starts to hold now."""
        self.spans.append(Span(fault, self.now_s))

    def end(self, fault: str) -> None:
        """A cause ceases to hold now."""
        for span in self.spans:
            if span.fault == fault and span.to_s is None:
                span.to_s = self.now_s

    # ---- places and hands ----

    def move(self, name: str) -> None:
        """The vehicle stands or drives somewhere else from now on."""
        old, self.place = self.place.fault, self.setup.places[name]
        if old and old != self.place.fault:
            self.end(old)
        self._enter(self.place, old)

    def _enter(self, place: Place, held: str | None = None) -> None:
        if place.fault and place.fault != held:
            self.begin(place.fault)
        looks = self.looks(place)
        for which, fade in enumerate(self.fades):
            fade.event_db = fade.event_left_s = 0.0
            if which < 2:
                fade.standing_db = place.standing_loss_db(which, looks[which])
                fade.sway_sigma_db = place.sway_db
            else:
                fade.standing_db = place.roof_repeater_db
                fade.sway_sigma_db = place.repeater_sway_db
        self.refresh()

    def looks(self, place: Place | None = None) -> tuple[Look, Look]:
        """Directions of both satellites from a place's site."""
        place = place or self.place
        site = next(site for site in self.setup.sites if site.name == place.site)
        first, second = (look(site.latitude_deg, site.longitude_deg, satellite) for satellite in DEMO_PAIR)
        return first, second

    @property
    def awake(self) -> bool:
        """Running: switched on, supplied, booted, and (light-driven) the ring not dark."""
        return self.powered and self.boot_left_s <= 0.0 and self.ring.closed

    @property
    def powered(self) -> bool:
        """Switched on and with a supply."""
        return self.switched_on and self.setup.receiver_powered and not self.supply.cut

    def switch(self, on: bool) -> None:
        """The person switches the receiver."""
        if on and not self.switched_on:
            self.boot_left_s = self.rng.uniform(6, 14)
            self.cold = True
        self.switched_on = on
        self.refresh()

    def set_bias(self, on: bool) -> None:
        """The feed test: switch the antenna's supply."""
        self.bias_switch = on
        self.refresh()

    def crank(self) -> None:
        """Start the engine."""
        if self.supply.crank(self.rng) < BROWN_OUT_V:
            self._reset()

    def close_ring(self) -> None:
        """Reseat the plug: light goes round again."""
        self.ring.broken_at = None
        self.boot_left_s = self.rng.uniform(6, 14)
        self.end("ring-broken")

    def break_ring(self, node: str) -> None:
        """The input of a node goes dark."""
        self.ring.broken_at = node
        self.begin("ring-broken")

    # ---- the radio path ----

    def feed_point(self, crossed: bool = False) -> BiasPoint:
        """The direct-current feed on the receiver's (or, crossed, the second) conductor."""
        if not self.powered or not self.bias_switch:
            return BiasPoint(0.02, 0.0, False)
        load = self.setup.other_load if crossed and self.setup.other_load else self.setup.bias_load
        if self.loose_open:
            load = BiasLoad(kind="open", leak_ohm=40_000.0)
        return solve(self.setup.bias_source, load)

    def chain(self) -> Chain:
        """The radio path as it is now."""
        open_db = self.setup.rf_open_db + (14.0 if self.loose_open else 0.0)
        return Chain(self.setup.antenna, self.lead, self.setup.front_end, self.bias.amplifier_on, open_db)

    def path_levels_db(self, chain: Chain, place: Place) -> list[float]:
        """C/N of each path in the receiver's bandwidth without any fade [dB]."""
        levels = []
        for which, direction in enumerate(self.looks(place)):
            ripple = self.setup.antenna.ripple_db[which]
            levels.append(satellite_cn0_dbhz(direction, chain, place.sky_k, place.interference_db, ripple))
        if place.repeater_dbhz is None:
            levels.append(-math.inf)
        else:
            levels.append(repeater_cn0_dbhz(place.repeater_dbhz, chain, place.sky_k, place.interference_db))
        return [level - OWN_BANDWIDTH_DBHZ for level in levels]

    def refresh(self) -> None:
        """Work the radio path out again after something changed."""
        self.bias = self.feed_point()
        self.base_db = self.path_levels_db(self.chain(), self.place)

    def noise_db(self) -> float:
        """Noise at the receiver's input relative to 290 K [dB]."""
        return receiver_noise_db(self.chain(), self.place.sky_k, self.place.interference_db)

    # ---- time ----

    def advance(self, seconds: float) -> None:
        """Let time pass."""
        target_s = self.now_s + seconds
        while self.tick_s + 1 <= target_s:
            self.tick_s += 1
            self.now_s = float(self.tick_s)
            self._tick()
        self.now_s = target_s

    def _tick(self) -> None:
        while self.events and self.events[0][0] <= self.tick_s:
            self.events.pop(0)[1](self)
        if self.supply.step(self.rng) < BROWN_OUT_V and self.powered:
            self._reset()
        self._loose_contact()
        step_together(self.fades, self.place.passing, self.rng)
        if self.powered and self.boot_left_s > 0.0:
            self.boot_left_s -= 1.0
        self._receive()
        self._listen()
        for watcher in self.watchers:
            watcher(self)

    def _reset(self) -> None:
        if self.switched_on and self.boot_left_s <= 0.0:
            self.resets.append(self.now_s)
        self.boot_left_s = self.rng.uniform(14, 30)
        self.cold = True

    def _loose_contact(self) -> None:
        if not self.lead.loose:
            return
        # A fretting contact: good for a minute or so, bad for some ten seconds.
        if self.rng.random() < (1 / 14.0 if self.loose_open else 1 / 55.0):
            self.loose_open = not self.loose_open
            self.refresh()

    def _receive(self) -> None:
        awake = self.awake
        loss = 1.0
        for which, fade in enumerate(self.fades):
            if self.base_db[which] > -90.0:
                self.shares[PATHS[which]][share_word(fade.excess_db)] += 1
            cn = self.base_db[which] - fade.total_db
            self.cn_db[which] = cn
            if not awake or cn < LOSE_CN_DB:
                self.lock_for[which], self.locked[which] = 0, False
                continue
            if cn >= LOCK_CN_DB or self.locked[which]:
                self.lock_for[which] += 1
            if self.lock_for[which] >= 2:
                self.locked[which] = True
                loss *= block_loss(cn)
        self.loss = loss
        self.loss_ema = 0.8 * self.loss_ema + 0.2 * loss

    def _listen(self) -> None:
        receiving = self.awake and any(self.locked)
        confirmed = self.account.step(self.tick_s)
        if confirmed and self.setup.provider.broadcast and self.setup.provider.addressed_to_us:
            start = self.tick_s + self.setup.provider.first_air_delay_s
            self.carousel = Carousel(self.setup.provider, self.setup.entitled(), start, self.rng)
        if receiving:
            if self.received and self.received[-1][1] == self.tick_s - 1:
                self.received[-1][1] = self.tick_s
            else:
                self.received.append([self.tick_s - 1, self.tick_s])
        if self.carousel is None:
            return
        for at_s, place in self.carousel.pop_due(self.tick_s):
            if receiving and self.carousel.heard(self.loss, self.rng):
                for channel in self.carousel.groups[place]:
                    self.authorised.add(channel)
                    self.arrival_tick.setdefault(channel, at_s)

    def lapse(self) -> None:
        """The provider withdraws the authorisations."""
        self.account.state = "lapsed"
        self.authorised.clear()
        self.carousel = None

    def skip(self, seconds: float) -> None:
        """A long pause between visits with the receiver off: nothing is simulated but the clock."""
        whole = int(seconds)
        self.now_s += whole
        self.tick_s += whole

    def exposure_s(self, from_s: float, to_s: float) -> float:
        """Seconds awake and locked between two instants [s]."""
        return sum(max(0.0, min(to_s, end) - max(from_s, start)) for start, end in self.received)
