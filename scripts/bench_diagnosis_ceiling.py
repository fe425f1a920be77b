"""The best that could be done with the same evidence: learned classifiers, judged on worlds they were not shown.

Features are the states of the evidence items, one column each, and 'not tried'; the reason of the visit and what the
job sheet says of the receiver. A regularised logistic regression and a forest of extremely randomised trees are
averaged. Three ways to be judged:

- `within`: trained on four fifths of the set's own worlds (and on other results of its setting, if given), judged on
  the fifth. It learns the setting's own frequencies of faults too, which no diagnosis can know beforehand.
- `elsewhere`: trained on the results of other settings alone. It knows as much as whoever tuned the diagnosis.
- `frequencies`: the diagnosis itself, each fault's share moved to what it is in four fifths of the set's own worlds.
  What it gains is what knowing the frequencies is worth.

All are floors: more worlds, or a better learner, would raise them.
"""

import json
from pathlib import Path

import numpy as np

FEWEST = 150
FOLDS = 5
FREQUENCY_PRIOR = 1.0  # of a fault's log share, as a normal's inverse variance: rare faults are hardly moved
LEAST_P = 1e-9


def features(record):
    """One world as a dictionary of words."""
    said = {f"{item}={state}": 1.0 for item, state in record["evidence"].items()}
    said |= {f"tried:{item}": 1.0 for item in record["evidence"]}
    said[f"reason={record['reason']}"] = 1.0
    said |= {f"{name}={value}": 1.0 for name, value in record["sheet"].items()}
    return said


def other_records(paths):
    """The records of other results files by setting."""
    found = {}
    for path in paths:
        head, *lines = map(json.loads, Path(path).read_text("utf-8").splitlines())
        found.setdefault(head["setting"], []).extend(record for record in lines if "error" not in record)
    return found


def ceilings(records, setting, paths=(), trees=300):
    """Top-1 by class of the three ways, as {way: {tier: (share, low, high)}} with 95 % by resampling worlds.

    `trained`: worlds that each way learned from. None with too few worlds or no library.
    """
    from importlib.util import find_spec

    judged = [record for record in records if "error" not in record]
    if len(judged) < FEWEST or find_spec("sklearn") is None:
        return None
    others = other_records(paths)
    same = others.pop(setting, [])
    foreign = [record for part in others.values() for record in part]
    right = {"within": in_folds(judged, lambda train, test: learned(train + same, test, trees))}
    if len(foreign) >= FEWEST:
        right["elsewhere"] = learned(foreign, judged, trees) == classes_of(judged)
    right["frequencies"] = in_folds(judged, with_frequencies)
    trained = {
        "within": int(len(judged) * (1 - 1 / FOLDS)) + len(same),
        "elsewhere": len(foreign),
        "frequencies": int(len(judged) * (1 - 1 / FOLDS)),
    }
    return {**{way: by_tier(judged, hits) for way, hits in right.items()}, "trained": trained}


def by_tier(judged, right):
    """Mean and interval of what was right, by tier and over all."""
    from bench_diagnosis_score import mean_ci

    tiers = np.array([record["tier"] for record in judged])
    parts = {tier: right[tiers == tier] for tier in np.unique(tiers).tolist()} | {"all": right}
    return {tier: mean_ci(part.astype(float)) for tier, part in parts.items()}


def classes_of(records):
    """The true classes."""
    return np.array([record["class"] for record in records])


def in_folds(judged, guess):
    """Which worlds are guessed right, each by `guess(train, test)` trained on the folds it is not in."""
    fold = np.random.default_rng(0).permutation(len(judged)) % FOLDS
    right = np.zeros(len(judged), dtype=bool)
    for number in range(FOLDS):
        test = np.flatnonzero(fold == number)
        train = [judged[place] for place in np.flatnonzero(fold != number)]
        there = [judged[place] for place in test]
        right[test] = guess(train, there) == classes_of(there)
    return right


def learned(train, test, trees):
    """The class that the learners name for each world of `test`."""
    from sklearn.ensemble import ExtraTreesClassifier
    from sklearn.feature_extraction import DictVectorizer
    from sklearn.linear_model import LogisticRegression

    table = DictVectorizer(sparse=False).fit_transform([features(record) for record in (*train, *test)])
    known, asked, classes = table[: len(train)], table[len(train) :], classes_of(train)
    total = 0.0
    for model in (
        LogisticRegression(C=0.5, max_iter=2000),
        ExtraTreesClassifier(trees, min_samples_leaf=2, random_state=0, n_jobs=1),
    ):
        total = total + model.fit(known, classes).predict_proba(asked)
    return np.unique(classes)[total.argmax(axis=1)]


def with_frequencies(train, test):
    """The class that the diagnosis names with each fault's share as it fits the worlds of `train`."""
    from bench_diagnosis_score import fault_table

    names = sorted(fault_table(train[0]))
    tables = [np.array([[fault_table(record)[name] for name in names] for record in part]) for part in (train, test)]
    truth = np.array([names.index(record["fault"]) for record in train])
    moved = np.log(tables[1] + LEAST_P) + _log_factors(np.log(tables[0] + LEAST_P), truth)
    class_of = {record["fault"]: record["class"] for record in (*train, *test)}
    classes = sorted(set(class_of.values()))
    member = np.array([[class_of.get(name) == one for one in classes] for name in names], dtype=float)
    share = np.exp(moved - moved.max(axis=1, keepdims=True)) @ member
    return np.array(classes)[share.argmax(axis=1)]


def _log_factors(log_p, truth):
    """The log factors on the faults' probabilities that make the truth likeliest, held near nought by a prior."""
    from scipy.optimize import minimize

    one_hot = np.eye(log_p.shape[1])[truth]

    def loss(factors):
        moved = log_p + factors
        p = np.exp(moved - moved.max(axis=1, keepdims=True))
        p /= p.sum(axis=1, keepdims=True)
        value = -np.log(p[np.arange(len(truth)), truth]).sum() + FREQUENCY_PRIOR * (factors**2).sum() / 2
        return value, (p - one_hot).sum(axis=0) + FREQUENCY_PRIOR * factors

    return minimize(loss, np.zeros(log_p.shape[1]), jac=True, method="L-BFGS-B").x
