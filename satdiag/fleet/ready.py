"""Everything an analysis needs, imported once: where processes are forked, they are forked from one that has this."""

from __future__ import annotations

from contextlib import suppress

import satdiag.analysis
import satdiag.fleet.flatten
import satdiag.folder
import satdiag.opening  # noqa: F401 (imported for what comes after)
from satdiag.diagnosis.model import load_model
from satdiag.errors import SatdiagError
from satdiag.fleet.task import packaged_faults

packaged_faults()
with suppress(SatdiagError):  # what is wrong is said where a job is analysed
    load_model()
