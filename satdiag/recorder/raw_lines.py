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
from typing import Any

from satdiag.csv_text import quoted
from satdiag.errors import BadInput, bad_input

DOCUMENT = re.compile(r"raw-(?P<run>[A-Za-z0-9._-]+)\.jsonl")
_PLAIN = re.compile(r"[^\x00-\x08\x0a-\x1f\x7f-\x9f]*")


@dataclass(frozen=True)
class RawLine:
    """One line of a raw document. `at` is where it stands: (document, number in it)."""

    document: str
    n: int
    time: str
    elapsed_s: str
    source: str
    data: bytes
    rows: tuple[str, ...]
    why: str = ""
    of: tuple[str, int] | None = None

    @property
    def run(self) -> str:
        """The recorder run that heard it."""
        found = DOCUMENT.fullmatch(self.document)
        return found["run"] if found else ""


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
    return bad_input(document, what, "Take the job from before it was changed, or leave this document out.", number)


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
