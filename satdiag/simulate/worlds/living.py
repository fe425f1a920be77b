"""A vehicle whose faults begin, cease, and come and go, on roads as well as parked."""

from __future__ import annotations

import copy
import math
from collections.abc import Callable
from dataclasses import dataclass
from random import Random

from satdiag.simulate.headunit import listed
from satdiag.simulate.places import Place
from satdiag.simulate.radio import Chain, FrontEnd
from satdiag.simulate.setup import Setup
from satdiag.simulate.swaps import compare, with_part
from satdiag.simulate.world import World
from satdiag.simulate.worlds.causes import CHANGES, Cause, Extra
from satdiag.simulate.worlds.roads import Drive

PARTS = (
    "antenna", "lead", "front_end", "rf_open_db", "dc_fault_in", "bias_source", "bias_load", "other_load",
    "receiver_powered", "configured", "audio_module_set", "adaptor", "dual_lead", "crank_likely",
)  # fmt: skip
RING_PARTS = ("order", "outside", "silent", "broken_at", "strict")


@dataclass
class Carried:
    """A cause on the vehicle: whether it shows just now, and how long until it turns [s] if it comes and goes."""

    cause: Cause
    shows: bool = False
    turns_in_s: float = math.inf
    on_s: float = 300.0
    off_s: float = 300.0


