"""`faults.toml` as arrays: priors, and what each evidence item looks like under each hypothesis."""

from __future__ import annotations

import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from importlib import resources
from typing import Any

import numpy as np

from satdiag.diagnosis.space import OTHER, PAIRS, Flags, Floats, Kind, Space, space_of
from satdiag.vocabulary import FAULTS, REASONS

ANYTHING = "anything"
"""The kind of 'other' that is not described: it may show anything."""


@dataclass(frozen=True)
class Fault:
    """One fault: its prior by reason, the work to mend it, and the words for people.

    `kinds`: the ways in which it comes and the share of each, where they look unlike one another.
    """

    name: str
    prior: Mapping[str, float]
    fix_minutes: float
    action: str
    customer: str
    cautions: tuple[str, ...]
    second_hand_factor: float = 1.0
    lead_factor: Mapping[str, float] = field(default_factory=dict)
    kinds: Mapping[str, float] = field(default_factory=dict)
    new_factor: float = 1.0


@dataclass(frozen=True, eq=False)
class Item:
    """One evidence item. `given[fault]` are the state probabilities of a single fault, healthiest state first.

    `by_kind[fault, kind]`: those of one kind of it, where its kinds differ in this item; `given[fault]` is their mean
    then. `other`: those of something outside the list; None: all states alike. `misread`: how often a reading says
    another state than is so, each time anew; the rows hold it. `anew`: of what comes and goes, how far a look that
    showed nothing (the first state) leaves the next one to chance: 0 where a second look would show the same.
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
    by_kind: Mapping[Kind, Floats] = field(default_factory=dict)
    misread: float = 0.0
    anew: float = 0.0

    def without(self, faults: Collection[str]) -> Item:
        """The item as it behaves where these faults, or kinds of a fault ('fault/kind'), cannot touch it."""
        given = {fault: row for fault, row in self.given.items() if fault not in faults}
        by_kind = {
            (fault, kind): self.healthy if f"{fault}/{kind}" in faults else row
            for (fault, kind), row in self.by_kind.items()
            if fault in given or fault == OTHER
        }
        decides = tuple(fault for fault in self.decides if fault in given)
        return replace(self, given=given, by_kind=by_kind, decides=decides)

    def under(self, space: Space, floor: float, again: bool = False) -> Floats:
        """P(state | hypothesis), shape (hypotheses, states), with the floor for a wrong reading mixed in.

        `again`: of a state that was read twice alike, which leaves little of what is misread.
        """
        count = len(self.states)
        plain = self._worst_of_causes(space)
        for fault in reversed(self.decides):
            for acts, row in self._causes(space, fault):
                if row is not self.healthy:  # a kind that leaves the item as it is hides nothing else
                    plain[acts] = row
        for acts, row in self._causes(space, OTHER):
            plain[acts] = row
        if again and self.misread:
            plain = self.without_misread(plain, SAME_AGAIN)
        mixed: Floats = (1 - floor) * plain + floor / count
        return mixed

    def without_misread(self, table: Floats, left: float = 0.0) -> Floats:
        """Rows (hypotheses, states) without what is misread, which may say any state, but for a share of that.

        Of each entry LEAST_LEFT stays at least.
        """
        kept: Floats = np.maximum(table - (1 - left) * self.misread / len(self.states), LEAST_LEFT * table)
        return kept

    def _worst_of_causes(self, space: Space) -> Floats:
        """The causes act independently and the worst of their states shows; one cause alone gives its own row.

        With F the cumulative distribution from the healthiest state on, F = F_healthy * prod(F_fault / F_healthy),
        each ratio at most 1 (Henrion 1989; Diez 1993).
        """
        table = np.tile(self.healthy, (len(space.hypotheses), 1))
        if not self.given:
            return table
        causes = [cause for fault in self.given for cause in self._causes(space, fault)]
        acts = np.array([mask for mask, _ in causes]).T
        rows = np.array([row for _, row in causes])
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

    @property
    def _other(self) -> Floats:
        count = len(self.states)
        return np.full(count, 1 / count) if self.other is None else self.other

    def _causes(self, space: Space, fault: str) -> list[tuple[Flags, Floats]]:
        """Where in a space the fault acts, and its row; kind by kind where the space tells its kinds apart."""
        kinds = [kind for kind in self.by_kind if kind[0] == fault and kind in space.of_kind]
        if not kinds:
            return [(space.mask_of(fault), self._other if fault == OTHER else self.given[fault])]
        return [(space.of_kind[kind], self.by_kind[kind]) for kind in kinds]


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
    kind_range: float
    error_floor: float
    family_correlation: float
    family_cap_db: float
    tempering: float
    reception_faults: frozenset[str]
    other_kinds: Mapping[str, float] = field(default_factory=dict)
    second_factor: float = 1.0
    family_weight: Mapping[str, float] = field(default_factory=dict)

    def tempering_of(self, family: str) -> float:
        """What the log-likelihoods of a family's items are multiplied by, beside what their number takes off."""
        return self.tempering * self.family_weight.get(family, 1.0)

    @property
    def shares(self) -> dict[str, Mapping[str, float]]:
        """Of each fault that comes in several kinds, and of 'other', the share of each kind."""
        every = {name: one.kinds for name, one in self.faults.items()} | {OTHER: self.other_kinds}
        return {name: own for name, own in every.items() if own}

    def space(self, order: int = PAIRS) -> Space:
        """All sets of at most `order` faults, with the kinds of those that come in several."""
        return space_of(order, tuple((name, tuple(own.items())) for name, own in self.shares.items()))

    def log_likelihood(self, item: str, space: Space, repeats: int = 1, received: bool = False) -> Floats:
        """log P(state | hypothesis), shape (hypotheses, states).

        A reading repeated alike is misread less; of what comes and goes, so many looks that all showed nothing are
        weighed together (the first state's column is then no part of a distribution). `received`: a path is received
        well, so that faults of reception leave what comes after it alone.
        """
        looks = repeats if self.items[item].anew else 1
        return _log_likelihood(self, item, space, self.error_floor / repeats, received, repeats > 1, looks)


