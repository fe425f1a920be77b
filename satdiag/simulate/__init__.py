"""Made-up jobs from a physical world, for demos and tests.

Causes are set (a lead is open, a roof is overhead, an account was never confirmed), a person goes about a visit in
that world, and the log is what they wrote down. No figure here says how likely a symptom is given a fault; symptoms
follow from link budgets, circuits, fades, a broadcast carousel and human habits. What is made here proves code
against this model only.
"""

from satdiag.simulate.make import MadeJob, make_job, scenarios, write_job

__all__ = ["MadeJob", "make_job", "scenarios", "write_job"]
