"""Scenarios whose cause lies in antenna, lead, feed, supply, ring, configuration or receiver."""

from __future__ import annotations

from dataclasses import replace
from random import Random

from satdiag.simulate.base import healthy, in_service, new_or_old, newly_fitted, out_of_date
from satdiag.simulate.feed import BiasLoad
from satdiag.simulate.radio import FrontEnd, Lead
from satdiag.simulate.setup import Setup

NO_SIGNAL = "customer: no satellite channel plays anywhere"
PATCHY = "customer: it cuts out all the time"
NO_SOURCE = "customer: there is no satellite entry on the screen"


def antenna_open(rng: Random) -> Setup:
    """The lead or the element unit is open: the amplifier has no supply, the signal only leaks across."""
    setup = new_or_old(healthy(rng, "antenna-open"), NO_SIGNAL, rng)
    setup.dc_fault_in = rng.choice(("lead", "unit"))
    setup.rf_open_db = rng.uniform(22, 35) if setup.dc_fault_in == "lead" else rng.uniform(8, 15)
    leak = 10 ** rng.uniform(3.6, 6.0)  # a dry break to a damp connector
    setup.bias_load = replace(setup.bias_load, kind="open", leak_ohm=leak)
    setup.steady_fault = "antenna-open"
    return out_of_date(setup, rng)


def antenna_short(rng: Random) -> Setup:
    """Centre conductor to screen: the feed runs into its limit and the amplifier is dark."""
    setup = new_or_old(healthy(rng, "antenna-short"), NO_SIGNAL, rng)
    setup.dc_fault_in = rng.choice(("lead", "unit"))
    setup.rf_open_db = rng.uniform(15, 30)
    setup.bias_load = replace(setup.bias_load, kind="short", short_ohm=rng.uniform(0.2, 3.0))
    setup.steady_fault = "antenna-short"
    return out_of_date(setup, rng)


def antenna_weak(rng: Random) -> Setup:
    """Element corroded ahead of the amplifier, or the amplifier's first stage is worn out."""
    setup = new_or_old(healthy(rng, "antenna-weak"), PATCHY, rng)
    if rng.random() < 0.8:  # out of town: a strong repeater would hide the weakness
        setup.places = {name: replace(place, repeater_dbhz=None) for name, place in setup.places.items()}
    if rng.random() < 0.55:
        loss = rng.uniform(8.5, 13)
        setup.antenna = replace(setup.antenna, element_loss_db=loss, repeater_gain_db=-loss)
    else:
        ratio = rng.uniform(0.2, 0.6)  # the stage that died no longer draws its current
        setup.antenna = replace(
            setup.antenna,
            amplifier_gain_db=rng.uniform(4, 10),
            amplifier_noise_db=rng.uniform(8, 11),
            amplifier_ma=ratio * setup.antenna.amplifier_ma,
        )
        setup.bias_load = replace(setup.bias_load, amplifier_ma=setup.antenna.amplifier_ma)
    setup.steady_fault = "antenna-weak"
    return out_of_date(setup, rng)


def feed_swapped(rng: Random) -> Setup:
    """On the wrong conductor of a dual lead, or on another service's lead."""
    setup = new_or_old(healthy(rng, "feed-swapped"), NO_SIGNAL, rng, old_share=0.25)
    setup.steady_fault = "feed-swapped"
    kind = rng.choices(("crossed", "adaptor", "other-service"), (0.4, 0.4, 0.2))[0]
    terrestrial = BiasLoad(amplifier_ma=rng.uniform(17, 28))  # one stage only
    setup.dual_lead = kind != "other-service" or rng.random() < 0.3
    if kind == "other-service":
        setup.lead = replace(setup.lead, conductor="other-service")
        setup.bias_load = BiasLoad(amplifier_ma=rng.uniform(8, 25))  # a navigation antenna's amplifier
        setup.adaptor = "unknown" if not setup.dual_lead else "satellite-only"
        return setup
    setup.lead = replace(setup.lead, conductor="terrestrial-only")
    setup.other_load, setup.bias_load = setup.bias_load, terrestrial
    setup.adaptor = "none" if kind == "crossed" else "satellite-only"
    if kind == "crossed":  # the terrestrial input now hears through the satellite patch, poor at the horizon
        setup.antenna = replace(setup.antenna, repeater_gain_db=-12.0)
    return setup


