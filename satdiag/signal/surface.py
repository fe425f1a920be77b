"""The logarithm of a density on a fine grid, worked out at few of its places.

Most of a grid holds no density to speak of: `near_top` looks from afar where the top is, and works out what lies
around it. On a grid that fits the density closely the logarithm is smooth, and a polynomial through few places tells
it everywhere (`Surface`; barycentric interpolation at Chebyshev points: Berrut and Trefethen 2004, SIAM Review 46,
501). Whether it does is looked at each time, at places between.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ends = tuple[float, float]
Log = Callable[[Floats, Floats], Floats]
"""The logarithm at x (n,) and y (m,), up to a constant, as (n, m)."""

_APART = 4
_DEEP = 30.0
"""What lies so far below the top (natural logarithm) is no part of the density: 1e-13 of it."""
_NODES = 32, 20
_LOOKS = 11, 7
_COUNTS = 17.0
"""How far below the top a polynomial has to agree, and how well."""
_AGREED = 1e-4


def near_top(log: Log, x: Floats, y: Floats) -> Floats:
    """`log` on the grid x, y wherever it comes near its largest value, and -inf beyond."""
    rows, columns = (np.unique(np.linspace(0, len(axis) - 1, len(axis) // _APART + 2).astype(int)) for axis in (x, y))
    told = log(x[rows], y[columns])
    high = told >= told.max() - _DEEP
    across, along = _span(high.any(axis=1), rows), _span(high.any(axis=0), columns)
    found = np.full((len(x), len(y)), -np.inf)
    found[across, along] = log(x[across], y[along])
    edges = [found[end, along] for end in (across.start, across.stop - 1) if end not in (0, len(x) - 1)]
    edges += [found[across, end] for end in (along.start, along.stop - 1) if end not in (0, len(y) - 1)]
    if any(float(edge.max()) > found.max() - _DEEP for edge in edges):
        return log(x, y)
    return found


def _span(some: NDArray[np.bool_], at: NDArray[np.intp]) -> slice:
    """From the place before the first that counts to the one after the last."""
    first, last = np.flatnonzero(some)[[0, -1]]
    return slice(int(at[max(first - 1, 0)]), int(at[min(last + 1, len(at) - 1)]) + 1)


@dataclass(frozen=True, eq=False)
class Surface:
    """A polynomial in x and y between ends, by its values at the nodes (N, M)."""

    x_ends: Ends
    y_ends: Ends
    values: Floats

    def __call__(self, x: Floats, y: Floats) -> Floats:
        """The polynomial at x (n,) and y (m,), as (n, m)."""
        across, along = _to_nodes(x, self.x_ends, _NODES[0]), _to_nodes(y, self.y_ends, _NODES[1])
        return np.asarray(across @ self.values @ along.T)


def surface(log: Log, x_ends: Ends, y_ends: Ends, rest: Log) -> Log:
    """A polynomial for `log` between the ends, or `log` itself where none agrees with it.

    It has to agree where the density is, the logarithm of which is `log` and `rest` together.
    """
    found = Surface(x_ends, y_ends, log(_nodes(x_ends, _NODES[0]), _nodes(y_ends, _NODES[1])))
    x, y = (
        ends[0] + (np.arange(looks) + 0.5) / looks * (ends[1] - ends[0])
        for ends, looks in zip((x_ends, y_ends), _LOOKS, strict=True)
    )
    wanted = log(x, y)
    density = wanted + rest(x, y)
    off = np.abs(found(x, y) - wanted)[density >= density.max() - _COUNTS]
    return found if float(off.max()) <= _AGREED else log


def _nodes(ends: Ends, count: int) -> Floats:
    angle = (np.arange(count) + 0.5) / count * np.pi
    return np.asarray(ends[0] + (0.5 - 0.5 * np.cos(angle)) * (ends[1] - ends[0]))


def _to_nodes(at: Floats, ends: Ends, count: int) -> Floats:
    """(n, count) what the value at each node adds to the polynomial at each place."""
    weight = np.sin((np.arange(count) + 0.5) / count * np.pi)
    weight[1::2] *= -1.0
    apart = at[:, None] - _nodes(ends, count)
    apart[apart == 0.0] = 1e-300  # at a node the polynomial is its value
    part = weight / apart
    return np.asarray(part / part.sum(axis=1, keepdims=True))
