"""Figures of the segmentation, beside hmmlearn on the same readings, measured in the same run.

Readings are drawn once a second from a chain of three states with Gaussian levels. `white`: independent noise, the
model that hmmlearn has too; log-likelihoods and states are compared. `repeating`: noise with a memory of 3 s, which
hmmlearn does not have. `parts`: levels rounded to 0.5 dB with the lowest state seen itself, as the analysis has
them. hmmlearn runs `predict_proba` with implementation="scaling", its fast one; `log` is its default.

Times are the best of a few repeats, in nanoseconds a reading. `memory` is the highest that the process took beside
the readings themselves, from a run of its own with tracemalloc on. Every library runs on as many threads as
OMP_NUM_THREADS says; it is set to 1 if it is not set.
"""

import os
import platform
import time
import tracemalloc

SIZES = (10_000, 100_000, 1_000_000, 10_000_000)
REPEATS = 3
MEMORY_S = 3.0
CHANGE = ((0.98, 0.01, 0.01), (0.05, 0.90, 0.05), (0.005, 0.015, 0.98))
MEAN_DB, SPREAD_DB = (2.0, 7.0, 12.0), (1.5, 1.5, 1.0)
LOG_UP_TO = 1_000_000


def best_ns(work, count):
    """The best time of a few repeats, per reading."""
    spent = []
    for _ in range(REPEATS):
        at = time.perf_counter()
        work()
        spent.append(time.perf_counter() - at)
    return min(spent) / count * 1e9


def peak_bytes(work):
    """The most that was held at a time while it ran."""
    tracemalloc.start()
    work()
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    return peak


def model_of(implementation):
    """hmmlearn's model with the parameters of the made log."""
    import numpy as np
    from hmmlearn.hmm import GaussianHMM

    model = GaussianHMM(3, covariance_type="diag", implementation=implementation, init_params="", params="")
    model.transmat_ = np.array(CHANGE)
    model.startprob_ = np.linalg.matrix_power(model.transmat_, 5000)[0]
    model.startprob_ /= model.startprob_.sum()
    model.means_, model.covars_ = np.array(MEAN_DB)[:, None], np.square(SPREAD_DB)[:, None]
    return model


def line(count):
    """One line of the table."""
    import numpy as np
    from scipy.linalg import logm

    from satdiag.signal.markov import smooth
    from satdiag.signal.readings import UNKNOWN, ChainReadings, ChainSteps, LevelNoise

    scaling = model_of("scaling")
    value, state = scaling.sample(count, random_state=1)
    waits_s = np.concatenate([[np.inf], np.ones(count - 1)])
    rates = np.real(logm(np.array(CHANGE)))
    unknown = np.full(count, UNKNOWN, dtype=np.int8)
    mean, spread = np.array(MEAN_DB), np.array(SPREAD_DB)
    seen = np.where(state == 0, 0, UNKNOWN).astype(np.int8)
    shown = np.where(state == 0, np.nan, np.round(2.0 * value[:, 0]) / 2.0)
    white = ChainSteps(ChainReadings(waits_s, value[:, 0].copy(), unknown), rates, LevelNoise(mean, spread))
    slow = ChainSteps(white.readings, rates, LevelNoise(mean, spread, MEMORY_S))
    given = LevelNoise(np.array([np.nan, *MEAN_DB[1:]]), spread, MEMORY_S)
    known = ChainSteps(ChainReadings(waits_s, shown, seen), rates, given)
    ours = [best_ns(lambda steps=steps: smooth(steps), count) for steps in (white, slow, known)]
    theirs = best_ns(lambda: scaling.predict_proba(value), count)
    log = model_of("log")
    usual = best_ns(lambda: log.predict_proba(value), count) if count <= LOG_UP_TO else float("nan")
    found, wanted = smooth(white), scaling.predict_proba(value)
    apart = abs(found.log_likelihood / scaling.score(value) - 1.0)
    same = float(np.mean(found.state == wanted.argmax(axis=1)))
    del found, wanted
    held = [peak_bytes(lambda: smooth(slow)) / 1e6, peak_bytes(lambda: scaling.predict_proba(value)) / 1e6]
    return count, *ours, theirs, usual, apart, same, *held


def main():
    """Print the table."""
    os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy is first imported
    try:
        import hmmlearn  # noqa: F401
    except ImportError:
        print("no figures: hmmlearn is not in the environment; install it with: pip install -e .[dev]")
        return 1
    heads = ("readings", "white", "repeating", "parts", "scaling", "log", "likelihood", "states", "memory", "theirs")
    print(
        f"Python {platform.python_version()} on {platform.machine()}, OMP_NUM_THREADS={os.environ['OMP_NUM_THREADS']}"
    )
    print("ns a reading (ours: white, repeating, parts; hmmlearn: scaling, log); relative difference of the white")
    print(
        "log-likelihoods, share of equal states; MB held at most beside the readings, ours repeating and hmmlearn's"
    )
    print("".join(f"{head:>12}" for head in heads))
    for count in SIZES:
        told = line(count)
        times = "".join(f"{part:>12.0f}" for part in told[1:6])
        print(f"{count:>12}{times}{told[6]:>12.1e}{told[7]:>12.6f}{told[8]:>12.0f}{told[9]:>12.0f}", flush=True)
    return 0
