"""ring.toml: the optical ring as it is plugged today and as it is wanted. The format is in `satdiag docs ring`."""

from satdiag.ring_file.checks import name_problem
from satdiag.ring_file.model import (
    FILE,
    Block,
    Bridge,
    Direct,
    End,
    LinkData,
    Node,
    Optics,
    Plug,
    RingFile,
    Row,
    Side,
    Socket,
)
from satdiag.ring_file.parse import parse_ring
from satdiag.ring_file.starter import starter_text

__all__ = [
    "FILE",
    "Block",
    "Bridge",
    "Direct",
    "End",
    "LinkData",
    "Node",
    "Optics",
    "Plug",
    "RingFile",
    "Row",
    "Side",
    "Socket",
    "name_problem",
    "parse_ring",
    "starter_text",
]
