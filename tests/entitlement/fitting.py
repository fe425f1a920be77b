"""Published data sets, and the maximum of our likelihood on them, for the tests against other programs."""

from pathlib import Path

import numpy as np
import pytest
import surpyval
from lifelines.datasets import load_c_botulinum_lag_phase, load_diabetes, load_mice
from scipy import optimize, special

from satdiag.entitlement.fill_in import Rows
from satdiag.entitlement.grid import log_likelihood
from tests.entitlement.made import FAMILIES
from tests.references import entitlement_values as values
from tests.references import published_fits as reference

REFERENCES = Path(__file__).parent.parent / "references"
LIBRARY = {"exponential": surpyval.Exponential, "weibull": surpyval.Weibull, "log-normal": surpyval.LogNormal}


def rows_of(lower, upper, count=None):
    """Distinct rows with their counts, nothing shared out or widened."""
    count = np.ones(len(lower)) if count is None else np.asarray(count, dtype=float)
    pairs, place = np.unique(np.column_stack([lower, upper]), axis=0, return_inverse=True)
    return Rows(pairs[:, 0], pairs[:, 1], np.bincount(place.ravel(), count))


def best(name, rows, start_s, shape=0.0, cure=True, share=None):
    """Maximum of the log-likelihood: (share, scale, shape in natural form or None, log-likelihood).

    `share` holds the share at a value; without `cure` it is 1.
    """
    family, free = FAMILIES[name], FAMILIES[name].parameters - 1
    held = np.ones(1) if not cure else None if share is None else np.array([share])

    def loss(x):
        come = special.expit(x[:1]) if held is None else held
        at = x[1:] if held is None else x
        b = at[1:2] if free == 2 else np.zeros(1)
        found = float(log_likelihood(family, rows, come, at[:1], b)[0, 0])
        return -found if np.isfinite(found) else 1e10

    x = np.concatenate([[1.0] if held is None else [], [np.log(start_s)], [shape] if free == 2 else []])
    for _ in range(2):
        options = {"fatol": 1e-10, "xatol": 1e-8, "maxiter": 4000}
        found = optimize.minimize(loss, x, method="Nelder-Mead", options=options)
        x = found.x
    come = float(special.expit(x[0])) if held is None else float(held[0])
    at = x[1:] if held is None else x
    return come, float(np.exp(at[0])), float(np.exp(at[1])) if free == 2 else None, -float(found.fun)


def same_fit(found, expected, close=2e-4):
    """Parameters within `close`, log-likelihood to six digits after the point as printed."""
    assert found[-1] == pytest.approx(expected[-1], abs=3e-6)
    for ours, theirs in zip(found[:-1], expected[:-1], strict=True):
        assert (ours is None and theirs is None) or ours == pytest.approx(theirs, rel=close)


def by_surpyval(name, lower, upper, count=None):
    """(share, scale, shape in natural form, log-likelihood) by surpyval's fit with a share that never comes."""
    model = LIBRARY[name].fit(xl=lower, xr=upper, n=count, lfp=True)
    a, *b = model.params
    scale = {"exponential": 1 / a, "weibull": a, "log-normal": np.exp(a)}[name]
    return model.lfp_p, scale, b[0] if b else None, -model.neg_ll()


def intervals(data):
    """Lower and upper ends of one of the data sets."""
    if data.startswith("mice"):
        frame = load_mice()
        frame = frame if data == "mice" else frame[frame["grp"] == data.split()[1]]
        return frame["l"].to_numpy(dtype=float), frame["u"].to_numpy(dtype=float)
    if data == "diabetes":
        frame = load_diabetes()
        return frame["left"].to_numpy(dtype=float), frame["right"].to_numpy(dtype=float)
    if data == "botulinum":
        frame = load_c_botulinum_lag_phase()
        return (frame[f"{end}_bound_days"].to_numpy(dtype=float) for end in ("lower", "upper"))
    if data == "cosmesis chemotherapy":
        return np.loadtxt(REFERENCES / "cosmesis_chemotherapy.csv", delimiter=",", skiprows=5).T
    if data == "six rows":
        return reference.SIX_ROWS
    return np.array([reference.IN_TEXTBOOK.get(row, row) for row in values.COSMESIS_RADIOTHERAPY], dtype=float).T
