"""Counts of closed jobs, and a model with them added: Dirichlet and beta counts (Gelman et al. 2013, ch. 3).

The packaged figures count as some vehicles too: a row of state probabilities as `ROW_JOBS`, the shares of the kinds
of a fault as `KIND_JOBS`, how often each fault comes as the `strength` of the counts. Whoever closes a job names a
fault and no kind of it: the job counts for each kind by how likely that is, given what was seen (the expectation step
of Dempster, Laird and Rubin 1977, taken once). Of vehicles that are as the model says, such counts move nothing on
the average.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np

from satdiag.diagnosis.inference import Posterior, Prior, scale_odds
from satdiag.diagnosis.lessons import Lesson
from satdiag.diagnosis.model import Item, Model
from satdiag.diagnosis.seen import Seen
from satdiag.diagnosis.space import OTHER, Floats, Kind, Space, space_of
from satdiag.diagnosis.weighing import is_received
from satdiag.vocabulary import REASONS

ROW_JOBS = 160.0
"""How many vehicles with a fault the packaged figures count for: few enough to be moved by a year's work of a shop,
many enough that one wrong finding moves little (chosen on made-up jobs; judgement). Each kind has a share of them."""

HEALTHY_JOBS = 480.0
"""The same for the row of a sound vehicle: jobs of every fault that leaves an item alone teach it, so that one wrong
finding would else make a state that is all but impossible an ordinary one."""

KIND_JOBS = 120.0
"""The same for the shares of the kinds of a fault; as much as single priors count for (judgement)."""

FIT_STEPS = 200
TOLERANCE = 1e-9
HEALTHY = "none"

Counts = Mapping[str, float]
Shares = Mapping[str, Counts]
"""Of each fault that comes in several kinds the share of each kind."""


@dataclass(frozen=True)
class FaultCounts:
    """Closed jobs, each counted with a weight up to 1.

    `comes[reason][fault]` how often each fault (or 'none', 'other') was found, `closed[reason]` the jobs;
    `rows[item][row][state]` what was seen, a row being 'none', one fault, or 'fault/kind'; `kinds[fault][kind]` in
    which kind it came, of 'other' too; `strength` the vehicles that the packaged priors count for beside them.
    """

    jobs: int
    strength: float
    closed: Counts
    comes: Mapping[str, Counts]
    rows: Mapping[str, Mapping[str, Counts]]
    kinds: Shares = field(default_factory=dict)

    @property
    def weight(self) -> float:
        """As how many jobs they count."""
        return float(sum(self.closed.values()))


class Added(NamedTuple):
    """What a job adds to a row of an item ('none', a fault, or 'fault/kind'); `part`: how much of it, up to 1."""

    item: str
    row: str
    state: str
    part: float


def rows_of(item: Item) -> dict[str, Floats]:
    """Every row that an item goes by, as it is called: the healthy one, a fault's, or that of a kind of a fault."""
    rows = {HEALTHY: item.healthy}
    for fault, row in item.given.items():
        kinds = {kind: own for (name, kind), own in item.by_kind.items() if name == fault}
        named = {f"{fault}/{kind}": own for kind, own in kinds.items() if not _is_healthy(item, own)}
        rows |= named if kinds else {fault: row}
    return rows


def row_of(item: Item, name: str) -> Floats:
    """One row of an item by its name."""
    fault, _, kind = name.partition("/")
    return item.healthy if name == HEALTHY else item.by_kind[fault, kind] if kind else item.given[fault]


def added_by(model: Model, lesson: Lesson, kinds: Shares) -> Iterator[Added]:
    """What a lesson adds to the rows, the same rows by which the job it came from is judged; nothing unless what was
    seen belongs to one listed fault, or to none. `kinds`: how likely each kind of what was found is.
    """
    if len(lesson.faults) > 1 or OTHER in lesson.faults:
        return
    fault = next(iter(lesson.faults), HEALTHY)
    received = is_received(Seen(item, state) for item, state in lesson.evidence.items())
    for name, state in lesson.evidence.items():
        item = model.items.get(name)
        if item is None or state not in item.states:
            continue
        if received and item.through_reception:
            item = item.without(model.reception_faults)
        parts: dict[str, float] = {}
        for row, part in _rows_with_parts(item, fault, kinds.get(fault, {})):
            parts[row] = parts.get(row, 0.0) + part
        yield from (Added(name, row, state, part) for row, part in parts.items())


