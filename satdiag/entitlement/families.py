"""Waiting-time families for one authorisation: survival functions, residual times and priors.

Times are seconds on the exposure clock. Every function broadcasts `log_scale` and `shape` against the time:

| family      | log_scale | shape | survival S(t)                                       |
|-------------|-----------|-------|-----------------------------------------------------|
| exponential | log tau   | -     | exp(-t/tau)                                         |
| weibull     | log tau   | log k | exp(-(t/tau)^k)                                     |
| log-normal  | mu        | log s | Phi(-(log t - mu)/s)                                |
| carousel    | log P     | q     | (1-q)^m (1 - q r), m = floor(t/P), r = t/P - m      |
| two-speed   | log tau   | w     | (1-w) exp(-t/tau) + w exp(-t/(20 tau))              |

The carousel is a message repeated every P seconds from an unknown phase, each pass received with probability q.
Two speeds: a share w of the channels has missed the quick queue after the activation and waits for the slow
background. Without that law, waits with a heavy tail end later than the predicted range says.
The first three are textbook forms (Lawless, Statistical Models and Methods for Lifetime Data, 2nd ed. 2003,
chapter 1); the carousel follows from T = U + P(G - 1) with U uniform on (0, P) and G geometric(q).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
import numpy.typing as npt
from scipy import special

Array = npt.NDArray[np.float64]

LARGEST_PASS_PROBABILITY = 1.0 - 1e-9  # log(1 - q) must stay finite
MOST_WAKE_UPS = 6  # each one costs a pass over the grid; more short windows look exponential anyway
_TINY = 1e-300


@dataclass(frozen=True)
class Family:
    """One waiting-time family with the prior of its shape.

    `survival(t_s, log_scale, shape)` is P(T > t). `residual(tail, exposure_s, log_scale, shape)` is the time r [s]
    at which P(T > exposure + r | T > exposure) = tail, so a uniform `tail` draws a residual wait.
    `shape_cdf(x)` is the prior's distribution function on `shape_range`; a family without a shape has range None.
    `weight`: what it is worth beforehand beside the others.
    """

    name: str
    survival: Callable[[Array, Array, Array], Array]
    residual: Callable[[Array, Array, Array, Array], Array]
    shape_range: tuple[float, float] | None
    shape_cdf: Callable[[Array], Array]
    weight: float = 1.0

    @property
    def parameters(self) -> int:
        """Free parameters of the mixture: the share that ever comes, the scale and, if there is one, the shape."""
        return 2 if self.shape_range is None else 3


def _scaled_log(t_s: Array, log_scale: Array) -> Array:
    return np.log(np.maximum(t_s, _TINY)) - log_scale


def exponential_survival(t_s: Array, log_scale: Array, shape: Array) -> Array:
    """P(T > t) for a constant rate; `shape` is ignored."""
    return np.asarray(np.exp(-t_s * np.exp(-log_scale)) + 0.0 * shape)


def exponential_residual(tail: Array, exposure_s: Array, log_scale: Array, shape: Array) -> Array:
    """Residual wait [s]; it does not depend on the exposure so far."""
    return np.asarray(-np.exp(log_scale) * np.log(tail) + 0.0 * (shape + exposure_s))


def weibull_survival(t_s: Array, log_scale: Array, shape: Array) -> Array:
    """P(T > t) with cumulative hazard (t/tau)^k."""
    return np.asarray(np.exp(-np.exp(np.exp(shape) * _scaled_log(t_s, log_scale))))


def weibull_residual(tail: Array, exposure_s: Array, log_scale: Array, shape: Array) -> Array:
    """Residual wait [s]: tau ((E/tau)^k - log tail)^(1/k) - E."""
    k = np.exp(shape)
    hazard = np.exp(k * _scaled_log(exposure_s, log_scale))
    t_s = np.exp(log_scale + np.log(np.maximum(hazard - np.log(tail), _TINY)) / k)
    return np.asarray(np.maximum(t_s - exposure_s, 0.0))


def log_normal_survival(t_s: Array, log_scale: Array, shape: Array) -> Array:
    """P(T > t) with log T normal(mu, s)."""
    return np.asarray(special.ndtr(-_scaled_log(t_s, log_scale) * np.exp(-shape)))


def log_normal_residual(tail: Array, exposure_s: Array, log_scale: Array, shape: Array) -> Array:
    """Residual wait [s]: exp(mu - s Phi^-1(tail S(E))) - E."""
    left = np.maximum(tail * log_normal_survival(exposure_s, log_scale, shape), _TINY)
    t_s = np.exp(log_scale - np.exp(shape) * special.ndtri(left))
    return np.asarray(np.maximum(t_s - exposure_s, 0.0))


def _one_carousel(t_s: Array, log_scale: Array, q: Array) -> Array:
    passes = t_s * np.exp(-log_scale)
    whole = np.floor(passes)
    return np.asarray(np.exp(whole * np.log1p(-q)) * (1.0 - q * (passes - whole)))


def _invert_one_carousel(left: Array, log_scale: Array, q: Array) -> Array:
    """Time [s] at which an uninterrupted carousel has survival `left` in (0, 1]."""
    log_miss = np.log1p(-q)
    whole = np.floor(np.log(np.maximum(left, _TINY)) / log_miss)
    part = np.clip((1.0 - left * np.exp(-whole * log_miss)) / q, 0.0, 1.0)
    return np.asarray(np.exp(log_scale) * (whole + part))


def carousel_survival(t_s: Array, log_scale: Array, shape: Array, wake_ups_s: tuple[float, ...] = ()) -> Array:
    """P(T > t); at each exposure in `wake_ups_s` the phase is drawn afresh, so stretches awake multiply."""
    q = np.minimum(shape, LARGEST_PASS_PROBABILITY)
    if not wake_ups_s:
        return _one_carousel(t_s, log_scale, q)
    survival = _one_carousel(np.minimum(t_s, wake_ups_s[0]), log_scale, q)
    for start_s, end_s in zip(wake_ups_s, (*wake_ups_s[1:], np.inf), strict=True):
        survival = survival * _one_carousel(np.clip(t_s, start_s, end_s) - start_s, log_scale, q)
    return survival


def carousel_residual(
    tail: Array, exposure_s: Array, log_scale: Array, shape: Array, wake_ups_s: tuple[float, ...] = ()
) -> Array:
    """Residual wait [s], by inverting S at tail * S(E) in the stretch awake where that value falls."""
    q = np.minimum(shape, LARGEST_PASS_PROBABILITY)
    left = tail * carousel_survival(exposure_s, log_scale, shape, wake_ups_s)
    t_s = _invert_one_carousel(left, log_scale, q)
    for start_s in wake_ups_s:
        at_start = carousel_survival(np.asarray(start_s), log_scale, shape, wake_ups_s)
        inside = left < at_start
        later = start_s + _invert_one_carousel(np.minimum(left / np.maximum(at_start, _TINY), 1.0), log_scale, q)
        t_s = np.where(inside, later, t_s)
    return np.asarray(np.maximum(t_s - exposure_s, 0.0))


SLOWER = 20.0
"""How many times longer the slow one of two speeds takes on the average (judgement)."""

TWO_SPEED_WEIGHT = 0.25
"""Beside the other laws (judgement): enough to be heard where a tail is heavy, too little to stretch every range."""

_MOST_NEWTON_STEPS = 60


def two_speed_survival(t_s: Array, log_scale: Array, shape: Array) -> Array:
    """P(T > t) for a mixture of a quick and a slow exponential; `shape` is the share of the slow one."""
    rate_t = t_s * np.exp(-log_scale)
    return np.asarray((1.0 - shape) * np.exp(-rate_t) + shape * np.exp(-rate_t / SLOWER))


def two_speed_residual(tail: Array, exposure_s: Array, log_scale: Array, shape: Array) -> Array:
    """Residual wait [s], by Newton's method on log S.

    Given the exposure the residual is a mixture of the same two exponentials, the slow one with a larger share.
    log S is convex and falls, so that Newton's method from 0 on never overshoots.
    """
    done = exposure_s * np.exp(-log_scale)
    quick, slow = (1.0 - shape) * np.exp(-done * (1.0 - 1.0 / SLOWER)), shape
    share = slow / np.maximum(quick + slow, _TINY)
    share, goal = np.broadcast_arrays(share, np.log(tail))
    x = np.zeros(share.shape)
    for _ in range(_MOST_NEWTON_STEPS):
        fast, late = (1.0 - share) * np.exp(-x), share * np.exp(-x / SLOWER)
        survival = np.maximum(fast + late, _TINY)
        step = (np.log(survival) - goal) * survival / np.maximum(fast + late / SLOWER, _TINY)
        x = x + np.maximum(step, 0.0)
        if float(np.max(step, initial=0.0)) < 1e-6:
            break
    return np.asarray(x * np.exp(log_scale))


def _truncated_normal_cdf(x: Array, mean: float, sd: float, low: float, high: float) -> Array:
    base, top = special.ndtr((low - mean) / sd), special.ndtr((high - mean) / sd)
    return np.asarray((special.ndtr((x - mean) / sd) - base) / (top - base))


def _uniform_cdf(x: Array, low: float, high: float) -> Array:
    return np.asarray((x - low) / (high - low))


# The shape priors are judgements: hazards that fall or rise by no more than a factor of a few, waits spread
# over less than two decades, any chance of receiving one pass.
_WEIBULL_RANGE = (float(np.log(0.4)), float(np.log(4.0)))
_LOG_NORMAL_RANGE = (float(np.log(0.2)), float(np.log(2.5)))
_CAROUSEL_RANGE = (0.02, 1.0)
_TWO_SPEED_RANGE = (0.02, 0.9)

EXPONENTIAL = Family(
    "exponential", exponential_survival, exponential_residual, None, partial(_uniform_cdf, low=0.0, high=1.0)
)
WEIBULL = Family(
    "weibull",
    weibull_survival,
    weibull_residual,
    _WEIBULL_RANGE,
    partial(_truncated_normal_cdf, mean=0.0, sd=0.4, low=_WEIBULL_RANGE[0], high=_WEIBULL_RANGE[1]),
)
LOG_NORMAL = Family(
    "log-normal",
    log_normal_survival,
    log_normal_residual,
    _LOG_NORMAL_RANGE,
    partial(
        _truncated_normal_cdf,
        mean=float(np.log(0.8)),
        sd=0.5,
        low=_LOG_NORMAL_RANGE[0],
        high=_LOG_NORMAL_RANGE[1],
    ),
)


TWO_SPEED = Family(
    "two-speed",
    two_speed_survival,
    two_speed_residual,
    _TWO_SPEED_RANGE,
    partial(_uniform_cdf, low=_TWO_SPEED_RANGE[0], high=_TWO_SPEED_RANGE[1]),
    weight=TWO_SPEED_WEIGHT,
)


def carousel(wake_ups_s: Sequence[float] = ()) -> Family:
    """The carousel family for a receiver that was woken at these exposures [s] (the origin not included).

    Of more than `MOST_WAKE_UPS` the latest are kept: they decide how much of the present stretch is used up.
    """
    latest = tuple(sorted({float(w) for w in wake_ups_s if w > 0.0})[-MOST_WAKE_UPS:])
    return Family(
        "carousel",
        partial(carousel_survival, wake_ups_s=latest),
        partial(carousel_residual, wake_ups_s=latest),
        _CAROUSEL_RANGE,
        partial(_uniform_cdf, low=_CAROUSEL_RANGE[0], high=_CAROUSEL_RANGE[1]),
    )


def all_families(wake_ups_s: Sequence[float] = ()) -> tuple[Family, ...]:
    """The families that are averaged; no single one is safe when the truth is another."""
    return (EXPONENTIAL, WEIBULL, LOG_NORMAL, carousel(wake_ups_s), TWO_SPEED)
