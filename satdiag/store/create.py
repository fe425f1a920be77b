"""A new job file, written in one piece."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from pathlib import Path

from satdiag.errors import StoreProblem
from satdiag.job import Job
from satdiag.safe_write import beside, publish
from satdiag.store.append import insert_rows
from satdiag.store.connect import SIDE_FILES, reason
from satdiag.store.format import APPLICATION_ID, SCHEMAS, USER_VERSION, digests_of


def create_job_file(path: str | os.PathLike[str], job: Job) -> None:
    """Write a job as a new job file, in one piece. Raises StoreProblem; a file that is there is never overwritten."""
    place = Path(path)
    for taken in (place, *(Path(f"{place}{end}") for end in SIDE_FILES)):
        if os.path.lexists(taken):
            raise StoreProblem(f"{taken}: it is there already. Name a new file, or move the old one away.")
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        with beside(place) as made:
            with closing(sqlite3.connect(made, isolation_level=None)) as connection:
                fill(connection, job)
            publish(made, place)
    except FileExistsError:
        raise StoreProblem(f"{place}: it is there already. Name a new file, or move the old one away.") from None
    except (OSError, sqlite3.Error) as error:
        raise StoreProblem(f"{place}: cannot be written ({reason(error)}). Nothing was left behind.") from None


def fill(connection: sqlite3.Connection, job: Job) -> None:
    """Make an empty database into a job file."""
    from satdiag import __version__

    marks = (f"application_id={APPLICATION_ID}", f"user_version={USER_VERSION}")
    # `publish` brings it to the medium.
    for pragma in (*marks, "journal_mode=MEMORY", "synchronous=OFF", "temp_store=MEMORY"):
        connection.execute(f"PRAGMA {pragma}")
    connection.execute("BEGIN")
    for statement in SCHEMAS[USER_VERSION].values():
        connection.execute(statement)
    digests = digests_of(job.header, job.documents, job.rows)
    meta = {"header": job.header, **digests.texts(), "written_by": f"satdiag {__version__}"}
    connection.executemany("INSERT INTO meta VALUES (?, ?)", meta.items())
    connection.executemany("INSERT INTO documents VALUES (?, ?)", job.documents.items())
    insert_rows(connection, job.rows, 1)
    connection.execute("COMMIT")
