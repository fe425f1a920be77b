"""Is the activation confirmed? Judgements over a whole job, with stated error rates."""

from satdiag.acceptance.document import Acceptance, acceptance_schema
from satdiag.acceptance.judgement import check_rates, confirm

__all__ = ["Acceptance", "acceptance_schema", "check_rates", "confirm"]
