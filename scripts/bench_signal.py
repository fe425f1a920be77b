"""Figures of the segmentation, beside hmmlearn on the same readings, measured in the same run.

Readings are drawn once a second from a chain of three states with Gaussian levels, rounded to 0.5 dB; the lowest
state is seen itself, as a path that is not received is. `ours` is what the analysis runs on them: noise with a memory
of 3 s, two states to infer. `ours, none blocked` is the same where no reading is a blocked one. hmmlearn infers three
states with independent noise from the levels by `predict_proba`: `scaling` is its fast implementation, `log` its
default (measured up to a million readings). `tables` is our own recursion for any number of states, on the model that
hmmlearn has; its log-likelihood and its states are compared with hmmlearn's, and `ours` with `tables` on its own
model. No column holds any training.

Times are processor time, the middle of `REPEATS` turns in which every column is run once, one after the other, in
nanoseconds a reading. `memory` is the most that was held beside the readings themselves, from a run of its own with
tracemalloc on. Every library runs on as many threads as OMP_NUM_THREADS says; it is set to 1 if it is not set.
"""

import os
import platform
import time
import tracemalloc
from dataclasses import replace

SIZES = (1_000, 10_000, 100_000, 1_000_000, 10_000_000)
REPEATS = 5
MEMORY_S = 3.0
CHANGE = ((0.98, 0.01, 0.01), (0.05, 0.90, 0.05), (0.005, 0.015, 0.98))
MEAN_DB, SPREAD_DB = (2.0, 7.0, 12.0), 1.5
LOG_UP_TO = 1_000_000


