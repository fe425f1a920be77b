"""The day plan for people: its tables, its figure (the sky with tracks and hour ticks) and its page."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC
from pathlib import Path
from zoneinfo import ZoneInfo

from markupsafe import Markup
from plotly.offline import get_plotlyjs

from satdiag.errors import SatdiagError
from satdiag.language import mark, tell, translated
from satdiag.report import palette
from satdiag.report.day_plan_figure import day_figure
from satdiag.report.figure import Figure, Table, table
from satdiag.report.local_time import LocalTime, parse_instant
from satdiag.report.numbers import percent, quantity
from satdiag.report.page import Clean, cleaned, script_safe, template_environment
from satdiag.report.sky_plot import degrees_text
from satdiag.report.words import SKY_SOURCES
from satdiag.report.writing import check_place, replace_file
from satdiag.sheet import Site
from satdiag.sky.day_plan import DayPlan, PassTimes, SatelliteDay
from satdiag.sky.pole import at_a_pole
from satdiag.sky.ranks import Hour

METHOD = (
    mark(
        "Directions are those of the geometry on the WGS84 ellipsoid, azimuth from true north. Refraction is left "
        "out: it lifts a satellite by less than a tenth of a degree above 10 degrees."
    ),
    mark(
        "A satellite that moves is carried from its elements with SGP4 and turned to the Earth by mean sidereal "
        "time; that is good to a few hundredths of a degree, its elements to what their age allows."
    ),
    mark(
        "Where the sky at the place is known (from navigation satellites, a skyline, obstacles or a word), best and "
        "worst hours go by the chance that at least one satellite is clear. It is worked out for all of them "
        "together, because they share their obstacles. Besides, and where the sky is not known, they go by "
        "elevation alone: for each hour the lowest elevation in it counts."
    ),
)


@dataclass(frozen=True)
class Part:
    """One site of the page."""

    title: str
    where: str
    day: str
    constellation: str
    advice: tuple[str, ...]
    expected: tuple[str, ...]
    figure: Figure | None
    tables: tuple[Table, ...]
    times: str


def local_time_of_site(site: Site) -> LocalTime:
    """The site's own time zone; UTC, and said, where it names none."""
    if site.timezone:
        return LocalTime(
            ZoneInfo(site.timezone),
            tell("Times are local time at {place} ({zone}).", place=site.name, zone=site.timezone),
        )
    return LocalTime(UTC, mark("Times are UTC, because no time zone is named."))


def write_day_plan(
    path: str | os.PathLike[str], plans: Sequence[DayPlan], expected: Sequence[str | None], clean: Clean
) -> None:
    """Write the page of one day at one site or more, over an older page if there is one. Raises SatdiagError.

    `expected` says for each plan what to expect in a kind of place, or None; `clean` masks what must not be read.
    """
    place = Path(path).resolve()
    try:
        check_place(place)
        replace_file(place, day_plan_html(plans, expected, clean).encode())
    except OSError as error:
        why = error.strerror or str(error)
        raise SatdiagError(
            f"{place}: the page cannot be written ({why}). Nothing was changed there; name another place."
        ) from None


def day_plan_html(plans: Sequence[DayPlan], expected: Sequence[str | None], clean: Clean) -> str:
    """The page as one HTML text that needs nothing but itself."""
    parts = [_part(plan, number, text) for number, (plan, text) in enumerate(zip(plans, expected, strict=True), 1)]
    figures = [part.figure for part in parts if part.figure is not None]
    return (
        template_environment(clean)
        .get_template("day_plan.html.j2")
        .render(
            parts=parts,
            cautions=[_sentence(text) for text in cautions_of(plans)],
            method=[translated(text) for text in METHOD],
            drawings={figure.name: cleaned(figure.spec, clean) for figure in figures},
            palette=palette,
            light={name: getattr(palette, name) for name in ("INK", "FAINT", "GRID", "PAPER", "BLUE", "VERMILLION")},
            plotly_js=Markup(script_safe(get_plotlyjs())),
        )
    )


def cautions_of(plans: Sequence[DayPlan]) -> tuple[str, ...]:
    """The cautions of all plans, each once."""
    return tuple(dict.fromkeys(text for plan in plans for text in plan.cautions))


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + ("" if text.endswith(".") else ".")


