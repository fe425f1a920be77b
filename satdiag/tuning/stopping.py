"""When may one stop timing changes? Two tests that stay valid however often one looks, and whenever one stops.

Each change that tells is X = 1 if it took longer than the baseline's line, else 0. 'Slow' is shown against
H0: P(X = 1) <= 0.1 (no more than one in ten passes the line, as while all is well), 'normal' against
H0: P(X = 1) >= 0.4. The evidence is a likelihood ratio mixed over the alternative, uniform from 0.1 to 1 (from 0 to
0.4 for 'normal'). It is a product of factors with mean at most 1 under H0, so P(it ever reaches 1/alpha) <= alpha
(Ville's inequality; Ramdas, Gruenwald, Vovk and Shafer, Statistical Science 38 (2023) 576-601). The first of the two
to reach it decides.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betainc, betaincc, betaln

from satdiag.tuning.delays import Delays

Floats = NDArray[np.float64]
Bits = NDArray[np.bool_]
State = Literal["slow", "normal", "go-on"]

P_WELL = 0.1
"""How many changes may pass the line while all is well: it is the line of the 90 % quantile."""

P_SLOW = 0.4
"""Where at least this share passes the line, the changes are slow (judgement, no source)."""

ALPHA = 0.05
"""The chance of a wrong 'slow', and of a wrong 'normal', at any time at all (common practice, no source)."""

HORIZON = 100
"""How many further changes are looked ahead at most."""

_LARGEST_LOG = float(np.log(1e9))


@dataclass(frozen=True, eq=False)
class Signs:
    """The changes in order of time, shape (n,) each: did it surely pass the line, did it surely not."""

    beyond: Bits
    within: Bits


@dataclass(frozen=True)
class Decision:
    """Where the tests stand. `after`: how many changes it took to decide; `more`: about how many more it takes.

    `e_slow`, `e_normal`: the evidence at the decision, or now. `beyond`, `within`, `unclear`: how many changes
    passed the line, did not, or do not tell. `more` is None once decided, and where `HORIZON` will not do.
    """

    state: State
    e_slow: float
    e_normal: float
    beyond: int
    within: int
    unclear: int
    after: int | None
    more: int | None


def log_e_slow(beyond: ArrayLike, n: ArrayLike) -> Floats:
    """log of the evidence against P(X = 1) <= `P_WELL` from `beyond` of `n`; shapes broadcast."""
    s, f = _split(beyond, n)
    top = np.asarray(betaln(1.0 + s, 1.0 + f), dtype=float) + _log(betaincc(1.0 + s, 1.0 + f, P_WELL))
    return np.asarray(top - np.log1p(-P_WELL) - s * np.log(P_WELL) - f * np.log1p(-P_WELL))


def log_e_normal(beyond: ArrayLike, n: ArrayLike) -> Floats:
    """log of the evidence against P(X = 1) >= `P_SLOW` from `beyond` of `n`; shapes broadcast."""
    s, f = _split(beyond, n)
    top = np.asarray(betaln(1.0 + s, 1.0 + f), dtype=float) + _log(betainc(1.0 + s, 1.0 + f, P_SLOW))
    return np.asarray(top - np.log(P_SLOW) - s * np.log(P_SLOW) - f * np.log1p(-P_SLOW))


def _log(chance: ArrayLike) -> Floats:
    """Chances too small for a float give no evidence: minus infinity, on the safe side."""
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(np.asarray(chance, dtype=float)), dtype=float)


def _split(beyond: ArrayLike, n: ArrayLike) -> tuple[Floats, Floats]:
    s = np.asarray(beyond, dtype=float)
    return s, np.asarray(n, dtype=float) - s


def signs(audio: Delays, line_s: float, resolution_s: float) -> Signs:
    """Which delays passed the line, as far as marks in steps of `resolution_s` tell: the true one is within a step.

    A wait that ended before the line tells neither.
    """
    beyond = audio.duration_s - np.where(audio.came, resolution_s, 0.0) > line_s
    within = audio.came & (audio.duration_s + resolution_s <= line_s)
    return Signs(beyond, within)


def decide(seen: Signs) -> Decision:
    """The state after these changes. One that does not tell counts against either claim: it is left out of the
    evidence for 'slow' (those that came in a short wait are quick ones, so nothing is gained by it) and is taken as
    slow in the evidence for 'normal'."""
    slow_s, slow_n = np.cumsum(seen.beyond), np.cumsum(seen.beyond | seen.within)
    normal_s, normal_n = np.cumsum(~seen.within), np.arange(1, len(seen.within) + 1)
    logs = np.stack([log_e_slow(slow_s, slow_n), log_e_normal(normal_s, normal_n)]).reshape(2, -1)
    crossed = np.flatnonzero((logs >= -np.log(ALPHA)).any(axis=0))
    at = int(crossed[0]) if len(crossed) else logs.shape[1] - 1
    log_slow, log_normal = (float(x) for x in logs[:, at]) if logs.shape[1] else (0.0, 0.0)
    state: State = "go-on"
    if len(crossed):
        state = "slow" if log_slow >= log_normal else "normal"
    beyond, within = int(seen.beyond.sum()), int(seen.within.sum())
    return Decision(
        state=state,
        e_slow=float(np.exp(min(log_slow, _LARGEST_LOG))),
        e_normal=float(np.exp(min(log_normal, _LARGEST_LOG))),
        beyond=beyond,
        within=within,
        unclear=len(seen.within) - beyond - within,
        after=at + 1 if len(crossed) else None,
        more=None if len(crossed) else changes_to_go(beyond, within, len(seen.within) - beyond - within),
    )


def changes_to_go(beyond: int, within: int, unclear: int = 0) -> int | None:
    """About how many more changes settle it: the median under the posterior of P(X = 1), uniform before.

    Runs the predictive chances forward, exactly; None if fewer than half of the futures end within `HORIZON`.
    """
    open_p = np.ones(1)  # the chance of each number of further passes, while nothing is decided
    n = beyond + within
    for step in range(1, HORIZON + 1):
        passed = beyond + np.arange(step + 1)
        p_next = (1.0 + passed[:-1]) / (2.0 + n + step - 1)
        open_p = np.append(open_p * (1.0 - p_next), 0.0) + np.append(0.0, open_p * p_next)
        ended = log_e_slow(passed, n + step) >= -np.log(ALPHA)
        ended |= log_e_normal(passed + unclear, n + unclear + step) >= -np.log(ALPHA)
        open_p[ended] = 0.0
        if open_p.sum() <= 0.5:
            return step
    return None
