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


class Step(NamedTuple):
    """One item before it is judged. question: its place among the ten, or None."""

    key: str
    title: str
    why: str
    how: str
    judge: Judge
    question: int | None = None
    caution: str = ""


MANUAL = "Local codes and the vehicle's manual come first."
AIRBAG = (
    "Airbag and belt-tensioner wiring is often yellow: do not probe, pierce or unplug it, and run nothing across it. "
    "Follow the vehicle's manual to make it safe, and wait as long as it says."
)
EXHAUST = (
    "Never run the engine in a garage or any closed room, door open or not: exhaust gas kills. Work outdoors, or on "
    "a charger made for this battery, in a ventilated place."
)
COAX = (
    "Receiver off before you plug or unplug the lead. Never bring 12 V to its centre conductor: the feed is a few "
    "volts, and the connector is made for 1 A at most."
)
SWEEP = (
    "Receiver off and unplugged: never connect the analyser to a lead that carries the feed; in doubt put a DC block "
    "before it."
)
FIBRE = (
    "Do not look into a fibre or its socket. Let the ring fall asleep before you move a plug; cap open ends, touch "
    "no end face, and do not cut or splice a fibre by hand."
)
DRIVING = "Not while driving: let a passenger do it, or let the recorder run and read it when parked."

INSTALL = (
    Step(
        "battery",
        "Battery fit for the wait",
        "A vehicle awake with the engine off takes about a tenth of its battery an hour.",
        "Read the supply at the receiver: 12.2 V or more, or put a charger on. satdiag battery reckons it.",
        wiring.battery,
        caution=EXHAUST,
    ),
    Step(
        "disconnect",
        "Battery disconnected, and connected again, by the book",
        "Work on supply wires wants the battery off, and some units forget their settings with it.",
        "Note codes and settings first; ignition off, wait for the bus to sleep; negative off first and on last.",
        by_hand,
        caution=f"Expect windows, clock and steering to be taught again. {MANUAL}",
    ),
    Step(
        "safety-wiring",
        "Clear of airbag wiring",
        "The lead runs along roof frame, pillars and seats, where that wiring runs too.",
        "Look along the whole run; tie the lead to nothing that is yellow, and across no airbag.",
        by_hand,
        caution=f"{AIRBAG} {MANUAL}",
    ),
    Step(
        "tap",
        "Supply taken with its own fuse, and a sound earth",
        "A loose tap or earth is the commonest cause of restarts.",
        "Fuse within 15 cm of the source, smaller than wire and slot allow; earth at a body point; pull at both.",
        by_hand,
        caution=f"Take nothing from circuits of airbags, brakes, engine or lights, and never feed back. {MANUAL}",
    ),
    Step(
        "supply",
        "Supply within its limits",
        "A receiver must work fully only inside its supply code (ISO 16750-2; code C: 9 V to 16 V).",
        "Note readings, and the lowest value of a meter that holds it, over a start of the engine.",
        wiring.supply,
        caution=EXHAUST,
    ),
    Step(
        "restarts",
        "No unexpected restart",
        "A restart loses the signal for half a minute, and points to the supply.",
        "Leave it awake, and note each restart.",
        wiring.no_restarts,
    ),
    Step(
        "number",
        "Receiver's number noted",
        "The account is made for this number and no other.",
        "Copy it from the label before it is out of sight, into job.toml.",
        wiring.number_noted,
    ),
)

