"""The verdict on a sweep in sentences, and the words that its other sentences share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from satdiag.findings import Interval
from satdiag.language import chance_text, in_figures, mark, tell, translated
from satdiag.wiring.feedline.cable import ANY_VELOCITY, Range
from satdiag.wiring.feedline.ends import End, Place
from satdiag.wiring.feedline.kinds import WHOLE
from satdiag.wiring.feedline.reflection import return_loss_db
from satdiag.wiring.feedline.setup import Setup

_BROKEN = {
    "open": mark("It is open there."),
    "short": mark("It is shorted there."),
    "step": mark("Part of the wave passes there."),
    "unknown": mark("This sweep does not show whether it is open or shorted there."),
}
_BACK = mark("Most of the wave comes back there.")
_LIKE = {
    "open": mark("Most of the wave comes back there, as from an open end."),
    "short": mark("Most of the wave comes back there, as from a short."),
}
_ALSO = {
    "open": mark("An open port of the antenna or a broken antenna looks the same; a sweep cannot tell these apart."),
    "short": mark("A short in the antenna looks the same; a sweep cannot tell these apart."),
    "step": mark("A broken antenna may look the same; a sweep cannot tell these apart."),
    "unknown": mark("A broken antenna looks the same; a sweep cannot tell these apart."),
}
_NO_FAULT = mark(
    "With the feed off a sound amplifier does that, and so does any antenna outside its band: this shows no fault."
)


@dataclass(frozen=True)
class Scene:
    """What the sentences speak of. `loss` is one way, over `loss_length_m` at `loss_mhz`."""

    setup: Setup
    end: End
    fault: Place | None
    places: tuple[Place, ...]
    range_m: float
    width_m: float
    smeared_m: tuple[Interval, ...]
    hidden_db: float | None
    loss: Range | None
    loss_mhz: float
    loss_length_m: float | None
    end_return_loss_db: float | None
    end_return_loss_db_90: Interval | None


def metres(value: float) -> str:
    """'3.20 m'."""
    return in_figures(f"{value:.2f} m")


def place_words(one: Place) -> str:
    """'at 3.20 m (3.14 to 3.26 m)', or 'between 3.14 and 3.26 m' where the velocity factor is not known."""
    middle, (low, high) = one.distance.middle_m, one.distance.interval_m
    if middle is None:
        return tell("between {low:.2f} and {high:.2f} m", low=low, high=high)
    return tell("at {middle:.2f} m ({low:.2f} to {high:.2f} m)", middle=middle, low=low, high=high)


def chance(value: float | None) -> str:
    """'97 %', never 0 or 100."""
    return chance_text(value or 0.0)


def verdict_text(scene: Scene) -> str:
    """One or two sentences on where the lead ends, and one on a fault that shows elsewhere than at its end."""
    fault, end = scene.fault, scene.end
    if fault is None or fault is end.at or fault is end.most:
        return _end_text(scene)
    on_the_way = tell(
        "But a fault shows on the way: {place} part of the wave comes back, a return loss of {loss}.",
        place=place_words(fault),
        loss=loss_words(fault),
    )
    return f"{_end_text(scene)} {on_the_way}"


def loss_words(fault: Place) -> str:
    """The return loss of a place without the cable's, '12 dB'."""
    return f"{return_loss_db(max(fault.corrected.middle, 1e-6)):.0f} dB"


def _end_text(scene: Scene) -> str:
    end, at = scene.end, scene.end.at
    expected = scene.setup.expected_length_m
    if end.why in ("beyond-range", "coarse", "unplugged") and (text := _no_sweep(scene)):
        return text
    if end.why == "nothing":
        said = tell(
            "No clear end: no reflection stands out. A well matched antenna behind a lossy lead looks like this, and "
            "so does a lead longer than the sweep reaches."
        )
        return f"{said}{_hidden(scene)}"
    if end.why == "partial":
        return f"{_partial(scene)}{_hidden(scene)}"
    if end.why == "no-length":
        return _without_length(scene)
    assert at is not None
    if end.most is not None:
        return tell(
            "Most of the wave comes back {most}: a broken place or a very bad joint. Some passes and comes back "
            "{place}, where the antenna is expected, {expected} ({sure} sure).",
            most=place_words(end.most),
            place=place_words(at),
            expected=metres(expected or 0.0),
            sure=chance(end.p_at),
        )
    if end.why == "between":
        return tell(
            "Cannot tell: the lead ends {place} and the antenna is expected at {expected}; the chance that it ends "
            "before the antenna is {before}, at it {there}, beyond {beyond}. A closer velocity factor would decide "
            "it.",
            place=place_words(at),
            expected=metres(expected or 0.0),
            before=chance(end.p_before),
            there=chance(end.p_at),
            beyond=chance(end.p_beyond),
        )
    return _judged_text(scene, at, metres(expected or 0.0))


