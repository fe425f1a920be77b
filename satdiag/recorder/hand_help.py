"""The words a person may type while recording, all from the vocabulary: what completes a line, and the help on it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from satdiag.recorder.admit import OWN_KINDS
from satdiag.vocabulary import (
    FAULTS,
    KINDS,
    UNREADABLE,
    Entry,
    entries_of,
    entry_of,
    takes_unreadable,
    values_text,
)

SHORT_FORMS = ("channels", "title", "refused", "abandoned", "help")
"""Words that begin a line and are no kind."""

_KINDS = tuple(kind for kind in KINDS if kind not in OWN_KINDS)

TO_ENTER = (*_KINDS, *SHORT_FORMS)
"""Every word that may begin a line."""

HELP = f"""\
channel 31 refused            one check
channels 2,5,9-12 authorised  several checks; of a range only what the line-up lists
tune 31                       a channel change begins; then bare audio, title, refused or abandoned
withdraw                      takes the last entry back, again: the one before
note any words                free text
KIND SUBJECT VALUE UNIT       anything else, e.g. signal any 3 bars/5  # a remark
help KIND                     what a kind takes. Kinds: {", ".join(_KINDS)}"""

_STAMP = "'{}' alone stamps the channel change that is open; 'tune 31' opens one."
_HELP_ON = {
    "channels": "'channels 2-40 authorised' or 'channels 2,5,9-12 refused': several checks, at most 500. Of a range "
    "it means what the line-up lists; without a line-up every number.",
    "title": _STAMP.format("title"),
    "refused": _STAMP.format("refused"),
    "abandoned": _STAMP.format("abandoned"),
    "help": "'help' shows what can be typed, 'help KIND' what a kind takes.",
    "note": "'note any words': free text, kept with its time.",
    "withdraw": "'withdraw' takes all rows of the last entry back, again: of the one before. 'withdraw ID' takes any "
    "row back. What is taken back is kept, struck through, and not used.",
}
_HELP_MORE = {
    "audio": _STAMP.format("audio"),
    "tune": "'tune 31' means 'tune 31 requested'. Then bare audio, title, refused or abandoned stamp it.",
}


def natural_subject(kind: str) -> str | None:
    """The subject that is meant if none is written: the only one, or the first if the others are parts of it."""
    first, *others = [subject for entry in entries_of(kind) for subject in entry.subjects]
    if first == "ANY" or entry_of(kind, first) is None:  # a template such as CHANNEL
        return None
    return first if all(other.startswith((f"{first}:", f"{first}-")) for other in others) else None


def help_on(word: str) -> str:
    """What a kind or a short form takes, in one or more lines; blank if there is no such word."""
    if word in _HELP_ON:
        return _HELP_ON[word]
    if word in OWN_KINDS:
        return f"'{word}' is written by the recorder alone."
    lines = [_entry_help(entry) for entry in entries_of(word)]
    if lines and (natural := natural_subject(word)) is not None:
        lines.append(f"The subject '{natural}' may be left out.")
    if word in _HELP_MORE:
        lines.append(_HELP_MORE[word])
    return "\n".join(lines)


def _entry_help(entry: Entry) -> str:
    units = f" in {' or '.join(entry.units)}" if entry.units else ""
    also = f", or {UNREADABLE}" if takes_unreadable(entry.kind) else ""
    return f"{entry.kind} {' | '.join(entry.subjects)}: {values_text(entry)}{units}{also} - {entry.meaning}"


def next_words(words: Sequence[str], channels: Iterable[int], level_unit: str) -> Iterator[str]:
    """What may follow the words of an unfinished line; one that ends in ':' or '/' wants more behind it.

    `channels`: those of the line-up; `level_unit`: the unit of levels, blank if unknown. Names of sites are not among
    them.
    """
    if not words:
        yield from TO_ENTER
        return
    head, rest = words[0].lower(), words[1:]
    if head == "help":
        yield from () if rest else TO_ENTER
    elif head in ("channel", "channels", "tune") and not rest:
        yield from map(str, channels)
    elif head == "channels":
        yield from _values(entries_of("channel")[0])
    elif head in _KINDS:
        yield from _inside(head, rest, level_unit)


def _inside(kind: str, rest: Sequence[str], level_unit: str) -> Iterator[str]:
    """The words that may follow a kind and what stands behind it."""
    natural = natural_subject(kind)
    usual = None if natural is None else entry_of(kind, natural)
    if not rest:
        for entry in entries_of(kind):
            for subject in entry.subjects:
                yield from _subject_words(subject)
        yield from _values(usual)
        return
    written = entry_of(kind, rest[0])
    meant, after = (usual, rest) if written is None else (written, rest[1:])
    if not after:
        yield from _values(meant)
    elif len(after) == 1 and after[0].lower() != UNREADABLE and meant is not None:
        yield from _units(meant, level_unit)


def _subject_words(template: str) -> Iterator[str]:
    head, colon, tail = template.partition(":")
    if template == "FAULT":
        yield from (*FAULTS, "none", "other")
    elif tail == "PATH":
        yield from (f"{head}:satellite", f"{head}:repeater")
    elif tail == "NAME":
        yield head + colon
    elif template == template.lower():
        yield template


def _values(entry: Entry | None) -> Iterator[str]:
    if entry is not None:
        yield from entry.states
        if takes_unreadable(entry.kind):
            yield UNREADABLE


def _units(entry: Entry, level_unit: str) -> Iterator[str]:
    if level_unit and "bars/N" in entry.units:
        yield level_unit
    for unit in entry.units:
        if unit == "bars/N":
            yield "bars/"
        elif unit != level_unit:
            yield unit
