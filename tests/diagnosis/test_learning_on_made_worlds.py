"""Does learning from closed jobs help, and does one wrong finding do harm? On worlds drawn at random.

The worlds come from the set 'calibrate', on which no row of evidence was tuned; simulated: they prove the way of
learning against our own model of the world only.
"""

import csv
import io
import random

import numpy as np
import pytest

from satdiag.analysis import lesson_of
from satdiag.diagnosis import inference
from satdiag.diagnosis.learning import learned_model
from satdiag.diagnosis.lessons import Lesson
from satdiag.diagnosis.model import load_model
from satdiag.diagnosis.seen import Seen
from satdiag.diagnosis.weighing import log_terms
from satdiag.job import build_job
from satdiag.rows import Row
from satdiag.sheet import Sheet
from satdiag.simulate.worlds import worlds
from satdiag.vocabulary import FAULTS

pytestmark = pytest.mark.timeout(1800)  # nine hundred jobs are made and read before the first test

CLOSED, HELD_OUT, WRONG_SHARE = 500, 400, 0.03


def closed_job(files, rows, found):
    """The job with what it turned out to be written at its end."""
    written = list(rows)
    written += [Row(written[-1].time, "finding", fault, "confirmed") for fault in found]
    documents = {name: data for name, data in files.items() if name != "observations.csv"}
    return build_job(documents, written)


def rows_of(text):
    """The rows of an observations.csv."""
    table = csv.DictReader(io.StringIO(text.decode("utf-8")))
    return [Row(**{name: text or "" for name, text in line.items()}) for line in table]


@pytest.fixture(scope="module")
def jobs():
    """(lesson as it was written down, what was true) of closed jobs; three in a hundred were written down wrongly."""
    rng = random.Random(3)
    made = []
    for files, truth in worlds(CLOSED + HELD_OUT, seed=77, setting="calibrate"):
        found = {"other"} if truth.other else set(truth.present) or {"none"}
        if rng.random() < WRONG_SHARE:
            found = {rng.choice([fault for fault in FAULTS if fault not in found])}
        lesson = lesson_of(closed_job(files, rows_of(files["observations.csv"]), sorted(found)))
        made.append((lesson, truth))
    return made


def belief(model, lesson):
    """Marginals of every fault, of none and of other, as the evidence of a lesson leaves them."""
    space = model.space()
    prior = inference.prior_for(model, _sheet(lesson)).log(space)
    terms = log_terms(model, space, [Seen(item, state) for item, state in lesson.evidence.items()])
    found = inference.posterior(model, space, prior, terms)
    return {**found.faults(), "none": found.probability_of("none"), "other": found.probability_of("other")}


def _sheet(lesson):
    return Sheet("x", reason=lesson.reason)


def log_scores(model, jobs):
    """The logarithm of what was believed of the fault that was to be named, of each job."""
    scores = []
    for lesson, truth in jobs:
        p = belief(model, lesson)
        scores.append(np.log(max(p[truth.fault], 1e-9) / sum(p.values())))
    return np.array(scores)


@pytest.mark.long
def test_learning_from_closed_jobs_helps_and_never_harms(jobs):
    """The issue's own bar: more than a standard error better at 500 closed jobs, at none of 20, 100, 500 worse."""
    held = jobs[CLOSED:]
    before = log_scores(load_model(), held)
    for count in (20, 100, 500):
        learned = learned_model(load_model(), [lesson for lesson, _ in jobs[:count]])
        assert learned.jobs == count
        gained = log_scores(learned.model, held) - before
        error = gained.std(ddof=1) / np.sqrt(len(gained))
        assert gained.mean() > -error, count
        if count == CLOSED:
            assert gained.mean() > error


@pytest.mark.long
def test_one_wrong_finding_moves_no_fault_of_a_typical_job_by_much(jobs):
    """The worst case: one finding, a wrong one, and nothing else learned. Typical: 99 jobs in 100."""
    rng = random.Random(9)
    typical = rng.sample(jobs[CLOSED:], 60)
    before = [belief(load_model(), lesson) for lesson, _ in typical]
    moves = []
    for lesson, truth in rng.sample(jobs[:CLOSED], 20):
        wrong = frozenset([rng.choice([fault for fault in FAULTS if fault not in truth.present])])
        moved = learned_model(load_model(), [Lesson("one", "0", lesson.reason, wrong, lesson.evidence)]).model
        for (other, _), old in zip(typical, before, strict=True):
            now = belief(moved, other)
            moves.append(max(abs(now[name] - old[name]) for name in old))
    assert np.quantile(moves, 0.99) < 0.05
    assert max(moves) < 0.2
