"""What to expect in other kinds of place, for a vehicle that may stand under a roof, behind buildings or under trees.

The figures are those of the models in `satdiag.sky.expect` at the satellites' own elevations.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import NamedTuple

from satdiag.errors import SatdiagError
from satdiag.findings import Findings, SatelliteSky, SiteSky
from satdiag.job import Job
from satdiag.report.figure import Figure, Spec, Table, axis, label, layout, note, table
from satdiag.report.numbers import FIXED_SPACE, THIN_SPACE, UNKNOWN, percent
from satdiag.report.palette import INK, SKY_BLUE
from satdiag.report.words import fault_words, sentence
from satdiag.sky.estimate import constellation_of
from satdiag.sky.expect import Expectation, PathExpectation, environment, gain_by_moving
from satdiag.sky.propagation.atmosphere import weather_text
from satdiag.sky.propagation.places import ENVIRONMENTS

# The kind of place that each fault speaks of, by the words of the log.
PLACE_OF_FAULT = {"indoors": "indoors", "obstructed": "street", "foliage": "canopy"}
WORTH_SAYING = 0.1
"""A fault less probable than this is not worth a section."""

LINE_PX, BAR_PX, GAP_PX, FOOT_PX = 17, 14, 12, 50
LINE_LENGTH = 50


class Elsewhere(NamedTuple):
    """The parts of the section; `missing` says why there is nothing in it."""

    sentences: tuple[str, ...] = ()
    figures: tuple[Figure, ...] = ()
    tables: tuple[Table, ...] = ()
    missing: tuple[str, ...] = ()


def elsewhere(job: Job, findings: Findings) -> Elsewhere | None:
    """The section's parts, or None where no fault of the surroundings is likely enough.

    Raises BadInput or SatdiagError if the constellation that the job names cannot be read.
    """
    chances = {fault: findings.diagnosis.faults.get(fault) or 0.0 for fault in PLACE_OF_FAULT}
    likely = [fault for fault in sorted(chances, key=lambda one: -chances[one]) if chances[fault] >= WORTH_SAYING]
    if not likely:
        return None
    satellites = _risen(_site_now(job, findings))
    if not satellites:
        return Elsewhere(missing=("What to expect elsewhere is not known: no direction of a satellite is known.",))
    frequency_hz = _frequency_hz(job)
    if frequency_hz is None:
        return Elsewhere(missing=("What to expect elsewhere is not known: the constellation states no frequency.",))
    elevations = [satellite.elevation_deg or 0.0 for satellite in satellites]
    azimuths = [satellite.azimuth_deg or 0.0 for satellite in satellites]
    found = [environment(kind, elevations, azimuths, frequency_hz) for kind in ENVIRONMENTS]
    highest = max(range(len(satellites)), key=lambda number: elevations[number])
    tables = (_table(found, satellites), _sources_table(found))
    figure = _figure([(one, one.paths[highest]) for one in found], satellites[highest], tables)
    return Elsewhere(
        sentences=_sentences(likely, chances, satellites[highest], min(elevations), frequency_hz),
        figures=(figure,) if figure is not None else (),
        tables=() if figure is not None else tables,
        missing=tuple(sentence(text) for text in dict.fromkeys(said for one in found for said in one.could_not)),
    )


def _site_now(job: Job, findings: Findings) -> SiteSky | None:
    """The site at which the vehicle stood last; the first one where the log names none."""
    sites = {site.name: site for site in findings.sky.sites}
    moves = job.select("site")
    named = str(moves["value"].iloc[-1]) if len(moves) else None
    return sites.get(named or "") or (findings.sky.sites[0] if findings.sky.sites else None)


def _risen(site: SiteSky | None) -> list[SatelliteSky]:
    return [sat for sat in (site.satellites if site else ()) if (sat.elevation_deg or 0.0) > 0.0]


def _frequency_hz(job: Job) -> float | None:
    """The middle of the satellites' frequencies, else of the band; None if neither is stated."""
    constellation = constellation_of(job)
    if constellation is None:
        return None
    stated = [sat.frequency_mhz for sat in constellation.satellites if sat.frequency_mhz is not None]
    ends = (min(stated), max(stated)) if stated else constellation.band_mhz
    return None if ends is None else (ends[0] + ends[1]) / 2.0 * 1e6


def _sentences(
    likely: Sequence[str], chances: dict[str, float], satellite: SatelliteSky, lowest_deg: float, frequency_hz: float
) -> tuple[str, ...]:
    said = []
    elevation = satellite.elevation_deg or 0.0
    for fault in likely:
        gain = gain_by_moving(PLACE_OF_FAULT[fault], "open-sky", elevation, frequency_hz)
        text = gain if isinstance(gain, str) else f"{gain.text} towards {satellite.name}, {elevation:.0f}° high"
        said.append(sentence(f"{fault_words(fault)} ({percent(chances[fault])} probable): {text}"))
    try:
        said.append(weather_text(lowest_deg, frequency_hz / 1e9))
    except SatdiagError as trouble:
        said.append(sentence(str(trouble)))
    said.append(
        "These are models of kinds of place, not measurements of this one: driving through a street or under trees "
        "the loss changes from metre to metre, and a vehicle that stands has one of those losses all the time."
    )
    return tuple(said)


