"""The fewest minutes of testing that make a verdict sure and right in a made-up world: a bound for every plan.

Every test is answered once from the start, and what each adds to the evidence is kept. Of all sets of up to
`MOST_TOGETHER` tests the cheapest is sought whose answers, weighed together, make it sure and right: who chooses it
has to know all answers beforehand. It bounds what these answers can do; a test done after others may answer a little
differently, so that a plan can now and then do what the bound calls impossible. Where the search takes too long, the
minutes reached by then stand, a bound still.
"""

import copy
import time
from itertools import combinations

MOST_TOGETHER = 5
LONGEST_SEARCH_S = 20.0
SURE_AT = 0.95


def weighed(made):
    """The evidence of a world as it stands and the belief in it."""
    from dataclasses import replace

    from bench_diagnosis import job_and_reference

    from satdiag.analysis import _known
    from satdiag.diagnosis.beside import beside
    from satdiag.diagnosis.estimate import weigh
    from satdiag.signal.estimate import estimate_signal
    from satdiag.sky.estimate import estimate_sky

    job, reference = job_and_reference(made)
    sky = estimate_sky(job)
    known = _known(job, sky, estimate_signal(job, sky))
    return weigh(known if reference is None else replace(known, beside=beside(job, reference)))


def shortest(order, number, prices, most_minutes):
    """Minutes of the cheapest set of tests that would do, and which; `cut`: the search was ended early."""
    from satdiag.simulate.worlds import known_tests, make_world

    made = make_world(order.setting, order.seed, number, order.tier)
    start = weighed(made)
    held = {one.item: (one.state, one.soft, one.repeats) for one in start.seen}
    shown = {}
    for name in (name for name in known_tests() if name in prices):
        world = copy.deepcopy(made)
        world.answer(name)
        fresh = [one for one in weighed(world).seen if held.get(one.item) != (one.state, one.soft, one.repeats)]
        if fresh:
            shown[name] = {one.item: one for one in fresh}
    return cheapest(start, shown, prices, made.truth.present or ("none",), most_minutes)


def cheapest(start, shown, prices, right, most_minutes):
    """The search over sets, the cheapest first."""
    sets = [chosen for size in range(1, MOST_TOGETHER + 1) for chosen in combinations(sorted(shown), size)]
    ranked = sorted((sum(prices[name][0] for name in chosen), chosen) for chosen in sets)
    began = time.perf_counter()
    for minutes, chosen in ranked:
        if minutes >= most_minutes:
            break
        if time.perf_counter() - began > LONGEST_SEARCH_S:
            return {"counted": minutes, "tests": [], "cut": True}
        if is_proved(start, [shown[name] for name in chosen], right):
            return {"counted": minutes, "tests": list(chosen), "cut": False}
    return {"counted": most_minutes, "tests": [], "cut": False}


def is_proved(start, answers, right):
    """Whether these answers, laid over what was seen at the start, make it sure and right."""
    from satdiag.diagnosis import inference
    from satdiag.diagnosis.weighing import log_terms

    seen = {one.item: one for one in start.seen}
    for answer in answers:
        seen |= answer
    terms = log_terms(start.model, start.whole.space, tuple(seen.values()))
    belief = inference.posterior(start.model, start.whole.space, start.log_prior, terms)
    fault = belief.top()[1]
    return fault in right and belief.probability_of(fault) >= SURE_AT
