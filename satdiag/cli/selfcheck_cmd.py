"""`satdiag selfcheck`: does satdiag work on this computer? One line a check."""

from __future__ import annotations

import re
import sqlite3
import sys
import tempfile
from collections.abc import Callable, Iterator
from importlib.metadata import PackageNotFoundError, requires, version
from pathlib import Path
from typing import NamedTuple

import click

BUNDLED = Path(__file__).parent.parent / "bundled" / "antenna-open"
_EXTRAS = {
    "page": "log a visit on a phone",
    "rf": "reflection sweeps of the antenna lead",
    "fleet": "many jobs on several computers",
    "parquet": "export for data warehouses",
    "pdf": "checks of printed reports",
}


class Line(NamedTuple):
    """One check: did it pass (None: a remark), and in words what was found."""

    passed: bool | None
    text: str


@click.command()
def selfcheck() -> int:
    """Check versions, optional parts, analysis, job files and the current folder.

    Exit code 0: all that is needed works; 1: something does not, and the line says what to do.
    """
    failed = 0
    for check in (_python, _packages, _extras, _database, _analysis, _store, _current_folder):
        for line in _guarded(check):
            failed += line.passed is False
            word = {True: "ok", False: "FAILED", None: "note"}[line.passed]
            click.echo(f"{word:<7} {line.text}")
    click.echo("All that is needed works." if not failed else f"{failed} of the checks failed.")
    return 1 if failed else 0


def _guarded(check: Callable[[], Iterator[Line]]) -> list[Line]:
    try:
        return list(check())
    except Exception as error:  # noqa: BLE001 (whatever goes wrong in a check is what it has found)
        name = (check.__doc__ or "").partition(":")[0]
        return [Line(False, f"{name}: {type(error).__name__}: {error}")]


def _python() -> Iterator[Line]:
    """Python: new enough."""
    found = ".".join(str(part) for part in sys.version_info[:3])
    yield Line(sys.version_info >= (3, 11), f"Python {found} (3.11 or later is needed)")


def _packages() -> Iterator[Line]:
    """Packages: those that satdiag needs."""
    if _version("satdiag") is None:
        yield Line(
            None, "satdiag runs from its source folder, not installed: its packages are not checked one by one"
        )
    for name, extra in _requirements():
        if extra is None:
            found = _version(name)
            yield Line(found is not None, f"{name} {found}" if found else f"{name} is missing: pip install {name}")


def _extras() -> Iterator[Line]:
    """Optional parts: present or not, and what for."""
    for extra, purpose in _EXTRAS.items():
        names = [name for name, of in _requirements() if of == extra]
        if not names:
            continue
        missing = [name for name in names if _version(name) is None]
        if missing:
            yield Line(None, f'optional part {extra} ({purpose}) is not installed: pip install "satdiag[{extra}]"')
        else:
            yield Line(True, f"optional part {extra} ({purpose}): {', '.join(f'{n} {_version(n)}' for n in names)}")


def _requirements() -> list[tuple[str, str | None]]:
    """The distributions that satdiag names, each with the extra it belongs to (None: always needed)."""
    found = []
    for line in (requires("satdiag") or []) if _version("satdiag") else []:
        name = re.match(r"[A-Za-z0-9._-]+", line)
        extra = re.search(r"extra\s*==\s*['\"]([^'\"]+)['\"]", line)
        if name:
            found.append((name[0], extra[1] if extra else None))
    return found


def _version(name: str) -> str | None:
    try:
        return version(name)
    except PackageNotFoundError:
        return None


def _database() -> Iterator[Line]:
    """SQLite: its version."""
    yield Line(True, f"SQLite {sqlite3.sqlite_version}")


def _analysis() -> Iterator[Line]:
    """Analysis: the job that comes with satdiag."""
    import tomllib

    import satdiag

    job = satdiag.open_job(BUNDLED)
    truth = tomllib.loads(job.documents["truth.toml"].decode())
    found = satdiag.analyse(job).verdict
    right = (found.state, found.class_) == (truth["state"], truth["class"])
    yield Line(
        right,
        f"analysis of the bundled job ({len(job.rows)} observations): {found.state}, {found.class_}"
        + (
            ", as it should be"
            if right
            else f"; it should be {truth['state']}, {truth['class']}: install satdiag anew"
        ),
    )


def _store() -> Iterator[Line]:
    """Job file: written and read back in a temporary folder."""
    from satdiag.folder import job_hash
    from satdiag.opening import open_job
    from satdiag.store import check_job_file, create_job_file, read_job_file

    job = open_job(BUNDLED)
    with tempfile.TemporaryDirectory(prefix="satdiag-selfcheck-") as folder:
        place = Path(folder) / "selfcheck.satjob"
        create_job_file(place, job)
        same = job_hash(read_job_file(place)) == job_hash(job) and not check_job_file(place)
    yield Line(
        same, "job file written and read back " + ("without loss" if same else "with other content than before")
    )


def _current_folder() -> Iterator[Line]:
    """Current folder: may be written to."""
    here = Path.cwd()
    try:
        with tempfile.TemporaryFile(dir=here):
            pass
    except OSError as error:
        yield Line(False, f"the current folder {here} cannot be written to ({error.strerror}): work in another one")
        return
    yield Line(True, f"the current folder {here} can be written to")
