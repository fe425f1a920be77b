"""The optical ring of a job: its reports, and its plan where the job holds ring.toml."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Literal, cast

import pandas as pd

from satdiag.exposure import stretches
from satdiag.findings import RingFindings
from satdiag.job import Job
from satdiag.language import tell
from satdiag.ring_file import FILE, RingFile, parse_ring
from satdiag.spans import Spans, intersect, length_s, spans
from satdiag.wiring.chained import chained
from satdiag.wiring.ring.breaks import locate_break
from satdiag.wiring.ring.budget import budget_gaps, budgets, least_margin
from satdiag.wiring.ring.check import RingCheck, check_ring, not_plugged
from satdiag.wiring.ring.planner import plan_ring
from satdiag.wiring.ring.second_ring import SecondRing, second_ring
from satdiag.wiring.ring.shown import blocks_shown, break_shown, link_shown

NODE = "node:"
POSITION = "position:"


def ring_findings(job: Job) -> tuple[RingFindings | None, tuple[str, ...]]:
    """The ring at the last report of each kind, how long it was open, its plan, and what could not be told."""
    found, said = _reported(job)
    file = ring_of(job)
    if file is None:
        if _positions(job):
            said.append(
                tell(
                    "positions of a ring-break test were logged; without {file} the nodes' order is unknown",
                    file=FILE,
                )
            )
        return found, tuple(said)
    found, of_plan = _with_plan(found or RingFindings(state=None), file)
    found, of_break = _with_positions(job, found, file)
    return found, (*said, *of_plan, *of_break)


def ring_of(job: Job) -> RingFile | None:
    """The job's ring.toml, or None. It was checked when the job was opened."""
    document = job.documents.get(FILE)
    return None if document is None else parse_ring(document.decode())


def positions_reported(job: Job) -> tuple[dict[str, int], tuple[str, ...]]:
    """What each node reported last in a ring-break test since the ring last changed: {name: position}; what to say.

    None of them tells of a break while the ring is reported closed.
    """
    if _last(job.select("ring", "bus")) == "closed":
        return {}, (tell("the ring was last reported closed: positions reported on it tell its order, not a break"),)
    return _positions(job), ()


# --- what was reported -------------------------------------------------------------------------------------------


def _reported(job: Job) -> tuple[RingFindings | None, list[str]]:
    rows = job.select("ring")
    states = rows[~rows["subject"].str.startswith(POSITION).to_numpy(dtype=bool)]
    if states.empty:
        return None, [tell("nothing of the optical ring was logged: its state is unknown")]
    bus = states[(states["subject"] == "bus").to_numpy()]
    nodes = states[states["subject"].str.startswith(NODE).to_numpy(dtype=bool)]
    others = states[(states["subject"] == "other-sources").to_numpy()]
    return RingFindings(
        state=cast(Literal["closed", "open"] | None, _last(bus)),
        nodes_present=_nodes(nodes, "present"),
        nodes_absent=_nodes(nodes, "absent"),
        other_sources=cast(Literal["working", "lost"] | None, _last(others)),
        open_s=None if bus.empty else length_s(_open(job, bus)),
    ), [tell("the optical ring was not reported open or closed")] if bus.empty else []


def _last(rows: pd.DataFrame) -> str | None:
    return None if rows.empty else str(rows["value"].iloc[-1])


def _nodes(rows: pd.DataFrame, state: str) -> tuple[str, ...]:
    """Names of the nodes whose latest report is `state`, in alphabetical order."""
    latest = dict(zip(rows["subject"], rows["value"], strict=True))  # later rows replace earlier ones
    return tuple(sorted(subject.removeprefix(NODE) for subject, value in latest.items() if value == state))


def _open(job: Job, bus: pd.DataFrame) -> Spans:
    """When the ring was open: from a report 'open' to the next 'closed', nights between visits apart."""
    found = stretches(bus, {"open"}, {"closed"}, job.end_s)
    return intersect(found, spans([(visit.start_s, visit.end_s) for visit in job.visits]))


def _positions(job: Job) -> dict[str, int]:
    """The latest position of each node since the ring changed from open to closed or back."""
    rows = job.select("ring")
    bus = rows[(rows["subject"] == "bus").to_numpy()]
    changed = bus[(bus["value"] != bus["value"].shift()).to_numpy()]
    since_s = changed["t_s"].iloc[-1] if len(changed) > 1 else float("-inf")
    kept = rows[rows["subject"].str.startswith(POSITION).to_numpy(dtype=bool) & (rows["t_s"] >= since_s).to_numpy()]
    return {
        str(subject).removeprefix(POSITION): int(number)
        for subject, number in zip(kept["subject"], kept["number"], strict=True)
    }


# --- the plan ----------------------------------------------------------------------------------------------------


