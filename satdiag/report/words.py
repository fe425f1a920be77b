"""The words of the report: what each state, fault, reason and source of the findings is called before people."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping

from satdiag.language import mark, tell, translated
from satdiag.report.numbers import unknown


class Words(Mapping[str, str]):
    """A table of marked words that says them in the language in use."""

    def __init__(self, marked: Mapping[str, str]) -> None:
        self._marked = dict(marked)

    def __getitem__(self, key: str) -> str:
        return translated(self._marked[key])

    def __iter__(self) -> Iterator[str]:
        return iter(self._marked)

    def __len__(self) -> int:
        return len(self._marked)


VERDICTS = Words(
    {
        "works": mark("It works"),
        "filling": mark("Still filling in"),
        "explained": mark("Nothing to repair"),
        "fault": mark("A fault"),
        "cannot-tell": mark("Cannot tell yet"),
    }
)

CHANNEL_STATES = Words(
    {
        "authorised": mark("plays"),
        "refused": mark("refused"),
        "missing": mark("not listed"),
        "no-signal": mark("no signal"),
        "unchecked": mark("not checked"),
    }
)

CHANNEL_REASONS = Words(
    {
        "plays": mark("authorised when last checked"),
        "late": mark("expected and not here yet"),
        "not-in-package": mark("probably not part of the package"),
        "account": mark("the whole account looks inactive"),
        "lost": mark("played before and is refused now"),
        "not-listed": mark("the head unit does not list it"),
        "cannot-tell": mark("too little was seen to say"),
    }
)

STRETCHES = Words(
    {
        "clear": mark("clear"),
        "shadowed": mark("weakened"),
        "received": mark("received, level not read"),
        "blocked": mark("nothing received"),
    }
)

CLASSES = Words(
    {
        "antenna": mark("antenna"),
        "wiring": mark("wiring"),
        "configuration": mark("configuration"),
        "subscription": mark("subscription"),
        "sky": mark("view of the sky"),
        "receiver": mark("receiver"),
        "service": mark("radio surroundings"),
        "none": mark("no fault"),
        "other": mark("something not on the list"),
    }
)

FAULTS = Words(
    {
        "antenna-open": mark("antenna lead open"),
        "antenna-short": mark("antenna feed shorted"),
        "antenna-weak": mark("antenna weak"),
        "feed-swapped": mark("wrong antenna conductor"),
        "feed-lossy": mark("lossy antenna lead"),
        "supply-dropout": mark("supply drop-outs"),
        "ring-broken": mark("optical ring open"),
        "ring-order": mark("wrong order on the ring"),
        "node-unpowered": mark("receiver does not answer"),
        "not-configured": mark("receiver not in the vehicle's stored equipment"),
        "audio-path": mark("sound not passed on"),
        "not-activated": mark("account not activated"),
        "account-lapsed": mark("account has ended"),
        "id-mismatch": mark("activated for another receiver"),
        "entitlement-not-received": mark("activation message not received"),
        "partial-package": mark("channels outside the package"),
        "indoors": mark("under a roof"),
        "obstructed": mark("satellite hidden from view"),
        "foliage": mark("trees in the way"),
        "out-of-coverage": mark("outside the service area"),
        "receiver-defective": mark("receiver defective"),
        "feed-absent": mark("receiver does not feed the antenna"),
        "interference": mark("strong transmitter near by"),
        "none": mark("no fault"),
        "other": mark("something not on the list"),
    }
)

VISIT_REASONS = Words(
    {
        "just-installed": mark("receiver just fitted"),
        "complaint": mark("a complaint"),
        "check": mark("a check"),
        "unknown": mark("not stated"),
    }
)

SKY_SOURCES = Words(
    {
        "gnss": mark("navigation satellites' record"),
        "horizon": mark("skyline readings"),
        "obstacles": mark("list of obstacles"),
        "place": mark("a person's word on the place"),
        "none": mark("nothing known"),
    }
)

PLACES = Words(
    {
        "open-sky": mark("open sky"),
        "street": mark("a street"),
        "canopy": mark("under trees"),
        "indoors": mark("under a roof"),
        "underground": mark("underground"),
    }
)

BIAS_STATES = Words(
    {
        "normal": mark("normal"),
        "open": mark("voltage is there, no current flows"),
        "short": mark("shorted"),
        "low": mark("less current than normal"),
        "high": mark("more current than normal"),
        "absent": mark("neither voltage nor current"),
    }
)

SUPPLY_STATES = Words({"normal": mark("normal"), "low": mark("low"), "dropouts": mark("drops out")})
LEAD_ENDS = Words(
    {
        "before": mark("ends before the antenna"),
        "at": mark("reaches the antenna"),
        "beyond": mark("ends beyond the antenna's place"),
        "none": mark("no clear end"),
        "unknown": mark("where it ends cannot be told"),
    }
)
REFLECTIONS = Words(
    {
        "open": mark("open end"),
        "short": mark("shorted end"),
        "step": mark("part comes back"),
        "unknown": mark("open, shorted or in part"),
        "ghost": mark("echo"),
        "sidelobe": mark("made by the window"),
    }
)
RING_STATES = Words({"closed": mark("closed"), "open": mark("open")})
OTHER_SOURCES = Words({"working": mark("other sources work"), "lost": mark("other sources do not work")})

EXPOSURE_BASES = Words(
    {
        "lock": mark("counted while the receiver reported a lock"),
        "level": mark("counted while a level was read"),
        "awake": mark("counted while the receiver was awake, since no lock or level was logged"),
    }
)

EXPOSURE_ORIGINS = Words(
    {
        "confirmed": mark("from the provider's confirmation"),
        "first-row": mark("from the first entry about this receiver, since no confirmation was logged after it"),
    }
)

EXPECTED_FROM = Words(
    {
        "package": mark("the channels that the package holds"),
        "lineup": mark("every subscribed channel of the line-up, since the package is not known"),
        "seen": mark("every channel that was ever seen, since no line-up was given"),
    }
)


def fault_words(fault: str | None) -> str:
    """A fault or class in words; a name that is not known stands as it is."""
    if fault is None:
        return unknown()
    return FAULTS.get(fault) or CLASSES.get(fault) or fault.replace("-", " ")


_ROW = re.compile(r"row (\d+)")


def row_words(rows: Iterable[str]) -> str:
    """Names of rows of the log, as findings hold them: a row without an id is called 'row 8'."""
    return ", ".join(tell("row {n}", n=found[1]) if (found := _ROW.fullmatch(row)) else row for row in rows)


def unit_words(unit: str | None) -> str:
    """A unit of levels as it is read out: 'bars/5' is 'of 5 bars', 'percent' is '%'."""
    if unit is None:
        return ""
    if unit.startswith("bars/"):
        return tell("of {n} bars", n=unit.removeprefix("bars/"))
    return "%" if unit == "percent" else unit


def axis_unit_words(unit: str) -> str:
    """A unit of levels beside an axis: 'bars/5' is 'bars, 0 to 5'."""
    if unit.startswith("bars/"):
        return tell("bars, 0 to {n}", n=unit.removeprefix("bars/"))
    return unit_words(unit)


def sentence(text: str) -> str:
    """A text with a capital letter and a full stop, for notes that were written as phrases."""
    text = text.strip()
    if not text:
        return ""
    return text[0].upper() + text[1:] + ("" if text[-1] in ".!?" else ".")
