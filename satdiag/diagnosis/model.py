"""`faults.toml` as arrays: hypotheses, priors, and what each evidence item looks like under each of them."""

from __future__ import annotations

import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from importlib import resources
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from satdiag.vocabulary import FAULTS, REASONS

Floats = NDArray[np.float64]

HYPOTHESES: tuple[frozenset[str], ...] = (
    frozenset(),
    *(frozenset([fault]) for fault in FAULTS),
    *(frozenset(pair) for pair in combinations(FAULTS, 2)),
    frozenset(["other"]),
)
"""Nothing wrong, every single fault, every pair, and 'something that is not in the list'."""

NONE, OTHER = 0, len(HYPOTHESES) - 1


@dataclass(frozen=True)
class Fault:
    """One fault: its prior by reason, the work to mend it, and the words for people."""

    name: str
    prior: Mapping[str, float]
    fix_minutes: float
    action: str
    customer: str
    cautions: tuple[str, ...]
    second_hand_factor: float = 1.0
    lead_factor: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Item:
    """One evidence item. `given[fault]` are the state probabilities of a single fault, healthiest state first."""

    name: str
    family: str
    what: str
    states: tuple[str, ...]
    say: tuple[str, ...]
    healthy: Floats
    given: Mapping[str, Floats]
    decides: tuple[str, ...]
    through_reception: bool = False

    def without(self, faults: Collection[str]) -> Item:
        """The item as it behaves where these faults cannot touch it."""
        given = {fault: row for fault, row in self.given.items() if fault not in faults}
        return replace(self, given=given, decides=tuple(fault for fault in self.decides if fault in given))

    def under(self, hypothesis: frozenset[str], floor: float) -> Floats:
        """P(state | hypothesis), with the floor for a wrong or wrongly entered reading mixed in."""
        count = len(self.states)
        plain = np.full(count, 1 / count) if "other" in hypothesis else self._plain(hypothesis)
        mixed: Floats = (1 - floor) * plain + floor / count
        return mixed

    def _plain(self, hypothesis: frozenset[str]) -> Floats:
        for fault in self.decides:
            if fault in hypothesis:
                return self.given[fault]
        rows = [self.given[fault] for fault in sorted(hypothesis) if fault in self.given]
        return noisy_max(self.healthy, rows)


@dataclass(frozen=True)
class Test:
    """Something the person can do next, and the item that it would show."""

    name: str
    item: str
    minutes: float
    text: str
    cautions: tuple[str, ...]
    repeatable: bool = False


@dataclass(frozen=True, eq=False)
class Model:
    """All of faults.toml."""

    faults: Mapping[str, Fault]
    items: Mapping[str, Item]
    tests: tuple[Test, ...]
    other_prior: Mapping[str, float]
    none_factor: Mapping[str, float]
    prior_range: float
    likelihood_range: float
    error_floor: float
    family_correlation: float
    reception_faults: frozenset[str]

    def log_likelihood(self, item: str, repeats: int = 1, received: bool = False) -> Floats:
        """log P(state | hypothesis), shape (hypotheses, states).

        A reading repeated alike is misread less. `received`: a path is received well, so that faults of reception
        leave what comes after it alone.
        """
        return _log_likelihood(self, item, self.error_floor / repeats, received)


@cache
def _log_likelihood(model: Model, name: str, floor: float, received: bool) -> Floats:
    item = model.items[name]
    if received and item.through_reception:
        item = item.without(model.reception_faults)
    table: Floats = np.log(np.array([item.under(hypothesis, floor) for hypothesis in HYPOTHESES]))
    table.flags.writeable = False
    return table


def noisy_max(healthy: Floats, rows: list[Floats]) -> Floats:
    """The state distribution when several causes act independently and the worst of their states shows.

    With F the cumulative distribution from the healthiest state on, F = F_healthy * prod(F_fault / F_healthy), each
    ratio at most 1 (Henrion 1989; Diez 1993). One cause alone gives back its own row.
    """
    if len(rows) == 1:
        return rows[0]
    base = np.cumsum(healthy)
    cumulative = base.copy()
    for row in rows:
        cumulative *= np.minimum(np.cumsum(row) / base, 1.0)
    cumulative[-1] = 1.0
    shown: Floats = np.diff(np.concatenate([[0.0], np.minimum.accumulate(cumulative[::-1])[::-1]]))
    return shown


@cache
def load_model() -> Model:
    """The packaged faults.toml."""
    return build_model(tomllib.loads(resources.files(__package__).joinpath("faults.toml").read_text("utf-8")))


def build_model(data: Mapping[str, Any]) -> Model:
    """A model from the tables of a faults.toml."""
    return Model(
        faults={name: _fault(name, table) for name, table in data["fault"].items()},
        items={name: _item(name, table) for name, table in data["item"].items()},
        tests=tuple(
            Test(
                name,
                table["item"],
                table["minutes"],
                table["text"],
                tuple(table["cautions"]),
                table.get("repeatable", False),
            )
            for name, table in data["test"].items()
        ),
        other_prior=dict(zip(REASONS, data["other_prior"], strict=True)),
        none_factor=dict(zip(REASONS, data["none_factor"], strict=True)),
        prior_range=data["prior_range"],
        likelihood_range=data["likelihood_range"],
        error_floor=data["error_floor"],
        family_correlation=data["family_correlation"],
        reception_faults=frozenset(data["reception_faults"]),
    )


def _fault(name: str, table: Mapping[str, Any]) -> Fault:
    return Fault(
        name=name,
        prior=dict(zip(REASONS, table["prior"], strict=True)),
        fix_minutes=table["fix_minutes"],
        action=table["action"],
        customer=table["customer"],
        cautions=tuple(table["cautions"]),
        second_hand_factor=table.get("second_hand_factor", 1.0),
        lead_factor=table.get("lead_factor", {}),
    )


def _item(name: str, table: Mapping[str, Any]) -> Item:
    return Item(
        name=name,
        family=table["family"],
        what=table["what"],
        states=tuple(table["states"]),
        say=tuple(table["say"]),
        healthy=np.array(table["healthy"], dtype=float),
        given={fault: np.array(row["p"], dtype=float) for fault, row in table["given"].items()},
        decides=tuple(table.get("decides", ())),
        through_reception=table.get("through_reception", False),
    )
