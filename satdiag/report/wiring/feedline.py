"""The antenna lead in the report: where it ends, the curve of its reflections, and a table of them."""

from __future__ import annotations

from collections.abc import Sequence

from satdiag.findings import FeedlineFindings, Reflection
from satdiag.language import in_figures, parted, tell
from satdiag.report import words
from satdiag.report.figure import Figure, Table, table
from satdiag.report.numbers import quantity, unknown
from satdiag.report.wiring.feedline_figure import feedline_spec
from satdiag.report.wiring.part import Part
from satdiag.wiring.chained import chained

Shown = Sequence[tuple[int, Reflection]]


def feedline_part(found: FeedlineFindings) -> Part:
    """The lead's row, its sentences, the figure with its table, and what the sweep was good for."""
    state = words.LEAD_ENDS[found.end]
    if _fault_on_the_way(found):
        state = tell("{end}; a fault on the way", end=state)
    row = (tell("antenna lead"), state, _measured(found))
    sentences = tuple(text for text in (found.verdict, *found.sentences) if text)
    if found.profile is None:
        return Part(row, sentences)
    figure = feedline_figure(found)
    return Part(row, sentences, (figure,), (facts_table(found),))


def _fault_on_the_way(found: FeedlineFindings) -> bool:
    return found.fault_m_90 is not None and found.end != "before"


def _measured(found: FeedlineFindings) -> str:
    said = []
    if found.end_m_90 is not None:
        said.append(tell("ends {place} along the lead", place=_place(found.end_m, found.end_m_90)))
    if _fault_on_the_way(found):
        place = _place(found.fault_m, found.fault_m_90)
        said.append(tell("a reflection stands out {place} along the lead", place=place))
    return parted(said) or (tell("no reflection stands out") if found.end == "none" else "")


def _place(value: float | None, ends: tuple[float, float] | None) -> str:
    if value is None and ends is not None:
        return tell("{low:.2f} to {high:.2f} m", low=ends[0], high=ends[1])
    return quantity(value, "m", ends)


def shown_reflections(found: FeedlineFindings) -> list[tuple[int, Reflection]]:
    """What is drawn and listed, numbered in order of distance: all but the skirts that the window makes."""
    listed = [one for one in found.reflections if one.kind != "sidelobe"]
    return list(enumerate(listed, 1))


def feedline_figure(found: FeedlineFindings) -> Figure:
    """The curve with numbered peaks; the table behind it lists them."""
    shown = shown_reflections(found)
    caption = [_what_is_drawn(found)]
    if found.velocity_factor is not None:
        caption.append(tell("Whiskers are the 90 % ranges."))
    if any(one.kind == "ghost" for _, one in shown):
        caption.append(tell("Hollow marks are echoes between other places, not places of their own."))
    spec, behind = feedline_spec(found, shown), (reflections_table(found),)
    return Figure("antenna-lead", " ".join(caption), _alt(found, shown), spec, behind)


def _what_is_drawn(found: FeedlineFindings) -> str:
    if found.velocity_factor is not None:
        return tell(
            "How much of the wave comes back, as measured, against distance along the lead: 0 dB is all of it, each "
            "20 dB less a tenth."
        )
    return tell(
        "How much of the wave comes back, as measured, against delay there and back: 0 dB is all of it, each 20 dB "
        "less a tenth."
    )


def _alt(found: FeedlineFindings, shown: Shown) -> str:
    named = [
        tell(
            "number {number}, {kind}, {place}",
            number=number,
            kind=words.REFLECTIONS[one.kind],
            place=_place(one.distance_m, one.distance_m_90),
        )
        for number, one in shown
        if one.kind != "ghost"
    ][:8]
    said = tell(
        "Curve of the reflections along the antenna lead. Reflections: {reflections}.",
        reflections=parted(named) if named else tell("none stands out"),
    )
    if not found.expected_length_m:
        return said
    expected = tell("The antenna is expected at {length}.", length=quantity(found.expected_length_m, "m"))
    return f"{said} {expected}"


