"""What to expect in a kind of place on one day, in plain lines: `expectation_text`."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from satdiag.findings import Instant
from satdiag.sky.expect import Expectation, PathExpectation, whole_db
from satdiag.sky.expect_day import DayExpectation, MomentExpectation
from satdiag.sky.propagation.street import Street

_MOMENTS = {"best-hour": "In the best hour", "worst-hour": "In the worst hour", "all-day": ""}


def expectation_text(found: DayExpectation, clock: Callable[[Instant], str]) -> str:
    """An expectation in lines; `clock` says an instant as people read it there. What holds throughout comes last."""
    lines = [line for moment in found.moments for line in _moment_lines(moment, found, clock)]
    if found.street is not None:
        lines.append(f"  the street: {_street_words(found.street, found.street_from == 'obstacles')}")
    every = [kind for moment in found.moments for kind in moment.kinds]
    lines += _each_once("could not", (text for kind in every for text in kind.could_not))
    lines += _each_once("note", (text for kind in every for text in kind.notes))
    lines += _each_once("from", (str(source) for kind in every for source in kind.sources))
    return "\n".join([*lines, *([found.weather] if found.weather else [])])


def _each_once(head: str, texts: Iterator[str]) -> list[str]:
    return [f"  {head}: {text}" for text in dict.fromkeys(texts)]


def _moment_lines(moment: MomentExpectation, whole: DayExpectation, clock: Callable[[Instant], str]) -> Iterator[str]:
    if moment.word != "all-day":
        yield f"{_MOMENTS[moment.word]}, with all of them as they stand at {clock(moment.at)}"
    for kind in moment.kinds:
        yield from _kind_lines(kind, [one.name for one in moment.satellites])
    if not moment.kinds:
        yield "  no satellite stands high enough"
    for one in moment.too_low:
        height = f"{one.elevation_deg:.0f}°".replace("-", "−")
        least = f"{whole.coverage_min_elevation_deg:g}°"
        why = f"at {height}, below the {least} of the service" if one.elevation_deg > 0.0 else "below the horizon"
        yield f"  {one.name} is {why}: not counted"


def _street_words(street: Street, of_obstacles: bool) -> str:
    left = street.height_m if street.left_height_m is None else street.left_height_m
    begin, finish = sorted((street.azimuth_deg % 360.0, (street.azimuth_deg + 180.0) % 360.0))
    said = (
        f"runs along {begin:.0f}° and {finish:.0f}° from true north, {street.width_m:g} m wide; looking along "
        f"{street.azimuth_deg:.0f}° the buildings are {left:g} m above the antenna on the left and "
        f"{street.height_m:g} m on the right"
    )
    return f"{said}; found from the listed obstacles, seen from its middle" if of_obstacles else said


def _kind_lines(found: Expectation, names: Sequence[str]) -> Iterator[str]:
    yield f"{found.words[0].upper()}{found.words[1:]}, {found.frequency_hz / 1e9:.2f} GHz"
    for name, path in zip(names, found.paths, strict=True):
        yield f"  {name} at {path.elevation_deg:.0f}°: {_path_words(path, found)}"
    if found.any_path_share_range is not None and len(found.paths) > 1:
        yield f"  at least one of them works in {_range(*found.any_path_share_range)} of {found.share_of}"


def _path_words(path: PathExpectation, found: Expectation) -> str:
    if path.elevation_deg <= 0.0:
        return "below the horizon"
    parts = (("90", path.exceeded_90_db), ("50", path.exceeded_50_db), ("10", path.exceeded_10_db))
    known = [(share, value) for share, value in parts if value is not None]
    # To lose at least nothing says nothing.
    losses = [f"{whole_db(value)} dB in {share} %" for share, value in known if round(value) > 0]
    said = [f"loses at least {', '.join(losses)} of {found.share_of}" if losses else "loss unknown"]
    if not losses and path.exceeded_10_db is not None:
        said = [f"loses less than 1 dB in 90 % of {found.share_of}"]
    if path.works_share is not None:
        said.append(f"works in {100.0 * path.works_share:.0f} % with {found.margin_db:.0f} dB in hand")
    if path.mask_deg is not None and path.edge_loss_db is not None:
        clear = path.elevation_deg > path.mask_deg
        behind = f"behind them, about {whole_db(path.edge_loss_db)} dB over the edge"
        spot = "clear of the buildings" if clear else behind
        said.append(f"from the middle of the street the buildings reach {path.mask_deg:.0f}° there: {spot}")
    if path.blocked_share is not None:
        blocked = f"{100.0 * path.blocked_share:.0f} % of the way driven"
        said.append(f"if heights vary around those of the street, buildings block {blocked}")
    return "; ".join(said)


def _range(low: float, high: float) -> str:
    """Two shares in per cent: '79 to 98 %', '80 %', 'at least 99 %' where the upper end is all or nearly all."""
    ends = round(100.0 * low), round(100.0 * high)
    if ends[1] == 100:
        return f"at least {min(ends[0], 99)} %"
    return f"{ends[0]} %" if ends[0] == ends[1] else f"{ends[0]} to {ends[1]} %"
