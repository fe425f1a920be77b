"""What to expect in a kind of place: loss, share of time that a path works, gain by moving elsewhere.

The places are open sky, a street, a road under trees, and a garage of either kind of building. A share is of the
distance driven for streets and trees, and of places for garages: a vehicle that stands still has one of them all the
time. What no model covers is None with a sentence in `could_not`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from satdiag.errors import SatdiagError
from satdiag.language import mark, tell, translated
from satdiag.sky.propagation import p681
from satdiag.sky.propagation.atmosphere import SOURCES as WEATHER
from satdiag.sky.propagation.diversity import SOURCE as DIVERSITY
from satdiag.sky.propagation.diversity import any_share_in_streets, any_share_range
from satdiag.sky.propagation.places import ENVIRONMENTS, SOURCES, Ask, Environment, fade_db, notes_of, works_share
from satdiag.sky.propagation.standing import Floats, OutsideDomain, Source
from satdiag.sky.propagation.street import (
    BLOCKAGE,
    EDGE,
    MASKS,
    Street,
    edge_loss_db,
    mask_deg,
    street_blockage_share,
)

WORDS: Mapping[Environment, str] = {
    "open": mark("open sky"),
    "street": mark("a street between buildings"),
    "trees": mark("a road under trees"),
    "garage-traditional": mark("a garage in an ordinary building"),
    "garage-efficient": mark("a garage in a building with coated glass or foil in its walls"),
}
SHARE_OF: Mapping[Environment, str] = {
    "open": mark("the time"),
    "street": mark("the way driven"),
    "trees": mark("the way driven"),
    "garage-traditional": mark("such places"),
    "garage-efficient": mark("such places"),
}
# The words of a person for a place (kind 'place' of the log) and of the command line.
KINDS: Mapping[str, tuple[Environment, ...]] = {
    "open-sky": ("open",),
    "canopy": ("trees",),
    "indoors": ("garage-traditional", "garage-efficient"),
    "garage": ("garage-traditional", "garage-efficient"),
    **{name: (name,) for name in ENVIRONMENTS},
}

MARGIN_DB = 10.0
"""Judgement, no source: what a sound installation under an open sky has in hand before the receiver loses a path."""
STREET_MASKS_DEG = (45.0, 60.0, 75.0)
"""Judgement, no source: masking angles of streets with low, middling and high buildings."""

_MARGIN_SOURCE = Source(mark("level in hand under an open sky, before a path is lost"), "judgement, no source")


@dataclass(frozen=True)
class PathExpectation:
    """One satellite in one environment; losses against an open sky in dB.

    `exceeded_10_db` is exceeded in 10 % of the share's whole, and so on. `works_share`: share in which less than the
    margin is lost. Where the street is known: `mask_deg`, `edge_loss_db`, upper edge of the buildings in that
    direction and the loss over it; `blocked_share`, share of the way on which they block if heights vary around those
    of the street.
    """

    elevation_deg: float
    azimuth_deg: float | None
    exceeded_10_db: float | None
    exceeded_50_db: float | None
    exceeded_90_db: float | None
    works_share: float | None
    mask_deg: float | None = None
    edge_loss_db: float | None = None
    blocked_share: float | None = None


@dataclass(frozen=True)
class Expectation:
    """What to expect in one environment; `any_path_share_range`: least and most share with at least one path."""

    environment: Environment
    words: str
    share_of: str
    frequency_hz: float
    margin_db: float
    paths: tuple[PathExpectation, ...]
    any_path_share_range: tuple[float, float] | None
    sources: tuple[Source, ...]
    notes: tuple[str, ...] = ()
    could_not: tuple[str, ...] = ()


def sources_of_models() -> tuple[Source, ...]:
    """Everything that expectations may rest on, each once."""
    found = [*(source for kind in ENVIRONMENTS for source in SOURCES[kind]), _MARGIN_SOURCE, MASKS, EDGE]
    found += [BLOCKAGE, DIVERSITY]
    return tuple(dict.fromkeys((*found, *WEATHER)))


# --- an expectation ----------------------------------------------------------------------------------------------


def environment(
    environment: Environment,
    elevation_deg: Sequence[float],
    azimuth_deg: Sequence[float] | None,
    frequency_hz: float,
    *,
    margin_db: float = MARGIN_DB,
    street: Street | None = None,
) -> Expectation:
    """What to expect of satellites at these elevations (and azimuths, where known) in an environment.

    A `street` adds, for the environment 'street', what its buildings hide from one spot in its middle. Satellites
    below the horizon do not work. Raises SatdiagError for an environment that is not there or lists of unlike length.
    """
    if environment not in ENVIRONMENTS:
        raise SatdiagError(f"'{environment}' is not an environment; there are: {', '.join(ENVIRONMENTS)}.")
    if azimuth_deg is not None and len(azimuth_deg) != len(elevation_deg):
        raise SatdiagError("Give as many azimuths as elevations.")
    asks = [Ask(float(angle), frequency_hz / 1e9) for angle in elevation_deg]
    azimuths = [None] * len(asks) if azimuth_deg is None else [float(angle) for angle in azimuth_deg]
    paths, could_not = [], []
    for ask, azimuth in zip(asks, azimuths, strict=True):
        path, said = _path(environment, ask, azimuth, margin_db, street)
        paths.append(path)
        could_not += said
    sources = (*SOURCES[environment], _MARGIN_SOURCE)
    if street is not None and environment == "street":
        sources += (MASKS, EDGE, BLOCKAGE)
    return Expectation(
        environment=environment,
        words=translated(WORDS[environment]),
        share_of=translated(SHARE_OF[environment]),
        frequency_hz=frequency_hz,
        margin_db=margin_db,
        paths=tuple(paths),
        any_path_share_range=_any_range(environment, paths),
        sources=sources,
        notes=tuple(notes_of(environment, [ask for ask in asks if ask.elevation_deg > 0.0])),
        could_not=tuple(dict.fromkeys(could_not)),
    )


def _path(
    environment: Environment, ask: Ask, azimuth_deg: float | None, margin_db: float, street: Street | None
) -> tuple[PathExpectation, list[str]]:
    elevation = ask.elevation_deg
    if elevation <= 0.0:
        return PathExpectation(elevation, azimuth_deg, None, None, None, 0.0), []
    said: list[str] = []
    losses: list[float | None] = [None] * 3
    works = None
    try:
        found = fade_db(environment, np.array([0.1, 0.5, 0.9]), ask)
        losses = [None if np.isnan(value) else float(value) for value in found]
        works = works_share(environment, margin_db, ask)
        if None in losses:
            said.append(
                tell(
                    "{model}: above 60° it knows the rarer fades only, those of 1 to 30 % of the way",
                    model=translated(p681.MODEL),
                )
            )
    except OutsideDomain as trouble:
        said.append(str(trouble))
    mask, edge, blocked = _spot(environment, ask, azimuth_deg, street)
    at_10, at_50, at_90 = losses
    return PathExpectation(elevation, azimuth_deg, at_10, at_50, at_90, works, mask, edge, blocked), said


def _spot(
    environment: Environment, ask: Ask, azimuth_deg: float | None, street: Street | None
) -> tuple[float | None, float | None, float | None]:
    """Edge of the buildings, loss over it, and the share of the way that they block; None each where unknown."""
    if environment != "street" or street is None or azimuth_deg is None:
        return None, None, None
    edge, loss = float(mask_deg(street, azimuth_deg)), float(edge_loss_db(street, azimuth_deg, *ask))
    return edge, loss, street_blockage_share(street, azimuth_deg, *ask)


def _any_range(environment: Environment, paths: Sequence[PathExpectation]) -> tuple[float, float] | None:
    """Least and most share with at least one path; None where a path's own share is unknown."""
    works = [path.works_share for path in paths]
    if not works or None in works:
        return None
    known = [share for share in works if share is not None]
    azimuths = [path.azimuth_deg for path in paths if path.azimuth_deg is not None]
    elevations = [path.elevation_deg for path in paths]
    if environment != "street" or len(azimuths) < len(paths) or min(elevations) <= 0.0:
        return any_share_range(known)
    return any_share_in_streets(known, elevations, azimuths, STREET_MASKS_DEG)


