"""The antenna lead in the report: where it ends, the curve of its reflections, and a table of them."""

from __future__ import annotations

from collections.abc import Sequence

from satdiag.findings import FeedlineFindings, Reflection
from satdiag.report import words
from satdiag.report.figure import Figure, Table, table
from satdiag.report.numbers import UNKNOWN, quantity
from satdiag.report.wiring.feedline_figure import feedline_spec
from satdiag.report.wiring.part import Part

Shown = Sequence[tuple[int, Reflection]]


def feedline_part(found: FeedlineFindings) -> Part:
    """The lead's row, its sentences, the figure with its table, and what the sweep was good for."""
    state = words.LEAD_ENDS[found.end] + ("; a fault on the way" if _fault_on_the_way(found) else "")
    measured = _measured(found)
    sentences = tuple(text for text in (found.verdict, *found.sentences) if text)
    if found.profile is None:
        return Part(("antenna lead", state, measured), sentences)
    figure = feedline_figure(found)
    return Part(("antenna lead", state, measured), sentences, (figure,), (facts_table(found),))


def _fault_on_the_way(found: FeedlineFindings) -> bool:
    return found.fault_m_90 is not None and found.end != "before"


def _measured(found: FeedlineFindings) -> str:
    said = []
    if found.end_m_90 is not None:
        said.append(f"ends {_place(found.end_m, found.end_m_90)} along the lead")
    if _fault_on_the_way(found):
        said.append(f"a reflection stands out {_place(found.fault_m, found.fault_m_90)} along the lead")
    return "; ".join(said) or ("no reflection stands out" if found.end == "none" else "")


def _place(value: float | None, ends: tuple[float, float] | None) -> str:
    if value is None and ends is not None:
        return f"{ends[0]:.2f} to {ends[1]:.2f} m"
    return quantity(value, "m", ends)


def shown_reflections(found: FeedlineFindings) -> list[tuple[int, Reflection]]:
    """What is drawn and listed, numbered in order of distance: all but the skirts that the window makes."""
    listed = [one for one in found.reflections if one.kind != "sidelobe"]
    return list(enumerate(listed, 1))


def feedline_figure(found: FeedlineFindings) -> Figure:
    """The curve with numbered peaks; the table behind it lists them."""
    shown = shown_reflections(found)
    unit = "distance along the lead" if found.velocity_factor is not None else "delay there and back"
    whiskers = " Whiskers are the 90 % ranges." if found.velocity_factor is not None else ""
    ghosts = any(one.kind == "ghost" for _, one in shown)
    hollow = " Hollow marks are echoes between other places, not places of their own." if ghosts else ""
    caption = (
        f"How much of the wave comes back, as measured, against {unit}: 0 dB is all of it, each 20 dB less a tenth."
        f"{whiskers}{hollow}"
    )
    return Figure(
        "antenna-lead", caption, _alt(found, shown), feedline_spec(found, shown), (reflections_table(found),)
    )


def _alt(found: FeedlineFindings, shown: Shown) -> str:
    named = [
        f"number {number}, {words.REFLECTIONS[one.kind]}, {_place(one.distance_m, one.distance_m_90)}"
        for number, one in shown
        if one.kind != "ghost"
    ][:8]
    listed = "; ".join(named) if named else "none stands out"
    expected = (
        f" The antenna is expected at {quantity(found.expected_length_m, 'm')}." if found.expected_length_m else ""
    )
    return f"Curve of the reflections along the antenna lead. Reflections: {listed}.{expected}"


def reflections_table(found: FeedlineFindings) -> Table:
    """Every reflection shown: place, delay, how much comes back with and without the cable's loss, what it is."""
    shown = shown_reflections(found)
    numbers = {id(one): number for number, one in shown}
    rows = [
        (
            str(number),
            _place(one.distance_m, one.distance_m_90),
            f"{one.delay_ns:.2f} ns",
            f"{_share(one.gamma)} %",
            _corrected(one),
            f"{one.return_loss_db:.1f} dB",
            UNKNOWN if one.return_loss_corrected_db is None else f"{one.return_loss_corrected_db:.1f} dB",
            _kind(found, one, numbers),
        )
        for number, one in shown
    ]
    heads = ("no.", "place", "delay", "comes back", "less loss", "return loss", "less loss, in dB", "what it is")
    caption = "Reflections in order of distance; 'less loss' takes the cable's loss out and back off."
    return table(caption, heads, rows, "no.|delay|comes back|less loss|return loss|less loss, in dB")


def _corrected(one: Reflection) -> str:
    low, high = (_share(end) for end in one.gamma_corrected_90)
    if one.gamma_corrected is None:
        return f"{low} to {high} %"
    return f"{_share(one.gamma_corrected)} % ({low} to {high})"


def _share(gamma: float) -> str:
    """Per cent of the wave, two digits."""
    return f"{100 * gamma:.0f}" if gamma >= 0.1 else f"{100 * gamma:.2g}"


def _kind(found: FeedlineFindings, one: Reflection, numbers: dict[int, int]) -> str:
    parents = [numbers.get(id(found.reflections[nth - 1])) for nth in one.of]
    named = " and ".join(str(number) for number in parents if number is not None)
    if one.kind != "ghost" or not named:
        return words.REFLECTIONS[one.kind]
    return f"{words.REFLECTIONS[one.kind]} between {named}" + (" and the plug" if len(parents) == 1 else "")


def facts_table(found: FeedlineFindings) -> Table:
    """What the distances rest on and what the band of the service shows."""
    velocity = found.velocity_factor_range
    ends = "" if velocity is None else f"{velocity[0]:.3g} to {velocity[1]:.3g}"
    factor = ends if found.velocity_factor is None else f"{found.velocity_factor:.3g} ({ends})"
    band = "" if found.band_mhz is None else f", {found.band_mhz[0]:g} to {found.band_mhz[1]:g} MHz"
    rows = [
        ("antenna expected at", quantity(found.expected_length_m, "m")),
        ("velocity factor", factor),
        ("class of cable", found.cable or UNKNOWN),
        ("reads up to", quantity(found.range_m, "m")),
        ("tells apart from", quantity(found.resolution_m, "m")),
        ("noise reaches", quantity(found.noise_floor_db, "dB")),
        (f"return loss at the receiver's end{band}", quantity(found.band_return_loss_db, "dB")),
        ("the same, loss of the cable up to the strongest reflection taken off", _with_ends(*_band_corrected(found))),
        ("return loss of what hangs at the end", _with_ends(found.end_return_loss_db, found.end_return_loss_db_90)),
        (f"loss of the cable, one way{_at(found)}", _with_ends(found.loss_db, found.loss_db_90)),
    ]
    return table("What the sweep of the lead rests on.", ("what", "value"), rows)


def _band_corrected(found: FeedlineFindings) -> tuple[float | None, tuple[float, float] | None]:
    return found.band_return_loss_corrected_db, found.band_return_loss_corrected_db_90


def _with_ends(value: float | None, ends: tuple[float, float] | None) -> str:
    if value is None and ends is not None:
        return f"{ends[0]:.1f} to {ends[1]:.1f} dB"
    return quantity(value, "dB", ends)


def _at(found: FeedlineFindings) -> str:
    if found.loss_mhz is None or found.loss_length_m is None:
        return ""
    return f", {found.loss_length_m:.2f} m at {found.loss_mhz:g} MHz"
