"""Figures of the fill-in estimator, beside two libraries that fit one law each, measured in the same run.

The channels are made: share .85, Weibull(300 s, 1.3), 30 min. `common`: all are checked every 60 s; `own`: each at
about thirty times of its own. Libraries get the rows as they are; the project's own reduction of them to fewer rows
is part of its time.

Posterior: five laws on grids, averaged. Weibull: the one of them that the libraries fit too, on its grid. lifelines:
`WeibullFitter.fit_interval_censoring`, without a share that never comes (with one it is wrong on intervals, see the
tests). surpyval: `Weibull.fit(lfp=True)`, the same model as ours. Log-likelihoods are those of all rows with equal
terms: `cells` the best cell of our grid, `ours` that cell refined on the reduced rows, `surpyval` its fit. Step
curves: ours against lifelines' `npmle`, which is left out where it takes minutes.

Times are medians. Every library runs on as many threads as OMP_NUM_THREADS says; it is set to 1 if it is not set.
"""

import os
import platform
import sys
import time
import warnings
from typing import NamedTuple

SIZES = (20, 200, 2_000, 20_000)
STEP_S, END_S = 60.0, 1800.0
SHARE, SCALE_S, SHAPE = 0.85, 300.0, 1.3
REPEATS = 7
LONGEST_S = 4.0  # of repeating one figure
MOST_OWN_ROWS = 200  # of its own checks that lifelines' step curve takes in less than minutes
WHOLE_OF = 200  # channels of the whole posterior with predictions


class Line(NamedTuple):
    """One line of the table: seconds (None: left out) and log-likelihoods."""

    checks: str
    channels: int
    rows: int
    posterior_s: float
    weibull_s: float
    lifelines_s: float
    surpyval_s: float
    cells: float
    ours: float
    surpyval: float
    lifelines: float
    steps_s: float
    npmle_s: float | None
    steps: float


def say(text):
    """Progress."""
    print(text, file=sys.stderr, flush=True)