RING = (
    Step(
        "other-sources",
        "The ring's other sources play",
        "An open ring silences all of them; if they play, the ring is whole as far as they go.",
        "Play one other source of the ring, and note whether it works.",
        wiring.other_sources,
        question=1,
    ),
    Step(
        "ring-closed",
        "Ring closed",
        "Light must come round to where it started.",
        "Read it from the head unit's or a tester's page; a channel that is heard shows it too.",
        wiring.ring_closed,
    ),
    Step(
        "receiver-answers",
        "Receiver answers on the ring",
        "Silent while others answer: no supply, a plug in the wrong place, or light that does not reach it.",
        "Read the list of units.",
        wiring.receiver_answers,
    ),
    Step(
        "other-nodes",
        "Every other unit answers",
        "Two swapped plugs make two rings, and the units of one of them are lost.",
        "Read the list of units, and note each.",
        wiring.other_nodes,
    ),
    Step(
        "plugs",
        "Plugs as wanted",
        "A plug in the wrong place makes a second ring, another order, or leaves the ring open.",
        "Look at each block, write its plugs into ring.toml, and run satdiag ring check.",
        documents.plugs,
        caution=FIBRE,
    ),
    Step(
        "break-test",
        "Place of the break found",
        "Units count on from the break, so that their positions point to it.",
        "Run the ring-break test, and note the position that each unit reports.",
        documents.break_test,
        caution=FIBRE,
    ),
    Step(
        "fibres",
        "Fibres whole and clean",
        "Dirt, a tight bend or a half-seated plug takes light before it takes the ring down.",
        "Bends of 25 mm radius or more, never under 15 mm; plugs seated; spare ends capped.",
        by_hand,
        caution=FIBRE,
    ),
)

CONFIGURATION = (
    Step(
        "listed",
        "Source offered in the menu",
        "Not offered while the receiver answers: the vehicle's stored equipment does not hold it.",
        "Open the menu of sources.",
        wiring.source_listed,
        question=2,
    ),
    Step(
        "readback",
        "Stored equipment read back",
        "A change that was not taken over looks like a fault of the receiver.",
        "Read the stored equipment back, and compare.",
        wiring.readback,
    ),
    Step(
        "readback-units",
        "Every unit's own record agrees",
        "Head unit, amplifier and others may each hold a record of their own.",
        "Read each back.",
        wiring.readback_parts,
    ),
    Step(
        "channels-listed",
        "Channels in the list",
        "An empty or short list points to configuration, or to a list still coming in.",
        "Scroll through the list, and note channels that are not there.",
        wiring.channels_listed,
    ),
    Step(
        "sound",
        "Sound comes through",
        "Received and authorised, and yet silent: the way of the sound is not set up.",
        "Tune to a channel that is authorised, volume up, and note what is heard.",
        wiring.sound,
    ),
    Step(
        "after-sleep",
        "Still there after sleep",
        "What was stored for a moment only is gone when the vehicle wakes again.",
        "Ignition off until the vehicle sleeps, on again, and look at the menu.",
        wiring.survives_sleep,
    ),
)

FEED = (
    Step(
        "lead",
        "Kind of lead known",
        "A dual lead has a conductor for satellites and one for repeaters; the wrong one receives half.",
        "Trace the lead to the antenna. Letter and colour of a connector are a weak hint only.",
        feed.lead_kind,
        caution=AIRBAG,
    ),
    Step(
        "adaptor",
        "Adaptor fits",
        "A combiner must pass the feed to each amplifier once; the wrong part shorts it or starves one.",
        "Compare lead, adaptor and receiver.",
        feed.adaptor,
    ),
    Step(
        "sweep",
        "Lead whole to the antenna",
        "The wave comes back from where a lead ends, and from a bad joint, so that their places show.",
        "Sweep the lead from the receiver's end, and put the file into the job as feedline.s1p.",
        documents.sweep,
        caution=SWEEP,
    ),
    Step(
        "bias",
        "Feed to the antenna normal",
        "Voltage and current tell an open lead, a short and a missing feed apart.",
        "Read both at the receiver's end, with the antenna plugged in.",
        feed.bias,
        question=3,
        caution=COAX,
    ),
    Step(
        "noise-rise",
        "Noise rises with the feed",
        "The amplifier's own noise shows that it works and that the lead passes it on.",
        "Read the noise with the feed off and on, three times each, where the receiver shows it.",
        feed.noise_rise,
        question=4,
    ),
    Step(
        "signal-passes",
        "A signal comes through",
        "Any lock shows that antenna, amplifier, lead and receiver pass something.",
        "Read the lock under open sky.",
        feed.something_received,
    ),
    Step(
        "substitute",
        "Fitted parts as good as a substitute",
        "A known-good antenna or lead in place of the fitted one tells whose fault it is.",
        "Plug it in at the receiver, same place, same time, and note better, same or worse.",
        feed.substitution,
        caution=COAX,
    ),
)

