"""What ring.toml says, as typed data: blocks, nodes, plugs, the wanted order, link data."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal, NamedTuple

FILE = "ring.toml"

Side = Literal["out", "in"]
Row = Literal["upper", "lower"]


class End(NamedTuple):
    """One fibre end: the output or the input of a node or a bridge."""

    owner: str
    side: Side

    def __str__(self) -> str:
        return f"{self.owner}.{self.side}"


class Socket(NamedTuple):
    """One socket of a block. Positions count from 1."""

    block: str
    position: int
    row: Row

    def __str__(self) -> str:
        return f"{self.block} {self.position} {self.row}"


class Plug(NamedTuple):
    """A fibre end in a socket."""

    end: End
    socket: Socket


@dataclass(frozen=True)
class Block:
    """A row of passive couplers. Each position has an upper and a lower socket that face each other.

    `outputs_row` takes the outputs of the nodes. Which row that is has to be looked up at the block.
    """

    name: str
    positions: int
    outputs_row: Row

    @property
    def inputs_row(self) -> Row:
        """The row that takes the inputs."""
        return "lower" if self.outputs_row == "upper" else "upper"

    def row_of(self, side: Side) -> Row:
        """The row in which an output or an input belongs."""
        return self.outputs_row if side == "out" else self.inputs_row

    def socket(self, position: int, side: Side) -> Socket:
        """The socket of a position in which an output or an input belongs."""
        return Socket(self.name, position, self.row_of(side))


@dataclass(frozen=True)
class Node:
    """One unit of the ring. `block` is where its fibres reach while they are not plugged."""

    name: str
    timing_master: bool = False
    role: str = ""
    supply: str = ""
    block: str | None = None


@dataclass(frozen=True)
class Bridge:
    """A passive fibre from one block to another: its end `.in` takes the light at `from_block`."""

    name: str
    from_block: str
    to_block: str


class Direct(NamedTuple):
    """A fibre from one node's output to another's input, without a block."""

    from_node: str
    to_node: str


@dataclass(frozen=True)
class LinkData:
    """What is known of the fibre way from one node to the next.

    `inline_connectors` counts all couplings between transmitter and receiver, block positions included. The power
    windows stand here only where the link has its own; the others are in `Optics`.
    """

    from_node: str
    to_node: str
    length_m: float | None = None
    inline_connectors: int | None = None
    bend_radius_mm: float | None = None
    transmitter_min_dbm: float | None = None
    transmitter_max_dbm: float | None = None
    receiver_min_dbm: float | None = None
    receiver_max_dbm: float | None = None


@dataclass(frozen=True)
class Optics:
    """Figures of transmitter, fibre, couplings and receiver that hold for the whole ring.

    None is unknown: those figures are known to us from memory only, so the user sets them. The attenuation is that
    of a datasheet of 1 mm plastic fibre at 650 nm: at most 250 dB/km over -55 to +105 C. The least loss is taken as
    nought where none is stated, the worst case for overload. Bend radii: one datasheet allows 15 mm, a general note
    on plastic fibre 25 mm; warning at the one and failing at the other is our judgement, no source.
    """

    transmitter_min_dbm: float | None = None
    transmitter_max_dbm: float | None = None
    receiver_min_dbm: float | None = None
    receiver_max_dbm: float | None = None
    coupling_db: float | None = None
    coupling_least_db: float = 0.0
    attenuation_db_per_m: float = 0.25
    attenuation_least_db_per_m: float = 0.0
    bend_warn_mm: float = 25.0
    bend_fail_mm: float = 15.0


@dataclass(frozen=True)
class RingFile:
    """The whole of ring.toml. `wanted` is the order in which light shall pass the nodes; None is unknown."""

    blocks: tuple[Block, ...] = ()
    nodes: tuple[Node, ...] = ()
    bridges: tuple[Bridge, ...] = ()
    plugs: tuple[Plug, ...] = ()
    directs: tuple[Direct, ...] = ()
    links: tuple[LinkData, ...] = ()
    wanted: tuple[str, ...] | None = None
    optics: Optics = field(default_factory=Optics)

    @property
    def plugs_known(self) -> bool:
        """True if the file says how the ring is plugged today."""
        return bool(self.plugs or self.directs)

    @cached_property
    def sockets(self) -> dict[End, tuple[Socket, ...]]:
        """Every plugged end with its sockets: more than one if the file names it twice."""
        found: dict[End, tuple[Socket, ...]] = {}
        for plug in self.plugs:
            found[plug.end] = (*found.get(plug.end, ()), plug.socket)
        return found

    @cached_property
    def held(self) -> dict[Socket, End]:
        """What each used socket holds."""
        return {plug.socket: plug.end for plug in self.plugs}

    @property
    def master(self) -> str | None:
        """The timing master's name, where the file says it."""
        return next((node.name for node in self.nodes if node.timing_master), None)

    def block(self, name: str) -> Block:
        """The block of that name. Raises KeyError."""
        return {block.name: block for block in self.blocks}[name]

    @cached_property
    def node_names(self) -> tuple[str, ...]:
        """All nodes in the order of the file."""
        return tuple(node.name for node in self.nodes)
