"""What a reader is shown of a ring: its blocks with plugs and light, its links, as findings."""

from __future__ import annotations

from satdiag.findings.ring import RingBlock, RingBreak, RingLink, RingPosition
from satdiag.ring_file import Block, RingFile
from satdiag.wiring.ring.breaks import BreakReading
from satdiag.wiring.ring.budget import LinkBudget
from satdiag.wiring.ring.light import LightPaths, Place, light_paths


def blocks_shown(file: RingFile, broken: BreakReading | None = None) -> tuple[RingBlock, ...]:
    """Every block with what each position holds, whose light passes it, and where a break may be."""
    paths = light_paths(file)
    light = _light(paths)
    suspect = _suspect_places(file, paths, broken)
    return tuple(_block(file, block, light, suspect) for block in file.blocks)


def _block(file: RingFile, block: Block, light: dict[Place, str], suspect: set[Place]) -> RingBlock:
    positions = []
    for number in range(1, block.positions + 1):
        held = {row: file.held.get(block.socket(number, "out")._replace(row=row)) for row in ("upper", "lower")}
        place = Place(block.name, number)
        texts = {row: None if end is None else str(end) for row, end in held.items()}
        positions.append(
            RingPosition(number, texts["upper"], texts["lower"], light.get(place), suspect=place in suspect)
        )
    return RingBlock(block.name, block.outputs_row, tuple(positions))


def _light(paths: LightPaths) -> dict[Place, str]:
    """The part of the ring whose light passes each place."""
    parts = {name: f"ring {number}" for number, ring in enumerate(paths.rings, 1) for name in ring}
    parts |= {name: f"chain {number}" for number, chain in enumerate(paths.chains, 1) for name in chain}
    return {place: parts[link.from_node] for link in paths.links for place in link.places}


def _suspect_places(file: RingFile, paths: LightPaths, broken: BreakReading | None) -> set[Place]:
    """The positions on the way of which a break is suspected; of an open way those that hold one of its ends."""
    if broken is None or broken.state != "located" or broken.order_from != "plugs":
        return set()
    way = (broken.upstream, broken.node)
    places = [place for link in paths.links if (link.from_node, link.to_node) == way for place in link.places]
    if places:
        return set(places)
    return {
        Place(socket.block, socket.position)
        for end, sockets in file.sockets.items()
        for socket in sockets
        if (end.owner, end.side) in ((broken.upstream, "out"), (broken.node, "in"))
    }


def break_shown(reading: BreakReading, reports: dict[str, int]) -> RingBreak:
    """A reading of a break as a finding."""
    return RingBreak(
        state=reading.state,
        node=reading.node,
        upstream=reading.upstream,
        order_from=reading.order_from,
        reports=tuple(f"{name}: {count}" for name, count in reports.items()),
        suspects=tuple(one.text for one in reading.suspects),
        tests=tuple(one.text for one in reading.tests),
        contradictions=reading.contradictions,
    )


def link_shown(budget: LinkBudget) -> RingLink:
    """A link's budget as a finding."""
    return RingLink(
        from_=budget.from_node,
        to=budget.to_node,
        length_m=budget.length_m,
        inline_connectors=budget.inline_connectors,
        loss_db=budget.loss_db,
        margin_db=budget.margin_db,
        overload_db=budget.overload_db,
        bend_radius_mm=budget.bend_radius_mm,
        bend=budget.bend,
    )