def _part(plan: DayPlan, number: int, expected: str | None) -> Part:
    local = local_time_of_site(plan.site)
    figure = day_figure(plan, number, local, (satellites_table(plan, local), *_track_tables(plan, local)))
    tables = (
        passes_table(plan, local),
        clear_hours_table(plan, local),
        hours_table(plan, local),
        handover_table(plan, local),
    )
    return Part(
        title=plan.site.name,
        where=where(plan.site),
        day=plan.day,
        constellation=plan.constellation,
        advice=plan.advice,
        expected=tuple(line.strip() for line in (expected or "").splitlines() if line.strip()),
        figure=figure,
        tables=(satellites_table(plan, local), *(one for one in tables if one is not None)),
        times=tell(
            "{times} Below {least:g}° the service is not offered.",
            times=local.sentence,
            least=plan.coverage_min_elevation_deg,
        ),
    )


def where(site: Site) -> str:
    """'41.2000° N, 96.1000° W, 300 m above the ellipsoid'."""
    latitude, longitude = abs(site.latitude_deg), abs(site.longitude_deg)
    north = (
        tell("{angle:.4f}° N", angle=latitude) if site.latitude_deg >= 0 else tell("{angle:.4f}° S", angle=latitude)
    )
    east = tell("{angle:.4f}° E", angle=longitude)
    if site.longitude_deg < 0:
        east = tell("{angle:.4f}° W", angle=longitude)
    return tell("{north}, {east}, {height:.0f} m above the ellipsoid", north=north, east=east, height=site.height_m)


def clock(local: LocalTime, instant: str | None) -> str:
    """'14:03:25' of an instant, a dash for one outside the day."""
    return "–" if instant is None else f"{local.wall(parse_instant(instant)):%H:%M:%S}"


# --- tables ------------------------------------------------------------------------------------------------------


def satellites_table(plan: DayPlan, local: LocalTime) -> Table:
    """Azimuth, elevation and range of each satellite; of one that moves at its highest in the day."""
    rows = [
        (
            one.sky.name,
            degrees_text(one.sky.azimuth_deg),
            degrees_text(one.sky.elevation_deg),
            quantity(None if one.sky.range_km is None else round(one.sky.range_km, -1), "km"),
            tell("at its highest, {time}", time=clock(local, one.sky.as_of)[:5]) if one.moves else tell("all day"),
            _chance_words(one),
            SKY_SOURCES[one.sky.from_],
            translated(one.status) if one.status else tell("not stated"),
        )
        for one in plan.satellites
    ]
    heads = (
        tell("satellite"),
        tell("azimuth"),
        tell("elevation"),
        tell("distance"),
        tell("holds"),
        tell("chance of being clear"),
        tell("known from"),
        tell("slot"),
    )
    caption = tell("Satellites as seen from {site}; azimuth from true north, clockwise.", site=plan.site.name)
    if at_a_pole(plan.site):
        caption = tell(
            "Satellites as seen from {site}; azimuth from the meridian named above, clockwise.", site=plan.site.name
        )
    return table(caption, heads, rows, "azimuth|elevation|distance|chance of being clear")


def _chance_words(one: SatelliteDay) -> str:
    """The chance of being clear; of a satellite that moves, how much of its time up is expected to be clear."""
    if not one.moves or one.p_clear_while_up is None:
        return percent(one.sky.p_clear, one.sky.p_clear_90)
    return tell("{share} of its time up", share=percent(one.p_clear_while_up, one.p_clear_while_up_90))


def passes_table(plan: DayPlan, local: LocalTime) -> Table | None:
    """When satellites that move rise above the least elevation, culminate and set; None where none moves."""
    rows = [
        (one.sky.name, *_pass_words(one_pass, plan, local))
        for one in plan.satellites
        if one.moves
        for one_pass in one.passes or (None,)
    ]
    if not rows:
        return None
    caption = tell(
        "Rise above {least:g}°, highest point, and set within the day; a dash: outside it.",
        least=plan.coverage_min_elevation_deg,
    )
    heads = (tell("satellite"), tell("rise"), tell("highest"), tell("elevation then"), tell("set"))
    return table(caption, heads, rows, "elevation then")


