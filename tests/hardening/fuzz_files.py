"""The parsers of whole files: a page with JSON in it, small files of our own; and what is done with a strange job."""

from __future__ import annotations

import atexit
import hashlib
import json
import re
import shutil
import tempfile
from collections.abc import Mapping
from contextlib import suppress
from functools import cache
from pathlib import Path

from satdiag.errors import SatdiagError
from satdiag.folder import job_hash, read_folder
from satdiag.job import Job
from tests.hardening.fuzz_changes import JSON, JSON_VALUES, TABLE, TEXT, Operator
from tests.hardening.fuzz_engine import Parser
from tests.hardening.fuzz_texts import DOCUMENTS, SAMPLE, job_with


@cache
def room() -> Path:
    """A folder of this run's own."""
    place = Path(tempfile.mkdtemp(prefix="satdiag-fuzz-"))
    atexit.register(shutil.rmtree, place, ignore_errors=True)
    return place


def as_file(name: str, data: bytes) -> Path:
    """The input as a file of that name."""
    place = room() / name
    place.write_bytes(data)
    return place


# --- an acceptance record ----------------------------------------------------------------------------------------

BLOCK = re.compile(rb'(<script type="application/json" id="record">)(.*?)(</script>)', re.DOTALL)


@cache
def confirmed() -> Job:
    """The job that the records are about."""
    return read_folder(SAMPLE / "partial-package")


@cache
def records() -> tuple[bytes, ...]:
    """Sound acceptance records, as pages."""
    from satdiag.acceptance import confirm
    from satdiag.analysis import analyse
    from satdiag.report.record import record_html, record_of

    job = confirmed()
    made = record_of(job, confirm(job, analyse(job)), by="Demo Person", made_at="2031-05-03T13:40:00Z")
    return (record_html(made).encode(),)


def _in_block(data: bytes, where: int, what: int) -> bytes:
    found = BLOCK.search(data)
    if found is None:
        return data
    inner = list(JSON.values())
    made = inner[where % len(inner)](found[2], what, where)
    return data[: found.start(2)] + made + data[found.end(2) :]


def _record_value(data: bytes, where: int, what: int) -> bytes:
    found = BLOCK.search(data)
    made = found and JSON["json-value"](found[2], where, what % len(JSON_VALUES))
    return data if not found else data[: found.start(2)] + made + data[found.end(2) :]


RECORD: Mapping[str, Operator] = {**TEXT, "block": _in_block, "value": _record_value, "value-2": _record_value}


def _record(data: bytes) -> str:
    from satdiag.report.record_check import verify_record

    found = verify_record(as_file("record.html", data), confirmed())
    assert found.belongs == (data in records() or found.belongs)
    json.dumps([found.text, *(one.text for one in found.checks)], ensure_ascii=False).encode()
    return " ".join(f"{one.name}={one.holds}" for one in found.checks)


def _record_mended(data: bytes) -> bytes:
    """The stated hash made that of the changed block."""
    found = BLOCK.search(data)
    if found is None:
        return data
    digest = hashlib.sha256(found[2]).hexdigest().encode()
    return re.sub(rb'(id="record-sha256">)[0-9a-f]{64}(<)', rb"\g<1>" + digest + rb"\g<2>", data)


# --- what is done with a job -------------------------------------------------------------------------------------


def _shared(data: bytes) -> str:
    """A job that can be read can be redacted, and the copy can be read and holds no row more."""
    from satdiag.redact import redact_job

    job = job_with("observations.csv", data)
    made = redact_job(job, 3)
    assert len(made.job.rows) <= len(job.rows)  # notes are taken out
    assert job_hash(made.job)
    return f"{min(len(made.removed), 5)} kinds taken out"


def _shared_sheet(data: bytes) -> str:
    from satdiag.redact import redact_job

    made = redact_job(job_with("job.toml", data))
    with suppress(SatdiagError):  # a day that leaves the calendar
        redact_job(job_with("job.toml", data), 3_000_000)
    return f"{min(len(made.removed), 5)} kinds taken out"


def _analysed(data: bytes) -> str:
    """Whatever rows are legal, an analysis ends with findings that JSON can carry."""
    from satdiag.analysis import analyse

    job = job_with("observations.csv", data)
    found = analyse(job)
    json.dumps(found.to_dict(), allow_nan=False)
    return f"{found.verdict.state} {found.verdict.class_}"


def _analysed_logs() -> list[bytes]:
    found = []
    for place in sorted(SAMPLE.glob("*/observations.csv")):
        lines = place.read_bytes().splitlines()
        kept = [line for line in lines if b",site,vehicle," not in line]
        found.append(b"\n".join(kept[:60]) + b"\n")
    return found


def _paired(data: bytes) -> str:
    """What a start that crashed left behind: in order, or as if it were not there."""
    from satdiag.live.pairings import _content

    place = as_file("pairing.json", data)
    place.chmod(0o600)
    return str(_content(place) is not None)


_PAIRING = json.dumps(
    {
        "format": 1,
        "job": "demo.satjob",
        "port": 8000,
        "place_sha256": "0" * 64,
        "sessions": [{"token_sha256": "0" * 64, "role": "write", "ends_unix_s": 2_000_000_000}],
    }
).encode()


def _lock_text(data: bytes) -> str:
    from satdiag.store.lock import _holder_text

    found = _holder_text(as_file("demo.lock", data))
    return str(found.pid is not None)


FILE_PARSERS: tuple[Parser, ...] = (
    Parser("acceptance-record", records, _record, RECORD, mend=_record_mended, slow_s=8.0),
    Parser("redact-rows", lambda: _analysed_logs()[:8], _shared, TABLE),
    Parser("redact-sheet", lambda: [DOCUMENTS["job.toml"]], _shared_sheet),
    Parser("analysis", _analysed_logs, _analysed, TABLE, slow_s=20.0),
    Parser("pairings", lambda: [_PAIRING], _paired, JSON),
    Parser(
        "lock-text", lambda: [b'{"pid": 1, "what": "recording", "since": "x", "computer": "y"}'], _lock_text, JSON
    ),
)
