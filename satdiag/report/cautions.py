"""The cautions that a job calls for, by the faults in play, the tests proposed and where the vehicle stands."""

from __future__ import annotations

from dataclasses import dataclass

from satdiag.diagnosis.model import load_model
from satdiag.findings import Findings
from satdiag.language import mark, translated

IN_PLAY = 0.05
"""A fault less probable than this calls for no caution of its own (judgement, no source)."""


@dataclass(frozen=True)
class Caution:
    """One caution: its key, a short head and the sentences, both as they were marked."""

    key: str
    marked_head: str
    marked_text: str

    @property
    def head(self) -> str:
        """The head in the language in use."""
        return translated(self.marked_head)

    @property
    def text(self) -> str:
        """The sentences in the language in use."""
        return translated(self.marked_text)


# common practice, no source; the last one says what stands above it.
CAUTIONS: tuple[Caution, ...] = (
    Caution(
        "airbag",
        mark("Airbag and belt wiring"),
        mark(
            "Antenna leads run along roof frame, pillars and seats, beside the wiring of airbags and belt tensioners "
            "(often yellow). Follow the vehicle maker's steps to make that system safe and wait as long as they say "
            "before you unplug or move anything there. Never put a meter to those wires."
        ),
    ),
    Caution(
        "feed",
        mark("Antenna feed"),
        mark(
            "Switch the receiver off before you plug or unplug the antenna lead, never bridge its contacts, and "
            "never bring the vehicle's 12 V to its centre conductor: the feed is a few volts, and little current. "
            "Measure it with an ammeter on a bias tee in the lead; never push meter probes into the socket."
        ),
    ),
    Caution(
        "sweep",
        mark("A sweep of the antenna lead"),
        mark(
            "Switch the receiver off, unplug the lead at the receiver and sweep from that plug, with the analyser "
            "calibrated for one port at that plane. Never connect the analyser to a line that carries the feed; in "
            "any doubt put a DC block before it."
        ),
    ),
    Caution(
        "battery",
        mark("Battery"),
        mark(
            "A long wait with the ignition on drains the battery and can disturb other control units. Connect a "
            "charger made for that battery, in a ventilated place. Disconnect the battery as the vehicle maker "
            "describes before you work on supply wires."
        ),
    ),
    Caution(
        "tap",
        mark("Taking supply from a fuse"),
        mark(
            "Put a fuse near the source, smaller than the wire and the slot allow; 2 A to 3 A are ample for a "
            "logger. Take nothing from circuits of airbags, brakes, engine or lights, never feed back, and use an "
            "earth point that is there already."
        ),
    ),
    Caution(
        "garage",
        mark("Exhaust"),
        mark(
            "Never run the engine in a garage or any other closed room, not even for a short test: exhaust gas "
            "kills. Wait outdoors, or on a charger with the engine off."
        ),
    ),
    Caution(
        "roof",
        mark("Work on the roof"),
        mark(
            "Use a steady platform, not the sill or a tyre, and keep off a wet or icy roof. Leave roof, antenna and "
            "skyline readings from a height alone while it storms."
        ),
    ),
    Caution(
        "driving",
        mark("On the road"),
        mark(
            "Never watch a screen or time channel changes while you drive. Let a passenger do it, or let the "
            "recorder run and read it when parked."
        ),
    ),
    Caution(
        "fibre",
        mark("Light in the fibres"),
        mark(
            "Do not look into an open fibre or its socket, and use no magnifier: treat the light as harmful until "
            "you know its class, and hold a white card before it. Power the bus down before you move a plug; an open "
            "ring mutes all its sources. Cap open ends, keep them clean, do not bend a fibre sharply, and never cut "
            "one."
        ),
    ),
    Caution(
        "rules",
        mark("Rules that come first"),
        mark(
            "Local codes, the vehicle maker's instructions and the practice of licensed trades stand above anything "
            "written here. Where they ask for a licensed person, leave that work to one."
        ),
    ),
)
KEYS = frozenset(caution.key for caution in CAUTIONS)

# Cautions beside those that the fault itself names.


def cautions_for(findings: Findings) -> tuple[Caution, ...]:
    """The cautions that apply, in the order of `CAUTIONS`; what a test names and is not a key stands as its own."""
    named = [word for test in findings.diagnosis.next_tests for word in test.cautions]
    keys = {"rules", *named, *_of_faults(findings), *_of_verdict(findings), *_of_place(findings)}
    if findings.wiring.bias is not None or findings.wiring.noise_rise is not None:
        keys.add("feed")
    if findings.wiring.feedline is not None:
        keys |= {"sweep", "feed"}
    own = [Caution(word, word, "") for word in dict.fromkeys(named) if word not in KEYS]
    return (*own, *(caution for caution in CAUTIONS if caution.key in keys))


def _of_faults(findings: Findings) -> set[str]:
    known = load_model().faults
    in_play = {fault for fault, p in findings.diagnosis.faults.items() if p >= IN_PLAY} | {
        findings.verdict.fault or ""
    }
    return {key for fault in in_play if fault in known for key in known[fault].cautions}


def _of_verdict(findings: Findings) -> set[str]:
    """To wait is to stand with the ignition on."""
    return {"battery", "garage"} if findings.verdict.state == "filling" else set()


def _of_place(findings: Findings) -> set[str]:
    under_roof = any(site.place in ("indoors", "underground") for site in findings.sky.sites)
    return {"garage"} if under_roof else set()
