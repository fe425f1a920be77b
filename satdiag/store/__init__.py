"""The job file NAME.satjob: one SQLite database that holds what a job folder holds, and digests of it.

At rest it is one file in DELETE mode. Every connection that only looks opens it read-only; there is one writer at a
time. Nothing in a file is believed before its marks, its schema and its pages have been looked at, and what it holds
is compared with the digests written with it: a byte that changed on a worn stick is found, not analysed.
"""

from satdiag.store.append import append_rows
from satdiag.store.create import create_job_file
from satdiag.store.format import APPLICATION_ID, USER_VERSION
from satdiag.store.live import LiveFile, open_live
from satdiag.store.read import check_job_file, read_job_file
from satdiag.store.runs import Unclean

__all__ = [
    "APPLICATION_ID",
    "USER_VERSION",
    "LiveFile",
    "Unclean",
    "append_rows",
    "check_job_file",
    "create_job_file",
    "open_live",
    "read_job_file",
]
