"""From a plan to a vehicle: healthy parts of ordinary spread, the account, and when which cause begins and ceases."""

from __future__ import annotations

from dataclasses import dataclass, replace
from random import Random

from satdiag.simulate.base import draw_provider
from satdiag.simulate.feed import BiasLoad, BiasSource
from satdiag.simulate.lineup import age, make_lineup
from satdiag.simulate.radio import Antenna, FrontEnd, Lead
from satdiag.simulate.service import Carousel
from satdiag.simulate.setup import Channel, Setup
from satdiag.simulate.supply import Supply
from satdiag.simulate.worlds.causes import CHANGES, Cause, draw_cause
from satdiag.simulate.worlds.living import LivingWorld, at
from satdiag.simulate.worlds.plan import AT_A_PLACE, OF_THE_ACCOUNT, Plan, Trouble
from satdiag.simulate.worlds.surroundings import draw_places

WORDS = {
    "nothing": ("no satellite channel plays anywhere", "it does not work since it was fitted"),
    "patchy": ("it cuts out all the time", "drop-outs on the way to work"),
    "no-source": ("there is no satellite entry on the screen",),
    "refused": ("only a notice on most channels", "it used to play, now the channels are locked"),
    "silent": ("the list is there, but no sound",),
    "some": ("the sport and talk channels are locked", "one channel is gone"),
    "vague": ("please have a look at the satellite radio",),
}
ONE_OF_THE_WORDS = {
    "antenna-open": "nothing", "antenna-short": "nothing", "antenna-weak": "patchy", "feed-swapped": "nothing",
    "feed-lossy": "patchy", "supply-dropout": "patchy", "ring-broken": "no-source", "ring-order": "no-source",
    "node-unpowered": "no-source", "not-configured": "no-source", "audio-path": "silent", "not-activated": "refused",
    "account-lapsed": "refused", "id-mismatch": "refused", "entitlement-not-received": "refused",
    "partial-package": "some", "indoors": "nothing", "obstructed": "patchy", "foliage": "patchy",
    "out-of-coverage": "nothing", "receiver-defective": "nothing", "feed-absent": "nothing", "interference": "patchy",
}  # fmt: skip
OTHER_WORDS = {
    "head-unit-hangs": "silent", "speakers-dead": "silent", "service-down": "nothing", "channel-moved": "some",
}  # fmt: skip


@dataclass
class Vehicle:
    """A world before its first second, and the file the person has as a line-up."""

    world: LivingWorld
    lineup_file: list[Channel]
    started_before: bool


def build(rng: Random, plan: Plan, duration_s: float) -> Vehicle:
    """The world of a plan."""
    sites, places, drives = draw_places(rng, plan)
    trouble_there = next((one for one in plan.troubles if one.fault in AT_A_PLACE), None)
    start = "bad" if trouble_there and trouble_there.when != "began" else "good"
    lineup = make_lineup(rng, rng.randint(22, 56))
    listed_file = list(lineup)
    if plan.other == "channel-moved":
        gone = {one.number for one in rng.sample(lineup, rng.randint(4, 8))}
        lineup = [replace(one, shown=one.is_open or one.number not in gone) for one in lineup]
    elif rng.random() < 0.12:
        lineup = listed_file = age(rng, lineup)
    setup = _parts(rng, plan, duration_s)
    setup.sites, setup.places, setup.start, setup.lineup = sites, places, start, lineup
    _account(rng, plan, setup)
    if "partial-package" in plan.names:
        setup.package, setup.stays_in_package = "music", False
    if plan.reason == "complaint" or (plan.reason == "unknown" and rng.random() < 0.5):
        first = OTHER_WORDS.get(plan.other, "vague")
        if plan.names:
            first = ONE_OF_THE_WORDS[plan.names[0]]
        key = first if rng.random() < 0.8 else "vague"
        setup.customer_words = "customer: " + rng.choice(WORDS[key])
    world = LivingWorld(setup, rng, plan.other, drives)
    _authorise_before(rng, plan, world)
    for trouble in plan.troubles:
        _set_going(rng, plan, world, trouble, duration_s)
    return Vehicle(world, listed_file, setup.activated_before)


