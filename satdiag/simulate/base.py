"""A healthy installation at an ordinary place: what every scenario starts from."""

from __future__ import annotations

from dataclasses import replace
from random import Random

from satdiag.simulate.feed import BiasLoad, BiasSource
from satdiag.simulate.lineup import age, make_lineup
from satdiag.simulate.places import Place, Wall, make_site, neighbour, open_place, repeater_level
from satdiag.simulate.radio import Antenna, FrontEnd, Lead
from satdiag.simulate.service import Provider
from satdiag.simulate.setup import Setup
from satdiag.simulate.supply import Supply

SITE_NAMES = ("yard", "street", "forecourt", "car-park", "depot")


def street_place(rng: Random, site: str, repeater: float | None) -> Place:
    """A street of low houses: the skyline stays well under both satellites."""
    walls = tuple(
        Wall(start, start + 70.0, rng.uniform(25, 40), rng.uniform(4, 8), "houses") for start in (60.0, 230.0)
    )
    return Place("street", site, "street", sky_k=130.0, walls=walls, sway_db=0.9, repeater_dbhz=repeater)


def healthy(rng: Random, scenario: str) -> Setup:
    """Draw a healthy world. Spreads are those of ordinary parts; each scenario then changes causes."""
    names = rng.sample(SITE_NAMES, 2)
    site = make_site(rng, names[0])
    repeater = repeater_level(rng)
    start = open_place(rng, site.name, "start", repeater)
    if rng.random() < 0.2:
        start = replace(street_place(rng, site.name, repeater), name="start")
    sites, places = [site], {"start": start}
    if rng.random() < 0.75:
        other = neighbour(site, rng, names[1], rng.uniform(0.4, 2.5))
        sites.append(other)
        places["elsewhere"] = open_place(rng, other.name, "elsewhere", repeater)
    lineup = make_lineup(rng, rng.randint(24, 56))
    amplifier_ma = rng.uniform(26, 62)
    return Setup(
        scenario=scenario,
        sites=sites,
        places=places,
        start="start",
        lineup=lineup,
        package=rng.choice(("music", "all")),
        antenna=Antenna(
            peak_gain_dbic=rng.uniform(2.8, 4.0),
            amplifier_gain_db=rng.uniform(25, 31),
            amplifier_noise_db=rng.uniform(0.7, 1.2),
            amplifier_ma=amplifier_ma,
            ripple_db=(rng.gauss(0, 0.5), rng.gauss(0, 0.5)),
        ),
        lead=Lead(loss_db=rng.uniform(4.0, 8.0)),
        front_end=FrontEnd(noise_db=rng.uniform(4.5, 7.5)),
        bias_source=BiasSource(
            volts=rng.uniform(4.92, 5.08), series_ohm=rng.uniform(4, 10), limit_ma=rng.uniform(160, 220)
        ),
        bias_load=BiasLoad(amplifier_ma=amplifier_ma),
        supply=Supply(
            source=rng.choices(("battery", "charger", "engine"), (0.4, 0.4, 0.2))[0], rest_v=rng.uniform(12.2, 12.75)
        ),
        provider=draw_provider(rng),
        duration_s=rng.uniform(22, 50) * 60,
        second_hand=rng.random() < 0.4,
    )


def draw_provider(rng: Random) -> Provider:
    """An ordinary provider: minutes to confirm, minutes to the first message, a fast repetition of some minutes."""
    return Provider(
        answer_delay_s=rng.uniform(60, 360),
        first_air_delay_s=rng.uniform(20, 200),
        fast_period_s=rng.uniform(180, 420),
        slow_period_s=rng.uniform(1800, 3600),
        blocks_per_message=rng.randint(8, 20),
        block_loss_floor=rng.uniform(0.01, 0.035),
        channels_per_group=(1, rng.choice((1, 3, 5, 8))),
    )


def newly_fitted(setup: Setup) -> Setup:
    """The receiver has just been fitted and is activated during the visit."""
    setup.reason, setup.activates = "just-installed", True
    return setup


def in_service(setup: Setup, words: str, rng: Random) -> Setup:
    """The receiver has played before; a customer brings a complaint in these words."""
    setup.activated_before, setup.account_state = True, "confirmed"
    setup.customer_words = words
    setup.reason = "complaint" if rng.random() < 0.85 else rng.choice(("check", "unknown"))
    return setup


def new_or_old(setup: Setup, words: str, rng: Random, old_share: float = 0.6) -> Setup:
    """Either of the two."""
    return in_service(setup, words, rng) if rng.random() < old_share else newly_fitted(setup)


def out_of_date(setup: Setup, rng: Random) -> Setup:
    """The line-up file may be a little old."""
    if rng.random() < 0.15:
        setup.lineup = age(rng, setup.lineup)
    return setup
