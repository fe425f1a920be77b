"""The one task of a fleet: a path in, the rows of one job out; the same in a process of this computer and on Dask.

Nothing leaves it as an error: a job that cannot be analysed is an outcome, too. What it returns is plain values.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import time
from functools import lru_cache
from importlib import resources
from typing import TYPE_CHECKING, Any, NamedTuple

from satdiag import __version__
from satdiag.errors import BadInput, NotAJob, SatdiagError

if TYPE_CHECKING:
    from satdiag.diagnosis.learning import Learned
    from satdiag.diagnosis.pooled import Pool

Row = dict[str, Any]

_QUOTED = re.compile(r"'.*'", re.DOTALL)
_NUMBERS = re.compile(r"-?\d+\.\d+|\d{5,}")
LONGEST_ERROR = 500
NOT_THERE = (
    "not there for the process that should analyse it: moved since it was found, or the workers see other folders"
)

NO_MEMORY = "out of memory: the job is too large for this computer, or for what else it does"


class Setting(NamedTuple):
    """What an analysis rests on besides the job: texts of closed jobs' lessons and of a fleet's, as they are kept."""

    lessons: tuple[str, ...] = ()
    pool: str = ""


class Request(NamedTuple):
    """One job to analyse. `bytes`: the digest of its files as they were found."""

    path: str
    bytes: str
    setting: Setting


class Outcome(NamedTuple):
    """What became of a job. `hash` is the canonical one, or the digest of the files where the job has none."""

    hash: str
    analysis: str
    job: Row
    channels: list[Row]
    evidence: list[Row]

    @property
    def is_bad(self) -> bool:
        """True if the job could not be analysed."""
        return self.job.get("error") is not None


@lru_cache(maxsize=1)
def packaged_faults() -> bytes:
    """faults.toml, read once in each process: it judges by what stood there when it began."""
    return resources.files("satdiag.diagnosis").joinpath("faults.toml").read_bytes()


@lru_cache(maxsize=4)
def analysis_version(setting: Setting) -> str:
    """Version of satdiag, schema of the findings, digest of faults.toml and what was learned: what moves a result."""
    from satdiag.findings import SCHEMA

    digest = hashlib.sha256(packaged_faults())
    for text in (*sorted(setting.lessons), setting.pool):
        digest.update(f"\n{len(text)}\n{text}".encode())
    return f"{__version__}/{SCHEMA}/{digest.hexdigest()[:12]}"


def analyse_one(request: Request) -> Outcome:
    """Open, hash and analyse one job. Raises nothing but what ends the process."""
    from satdiag.analysis import analyse
    from satdiag.fleet.flatten import channel_rows, evidence_rows, job_row
    from satdiag.folder import job_hash
    from satdiag.opening import open_job

    begun_s = time.process_time()
    analysis = analysis_version(request.setting)
    try:
        job = open_job(request.path)
        learned, pool = _learned(request.setting)
        wait = None if pool is None else pool.wait_of(job.sheet.package)
        found = analyse(job, learned=learned, wait=wait)
        row, channels, evidence = job_row(job, found), channel_rows(job, found.entitlement), evidence_rows(found)
        hashed = job_hash(job)
    except NotAJob as error:
        outcome = failed(request, analysis, str(error) if os.path.lexists(request.path) else NOT_THERE)
    except SatdiagError as error:
        outcome = failed(request, analysis, **_told(error))
    except MemoryError:
        outcome = failed(request, analysis, NO_MEMORY)
    except Exception as error:  # noqa: BLE001 (one job must not end the run; the row says what it was)
        what = f"internal error ({type(error).__name__}), not the job's fault: `satdiag --debug analyse` tells more"
        outcome = failed(request, analysis, what)
    else:
        outcome = Outcome(hashed, analysis, row, channels, evidence)
    outcome.job["cpu_s"] = time.process_time() - begun_s
    return outcome


def failed(request: Request, analysis: str, error: str, file: str | None = None, line: int | None = None) -> Outcome:
    """The outcome of a job that could not be analysed."""
    row: Row = {"error": sayable(error)[:LONGEST_ERROR], "error_file": file and sayable(file), "error_line": line}
    return Outcome(request.bytes, analysis, row, [], [])


def sayable(text: str) -> str:
    """A text that can be written down: a path may hold bytes that are no text, for which '?' then stands."""
    return text.encode(errors="replace").decode()


def _told(error: SatdiagError) -> Row:
    """What is wrong and where, without what the file says there: it may name people, places or the receiver."""
    if not isinstance(error, BadInput):
        return {"error": _QUOTED.sub("'…'", str(error))}
    first = error.problems[0]
    what = _NUMBERS.sub("…", _QUOTED.sub("'…'", first.what))
    if len(error.problems) > 1:
        what += f" (and {len(error.problems) - 1} more)"
    where = "" if first.column is None else f"column {first.column}: "
    return {"error": where + what, "file": first.file, "line": first.line}


@lru_cache(maxsize=1)
def _learned(setting: Setting) -> tuple[Learned, Pool | None]:
    """What the lessons make of the packaged figures, once in each process: other caches hang on it."""
    from satdiag.diagnosis.lessons import lesson_from
    from satdiag.diagnosis.pooled import pool_from
    from satdiag.kept import learned_from

    pool = pool_from(json.loads(setting.pool), "pool") if setting.pool else None
    return learned_from([lesson_from(json.loads(text), "lesson") for text in setting.lessons], pool), pool