# --- tables ------------------------------------------------------------------------------------------------------


def _table(found: Sequence[Expectation], satellites: Sequence[SatelliteSky]) -> Table:
    rows = []
    for one in found:
        for satellite, path in zip(satellites, one.paths, strict=True):
            losses = (_db(path.exceeded_90_db), _db(path.exceeded_50_db), _db(path.exceeded_10_db))
            rows.append((one.words, satellite.name, *losses, percent(path.works_share), _any_words(one)))
    heads = ("place", "satellite", "nearly always (90%)", "half the cases", "one in ten", "it works", "any works")
    margin = f"{found[0].margin_db:.0f}{THIN_SPACE}dB"
    caption = (
        f"Loss against an open sky that is reached or passed in 90, 50 and 10 of 100 cases, and the share in which a "
        f"path with {margin} in hand works. Cases are metres driven in streets and under trees, and garages."
    )
    return table(caption, heads, rows, "|".join(heads[2:]))


def _db(value: float | None) -> str:
    if value is None:
        return UNKNOWN
    return f"{max(0, round(value))}{THIN_SPACE}dB"


def _any_words(one: Expectation) -> str:
    if one.any_path_share_range is None:
        return UNKNOWN
    low, high = (percent(share) for share in one.any_path_share_range)
    return low if low == high else f"{low} to {high}".replace(" ", FIXED_SPACE)


def _sources_table(found: Sequence[Expectation]) -> Table:
    sources = dict.fromkeys(source for one in found for source in one.sources)
    rows: list[tuple[str, str]] = [(source.name, source.standing) for source in sources]
    rows += [(text, "note") for text in dict.fromkeys(text for one in found for text in one.notes)]
    return table("What these figures rest on.", ("model or figure", "standing"), rows)


# --- figure ------------------------------------------------------------------------------------------------------


def _figure(
    found: Sequence[tuple[Expectation, PathExpectation]], satellite: SatelliteSky, tables: tuple[Table, ...]
) -> Figure | None:
    """Spans of loss by kind of place for one satellite, or None where no kind has all three figures."""
    spans = [(one.words, *ends) for one, path in found if (ends := _ends(path)) is not None]
    if not spans:
        return None
    name, elevation = satellite.name, f"{satellite.elevation_deg or 0.0:.0f}°"
    caption = (
        f"What is lost against an open sky towards {name}, {elevation} high, by kind of place: the bar holds the "
        "middle 80 of 100 cases, the stroke in it is the middle one."
    )
    said = "; ".join(f"{words} {low:.0f} to {high:.0f} dB, middle {middle:.0f}" for words, low, middle, high in spans)
    return Figure("elsewhere", caption, f"Spans of loss towards {name}: {said}.", _spec(spans), tables)


Span = tuple[str, float, float, float]


def _ends(path: PathExpectation) -> tuple[float, float, float] | None:
    losses = (path.exceeded_90_db, path.exceeded_50_db, path.exceeded_10_db)
    known = [max(0.0, loss) for loss in losses if loss is not None]
    return (known[0], known[1], known[2]) if len(known) == 3 else None


def _spec(spans: Sequence[Span]) -> Spec:
    """Bars from the top down, each with its words above it; the vertical axis counts pixels downwards."""
    places, words, used = [], [], 0.0
    for name, low, middle, high in spans:
        lines = textwrap.wrap(f"{name}: {_span_words(low, middle, high)}", LINE_LENGTH)
        used += GAP_PX + LINE_PX * len(lines) + BAR_PX
        places.append(used - BAR_PX / 2)
        text = "<br>".join(label(line) for line in lines)
        words.append(note(text, x=0, xref="paper", y=used - BAR_PX, yshift=2))
    bars = {
        "type": "bar",
        "orientation": "h",
        "base": [round(low, 3) for _, low, _, _ in spans],
        "x": [round(high - low, 3) for _, low, _, high in spans],
        "y": places,
        "width": BAR_PX,
        "marker": {"color": SKY_BLUE, "line": {"color": INK, "width": 1.2}},
        "hoverinfo": "skip",
    }
    strokes = {
        "type": "scatter",
        "mode": "markers",
        "x": [round(middle, 3) for _, _, middle, _ in spans],
        "y": places,
        "marker": {"symbol": "line-ns", "size": BAR_PX + 4, "color": INK, "line": {"color": INK, "width": 3}},
        "hoverinfo": "skip",
        "cliponaxis": False,
    }
    most = max(high for *_, high in spans)
    return {
        "data": [bars, strokes],
        "layout": layout(
            round(used) + GAP_PX + FOOT_PX,
            xaxis=axis("loss against an open sky, dB", range=[0, 1.06 * max(most, 10.0)]),
            yaxis=axis(visible=False, range=[used + GAP_PX, 0]),
            annotations=words,
            showlegend=False,
            margin={"l": 10, "r": 14, "t": 0, "b": FOOT_PX, "pad": 0},
            bargap=0,
        ),
    }


def _span_words(low: float, middle: float, high: float) -> str:
    if round(low) == round(high):
        return f"{round(middle)} dB"
    return f"{round(low)} to {round(high)} dB, middle {round(middle)}"
