"""A log walked in odds: pairs and paths against a published example, a plain loop, and every path there is."""

import itertools

import numpy as np
import pytest

from satdiag.signal import walked
from satdiag.signal.odds import Ratios
from satdiag.signal.readings import UNKNOWN, ChainReadings, ChainSteps, LevelNoise
from satdiag.signal.training import train
from satdiag.signal.two_way import KINDS, LevelSteps, kinds_of
from satdiag.signal.walked import walk

BLOCKED, SHADOWED, CLEAR = 0, 1, 2
HIDDEN, AFTER_BLOCKED, INTO_BLOCKED = 0, 1, 2


class Discrete:
    """Two hidden states in discrete time and a third that its own symbol, the last one, shows: `odds.OddsSteps`."""

    def __init__(self, start, change, shows, symbol):
        self.start, self.change, self.shows = (np.array(part, dtype=float) for part in (start, change, shows))
        self.symbol, self.count = np.array(symbol), len(symbol)
        self.seen = self.symbol == self.shows.shape[1] - 1

    def ratios(self, layout):
        found = np.zeros((4, self.count))
        for at, symbol in enumerate(self.symbol.tolist()):
            table = (self.change if at else np.tile(self.start, (3, 1))) * self.shows[:, symbol]
            if self.seen[at]:
                into = table[1, 2] / table[0, 2]
                found[:, at] = 1.0, into, into, np.log(table[0, 2])
            else:
                followed = float(at > 0)
                stays = table[0, 1], followed * table[1, 0], followed * table[1, 1]
                found[:, at] = *np.array(stays) / table[0, 0], np.log(table[0, 0])
        up, back, stay = (layout.turned(part, filling) for part, filling in zip(found, (0.0, 0.0, 1.0), strict=False))
        return Ratios(up, back, stay, float(found[3].sum()))


# --- a published example -----------------------------------------------------------------------------------------

DAYS = [int(day) - 1 for day in "233232322313311121113121112332322"]


def test_ice_cream_diary_trained():
    # Eisner 2002, "An interactive spreadsheet for teaching the forward-backward algorithm": likelihoods of the diary
    # after rounds of Baum and Welch; the values after ten rounds were recomputed. The diary ends in a third state.
    start, change = np.array([0.5, 0.5, 0.0]), np.array([[0.8, 0.1, 0.1], [0.1, 0.8, 0.1], [0.0, 0.0, 1.0]])
    shows = np.array([[0.7, 0.2, 0.1, 0.0], [0.1, 0.2, 0.7, 0.0], [0.0, 0.0, 0.0, 1.0]])
    told = []
    for _ in range(11):
        found = walk(Discrete(start, change, shows, [*DAYS, 3]))
        told.append(found.log_likelihood)
        up, back, stay = found.pairs
        hot = up + stay
        middle, last = slice(1, len(DAYS)), len(DAYS)
        to_hot, to_cold, stayed = up[middle].sum(), back[middle].sum(), stay[middle].sum()
        ends_hot = back[last] + stay[last]
        change[:2] = [
            [len(DAYS) - 1 - to_hot - to_cold - stayed, to_hot, 1.0 - ends_hot],
            [to_cold, stayed, ends_hot],
        ]
        change[:2] /= change[:2].sum(axis=1, keepdims=True)
        start = np.array([1.0 - hot[0], hot[0], 0.0])
        shows[:2] = [np.bincount(DAYS, part, 4) for part in (1.0 - hot[:-1], hot[:-1])]
        shows[:2] /= shows[:2].sum(axis=1, keepdims=True)
    assert told[0] == pytest.approx(-41.537818, abs=1e-6)
    assert told[1] == pytest.approx(-36.742293, abs=1e-6)
    assert told[2] == pytest.approx(-35.957688, abs=1e-6)
    assert told[10] == pytest.approx(-35.334272, abs=1e-6)


# --- a plain loop ------------------------------------------------------------------------------------------------

RATES = np.array([[-0.1, 0.06, 0.04], [0.05, -0.09, 0.04], [0.005, 0.015, -0.02]])
NOISE = LevelNoise(np.array([np.nan, 4.0, 12.0]), np.array([1.0, 2.5, 2.0]), 3.0)