RECEPTION = (
    Step(
        "open-sky",
        "Under open sky",
        "Under a roof or trees nothing can be proved of the antenna.",
        "Drive out, and note what the sky looks like.",
        air.open_sky,
        caution=EXHAUST,
    ),
    Step(
        "satellites",
        "Satellites received",
        "They reach everywhere that has a clear view of them.",
        "Read each satellite's level outdoors. satdiag sky says where they stand.",
        air.satellites,
        question=5,
    ),
    Step(
        "repeater",
        "Repeater received, if one is near",
        "Satellites gone and a repeater strong: the lead may be on the wrong conductor.",
        "Read its level in a town.",
        air.repeater,
        question=5,
    ),
    Step(
        "lock",
        "Lock held for five minutes",
        "A lock that comes and goes points to a poor contact, trees or another emission.",
        "Note the lock every minute or so while parked.",
        air.lock_held,
        question=6,
    ),
    Step(
        "open-channel",
        "Preview or open channel heard",
        "It plays without an account: heard, it proves antenna, lead, receiver, ring and configuration at that "
        "moment. What is left is the account.",
        "Tune to it, and note that it is heard.",
        air.open_channel,
        question=7,
    ),
    Step(
        "changes",
        "Channel changes in time",
        "Slow changes show lost blocks before the sound breaks.",
        "Time three changes or more.",
        air.channel_changes,
        caution=DRIVING,
    ),
)

ACTIVATION = (
    Step(
        "identity",
        "Number the same on label, screen and account",
        "One wrong digit activates somebody else's receiver.",
        "Compare digit by digit with the provider's record.",
        air.identity,
        question=8,
    ),
    Step(
        "account",
        "Account confirmed",
        "Nothing is sent before the provider says so.",
        "Ask the provider, and note when it was confirmed.",
        air.confirmed,
    ),
    Step(
        "second-hand",
        "Earlier account ended",
        "A second-hand receiver may still stand in somebody else's account.",
        "Ask the provider.",
        air.second_hand,
    ),
    Step(
        "package",
        "Channels fit the package",
        "Channels outside the package are refused by right.",
        "Name the package in job.toml, and check channels of each category.",
        air.package,
        question=9,
    ),
    Step(
        "refresh",
        "Listened since the message was sent",
        "Authorisations reach a receiver only while it is awake and receives.",
        "Awake, outdoors, lock held, 15 minutes or more after the last sending; else ask for a resend.",
        air.listened,
        question=10,
        caution=EXHAUST,
    ),
    Step(
        "activated",
        "Activated",
        "Channels that begin to play after the confirmation are the proof.",
        "Check channels one by one; satdiag confirm says when it is enough.",
        air.activated,
    ),
    Step(
        "all-here",
        "Every expected channel plays",
        "The last ones may come long after the first.",
        "Check the list again after the wait that satdiag analyse names.",
        air.all_here,
    ),
)

SECTIONS: tuple[tuple[str, str, tuple[Step, ...]], ...] = (
    ("install", "Installation and supply", INSTALL),
    ("ring", "Optical ring", RING),
    ("configuration", "Configuration", CONFIGURATION),
    ("feed", "Antenna and feed", FEED),
    ("reception", "Reception", RECEPTION),
    ("activation", "Activation", ACTIVATION),
)
