"""What a person types while recording: one line at a time becomes readings, or a plain word on why it does not.

Nothing is read or written here. What is open (a channel change, an entry that can be taken back) follows from the
entries that stand: those that were neither refused nor withdrawn.
"""

from __future__ import annotations

import re
import threading
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from satdiag.csv_text import quoted
from satdiag.recorder.admit import OWN_KINDS
from satdiag.recorder.hand_help import HELP, TO_ENTER, help_on, next_words
from satdiag.recorder.hand_reading import NotTaken, Reader, near
from satdiag.recorder.heard import Reading
from satdiag.vocabulary import UNREADABLE

if TYPE_CHECKING:
    from satdiag.job import Job

_MARKS = ("audio", "title", "refused", "abandoned")


class Entered(NamedTuple):
    """What was made of a line: its readings, an answer to show now (blank: none), and whether it was understood.

    Only the answer to `help` has several lines.
    """

    readings: tuple[Reading, ...]
    say: str
    ok: bool


@dataclass
class _Noted:
    """An entry: its words, its readings, and the ids of their rows once they are committed."""

    text: str
    readings: tuple[Reading, ...]
    ids: tuple[str, ...] | None = None


class _Attempt(NamedTuple):
    """An open channel change and the marks it has."""

    channel: str
    marks: tuple[str, ...] = ()


