"""Fill-ins for the tests of this room: the canonical set and simulated channels. They prove nothing of reality."""

import numpy as np

from satdiag.entitlement.families import Array, Family, all_families
from satdiag.entitlement.fill_in import FillIn, Rows, compress
from tests.references import entitlement_values as reference

FAMILIES: dict[str, Family] = {family.name: family for family in all_families()}
NO_TIMES = np.zeros(0)


def natural(family: str, scale_s: float, shape: float | None) -> tuple[Array, Array]:
    """Scale and shape as printed to the coordinates that the code uses."""
    if shape is None:
        return np.array([np.log(scale_s)]), np.zeros(1)
    return np.array([np.log(scale_s)]), np.array([shape if family == "carousel" else np.log(shape)])


def canonical_fill() -> FillIn:
    """The 20 channels of the canonical set."""
    first = np.repeat(np.arange(len(reference.CANONICAL_COUNTS)), reference.CANONICAL_COUNTS)
    step = reference.CANONICAL_STEP_S
    unseen = np.full(reference.CANONICAL_UNSEEN, reference.CANONICAL_END_S)
    return FillIn(first * step, (first + 1) * step, unseen, reference.CANONICAL_END_S)


def canonical_rows() -> Rows:
    """The canonical set in compressed form."""
    return compress(canonical_fill())


def checked_every(wait_s: Array, step_s: float, end_s: float) -> FillIn:
    """Channels with these waits (inf: never), all checked every `step_s` until `end_s`."""
    grid = np.concatenate([np.arange(0.0, end_s + step_s / 2, step_s), [np.inf]])
    k = np.maximum(np.searchsorted(grid, wait_s), 1)
    lower, upper = grid[k - 1], grid[k]
    seen = np.isfinite(upper)
    return FillIn(lower[seen], upper[seen], lower[~seen], end_s)


def draw_waits(family: Family, come: float, log_scale: float, shape: float, number: int, rng) -> Array:
    """Waits of `number` channels, inf for those that never come."""
    tail = 1.0 - rng.random(number)
    wait_s = family.residual(tail, np.zeros(number), np.full(number, log_scale), np.full(number, shape))
    return np.where(rng.random(number) < come, wait_s, np.inf)
