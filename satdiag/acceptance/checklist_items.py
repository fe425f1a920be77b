"""The items of the checklist: what to check, why, how, with what care, and which judgement reads the log for it.

Everything here is common practice, without a source, but for the supply codes (ISO 16750-2) and the bend radii (data
sheets of fibres). The ten questions lead from the ring to the account, so that the account is blamed last.
"""

from __future__ import annotations

from typing import NamedTuple

from satdiag.acceptance import checklist_air as air
from satdiag.acceptance import checklist_feed as feed
from satdiag.acceptance import checklist_plugs as documents
from satdiag.acceptance import checklist_wiring as wiring
from satdiag.acceptance.checklist_signs import Judge, by_hand
from satdiag.language import mark, translated


class Step(NamedTuple):
    """One item before it is judged, its texts as they were marked. question: its place among the ten, or None."""

    key: str
    title: str
    why: str
    how: str
    judge: Judge
    question: int | None = None
    care: tuple[str, ...] = ()

    @property
    def caution(self) -> str:
        """With what care, in the language in use."""
        return " ".join(map(translated, self.care))


MANUAL = mark("Local codes and the vehicle's manual come first.")
AIRBAG = mark(
    "Airbag and belt-tensioner wiring is often yellow: do not probe, pierce or unplug it, and run nothing across it. "
    "Follow the vehicle's manual to make it safe, and wait as long as it says."
)
EXHAUST = mark(
    "Never run the engine in a garage or any closed room, door open or not: exhaust gas kills. Work outdoors, or on "
    "a charger made for this battery, in a ventilated place."
)
COAX = mark(
    "Receiver off before you plug or unplug the lead. Never bring 12 V to its centre conductor: the feed is a few "
    "volts, and the connector is made for 1 A at most."
)
SWEEP = mark(
    "Receiver off and unplugged: never connect the analyser to a lead that carries the feed; in doubt put a DC block "
    "before it."
)
FIBRE = mark(
    "Do not look into a fibre or its socket. Let the ring fall asleep before you move a plug; cap open ends, touch "
    "no end face, and do not cut or splice a fibre by hand."
)
DRIVING = mark("Not while driving: let a passenger do it, or let the recorder run and read it when parked.")

INSTALL = (
    Step(
        "battery",
        mark("Battery fit for the wait"),
        mark("A vehicle awake with the engine off takes about a tenth of its battery an hour."),
        mark("Read the supply at the receiver: 12.2 V or more, or put a charger on. satdiag battery reckons it."),
        wiring.battery,
        care=(EXHAUST,),
    ),
    Step(
        "disconnect",
        mark("Battery disconnected, and connected again, by the book"),
        mark("Work on supply wires wants the battery off, and some units forget their settings with it."),
        mark(
            "Note codes and settings first; ignition off, wait for the bus to sleep; negative off first and on last."
        ),
        by_hand,
        care=(mark("Expect windows, clock and steering to be taught again."), MANUAL),
    ),
    Step(
        "safety-wiring",
        mark("Clear of airbag wiring"),
        mark("The lead runs along roof frame, pillars and seats, where that wiring runs too."),
        mark("Look along the whole run; tie the lead to nothing that is yellow, and across no airbag."),
        by_hand,
        care=(AIRBAG, MANUAL),
    ),
    Step(
        "tap",
        mark("Supply taken with its own fuse, and a sound earth"),
        mark("A loose tap or earth is the commonest cause of restarts."),
        mark(
            "Fuse within 15 cm of the source, smaller than wire and slot allow; earth at a body point; pull at both."
        ),
        by_hand,
        care=(
            mark("Take nothing from circuits of airbags, brakes, engine or lights, and never feed back."),
            MANUAL,
        ),
    ),
    Step(
        "supply",
        mark("Supply within its limits"),
        mark("A receiver must work fully only inside its supply code (ISO 16750-2; code C: 9 V to 16 V)."),
        mark("Note readings, and the lowest value of a meter that holds it, over a start of the engine."),
        wiring.supply,
        care=(EXHAUST,),
    ),
    Step(
        "restarts",
        mark("No unexpected restart"),
        mark("A restart loses the signal for half a minute, and points to the supply."),
        mark("Leave it awake, and note each restart."),
        wiring.no_restarts,
    ),
    Step(
        "number",
        mark("Receiver's number noted"),
        mark("The account is made for this number and no other."),
        mark("Copy it from the label before it is out of sight, into job.toml."),
        wiring.number_noted,
    ),
)

