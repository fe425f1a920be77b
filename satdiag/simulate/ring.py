"""The optical ring: nodes in downstream order, a break, nodes outside the master's loop."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass
class Ring:
    """Nodes in the order light passes them; `order[0]` is the timing master (the head unit).

    `broken_at` names the node whose input is dark. `outside` are nodes whose fibres form a second loop of their own.
    `silent` are nodes that pass light but do not answer.
    """

    order: list[str] = field(default_factory=lambda: ["head-unit", "amplifier", "telephone", "receiver", "changer"])
    expected: list[str] = field(
        default_factory=lambda: ["head-unit", "amplifier", "telephone", "receiver", "changer"]
    )
    broken_at: str | None = None
    outside: set[str] = field(default_factory=set)
    silent: set[str] = field(default_factory=set)
    strict: bool = True  # the head unit refuses a node at a place it does not expect

    @property
    def closed(self) -> bool:
        """True when light comes back to where it left."""
        return self.broken_at is None

    def answers(self, node: str) -> bool:
        """Whether a node can be heard by the master."""
        return self.closed and node in self.order and node not in self.outside and node not in self.silent

    def in_place(self, node: str) -> bool:
        """Whether a node sits where the vehicle's stored order has it."""
        loop = [name for name in self.order if name not in self.outside]
        return node in loop and loop.index(node) == self.expected.index(node)

    def positions(self) -> dict[str, int]:
        """Relative positions in a break test: the dark node counts 0, each node after it one more.

        With the ring closed the master starts the count.
        """
        loop = [name for name in self.order if name not in self.outside]
        first = loop.index(self.broken_at) if self.broken_at in loop else 0
        turned = loop[first:] + loop[:first]
        return {name: place for place, name in enumerate(turned) if name not in self.silent}

    def other_sources_work(self) -> bool:
        """Whether the ring's other audio sources play."""
        others = [name for name in self.expected if name not in ("head-unit", "receiver")]
        return self.closed and all(self.answers(name) for name in others)