def _parts(rng: Random, plan: Plan, duration_s: float) -> Setup:
    amplifier_ma = rng.uniform(22, 66)
    setup = Setup(
        scenario="world",
        sites=[],
        places={},
        start="good",
        lineup=[],
        package=rng.choice(("music", "all", "all")),
        antenna=Antenna(
            peak_gain_dbic=rng.uniform(2.6, 4.2),
            amplifier_gain_db=rng.uniform(24, 32),
            amplifier_noise_db=rng.uniform(0.7, 1.3),
            amplifier_ma=amplifier_ma,
            ripple_db=(rng.gauss(0, 0.6), rng.gauss(0, 0.6)),
        ),
        lead=Lead(loss_db=rng.uniform(3.5, 8.5)),
        front_end=FrontEnd(noise_db=rng.uniform(4.5, 7.5)),
        bias_source=BiasSource(rng.uniform(4.9, 5.1), rng.uniform(4, 12), rng.uniform(150, 230)),
        bias_load=BiasLoad(amplifier_ma=amplifier_ma),
        supply=Supply(
            source=rng.choices(("battery", "charger", "engine"), (0.4, 0.35, 0.25))[0],
            rest_v=rng.uniform(12.0, 12.75),
        ),
        provider=draw_provider(rng),
        duration_s=duration_s,
        reason=plan.reason,
        second_hand=plan.second_hand,
        dual_lead=plan.dual_lead,
    )
    if plan.dual_lead:
        setup.adaptor = rng.choice(("none", "combiner", "satellite-only"))
        setup.other_load = BiasLoad(amplifier_ma=rng.uniform(16, 30))
    if "indoors" in plan.names:
        setup.supply.source = rng.choice(("battery", "charger"))
        setup.crank_likely = 0.0
    if plan.moving:
        setup.supply.source, setup.crank_likely = "engine", 0.0
    return setup


# ---- the account ----


def _account(rng: Random, plan: Plan, setup: Setup) -> None:
    """How the account stands when the person comes."""
    wrong = next((one for one in plan.troubles if one.fault in OF_THE_ACCOUNT), None)
    fresh = plan.reason == "just-installed" or rng.random() < 0.1
    setup.activated_before = not fresh or (not plan.filling and rng.random() < 0.5)
    setup.account_state = "confirmed"
    setup.confirmed_before_s = rng.uniform(0.1, 3.0) * 86400 if fresh else None
    if plan.filling or (fresh and wrong is None and not setup.activated_before):
        setup.activates, setup.account_state, setup.confirmed_before_s = True, "none", None
        setup.activated_before = False
        setup.provider = replace(
            setup.provider, answer_delay_s=rng.uniform(40, 240), fast_period_s=rng.uniform(240, 900),
            channels_per_group=(1, rng.choice((1, 2, 3, 5))),
        )  # fmt: skip
    if wrong is None:
        return
    if wrong.when == "began":  # it played until a moment ago
        setup.activated_before, setup.activates, setup.account_state = True, False, "confirmed"
        return
    setup.activated_before, setup.activates = False, False
    if wrong.fault == "not-activated":
        setup.account_state = draw_cause(rng, "not-activated", wrong.severity, plan.kinds_seed).kind
        setup.confirmed_before_s = None
    elif wrong.fault == "account-lapsed":
        setup.account_state, setup.confirmed_before_s = "lapsed", None
    elif wrong.fault == "id-mismatch":
        setup.provider, setup.identifier_ok = replace(setup.provider, addressed_to_us=False), False
        setup.activates = fresh and rng.random() < 0.5
    else:
        setup.provider = replace(setup.provider, broadcast=False)
        setup.activates = fresh and rng.random() < 0.5
    if setup.activates:
        setup.account_state, setup.confirmed_before_s = "none", None


