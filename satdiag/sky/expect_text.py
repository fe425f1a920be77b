"""What to expect in a kind of place on one day, in plain lines: `expectation_text`."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from satdiag.findings import Instant
from satdiag.language import mark, parted, tell, translated
from satdiag.sky.expect import Expectation, PathExpectation, whole_db
from satdiag.sky.expect_day import DayExpectation, MomentExpectation
from satdiag.sky.moments import Direction
from satdiag.sky.propagation.street import Street

_MOMENTS = {
    "best-hour": mark("In the best hour, with all of them as they stand at {time}"),
    "worst-hour": mark("In the worst hour, with all of them as they stand at {time}"),
}


def expectation_text(found: DayExpectation, clock: Callable[[Instant], str]) -> str:
    """An expectation in lines; `clock` says an instant as people read it there. What holds throughout comes last."""
    lines = [line for moment in found.moments for line in _moment_lines(moment, found, clock)]
    if found.street is not None:
        street = _street_words(found.street, found.street_from == "obstacles")
        lines.append("  " + tell("the street: {street}", street=street))
    every = [kind for moment in found.moments for kind in moment.kinds]
    for text in dict.fromkeys(text for kind in every for text in kind.could_not):
        lines.append("  " + tell("could not: {what}", what=text))
    for text in dict.fromkeys(text for kind in every for text in kind.notes):
        lines.append("  " + tell("note: {what}", what=text))
    for text in dict.fromkeys(str(source) for kind in every for source in kind.sources):
        lines.append("  " + tell("from: {what}", what=text))
    return "\n".join([*lines, *([found.weather] if found.weather else [])])


def _moment_lines(moment: MomentExpectation, whole: DayExpectation, clock: Callable[[Instant], str]) -> Iterator[str]:
    if moment.word != "all-day":
        yield translated(_MOMENTS[moment.word]).format(time=clock(moment.at))
    for kind in moment.kinds:
        yield from _kind_lines(kind, [one.name for one in moment.satellites])
    if not moment.kinds:
        yield "  " + tell("no satellite stands high enough")
    for one in moment.too_low:
        yield "  " + _not_counted(one, whole.coverage_min_elevation_deg)


def _not_counted(one: Direction, least_deg: float) -> str:
    if one.elevation_deg <= 0.0:
        return tell("{satellite} is below the horizon: not counted", satellite=one.name)
    return tell(
        "{satellite} is at {height}, below the {least:g}° of the service: not counted",
        satellite=one.name,
        height=f"{one.elevation_deg:.0f}°".replace("-", "−"),
        least=least_deg,
    )


def _street_words(street: Street, of_obstacles: bool) -> str:
    left = street.height_m if street.left_height_m is None else street.left_height_m
    begin, finish = sorted((street.azimuth_deg % 360.0, (street.azimuth_deg + 180.0) % 360.0))
    said = tell(
        "runs along {begin:.0f}° and {finish:.0f}° from true north, {width:g} m wide; looking along "
        "{azimuth:.0f}° the buildings are {left:g} m above the antenna on the left and {right:g} m on the right",
        begin=begin,
        finish=finish,
        width=street.width_m,
        azimuth=street.azimuth_deg,
        left=left,
        right=street.height_m,
    )
    if of_obstacles:
        return tell("{street}; found from the listed obstacles, seen from its middle", street=said)
    return said


def _kind_lines(found: Expectation, names: Sequence[str]) -> Iterator[str]:
    words = f"{found.words[0].upper()}{found.words[1:]}"
    yield tell("{place}, {frequency:.2f} GHz", place=words, frequency=found.frequency_hz / 1e9)
    for name, path in zip(names, found.paths, strict=True):
        said = _path_words(path, found)
        yield "  " + tell(
            "{satellite} at {elevation:.0f}°: {what}", satellite=name, elevation=path.elevation_deg, what=said
        )
    if found.any_path_share_range is not None and len(found.paths) > 1:
        share = _range(*found.any_path_share_range)
        yield "  " + tell("at least one of them works in {share} of {cases}", share=share, cases=found.share_of)


def _path_words(path: PathExpectation, found: Expectation) -> str:
    if path.elevation_deg <= 0.0:
        return tell("below the horizon")
    said = [_loses(path, found.share_of)]
    if path.works_share is not None:
        said.append(
            tell(
                "works in {share:.0f} % with {margin:.0f} dB in hand",
                share=100.0 * path.works_share,
                margin=found.margin_db,
            )
        )
    if path.mask_deg is not None and path.edge_loss_db is not None:
        said.append(_spot_words(path.elevation_deg, path.mask_deg, path.edge_loss_db))
    if path.blocked_share is not None:
        said.append(
            tell(
                "if heights vary around those of the street, buildings block {share:.0f} % of the way driven",
                share=100.0 * path.blocked_share,
            )
        )
    return parted(said)


def _loses(path: PathExpectation, cases: str) -> str:
    parts = ((90, path.exceeded_90_db), (50, path.exceeded_50_db), (10, path.exceeded_10_db))
    # To lose at least nothing says nothing.
    losses = [
        tell("{loss} dB in {share} %", loss=whole_db(value), share=share)
        for share, value in parts
        if value is not None and round(value) > 0
    ]
    if losses:
        return tell("loses at least {losses} of {cases}", losses=", ".join(losses), cases=cases)
    if path.exceeded_10_db is None:
        return tell("loss unknown")
    return tell("loses less than 1 dB in 90 % of {cases}", cases=cases)


def _spot_words(elevation_deg: float, mask_deg: float, edge_loss_db: float) -> str:
    if elevation_deg > mask_deg:
        return tell(
            "from the middle of the street the buildings reach {mask:.0f}° there: clear of the buildings",
            mask=mask_deg,
        )
    return tell(
        "from the middle of the street the buildings reach {mask:.0f}° there: behind them, about {loss} dB over the "
        "edge",
        mask=mask_deg,
        loss=whole_db(edge_loss_db),
    )


def _range(low: float, high: float) -> str:
    """Two shares in per cent: '79 to 98 %', '80 %', 'at least 99 %' where the upper end is all or nearly all."""
    ends = round(100.0 * low), round(100.0 * high)
    if ends[1] == 100:
        return tell("at least {share} %", share=min(ends[0], 99))
    if ends[0] == ends[1]:
        return tell("{percent:.0f} %", percent=ends[0])
    return tell("{low} to {high} %", low=ends[0], high=ends[1])
