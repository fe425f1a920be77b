"""Is the activation confirmed? Judgements over a whole job, with stated error rates."""

from satdiag.acceptance.compare import compare
from satdiag.acceptance.compare_document import Comparison, compare_schema
from satdiag.acceptance.document import Acceptance, acceptance_schema
from satdiag.acceptance.judgement import check_rates, confirm
from satdiag.acceptance.record import record_schema

__all__ = [
    "Acceptance",
    "Comparison",
    "acceptance_schema",
    "check_rates",
    "compare",
    "compare_schema",
    "confirm",
    "record_schema",
]