def reflections_table(found: FeedlineFindings) -> Table:
    """Every reflection shown: place, delay, how much comes back with and without the cable's loss, what it is."""
    shown = shown_reflections(found)
    numbers = {id(one): number for number, one in shown}
    rows = [
        (
            str(number),
            _place(one.distance_m, one.distance_m_90),
            in_figures(f"{one.delay_ns:.2f} ns"),
            tell("{share} %", share=_share(one.gamma)),
            _corrected(one),
            _decibels(one.return_loss_db),
            _decibels(one.return_loss_corrected_db),
            _kind(found, one, numbers),
        )
        for number, one in shown
    ]
    heads = (
        tell("no."),
        tell("place"),
        tell("delay"),
        tell("comes back"),
        tell("less loss"),
        tell("return loss"),
        tell("less loss, in dB"),
        tell("what it is"),
    )
    caption = tell("Reflections in order of distance; 'less loss' takes the cable's loss out and back off.")
    return table(caption, heads, rows, "no.|delay|comes back|less loss|return loss|less loss, in dB")


def _decibels(value: float | None) -> str:
    return unknown() if value is None else in_figures(f"{value:.1f} dB")


def _corrected(one: Reflection) -> str:
    low, high = (_share(end) for end in one.gamma_corrected_90)
    if one.gamma_corrected is None:
        return tell("{low} to {high} %", low=low, high=high)
    return tell("{share} % ({low} to {high})", share=_share(one.gamma_corrected), low=low, high=high)


def _share(gamma: float) -> str:
    """Per cent of the wave, two digits."""
    return in_figures(f"{100 * gamma:.0f}" if gamma >= 0.1 else f"{100 * gamma:.2g}")


def _kind(found: FeedlineFindings, one: Reflection, numbers: dict[int, int]) -> str:
    parents = [numbers.get(id(found.reflections[nth - 1])) for nth in one.of]
    named = chained(str(number) for number in parents if number is not None)
    if one.kind != "ghost" or not named:
        return words.REFLECTIONS[one.kind]
    if len(parents) == 1:
        return tell("echo between {places} and the plug", places=named)
    return tell("echo between {places}", places=named)


def facts_table(found: FeedlineFindings) -> Table:
    """What the distances rest on and what the band of the service shows."""
    velocity = found.velocity_factor_range
    ends = "" if velocity is None else tell("{low:.3g} to {high:.3g}", low=velocity[0], high=velocity[1])
    factor = ends
    if found.velocity_factor is not None:
        factor = tell("{factor:.3g} ({ends})", factor=found.velocity_factor, ends=ends)
    at_end = _with_ends(found.end_return_loss_db, found.end_return_loss_db_90)
    rows = [
        (tell("antenna expected at"), quantity(found.expected_length_m, "m")),
        (tell("velocity factor"), factor),
        (tell("class of cable"), found.cable or unknown()),
        (tell("reads up to"), quantity(found.range_m, "m")),
        (tell("tells apart from"), quantity(found.resolution_m, "m")),
        (tell("noise reaches"), quantity(found.noise_floor_db, "dB")),
        (_near_end_words(found), quantity(found.band_return_loss_db, "dB")),
        (
            tell("the same, loss of the cable up to the strongest reflection taken off"),
            _with_ends(*_band_corrected(found)),
        ),
        (tell("return loss of what hangs at the end"), at_end),
        (_loss_words(found), _with_ends(found.loss_db, found.loss_db_90)),
    ]
    return table(tell("What the sweep of the lead rests on."), (tell("what"), tell("value")), rows)


def _near_end_words(found: FeedlineFindings) -> str:
    if found.band_mhz is None:
        return tell("return loss at the receiver's end")
    low, high = found.band_mhz
    return tell("return loss at the receiver's end, {low:g} to {high:g} MHz", low=low, high=high)


def _band_corrected(found: FeedlineFindings) -> tuple[float | None, tuple[float, float] | None]:
    return found.band_return_loss_corrected_db, found.band_return_loss_corrected_db_90


def _with_ends(value: float | None, ends: tuple[float, float] | None) -> str:
    if value is None and ends is not None:
        return tell("{low:.1f} to {high:.1f} dB", low=ends[0], high=ends[1])
    return quantity(value, "dB", ends)


def _loss_words(found: FeedlineFindings) -> str:
    if found.loss_mhz is None or found.loss_length_m is None:
        return tell("loss of the cable, one way")
    return tell(
        "loss of the cable, one way, {length:.2f} m at {mhz:g} MHz", length=found.loss_length_m, mhz=found.loss_mhz
    )
