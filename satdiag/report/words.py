"""The words of the report: what each state, fault, reason and source of the findings is called before people."""

from __future__ import annotations

import re

VERDICTS = {
    "works": "It works",
    "filling": "Still filling in",
    "explained": "Nothing to repair",
    "fault": "A fault",
    "cannot-tell": "Cannot tell yet",
}

CHANNEL_STATES = {
    "authorised": "plays",
    "refused": "refused",
    "missing": "not listed",
    "no-signal": "no signal",
    "unchecked": "not checked",
}

CHANNEL_REASONS = {
    "plays": "authorised when last checked",
    "late": "expected and not here yet",
    "not-in-package": "probably not part of the package",
    "account": "the whole account looks inactive",
    "lost": "played before and is refused now",
    "not-listed": "the head unit does not list it",
    "cannot-tell": "too little was seen to say",
}

STRETCHES = {
    "clear": "clear",
    "shadowed": "weakened",
    "received": "received, level not read",
    "blocked": "nothing received",
}

CLASSES = {
    "antenna": "antenna",
    "wiring": "wiring",
    "configuration": "configuration",
    "subscription": "subscription",
    "sky": "view of the sky",
    "receiver": "receiver",
    "service": "radio surroundings",
    "none": "no fault",
    "other": "something not on the list",
}

FAULTS = {
    "antenna-open": "antenna lead open",
    "antenna-short": "antenna feed shorted",
    "antenna-weak": "antenna weak",
    "feed-swapped": "wrong antenna conductor",
    "feed-lossy": "lossy antenna lead",
    "supply-dropout": "supply drop-outs",
    "ring-broken": "optical ring open",
    "ring-order": "wrong order on the ring",
    "node-unpowered": "receiver does not answer",
    "not-configured": "receiver not in the vehicle's stored equipment",
    "audio-path": "sound not passed on",
    "not-activated": "account not activated",
    "account-lapsed": "account has ended",
    "id-mismatch": "activated for another receiver",
    "entitlement-not-received": "activation message not received",
    "partial-package": "channels outside the package",
    "indoors": "under a roof",
    "obstructed": "satellite hidden from view",
    "foliage": "trees in the way",
    "out-of-coverage": "outside the service area",
    "receiver-defective": "receiver defective",
    "feed-absent": "receiver does not feed the antenna",
    "interference": "strong transmitter near by",
    "none": "no fault",
    "other": "something not on the list",
}

VISIT_REASONS = {
    "just-installed": "receiver just fitted",
    "complaint": "a complaint",
    "check": "a check",
    "unknown": "not stated",
}

SKY_SOURCES = {
    "gnss": "navigation satellites' record",
    "horizon": "skyline readings",
    "obstacles": "list of obstacles",
    "place": "a person's word on the place",
    "none": "nothing known",
}

PLACES = {
    "open-sky": "open sky",
    "street": "a street",
    "canopy": "under trees",
    "indoors": "under a roof",
    "underground": "underground",
}

BIAS_STATES = {
    "normal": "normal",
    "open": "voltage is there, no current flows",
    "short": "shorted",
    "low": "less current than normal",
    "high": "more current than normal",
    "absent": "neither voltage nor current",
}

SUPPLY_STATES = {"normal": "normal", "low": "low", "dropouts": "drops out"}
LEAD_ENDS = {
    "before": "ends before the antenna",
    "at": "reaches the antenna",
    "beyond": "ends beyond the antenna's place",
    "none": "no clear end",
    "unknown": "where it ends cannot be told",
}
REFLECTIONS = {
    "open": "open end",
    "short": "shorted end",
    "step": "part comes back",
    "unknown": "open, shorted or in part",
    "ghost": "echo",
    "sidelobe": "made by the window",
}
RING_STATES = {"closed": "closed", "open": "open"}
OTHER_SOURCES = {"working": "work", "lost": "do not work"}

EXPOSURE_BASES = {
    "lock": "counted while the receiver reported a lock",
    "level": "counted while a level was read",
    "awake": "counted while the receiver was awake, since no lock or level was logged",
}

EXPOSURE_ORIGINS = {
    "confirmed": "from the provider's confirmation",
    "first-row": "from the first entry of the log, since no confirmation was logged",
}

EXPECTED_FROM = {
    "package": "the channels that the package holds",
    "lineup": "every subscribed channel of the line-up, since the package is not known",
    "seen": "every channel that was ever seen, since no line-up was given",
}


def fault_words(fault: str | None) -> str:
    """A fault or class in words; a name that is not known stands as it is."""
    if fault is None:
        return "not known"
    return FAULTS.get(fault) or CLASSES.get(fault) or fault.replace("-", " ")


def path_words(path: str) -> str:
    """A path in words: 'satellite:east' is 'satellite east'."""
    if path == "any":
        return "any path"
    return path.replace(":", " ", 1)


def unit_words(unit: str | None) -> str:
    """A unit of levels as it is read out: 'bars/5' is 'of 5 bars', 'percent' is '%'."""
    if unit is None:
        return ""
    if unit.startswith("bars/"):
        return f"of {unit.removeprefix('bars/')} bars"
    return "%" if unit == "percent" else unit


def axis_unit_words(unit: str) -> str:
    """A unit of levels beside an axis: 'bars/5' is 'bars, 0 to 5'."""
    if unit.startswith("bars/"):
        return f"bars, 0 to {unit.removeprefix('bars/')}"
    return unit_words(unit)


_PATH = re.compile(r"\bsatellite:(\w)")


def sentence(text: str) -> str:
    """A text with a capital letter and a full stop, for notes that were written as phrases.

    A path's name of the log, 'satellite:east', becomes two words.
    """
    text = _PATH.sub(r"satellite \1", text.strip())
    if not text:
        return ""
    return text[0].upper() + text[1:] + ("" if text[-1] in ".!?" else ".")