def _rows_with_parts(item: Item, fault: str, kinds: Counts) -> Iterable[tuple[str, float]]:
    """The rows of an item by which a fault is judged: of each of its kinds, where they differ in this item."""
    if not any(name == fault for name, _ in item.by_kind) or not kinds:
        return [(fault if fault in item.given else HEALTHY, 1.0)]
    healthy = {kind for kind in kinds if _is_healthy(item, item.by_kind[fault, kind])}
    return [(HEALTHY if kind in healthy else f"{fault}/{kind}", part) for kind, part in kinds.items()]


def _is_healthy(item: Item, row: Floats) -> bool:
    """True if a kind leaves the item as a sound vehicle has it: it has no row of its own then."""
    return row is item.healthy


def counts_of(
    model: Model, lessons: Sequence[Lesson], weights: Sequence[float], kinds: Sequence[Shares], strength: float
) -> FaultCounts:
    """Lessons as counts; `weights`: as how many vehicles each counts; `kinds`: how likely the kinds of it are."""
    closed: dict[str, float] = {}
    comes: dict[str, dict[str, float]] = {}
    rows: dict[str, dict[str, dict[str, float]]] = {}
    shares: dict[str, dict[str, float]] = {}
    for lesson, weight, own in zip(lessons, weights, kinds, strict=True):
        _add(closed, lesson.reason, weight)
        for name in lesson.faults or {HEALTHY}:
            _add(comes.setdefault(lesson.reason, {}), name, weight)
        for fault, parts in own.items():
            for kind, part in parts.items():
                _add(shares.setdefault(fault, {}), kind, weight * part)
        for one in added_by(model, lesson, own):
            _add(rows.setdefault(one.item, {}).setdefault(one.row, {}), one.state, weight * one.part)
    return FaultCounts(len(lessons), strength, closed, comes, rows, shares)


def _add(counts: dict[str, float], name: str, weight: float) -> None:
    counts[name] = counts.get(name, 0.0) + weight


# --- the model ---------------------------------------------------------------------------------------------------


def moved_model(model: Model, counts: FaultCounts) -> Model:
    """The model with the counts added: to its rows, to the shares of kinds, to its priors."""
    before = model.shares
    shares = {name: _moved_shares(kinds, counts.kinds.get(name)) for name, kinds in before.items()}
    items = {name: _item(item, counts.rows.get(name, {}), before, shares) for name, item in model.items.items()}
    faults = {name: dict(fault.prior) for name, fault in model.faults.items()}
    other, factor = dict(model.other_prior), dict(model.none_factor)
    for reason in REASONS:
        if closed := counts.closed.get(reason, 0.0):
            moved = _prior(prior_of(model, reason), counts.comes.get(reason, {}), closed, counts.strength)
            other[reason], factor[reason] = moved.other, moved.none_factor
            for name, p in moved.faults.items():
                faults[name][reason] = p
    fresh = {
        name: replace(fault, prior=faults[name], kinds=shares.get(name, {})) for name, fault in model.faults.items()
    }
    other_kinds = shares.get(OTHER, {})
    return replace(model, items=items, faults=fresh, other_prior=other, none_factor=factor, other_kinds=other_kinds)


def _moved_shares(packaged: Counts, counts: Counts | None) -> Counts:
    if not counts:
        return packaged
    seen = sum(counts.get(kind, 0.0) for kind in packaged)
    return {kind: (KIND_JOBS * part + counts.get(kind, 0.0)) / (KIND_JOBS + seen) for kind, part in packaged.items()}


