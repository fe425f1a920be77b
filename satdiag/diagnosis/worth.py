"""Which test to do next: expected value of sample information, in minutes of work saved, per minute spent."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from satdiag.diagnosis.inference import HOLDS, Posterior, exponents
from satdiag.diagnosis.model import OTHER, Floats, Model
from satdiag.findings import NextTest
from satdiag.vocabulary import FAULTS

COME_BACK_MINUTES = 60.0
"""What a fault that was left in costs: the customer comes back (judgement, no source)."""

PUZZLE_MINUTES = 120.0
"""What a fault outside the list costs if nobody expects it (judgement, no source)."""


def losses(model: Model) -> Floats:
    """Minutes lost by acting on a set of faults when another is true, shape (actions, hypotheses).

    Actions: leave it, mend each single fault, hand it on as something else. Mending what is not broken wastes that
    work; what is broken and not mended brings the vehicle back. The work that has to be done anyway is no loss.
    """
    fix = np.array([model.faults[fault].fix_minutes for fault in FAULTS])
    count = len(FAULTS)
    mends = np.vstack([np.zeros((1, count), bool), np.eye(count, dtype=bool), np.zeros((1, count), bool)])
    wasted = (mends[:, None, :] & ~HOLDS[None]) @ fix
    left = (HOLDS[None] & ~mends[:, None, :]).any(axis=2) * COME_BACK_MINUTES
    table: Floats = wasted + left
    table[:-1, OTHER] += PUZZLE_MINUTES
    table[-1, :OTHER] += PUZZLE_MINUTES
    return table


def saving(table: Floats, joint: Floats) -> float:
    """Expected value of sample information: the loss of acting now less that of acting on the test's answer.

    `table` (actions, hypotheses) are losses, `joint` (hypotheses, states) is P(hypothesis, state). Raiffa 1968.
    """
    return float((table @ joint.sum(axis=1)).min() - (table @ joint).min(axis=0).sum())


def entropy_bits(p: Floats) -> float:
    """Shannon entropy."""
    kept = p[p > 0]
    return float(-(kept * np.log2(kept)).sum())


SAME_READING = {"satellite-beside": "satellite"}
"""Items that one and the same reading shows."""


def answers(model: Model, item: str, seen: Mapping[str, str]) -> Floats:
    """P(state | hypothesis) of a test's answer, as far as it adds to what was seen, shape (hypotheses, states).

    Tempered as the posterior is where its family was seen already.
    """
    weight = exponents(model, [*seen, item] if item not in seen else list(seen))[item]
    table = np.exp(weight * model.log_likelihood(item, received=seen.get("any-path") == "good"))
    normalised: Floats = table / table.sum(axis=1, keepdims=True)
    return normalised


def next_tests(model: Model, belief: Posterior, seen: Mapping[str, str], most: int = 4) -> tuple[NextTest, ...]:
    """Tests that save more minutes than they cost, best value per minute first; none that was done, but waiting."""
    done = {*seen, *(SAME_READING.get(item, item) for item in seen)}
    table = losses(model)
    uncertain = entropy_bits(belief.p)
    found = []
    for test in model.tests:
        if test.item in done and not test.repeatable:
            continue
        joint = belief.p[:, None] * answers(model, test.item, seen)
        chance = joint.sum(axis=0)
        worth = saving(table, joint)
        after = sum(entropy_bits(joint[:, state] / chance[state]) * chance[state] for state in range(len(chance)))
        if worth > test.minutes:
            found.append(
                NextTest(
                    test=test.name,
                    worth_minutes=worth,
                    minutes=test.minutes,
                    gain_bits=max(uncertain - float(after), 0.0),
                    text=test.text,
                    cautions=test.cautions,
                )
            )
    found.sort(key=lambda test: (-test.worth_minutes / test.minutes, test.test))
    return tuple(found[:most])
