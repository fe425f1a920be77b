"""A typed observation as readings: channel lists, sites, KIND SUBJECT VALUE [UNIT] with what may be left out."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from difflib import get_close_matches

from satdiag.csv_text import quoted
from satdiag.recorder.hand_help import natural_subject
from satdiag.recorder.heard import Reading
from satdiag.rows import Row, check_row, parse_number
from satdiag.vocabulary import (
    FAULTS,
    LEVEL_UNITS,
    TEMPLATES,
    UNREADABLE,
    Entry,
    entries_of,
    entry_of,
    subjects_of,
    values_text,
)

MOST_CHANNELS = 500
"""The most channels that one line may name."""

_CHANNEL = re.compile(TEMPLATES["CHANNEL"], re.ASCII)
_CHANNEL_STATES = (*entries_of("channel")[0].states, UNREADABLE)
_SOME_TIME = "2000-01-01T00:00:00Z"  # the check of a row wants one; the true one comes with the row


class NotTaken(Exception):
    """A line that cannot be taken; its text says what was asked, what there is, and what to do."""


class Reader:
    """Reads observations of one job.

    `channels`: the numbers of the line-up, sorted; None if there is none. `sites`: the names of the job's sites.
    `level_unit`: what a level is in if its unit is left out; blank: the unit must be written.
    """

    def __init__(self, channels: Collection[int] | None, sites: Sequence[str], level_unit: str) -> None:
        self.channels = None if channels is None else tuple(sorted(set(channels)))
        self.sites, self.level_unit = tuple(sites), level_unit

    def parted(self, text: str) -> tuple[str, str]:
        """A line and the remark at its end; the name of a site may hold a '#' itself."""
        start = 0
        if text.split(maxsplit=1)[0].lower() == "site":
            ends = [f"{text} ".find(f" {name} ") + len(name) + 1 for name in self.sites if f" {name} " in f"{text} "]
            start = max(ends, default=0)
        found = re.compile(r"(?:^|\s)#").search(text, start)
        return (text, "") if found is None else (text[: found.start()].rstrip(), text[found.end() :].strip())

    def site(self, body: str) -> Reading:
        """`site NAME`; the name may hold blanks."""
        name = body[len("site") :].strip()
        if name not in self.sites:
            name = re.sub(r"^vehicle(\s+|$)", "", name)
        return Reading("site", "vehicle", name)

    def channel_checks(self, words: Sequence[str]) -> list[Reading]:
        """`31 refused` or `2,5,9-12 authorised`, in the order of the numbers. Raises NotTaken."""
        if len(words) < 2:
            raise NotTaken(
                "A check needs channel numbers and a state. Write for example 'channel 31 refused' or "
                f"'channels 2,5,9-12 authorised'. States: {', '.join(_CHANNEL_STATES)}."
            )
        state = words[-1].lower()
        if state not in _CHANNEL_STATES:
            what = f"{quoted(words[-1])} is not a state of a channel.{near(state, _CHANNEL_STATES)}"
            raise NotTaken(f"{what} There are: {', '.join(_CHANNEL_STATES)}.")
        listing = re.sub(r"\s*-\s*", "-", " ".join(words[:-1]))
        channels: set[int] = set()
        for part in filter(None, re.split(r"[,\s]+", listing)):
            channels.update(self._numbers(part))
            if len(channels) > MOST_CHANNELS:
                raise _too_many(listing)
        if not channels:
            raise NotTaken("No channel number stands there. Write for example: channels 2,5,9-12 refused")
        return [Reading("channel", str(channel), state) for channel in sorted(channels)]

    def _numbers(self, part: str) -> Collection[int]:
        """The channels of '31' or '9-12': in a range those of the line-up if there is one."""
        first, dash, last = part.partition("-")
        if not (_CHANNEL.fullmatch(first) and (not dash or _CHANNEL.fullmatch(last))):
            raise NotTaken(
                f"{quoted(part)} is no channel number and no range. A channel is a whole number 0 to 9999999 without "
                "leading zeros. Write for example 31, 9-12 or 2,5,9-12."
            )
        if not dash:
            return (int(first),)
        low, high = int(first), int(last)
        if low > high:
            raise NotTaken(f"The range {part} runs backwards. Write {high}-{low}.")
        if self.channels is None:
            if high - low >= MOST_CHANNELS:
                raise _too_many(part)
            return range(low, high + 1)
        listed = [channel for channel in self.channels if low <= channel <= high]
        if not listed:
            raise NotTaken(f"The line-up lists no channel from {low} to {high}. Name single ones, e.g. {low},{high}.")
        return listed

    def observation(self, kind: str, words: Sequence[str]) -> Reading:
        """KIND SUBJECT VALUE [UNIT]; a subject with no other to choose, and such a unit, may be left out.

        The value is not checked yet. Raises NotTaken.
        """
        entry, subject, rest = _subject(kind, words)
        if not rest:
            units = f" in {' or '.join(entry.units)}" if entry.units else ""
            raise NotTaken(f"{quoted(f'{kind} {subject}')} needs a value: {values_text(entry)}{units}.")
        value, *given = rest
        if value.lower() in (*entry.states, UNREADABLE):
            value = value.lower()
        if len(given) > (1 if entry.units else 0):
            what = f"{quoted(given[-1])} is too much after {quoted(f'{kind} {subject} {value}')}"
            raise NotTaken(f"{what}. A remark stands after ' # '.")
        return Reading(kind, subject, value, self._unit(entry, value, given))

    def _unit(self, entry: Entry, value: str, given: Sequence[str]) -> str:
        if given:
            lowered = given[0].lower()
            known = {unit.lower(): unit for unit in entry.units}
            return lowered if lowered.startswith("bars/") else known.get(lowered, given[0])
        if not entry.units or value == UNREADABLE:
            return ""
        if len(entry.units) == 1:
            return entry.units[0]
        if entry.units == LEVEL_UNITS and self.level_unit:
            return self.level_unit
        if parse_number(value) is None:
            raise NotTaken(f"{quoted(value)} is not a number. Write a decimal point, no comma; or '{UNREADABLE}'.")
        raise NotTaken(
            f"The level needs its unit: {', '.join(entry.units)} (such as bars/5). The job sheet names none "
            "(level_scale), so none can be filled in."
        )

    def check(self, readings: Sequence[Reading]) -> None:
        """Raises NotTaken with what the vocabulary has against the first bad reading."""
        for reading in readings:
            kind, subject, value, unit, note = reading[:5]
            if kind == "site" and value not in (*self.sites, UNREADABLE):
                raise NotTaken(self._no_site(value))
            wrongs = list(check_row(Row(_SOME_TIME, kind, subject, value, unit, "hand", note), None, self.sites))
            if wrongs:
                entry = entry_of(kind, subject)
                meant = near(value, entry.states) if entry is not None and wrongs[0].column == "value" else ""
                raise NotTaken(" ".join(f"{wrong.what}.{meant} {wrong.mend}" for wrong in wrongs))

    def _no_site(self, name: str) -> str:
        if not self.sites:
            return "The job sheet names no site, so none can be entered. Say in words: note where the vehicle stands"
        asked = f"{quoted(name)} is no site of the job sheet." if name else "'site' needs a name."
        return f"{asked}{near(name, self.sites)} There are: {', '.join(self.sites)}."


def _subject(kind: str, words: Sequence[str]) -> tuple[Entry, str, Sequence[str]]:
    """The subject of an observation, written or left out, and the words after it."""
    for word in (words[0], words[0].lower()) if words else ():
        written = entry_of(kind, word)
        if written is not None:
            return written, word, words[1:]
    natural = natural_subject(kind)
    entry = None if natural is None else entry_of(kind, natural)
    if natural is not None and entry is not None and (len(words) < 2 or _is_value(entry, words[0])):
        return entry, natural, words
    if not words:
        raise NotTaken(f"'{kind}' needs a subject and a value. Subjects: {_subjects(kind)}.")
    meant = near(words[0], _subjects(kind).split(", "))
    raise NotTaken(f"{quoted(words[0])} is not a subject of '{kind}'.{meant} There are: {_subjects(kind)}.")


def _subjects(kind: str) -> str:
    return subjects_of(kind).replace("FAULT", ", ".join((*FAULTS, "none", "other")))


def _is_value(entry: Entry, word: str) -> bool:
    return word.lower() in (*entry.states, UNREADABLE) or parse_number(word) is not None


def near(word: str, words: Sequence[str]) -> str:
    """A word that may have been meant, as a question with a blank before it; blank if none is like it."""
    found = get_close_matches(word.lower(), words, 1, 0.7)
    return f" Did you mean '{found[0]}'?" if found else ""


def _too_many(listing: str) -> NotTaken:
    return NotTaken(f"{listing} names more than {MOST_CHANNELS} channels. Enter it in smaller ranges.")
