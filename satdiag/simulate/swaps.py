"""Substitution tests: what the levels would be with a known-good part in place."""

from __future__ import annotations

from satdiag.simulate.feed import BiasLoad, BiasSource, solve
from satdiag.simulate.places import Place
from satdiag.simulate.radio import Chain, FrontEnd, Lead
from satdiag.simulate.world import World


def _score(world: World, chain: Chain, place: Place) -> float:
    """What an eye on the level readouts adds up to: usable level over the paths [dB], saturating."""
    total = 0.0
    looks = world.looks(place)
    for which, level in enumerate(world.path_levels_db(chain, place)):
        loss = place.standing_loss_db(which, looks[which]) if which < 2 else place.roof_repeater_db
        total += max(0.0, min(14.0, level - loss))
    return total


def with_part(world: World, what: str, own_lead: bool) -> Chain:
    """The chain with a part replaced, its feed worked out again."""
    setup = world.setup
    source, load, chain, rf_open_db = setup.bias_source, setup.bias_load, world.chain(), setup.rf_open_db
    new_antenna, new_lead = what == "antenna", what == "lead" or (what == "antenna" and own_lead)
    if new_antenna:
        chain = chain.healthy("antenna")
    if new_lead:
        chain = Chain(chain.antenna, Lead(), chain.front_end, True)
    if what == "receiver":
        chain = Chain(chain.antenna, chain.lead, FrontEnd(), True, rf_open_db)
        source = BiasSource()
    if (new_antenna and setup.dc_fault_in == "unit") or (new_lead and setup.dc_fault_in == "lead"):
        load, rf_open_db = BiasLoad(), 0.0
    if new_lead or new_antenna:
        load = BiasLoad() if load.kind == "amplifier" else load
    # A loose contact is judged over a minute, not in one instant: half of it is bad.
    if world.lead.loose and not new_lead:
        rf_open_db += 7.0
    point = solve(source, load)
    return Chain(chain.antenna, chain.lead, chain.front_end, point.amplifier_on, rf_open_db)


def compare(world: World, what: str, own_lead: bool) -> str:
    """better, same or worse, as a person reading the levels would say."""
    setup = world.setup
    if not world.powered:
        return "same"
    point = solve(setup.bias_source, setup.bias_load)
    open_db = setup.rf_open_db + (7.0 if world.lead.loose else 0.0)
    now = Chain(setup.antenna, world.lead, setup.front_end, point.amplifier_on, open_db)
    step = _score(world, with_part(world, what, own_lead), world.place) - _score(world, now, world.place)
    if step > 3.0:
        return "better"
    return "worse" if step < -3.0 else "same"
