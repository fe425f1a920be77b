"""The short codes of the paper form: one table for the form that is printed and for the lines that are typed back.

A code is a word of two letters, `ls`, for what is read, and may name a satellite: `ls:east`. What stands behind it is
an observation of the log.
"""

from __future__ import annotations

from dataclasses import dataclass

from satdiag.job import Job
from satdiag.language import mark, translated
from satdiag.vocabulary import entry_of

CHANNEL_MARKS = {"+": "authorised", "-": "refused", "?": "no-signal", "x": "missing"}
"""What is written behind a channel's number, and the state of the log that it means."""

MARK_WORDS = {
    "+": mark("plays"),
    "-": mark("refused"),
    "?": mark("no signal"),
    "x": mark("not listed"),
}
MARK_SIGNS = {"+": "+", "-": "−", "?": "?", "x": "×"}
"""How the marks are printed; `unlike_print` undoes it."""


STATE_WORDS = {
    "off": mark("switched off"),
    "standby": mark("on standby"),
    "awake": mark("on and receiving"),
    "open-sky": mark("under an open sky"),
    "street": mark("in a street with buildings"),
    "canopy": mark("under trees"),
    "indoors": mark("under a roof"),
    "underground": mark("underground"),
    "yes": mark("yes"),
    "no": mark("no"),
    "closed": mark("closed"),
    "open": mark("interrupted"),
    "working": mark("they work"),
    "lost": mark("they do not work"),
    "playing": mark("can be heard"),
    "muted": mark("silent"),
    "broken": mark("breaks off"),
    "submitted": mark("data sent in"),
    "confirmed": mark("activation confirmed"),
    "resend-requested": mark("resend asked for"),
    "resend-confirmed": mark("resend confirmed"),
    "rejected": mark("turned down"),
    "lapsed": mark("ended"),
    "none": mark("there is none"),
}
"""The states of the log as people call them on paper; they are typed by their number, or as the log has them."""


@dataclass(frozen=True)
class Code:
    """A line of the form: its code, the kind and subject of the log, and what it is called for people.

    `choices` are the states, numbered from 1 on the form; `unit` is what a number is in, blank if it has
    none or it is not known.
    """

    code: str
    kind: str
    subject: str
    marked_title: str
    choices: tuple[str, ...] = ()
    unit: str = ""

    @property
    def title(self) -> str:
        """What is read, in the language in use."""
        return translated(self.marked_title)

    @property
    def said_choices(self) -> tuple[str, ...]:
        """The choices in the language in use; a site by its own name."""
        if self.kind == "site":
            return self.choices
        return tuple(translated(STATE_WORDS[state]) for state in self.choices)

    @property
    def satellite(self) -> str:
        """The satellite that the line is of; blank: none by name."""
        return self.subject.partition(":")[2]


# code, kind, subject, title
_LINES = (
    ("po", "power", "receiver", mark("Receiver is")),
    ("pl", "place", "vehicle", mark("The vehicle stands")),
    ("st", "site", "vehicle", mark("Site")),
    ("so", "listing", "source", mark("Satellite source is offered")),
    ("ls", "signal", "satellite", mark("Level, satellite")),
    ("lr", "signal", "repeater", mark("Level, repeater")),
    ("la", "signal", "any", mark("Level, path not known")),
    ("ks", "lock", "satellite", mark("Lock, satellite")),
    ("kr", "lock", "repeater", mark("Lock, repeater")),
    ("ka", "lock", "any", mark("Lock, path not known")),
    ("bv", "bias", "voltage", mark("Antenna feed, voltage")),
    ("bc", "bias", "current", mark("Antenna feed, current")),
    ("su", "supply", "receiver", mark("Supply at the receiver")),
    ("rb", "ring", "bus", mark("Optical ring is")),
    ("ro", "ring", "other-sources", mark("Other sources of the ring")),
    ("au", "audio", "output", mark("Sound")),
    ("ac", "account", "service", mark("Account, with the provider")),
)
_OF_SATELLITES = ("ls", "ks")

ALIASES = {
    "level": "signal",
    "voltage": "bias voltage",
    "current": "bias current",
    "source": "listing source",
    "sound": "audio output",
}
"""Plain words that may stand for the first words of an observation."""


def satellites_of(job: Job) -> tuple[str, ...]:
    """The names of the satellites of the job's constellation; none if it is not known."""
    from satdiag.errors import SatdiagError
    from satdiag.sky.estimate import constellation_of

    try:
        constellation = constellation_of(job)
    except SatdiagError:
        return ()
    return tuple(satellite.name for satellite in constellation.satellites) if constellation else ()


def codes_of(job: Job) -> tuple[Code, ...]:
    """The lines of a job's form: levels and locks once for each satellite that has a name, sites if there are any."""
    scale = job.sheet.receiver.level_scale or ""
    sites = tuple(site.name for site in job.sheet.sites)
    names = satellites_of(job)
    found = []
    for code, kind, subject, title in _LINES:
        entry = entry_of(kind, subject)
        if entry is None or (kind == "site" and not sites):
            continue
        choices = sites if kind == "site" else entry.states
        unit = scale if kind == "signal" else entry.units[0] if entry.units else ""
        named = names if code in _OF_SATELLITES else ()
        found += [Code(f"{code}:{name}", kind, f"{subject}:{name}", title, choices, unit) for name in named]
        if not named:
            found.append(Code(code, kind, subject, title, choices, unit))
    return tuple(found)


def words_of(first: str) -> str:
    """The words of the log that the first word of a line stands for: a code, a plain word, or the word itself.

    'ls:east' is 'signal satellite:east', 'level' is 'signal'.
    """
    head, colon, name = first.partition(":")
    if first.lower() == "tn":
        return "tune"
    for code, kind, subject, _ in _LINES:
        if head.lower() == code and (not colon or code in _OF_SATELLITES):
            return kind if kind == "site" else f"{kind} {subject}{colon}{name}"
    return ALIASES.get(first.lower(), first)


def unlike_print(text: str) -> str:
    """A line with the printed signs as one types them: '31−' is '31-', '8×' is '8x'."""
    return text.replace("−", "-").replace("–", "-").replace("×", "x")
