"""The optical ring for the view 'Wiring': nodes in the order of the light, the plan as steps, where it is broken."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, Any

from satdiag.errors import SatdiagError
from satdiag.language import tell, translated
from satdiag.report.numbers import unknown
from satdiag.report.wiring.ring import ring_part
from satdiag.report.wiring.ring_page import break_page, labels_table, plan_page, steps_table
from satdiag.ring_file import RingFile
from satdiag.wiring.ring import (
    BreakReading,
    LightPaths,
    RingPlan,
    light_paths,
    locate_break,
    plan_ring,
    positions_reported,
    ring_of,
    steps_of,
    undo_of,
)
from satdiag.wiring.ring.named import place_text
from satdiag.wiring.ring.steps import AFTERWARDS, BEFORE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from satdiag.findings import Findings, RingFindings
    from satdiag.job import Job
    from satdiag.report.figure import Table

OURS = "receiver"


def ring_told(job: Job, findings: Findings) -> dict[str, Any]:
    """The ring: state, sentences, `loops` to draw, `plan`, `broken`; without ring.toml what to do about that.

    `nodes`: whom the page asks about, our receiver first.
    """
    found, file = findings.wiring.ring, ring_of(job)
    told: dict[str, Any] = {
        "state": unknown(),
        "bus": found.state if found else None,
        "read": "",
        "said": [],
        "file": file is not None,
        "nodes": [OURS],
        "loops": [],
        "plan": None,
        "broken": None,
    }
    if found is not None:
        part = ring_part(found)
        _, told["state"], told["read"] = part.row
        told["said"] = [*part.sentences]
    else:
        told["said"] = [tell("Nothing of the optical ring is noted yet.")]
    if file is None:
        return told
    reports, said = positions_reported(job)
    broken = locate_break(file, reports)
    told["nodes"] = [OURS, *(name for name in file.node_names if name != OURS)]
    told["loops"] = loops(file, found, broken)
    told["plan"] = _plan(file)
    told["broken"] = _broken(file, broken, reports, said)
    told["said"] = [text for text in told["said"] if text not in told["broken"]["said"]]  # said once
    return told


# --- what is drawn -----------------------------------------------------------------------------------------------


def loops(file: RingFile, found: RingFindings | None, broken: BreakReading) -> list[dict[str, Any]]:
    """Each closed ring and open chain to draw: nodes in the order of the light, and the way from each to the next.

    From the plugs as they are written; where none are, from the wanted order. `drawn`: which of the two.
    """
    paths = light_paths(file)
    walks = [(ring, True) for ring in paths.rings] + [(chain, False) for chain in paths.chains]
    if walks:
        return [_loop(walk, closed, "plugs", found, broken, paths) for walk, closed in walks]
    return [_loop(file.wanted, True, "wanted", found, broken, paths)] if file.wanted else []


def _loop(
    walk: Sequence[str],
    closed: bool,
    drawn: str,
    found: RingFindings | None,
    broken: BreakReading,
    paths: LightPaths,
) -> dict[str, Any]:
    present, absent = (found.nodes_present, found.nodes_absent) if found else ((), ())
    suspect = (broken.upstream, broken.node) if broken.state == "located" else None
    ways = {(link.from_node, link.to_node): link.places for link in paths.links}
    nodes, links = [], []
    for name, following in zip(walk, (*walk[1:], walk[0]), strict=True):
        answers = True if name in present else False if name in absent else None
        nodes.append({"name": name, "ours": name == OURS, "answers": answers})
        last_of_chain = not closed and following == walk[0]
        links.append(
            {
                "from": name,
                "to": following,
                "over": ", ".join(map(place_text, ways.get((name, following), ()))),
                "state": "suspect" if (name, following) == suspect else "open" if last_of_chain else "whole",
            }
        )
    return {"closed": closed, "drawn": drawn, "nodes": nodes, "links": links, "words": _words(nodes, links, drawn)}


def _words(nodes: Sequence[dict[str, Any]], links: Sequence[dict[str, Any]], drawn: str) -> str:
    """The drawing in a sentence or two, for whoever does not see it."""
    order = " > ".join(one["name"] for one in nodes)
    said = [
        tell("In the order of the light, by the wanted order: {order}.", order=order)
        if drawn == "wanted"
        else tell("In the order of the light, by the plugs as written: {order}.", order=order)
    ]
    for one in links:
        if one["state"] == "suspect":
            ends = {"upstream": one["from"], "node": one["to"]}
            said.append(tell("A break is suspected between {upstream} and {node}.", **ends))
        elif one["state"] == "open":
            said.append(tell("The light ends after {node}.", node=one["from"]))
    return " ".join(said)


# --- the plan ----------------------------------------------------------------------------------------------------


def _plan(file: RingFile) -> dict[str, Any]:
    """The plug moves as steps to tick. `id` changes with the moves: ticks of another plan are not taken over."""
    try:
        plan = plan_ring(file)
    except SatdiagError as error:
        return {"title": tell("No plan"), "answer": str(error), "groups": [], "id": ""}
    page = plan_page(plan)
    told: dict[str, Any] = {
        "title": page.title,
        "answer": " ".join((page.answer, *page.said)),
        "groups": [],
        "id": "",
    }
    if plan.after is None or not plan.moves:
        return told
    told["id"] = hashlib.sha256(repr(plan.moves).encode()).hexdigest()[:12]
    told["groups"] = [*_groups(plan)]
    return told


def _groups(plan: RingPlan) -> list[dict[str, Any]]:
    steps = steps_of(plan.moves)
    return [
        _group("before", tell("Before you touch a plug"), [("", translated(text), "") for text in BEFORE]),
        _group(
            "labels", tell("Tape on each of these plugs"), [("", *_label(row)) for row in _rows(labels_table(plan))]
        ),
        _group("steps", tell("Move the plugs, in this order"), _rows(steps_table(steps, ""))),
        _group("after", tell("Afterwards"), [("", translated(text), "") for text in AFTERWARDS]),
        _group("back", tell("The way back, should it not work"), _rows(steps_table(undo_of(steps), ""))),
    ]


def _rows(table: Table) -> list[tuple[str, ...]]:
    return [tuple(cell.text for cell in row) for row in table.rows]


def _label(row: tuple[str, ...]) -> tuple[str, str]:
    write, plug = row
    return tell("{plug}: write '{label}'.", plug=plug[:1].upper() + plug[1:], label=write), ""


def _group(key: str, title: str, rows: Sequence[tuple[str, ...]]) -> dict[str, Any]:
    """Things to do under one head; `key` of each is what its tick is kept under."""
    steps = [
        {"key": f"{key}{number}", "name": name, "text": text, "mind": mind}
        for number, (name, text, mind) in enumerate(rows, 1)
    ]
    return {"key": key, "title": title, "steps": steps}


# --- the break ---------------------------------------------------------------------------------------------------


def _broken(file: RingFile, broken: BreakReading, reports: dict[str, int], said: Sequence[str]) -> dict[str, Any]:
    """What the positions say of a break, and the tests in the order in which to do them."""
    page = break_page(file, broken, reports)
    return {
        "state": broken.state,
        "title": page.title,
        "said": [page.answer, *(text for text in page.said if text != page.answer), *said],
        "suspects": [one.text for one in broken.suspects],
        "tests": [one.text for one in broken.tests],
        "reports": reports,
    }
