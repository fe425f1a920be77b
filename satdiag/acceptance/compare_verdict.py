"""The verdict on two jobs in whole: repaired, better, worse, no change seen, or cannot tell, and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from satdiag.acceptance.compare_document import FaultChange, Item, Whole
from satdiag.diagnosis.earlier import PRESENT_AT
from satdiag.diagnosis.wording import percent
from satdiag.language import listed, tell
from satdiag.vocabulary import CLASS_OF

_RADIO = ("level", "received", "drop-outs")
_ACCOUNT = ("channels", "entitled")
_RING = ("ring-bus", "ring-node-receiver", "ring-other-sources")

MOVED_BY: dict[str, tuple[str, ...]] = {
    "antenna-open": ("feed-current", "feed-voltage", *_RADIO),
    "antenna-short": ("feed-current", "feed-voltage", *_RADIO),
    "antenna-weak": ("feed-current", *_RADIO),
    "feed-swapped": _RADIO,
    "feed-lossy": _RADIO,
    "feed-absent": ("feed-current", "feed-voltage", *_RADIO),
    "supply-dropout": ("supply-dips", "restarts", "supply"),
    "ring-broken": (*_RING, "listing-source", "audio-output"),
    "ring-order": (*_RING, "listing-source", "audio-output"),
    "node-unpowered": (*_RING, "listing-source"),
    "not-configured": ("configuration-readback", "listing-source", "audio-output"),
    "audio-path": ("audio-output", "change-audio"),
    "id-mismatch": ("identity-receiver-id", *_ACCOUNT),
    "receiver-defective": (*_RADIO, *_ACCOUNT, "change-audio", "listing-source", "restarts"),
    "interference": _RADIO,
}
"""What a fault moves, so that its end must show there; by class where a fault is not named."""

MOVED_BY_CLASS = {"subscription": _ACCOUNT, "sky": _RADIO}
WITH_THE_RECEIVER = ("receiver-defective", "id-mismatch", "feed-absent")
"""Faults that another receiver may end."""


@dataclass(frozen=True)
class Judged:
    """The verdict. `wanted`: names of items whose 'cannot tell' stands in the way; `to_log`: other advice."""

    state: Whole
    text: str
    wanted: tuple[str, ...] = ()
    to_log: tuple[str, ...] = ()


def moved_by(fault: str) -> tuple[str, ...]:
    """The names of the items that a fault moves."""
    return MOVED_BY.get(fault) or MOVED_BY_CLASS.get(CLASS_OF[fault], ())


def whole(items: Sequence[Item], faults: Sequence[FaultChange], other_receiver: bool) -> Judged:
    """The verdict from all items and from the faults' probabilities."""
    there = [one for one in faults if one.before >= PRESENT_AT]
    new = [one for one in faults if one.state == "new"]
    if there:
        return _of_fault(max(there, key=lambda one: one.before), there, new, items, other_receiver)
    if new:
        return Judged("worse", _new_text(new))
    return _without_fault(items)


def _new_text(new: Sequence[FaultChange]) -> str:
    names = listed([tell("“{title}” ({chance})", title=one.title, chance=percent(one.after)) for one in new])
    return tell("Worse: what was not there before is probable now: {faults}.", faults=names)


def _of_fault(
    lead: FaultChange, there: list[FaultChange], new: list[FaultChange], items: Sequence[Item], other_receiver: bool
) -> Judged:
    """There was a fault: is it gone, and did what it moves change with it?"""
    names = moved_by(lead.fault)
    theirs = [one for one in items if one.name in names]
    shown = [one for one in theirs if one.state == "better" or (one.state == "changed" and one.name != "supply")]
    values = {"fault": lead.title, "before": percent(lead.before), "after": percent(lead.after)}
    if any(one.state == "still there" for one in there):
        return _still_there(values, shown, theirs, names)
    if lead.state == "less" or any(one.state == "less" for one in there):
        text = tell(
            "Cannot tell: “{fault}” was {before} probable before and is {after} now, which is neither "
            "there nor gone.",
            **values,
        )
        return Judged("better, not repaired" if shown else "cannot tell", text, names)
    if not shown:
        return _not_shown(values, theirs, names)
    values["measures"] = listed([one.title for one in shown])
    if new:
        text = tell(
            "Better, not repaired: “{fault}” is gone ({before} before, {after} now), but now: {new}.",
            new=listed([one.title for one in new]),
            **values,
        )
        return Judged("better, not repaired", text)
    if other_receiver and lead.fault not in WITH_THE_RECEIVER:
        text = tell(
            "Better, but no proof of a repair: “{fault}” was {before} probable in the first job and is {after} in "
            "the second, which is of another receiver.",
            **values,
        )
        ask = tell("Compare two jobs of one receiver; if it was exchanged, log that with “swap receiver”.")
        return Judged("better, not repaired", text, (), (ask,))
    text = tell(
        "Repaired: “{fault}” was {before} probable before and is {after} now, and what it moves changed: {measures}.",
        **values,
    )
    return Judged("repaired", text)


def _still_there(values: dict[str, str], shown: list[Item], theirs: list[Item], names: tuple[str, ...]) -> Judged:
    if shown:
        measures = listed([one.title for one in shown])
        text = tell(
            "Better, not repaired: “{fault}” is still probable ({before} before, {after} now), although "
            "this changed: {measures}.",
            measures=measures,
            **values,
        )
        return Judged("better, not repaired", text, names)
    if theirs and all(one.state == "no change seen" for one in theirs):
        text = tell("No change seen: “{fault}” is still probable ({before} before, {after} now).", **values)
        return Judged("no change seen", text)
    text = tell(
        "Cannot tell whether anything changed: “{fault}” is still probable ({before} before, {after} now).", **values
    )
    return Judged("cannot tell", text, names)


def _not_shown(values: dict[str, str], theirs: list[Item], names: tuple[str, ...]) -> Judged:
    if not theirs:
        text = tell(
            "Cannot tell: “{fault}” was {before} probable before and is {after} now, but nothing that it moves "
            "was measured in both jobs.",
            **values,
        )
    else:
        text = tell(
            "Cannot tell: “{fault}” was {before} probable before and is {after} now, but nothing that it moves "
            "has changed beyond its interval.",
            **values,
        )
    return Judged("cannot tell", text, names)


def _without_fault(items: Sequence[Item]) -> Judged:
    worse = [one.title for one in items if one.state == "worse"]
    better = [one.title for one in items if one.state == "better"]
    names = tuple(one.name for one in items)
    if worse:
        return Judged("worse", tell("Worse: {measures}.", measures=listed(worse)))
    if better:
        text = tell(
            "Better, and no fault was probable before that could be repaired: {measures}.", measures=listed(better)
        )
        return Judged("better, not repaired", text)
    if not items:
        return Judged("cannot tell", tell("Cannot tell: the jobs have no measure in common."))
    same = [one for one in items if one.state == "no change seen"]
    if len(same) == len(items):
        return Judged("no change seen", tell("No change seen: every change that would matter is excluded."))
    text = tell(
        "Cannot tell: no fault was probable before, no change is shown, and a change that matters is not excluded."
    )
    return Judged("cannot tell", text, names)
