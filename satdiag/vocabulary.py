"""The one table of what may be observed: kinds, subjects, states, units, and the hold times of the exposure clock.

Row checking, the store, the documentation table and the JSON Schema are all made from `TABLE`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

# --- faults -----------------------------------------------------------------------------------------------------

FAULT_CLASSES: dict[str, tuple[str, ...]] = {
    "antenna": ("antenna-open", "antenna-short", "antenna-weak"),
    "wiring": (
        "feed-swapped",
        "feed-lossy",
        "supply-dropout",
        "ring-broken",
        "ring-order",
        "node-unpowered",
    ),
    "configuration": ("not-configured", "audio-path"),
    "subscription": (
        "not-activated",
        "account-lapsed",
        "id-mismatch",
        "entitlement-not-received",
        "partial-package",
    ),
    "sky": ("indoors", "obstructed", "foliage", "out-of-coverage"),
    "receiver": ("receiver-defective", "feed-absent"),
    "service": ("interference",),
}
FAULTS: tuple[str, ...] = tuple(fault for faults in FAULT_CLASSES.values() for fault in faults)
CLASS_OF: dict[str, str] = {fault: name for name, faults in FAULT_CLASSES.items() for fault in faults}

# --- hold times (judgement, no source) ---------------------------------------------------------------------------

AWAKE_HOLD_S = 30 * 60.0
RECEIVED_HOLD_S = 10 * 60.0
RESET_DEAD_S = 30.0
VISIT_PAUSE_S = 4 * 3600.0

# --- the table ---------------------------------------------------------------------------------------------------

UNREADABLE = "unreadable"
WITHOUT_UNREADABLE = ("note", "gap", "clock", "withdraw")
LEVEL_UNITS = ("dB", "dB-Hz", "percent", "bars/N")
PATHS = ("satellite", "satellite:NAME", "repeater", "any")
REASONS = ("just-installed", "complaint", "check", "unknown")

# What a template word in a subject stands for.
TEMPLATES = {
    "NAME": r"[A-Za-z0-9][A-Za-z0-9._-]*",
    "PATH": r"(?:satellite|repeater)",
    "CHANNEL": r"(?:0|[1-9][0-9]{0,6})",
    "SOURCE": r"[A-Za-z0-9][A-Za-z0-9._:/-]*",
    "FAULT": "(?:" + "|".join((*FAULTS, "none", "other")) + ")",
    "ANY": r"[\s\S]*",
}


@dataclass(frozen=True)
class Entry:
    """One line of the vocabulary: which subjects a kind takes, which values, which units.

    `value` is 'state' (one of `states`), 'number', 'whole' (a whole number), 'site', 'row-id' or 'text'. An empty
    `units` means that the unit stays blank.
    """

    kind: str
    subjects: tuple[str, ...]
    value: str
    meaning: str
    states: tuple[str, ...] = ()
    units: tuple[str, ...] = ()
    minimum: float | None = None
    maximum: float | None = None


def _states(kind: str, subjects: tuple[str, ...], states: str, meaning: str) -> Entry:
    return Entry(kind, subjects, "state", meaning, states=tuple(states.split()))


TABLE: tuple[Entry, ...] = (
    _states("power", ("receiver",), "off standby awake", "awake: running and receiving"),
    Entry(
        "supply",
        ("receiver", "receiver-minimum"),
        "number",
        "at the receiver; -minimum: lowest since the last such row",
        units=("V",),
    ),
    Entry(
        "signal",
        PATHS,
        "number",
        "level readout; dB is C/N in the receiver's own bandwidth, dB-Hz is C/N0, percent and bars are an order "
        "only; bars are whole, 0..N; one path keeps one unit within a visit",
        units=LEVEL_UNITS,
    ),
    _states("lock", PATHS, "yes no", "demodulator locked on that path"),
    Entry(
        "errors",
        PATHS,
        "number",
        "block errors, where a readout shows them",
        units=("percent",),
        minimum=0,
        maximum=100,
    ),
    Entry("noise", ("receiver",), "number", "noise or gain-control readout, relative", units=("dB",)),
    _states("listing", ("source",), "yes no", "the head unit offers the satellite source"),
    _states(
        "channel",
        ("CHANNEL",),
        "authorised refused missing no-signal",
        "state seen when the channel was checked; missing: not listed; no-signal: could not be judged",
    ),
    _states(
        "tune",
        ("CHANNEL",),
        "requested audio title refused abandoned",
        "marks of one channel change; starts at requested; abandoned: gave up waiting for the next mark (after "
        "audio: for the title). refused also counts as a check 'refused', audio as 'authorised'. Another requested, "
        "off, a gap of the source that marked it, or the last row censors an open attempt there",
    ),
    _states("audio", ("output",), "playing muted broken", "what is heard"),
    _states(
        "account",
        ("service",),
        "submitted confirmed resend-requested resend-confirmed rejected lapsed none",
        "what was done with the provider and when; none: no account exists",
    ),
    Entry(
        "bias",
        ("voltage", "voltage:PATH"),
        "number",
        "DC feed to the active antenna, at the receiver's end; PATH satellite or repeater on a dual lead",
        units=("V",),
    ),
    Entry(
        "bias",
        ("current", "current:PATH"),
        "number",
        "DC feed to the active antenna, at the receiver's end; PATH satellite or repeater on a dual lead",
        units=("mA",),
    ),
    _states("feed", ("bias",), "on off", "feed switched, for the noise-rise test"),
    _states("ring", ("bus",), "closed open", "optical ring"),
    _states("ring", ("node:NAME",), "present absent", "node answers; node:receiver is ours"),
    Entry("ring", ("position:NAME",), "whole", "relative position reported by a node in a break test", minimum=0),
    _states("ring", ("other-sources",), "working lost", "do the ring's other audio sources work"),
    _states(
        "configuration",
        ("readback", "readback:NAME"),
        "matches differs",
        "the vehicle's stored equipment, read back",
    ),
    _states("identity", ("receiver-id",), "match mismatch", "label, screen and account agree"),
    _states(
        "place",
        ("vehicle",),
        "open-sky street canopy indoors underground",
        "what the sky looks like to a person",
    ),
    Entry("site", ("vehicle",), "site", "a site's name: where the vehicle now stands; a GNSS fix overrides it"),
    Entry(
        "heading",
        ("vehicle",),
        "number",
        "vehicle nose, clockwise from true north",
        units=("deg",),
        minimum=0,
        maximum=360,
    ),
    _states(
        "swap",
        ("antenna", "lead", "receiver", "place"),
        "better same worse",
        "substitution test with a known-good part or place",
    ),
    _states("reset", ("receiver",), "seen", "unexpected restart"),
    _states("gap", ("SOURCE",), "lost silent overflow", "with span_s: nothing could be heard from that source"),
    Entry("clock", ("recorder",), "number", "the wall clock stepped by this much", units=("s",)),
    _states(
        "finding",
        ("FAULT",),
        "confirmed excluded",
        "what the job turned out to be (a fault, none, or other); never evidence in its own analysis",
    ),
    Entry(
        "withdraw",
        ("row",),
        "row-id",
        "that row was entered in error: kept, shown struck through, not used",
    ),
    Entry("note", ("ANY",), "text", "free text"),
)

KINDS: tuple[str, ...] = tuple(dict.fromkeys(entry.kind for entry in TABLE))


@cache
def subject_pattern(template: str) -> re.Pattern[str]:
    """The regular expression of one subject of the table, e.g. 'satellite:NAME'."""
    if template in TEMPLATES:
        return re.compile(TEMPLATES[template])
    head, colon, tail = template.partition(":")
    return re.compile(re.escape(head) + colon + TEMPLATES.get(tail, re.escape(tail)))


def entries_of(kind: str) -> tuple[Entry, ...]:
    """All lines of the table for a kind; empty if the kind is unknown."""
    return tuple(entry for entry in TABLE if entry.kind == kind)


@cache
def entry_of(kind: str, subject: str) -> Entry | None:
    """The line of the table that a kind and a subject fall under, or None."""
    for entry in entries_of(kind):
        if any(subject_pattern(template).fullmatch(subject) for template in entry.subjects):
            return entry
    return None


def subjects_of(kind: str) -> str:
    """The subjects a kind allows, for messages."""
    return ", ".join(subject for entry in entries_of(kind) for subject in entry.subjects)


@cache
def bars_of(unit: str) -> int | None:
    """N of 'bars/N', or None for any other unit."""
    found = re.fullmatch(r"bars/([1-9][0-9]{0,3})", unit)
    return int(found.group(1)) if found else None


def unit_allowed(entry: Entry, unit: str) -> bool:
    """True if the unit (blank included) may stand beside a value of this entry."""
    if not entry.units:
        return unit == ""
    return (unit in entry.units and unit != "bars/N") or ("bars/N" in entry.units and bars_of(unit) is not None)


def takes_unreadable(kind: str) -> bool:
    """True if 'unreadable' (tried, no reading) is a legal value of this kind."""
    return kind not in WITHOUT_UNREADABLE


def values_text(entry: Entry) -> str:
    """The values an entry allows, in words, for messages and the documentation table."""
    words = {
        "number": "a number",
        "whole": "a whole number",
        "site": "a site's name from job.toml",
        "row-id": "the id of another row",
        "text": "free text",
    }
    return ", ".join(entry.states) if entry.value == "state" else words[entry.value]


def markdown_table() -> str:
    """The vocabulary as a Markdown table, the one printed in the documentation."""
    lines = ["| kind | subject | value | unit | meaning |", "| --- | --- | --- | --- | --- |"]
    for entry in TABLE:
        subjects = ", ".join(f"`{subject}`" for subject in entry.subjects)
        lines.append(
            f"| {entry.kind} | {subjects} | {values_text(entry)} | {', '.join(entry.units)} | {entry.meaning} |"
        )
    return "\n".join(lines) + "\n"
