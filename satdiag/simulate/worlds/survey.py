"""What is still looked into before leaving: the tests that the symptom calls for and that were not done yet.

Who has the tools (rich) does nearly all of them; who has a telephone page (typical) does a few; who only sits at the
head unit (sparse) hardly any. When all seems right, little is done: the less, the more people look away.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from satdiag.simulate.worlds.person import Person

REACH = {"sparse": 0.06, "typical": 0.42, "rich": 0.9}
PASSING_REACH = {"sparse": 0.0, "typical": 0.12, "rich": 0.55}

Step = tuple[str, Callable[[], object]]


def symptom(person: Person) -> str:
    """What the person would call the trouble now; blank if there is none."""
    closed = {channel.number for channel in person.lineup if not channel.is_open}
    marks = [state for number, state in person.seen.items() if number in closed]
    if not person.source_seen:
        return "no-source"
    if person.memory.received_share < 0.9:
        return "reception"
    if person.resets_noted:
        return "restarts"
    if len(marks) >= 2 and marks.count("refused") >= 0.8 * len(marks):
        return "refused"
    return "silent" if person.memory.sound in ("muted", "broken") else ""


def steps_for(person: Person, trouble: str) -> list[Step]:
    """What a trouble calls for, by name, in the order in which it is done."""
    ring: list[Step] = [("ring", person.ring_bus), ("node", person.node), ("others", person.other_sources)]
    supply: list[Step] = [("supply", person.supply)]
    readback: list[Step] = [("readback", person.readback)]
    account: list[Step] = [("identity", person.identifier), ("asked", person.ask_provider)]
    feed: list[Step] = [("bias", person.bias), ("noise-rise", person.noise_rise)]
    opened: list[Step] = [("open-channel", lambda: person.check([c for c in person.lineup if c.is_open][:1]))]
    parts: list[Step] = [(f"part-{what}", partial(person.swap, what)) for what in ("antenna", "lead")]
    if person.kit.spare_receiver:
        parts.append(("part-receiver", lambda: person.swap("receiver")))
    elsewhere: list[Step] = [("elsewhere", person.look_elsewhere)]
    if person.world.place.name != person.world.home:
        elsewhere = []
    if person.world.place.moving:
        parts = []
    return {
        "no-source": [*ring, *readback, *supply, *feed[:1]],
        "reception": [*feed, *elsewhere, *parts, *opened, *supply],
        "restarts": [*supply, ("start", lambda: _start(person)), *readback],
        "refused": [*opened, *account],
        "silent": [*ring[2:], *readback, *ring[:2], *opened],
        "": [*feed, *readback, *ring, *account, *supply],
    }[trouble]


def _start(person: Person) -> None:
    """Start the engine and read the lowest voltage."""
    if not person.world.place.roof_db[0]:
        person.world.crank()
    person.spend(4, 10)
    person.supply()


def has_tool(person: Person, name: str) -> bool:
    """Whether the person has what a step needs, the plain tools of its tier aside."""
    kit = person.kit
    needs = {
        "bias": kit.bias_meter,
        "noise-rise": kit.noise_readout,
        "ring": kit.ring_test,
        "node": kit.ring_test,
        "supply": kit.supply_meter != "none",
        "start": kit.supply_meter != "none",
    }
    if name.startswith("part-") and person.plan.tier != "rich":
        return person.rng.random() < 0.35
    return needs.get(name, True)


def survey(person: Person) -> None:
    """Do what is left to do."""
    trouble = symptom(person)
    reach = REACH[person.plan.tier]
    if not trouble:
        reach = PASSING_REACH[person.plan.tier] * (1.0 - person.setting.looks_away)
    for name, step in steps_for(person, trouble):
        if person.did(name) or not has_tool(person, name) or not person.maybe(reach):
            continue
        if name.startswith("part-") and person.did("helped"):
            continue
        person.times(name)
        if step() == "better" and name.startswith("part-"):
            person.times("helped")
        if person.leaves_it(trouble):
            break
