"""The fewest minutes of testing that make a verdict sure and right in a made-up world: a bound for every plan.

Every test is answered from the start, those that can be misread also twice over, and what that adds to the evidence
is kept. Of all sets of up to `MOST_TOGETHER` tests, each once, the cheapest is sought whose answers, weighed
together, make it sure and right: who chooses it has to know all answers beforehand. Where none does, more are put
together, the one that raises the right verdict most per minute first, and those left out again that are not needed:
that is no bound any more, but a way there is. A test done after others may answer a little differently, so that a
plan can now and then do what is called impossible here. Every set is looked at, however long that takes: a search cut
short would know neither that a world can be solved nor that it cannot.
"""

import copy
from itertools import combinations

MOST_TOGETHER = 5
SURE_AT = 0.95
AGAIN = " twice"


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
    """Minutes of the cheapest set of tests that would do, and which."""
    from satdiag.simulate.worlds import known_tests, make_world

    made = make_world(order.setting, order.seed, number, order.tier)
    start = weighed(made)
    held = {one.item: (one.state, one.soft, one.repeats) for one in start.seen}
    shown, costs = {}, {}
    for name in (name for name in known_tests() if name in prices):
        world = copy.deepcopy(made)
        item = start.model.items.get(prices[name][1])
        for times in (1, 2) if item and (item.misread or item.anew) else (1,):
            world.answer(name)
            fresh = [one for one in weighed(world).seen if held.get(one.item) != (one.state, one.soft, one.repeats)]
            if fresh:
                shown[name + AGAIN * (times - 1)] = {one.item: one for one in fresh}
                costs[name + AGAIN * (times - 1)] = (times * prices[name][0], prices[name][1])
    return cheapest(start, shown, costs, made.truth.present or ("none",), most_minutes)


def cheapest(start, shown, prices, right, most_minutes):
    """The search over sets, the cheapest first."""
    once = sorted(name for name in shown if not name.endswith(AGAIN))
    sets = [chosen for size in range(1, MOST_TOGETHER + 1) for chosen in combinations(once, size)]
    ranked = sorted((sum(prices[name][0] for name in chosen), chosen) for chosen in sets)
    quick = Quick(start, right)
    for minutes, chosen in ranked:
        if minutes >= most_minutes:
            break
        answers = [shown[name] for name in chosen]
        if quick.may_be_proved(answers) and is_proved(start, answers, right):
            return {"counted": minutes, "tests": list(chosen)}
    chosen = put_together(start, shown, prices, right)
    minutes = sum(prices[name][0] for name in chosen)
    if not chosen or minutes >= most_minutes:
        return {"counted": most_minutes, "tests": []}
    return {"counted": minutes, "tests": chosen}


class Quick:
    """Whether answers may make it sure and right, many sets of them: what a family of evidence says is kept."""

    def __init__(self, start, right):
        import numpy as np

        space = start.whole.space
        self.start = start
        self.masks = np.array([space.mask_of(fault) for fault in right], dtype=float)
        self.families = {}

    def may_be_proved(self, answers):
        """Whether one of the right verdicts becomes as good as sure; the alarm for another lead is not asked."""
        import numpy as np

        from satdiag.diagnosis.weighing import is_received

        seen = laid_over(self.start, answers)
        received, groups = is_received(seen.values()), {}
        for one in seen.values():
            groups.setdefault(self.start.model.items[one.item].family, []).append(one)
        joint = self.start.log_prior + sum(self._said(tuple(ones), received) for ones in groups.values())
        mass = np.exp(joint - joint.max())
        return float((self.masks @ mass).max()) >= SURE_AT * float(mass.sum()) * (1 - 1e-9)

    def _said(self, ones, received):
        """What the readings of one family say, log-likelihoods over the hypotheses."""
        from satdiag.diagnosis.weighing import _log_likelihood, combined, exponents

        key = (received, *map(id, ones))
        if key not in self.families:
            model, space = self.start.model, self.start.whole.space
            weight = exponents(model, [one.item for one in ones])
            terms = {one.item: weight[one.item] * _log_likelihood(model, space, one, received) for one in ones}
            self.families[key] = (combined(model, terms), ones)  # the readings too: their ids stay theirs
        return self.families[key][0]


def put_together(start, shown, prices, right):
    """Tests, each next the one that raises the right verdict most per minute; those not needed left out again."""
    chosen, left = [], sorted(shown)
    reached = chance_of(start, [], right)
    while left and not is_proved(start, [shown[name] for name in chosen], right):
        gains = {name: chance_of(start, [shown[one] for one in [*chosen, name]], right) - reached for name in left}
        best = max(left, key=lambda name: gains[name] / prices[name][0])
        if gains[best] <= 0.0:
            return []
        chosen, reached = [*chosen, best], reached + gains[best]
        left = [name for name in left if name.removesuffix(AGAIN) != best.removesuffix(AGAIN)]
    if not is_proved(start, [shown[name] for name in chosen], right):
        return []
    for name in sorted(chosen, key=lambda name: -prices[name][0]):
        rest = [one for one in chosen if one != name]
        if is_proved(start, [shown[one] for one in rest], right):
            chosen = rest
    return chosen


def is_proved(start, answers, right):
    """Whether these answers, laid over what was seen at the start, make it sure, as the diagnosis is, and right."""
    from satdiag.diagnosis.sensitivity import swings

    belief, terms = after(start, answers)
    fault = belief.top()[1]
    if fault not in right or belief.probability_of(fault) < SURE_AT:
        return False
    return not any(swing.changes for swing in swings(start.model, belief, start.prior, terms))


def chance_of(start, answers, right):
    """The probability of the likeliest of the right verdicts after these answers, in decibans."""
    from satdiag.diagnosis.inference import decibans

    belief, _ = after(start, answers)
    return max(decibans(belief.probability_of(fault)) for fault in right)


def after(start, answers):
    """The belief with these answers laid over what was seen at the start, and the terms it is made of."""
    from satdiag.diagnosis import inference
    from satdiag.diagnosis.weighing import log_terms

    seen = laid_over(start, answers)
    terms = log_terms(start.model, start.whole.space, tuple(seen.values()))
    return inference.posterior(start.model, start.whole.space, start.log_prior, terms), terms


def laid_over(start, answers):
    """What is seen of each item once these answers have come."""
    seen = {one.item: one for one in start.seen}
    for answer in answers:
        seen |= answer
    return seen