class HandEntry:
    """The words of one person at one job.

    `channels`: the numbers of the line-up, None if there is none. `sites`: the names of the job's sites.
    `level_unit`: what a level is in if its unit is left out; blank: the unit must be written. May be used from
    several threads.
    """

    def __init__(
        self, channels: Collection[int] | None = None, sites: Sequence[str] = (), level_unit: str = ""
    ) -> None:
        self._reader = Reader(channels, sites, level_unit)
        self._entries: list[_Noted] = []
        self._lock = threading.Lock()

    @classmethod
    def of_job(cls, job: Job) -> HandEntry:
        """With the line-up, the sites and the level unit of a job."""
        channels = None if job.lineup is None else [line.channel for line in job.lineup]
        return cls(channels, [site.name for site in job.sheet.sites], job.sheet.receiver.level_scale or "")

    # --- in and out ------------------------------------------------------------------------------------------------

    def enter(self, text: str) -> Entered:
        """What a line means. Its rows count as entered until `refused` is called."""
        text = text.strip()
        if not text:
            return Entered((), "", True)
        head, *words = text.split()
        if head.lower() == "help":
            return _help(" ".join(words).lower())
        with self._lock:
            try:
                readings, say = self._read(text)
                self._reader.check(readings)
            except NotTaken as trouble:
                return Entered((), str(trouble), False)
            self._entries.append(_Noted(text, readings))
        return Entered(readings, say, True)

    def committed(self, ids: Sequence[str]) -> None:
        """The rows of the oldest entry that still waits were committed under these ids, in their order."""
        with self._lock:
            for entry in self._entries:
                if entry.ids is None:
                    entry.ids = tuple(ids)
                    return

    def refused(self) -> None:
        """The last entry was not taken: everything is as it was before it."""
        with self._lock:
            if self._entries and self._entries[-1].ids is None:
                self._entries.pop()

    @property
    def open_channel(self) -> int | None:
        """The channel of the open channel change, or None."""
        with self._lock:
            attempt = self._attempt()
        return None if attempt is None else int(attempt.channel)

    def complete(self, text: str) -> tuple[str, ...]:
        """What the last word of an unfinished line may become: whole words, in the order of the vocabulary.

        A name with blanks is completed word by word from where it stands. A word that ends in ':' or '/' is not
        complete in itself.
        """
        if re.search(r"(^|\s)#", text):
            return ()
        words = text.split()
        last = "" if not text or text[-1].isspace() else words.pop()
        head = words[0].lower() if words else ""
        found: list[str] = []
        if head == "site":
            typed = re.sub(r"^vehicle\s+", "", text.lstrip()[len(head) :].lstrip())
            found = [name[len(typed) - len(last) :] for name in self._reader.sites if name.startswith(typed)]
        if head != "site" or len(words) == 1:
            found += next_words(words, self._reader.channels or (), self._reader.level_unit)
        return tuple(word for word in dict.fromkeys(found) if word.lower().startswith(last.lower()))

    # --- from words to readings ------------------------------------------------------------------------------------

    def _read(self, text: str) -> tuple[tuple[Reading, ...], str]:
        """The readings of a line and what to say of them. Raises NotTaken."""
        body, remark = self._reader.parted(text)
        head, *words = body.split() or [""]
        if text.split()[0].lower() == "note":
            return (_note(text),), ""
        if head.lower() == "site":
            readings, say = [self._reader.site(body)], ""
        else:
            readings, say = self._meaning(head.lower(), words)
        return tuple(reading._replace(note=remark) for reading in readings), say

    def _meaning(self, head: str, words: Sequence[str]) -> tuple[list[Reading], str]:
        if head in _MARKS and not words:
            return self._mark(head)
        if head in _MARKS and head != "audio":
            raise NotTaken(
                f"'{head}' stands alone and stamps the open channel change. "
                f"For a channel with its number write for example 'channel 31 refused' or 'tune 31 {head}'."
            )
        if head == "withdraw" and not words:
            return self._withdraw()
        if head in ("channel", "channels"):
            checks = self._reader.channel_checks(words)
            numbers = [reading.subject for reading in checks]
            return checks, f"{len(checks)} channels, {numbers[0]} to {numbers[-1]}" if len(checks) > 1 else ""
        if head == "tune" and len(words) == 1:
            return self._tune(words[0])
        if head in OWN_KINDS:
            raise NotTaken(f"'{head}' is written by the recorder alone. Free words: note what you saw")
        if head not in TO_ENTER:
            what = f"{quoted(head)} cannot be entered." if head else "A remark needs an observation before it."
            raise NotTaken(f"{what}{near(head, TO_ENTER)} 'help' shows what can be typed.")
        return [self._reader.observation(head, words)], ""

    def _tune(self, channel: str) -> tuple[list[Reading], str]:
        before = self._attempt()
        say = f"The channel change to {before.channel} was open and ends here." if before else ""
        return [Reading("tune", channel, "requested")], say

    def _mark(self, mark: str) -> tuple[list[Reading], str]:
        attempt = self._attempt()
        if attempt is None:
            raise NotTaken(f"'{mark}' stamps an open channel change, and none is open. Open one first: tune 31")
        if mark in attempt.marks:
            raise NotTaken(f"The channel change to {attempt.channel} has its '{mark}' already: the first one counts.")
        return [Reading("tune", attempt.channel, mark)], ""

    def _withdraw(self) -> tuple[list[Reading], str]:
        gone = self._gone()
        for entry in reversed(self._entries):
            if entry.readings[0].kind == "withdraw":
                continue
            if entry.ids is None:
                raise NotTaken(f"'{entry.text}' is not written yet. Withdraw it when it is.")
            ids = [name for name in entry.ids if name not in gone]
            if ids:
                return [Reading("withdraw", "row", name) for name in ids], f"takes back: {entry.text}"
        raise NotTaken("Nothing typed in this run is left to take back. For any other row: withdraw and its id.")

    # --- what stands -----------------------------------------------------------------------------------------------

    def _gone(self) -> set[str]:
        return {reading.value for entry in self._entries for reading in entry.readings if reading.kind == "withdraw"}

    def _standing(self) -> Iterator[Reading]:
        """The readings that were not withdrawn, in the order in which they were entered."""
        gone = self._gone()
        for entry in self._entries:
            ids = entry.ids or ()
            for number, reading in enumerate(entry.readings):
                if number >= len(ids) or ids[number] not in gone:
                    yield reading

    def _attempt(self) -> _Attempt | None:
        """The channel change that is open: as in the analysis it is done when audio and title have both come."""
        attempt: _Attempt | None = None
        for kind, subject, value, *_ in self._standing():
            if (kind, subject) == ("swap", "receiver") or (kind == "power" and value in ("off", "standby")):
                attempt = None
            elif kind == "tune" and value == "requested":
                attempt = _Attempt(subject)
            elif kind == "tune" and attempt is not None and subject == attempt.channel and value != UNREADABLE:
                attempt = _Attempt(subject, (*attempt.marks, value))
                if value in ("refused", "abandoned") or {"audio", "title"} <= set(attempt.marks):
                    attempt = None
        return attempt


def _note(text: str) -> Reading:
    """Free words as they are, a '#' too."""
    words = text[len("note") :].strip()
    if not words:
        raise NotTaken("'note' needs words. Write for example: note the customer drove off")
    return Reading("note", "", words)


def _help(about: str) -> Entered:
    text = help_on(about) if about else HELP
    if text:
        return Entered((), text, True)
    return Entered((), f"There is no help on {quoted(about)}.{near(about, TO_ENTER)} 'help' shows all.", False)
