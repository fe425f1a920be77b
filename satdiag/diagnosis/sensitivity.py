"""How firmly the leading fault stands: every prior, every share of a kind and every likelihood moved within its
stated range, one at a time.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from satdiag.diagnosis.inference import NAMES, Numbers, Posterior, Prior, leaders, scale_odds
from satdiag.diagnosis.model import Model
from satdiag.diagnosis.space import Floats, Space
from satdiag.diagnosis.weighing import combined

Key = tuple[str, str]
KIND = "kind"
NEGLIGIBLE = 3e-8
"""Hypotheses below it cannot lead, whatever single figure is moved by the stated ranges."""


@dataclass(frozen=True)
class Swing:
    """What moving one figure does to the probability of the leading fault, and whether another one leads then.

    `what`: 'prior', 'kind' or an item; `of`: the fault (or 'none', 'other') whose prior or likelihood was moved, or
    the 'fault/kind' whose share.
    """

    what: str
    of: str
    low: float
    high: float
    changes: bool


def swings(model: Model, whole: Posterior, prior: Prior, terms: Mapping[str, Floats]) -> list[Swing]:
    """One swing for each prior, each share of a kind and each row of each item seen, the widest first."""
    kept = whole.likely(NEGLIGIBLE)
    space = whole.space.only(kept)
    evidence = np.broadcast_to(combined(model, terms), kept.shape)[kept]
    of_priors, by_prior = _moved_priors(model, whole.space, prior)
    of_shares, by_share = _moved_shares(model, space)
    of_rows, by_row = _moved_rows(model, space, {name: term[kept] for name, term in terms.items()})
    keys = of_priors + of_shares + of_rows
    p = np.vstack([by_prior[:, kept], by_share, by_row])  # tens of thousands of figures: worked on in place
    p[len(of_priors) :] += prior.log(whole.space)[kept]
    p += evidence
    p -= p.max(axis=1, keepdims=True)
    np.exp(p, out=p)
    p /= p.sum(axis=1, keepdims=True)
    class_, fault = leaders(space, p)
    first_class, first_fault = (int(part[0]) for part in leaders(space, whole.p[None, kept]))
    differs = (class_ != first_class) | (fault != first_fault)
    chance = p[:, space.mask_of(NAMES[first_fault])].sum(axis=1)
    return _by_key(keys, chance, differs.astype(np.int64))


def _by_key(keys: list[Key], chance: Floats, differs: Numbers) -> list[Swing]:
    places: dict[Key, list[int]] = {}
    for place, key in enumerate(keys):
        places.setdefault(key, []).append(place)
    made = [
        Swing(*key, float(chance[at].min()), float(chance[at].max()), bool(differs[at].any()))
        for key, at in places.items()
    ]
    return sorted(made, key=lambda swing: swing.low - swing.high)


def _moved_priors(model: Model, space: Space, prior: Prior) -> tuple[list[Key], Floats]:
    """log P(hypothesis) with one prior at an end of its range, shape (moves, hypotheses)."""
    keys: list[Key] = []
    moved = []
    for factor in (model.prior_range, 1 / model.prior_range):
        for name, p in prior.faults.items():
            keys.append(("prior", name))
            moved.append(replace(prior, faults={**prior.faults, name: scale_odds(p, factor)}))
        keys += [("prior", "other"), ("prior", "none")]
        moved.append(replace(prior, other=scale_odds(prior.other, factor)))
        moved.append(replace(prior, none_factor=prior.none_factor * factor))
    return keys, np.array([one.log(space) for one in moved])


def _moved_shares(model: Model, space: Space) -> tuple[list[Key], Floats]:
    """What is added to log P(hypothesis) when the odds of one kind within its fault are at an end of their range.

    The fault comes as often as before: its other kinds make room, or take it, all alike. Of two kinds either move is
    that of the other, and the first stands for both.
    """
    keys: list[Key] = []
    added = [np.zeros((0, len(space.hypotheses)))]
    for fault, shares in model.shares.items():
        for kind in list(shares)[: 1 if len(shares) == 2 else None]:
            here = space.of_kind.get((fault, kind))
            if here is None:
                continue
            elsewhere, now = space.mask_of(fault) & ~here, shares[kind]
            for factor in (model.kind_range, 1 / model.kind_range):
                moved = scale_odds(now, factor)
                keys.append((KIND, f"{fault}/{kind}"))
                added.append(here * np.log(moved / now) + elsewhere * np.log((1 - moved) / (1 - now)))
    return keys, np.vstack(added)


def _moved_rows(model: Model, space: Space, terms: Mapping[str, Floats]) -> tuple[list[Key], Floats]:
    """What is added to log P(hypothesis, evidence) when one row's odds are at an end of their range."""
    masks = np.array([space.mask_of(name) for name in NAMES])
    shift = float(np.log(model.likelihood_range))
    keys: list[Key] = []
    added = [np.zeros((0, len(space.hypotheses)))]
    for item, term in terms.items():
        for sign in (-shift, shift):
            keys += [(item, name) for name in NAMES]
            added.append(masks * _odds_shift(term, sign))
    return keys, np.vstack(added)


def _odds_shift(term: Floats, shift: float) -> Floats:
    """Change of log p when the odds of p are multiplied by exp(shift)."""
    p = np.exp(term)
    change: Floats = shift - np.log1p(p * np.expm1(shift))
    return change
