"""Where the work stands on the way to a sure verdict, and what the belief is after each answer to each test.

`Standing` is the whole of it: every hypothesis, one answer at a time. `Ground` is the same narrowed to the hypotheses
that matter, so that many answers can be weighed at once: what is left out is rarer than `NEGLIGIBLE`, and a family of
evidence is held within its cap below the best of all hypotheses, those left out included.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from satdiag.diagnosis.again import adds
from satdiag.diagnosis.inference import Posterior, posterior
from satdiag.diagnosis.model import Model, Test
from satdiag.diagnosis.plan import OF_ONE_RECEIVER, SWAP_RECEIVER, Bench
from satdiag.diagnosis.space import Floats, Space
from satdiag.diagnosis.waiting import ENTITLEMENT, MORE, PATTERN, WAIT, growing
from satdiag.diagnosis.weighing import NEPERS_PER_DB, exponents

NEGLIGIBLE = 1e-6
"""Hypotheses below it are left out of what answers do to the belief."""

TINY = 1e-300
RESEND = "resend"
"""The item that tells what came of an activation sent again."""


@dataclass(frozen=True, eq=False)
class Outcome:
    """What one answer says: log-likelihoods in full (hypotheses,).

    They stand in place of what `item` was seen as before; where that is None, they are added to all else. `also`:
    another item, and what the same answer says of that.
    """

    item: str | None
    column: Floats
    also: tuple[str, Floats] | None = None


@dataclass(frozen=True, eq=False)
class Standing:
    """Where the work stands: what can be tested, and all that the belief is made of.

    `log_prior` (hypotheses,); `terms`: what each item seen adds to it, as `weighing.log_terms` has it.
    """

    bench: Bench
    space: Space
    log_prior: Floats
    terms: Mapping[str, Floats]

    @property
    def model(self) -> Model:
        """What is believed of tests and faults."""
        return self.bench.model

    def belief(self) -> Posterior:
        """What is believed now."""
        return self._belief

    @cached_property
    def _belief(self) -> Posterior:
        return posterior(self.model, self.space, self.log_prior, self.terms)

    def told(self, test: Test, belief: Posterior, state: int) -> Standing:
        """Where it stands once a test has shown its answer number `state`."""
        bench, one = self.bench.after(test, state), self.outcomes(test, belief)[state]
        if test.name == SWAP_RECEIVER and one.item is not None:
            return self._without(OF_ONE_RECEIVER)._with(bench, one.item, one.column)
        if one.item is None:
            return Standing(bench, self.space, self.log_prior + one.column, self.terms)
        made = self._with(bench, one.item, one.column)
        return made if one.also is None else made._with(bench, *one.also)

    def outcomes(self, test: Test, belief: Posterior) -> list[Outcome]:
        """What each answer of a test does."""
        model, space, received = self.model, self.space, self.bench.received
        if (last := self.bench.for_last(test)) is not None:
            return self._of_last(np.log(last.table))
        if self.bench.is_again(test):
            before, states = self.bench.shown[test.item], range(len(model.items[test.item].states))
            return [Outcome(test.item, adds(model, space, test.item, before.then(k), received)) for k in states]
        if test.name == WAIT:
            item = ENTITLEMENT[self.bench.long]
            more = Outcome(item, growing(model, space, item, received))
            none = Outcome(None, np.log(self.bench.option(test, belief).table[:, 1 - MORE]))
            return [more, none] if MORE == 0 else [none, more]
        if test.item in self.terms:
            return [Outcome(None, column) for column in np.log(self.bench.option(test, belief).table).T]
        table = model.log_likelihood(test.item, space, received=received)
        shows = [Outcome(test.item, column) for column in table.T]
        if test.item == RESEND:  # where channels come after it, they are seen to grow in number
            item, state = ENTITLEMENT[self.bench.long], model.items[RESEND].states.index("came")
            shows[state] = replace(shows[state], also=(item, growing(model, space, item, received)))
        return shows

    def _of_last(self, log_table: Floats) -> list[Outcome]:
        """Of a look whether the last channels have come: if so, all play, and no package leaves any out."""
        model, received, long = self.model, self.bench.received, self.bench.long
        seen = []
        for item, state in ((ENTITLEMENT[long], "complete"), (PATTERN[long], "none")):
            column = model.log_likelihood(item, self.space, received=received)
            seen.append((item, column[:, model.items[item].states.index(state)]))
        return [Outcome(*seen[0], also=seen[1]), Outcome(None, log_table[:, 1])]

    def in_full(self, item: str) -> Floats:
        """What an item was seen as, its log-likelihood untempered, shape (hypotheses,); nothing of one not seen."""
        if item not in self.terms:
            return np.zeros(len(self.space.hypotheses))
        full: Floats = self.terms[item] / exponents(self.model, list(self.terms))[item]
        return full

    def _without(self, items: Collection[str]) -> Standing:
        """As if these items had not been seen."""
        kept = {name: self.in_full(name) for name in self.terms if name not in items}
        weight = exponents(self.model, list(kept))
        terms = {name: weight[name] * full for name, full in kept.items()}
        return Standing(self.bench, self.space, self.log_prior, terms)

    def _with(self, bench: Bench, item: str, column: Floats) -> Standing:
        """With an item's log-likelihood in full, shape (hypotheses,), in place of what it was seen as before."""
        rest = {name: term for name, term in self.terms.items() if name != item}
        old, new = exponents(self.model, list(self.terms)), exponents(self.model, [*rest, item])
        terms = {name: term * (new[name] / old[name]) for name, term in rest.items()}
        return Standing(bench, self.space, self.log_prior, {**terms, item: new[item] * column})


