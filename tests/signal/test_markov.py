"""The recursion of the hidden chain: published examples, hmmlearn, and a plain loop.

The published examples are classroom ones: small enough that their numbers were worked out by hand by others.
"""

import warnings

import numpy as np
import pytest

from satdiag.signal import markov
from satdiag.signal.markov import filtered, smooth


class Discrete:
    """A chain in discrete time with a table of chances for each symbol."""

    def __init__(self, start, change, shows, seen):
        self.start, self.change, self.shows = (np.array(part, dtype=float) for part in (start, change, shows))
        self.seen = np.array(seen)
        self.count, self.states = len(seen), len(self.start)

    def tables(self, index):
        change = np.where((index == 0)[None, None, :], self.start[None, :, None], self.change[:, :, None])
        return change * self.shows[None, :, self.seen[index]], np.zeros(len(index))


def looped(steps):
    """The textbook recursion, reading by reading: filtered, smoothed, likelihood."""
    tables = [steps.tables(np.array([number]))[0][:, :, 0] for number in range(steps.count)]
    now, forward, total = np.full(steps.states, 1.0 / steps.states), [], 0.0
    for table in tables:
        now = now @ table
        total += np.log(now.sum())
        now = now / now.sum()
        forward.append(now)
    after, smoothed = np.ones(steps.states), []
    for number in reversed(range(steps.count)):
        both = forward[number] * after
        smoothed.append(both / both.sum())
        after = tables[number] @ after
        after /= after.sum()
    return np.array(forward), np.array(smoothed[::-1]), total


def likelihood(steps):
    return np.exp(smooth(steps).log_likelihood)


# --- published examples ------------------------------------------------------------------------------------------


def umbrella(seen):
    # Russell and Norvig, Artificial Intelligence: a guard sees umbrellas. State 0 is rain, symbol 0 an umbrella.
    return Discrete(
        [0.5, 0.5], [[0.7, 0.3], [0.3, 0.7]], [[0.9, 0.1], [0.2, 0.8]], [0 if u == "U" else 1 for u in seen]
    )


def test_umbrella_two_days():
    # Russell and Norvig, section on filtering and smoothing: 0.818, 0.883 filtered, 0.883 smoothed on day 1.
    steps = umbrella("UU")
    assert filtered(steps)[:, 0] == pytest.approx([0.818182, 0.883357], abs=1e-6)
    assert smooth(steps).probability[0, 0] == pytest.approx(0.883357, abs=1e-6)
    assert likelihood(steps) == pytest.approx(0.3515, abs=1e-9)


def test_umbrella_five_days():
    # The forward-backward article of Wikipedia (from memory): U U N U U.
    steps = umbrella("UUNUU")
    assert filtered(steps)[:, 0] == pytest.approx([0.818182, 0.883357, 0.190668, 0.730794, 0.867339], abs=1e-6)
    wanted = [0.867339, 0.820419, 0.307484, 0.820419, 0.867339]
    assert smooth(steps).probability[:, 0] == pytest.approx(wanted, abs=1e-6)
    assert smooth(steps).log_likelihood == pytest.approx(-3.372502, abs=1e-6)


def test_healthy_or_fever():
    # The Viterbi article of Wikipedia; forward and smoothed values recomputed from its tables.
    steps = Discrete([0.6, 0.4], [[0.7, 0.3], [0.4, 0.6]], [[0.5, 0.4, 0.1], [0.1, 0.3, 0.6]], [0, 1, 2])
    assert filtered(steps)[:, 0] == pytest.approx([0.882353, 0.725522, 0.212128], abs=1e-6)
    assert smooth(steps).probability[:, 0] == pytest.approx([0.876516, 0.622933, 0.212128], abs=1e-6)
    assert likelihood(steps) == pytest.approx(0.036280, abs=1e-6)


def test_ice_cream_of_jurafsky_and_martin():
    # Speech and Language Processing, appendix on hidden Markov models (from memory): 3 1 3, likelihood 0.028562.
    steps = Discrete([0.8, 0.2], [[0.6, 0.4], [0.5, 0.5]], [[0.2, 0.4, 0.4], [0.5, 0.4, 0.1]], [2, 0, 2])
    assert likelihood(steps) == pytest.approx(0.028562, abs=1e-9)