def made(seed, count, blocked=0.15):
    """A log of runs of the three states at uneven times, with a pause without end in it."""
    random = np.random.default_rng(seed)
    state = np.repeat(random.choice(3, count, p=[blocked, 0.35, 0.65 - blocked]), random.integers(1, 9, count))[
        :count
    ]
    value = np.array([np.nan, 5.0, 11.0])[state] + 3.0 * random.standard_normal(count)
    wait_s = np.concatenate([[np.inf], random.choice([0.5, 1.0, 1.0, 6.0], count - 1)])
    wait_s[count // 2] = np.inf
    return ChainReadings(wait_s, value, np.where(state == BLOCKED, BLOCKED, UNKNOWN).astype(np.int8))


def looped(steps):
    """P(state before, own state) of each reading by the textbook recursion, (n, 3, 3), and the log-likelihood."""
    tables = [steps.tables(np.array([at]))[0][:, :, 0] for at in range(steps.count)]
    scale = sum(float(steps.tables(np.array([at]))[1][0]) for at in range(steps.count))
    forward, afterwards = [np.full(3, 1.0 / 3.0)], [np.ones(3)]
    for table in tables:
        forward.append(forward[-1] @ table)
        scale += float(np.log(forward[-1].sum()))
        forward[-1] /= forward[-1].sum()
    for table in reversed(tables):
        afterwards.append(table @ afterwards[-1])
        afterwards[-1] /= afterwards[-1].sum()
    both = [b[:, None] * table * a for b, table, a in zip(forward, tables, afterwards[-2::-1], strict=False)]
    return np.array([one / one.sum() for one in both]), scale


def ending_blocked(count):
    readings = made(count, count)
    readings.known[-1], readings.value[-1] = BLOCKED, np.nan
    return readings


def test_a_log_that_ends_blocked_before_a_chunk_of_filling_alone():
    """49 rows in 50 chunks: the last chunk is filling. Warnings are errors here."""
    readings = ending_blocked(2401)
    found = walk(LevelSteps(ChainSteps(readings, RATES, NOISE)))
    assert found.slab.layout.used < found.slab.layout.chunks
    assert all(((part >= 0.0) & (part <= 1.0)).all() for part in found.pairs)
    assert all((path == 0)[-1] for path in found.paths(3, np.random.default_rng(1)))


@pytest.mark.parametrize("count", [2, 3, 47, 49, 95, 97, 300, 1000])
def test_pairs_are_those_of_a_plain_loop(count):
    readings = made(count, count)
    steps = ChainSteps(readings, RATES, NOISE)
    found = walk(LevelSteps(steps))
    both, total = looped(steps)
    assert found.log_likelihood == pytest.approx(total, rel=1e-10)
    up, back, stay = found.pairs
    kind = kinds_of(readings) % KINDS
    hidden, after, into = ((kind == one) & (np.arange(count) > 0) for one in (HIDDEN, AFTER_BLOCKED, INTO_BLOCKED))
    assert up[hidden] == pytest.approx(both[hidden, SHADOWED, CLEAR], abs=1e-9)
    assert back[hidden] == pytest.approx(both[hidden, CLEAR, SHADOWED], abs=1e-9)
    assert stay[hidden] == pytest.approx(both[hidden, CLEAR, CLEAR], abs=1e-9)
    assert up[after] == pytest.approx(both[after, BLOCKED, CLEAR], abs=1e-9)
    assert (back + stay)[into] == pytest.approx(both[into, CLEAR, BLOCKED], abs=1e-9)
    own = both.sum(axis=1)
    sure = np.abs(own[:, SHADOWED] - own[:, CLEAR]) > 1e-9
    assert (found.states == own.argmax(axis=1))[sure].all()


# --- every path --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("stays", [0.8, 0.5, 0.15])
def test_paths_come_as_often_as_they_are_probable(stays):
    """All 2^7 paths of a short log, by their products of chances; states that turn at each reading, too."""
    change = np.array([[stays, 1.0 - stays, 0.0], [1.2 - stays, stays - 0.2, 0.0], [0.0, 0.0, 1.0]]).clip(0.0, 1.0)
    shows = np.array([[0.5, 0.3, 0.2, 0.0], [0.25, 0.3, 0.45, 0.0], [0.0, 0.0, 0.0, 1.0]])
    start, symbol = np.array([0.6, 0.4, 0.0]), [0, 2, 1, 1, 2, 0, 1]
    if stays == 0.15:
        change[:2, :2] = [[0.15, 0.85], [0.9, 0.1]]
    every = np.array(list(itertools.product((0, 1), repeat=len(symbol))))
    chance = start[every[:, 0]] * np.prod(shows[every, symbol], axis=1)
    chance *= np.prod(change[every[:, :-1], every[:, 1:]], axis=1)
    drawn = np.array(walk(Discrete(start, change, shows, symbol)).paths(20_000, np.random.default_rng(5))) - 1
    times = np.bincount(drawn @ 2 ** np.arange(len(symbol))[::-1], minlength=len(every))
    expected = len(drawn) * chance / chance.sum()
    # Pearson's statistic of 127 degrees of freedom: 200 is passed once in fifty thousand times.
    assert float(((times - expected) ** 2 / expected).sum()) < 200.0


def test_paths_of_a_log_with_blocked_stretches_agree_with_its_pairs():
    found = walk(LevelSteps(ChainSteps(made(7, 400), RATES, NOISE)))
    paths = np.array(found.paths(600, np.random.default_rng(1)))
    assert ((paths == BLOCKED) == found.seen).all()
    up, _, stay = found.pairs
    clear = np.where(found.seen, 0.0, up + stay)
    assert np.abs((paths == CLEAR).mean(axis=0) - clear).max() < 0.09  # four standard errors of 600 paths


# --- what is refused ---------------------------------------------------------------------------------------------


def test_too_many_at_once_are_refused(monkeypatch):
    monkeypatch.setattr(walked, "SLAB", 20)
    with pytest.raises(ValueError, match="more than 20"):
        walk(LevelSteps(ChainSteps(made(8, 50), RATES, NOISE)))


def test_training_wants_readings_that_are_told_apart():
    readings = made(9, 50)
    readings.value[20] = np.nan
    readings.known[20] = UNKNOWN
    with pytest.raises(ValueError, match="neither blocked nor have a value"):
        train(readings, NOISE, 10.0)
