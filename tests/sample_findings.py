"""The findings of the sample logs, made once for all tests of a process."""

from functools import cache
from pathlib import Path

import satdiag
from satdiag.findings import Findings
from satdiag.job import Job

ROOT = Path(__file__).parent.parent / "sample_logs"
SAMPLES = sorted(path.name for path in ROOT.iterdir() if path.is_dir())


@cache
def job_of(name: str) -> Job:
    """A sample's job."""
    return satdiag.open_job(ROOT / name)


@cache
def findings_of(name: str) -> Findings:
    """A sample's findings."""
    return satdiag.analyse(job_of(name))
