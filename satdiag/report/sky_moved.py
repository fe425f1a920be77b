"""Where satellites that move went while the vehicle stood at a site: rise, highest point, set, hand-overs."""

from __future__ import annotations

from satdiag.findings import Instant, SatelliteSky, SatelliteStay, SiteSky, SkyPass
from satdiag.language import mark, tell, translated
from satdiag.report.figure import Table, table
from satdiag.report.local_time import LocalTime, parse_instant
from satdiag.report.numbers import duration, percent
from satdiag.report.sky_plot import degrees_text

_HEADS = (
    mark("satellite"), mark("rise"), mark("highest"), mark("elevation then"), mark("set"), mark("high enough"),
    mark("of"), mark("expected clear"),
)  # fmt: skip


def moved_tables(site: SiteSky, least_deg: float | None, local: LocalTime) -> tuple[Table, ...]:
    """The tables of a site; none where nothing moved there."""
    moved = [(sat, sat.while_there) for sat in site.satellites if sat.while_there is not None]
    if not moved:
        return ()
    rows = [row for sat, stay in moved for row in _rows(sat, stay, local)]
    caption = tell(
        "Where they moved while the vehicle stood at {site}: rise above {least:g}°, highest point "
        "and set, for how much of that time each stood high enough, and the share of all of it in which it is "
        "expected to have been clear.",
        site=site.name,
        least=least_deg or 0.0,
    )
    heads = [translated(head) for head in _HEADS]
    whole = table(caption, heads, rows, "elevation then|high enough|of|expected clear")
    if not site.handovers:
        return (whole,)
    none = tell("none")
    changes = [(_clock(one.at, local), one.from_ or none, one.to or none) for one in site.handovers]
    said = tell("When another satellite became the highest over {site}.", site=site.name)
    return whole, table(said, (tell("at"), tell("from"), tell("to")), changes)


def _rows(sat: SatelliteSky, stay: SatelliteStay, local: LocalTime) -> list[tuple[str, ...]]:
    """A row for each pass; what holds of the whole stay stands in the first."""
    whole = (duration(stay.high_s), duration(stay.stood_s), percent(stay.p_clear, stay.p_clear_90))
    if not stay.passes:
        return [(sat.name, tell("not while there"), "", "", "", *whole)]
    return [
        (sat.name, *_pass_words(one, local), *(whole if number == 0 else ("", "", "")))
        for number, one in enumerate(stay.passes)
    ]


def _pass_words(one: SkyPass, local: LocalTime) -> tuple[str, ...]:
    rise = tell("up already") if one.rise is None else _clock(one.rise, local)
    finish = tell("still up") if one.set is None else _clock(one.set, local)
    return rise, _clock(one.highest, local), degrees_text(one.highest_elevation_deg), finish


_MONTHS = mark("Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec")


def _clock(instant: Instant, local: LocalTime) -> str:
    wall = local.wall(parse_instant(instant))
    return tell(
        "{day} {month}, {time}", day=wall.day, month=translated(_MONTHS).split()[wall.month - 1], time=f"{wall:%H:%M}"
    )
