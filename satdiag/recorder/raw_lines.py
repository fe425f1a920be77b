"""Lines as they were received, beside what was made of them: one JSON object a line in `raw-<run>.jsonl`.

A mended profile can read them again (`satdiag reread`). Keys: `n` counts the lines of the run, `time` and
`elapsed_s` say when it was heard, `source` by whom, `line` is its text or `hex` its bytes where they are no plain
text, `rows` the ids of the rows made of it, `why` says why nothing, or not everything, was. `of` is there after a new
reading only: it names the line that was read again, as document and number.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

from satdiag.csv_text import quoted
from satdiag.errors import BadInput, bad_input

if TYPE_CHECKING:
    from satdiag.job import Job

Place = tuple[str, int]
"""Where a line stands: the document, and its number `n` there."""

DOCUMENT = re.compile(r"raw-(?P<run>[A-Za-z0-9._-]+)\.jsonl")
_MEND = "Take the job from before it was changed, or leave this document out."
_PLAIN = re.compile(r"[^\x00-\x08\x0a-\x1f\x7f-\x9f]*")


@dataclass(frozen=True, slots=True)
class RawLine:
    """One line of a raw document; `rows` are the ids of the rows made of it."""

    document: str
    n: int
    time: str
    elapsed_s: str
    source: str
    data: bytes
    rows: tuple[str, ...]
    why: str = ""
    of: Place | None = None

    @property
    def place(self) -> Place:
        """Where it stands."""
        return self.document, self.n

    @property
    def run(self) -> str:
        """The recorder run that heard it."""
        found = DOCUMENT.fullmatch(self.document)
        return found["run"] if found else ""


class KeptLine(NamedTuple):
    """A line as it was received, and the ids of the rows that stand for it after all new readings."""

    line: RawLine
    ids: tuple[str, ...]


def document_name(run: str) -> str:
    """The document that holds the raw lines of a run."""
    return f"raw-{run}.jsonl"


def encode(line: RawLine) -> bytes:
    """The line as it stands in its document, with its line end."""
    record: dict[str, Any] = {"n": line.n, "time": line.time, "elapsed_s": line.elapsed_s, "source": line.source}
    record.update(_text_or_hex(line.data))
    record["rows"] = list(line.rows)
    if line.why:
        record["why"] = line.why
    if line.of is not None:
        record["of"] = list(line.of)
    return json.dumps(record, ensure_ascii=False, separators=(",", ":")).encode("utf-8", "backslashreplace") + b"\n"


def _text_or_hex(data: bytes) -> dict[str, str]:
    try:
        text = data.decode()
    except UnicodeDecodeError:
        return {"hex": data.hex()}
    return {"line": text} if _PLAIN.fullmatch(text) else {"hex": data.hex()}


def decode_document(document: str, data: bytes) -> Iterator[RawLine]:
    """The lines of a raw document, in order. Raises BadInput for one that is not as the recorder writes them."""
    for number, text in enumerate(data.split(b"\n"), 1):
        if text:
            yield _decode(document, text, number)


def kept_lines(job: Job) -> list[KeptLine]:
    """Every line of a job as it was received, run by run, in each as they stand there: in the order of their rows.

    Their numbers may stand in another order, if there were several sources. Raises BadInput.
    """
    lines: dict[Place, RawLine] = {}
    ids: dict[Place, tuple[str, ...]] = {}
    for name in sorted(filter(DOCUMENT.fullmatch, job.documents), key=_age):
        for line in decode_document(name, job.documents[name]):
            if line.place in ids:
                raise bad_input(name, f"the number {line.n} stands there twice", _MEND)
            if line.of is None:
                lines[line.place] = line
            elif line.of not in lines:
                what = f"its line {line.n} is of line {line.of[1]} in {quoted(line.of[0])}, which is not there"
                raise bad_input(name, what, _MEND)
            ids[line.of or line.place] = line.rows
    return [KeptLine(line, ids[place]) for place, line in lines.items()]


def _age(name: str) -> tuple[int, str]:
    """Sorts documents by when their runs were: r2 before r10."""
    found = DOCUMENT.fullmatch(name)
    digits = found["run"].removeprefix("r") if found else ""
    return int(digits) if digits.isascii() and digits.isdigit() else 0, name


def _decode(document: str, text: bytes, number: int) -> RawLine:
    try:
        record = json.loads(text)
        of = record.get("of")
        return RawLine(
            document=document,
            n=_whole(record["n"]),
            time=_word(record["time"]),
            elapsed_s=_word(record["elapsed_s"]),
            source=_word(record["source"]),
            data=bytes.fromhex(record["hex"]) if "hex" in record else _word(record["line"]).encode(),
            rows=tuple(_words(record["rows"])),
            why=_word(record.get("why", "")),
            of=None if of is None else (_word(of[0]), _whole(of[1])),
        )
    except (ValueError, KeyError, TypeError, IndexError, AttributeError, RecursionError):
        raise _not_ours(document, text, number) from None


def _not_ours(document: str, text: bytes, number: int) -> BadInput:
    what = f"{quoted(text.decode(errors='replace'))} is not a line that the recorder writes"
    return bad_input(document, what, _MEND, number)


def _word(value: Any) -> str:
    if not isinstance(value, str):
        raise TypeError
    return value


def _whole(value: Any) -> int:
    if not isinstance(value, int) or isinstance(value, bool):
        raise TypeError
    return value


def _words(values: Any) -> Sequence[str]:
    if not isinstance(values, list):
        raise TypeError
    return [_word(value) for value in values]
