"""`faults.toml` as arrays: priors, and what each evidence item looks like under each hypothesis."""

from __future__ import annotations

import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from importlib import resources
from typing import Any

import numpy as np

from satdiag.diagnosis.space import Floats, Space
from satdiag.vocabulary import FAULTS, REASONS


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
    """One evidence item. `given[fault]` are the state probabilities of a single fault, healthiest state first.

    `other`: those of something outside the list; None: all states alike.
    """

    name: str
    family: str
    what: str
    states: tuple[str, ...]
    say: tuple[str, ...]
    healthy: Floats
    given: Mapping[str, Floats]
    decides: tuple[str, ...]
    through_reception: bool = False
    other: Floats | None = None

    def without(self, faults: Collection[str]) -> Item:
        """The item as it behaves where these faults cannot touch it."""
        given = {fault: row for fault, row in self.given.items() if fault not in faults}
        return replace(self, given=given, decides=tuple(fault for fault in self.decides if fault in given))

    def under(self, space: Space, floor: float) -> Floats:
        """P(state | hypothesis), shape (hypotheses, states), with the floor for a wrong reading mixed in."""
        count = len(self.states)
        plain = self._worst_of_causes(space)
        for fault in reversed(self.decides):
            plain[space.mask_of(fault)] = self.given[fault]
        plain[space.other] = 1 / count if self.other is None else self.other
        mixed: Floats = (1 - floor) * plain + floor / count
        return mixed

    def _worst_of_causes(self, space: Space) -> Floats:
        """The causes act independently and the worst of their states shows; one cause alone gives its own row.

        With F the cumulative distribution from the healthiest state on, F = F_healthy * prod(F_fault / F_healthy),
        each ratio at most 1 (Henrion 1989; Diez 1993).
        """
        table = np.tile(self.healthy, (len(space.hypotheses), 1))
        if not self.given:
            return table
        columns = [FAULTS.index(fault) for fault in self.given]
        rows = np.array(list(self.given.values()))
        acts = space.holds[:, columns]
        several = acts.sum(axis=1) > 1
        table[acts.sum(axis=1) == 1] = acts[acts.sum(axis=1) == 1] @ rows
        base = np.cumsum(self.healthy)
        with np.errstate(divide="ignore"):
            shrink = np.log(np.minimum(np.cumsum(rows, axis=1) / base, 1.0))
        held = np.maximum(shrink, _LEAST_LOG)  # 0 x -inf is no number; exp(-745) is the smallest one there is
        cumulative = base * np.exp(acts[several].astype(float) @ held)
        cumulative[:, -1] = 1.0
        falling = np.minimum.accumulate(cumulative[:, ::-1], axis=1)[:, ::-1]
        table[several] = np.diff(falling, axis=1, prepend=0.0)
        return table


@dataclass(frozen=True)
class Test:
    """Something the person can do next, and the item that it would show.

    `needs`: what one has to have or be able to do (keys of `Model.can`). `risk_minutes`: what may go wrong, as
    expected work.
    """

    name: str
    item: str
    minutes: float
    text: str
    cautions: tuple[str, ...]
    repeatable: bool = False
    needs: tuple[str, ...] = ()
    risk_minutes: float = 0.0


@dataclass(frozen=True, eq=False)
class Model:
    """All of faults.toml. `can`: what a test may need, each with its meaning."""

    faults: Mapping[str, Fault]
    items: Mapping[str, Item]
    tests: tuple[Test, ...]
    can: Mapping[str, str]
    other_prior: Mapping[str, float]
    none_factor: Mapping[str, float]
    prior_range: float
    likelihood_range: float
    error_floor: float
    family_correlation: float
    family_cap_db: float
    tempering: float
    reception_faults: frozenset[str]

    def log_likelihood(self, item: str, space: Space, repeats: int = 1, received: bool = False) -> Floats:
        """log P(state | hypothesis), shape (hypotheses, states).

        A reading repeated alike is misread less. `received`: a path is received well, so that faults of reception
        leave what comes after it alone.
        """
        return _log_likelihood(self, item, space, self.error_floor / repeats, received)


_LEAST_LOG = -745.0


@cache
def _log_likelihood(model: Model, name: str, space: Space, floor: float, received: bool) -> Floats:
    item = model.items[name]
    if received and item.through_reception:
        item = item.without(model.reception_faults)
    table: Floats = np.log(item.under(space, floor))
    table.flags.writeable = False
    return table


@cache
def load_model() -> Model:
    """The packaged faults.toml."""
    return build_model(tomllib.loads(resources.files(__package__).joinpath("faults.toml").read_text("utf-8")))


def build_model(data: Mapping[str, Any]) -> Model:
    """A model from the tables of a faults.toml."""
    return Model(
        faults={name: _fault(name, table) for name, table in data["fault"].items()},
        items={name: _item(name, table, data["other_share"]) for name, table in data["item"].items()},
        tests=tuple(
            Test(
                name,
                table["item"],
                table["minutes"],
                table["text"],
                tuple(table["cautions"]),
                table.get("repeatable", False),
                tuple(table.get("needs", ())),
                table.get("risk_minutes", 0.0),
            )
            for name, table in data["test"].items()
        ),
        can=dict(data["can"]),
        other_prior=dict(zip(REASONS, data["other_prior"], strict=True)),
        none_factor=dict(zip(REASONS, data["none_factor"], strict=True)),
        prior_range=data["prior_range"],
        likelihood_range=data["likelihood_range"],
        error_floor=data["error_floor"],
        family_correlation=data["family_correlation"],
        family_cap_db=data["family_cap_db"],
        tempering=data["tempering"],
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


def _item(name: str, table: Mapping[str, Any], other_share: float) -> Item:
    healthy = np.array(table["healthy"], dtype=float)
    given = {fault: np.array(row["p"], dtype=float) for fault, row in table.get("given", {}).items()}
    anything = (1 - other_share) * healthy + other_share / len(healthy)
    return Item(
        name=name,
        family=table["family"],
        what=table["what"],
        states=tuple(table["states"]),
        say=tuple(table["say"]),
        healthy=healthy,
        given={fault: row for fault, row in given.items() if fault in FAULTS},
        decides=tuple(table.get("decides", ())),
        through_reception=table.get("through_reception", False),
        other=given.get("other", anything),
    )
