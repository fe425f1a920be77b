"""What the evidence says for each hypothesis: log-likelihoods, tempered where items lean on one another, capped."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from satdiag.diagnosis.model import Model
from satdiag.diagnosis.seen import Seen
from satdiag.diagnosis.space import Floats, Space

NEPERS_PER_DB = float(np.log(10) / 10)
EACH_PATH = ("any-path", "satellite", "satellite-beside", "repeater")
"""Items that tell how a path is received."""


def exponents(model: Model, items: Sequence[str]) -> dict[str, float]:
    """How much each item counts: m items of one family count as m / (1 + (m - 1) rho) independent ones (Kish 1965).

    All of it is multiplied by the model's tempering, and by what the model says that its family counts for.
    """
    families = [model.items[name].family for name in items]
    size = {family: families.count(family) for family in families}
    return {
        name: model.tempering_of(family) / (1 + (size[family] - 1) * model.family_correlation)
        for name, family in zip(items, families, strict=True)
    }


def log_terms(model: Model, space: Space, seen: Sequence[Seen]) -> dict[str, Floats]:
    """The tempered log-likelihood of what each item was seen as, over the hypotheses.

    An item seen in one state counts with P(state | hypothesis). One that an estimator could only tell in part counts
    with the sum over its states of P(state | hypothesis) times the likelihood of what was measured given the state
    (virtual evidence, Pearl 1988). Items that the model does not know are left out.
    """
    known = [one for one in seen if one.item in model.items]
    weight = exponents(model, [one.item for one in known])
    received = is_received(known)
    return {one.item: weight[one.item] * _log_likelihood(model, space, one, received) for one in known}


def is_received(seen: Iterable[Seen]) -> bool:
    """True if some path is received well, so that faults of reception leave what comes after it alone."""
    return any(one.item in EACH_PATH and one.state == "good" for one in seen)


def _log_likelihood(model: Model, space: Space, one: Seen, received: bool) -> Floats:
    table = model.log_likelihood(one.item, space, one.repeats, received)
    states = model.items[one.item].states
    if one.soft is None:
        column: Floats = table[:, states.index(one.state)]
        return column
    mixed: Floats = np.log(np.exp(table) @ np.array([one.soft.get(state, 0.0) for state in states]))
    return mixed


def combined(model: Model, terms: Mapping[str, Floats]) -> Floats | float:
    """All terms together, shape (hypotheses,), a family's items held within its cap below the best hypothesis."""
    families: dict[str, Floats] = {}
    for name, term in terms.items():
        family = model.items[name].family
        families[family] = families[family] + term if family in families else term
    return sum((_capped(part, model.family_cap_db) for part in families.values()), 0.0)


def _capped(term: Floats, cap_db: float) -> Floats:
    held: Floats = np.maximum(term, term.max() - cap_db * NEPERS_PER_DB)
    return held