def times_ns(works, count):
    """For each piece of work the middle of its times, per reading; the pieces take turns."""
    spent = {name: [] for name in works}
    for _ in range(REPEATS):
        for name, work in works.items():
            at = time.process_time()
            work()
            spent[name].append(time.process_time() - at)
    return {name: sorted(found)[REPEATS // 2] / count * 1e9 for name, found in spent.items()}


def peak_mb(work):
    """The most that was held at a time while it ran."""
    tracemalloc.start()
    work()
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    return peak / 1e6


def model_of(implementation):
    """hmmlearn's model with the parameters of the made log."""
    import numpy as np
    from hmmlearn.hmm import GaussianHMM

    model = GaussianHMM(3, covariance_type="diag", implementation=implementation, init_params="", params="")
    model.transmat_ = np.array(CHANGE)
    model.startprob_ = np.linalg.matrix_power(model.transmat_, 5000)[0]
    model.startprob_ /= model.startprob_.sum()
    model.means_, model.covars_ = np.array(MEAN_DB)[:, None], np.full((3, 1), SPREAD_DB**2)
    return model


def drawn(count):
    """States of the chain, stretch by stretch: how long each lasts, then where it goes."""
    import numpy as np

    random, change = np.random.default_rng(2), np.array(CHANGE)
    leaves = 1.0 - np.diag(change)
    state, states, lengths, total = 2, [], [], 0
    while total < count:
        states.append(state)
        lengths.append(int(random.geometric(leaves[state])))
        total += lengths[-1]
        others = [one for one in range(3) if one != state]
        state = others[int(random.random() * leaves[state] > change[state, others[0]])]
    return np.repeat(states, lengths)[:count]


def fresh(steps):
    """The same steps with nothing worked out yet."""
    return replace(steps, readings=replace(steps.readings))


def line(count):
    """One line of the table: times by column, then what was compared."""
    import numpy as np
    from scipy.linalg import logm

    from satdiag.signal.markov import smooth
    from satdiag.signal.readings import UNKNOWN, ChainReadings, ChainSteps, LevelNoise
    from satdiag.signal.two_way import smoothed

    models = {name: model_of(name) for name in ("scaling", "log")}
    state = drawn(count)
    normal = np.random.default_rng(1).standard_normal(count)
    value = np.round(2.0 * (np.array(MEAN_DB)[state] + SPREAD_DB * normal))[:, None] / 2.0
    waits_s = np.concatenate([[np.inf], np.ones(count - 1)])
    rates = np.real(logm(np.array(CHANGE)))
    unknown, spread = np.full(count, UNKNOWN, dtype=np.int8), np.full(3, SPREAD_DB)
    whole = ChainReadings(waits_s, value[:, 0].copy(), unknown)
    seen = np.where(state == 0, 0, UNKNOWN).astype(np.int8)
    parts = replace(whole, value=np.where(state == 0, np.nan, value[:, 0]), known=seen)
    two = LevelNoise(np.array([np.nan, *MEAN_DB[1:]]), spread, MEMORY_S)
    white = ChainSteps(whole, rates, LevelNoise(np.array(MEAN_DB), spread))
    ours, open_ = ChainSteps(parts, rates, two), ChainSteps(whole, rates, two)
    works = {"ours": lambda: smoothed(fresh(ours)), "none blocked": lambda: smoothed(fresh(open_))}
    works["tables"] = lambda: smooth(fresh(white))
    works["scaling"] = lambda: models["scaling"].predict_proba(value)
    if count <= LOG_UP_TO:
        works["log"] = lambda: models["log"].predict_proba(value)
    spent = times_ns(works, count)
    found, wanted = smooth(white), models["scaling"].predict_proba(value)
    likelihood = abs(found.log_likelihood / models["scaling"].score(value) - 1.0)
    states = float(np.mean(found.state == wanted.argmax(axis=1)))
    del found, wanted
    apart = float(np.abs(smoothed(ours).probability - smooth(ours).probability).max())
    held = peak_mb(works["ours"]), peak_mb(works["scaling"])
    return spent, (likelihood, states, apart), held


def lines(quick=False, say=print):
    """Figures for `benchmark.py all`."""
    from bench_figures import Line, exponent

    sizes, spent = SIZES[1:4] if not quick else SIZES[:3], []
    for count in sizes:
        found, _, held = line(count)
        spent.append(found["ours"] * count)
        size, theirs = f"{count:,} readings", "hmmlearn, scaling, three states"
        yield Line("segmentation", size, "ns/reading", found["ours"], found["scaling"], theirs, 1.0)
        yield Line("memory for it", size, "MB", *held, theirs)
    yield Line("growth of it, exponent", f"{len(sizes)} sizes", "", exponent(sizes, spent), 1.0, "linear growth", 1.1)


def main():
    """Print the table."""
    os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy is first imported
    try:
        import hmmlearn  # noqa: F401
    except ImportError:
        print("no figures: hmmlearn is not in the environment; install it with: pip install -e .[dev]")
        return 1
    python, threads = platform.python_version(), os.environ["OMP_NUM_THREADS"]
    print(f"Python {python} on {platform.machine()}, OMP_NUM_THREADS={threads}, middle of {REPEATS} turns")
    print("processor time in ns a reading: ours, ours where none is blocked, our tables; hmmlearn's scaling and log")
    print("compared: tables' log-likelihood with hmmlearn's (relative), equal states; ours with tables (at most)")
    print("memory: MB held at most beside the readings, ours and hmmlearn's")
    heads = (
        "readings",
        "ours",
        "none blocked",
        "tables",
        "scaling",
        "log",
        "likelihood",
        "states",
        "apart",
        "MB",
        "MB",
    )
    print("".join(f"{head:>13}" for head in heads))
    for count in SIZES:
        spent, (likelihood, states, apart), held = line(count)
        columns = "".join(f"{spent.get(name, float('nan')):>13.0f}" for name in heads[1:6])
        print(
            f"{count:>13}{columns}{likelihood:>13.1e}{states:>13.6f}{apart:>13.1e}{held[0]:>13.0f}{held[1]:>13.0f}",
            flush=True,
        )
    return 0
