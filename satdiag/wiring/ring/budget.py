"""The optical budget of a link: how much light is to spare, whether it may be too much, how sharply the fibre bends.

The usual sum in decibels: what the weakest transmitter gives, less fibre and couplings, less what the receiver needs.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Literal

from satdiag.language import tell
from satdiag.ring_file import LinkData, Optics, RingFile

Bend = Literal["good", "tight", "too-tight"]


@dataclass(frozen=True)
class LinkBudget:
    """One link. None is unknown: a figure of `Optics` or of the link is not stated.

    `margin_db` is for the weakest transmitter and the greatest loss, `overload_db` for the strongest and the least:
    how far that exceeds what the receiver bears (below nought: it does not).
    """

    from_node: str
    to_node: str
    length_m: float | None
    inline_connectors: int | None
    loss_db: float | None
    received_least_dbm: float | None
    margin_db: float | None
    received_most_dbm: float | None
    overload_db: float | None
    bend_radius_mm: float | None
    bend: Bend | None


def link_budget(link: LinkData, optics: Optics) -> LinkBudget:
    """The budget of a link.

    P_least = P_tx_min - a L - n C, margin = P_least - S, P_most = P_tx_max - a_min L - n C_min: the
    plain sum of decibels, textbook; a in dB/m, L in m, C in dB a coupling, P and S (the receiver's least) in dBm.
    """
    own = optics_of(link, optics)
    length, count = link.length_m, link.inline_connectors
    loss = _loss(length, count, own.attenuation_db_per_m, own.coupling_db)
    least_loss = _loss(length, count, own.attenuation_least_db_per_m, own.coupling_least_db)
    least = _less(own.transmitter_min_dbm, loss)
    most = _less(own.transmitter_max_dbm, least_loss)
    return LinkBudget(
        link.from_node,
        link.to_node,
        length,
        count,
        loss,
        least,
        _less(least, own.receiver_min_dbm),
        most,
        _less(most, own.receiver_max_dbm),
        link.bend_radius_mm,
        bend_of(link.bend_radius_mm, own),
    )


def optics_of(link: LinkData, optics: Optics) -> Optics:
    """The figures that hold for a link: its own where it states them."""
    names = {part.name for part in fields(LinkData)} & {part.name for part in fields(Optics)}
    return replace(optics, **{name: getattr(link, name) for name in names if getattr(link, name) is not None})


def bend_of(radius_mm: float | None, optics: Optics) -> Bend | None:
    """How sharp a bend is: below `bend_fail_mm` too tight, below `bend_warn_mm` tight."""
    if radius_mm is None:
        return None
    if radius_mm < optics.bend_fail_mm:
        return "too-tight"
    return "tight" if radius_mm < optics.bend_warn_mm else "good"


def budgets(file: RingFile) -> tuple[LinkBudget, ...]:
    """The budget of every link of which something is written."""
    return tuple(link_budget(link, file.optics) for link in file.links)


def least_margin(found: tuple[LinkBudget, ...]) -> LinkBudget | None:
    """The link with the least margin; None if no margin is known."""
    known = [one for one in found if one.margin_db is not None]
    return min(known, key=lambda one: one.margin_db or 0.0, default=None)


def budget_gaps(file: RingFile) -> tuple[str, ...]:
    """What is lacking for the margins, in sentences; nothing where no link is written."""
    gaps = []
    bare = [one for one in file.links if one.length_m is None or one.inline_connectors is None]
    if bare:
        names = ", ".join(f"{one.from_node} > {one.to_node}" for one in bare)
        gaps.append(tell("no margin for {links}: length_m or inline_connectors is not written", links=names))
    for key in ("transmitter_min_dbm", "receiver_min_dbm", "coupling_db"):
        if any(getattr(optics_of(one, file.optics), key) is None for one in file.links if one not in bare):
            gaps.append(tell("no optical margin: {key} is not written in [optics] of ring.toml", key=key))
    return tuple(gaps)


def milliwatts(power_dbm: float) -> float:
    """A power in dBm as milliwatts: 0 dBm is 1 mW."""
    return float(10.0 ** (power_dbm / 10.0))


def _loss(length_m: float | None, count: int | None, per_m: float, each: float | None) -> float | None:
    if length_m is None or count is None or (each is None and count):
        return None
    return per_m * length_m + count * (each or 0.0)


def _less(one: float | None, other: float | None) -> float | None:
    return None if one is None or other is None else one - other