def median_s(work):
    """Median time of a few repeats, the first one (which warms caches) left out if there are more."""
    spent, begun = [], time.perf_counter()
    while len(spent) < REPEATS + 1 and (len(spent) < 2 or time.perf_counter() - begun < LONGEST_S):
        at = time.perf_counter()
        work()
        spent.append(time.perf_counter() - at)
    kept = sorted(spent[1:])
    return (kept[(len(kept) - 1) // 2] + kept[len(kept) // 2]) / 2


# --- the data ----------------------------------------------------------------------------------------------------


def made(number, checks):
    """Lower and upper ends of the interval in which each channel came; inf where it did not by the last check."""
    import numpy as np

    rng = np.random.default_rng(number)
    wait_s = np.where(rng.random(number) < SHARE, SCALE_S * rng.weibull(SHAPE, number), np.inf)
    if checks == "common":
        look_s = np.broadcast_to(np.arange(STEP_S, END_S + 1.0, STEP_S), (number, int(END_S / STEP_S)))
    else:
        look_s = np.sort(rng.uniform(0.0, END_S, (number, int(END_S / STEP_S))), axis=1)
    came = look_s >= wait_s[:, None]
    return np.where(came, 0.0, look_s).max(axis=1), np.where(came, look_s, np.inf).min(axis=1)


def as_fill(lower, upper):
    """The same for the estimator."""
    import numpy as np

    from satdiag.entitlement.fill_in import FillIn

    seen = np.isfinite(upper)
    return FillIn(lower[seen], upper[seen], lower[~seen], END_S)


# --- ours and theirs ---------------------------------------------------------------------------------------------


def refined(rows, grid):
    """The best cell of a Weibull grid: its log-likelihood, and (share, log scale, log shape) refined from there."""
    import numpy as np
    from scipy import optimize, special

    from satdiag.entitlement.families import WEIBULL
    from satdiag.entitlement.grid import log_likelihood

    come, scale, shape = grid.points()
    values = log_likelihood(WEIBULL, rows, come, scale, shape)
    row, column = np.unravel_index(values.argmax(), values.shape)

    def loss(x):
        return -float(log_likelihood(WEIBULL, rows, special.expit(x[:1]), x[1:2], x[2:3])[0, 0])

    start = np.array([special.logit(come[row]), scale[column], shape[column]])
    best = optimize.minimize(loss, start, method="Nelder-Mead", options={"fatol": 1e-9, "xatol": 1e-7}).x
    return float(values.max()), (float(special.expit(best[0])), float(best[1]), float(best[2]))


def exact_log_likelihood(lower, upper, share, log_scale, log_shape):
    """Of all rows, none of them reduced."""
    import numpy as np

    from satdiag.entitlement.families import WEIBULL
    from satdiag.entitlement.fill_in import Rows
    from satdiag.entitlement.grid import log_likelihood

    pairs, count = np.unique(np.column_stack([lower, upper]), axis=0, return_counts=True)
    rows = Rows(pairs[:, 0], pairs[:, 1], count.astype(float))
    point = np.array([share]), np.array([log_scale]), np.array([log_shape])
    return float(log_likelihood(WEIBULL, rows, *point)[0, 0])


def measured(number, checks):
    """One line of the table."""
    import numpy as np
    import surpyval
    from lifelines import WeibullFitter
    from lifelines.fitters.npmle import npmle

    from satdiag.entitlement.families import WEIBULL
    from satdiag.entitlement.fill_in import compress
    from satdiag.entitlement.grid import Priors, family_posterior
    from satdiag.entitlement.posterior import posterior_of
    from satdiag.entitlement.turnbull import step_curve

    lower, upper = made(number, checks)
    fill, priors, ones = as_fill(lower, upper), Priors(), np.ones(number)
    rows = compress(fill)
    cells, best = refined(rows, family_posterior(WEIBULL, rows, priors))
    model = surpyval.Weibull.fit(xl=lower, xr=upper, lfp=True)
    plain = WeibullFitter().fit_interval_censoring(lower, upper)
    moved = np.where(lower > 0, lower + 1e-7, 0.0)  # it takes intervals as closed
    is_quick = checks == "common" or number <= MOST_OWN_ROWS
    return Line(
        checks,
        number,
        len(rows.count),
        posterior_s=median_s(lambda: posterior_of(fill, priors)),
        weibull_s=median_s(lambda: family_posterior(WEIBULL, compress(fill), priors)),
        lifelines_s=median_s(lambda: WeibullFitter().fit_interval_censoring(lower, upper)),
        surpyval_s=median_s(lambda: surpyval.Weibull.fit(xl=lower, xr=upper, lfp=True)),
        cells=cells,
        ours=exact_log_likelihood(lower, upper, *best),
        surpyval=-float(model.neg_ll()),
        lifelines=float(plain.log_likelihood_),
        steps_s=median_s(lambda: step_curve(lower, upper, ones)),
        npmle_s=median_s(lambda: npmle(moved, upper)) if is_quick else None,
        steps=step_curve(lower, upper, ones).log_likelihood,
    )


def whole(checks):
    """Seconds of the posterior with all predictions for a job of 200 channels, and of lifelines' one plain fit."""
    from lifelines import WeibullFitter

    from satdiag.entitlement.grid import Priors
    from satdiag.entitlement.posterior import posterior_of
    from satdiag.entitlement.predict import predict

    lower, upper = made(WHOLE_OF, checks)
    fill = as_fill(lower, upper)
    ours = median_s(lambda: predict(fill, posterior_of(fill, Priors()), 0.0))
    return ours, median_s(lambda: WeibullFitter().fit_interval_censoring(lower, upper))


# --- the tables --------------------------------------------------------------------------------------------------


def exponent(lines, name):
    """Slope of log time on log channels, from 200 channels on (below, only fixed costs are measured)."""
    import numpy as np

    pairs = [(line.channels, getattr(line, name)) for line in lines if line.channels >= 200 and getattr(line, name)]
    if len(pairs) < 2:
        return None
    return float(np.polyfit(*np.log(np.array(pairs)).T, 1)[0])


def _ms(seconds):
    if seconds is None:
        return "takes minutes"
    return f"{1000 * seconds:,.0f}" if seconds >= 0.1 else f"{1000 * seconds:.3g}"


def _row(cells):
    return "| " + " | ".join(str(cell) for cell in cells) + " |"


def times_table(lines):
    """Times, and how they grow, as a Markdown table."""
    names = ("posterior_s", "weibull_s", "surpyval_s", "lifelines_s", "steps_s", "npmle_s")
    heads = (
        "posterior, 5 laws",
        "Weibull on its grid",
        "surpyval",
        "lifelines",
        "step curve",
        "lifelines' step curve",
    )
    table = [_row(["checks", "channels", *(f"{head}, ms" for head in heads)]), _row(["---"] * 8)]
    for checks in dict.fromkeys(line.checks for line in lines):
        own = [line for line in lines if line.checks == checks]
        table += [_row([line.checks, f"{line.channels:,}", *(_ms(getattr(line, n)) for n in names)]) for line in own]
        grow = [exponent(own, name) for name in names]
        table.append(_row([checks, "growth exponent", *("" if g is None else f"{g:.2f}" for g in grow)]))
    return "\n".join(table)


def fits_table(lines):
    """Log-likelihoods side by side as a Markdown table."""
    heads = ("checks", "channels", "rows after reduction", "best cell, reduced rows", "ours refined, all rows")
    heads += ("surpyval, all rows", "difference", "lifelines without 'never'", "step curve")
    table = [_row(heads), _row(["---"] * len(heads))]
    for line in lines:
        values = (line.cells, line.ours, line.surpyval)
        cells = [line.checks, f"{line.channels:,}", line.rows, *(f"{value:.6f}" for value in values)]
        apart = f"{line.ours - line.surpyval:+.1e}"
        table.append(_row([*cells, apart, f"{line.lifelines:.3f}", f"{line.steps:.6f}"]))
    return "\n".join(table)


def circumstances():
    """What the figures were measured on."""
    import lifelines
    import numpy as np
    import scipy
    import surpyval

    load = f"load before {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else "load not known"
    libraries = f"numpy {np.__version__}, scipy {scipy.__version__}, lifelines {lifelines.__version__}"
    return (
        f"Python {platform.python_version()}, {libraries}, surpyval {surpyval.__version__}, {platform.system()} "
        f"{platform.machine()}, {os.cpu_count()} processors, OMP_NUM_THREADS={os.environ['OMP_NUM_THREADS']}, {load}"
    )


def lines(quick=False, say=print):
    """Figures for `benchmark.py all`."""
    from bench_figures import Line as Figure

    sizes = SIZES[:2] if quick else SIZES[:3]
    for number in sizes:
        found = measured(number, "common")
        size, what, cells = f"{number:,} channels", "fill-in, one law on its grid", found.weibull_s
        yield Figure(what, size, "s", cells, found.surpyval_s, "surpyval, one best fit", 1.0)
        yield Figure(what, size, "s", cells, found.lifelines_s, "lifelines, one best fit", 1.0)
        yield Figure("fill-in, step curve", size, "s", found.steps_s, found.npmle_s, "lifelines' step curve", 1.0)


def main():
    """Measure everything, print the tables; the exit code."""
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    try:
        on = circumstances()
    except ImportError as error:
        say(f"no figures: {error.name} is not in the environment; install it with: pip install -e .[dev]")
        return 1
    warnings.simplefilter("ignore")
    lines = []
    try:
        for checks in ("common", "own"):
            for number in SIZES:
                say(f"{checks} checks, {number:,} channels ...")
                lines.append(measured(number, checks))
        wholes = {checks: whole(checks) for checks in ("common", "own")}
    except KeyboardInterrupt:
        say("stopped")
        return 130
    print(times_table(lines), fits_table(lines), sep="\n\n", end="\n\n")
    print(
        _row([f"{WHOLE_OF} channels, checks", "posterior and predictions, ms", "lifelines, one Weibull, ms", "ratio"])
    )
    print(_row(["---"] * 4))
    for checks, (ours, theirs) in wholes.items():
        print(_row([checks, _ms(ours), _ms(theirs), f"{ours / theirs:.2f}"]))
    print(f"\nMedians of up to {REPEATS} repeats. Measured on {on}.")
    return 0