_LEAST_LOG = -745.0

SAME_AGAIN = 0.25
"""How many misread readings come out alike when repeated: the same plug, the same habit (judgement, no source)."""

LEAST_LEFT = 0.2
"""Of no entry of a row is more than four fifths taken for misread (judgement, no source)."""


@cache
def _log_likelihood(
    model: Model, name: str, space: Space, floor: float, received: bool, again: bool, looks: int
) -> Floats:
    item = model.items[name]
    if received and item.through_reception:
        item = item.without(model.reception_faults)
    table: Floats = np.log(item.under(space, floor, again))
    table[:, 0] += (looks - 1) * np.log1p(-item.anew * -np.expm1(table[:, 0]))
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
        items={name: _item(name, table, data) for name, table in data["item"].items()},
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
        other_kinds=dict(data.get("other_kinds", {})),
        kind_range=data.get("kind_range", data["prior_range"]),
        second_factor=data.get("second_factor", 1.0),
        family_weight=dict(data.get("family_weight", {})),
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
        new_factor=table.get("new_factor", 1.0),
        lead_factor=table.get("lead_factor", {}),
        kinds=table.get("kinds", {}),
    )


def _item(name: str, table: Mapping[str, Any], data: Mapping[str, Any]) -> Item:
    """An item with its rows; the row of a kind is called 'fault/kind'."""
    healthy = np.array(table["healthy"], dtype=float)
    told = {of: np.array(row["p"], dtype=float) for of, row in table.get("given", {}).items()}
    share = data["other_share"]
    anything = told.get(OTHER, (1 - share) * healthy + share / len(healthy))
    apart = [fault for fault in FAULTS if any(of.startswith(f"{fault}/") for of in told)]
    kinds = {fault: data["fault"][fault]["kinds"] for fault in apart}
    kinds[OTHER] = data.get("other_kinds", {ANYTHING: 1.0})
    # A kind without a row leaves the item healthy; what is not described may show anything.
    rows = {(OTHER, ANYTHING): anything}
    rows |= {
        (of, kind): told.get(f"{of}/{kind}", healthy) for of, own in kinds.items() for kind in own if kind != ANYTHING
    }
    whole = {of: np.sum([part * rows[of, kind] for kind, part in own.items()], axis=0) for of, own in kinds.items()}
    other = whole.pop(OTHER)
    return Item(
        name=name,
        family=table["family"],
        what=table["what"],
        states=tuple(table["states"]),
        say=tuple(table["say"]),
        healthy=healthy,
        given={fault: row for fault, row in told.items() if fault in FAULTS} | whole,
        decides=tuple(table.get("decides", ())),
        through_reception=table.get("through_reception", False),
        other=other,
        by_kind=rows,
        misread=table.get("misread", 0.0),
        anew=table.get("anew", 0.0),
    )
