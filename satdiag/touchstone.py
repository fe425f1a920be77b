"""Touchstone text of a one-port: read line by line, so that every fault has its line, and written out plainly.

A reading library takes what is left: it names no line, fills some gaps with guesses and reads meaning into comments.
The layout follows the Touchstone file format, versions 1.1 and 2.0; what is from memory is marked so.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass

from satdiag.csv_text import quoted
from satdiag.errors import BadInput, bad_input, shown

MAX_BYTES = 20_000_000
MAX_POINTS = 200_001
MAX_HZ = 1e12
"""Beyond this a frequency is a slip of the unit (judgement, no source)."""

LARGEST = 1e9
"""No reflection, impedance in ohms or angle in degrees comes near this."""

UNITS_HZ = {"hz": 1.0, "khz": 1e3, "mhz": 1e6, "ghz": 1e9}
FORMATS = ("ma", "db", "ri")
PARAMETERS = ("s", "y", "z")
_TWO_PORT_ONLY = ("g", "h")
_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_KEYWORD = re.compile(r"\[([^\]]*)\]\s*(.*)")
_COMMA = re.compile(r"[+-]?\d+,\d+([eE][+-]?\d+)?", re.ASCII)
_AGAIN = "Save the sweep from the analyser again as a one-port Touchstone file (.s1p)."
_OPTION = "Write it as: # MHz S RI R 50"
_ROW = "A one-port line is: frequency, then two numbers."
_V2_ONLY = ("number of ports", "number of frequencies", "reference", "network data", "end", "matrix format")
_PORTS_BEYOND = ("mixed-mode order", "noise data", "number of noise frequencies", "two-port data order")


@dataclass(frozen=True)
class Touchstone:
    """A one-port as it stands in the file: `rows` are (frequency in its unit, first number, second number).

    `unit`, `parameter` and `form` are small words (mhz, s, ri).
    """

    version: str
    unit: str
    parameter: str
    form: str
    resistance_ohm: float
    rows: tuple[tuple[float, float, float], ...]

    def frequencies_hz(self) -> tuple[float, ...]:
        """The frequencies in Hz."""
        scale = UNITS_HZ[self.unit]
        return tuple(row[0] * scale for row in self.rows)

    def plain_text(self) -> str:
        """The same as version 2 text (.ts) with a whole option line and no comments.

        Version 1 holds Y and Z divided by the reference, version 2 in siemens and ohms.
        """
        scale = 1.0
        if self.version == "1.0":
            scale = {"s": 1.0, "y": 1.0 / self.resistance_ohm, "z": self.resistance_ohm}[self.parameter]
        rows = [f"{f!r} {' '.join(map(repr, self._scaled(a, b, scale)))}" for f, a, b in self.rows]
        return "\n".join(
            [
                "[Version] 2.0",
                f"# {self.unit} {self.parameter} {self.form} r {self.resistance_ohm!r}",
                "[Number of Ports] 1",
                f"[Number of Frequencies] {len(rows)}",
                "[Network Data]",
                *rows,
                "[End]\n",
            ]
        )

    def _scaled(self, first: float, second: float, scale: float) -> tuple[float, float]:
        """The two numbers of a row after the value is multiplied by `scale`."""
        if self.form == "ri":
            return first * scale, second * scale
        return (first + 20.0 * math.log10(scale) if self.form == "db" else first * scale), second


def parse_touchstone(data: bytes, file: str) -> Touchstone:
    """One-port Touchstone text, version 1 or 2. Raises BadInput with the first thing that is wrong."""
    return _Reader(file).read(_text(data, file))


def _text(data: bytes, file: str) -> str:
    """The text of the file: UTF-8 with or without BOM, else Latin-1, which old analysers write into comments."""
    if len(data) > MAX_BYTES:
        what = f"the file is larger than {MAX_BYTES // 1_000_000} MB"
        raise bad_input(file, what, "A sweep of a lead has a few hundred points; save it with fewer.")
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise bad_input(file, "the text is UTF-16", "Save it as plain text or UTF-8.", 1)
    if b"\0" in data:
        line = data[: data.index(b"\0")].count(b"\n") + 1
        raise bad_input(file, "this is not text: it holds a zero byte", _AGAIN, line)
    bare = data.removeprefix(b"\xef\xbb\xbf")
    try:
        return bare.decode("utf-8")
    except UnicodeDecodeError:
        return bare.decode("latin-1")


class _Reader:
    """Reads line after line and keeps what was said so far."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.line = 0
        self.version = "1.0"
        self.option: tuple[str, str, str, float] | None = None
        self.keywords: dict[str, str] = {}
        self.rows: list[tuple[float, float, float]] = []
        self.reference_follows = False

    def bad(self, what: str, mend: str, line: int | None = None) -> BadInput:
        """An error at the line that is being read."""
        return bad_input(self.file, what, mend, self.line if line is None else line)

    def read(self, text: str) -> Touchstone:
        """The whole text."""
        for words in self._lines(text):
            if self.reference_follows and not words.startswith(("[", "#")):
                self._reference(words)
            elif words.startswith("#"):
                self._option_line(words)
            elif words.startswith("["):
                self._keyword(words)
            else:
                self._row(words)
        return self._whole()

    def _lines(self, text: str) -> Iterator[str]:
        """Lines without comments and blanks; what stands between [Begin Information] and its end is left out."""
        began: int | None = None
        for self.line, raw in enumerate(re.split(r"\r\n|\n|\r", text), 1):
            words = raw.partition("!")[0].strip()
            low = words.lower()
            if low.startswith("[begin information]"):
                began = self.line
            elif low.startswith("[end information]"):
                began = None
            elif words and began is None:
                yield words
        if began is not None:
            raise self.bad("[Begin Information] has no [End Information]", "Add it, or take both out.", began)

    def _option_line(self, words: str) -> None:
        """The line `# unit parameter format R n`, in any order (from memory); only the first one counts."""
        if self.option is not None:
            return
        found: dict[str, str] = {}
        parts = words[1:].lower().split()
        while parts:
            word = parts.pop(0)
            kind = self._kind_of(word)
            if kind == "resistance":
                word = parts.pop(0) if parts else ""
                if parts and _NUMBER.fullmatch(parts[0]):
                    raise self.bad("the option line gives more than one resistance", "A one-port has one R.")
            if kind in found:
                raise self.bad(f"the option line says its {kind} twice", _OPTION)
            found[kind] = word
        resistance = self._resistance(found["resistance"]) if "resistance" in found else 50.0
        self.option = (
            found.get("unit", "ghz"),
            found.get("parameter", "s"),
            found.get("format", "ma"),
            resistance,
        )

    def _kind_of(self, word: str) -> str:
        for kind, known in (("unit", UNITS_HZ), ("format", FORMATS), ("parameter", PARAMETERS), ("resistance", "r")):
            if word in known:
                return kind
        if word in _TWO_PORT_ONLY:
            raise self.bad(f"parameter {word.upper()} is for two ports and more", "Save S parameters of one port.")
        raise self.bad(f"{quoted(word)} in the option line is not known", _OPTION)

    def _resistance(self, word: str) -> float:
        if not _NUMBER.fullmatch(word) or not 0.1 <= float(word) <= 10_000:
            what = f"the resistance R is {quoted(word)}, not a number of ohms" if word else "R has no number"
            raise self.bad(what, "Write a plain number from 0.1 to 10000, such as R 50.")
        return float(word)

    def _keyword(self, words: str) -> None:
        """A keyword of version 2, such as [Number of Ports] 1."""
        matched = _KEYWORD.fullmatch(words)
        if matched is None:
            raise self.bad(f"{quoted(words)} is no keyword: the bracket does not close", _AGAIN)
        name, value = " ".join(matched[1].lower().split()), matched[2].strip()
        if self.reference_follows:
            raise self.bad("[Reference] has no number", "Write it as [Reference] 50.", self.line - 1)
        if "end" in self.keywords:
            raise self.bad("something follows [End]", "Take it out: [End] is the last line.")
        if name in self.keywords:
            raise self.bad(f"[{shown(matched[1])}] stands twice", "Keep one of the two.")
        if name in _PORTS_BEYOND:
            raise self.bad(f"[{matched[1]}] does not belong to a one-port", _AGAIN)
        if name == "version":
            self._version(value)
        elif name not in _V2_ONLY:
            raise self.bad(f"the keyword [{shown(matched[1])}] is not known", _AGAIN)
        elif self.version == "1.0":
            raise self.bad(
                f"[{matched[1]}] needs [Version] 2.0 in the first line", "Add it, or take the keyword out."
            )
        elif name == "number of ports" and value != "1":
            raise self.bad(f"the file has {quoted(value)} ports, not one", _AGAIN)
        self.keywords[name] = value
        if name == "reference":
            self.reference_follows = not value
            if value:
                self._reference(value)

    def _version(self, value: str) -> None:
        if self.keywords or self.option or self.rows:
            raise self.bad("[Version] is not the first line", "Put it first.")
        if value not in ("1.0", "1.1", "2.0", "2.1"):
            raise self.bad(f"version {quoted(value)} is not known", "Save it as version 1.0 or 2.0.")
        self.version = "2.0" if value.startswith("2") else "1.0"

    def _reference(self, words: str) -> None:
        """The reference resistance of version 2, on the keyword's line or the next; one number for one port."""
        self.reference_follows = False
        if len(words.split()) != 1:
            raise self.bad("[Reference] has more than one number", "A one-port has one.")
        self.keywords["reference"] = words
        self._resistance(words)

    def _row(self, words: str) -> None:
        if self.option is None:
            what = "numbers stand before the option line '#': unit and format are not known"
            raise self.bad(what, f"{_OPTION} (with the file's own unit and format), before the first number.")
        if "end" in self.keywords:
            raise self.bad("something follows [End]", "Take it out: [End] is the last line.")
        if self.version == "2.0" and "network data" not in self.keywords:
            raise self.bad("numbers stand before [Network Data]", "Put [Network Data] on a line before them.")
        fields = words.split()
        numbers = [self._number(word) for word in fields]
        if len(numbers) > 3 and len(numbers) % 2 == 1:
            raise self.bad(f"the line has {len(numbers)} numbers: this is a sweep of two ports or more", _AGAIN)
        if len(numbers) != 3:
            count = f"{len(numbers)} number{'s' if len(numbers) != 1 else ''}"
            raise self.bad(f"the line has {count}, not 3", f"{_ROW} Mend the line or take it out.")
        self._check_row(numbers[0], numbers[1], numbers[2])
        self.rows.append((numbers[0], numbers[1], numbers[2]))

    def _number(self, word: str) -> float:
        if _NUMBER.fullmatch(word):
            value = float(word)
            if value in (float("inf"), float("-inf")):
                raise self.bad(f"{quoted(word)} is too large", "Mend the line or take it out.")
            return value
        if word.lower().lstrip("+-") in ("nan", "inf", "infinity"):
            raise self.bad(f"{quoted(word)} is no measured value", "Take the line out, or sweep again.")
        if _COMMA.fullmatch(word):
            raise self.bad(
                f"{quoted(word)} has a decimal comma", "Write decimal points, with blanks between numbers."
            )
        raise self.bad(f"{quoted(word)} is not a number", f"{_ROW} Comments start with '!'.")

    def _check_row(self, frequency: float, first: float, second: float) -> None:
        unit, parameter, form, _ = self.option or ("ghz", "s", "ma", 50.0)
        if frequency < 0:
            raise self.bad(f"the frequency {frequency:g} is negative", "Mend the line.")
        if frequency * UNITS_HZ[unit] > MAX_HZ:
            what = f"the frequency {frequency:g} {unit.upper()} is beyond any sweep of a lead"
            raise self.bad(what, "Mend the unit in the option line; a bare '#' means GHz.")
        if self.rows and frequency <= self.rows[-1][0]:
            what = f"the frequency {frequency:g} does not rise: the line before has {self.rows[-1][0]:g}"
            raise self.bad(what, "Keep one line a frequency, in rising order.")
        if form == "ma" and first < 0 and parameter == "s":
            raise self.bad(
                f"the magnitude {first:g} is negative", "If these are decibels, write DB in the option line."
            )
        if form == "db" and first > 200:
            raise self.bad(f"{first:g} dB is no reflection", "Mend the format in the option line.")
        if max(abs(first), abs(second)) > LARGEST:
            raise self.bad(f"{max(first, second, key=abs):g} is no reflection and no angle", "Mend the line.")
        if len(self.rows) >= MAX_POINTS:
            raise self.bad(f"more than {MAX_POINTS} points", "Save the sweep with fewer points.")

    def _whole(self) -> Touchstone:
        if self.option is None:
            raise self.bad("the option line '#' is missing", _OPTION)
        if self.version == "2.0":
            self._check_version_2()
        if not self.rows:
            raise self.bad("there are no numbers", _AGAIN)
        unit, parameter, form, resistance = self.option
        if "reference" in self.keywords:
            resistance = float(self.keywords["reference"])
        return Touchstone(self.version, unit, parameter, form, resistance, tuple(self.rows))

    def _check_version_2(self) -> None:
        for name, line in (("number of ports", "[Number of Ports] 1"), ("network data", "[Network Data]")):
            if name not in self.keywords:
                raise self.bad(f"{line.partition(']')[0]}] is missing", f"Add {line}; or save it as version 1.")
        if "end" not in self.keywords:
            raise self.bad(
                "[End] is missing: the file may be cut short", "Save it again, or add [End] if it is whole."
            )
        count = self.keywords.get("number of frequencies")
        if count is not None and count != str(len(self.rows)):
            what = f"[Number of Frequencies] says {quoted(count)} and {len(self.rows)} are there"
            raise self.bad(what, "The file may be cut short: save it again, or mend the number.")