# --- moving elsewhere --------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Gain:
    """What moving is expected to gain, dB: the middle and the 90 % range of one place against another."""

    median_db: float
    low_db: float
    high_db: float
    text: str


_ROOFS = ("indoors", "garage", "garage-traditional", "garage-efficient")
_SHARES: Floats = np.linspace(0.005, 0.995, 100)


def gain_by_moving(
    from_place: str, to_place: str, elevation_deg: float, frequency_hz: float, lost_db: float = 0.0
) -> Gain | str:
    """The gain of moving between two kinds of place, each drawn without the other, or a sentence why it is unknown.

    `lost_db` above 0: only spots of the first place count that lose so much or more, as where a way is hidden now.
    Places are the words in `KINDS`. A garage of unknown kind counts as either with equal weight (judgement, no
    source). The deepest 1 % of fades under trees, which the model does not know, is taken as at 1 %.
    """
    for place in (from_place, to_place):
        if place not in KINDS:
            return tell("what to gain by moving is unknown: no model covers a place '{place}'", place=place)
    ask = Ask(elevation_deg, frequency_hz / 1e9)
    try:
        before, after = _fades(from_place, ask), _fades(to_place, ask)
    except OutsideDomain as trouble:
        return tell("what to gain by moving is unknown: {why}", why=str(trouble))
    known = before[~np.isnan(before)]
    # What a model leaves out above 60° are its smaller fades; they do not count where only larger ones do.
    if np.isnan(after).any() or (len(known) < len(before) and not (lost_db > 0.0 and known.min() <= lost_db)):
        return tell("what to gain by moving is unknown: above 60° the model of trees knows the rarer fades only")
    before = known[known >= lost_db] if lost_db > 0.0 else known
    if not len(before):
        return tell(
            "what to gain by moving is unknown: so high up no spot of such a place loses {loss} dB",
            loss=whole_db(lost_db),
        )
    # Middles of equal slices: Hazen's rule reads their quantiles without a shift.
    gains = np.quantile(before[:, None] - after[None, :], (0.05, 0.5, 0.95), method="hazen")
    low, median, high = (float(part) for part in gains)
    text = tell(
        "{moving} is expected to gain about {gain} dB (90 %: {low} to {high})",
        moving=_moving(from_place, to_place),
        gain=whole_db(median),
        low=whole_db(low),
        high=whole_db(high),
    )
    if lost_db > 0.0:
        text = tell("{gain} where {loss} dB or more are lost now,", gain=text, loss=whole_db(lost_db))
    return Gain(median, low, high, text)


def _moving(from_place: str, to_place: str) -> str:
    if KINDS[to_place] != ("open",):
        return tell("moving to {place}", place=translated(WORDS[KINDS[to_place][0]]))
    if from_place in _ROOFS:
        return tell("moving outdoors under an open sky")
    return tell("moving to an open sky")


def _fades(place: str, ask: Ask) -> Floats:
    parts = []
    for kind in KINDS[place]:
        shares: Floats = np.asarray(np.maximum(_SHARES, 0.01)) if kind == "trees" else _SHARES
        parts.append(fade_db(kind, shares, ask))
    return np.concatenate(parts)


def whole_db(value_db: float) -> str:
    """A loss in whole dB; the models are worth no more."""
    return f"{round(value_db)}".replace("-", "−")