DAYS = "233232322313311121113121112332322"
# The third state ends the diary; it shows the fourth symbol alone.


def diary(change, shows):
    return Discrete((0.5, 0.5, 0.0), change, shows, [*(int(day) - 1 for day in DAYS), 3])


CHANGE = np.array([[0.8, 0.1, 0.1], [0.1, 0.8, 0.1], [0.0, 0.0, 1.0]])
SHOWS = np.array([[0.7, 0.2, 0.1, 0.0], [0.1, 0.2, 0.7, 0.0], [0.0, 0.0, 0.0, 1.0]])


def test_ice_cream_diary_of_eisner():
    # Eisner 2002, "An interactive spreadsheet for teaching the forward-backward algorithm": P(hot) of days 1, 2, 27.
    found = smooth(diary(CHANGE, SHOWS))
    assert found.probability[[0, 1, 2, 13, 26, 32], 1] == pytest.approx(
        [0.870942, 0.976926, 0.989278, 0.113106, 0.493486, 0.775424], abs=1e-6
    )
    assert found.log_likelihood == pytest.approx(-41.537818, abs=1e-6)


# --- against a library and a plain loop --------------------------------------------------------------------------


def gaussian(count, seed):
    """Three states as in a log of levels, and what hmmlearn makes of the same readings."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        hmm = pytest.importorskip("hmmlearn.hmm")
    model = hmm.GaussianHMM(3, covariance_type="diag", init_params="", params="")
    model.startprob_ = np.array([0.2, 0.3, 0.5])
    model.transmat_ = np.array([[0.95, 0.03, 0.02], [0.04, 0.9, 0.06], [0.01, 0.02, 0.97]])
    model.means_ = np.array([[3.0], [7.0], [12.0]])
    model.covars_ = np.array([[4.0], [2.25], [1.0]])
    value, _ = model.sample(count, random_state=seed)
    density = np.exp(-0.5 * (value - model.means_.T) ** 2 / model.covars_.reshape(1, 3))
    density /= np.sqrt(2.0 * np.pi * model.covars_.reshape(1, 3))
    return model, value, Discrete(model.startprob_, model.transmat_, density.T, np.arange(count))


@pytest.mark.parametrize("count", [1, 2, 10, 400, 30_000])
def test_hmmlearn_gives_the_same(count):
    model, value, steps = gaussian(count, 4)
    found = smooth(steps)
    assert found.log_likelihood == pytest.approx(model.score(value), rel=1e-9)
    assert np.abs(found.probability - model.predict_proba(value)).max() < 1e-6


@pytest.mark.parametrize("slab", [97, 1000, 4096])
def test_a_log_in_slabs_is_the_log_in_one(monkeypatch, slab):
    _, _, steps = gaussian(9000, 5)
    forward, smoothed, total = looped(steps)
    monkeypatch.setattr(markov, "SLAB", slab)
    monkeypatch.setattr(markov, "_LEAD", 3)  # far too short a lead-in: the slabs have to be mended
    found = smooth(steps)
    assert np.abs(found.probability - smoothed).max() < 1e-6
    assert np.abs(filtered(steps) - forward).max() < 1e-10
    assert found.log_likelihood == pytest.approx(total, rel=1e-10)


def test_a_chain_that_never_forgets_is_still_exact():
    # Two states that never change, and readings that tell them hardly apart: the first chunk matters to the last.
    random = np.random.default_rng(6)
    steps = Discrete([0.6, 0.4], np.eye(2), [[0.5, 0.5], [0.48, 0.52]], (random.random(5000) < 0.49).astype(int))
    forward, smoothed, total = looped(steps)
    found = smooth(steps)
    assert np.abs(filtered(steps) - forward).max() < 1e-8
    assert np.abs(found.probability - smoothed).max() < 1e-6
    assert found.log_likelihood == pytest.approx(total, rel=1e-9)
