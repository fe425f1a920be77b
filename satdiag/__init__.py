"""satdiag: prove a newly fitted satellite radio receiver from the log of what was observed.

`open_job(path)` reads a job folder or job file, `analyse(job)` returns the findings. Both are imported on use, so
that `import satdiag` and `satdiag --help` stay instant.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from satdiag.analysis import analyse
    from satdiag.findings import Findings
    from satdiag.job import Job
    from satdiag.opening import open_job

__version__ = "0.1.0"
__all__ = ["Findings", "Job", "__version__", "analyse", "open_job"]

_HOMES = {
    "analyse": "satdiag.analysis",
    "open_job": "satdiag.opening",
    "Job": "satdiag.job",
    "Findings": "satdiag.findings",
}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'satdiag' has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(_HOMES[name]), name)
