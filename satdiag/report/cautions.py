"""The cautions that a job calls for, by the faults in play, the tests proposed and where the vehicle stands."""

from __future__ import annotations

from dataclasses import dataclass

from satdiag.diagnosis.model import load_model
from satdiag.findings import Findings

IN_PLAY = 0.05
"""A fault less probable than this calls for no caution of its own (judgement, no source)."""


@dataclass(frozen=True)
class Caution:
    """One caution: its key, a short head and the sentences."""

    key: str
    head: str
    text: str


# common practice, no source; the last one says what stands above it.
CAUTIONS: tuple[Caution, ...] = (
    Caution(
        "airbag",
        "Airbag and belt wiring",
        "Antenna leads run along roof frame, pillars and seats, beside the wiring of airbags and belt tensioners "
        "(often yellow). Follow the vehicle maker's steps to make that system safe and wait as long as they say "
        "before you unplug or move anything there. Never put a meter to those wires.",
    ),
    Caution(
        "feed",
        "Antenna feed",
        "Switch the receiver off before you plug or unplug the antenna lead, and never bridge its contacts.",
    ),
    Caution(
        "battery",
        "Battery",
        "A long wait with the ignition on drains the battery and can disturb other control units. Connect a charger "
        "made for that battery, in a ventilated place. Disconnect the battery as the vehicle maker describes before "
        "you work on supply wires.",
    ),
    Caution(
        "garage",
        "Exhaust",
        "Never run the engine in a garage or any other closed room, not even for a short test: exhaust gas kills. "
        "Wait outdoors, or on a charger with the engine off.",
    ),
    Caution(
        "roof",
        "Work on the roof",
        "Use a steady platform, not the sill or a tyre, and keep off a wet or icy roof. Leave roof, antenna and "
        "skyline readings from a height alone while it storms.",
    ),
    Caution(
        "driving",
        "On the road",
        "Never watch a screen or time channel changes while you drive. Let a passenger do it, or let the recorder "
        "run and read it when parked.",
    ),
    Caution(
        "fibre",
        "Light in the fibres",
        "Do not look into an open fibre or its socket: treat the light as harmful until you know its class. Cap open "
        "ends, keep them clean, and do not bend a fibre sharply.",
    ),
    Caution(
        "rules",
        "Rules that come first",
        "Local codes, the vehicle maker's instructions and the practice of licensed trades stand above anything "
        "written here. Where they ask for a licensed person, leave that work to one.",
    ),
)
KEYS = frozenset(caution.key for caution in CAUTIONS)

# Cautions beside those that the fault itself names.


def cautions_for(findings: Findings) -> tuple[Caution, ...]:
    """The cautions that apply, in the order of `CAUTIONS`; what a test names and is not a key stands as its own."""
    named = [word for test in findings.diagnosis.next_tests for word in test.cautions]
    keys = {"rules", *named, *_of_faults(findings), *_of_verdict(findings), *_of_place(findings)}
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