def _item(item: Item, rows: Mapping[str, Counts], before: Shares, shares: Shares) -> Item:
    """The item with counts added to its rows; what a kind leaves healthy stays as healthy as a sound vehicle is."""
    if not rows and all(shares.get(fault) == before.get(fault) for fault, _ in item.by_kind):
        return item
    rows = _apart(item, rows, before)
    healthy = _row(item, item.healthy, rows.get(HEALTHY), HEALTHY_JOBS)
    by_kind: dict[Kind, Floats] = {}
    for (fault, kind), row in item.by_kind.items():
        worth = ROW_JOBS * before.get(fault, {}).get(kind, 1.0)
        moved = _row(item, row, rows.get(f"{fault}/{kind}"), worth)
        by_kind[fault, kind] = healthy if _is_healthy(item, row) else moved
    given = {
        fault: _row(item, row, rows.get(fault), ROW_JOBS) if (mean := _mean(by_kind, fault, shares)) is None else mean
        for fault, row in item.given.items()
    }
    other = _mean(by_kind, OTHER, shares)
    return replace(item, healthy=healthy, given=given, by_kind=by_kind, other=item.other if other is None else other)


def _mean(by_kind: Mapping[Kind, Floats], fault: str, shares: Shares) -> Floats | None:
    """The mean over the kinds of a fault by their shares; None where they do not differ."""
    own = {kind: row for (name, kind), row in by_kind.items() if name == fault}
    if not own or fault not in shares:
        return None
    mean: Floats = np.sum([shares[fault][kind] * row for kind, row in own.items()], axis=0)
    return mean


def _apart(item: Item, rows: Mapping[str, Counts], shares: Shares) -> dict[str, dict[str, float]]:
    """Counts of a fault without its kinds, from before kinds were counted, parted by what each state says of them."""
    parted = {row: dict(counts) for row, counts in rows.items()}
    for (fault, kind), row in item.by_kind.items():
        if fault not in rows or fault not in item.given:
            continue
        to = parted.setdefault(HEALTHY if _is_healthy(item, row) else f"{fault}/{kind}", {})
        for state, count in rows[fault].items():
            if state in item.states:
                at = item.states.index(state)
                _add(to, state, count * shares[fault][kind] * float(row[at] / item.given[fault][at]))
    return parted


def _row(item: Item, row: Floats, counts: Counts | None, worth: float) -> Floats:
    if not counts:
        return row
    seen = np.array([counts.get(state, 0.0) for state in item.states], dtype=float)
    moved: Floats = (worth * row + seen) / (worth + seen.sum())
    return moved


# --- how often each fault comes ----------------------------------------------------------------------------------


def prior_of(model: Model, reason: str) -> Prior:
    """The prior of a reason, the job sheet's other facts aside."""
    faults = {name: fault.prior[reason] for name, fault in model.faults.items()}
    return Prior(faults, model.other_prior[reason], model.none_factor[reason], model.second_factor)


def _prior(prior: Prior, seen: Counts, closed: float, strength: float) -> Prior:
    """The prior whose marginals are the packaged ones with the counts of so many closed jobs added."""
    space = space_of()
    before = marginals(space, prior)
    wanted = {name: (strength * p + seen.get(name, 0.0)) / (strength + closed) for name, p in before.items()}
    return fitted(space, prior, wanted)


def marginals(space: Space, prior: Prior) -> dict[str, float]:
    """How often each fault comes by a prior, and 'none' and 'other'."""
    whole = Posterior(space, np.exp(prior.log(space)), 0.0)
    return {**whole.faults(), "none": whole.probability_of("none"), "other": whole.probability_of("other")}


def fitted(space: Space, prior: Prior, wanted: Counts) -> Prior:
    """The prior with the wanted marginals, by turns: each figure's odds times what its marginal's odds lack."""
    for _ in range(FIT_STEPS):
        now = marginals(space, prior)
        lacking = {name: _odds(wanted[name]) / _odds(now[name]) for name in wanted}
        if max(abs(np.log(part)) for part in lacking.values()) < TOLERANCE:
            break
        faults = {name: scale_odds(p, lacking[name]) for name, p in prior.faults.items()}
        other = scale_odds(prior.other, lacking["other"])
        prior = replace(prior, faults=faults, other=other, none_factor=prior.none_factor * lacking["none"])
    return prior


def _odds(p: float) -> float:
    return p / (1 - p)
