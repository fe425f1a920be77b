"""What a scenario hands to the world: the causes, before anything has happened."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from satdiag.simulate.feed import BiasLoad, BiasSource
from satdiag.simulate.places import Place, Site
from satdiag.simulate.radio import Antenna, FrontEnd, Lead
from satdiag.simulate.ring import Ring
from satdiag.simulate.service import Provider
from satdiag.simulate.supply import Supply

if TYPE_CHECKING:
    from satdiag.simulate.world import World


@dataclass(frozen=True)
class Channel:
    """One line of the line-up; `packages` as in the job folder, `shown` False when the line-up is out of date."""

    number: int
    name: str
    category: str
    packages: tuple[str, ...]
    known: bool = True  # False: the line-up leaves the packages blank
    shown: bool = True

    @property
    def is_open(self) -> bool:
        """Plays without a subscription."""
        return "open" in self.packages


@dataclass
class Setup:
    """The latent world of one job. Nothing in it says what will be seen."""

    scenario: str
    sites: list[Site]
    places: dict[str, Place]
    start: str
    lineup: list[Channel]
    package: str
    antenna: Antenna = field(default_factory=Antenna)
    lead: Lead = field(default_factory=Lead)
    front_end: FrontEnd = field(default_factory=FrontEnd)
    rf_open_db: float = 0.0
    dc_fault_in: str = "none"  # unit | lead: where an open or a short sits
    bias_source: BiasSource = field(default_factory=BiasSource)
    bias_load: BiasLoad = field(default_factory=BiasLoad)
    other_load: BiasLoad | None = None  # second conductor of a dual lead
    supply: Supply = field(default_factory=Supply)
    ring: Ring = field(default_factory=Ring)
    receiver_powered: bool = True
    configured: bool = True
    audio_module_set: bool = True
    identifier_ok: bool = True
    provider: Provider = field(default_factory=Provider)
    activated_before: bool = False  # authorised long ago; everything in memory
    account_state: str = "none"
    confirmed_before_s: float | None = None  # how long before the first row the account was confirmed
    activates: bool = False  # the person asks for an activation during the visit
    waits_for_all: bool = False  # the person stays until everything plays
    stays_in_package: bool = True  # the person checks what should play, not the whole list
    ring_can_be_mended: bool = False
    crank_likely: float = 0.15
    steady_fault: str | None = None  # a cause that holds from the first row to the last
    events: list[tuple[float, Callable[[World], None]]] = field(default_factory=list)
    duration_s: float = 2400.0
    reason: str = "complaint"
    customer_words: str = ""
    second_visit_after_s: float | None = None
    adaptor: str = "none"
    dual_lead: bool = False
    second_hand: bool = False
    has_lineup_file: bool = True

    def entitled(self) -> list[int]:
        """Channels of the package that a live account would give this receiver."""
        return [c.number for c in self.lineup if self.package in c.packages and not c.is_open and c.shown]
