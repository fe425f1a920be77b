"""The findings on the optical ring."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class RingPosition:
    """One position of a block: the fibre end in each row ('amplifier.out'; null: free).

    `light`: the part of the ring whose light passes here, such as 'ring 1' or 'chain 1' (an open one); null: none
    does. `suspect`: a break may be here.
    """

    position: int
    upper: str | None
    lower: str | None
    light: str | None = None
    suspect: bool = False


@dataclass(frozen=True)
class RingBlock:
    """A block of the ring as it is plugged by ring.toml, every position in order."""

    name: str
    outputs_row: Literal["upper", "lower"]
    positions: tuple[RingPosition, ...]


@dataclass(frozen=True)
class RingBreak:
    """Where the ring is broken by the positions that the nodes reported since it was last reported open.

    `node`: the one whose input is dark; `upstream`: the one that should light it. `contradictions`: reports that one
    break cannot give. `tests`: what splits the suspects, in order. `order_from`: the order of nodes used is from the
    plugs as written or the wanted order.
    """

    state: Literal["located", "contradiction", "unknown"]
    node: str | None
    upstream: str | None
    order_from: Literal["plugs", "wanted"] | None
    reports: tuple[str, ...] = ()
    suspects: tuple[str, ...] = ()
    tests: tuple[str, ...] = ()
    contradictions: tuple[str, ...] = ()


@dataclass(frozen=True)
class RingLink:
    """The optical budget of one link, for the worst case each way: bounds, not estimates.

    `margin_db`: weakest transmitter, greatest loss. `overload_db`: by how much the strongest transmitter exceeds what
    the receiver bears; below nought it does not.
    """

    from_: str
    to: str
    length_m: float | None
    inline_connectors: int | None
    loss_db: float | None
    margin_db: float | None
    overload_db: float | None
    bend_radius_mm: float | None
    bend: Literal["good", "tight", "too-tight"] | None


@dataclass(frozen=True)
class RingFindings:
    """The optical ring: open or closed at the last report, nodes that answered, other sources; the plan.

    `plan`: how the plugs of ring.toml stand to its wanted order; null: no plugs are written. `rings`, `chains`:
    closed and open parts in the order of the light. `moves`: the least plug moves to the wanted order.
    `second_ring`: nodes that do not answer and would stand on a second ring. `order_reported`: the positions that
    nodes reported while the ring was closed, against the wanted order.
    """

    state: Literal["closed", "open"] | None
    nodes_present: tuple[str, ...] = ()
    nodes_absent: tuple[str, ...] = ()
    other_sources: Literal["working", "lost"] | None = None
    open_s: float | None = None
    plan: Literal["valid", "problems", "order-differs"] | None = None
    plan_problems: tuple[str, ...] = ()
    wanted: tuple[str, ...] = ()
    rings: tuple[tuple[str, ...], ...] = ()
    chains: tuple[tuple[str, ...], ...] = ()
    moves: int | None = None
    blocks: tuple[RingBlock, ...] = ()
    break_: RingBreak | None = None
    second_ring: tuple[str, ...] = ()
    second_ring_text: str = ""
    order_reported: Literal["as-wanted", "differs"] | None = None
    order_reported_text: str = ""
    links: tuple[RingLink, ...] = ()
    least_margin_db: float | None = None
    least_margin_link: str | None = None
