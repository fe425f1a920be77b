"""What other jobs say of how long channels take: a prior for the typical wait of one more job.

The typical wait is the time of full reception within which 63 % of those channels that come have come: 1 - 1/e, one
scale of the exponential. It means the same for every law of waiting, which their scales do not.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import special

from satdiag.entitlement.families import Array, Family

TYPICAL_TAIL = math.exp(-1.0)
"""How much of a law of waiting is left after one typical wait."""

OPEN_SHARE = 0.1
"""How much of the prior stays as it is without other jobs, so that a job unlike all of them is not overruled
(judgement)."""


@dataclass(frozen=True)
class WaitPrior:
    """The logarithm of the typical wait [s] of one more job is normal; `jobs` were pooled for it.

    `mean_log_s` None: nothing is said of the wait. `account_dead`: the chance that the account as a whole gives
    nothing, before any channel was checked; None: nothing is said of that.
    """

    mean_log_s: float | None
    sd_log: float = 1.0
    jobs: int = 0
    account_dead: float | None = None

    def log_mass(
        self, family: Family, scale_edges: Array, shape: Array, shortest_s: float, longest_s: float
    ) -> Array:
        """Log of the prior mass of cells, shape (scale cells, shapes), the shape's own prior left out.

        Only where something is said of the wait.

        Given a shape the typical wait is a multiple of the scale, so that its logarithm is the log scale moved on.
        """
        assert self.mean_log_s is not None
        nothing = np.zeros(len(shape))
        of_unit = family.residual(np.full(len(shape), TYPICAL_TAIL), nothing, nothing, shape)
        wait = scale_edges[:, None] + np.log(of_unit)[None, :]
        near = np.diff(special.ndtr((wait - self.mean_log_s) / self.sd_log), axis=0)
        even = np.diff(scale_edges)[:, None] / math.log(longest_s / shortest_s)
        return np.asarray(np.log((1.0 - OPEN_SHARE) * near + OPEN_SHARE * even))