def feed_lossy(rng: Random) -> Setup:
    """A corroded connector that takes 25 dB and more, or a fretting contact that opens and closes."""
    setup = new_or_old(healthy(rng, "feed-lossy"), PATCHY, rng)
    setup.steady_fault, setup.dc_fault_in = "feed-lossy", "lead"
    if rng.random() < 0.5:
        setup.lead = replace(setup.lead, loose=True, fault_loss_db=rng.uniform(4, 14))
        setup.bias_load = replace(setup.bias_load, contact_ohm=rng.uniform(1, 8))
    else:
        setup.lead = replace(setup.lead, fault_loss_db=rng.uniform(24, 31))
        setup.bias_load = replace(setup.bias_load, contact_ohm=rng.uniform(4, 22))
    return out_of_date(setup, rng)


def supply_dropout(rng: Random) -> Setup:
    """A loose fuse tap or earth: the supply falls away for a moment, the receiver restarts."""
    setup = new_or_old(healthy(rng, "supply-dropout"), "customer: it goes silent and comes back by itself", rng)
    setup.supply.bad_contact_per_h = rng.uniform(14, 40)
    setup.steady_fault, setup.crank_likely = "supply-dropout", 0.25
    return setup


def ring_broken(rng: Random) -> Setup:
    """The ring breaks while the person works, is found and closed again."""
    setup = healthy(rng, "ring-broken")
    setup = newly_fitted(setup) if rng.random() < 0.6 else in_service(setup, "", rng)
    node = rng.choice(("receiver", "changer", "amplifier", "telephone"))
    setup.events = [(rng.uniform(9, 20) * 60, lambda world: world.break_ring(node))]
    setup.ring_can_be_mended = True
    setup.duration_s = rng.uniform(45, 70) * 60
    return setup


def ring_broken_open(rng: Random) -> Setup:
    """The ring is open at the end, from the first minute or from midway."""
    setup = new_or_old(healthy(rng, "ring-broken-open"), "customer: nothing plays, no satellite, no discs", rng)
    node = rng.choice(("receiver", "changer", "amplifier", "telephone"))
    when = 0.0 if rng.random() < 0.5 else rng.uniform(9, 18) * 60
    setup.events = [(when, lambda world: world.break_ring(node))]
    return setup


def ring_order(rng: Random) -> Setup:
    """One loop with nodes in the wrong places, or two plugs exchanged so that a node has a loop of its own."""
    setup = new_or_old(healthy(rng, "ring-order"), NO_SOURCE, rng, old_share=0.3)
    setup.steady_fault = "ring-order"
    if rng.random() < 0.6:
        order = setup.ring.order[1:]
        while order.index("receiver") == setup.ring.expected.index("receiver") - 1:
            rng.shuffle(order)
        setup.ring.order = ["head-unit", *order]
    else:
        setup.ring.outside = {rng.choice(("amplifier", "telephone"))}
    return setup


def node_unpowered(rng: Random) -> Setup:
    """The receiver's supply is missing; its optical part alone still passes the light."""
    setup = new_or_old(healthy(rng, "node-unpowered"), NO_SOURCE, rng, old_share=0.4)
    setup.supply.cut, setup.receiver_powered = True, False
    setup.ring.silent = {"receiver"}
    setup.steady_fault = "node-unpowered"
    return setup


def not_configured(rng: Random) -> Setup:
    """Everything fitted, but the vehicle's stored equipment does not hold the receiver."""
    setup = newly_fitted(healthy(rng, "not-configured"))
    setup.activates = rng.random() < 0.5
    setup.configured, setup.steady_fault = False, "not-configured"
    return setup


def audio_path(rng: Random) -> Setup:
    """Received and authorised, but the audio module does not have the receiver as a source."""
    setup = in_service(healthy(rng, "audio-path"), "customer: the list is there, titles too, but no sound", rng)
    setup.audio_module_set, setup.steady_fault = False, "audio-path"
    return out_of_date(setup, rng)


def receiver_defective(rng: Random) -> Setup:
    """The input stage is dead; antenna, lead and feed are good."""
    setup = new_or_old(healthy(rng, "receiver-defective"), NO_SIGNAL, rng)
    setup.front_end = FrontEnd(noise_db=setup.front_end.noise_db, dead_loss_db=rng.uniform(38, 55))
    setup.steady_fault = "receiver-defective"
    return out_of_date(setup, rng)


def feed_absent(rng: Random) -> Setup:
    """The receiver puts no voltage on the lead."""
    setup = new_or_old(healthy(rng, "feed-absent"), NO_SIGNAL, rng)
    setup.bias_source = replace(setup.bias_source, volts=rng.uniform(0.0, 0.15))
    setup.lead = Lead(loss_db=setup.lead.loss_db)
    setup.steady_fault = "feed-absent"
    return out_of_date(setup, rng)