RING = (
    Step(
        "other-sources",
        mark("The ring's other sources play"),
        mark("An open ring silences all of them; if they play, the ring is whole as far as they go."),
        mark("Play one other source of the ring, and note whether it works."),
        wiring.other_sources,
        question=1,
    ),
    Step(
        "ring-closed",
        mark("Ring closed"),
        mark("Light must come round to where it started."),
        mark("Read it from the head unit's or a tester's page; a channel that is heard shows it too."),
        wiring.ring_closed,
    ),
    Step(
        "receiver-answers",
        mark("Receiver answers on the ring"),
        mark("Silent while others answer: no supply, a plug in the wrong place, or light that does not reach it."),
        mark("Read the list of units."),
        wiring.receiver_answers,
    ),
    Step(
        "other-nodes",
        mark("Every other unit answers"),
        mark("Two swapped plugs make two rings, and the units of one of them are lost."),
        mark("Read the list of units, and note each."),
        wiring.other_nodes,
    ),
    Step(
        "plugs",
        mark("Plugs as wanted"),
        mark("A plug in the wrong place makes a second ring, another order, or leaves the ring open."),
        mark("Look at each block, write its plugs into ring.toml, and run satdiag ring check."),
        documents.plugs,
        care=(FIBRE,),
    ),
    Step(
        "break-test",
        mark("Place of the break found"),
        mark("Units count on from the break, so that their positions point to it."),
        mark("Run the ring-break test, and note the position that each unit reports."),
        documents.break_test,
        care=(FIBRE,),
    ),
    Step(
        "fibres",
        mark("Fibres whole and clean"),
        mark("Dirt, a tight bend or a half-seated plug takes light before it takes the ring down."),
        mark("Bends of 25 mm radius or more, never under 15 mm; plugs seated; spare ends capped."),
        by_hand,
        care=(FIBRE,),
    ),
)

CONFIGURATION = (
    Step(
        "listed",
        mark("Source offered in the menu"),
        mark("Not offered while the receiver answers: the vehicle's stored equipment does not hold it."),
        mark("Open the menu of sources."),
        wiring.source_listed,
        question=2,
    ),
    Step(
        "readback",
        mark("Stored equipment read back"),
        mark("A change that was not taken over looks like a fault of the receiver."),
        mark("Read the stored equipment back, and compare."),
        wiring.readback,
    ),
    Step(
        "readback-units",
        mark("Every unit's own record agrees"),
        mark("Head unit, amplifier and others may each hold a record of their own."),
        mark("Read each back."),
        wiring.readback_parts,
    ),
    Step(
        "channels-listed",
        mark("Channels in the list"),
        mark("An empty or short list points to configuration, or to a list still coming in."),
        mark("Scroll through the list, and note channels that are not there."),
        wiring.channels_listed,
    ),
    Step(
        "sound",
        mark("Sound comes through"),
        mark("Received and authorised, and yet silent: the way of the sound is not set up."),
        mark("Tune to a channel that is authorised, volume up, and note what is heard."),
        wiring.sound,
    ),
    Step(
        "after-sleep",
        mark("Still there after sleep"),
        mark("What was stored for a moment only is gone when the vehicle wakes again."),
        mark("Ignition off until the vehicle sleeps, on again, and look at the menu."),
        wiring.survives_sleep,
    ),
)

FEED = (
    Step(
        "lead",
        mark("Kind of lead known"),
        mark("A dual lead has a conductor for satellites and one for repeaters; the wrong one receives half."),
        mark("Trace the lead to the antenna. Letter and colour of a connector are a weak hint only."),
        feed.lead_kind,
        care=(AIRBAG,),
    ),
    Step(
        "adaptor",
        mark("Adaptor fits"),
        mark("A combiner must pass the feed to each amplifier once; the wrong part shorts it or starves one."),
        mark("Compare lead, adaptor and receiver."),
        feed.adaptor,
    ),
    Step(
        "sweep",
        mark("Lead whole to the antenna"),
        mark("The wave comes back from where a lead ends, and from a bad joint, so that their places show."),
        mark("Sweep the lead from the receiver's end, and put the file into the job as feedline.s1p."),
        documents.sweep,
        care=(SWEEP,),
    ),
    Step(
        "bias",
        mark("Feed to the antenna normal"),
        mark("Voltage and current tell an open lead, a short and a missing feed apart."),
        mark("Read both at the receiver's end, with the antenna plugged in."),
        feed.bias,
        question=3,
        care=(COAX,),
    ),
    Step(
        "noise-rise",
        mark("Noise rises with the feed"),
        mark("The amplifier's own noise shows that it works and that the lead passes it on."),
        mark("Read the noise with the feed off and on, three times each, where the receiver shows it."),
        feed.noise_rise,
        question=4,
    ),
    Step(
        "signal-passes",
        mark("A signal comes through"),
        mark("Any lock shows that antenna, amplifier, lead and receiver pass something."),
        mark("Read the lock under open sky."),
        feed.something_received,
    ),
    Step(
        "substitute",
        mark("Fitted parts as good as a substitute"),
        mark("A known-good antenna or lead in place of the fitted one tells whose fault it is."),
        mark("Plug it in at the receiver, same place, same time, and note better, same or worse."),
        feed.substitution,
        care=(COAX,),
    ),
)

