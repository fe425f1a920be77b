"""The words of an entry, as a person would say it: 'channel 31: not listed', 'level satellite east: 3 of 5 bars'.

The checklist names the entry that a step rests on so, and the live page its entries; one that is still on its way it
says in the very same words itself (`live/static/press.js`), and a test compares the two.
"""

from __future__ import annotations

from satdiag.language import in_figures, mark, tell, translated
from satdiag.rows import Row
from satdiag.vocabulary import UNREADABLE, bars_of

HEADS = {
    "account": mark("account"),
    "audio": mark("sound"),
    "bias": mark("antenna feed, {subject}"),
    "channel": mark("channel {subject}"),
    "clock": mark("step of the laptop's clock"),
    "configuration readback": mark("stored equipment"),
    "configuration": mark("stored equipment, {subject}"),
    "errors": mark("block errors {subject}"),
    "feed": mark("antenna feed"),
    "finding": mark("finding {subject}"),
    "gap": mark("gap {subject}"),
    "heading": mark("heading"),
    "identity": mark("receiver's identifier"),
    "listing": mark("satellite source offered"),
    "lock": mark("lock {subject}"),
    "noise": mark("noise"),
    "note": mark("note"),
    "place": mark("place"),
    "power": mark("power"),
    "reset": mark("receiver"),
    "ring bus": mark("optical ring"),
    "ring other-sources": mark("optical ring, other sources"),
    "ring": mark("optical ring, {subject}"),
    "signal": mark("level {subject}"),
    "site": mark("site"),
    "supply receiver-minimum": mark("lowest supply"),
    "supply": mark("supply"),
    "swap antenna": mark("another antenna"),
    "swap lead": mark("another lead"),
    "swap receiver": mark("another receiver"),
    "swap place": mark("another place"),
    "tune": mark("channel {subject}"),
}
"""What an entry is about, by 'kind subject' or by kind alone."""

VALUES = {
    "account none": mark("does not exist"),
    "channel authorised": mark("plays"),
    "channel missing": mark("not listed"),
    "channel no-signal": mark("could not tell"),
    "configuration differs": mark("does not match"),
    "feed on": mark("turned on"),
    "feed off": mark("turned off"),
    "gap lost": mark("connection lost"),
    "gap silent": mark("nothing heard"),
    "gap overflow": mark("too much at once"),
    "identity match": mark("agrees"),
    "identity mismatch": mark("does not agree"),
    "reset seen": mark("restarted by itself"),
    "ring present": mark("answers"),
    "ring absent": mark("does not answer"),
    "ring lost": mark("not working"),
    "tune requested": mark("changed to it"),
    "tune audio": mark("sound heard"),
    "tune title": mark("title seen"),
    "tune abandoned": mark("gave up"),
}
"""Values that are said in other words, by 'kind value'."""

STATES = (
    mark("off"),
    mark("standby"),
    mark("awake"),
    mark("yes"),
    mark("no"),
    mark("refused"),
    mark("playing"),
    mark("muted"),
    mark("broken"),
    mark("submitted"),
    mark("confirmed"),
    mark("resend requested"),
    mark("resend confirmed"),
    mark("rejected"),
    mark("lapsed"),
    mark("closed"),
    mark("open"),
    mark("working"),
    mark("matches"),
    mark("open sky"),
    mark("street"),
    mark("canopy"),
    mark("indoors"),
    mark("underground"),
    mark("better"),
    mark("same"),
    mark("worse"),
    mark("excluded"),
    mark("unreadable"),
)
"""All other states, a hyphen become a blank."""

PARTS = (
    mark("satellite"),
    mark("repeater"),
    mark("any"),
    mark("voltage"),
    mark("current"),
    mark("node"),
    mark("position"),
    mark("readback"),
)
"""Parts of subjects that have words; names of satellites, nodes and sources stay."""

AS_WRITTEN = ("note", "site")
"""Kinds whose value is a person's own text."""

_SUBJECT_AS_WRITTEN = "gap"  # a source keeps its name, e.g. serial:bench
_ON_A_PATH = ("voltage", "current")


def words_of(row: Row) -> str:
    """An entry in words. Its note is left out: on a row from a page it tells of clocks."""
    if row.kind == "withdraw":
        return tell("took an entry back")
    subject = row.subject if row.kind == _SUBJECT_AS_WRITTEN else name_words(row.subject)
    head = HEADS.get(f"{row.kind} {row.subject}") or HEADS.get(row.kind)
    said = translated(head) if head else f"{row.kind} {{subject}}"
    return tell("{head}: {value}", head=said.replace("{subject}", subject), value=_value_words(row))


def name_words(subject: str) -> str:
    """The name of a path or part, e.g. 'satellite east' of 'satellite:east'."""
    part, _, name = subject.partition(":")
    return " ".join(filter(None, (_in_words(part, PARTS), _in_words(name, PARTS) if part in _ON_A_PATH else name)))


def _in_words(word: str, known: tuple[str, ...]) -> str:
    return translated(word) if word in known else word


def _value_words(row: Row) -> str:
    if row.kind in AS_WRITTEN:
        return row.value
    if row.unit:
        return reading_words(row.value, row.unit)
    said = VALUES.get(f"{row.kind} {row.value}")
    return translated(said) if said else _in_words(row.value.replace("-", " "), STATES)


def reading_words(value: str, unit: str) -> str:
    """A reading with its unit, e.g. '3 of 5 bars', '45 %', '90°', '11.2 dB'."""
    if value == UNREADABLE:
        return _in_words(value, STATES)
    bars = bars_of(unit)
    if bars is not None:
        return tell("{value} of {bars} bars", value=value, bars=bars)
    number = in_figures(value)
    return f"{number}°" if unit == "deg" else f"{number} {'%' if unit == 'percent' else unit}"
