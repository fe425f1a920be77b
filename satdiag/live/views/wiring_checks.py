"""The checklist for the view 'Wiring': each item's state from the log, and what would prove it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from satdiag.acceptance.checklist import OPEN, checklist
from satdiag.language import mark, translated
from satdiag.report.checklist import line_of
from satdiag.report.local_time import local_time_of
from satdiag.ring_file import FILE, parse_ring

if TYPE_CHECKING:
    from satdiag.acceptance.checklist_document import Item
    from satdiag.findings import Findings
    from satdiag.job import Job


class Proof(NamedTuple):
    """Where an item is proved: a view of the page, a part of 'Wiring', or entries to be made at the item itself.

    `entries`: the row (kind, subject, value as in a log) and the word on its key.
    """

    view: str = ""
    part: str = ""
    entries: tuple[tuple[str, str], ...] = ()


_MATCHES, _DIFFERS = mark("matches"), mark("does not match")

PROOFS: dict[str, Proof] = {
    "battery": Proof(part="supply"),
    "supply": Proof(part="supply"),
    "restarts": Proof(part="supply"),
    "number": Proof(view="start"),
    "other-sources": Proof(
        entries=(
            ("ring other-sources working", mark("they play")),
            ("ring other-sources lost", mark("they are lost")),
        )
    ),
    "ring-closed": Proof(part="ring"),
    "receiver-answers": Proof(part="ring"),
    "other-nodes": Proof(part="ring"),
    "plugs": Proof(part="ring"),
    "break-test": Proof(part="ring"),
    "listed": Proof(view="byhand"),
    "readback": Proof(
        entries=(("configuration readback matches", _MATCHES), ("configuration readback differs", _DIFFERS))
    ),
    "channels-listed": Proof(view="channels"),
    "sound": Proof(view="byhand"),
    "after-sleep": Proof(view="byhand"),
    "lead": Proof(view="start"),
    "adaptor": Proof(view="start"),
    "bias": Proof(part="feed"),
    "noise-rise": Proof(part="feed"),
    "signal-passes": Proof(view="byhand"),
    "substitute": Proof(view="byhand"),
    "open-sky": Proof(view="byhand"),
    "satellites": Proof(view="byhand"),
    "repeater": Proof(view="byhand"),
    "lock": Proof(view="byhand"),
    "open-channel": Proof(view="channels"),
    "changes": Proof(view="timing"),
    "identity": Proof(
        entries=(
            ("identity receiver-id match", mark("all three agree")),
            ("identity receiver-id mismatch", mark("they do not agree")),
        )
    ),
    "account": Proof(view="byhand"),
    "second-hand": Proof(view="start"),
    "package": Proof(view="start"),
    "refresh": Proof(view="now"),
    "activated": Proof(view="channels"),
    "all-here": Proof(view="channels"),
}
"""Items that are not here no entry can prove: a person looks, or a file goes into the job; their text says how."""

UNIT_NAMES = 12
"""Keys for so many units at most: a longer list is entered on the laptop."""


def checks_told(job: Job, findings: Findings) -> dict[str, Any]:
    """The walk: a sentence, the counts by state, the sections with their items; `next`: the item to see to first."""
    found, local = checklist(job, findings), local_time_of(job)
    items = {item.key: item for item in found.items}

    def told(key: str) -> dict[str, Any]:
        item = items[key]
        return {**line_of(item, local).__dict__, **_proof(job, item)}

    return {
        "text": found.text,
        "counts": dict(found.counts),
        "next": found.next,
        "sections": [
            {
                "key": section.key,
                "title": section.title,
                "open": sum(item.state in OPEN for item in section.items),
                "items": [told(item.key) for item in section.items],
            }
            for section in found.sections
        ],
    }


def _proof(job: Job, item: Item) -> dict[str, Any]:
    """What the page offers at an item that is open."""
    if item.state not in OPEN:
        return {"view": "", "part": "", "entries": []}
    if item.key == "readback-units":
        return {"view": "", "part": "", "entries": _of_units(job)}
    proof = PROOFS.get(item.key, Proof())
    entries = [{"group": "", "enter": row, "word": translated(word)} for row, word in proof.entries]
    return {"view": proof.view, "part": proof.part, "entries": entries}


def _of_units(job: Job) -> list[dict[str, str]]:
    """Each unit that ring.toml names, but the receiver, with its two answers."""
    document = job.documents.get(FILE)
    names = (
        [] if document is None else [name for name in parse_ring(document.decode()).node_names if name != "receiver"]
    )
    return [
        {"group": name, "enter": f"configuration readback:{name} {value}", "word": translated(word)}
        for name in names[:UNIT_NAMES]
        for value, word in (("matches", _MATCHES), ("differs", _DIFFERS))
    ]