class Ground:
    """A standing narrowed to the hypotheses that matter; faults alone are always among them.

    `at`: their places among all; `space`: they alone; `joint` (kept,): log P(hypothesis, what was seen); `p` (kept,).
    """

    def __init__(self, standing: Standing, left_out: float = 0.0) -> None:
        """`left_out`: the rarest hypotheses, so much of the belief together, are left out too."""
        belief = standing.belief()
        falling = np.sort(belief.p)[::-1]
        least = falling[min(int(np.searchsorted(np.cumsum(falling), 1 - left_out)), len(falling) - 1)]
        kept = belief.likely(max(float(least) * 0.999, NEGLIGIBLE)) | (standing.space.holds.sum(axis=1) == 1)
        self.standing, self.belief = standing, belief
        self.at: NDArray[np.int64] = np.flatnonzero(kept)
        self.space = standing.space.only(kept)
        self.items = list(standing.terms)
        self.raw = self._in_full()
        self.parts = {name: self.held(name, raw[None], self.items)[0] for name, raw in self.raw.items()}
        self.joint: Floats = standing.log_prior[self.at] + sum(self.parts.values())
        self.p: Floats = belief.p[self.at]

    def _in_full(self) -> dict[str, Floats]:
        """The log-likelihood of what was seen of each family, each item in full, shape (hypotheses,) of all."""
        model, found = self.standing.model, dict[str, Floats]()
        for name in self.items:
            family, full = model.items[name].family, self.standing.in_full(name)
            found[family] = found[family] + full if family in found else full
        return found

    def held(self, family: str, raw: Floats, items: Sequence[str]) -> Floats:
        """What rows of a family (rows, hypotheses of all) count, if these items were seen: (rows, kept).

        Tempered, and held within the cap, as `weighing.combined` does.
        """
        weight = weight_of_family(self.standing.model, family, items)
        return held_within(self.standing.model, weight * raw[:, self.at], weight * raw.max(axis=1, keepdims=True))

    def after(self, test: Test) -> Floats:
        """The belief after each answer of a test, (states, kept)."""
        outcomes = self.standing.outcomes(test, self.belief)
        gone = self._without(OF_ONE_RECEIVER) if test.name == SWAP_RECEIVER else 0.0
        joint = np.tile(self.joint + gone, (len(outcomes), 1))
        aside = [k for k, one in enumerate(outcomes) if one.item is None]
        for k in aside:
            joint[k] += outcomes[k].column[self.at]
        shown = [(k, one.item, one.column) for k, one in enumerate(outcomes) if one.item is not None]
        shown += [(k, *one.also) for k, one in enumerate(outcomes) if one.also is not None]
        for item in dict.fromkeys(item for _, item, _ in shown):
            rows = [k for k, of, _ in shown if of == item]
            joint[rows] += self.change(item, np.array([column for _, of, column in shown if of == item]))
        return self.chances(joint)

    def _without(self, items: Collection[str]) -> Floats | float:
        """What is added to `joint` where these items had not been seen."""
        kept = [name for name in self.items if name not in items]
        gone = [name for name in self.items if name in items]
        added: Floats | float = 0.0
        for family in dict.fromkeys(self.standing.model.items[name].family for name in gone):
            raw = self.raw[family] - sum(
                self.standing.in_full(name) for name in gone if self.standing.model.items[name].family == family
            )
            left = any(self.standing.model.items[name].family == family for name in kept)
            added = added - self.parts[family] + (self.held(family, raw[None], kept)[0] if left else 0.0)
        return added

    def chances(self, joint: Floats) -> Floats:
        """Rows of logarithms (rows, kept) as probabilities; what is left out keeps its share."""
        mass = np.exp(joint - joint.max(axis=1, keepdims=True))
        p: Floats = mass * (self.p.sum() / mass.sum(axis=1, keepdims=True))
        return p

    def change(self, item: str, columns: Floats) -> Floats:
        """What is added to `joint` where an item says this (rows, hypotheses of all) in place of what it said."""
        family = self.standing.model.items[item].family
        rest = self.raw.get(family, 0.0) - self.standing.in_full(item)
        items = self.items if item in self.items else [*self.items, item]
        changed: Floats = self.held(family, rest + columns, items) - self.parts.get(family, 0.0)
        return changed


def weight_of_family(model: Model, family: str, items: Sequence[str]) -> float:
    """How much each item of a family counts, if these items were seen."""
    return next(count for name, count in exponents(model, items).items() if model.items[name].family == family)


def held_within(model: Model, term: Floats, top: Floats) -> Floats:
    """As `weighing.combined` holds what a family says within its cap below the best, for rows (rows, hypotheses)."""
    held: Floats = np.maximum(term, top - model.family_cap_db * NEPERS_PER_DB)
    return held