RECEPTION = (
    Step(
        "open-sky",
        mark("Under open sky"),
        mark("Under a roof or trees nothing can be proved of the antenna."),
        mark("Drive out, and note what the sky looks like."),
        air.open_sky,
        care=(EXHAUST,),
    ),
    Step(
        "satellites",
        mark("Satellites received"),
        mark("They reach everywhere that has a clear view of them."),
        mark("Read each satellite's level outdoors. satdiag sky says where they stand."),
        air.satellites,
        question=5,
    ),
    Step(
        "repeater",
        mark("Repeater received, if one is near"),
        mark("Satellites gone and a repeater strong: the lead may be on the wrong conductor."),
        mark("Read its level in a town."),
        air.repeater,
        question=5,
    ),
    Step(
        "lock",
        mark("Lock held for five minutes"),
        mark("A lock that comes and goes points to a poor contact, trees or another emission."),
        mark("Note the lock every minute or so while parked."),
        air.lock_held,
        question=6,
    ),
    Step(
        "open-channel",
        mark("Preview or open channel heard"),
        mark(
            "It plays without an account: heard, it proves antenna, lead, receiver, ring and configuration at that "
            "moment. What is left is the account."
        ),
        mark("Tune to it, and note that it is heard."),
        air.open_channel,
        question=7,
    ),
    Step(
        "changes",
        mark("Channel changes in time"),
        mark("Slow changes show lost blocks before the sound breaks."),
        mark("Time three changes or more."),
        air.channel_changes,
        care=(DRIVING,),
    ),
)

ACTIVATION = (
    Step(
        "identity",
        mark("Number the same on label, screen and account"),
        mark("One wrong digit activates somebody else's receiver."),
        mark("Compare digit by digit with the provider's record."),
        air.identity,
        question=8,
    ),
    Step(
        "account",
        mark("Account confirmed"),
        mark("Nothing is sent before the provider says so."),
        mark("Ask the provider, and note when it was confirmed."),
        air.confirmed,
    ),
    Step(
        "second-hand",
        mark("Earlier account ended"),
        mark("A second-hand receiver may still stand in somebody else's account."),
        mark("Ask the provider."),
        air.second_hand,
    ),
    Step(
        "package",
        mark("Channels fit the package"),
        mark("Channels outside the package are refused by right."),
        mark("Name the package in job.toml, and check channels of each category."),
        air.package,
        question=9,
    ),
    Step(
        "refresh",
        mark("Listened since the message was sent"),
        mark("Authorisations reach a receiver only while it is awake and receives."),
        mark("Awake, outdoors, lock held, 15 minutes or more after the last sending; else ask for a resend."),
        air.listened,
        question=10,
        care=(EXHAUST,),
    ),
    Step(
        "activated",
        mark("Activated"),
        mark("Channels that begin to play after the confirmation are the proof."),
        mark("Check channels one by one; satdiag confirm says when it is enough."),
        air.activated,
    ),
    Step(
        "all-here",
        mark("Every expected channel plays"),
        mark("The last ones may come long after the first."),
        mark("Check the list again after the wait that satdiag analyse names."),
        air.all_here,
    ),
)

SECTIONS: tuple[tuple[str, str, tuple[Step, ...]], ...] = (
    ("install", mark("Installation and supply"), INSTALL),
    ("ring", mark("Optical ring"), RING),
    ("configuration", mark("Configuration"), CONFIGURATION),
    ("feed", mark("Antenna and feed"), FEED),
    ("reception", mark("Reception"), RECEPTION),
    ("activation", mark("Activation"), ACTIVATION),
)