def _pass_words(one: PassTimes | None, plan: DayPlan, local: LocalTime) -> tuple[str, ...]:
    if one is None:
        return (tell("not on this day"), "", "", "")
    times = (one.rise, one.culmination, one.set)
    rise, top, finish = (clock(local, instant) for instant in times)
    top = {plan.from_: tell("as the day begins"), plan.to: tell("as the day ends")}.get(one.culmination, top)
    return (rise, top, degrees_text(one.culmination_elevation_deg), finish)


def clear_hours_table(plan: DayPlan, local: LocalTime) -> Table | None:
    """Best and worst hour by the chance that at least one satellite is clear; None where the sky is not known."""
    found = plan.clear_hours
    if found is None:
        return None
    if found.same_all_day:
        rows = [(tell("every hour alike"), "", percent(found.best.p_any_clear, found.best.p_any_clear_90))]
    else:
        rows = [
            (
                word,
                _span(hour.from_, hour.to, local),
                percent(hour.p_any_clear, hour.p_any_clear_90),
            )
            for word, hour in ((tell("best hour"), found.best), (tell("worst hour"), found.worst))
        ]
    heads = (tell("hour"), tell("from, to"), tell("at least one satellite clear"))
    caption = tell(
        "Best and worst hour by the share of it in which at least one satellite is expected to be clear; "
        "known from: {source}.",
        source=SKY_SOURCES[found.known_from],
    )
    return table(caption, heads, rows, "at least one satellite clear")


def hours_table(plan: DayPlan, local: LocalTime) -> Table | None:
    """Best and worst hour for the best and the second-best satellite; None where nothing moves."""
    if not any(one.moves for one in plan.satellites):
        return None
    names = {1: tell("the highest satellite"), 2: tell("the second highest")}
    rows = []
    for rank in plan.ranks:
        best, worst = (hour_words(hour, plan, local) for hour in (rank.best, rank.worst))
        rows.append(
            (names[rank.rank], *((tell("every hour alike"), best[1]) * 2 if rank.same_all_day else (*best, *worst)))
        )
    heads = (tell("of"), tell("best hour"), tell("at least"), tell("worst hour"), tell("down to"))
    caption = tell("Best and worst hour of the day by elevation alone: the lowest within the hour.")
    return table(caption, heads, rows)


def hour_words(hour: Hour, plan: DayPlan, local: LocalTime) -> tuple[str, str]:
    """'14:00 to 15:00' and '63.3° (east)' of an hour."""
    span = _span(hour.from_, hour.to, local)
    if hour.lowest_elevation_deg < plan.coverage_min_elevation_deg:
        return span, tell("not high enough for the service")
    return span, f"{degrees_text(hour.lowest_elevation_deg)} ({hour.satellite})"


def _span(start: str, end: str, local: LocalTime) -> str:
    return tell("{start} to {end}", start=clock(local, start)[:5], end=clock(local, end)[:5])


def handover_table(plan: DayPlan, local: LocalTime) -> Table | None:
    """When another satellite becomes the highest; None where that never happens."""
    if not plan.handovers:
        return None
    rows = [(clock(local, one.at), one.from_ or tell("none"), one.to or tell("none")) for one in plan.handovers]
    heads = (tell("at"), tell("from"), tell("to"))
    return table(tell("When another satellite becomes the highest."), heads, rows)


def _track_tables(plan: DayPlan, local: LocalTime) -> tuple[Table, ...]:
    return tuple(_track_table(one, local) for one in plan.satellites if any(point.hour for point in one.track))


def _track_table(one: SatelliteDay, local: LocalTime) -> Table:
    rows = [
        (clock(local, point.at)[:5], degrees_text(point.azimuth_deg), degrees_text(point.elevation_deg))
        for point in one.track
        if point.hour
    ]
    caption = tell("{satellite} hour by hour while it is above the horizon.", satellite=one.sky.name)
    return table(caption, (tell("at"), tell("azimuth"), tell("elevation")), rows, "azimuth|elevation")