def _no_sweep(scene: Scene) -> str:
    """Why this sweep does not show the end; '' where its range counts and the length is not known."""
    expected = scene.setup.expected_length_m
    if scene.end.why == "unplugged":
        return tell(
            "Cannot tell where the lead ends: all of the wave comes back right where the lead should begin. It is "
            "not plugged in, a calibration standard is still on, or its first plug is open or shorted."
        )
    if expected is None:
        return ""
    if scene.end.why == "beyond-range":
        return tell(
            "Cannot tell where the lead ends: the frequency step of this sweep reaches {reach}, and the antenna is "
            "expected at {expected}. Sweep with more points or a smaller span.",
            reach=metres(scene.range_m),
            expected=metres(expected),
        )
    return tell(
        "Cannot tell: the span of this sweep resolves {width} and the lead is {expected} long. Sweep a wider span.",
        width=metres(scene.width_m),
        expected=metres(expected),
    )


def _partial(scene: Scene) -> str:
    worst = place_words(max(real(scene.places), key=lambda one: one.corrected.middle))
    if scene.setup.expected_length_m is None:
        return tell(
            "No clear end: no reflection stands out and none sends most of the wave back. The strongest is {place}.",
            place=worst,
        )
    return tell(
        "No clear end: no reflection stands out near the antenna's place, {expected}, and none sends most of the "
        "wave back. The strongest is {place}.",
        expected=metres(scene.setup.expected_length_m),
        place=worst,
    )


def _hidden(scene: Scene) -> str:
    if scene.hidden_db is None:
        return ""
    said = tell(
        "At the antenna's place a return loss better than {loss:.0f} dB would not stand out of this sweep's noise.",
        loss=scene.hidden_db,
    )
    return f" {said}"


def _without_length(scene: Scene) -> str:
    at = scene.end.at
    if at is not None:
        return tell(
            "The lead ends {place}. {state} State the expected length, and it is said whether that is the antenna.",
            place=place_words(at),
            state=translated(_BROKEN[at.kind]),
        )
    found = real(scene.places)
    worst = max(found, key=lambda one: one.corrected.middle)
    return tell(
        "No place sends most of the wave back; the strongest reflection is {place}. State the expected length, and "
        "it is said whether that is the antenna.",
        place=place_words(worst),
    )


def _judged_text(scene: Scene, at: Place, expected: str) -> str:
    where, end = place_words(at), scene.end
    if end.state == "before":
        text = tell(
            "The lead ends {place}, before the antenna at {expected} ({sure} sure).",
            place=where,
            expected=expected,
            sure=chance(end.p_before),
        )
        return f"{text} {translated(_BROKEN[at.kind])}{_other_velocity(scene, at)}"
    if end.state == "beyond":
        text = tell(
            "The lead ends {place}, beyond the antenna's place at {expected} ({sure} sure): the lead is longer than "
            "stated, another cable than stated, or goes somewhere else.",
            place=where,
            expected=expected,
            sure=chance(end.p_beyond),
        )
        return f"{text}{_other_velocity(scene, at)}"
    text = tell(
        "The lead reaches the antenna: it ends {place}, expected at {expected} ({sure} sure).",
        place=where,
        expected=expected,
        sure=chance(end.p_at),
    )
    if at.corrected.low >= WHOLE:
        parts = (_LIKE.get(at.kind, _BACK), _NO_FAULT, _ALSO[at.kind])
        return " ".join([text, *map(translated, parts)])
    if at.corrected.high >= WHOLE:
        share = tell(
            "From {low:.0f} to {high:.0f} % of the wave comes back there.",
            low=100 * at.corrected.low,
            high=100 * at.corrected.high,
        )
        return f"{text} {share} {translated(_NO_FAULT)}"
    return text


def _other_velocity(scene: Scene, at: Place) -> str:
    """The velocity factor that would put the end at the antenna, where some cable has it."""
    setup = scene.setup
    if setup.velocity is None or setup.expected_length_m is None:
        return ""
    needed = (setup.expected_length_m + setup.reference_plane_m) / (at.distance.usual_m + setup.reference_plane_m)
    velocity = setup.velocity * needed
    if not ANY_VELOCITY[0] <= velocity <= ANY_VELOCITY[1]:
        return ""
    said = tell(
        "A velocity factor of {velocity:.2f} would put it at the antenna: be sure of the cable.", velocity=velocity
    )
    return f" {said}"


def real(places: Sequence[Place]) -> list[Place]:
    """The reflections that are no echo and no skirt."""
    return [one for one in places if one.peak.role == "reflection"]