def _authorise_before(rng: Random, plan: Plan, world: LivingWorld) -> None:
    """A fault of reception that was there before the visit kept the messages out."""
    setup = world.setup
    if not setup.activated_before or plan.reason != "just-installed":
        return
    if any(trouble.when == "steady" for trouble in plan.troubles if trouble.fault not in ("partial-package",)):
        kept = rng.random() < 0.25  # fitted in another vehicle, or the fault came after
        if not kept:
            world.authorised.clear()
            start_carousel(world, 0.0)


def start_carousel(world: LivingWorld, delay_s: float) -> None:
    """Messages for this receiver go on the air."""
    world.carousel = Carousel(world.setup.provider, world.setup.entitled(), world.now_s + delay_s, world.rng)


# ---- when what begins and ceases ----


def _set_going(rng: Random, plan: Plan, world: LivingWorld, trouble: Trouble, duration_s: float) -> None:
    when_s = rng.uniform(0.25, 0.65) * duration_s
    if trouble.fault in AT_A_PLACE:
        _at_place(rng, world, trouble, when_s)
    elif trouble.fault in CHANGES:
        _on_vehicle(rng, plan, world, trouble, when_s, duration_s)
    elif trouble.fault == "partial-package":
        world.begin("partial-package")
    else:
        _with_account(world, trouble, when_s, rng)


def _at_place(rng: Random, world: LivingWorld, trouble: Trouble, when_s: float) -> None:
    if trouble.when == "steady":
        return
    target = "bad" if trouble.when == "began" else "elsewhere"

    def go(living: LivingWorld) -> None:
        living.home = target
        living.move(target)

    world.events.append(at(when_s, go))
    world.events.sort(key=lambda event: event[0])


def _on_vehicle(
    rng: Random, plan: Plan, world: LivingWorld, trouble: Trouble, when_s: float, duration_s: float
) -> None:
    cause: Cause = draw_cause(rng, trouble.fault, trouble.severity, plan.kinds_seed)
    if trouble.when == "comes-and-goes":
        # A joint that opens only when cold shows at first; the rest turns every few minutes.
        on_s, off_s = rng.uniform(90, 420), rng.uniform(120, 500)
        world.comes_and_goes(cause, rng.random() < 0.7, on_s, off_s)
        return
    if trouble.when == "began":
        world.events.append(at(when_s, lambda living: living.carry(cause)))
    else:
        world.carry(cause)
        if trouble.when == "mended":
            world.events.append(at(when_s, lambda living: living.mend(trouble.fault)))
    world.events.sort(key=lambda event: event[0])


def _with_account(world: LivingWorld, trouble: Trouble, when_s: float, rng: Random) -> None:
    if trouble.when == "began":
        world.events.append(at(when_s, _lapse))
    else:
        world.begin(trouble.fault)
        if trouble.when == "mended":
            world.events.append(at(when_s, lambda living: _put_right(living, trouble.fault)))
    world.events.sort(key=lambda event: event[0])


def _lapse(world: LivingWorld) -> None:
    """The provider ends the account while somebody looks."""
    world.lapse()
    world.begin("account-lapsed")


def _put_right(world: LivingWorld, fault: str) -> None:
    """The provider puts the account right: messages go out."""
    world.end(fault)
    world.setup.provider = replace(world.setup.provider, addressed_to_us=True, broadcast=True, answer="confirmed")
    world.account.provider = world.setup.provider
    world.setup.identifier_ok = True
    world.account.answer_at_s = None
    world.account.state, world.account.confirmed_at_s = "confirmed", world.now_s
    world.account.news.append(
        (world.now_s, "resend-confirmed" if fault == "entitlement-not-received" else "confirmed")
    )
    start_carousel(world, world.setup.provider.first_air_delay_s)
