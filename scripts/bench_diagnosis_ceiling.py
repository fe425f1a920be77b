"""The best that could be done with the same evidence: learned classifiers, judged on worlds they were not shown.

Features are the states of the evidence items, one column each, and 'not tried'; the reason of the visit and what the
job sheet says of the receiver. A regularised logistic regression and a forest of extremely randomised trees are
trained on four fifths of the worlds (and on the worlds of other results files, if given) and judged on the fifth;
their probabilities are averaged. It is a floor under the true ceiling: more worlds, or a better learner, would raise
it.
"""

import json
from pathlib import Path

FEWEST = 150
FOLDS = 5


def features(record):
    """One world as a dictionary of words."""
    said = {f"{item}={state}": 1.0 for item, state in record["evidence"].items()}
    said |= {f"tried:{item}": 1.0 for item in record["evidence"]}
    said[f"reason={record['reason']}"] = 1.0
    said |= {f"{name}={value}": 1.0 for name, value in record["sheet"].items()}
    return said


def other_records(paths):
    """The records of other results files."""
    found = []
    for path in paths:
        lines = Path(path).read_text("utf-8").splitlines()[1:]
        found += [record for record in map(json.loads, lines) if "error" not in record]
    return found


def ceiling(records, paths=(), trees=300):
    """Top-1 by class for each tier and all, as {tier: (share, worlds)}; None with too few worlds or no library."""
    judged = [record for record in records if "error" not in record]
    if len(judged) < FEWEST:
        return None
    try:
        from sklearn.ensemble import ExtraTreesClassifier
        from sklearn.feature_extraction import DictVectorizer
        from sklearn.linear_model import LogisticRegression
    except ImportError:
        return None
    import numpy as np

    extra = other_records(paths)
    table = DictVectorizer(sparse=False).fit_transform([features(record) for record in judged + extra])
    classes = np.array([record["class"] for record in judged + extra])
    names = np.unique(classes)
    fold = np.random.default_rng(0).permutation(len(judged)) % FOLDS
    right = np.zeros(len(judged), dtype=bool)
    for number in range(FOLDS):
        train = np.concatenate([fold != number, np.ones(len(extra), dtype=bool)])
        test = np.flatnonzero(fold == number)
        total = np.zeros((len(test), len(names)))
        for model in (
            LogisticRegression(C=0.5, max_iter=2000),
            ExtraTreesClassifier(trees, min_samples_leaf=2, random_state=number, n_jobs=1),
        ):
            model.fit(table[train], classes[train])
            total[:, np.searchsorted(names, model.classes_)] += model.predict_proba(table[test])
        right[test] = names[total.argmax(axis=1)] == classes[test]
    tiers = np.array([record["tier"] for record in judged])
    out = {tier: (float(right[tiers == tier].mean()), int((tiers == tier).sum())) for tier in np.unique(tiers)}
    return {**out, "all": (float(right.mean()), len(right)), "trained": (float(len(judged) * 0.8 + len(extra)), 0)}