def _with_plan(found: RingFindings, file: RingFile) -> tuple[RingFindings, tuple[str, ...]]:
    """The findings with what ring.toml says: plugs against the wanted order, lost nodes, optical margins."""
    check = check_ring(file)
    lost = found.nodes_absent if found.state != "open" else ()  # behind a break nodes are lost anyway
    second = second_ring(file, check.paths, found.nodes_present, lost)
    links = budgets(file)
    least = least_margin(links)
    return replace(
        found,
        plan=check.state,
        plan_problems=tuple(problem.text for problem in check.problems),
        wanted=file.wanted or (),
        rings=check.paths.rings,
        chains=check.paths.chains,
        moves=_moves(file, check),
        blocks=blocks_shown(file) if file.plugs_known else (),
        second_ring=() if second is None else second.nodes,
        second_ring_text="" if second is None else second_ring_text(second),
        links=tuple(link_shown(link) for link in links),
        least_margin_db=None if least is None else least.margin_db,
        least_margin_link=None if least is None else f"{least.from_node} > {least.to_node}",
    ), (*check.could_not, *_of_before(file, check), *budget_gaps(file))


def _of_before(file: RingFile, check: RingCheck) -> tuple[str, ...]:
    """Plugs that were written down before a wanted node was put in say nothing of the ring with it."""
    waits = not_plugged(file.wanted or (), check.paths.rings, check.paths.chains)
    if check.state is None or not waits:
        return ()
    said = tell(
        "{file} has no plug of {nodes} yet: what it says of the plugs is of before, and was not weighed",
        file=FILE,
        nodes=chained(waits),
    )
    return (said,)


def _moves(file: RingFile, check: RingCheck) -> int | None:
    """The least plug moves to the wanted order; None if it is not written or cannot be reached by moving plugs."""
    if check.state is None or file.wanted is None:
        return None
    plan = plan_ring(file)
    return None if plan.impossible else len(plan.moves)


def second_ring_text(second: SecondRing) -> str:
    """The reading of lost nodes as a second ring, as a sentence."""
    names = ", ".join(second.nodes)
    if second.inputs is None:
        return tell(
            "By the plugs as written, {nodes} would stand on a second ring: that fits what does not answer.",
            nodes=names,
        )
    return tell(
        "The lost nodes ({nodes}) would be on a second ring if the input plugs of {two} were exchanged: that fits "
        "what does not answer. It is one reading; a node without supply is another.",
        nodes=names,
        two=chained(second.inputs),
    )


# --- the break test ----------------------------------------------------------------------------------------------


def _with_positions(job: Job, found: RingFindings, file: RingFile) -> tuple[RingFindings, tuple[str, ...]]:
    """Positions reported on a closed ring tell the order of its nodes; on any other they tell of a break."""
    reports = _positions(job)
    if not reports:
        return found, ()
    if found.state == "closed":
        order, text = order_reported(file, reports)
        if order is None:
            return found, (tell("the positions that nodes reported could not be compared: {why}", why=text),)
        return replace(found, order_reported=order, order_reported_text=text), ()
    reading = locate_break(file, reports)
    blocks = blocks_shown(file, reading) if file.plugs_known else ()
    said = list(reading.could_not)
    if found.state is None:
        said.append(tell("the ring was not reported open: the positions are read as those of an open ring"))
    return replace(found, break_=break_shown(reading, reports), blocks=blocks), tuple(said)


def order_reported(file: RingFile, reports: Mapping[str, int]) -> tuple[Literal["as-wanted", "differs"] | None, str]:
    """Positions on a closed ring, counted from the timing master, against the wanted order; with a sentence.

    Without a wanted order, or where a node reported that the file does not hold, that is not known: why.
    """
    wanted = file.wanted
    if wanted is None:
        return None, tell("no wanted order is written")
    if strange := [name for name in reports if name not in file.node_names]:
        return None, tell(
            "{file} does not name every node of the ring ({nodes})", file=FILE, nodes=", ".join(strange)
        )
    start = file.master or next((name for name, count in reports.items() if count == 0), None)
    turn = wanted.index(start) if start in wanted else 0
    places = {name: (wanted.index(name) - turn) % len(wanted) for name in wanted}
    odd = [name for name, count in reports.items() if name not in places or places[name] != count]
    if not odd:
        return "as-wanted", tell("The positions that the nodes reported are those of the wanted order.")
    told = ", ".join(
        tell("{node} reports {position}, wanted {wanted}", node=name, position=reports[name], wanted=places[name])
        if name in places
        else tell("{node} reports {position}, wanted nowhere", node=name, position=reports[name])
        for name in odd
    )
    return "differs", tell("The order of the nodes differs from the wanted one: {differences}.", differences=told)