class LivingWorld(World):
    """The world of `simulate.world` with causes laid on and taken off, roads, and things that are in no list."""

    def __init__(self, setup: Setup, rng: Random, other: str = "", drives: dict[str, Drive] | None = None) -> None:
        self.other, self.drives = other, drives or {}
        self.extra = Extra()
        self.carried: dict[str, Carried] = {}
        self.well = {name: copy.deepcopy(getattr(setup, name)) for name in PARTS}
        self.well_ring = {name: copy.deepcopy(getattr(setup.ring, name)) for name in RING_PARTS}
        self.home = setup.start
        self.felt_s = 0
        self.lent: Chain | None = None
        super().__init__(setup, rng)
        if other:
            self.begin("other")

    # ---- causes ----

    def carry(self, cause: Cause) -> None:
        """A fault of the vehicle begins and shows."""
        self.carried[cause.fault] = Carried(cause, shows=True)
        self.begin(cause.fault)
        self.rebuild()

    def comes_and_goes(self, cause: Cause, shows: bool, on_s: float, off_s: float) -> None:
        """A fault of the vehicle that is there all the time and shows now and then."""
        turn = self.rng.expovariate(1.0 / (on_s if shows else off_s))
        self.carried[cause.fault] = Carried(cause, shows, turn, on_s, off_s)
        self.begin(cause.fault)
        self.rebuild()

    def mend(self, fault: str) -> None:
        """A fault of the vehicle ceases."""
        self.carried.pop(fault, None)
        self.end(fault)
        self.rebuild()

    def rebuild(self) -> None:
        """The vehicle as its causes leave it, from the healthy one."""
        setup, was_dark, was_powered = self.setup, not self.ring.closed, setup_powered(self.setup)
        for name, value in self.well.items():
            setattr(setup, name, copy.copy(value))
        for name, value in self.well_ring.items():
            setattr(setup.ring, name, copy.copy(value))
        setup.supply.bad_contact_per_h, setup.supply.cut = 0.0, False
        self.extra = Extra()
        for fault, change in CHANGES.items():
            carried = self.carried.get(fault)
            if carried and carried.shows:
                change(setup, self.extra, carried.cause)
        if self.extra.ring_dark_at:
            setup.ring.broken_at = self.extra.ring_dark_at
        self.lead = setup.lead
        if not self.lead.loose:
            self.loose_open = False
        if (was_dark and self.ring.closed) or (not was_powered and setup_powered(setup)):
            self.boot_left_s = self.rng.uniform(6, 14)
        self.refresh()

    def turn(self) -> None:
        """Let what comes and goes turn when its time is over."""
        for carried in self.carried.values():
            carried.turns_in_s -= 1.0
            if carried.turns_in_s <= 0.0:
                carried.shows = not carried.shows
                carried.turns_in_s = self.rng.expovariate(1.0 / (carried.on_s if carried.shows else carried.off_s))
                self.rebuild()

    # ---- time, as the plain world has it, with the rest laid over ----

    def _tick(self) -> None:
        self.turn()
        if self.extra.own_resets_per_h and self.rng.random() < self.extra.own_resets_per_h / 3600.0:
            self._reset()
        super()._tick()
        self.felt_s += self.is_felt()

    def _loose_contact(self) -> None:
        if not self.lead.loose:
            return
        opens, closes = self.extra.loose_per_s
        if self.rng.random() < (closes if self.loose_open else opens):
            self.loose_open = not self.loose_open
            self.refresh()

    def _receive(self) -> None:
        drive = self.drives.get(self.place.name)
        if drive:
            for fade, loss in zip(self.fades, drive.step(self.rng), strict=False):
                fade.standing_db = loss
        super()._receive()
        if self.extra.decoder_loss:
            self.loss = max(self.loss, self.extra.decoder_loss)
            self.loss_ema = max(self.loss_ema, 0.8 * self.loss_ema + 0.2 * self.loss)

    def path_levels_db(self, chain: Chain, place: Place) -> list[float]:
        """As in the plain world; nothing at all while the service is down."""
        if self.other == "service-down":
            return [-math.inf] * 3
        return super().path_levels_db(chain, place)

    def chain(self) -> Chain:
        """The radio path as it is now; while a part is lent, as it became when that was put in."""
        return self.lent or super().chain()

    def lend(self, what: str, own_lead: bool) -> None:
        """A known-good antenna (with a lead of its own or without) or lead is put in place of the vehicle's."""
        self.lent = with_part(self, what, own_lead)
        self.refresh()

    def give_back(self) -> None:
        """The vehicle's own part is in again."""
        self.lent = None
        self.refresh()

    # ---- what people find ----

    def is_felt(self) -> bool:
        """Whether somebody at the head unit would miss something just now, the account apart."""
        hears = self.awake and any(self.locked) and self.loss_ema < 0.3
        sounds = self.setup.audio_module_set and not self.extra.muted
        return not (hears and sounds and listed(self) and self.others_play())

    def compare(self, what: str, own_lead: bool, spare_plays: bool) -> str:
        """A known-good part in place: better, same, worse; a receiver with an account of its own may play."""
        if what == "receiver":
            carried = self.carried.get("receiver-defective")
            if carried and carried.cause.kind in ("decoder", "restarts") and self.powered:
                return "better"
            inside = self.carried.get("node-unpowered")
            if inside and inside.cause.kind == "inside" and inside.shows:
                return "better"
            chain = Chain(self.setup.antenna, self.lead, FrontEnd(), True, self.setup.rf_open_db)
            levels = self.path_levels_db(chain, self.place)
            losses = [self.place.standing_loss_db(which, look) for which, look in enumerate(self.looks())]
            losses.append(self.place.roof_repeater_db)
            hears = self.bias.amplifier_on and max(a - b for a, b in zip(levels, losses, strict=True)) > 6.0
            if not self.authorised and hears and spare_plays and self.awake:
                return "better"
        return compare(self, what, own_lead)

    def audio_state(self) -> str:
        """The vehicle's stored audio routing, read back."""
        return "matches" if self.setup.audio_module_set else "differs"

    def others_play(self) -> bool:
        """Whether the ring's other audio sources are heard."""
        return self.ring.other_sources_work() and self.other != "speakers-dead"


def setup_powered(setup: Setup) -> bool:
    """Supplied."""
    return setup.receiver_powered and not setup.supply.cut


def at(when_s: float, act: Callable[[LivingWorld], None]) -> tuple[float, Callable[[World], None]]:
    """An event of the setup's list."""

    def happen(world: World) -> None:
        assert isinstance(world, LivingWorld)
        act(world)

    return when_s, happen
