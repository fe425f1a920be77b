"""One question to the models for each kind of place: which fade a share exceeds, and in which share a path works.

A share is of the time, of the way driven or of places, by the kind of place.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal, NamedTuple

import numpy as np

from satdiag.language import mark, tell
from satdiag.sky.propagation import atmosphere, p681, p833, p2109, two_state
from satdiag.sky.propagation.diversity import BOUNDS
from satdiag.sky.propagation.diversity import SOURCE as TWO_PATHS
from satdiag.sky.propagation.standing import Floats, OutsideDomain, Source

Environment = Literal["open", "street", "trees", "garage-traditional", "garage-efficient"]

ENVIRONMENTS: tuple[Environment, ...] = ("open", "street", "trees", "garage-traditional", "garage-efficient")

_CANOPY_M = 10.0
_OPEN_SOURCE = Source(mark("an open sky has nothing in the way but air"), "definition")


class Ask(NamedTuple):
    """One satellite's elevation at one frequency."""

    elevation_deg: float
    frequency_ghz: float


# --- one environment: fade exceeded in a share, and the share that works -----------------------------------------


def _open_fade(shares: Floats, ask: Ask) -> Floats:
    gas = float(atmosphere.worst_weather(ask.elevation_deg, ask.frequency_ghz).gas_db)
    return np.full(shares.shape, gas)


def _street_fade(shares: Floats, ask: Ask) -> Floats:
    return two_state.fade_exceeded_db(shares, two_state.column_at("urban", *ask).column)


def _trees_fade(shares: Floats, ask: Ask) -> Floats:
    """NaN where the model has nothing; beyond 80 % of the way a fade cannot be larger than at 80 %, where it is 0."""
    percent = 100.0 * shares
    if ask.elevation_deg > 60.0:
        known = (percent >= 1.0) & (percent <= 30.0)
        fade = p681.high_tree_fade_db(np.clip(percent, 1.0, 30.0), *ask)
        return np.where(known, fade, np.nan)
    fade = p681.tree_fade_db(np.clip(percent, 1.0, 80.0), *ask)
    return np.where(percent >= 1.0, fade, np.nan)


def _garage_fade(building: p2109.Building, shares: Floats, ask: Ask) -> Floats:
    return p2109.entry_loss_db(1.0 - shares, ask.elevation_deg, ask.frequency_ghz, building)


def fade_db(environment: Environment, shares: Floats, ask: Ask) -> Floats:
    """Fade exceeded in each share (0 to 1), dB; NaN where the model has nothing. Raises OutsideDomain."""
    if environment == "open":
        return _open_fade(shares, ask)
    if environment == "street":
        return _street_fade(shares, ask)
    if environment == "trees":
        return _trees_fade(shares, ask)
    return _garage_fade(_building(environment), shares, ask)


def _building(environment: Environment) -> p2109.Building:
    return "traditional" if environment == "garage-traditional" else "thermally-efficient"


def works_share(environment: Environment, margin_db: float, ask: Ask) -> float | None:
    """Share in which less than the margin is lost, or None. Raises OutsideDomain."""
    if environment == "open":
        return 1.0 if float(_open_fade(np.zeros(1), ask)[0]) < margin_db else 0.0
    if environment == "street":
        return 1.0 - float(two_state.fade_share(margin_db, two_state.column_at("urban", *ask).column))
    if environment == "trees":
        return _trees_work(margin_db, ask)
    return float(p2109.share_below(margin_db, ask.elevation_deg, ask.frequency_ghz, _building(environment)))


def _trees_work(margin_db: float, ask: Ask) -> float | None:
    """At least 0.99 is said as 0.99, since the model ends there; None where it does not reach the margin."""
    if ask.elevation_deg <= 60.0:
        percent = float(p681.tree_share_percent(margin_db, *ask))
        return 0.99 if np.isnan(percent) else 1.0 - percent / 100.0
    percents = np.geomspace(1.0, 30.0, 200)
    fades = p681.high_tree_fade_db(percents, *ask)
    if margin_db <= fades[-1]:
        return None
    return 1.0 - float(np.interp(-margin_db, -fades, percents)) / 100.0


SOURCES: Mapping[Environment, tuple[Source, ...]] = {
    "open": (_OPEN_SOURCE, atmosphere.GAS),
    "street": (two_state.SOURCE, TWO_PATHS),
    "trees": (p681.SOURCE, BOUNDS),
    "garage-traditional": (p2109.SOURCE, BOUNDS),
    "garage-efficient": (p2109.SOURCE, BOUNDS),
}


def notes_of(environment: Environment, asks: Sequence[Ask]) -> list[str]:
    """What must be said about the numbers."""
    said: list[str] = []
    if environment == "street":
        for ask in asks:
            try:
                said.append(two_state.column_at("urban", *ask).note)
            except OutsideDomain:
                continue
        said.append(tell("the street is an urban one of the table, driven along; streets differ"))
    elif environment == "trees":
        said.append(
            tell(
                "typical, give or take {error:.0f} dB, and for trees in leaf along the road",
                error=p681.TYPICAL_ERROR_DB,
            )
        )
        if any(p681.LOWEST_ELEVATION_DEG <= ask.elevation_deg < 20.0 for ask in asks):
            said.append(tell("below 20° the model of trees takes its curve of 20°"))
        if any(ask.elevation_deg <= 60.0 for ask in asks):
            said.append(tell("the model ends at 80 % of the way with no loss, so at 90 % the loss is at most that"))
        said += [_canopy_note(ask) for ask in asks[:1]]
        if any(ask.elevation_deg > 60.0 for ask in asks):
            said.append(tell("above 60° the table of 2.6 GHz stands in, which is the safe side"))
    elif environment != "open":
        said.append(tell("the model is of buildings as a whole; garages were not measured apart"))
    return [text for text in dict.fromkeys(said) if text]


def _canopy_note(ask: Ask) -> str:
    """What a standing vehicle loses under leaves, by all models of a wood; '' where they do not hold."""
    try:
        span = p833.canopy_range_db(_CANOPY_M, ask.elevation_deg, ask.frequency_ghz * 1000.0)
    except OutsideDomain:
        return ""
    return tell(
        "a vehicle that stands under {leaves:.0f} m of leaves loses about {low:.0f} to {high:.0f} dB; models of a "
        "wood differ by that much, and all but one are from memory",
        leaves=_CANOPY_M,
        low=span.low_db,
        high=span.high_db,
    )
