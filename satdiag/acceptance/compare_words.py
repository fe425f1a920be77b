"""The sentences of a comparison."""

from __future__ import annotations

import math

from satdiag.acceptance.compare_document import ItemState
from satdiag.acceptance.compare_measures import Measure
from satdiag.acceptance.effects import Effect
from satdiag.language import mark, tell, tell_many, translated
from satdiag.paths import path_words

STATES = {
    "better": mark("better"),
    "worse": mark("worse"),
    "changed": mark("changed"),
    "no change seen": mark("no change that matters"),
    "cannot tell": mark("cannot tell"),
}
WORDS = {
    "yes": mark("yes"),
    "no": mark("no"),
    "playing": mark("playing"),
    "muted": mark("muted"),
    "broken": mark("broken"),
    "closed": mark("closed"),
    "open": mark("open (ring)"),
    "present": mark("present"),
    "absent": mark("absent"),
    "working": mark("working"),
    "lost": mark("lost"),
    "matches": mark("matches"),
    "differs": mark("differs"),
    "match": mark("agrees"),
    "mismatch": mark("does not agree"),
}
FAULT_STATES = {
    "gone": mark("gone"),
    "less": mark("less probable, not gone"),
    "still there": mark("still probable"),
    "new": mark("new"),
    "more": mark("more probable"),
    "never probable": mark("never probable"),
}
MOST_TIMES = 100


def title_of(measure: Measure) -> str:
    """The title with the path."""
    title = translated(measure.title)
    return tell("{title} ({path})", title=title, path=path_words(measure.path)) if measure.path else title


def side_text(measure: Measure, side: int) -> str:
    """One side as it is written: '11.2 dB', '97 %', '1.5 an hour', 'closed'."""
    if measure.words[side]:
        word = measure.words[side]
        return translated(WORDS[word]).removesuffix(" (ring)") if word in WORDS else word
    value = measure.sides[side]
    if value is None:
        return tell("not known")
    if measure.kind == "share":
        return tell("{share:.0f} %", share=100.0 * value)
    if measure.kind == "ratio":
        return tell("{rate:.1f} an hour", rate=value)
    if measure.lowest is not None:
        low = measure.lowest[side]
        return tell("{value:.2f} {unit}, lowest {low:.2f}", value=value, unit=measure.unit, low=low)
    return tell("{value:.1f} {unit}", value=value, unit=measure.unit)


def effect_text(measure: Measure) -> str:
    """The effect with its 90 % interval, as the tables show it; a dash where there is none."""
    effect = measure.effect
    if effect is None or math.isnan(effect.value):
        return "–"
    if measure.kind == "share":
        return tell(
            "{value:+.0f} points ({low:+.0f} to {high:+.0f})",
            value=100.0 * effect.value,
            low=100.0 * effect.low,
            high=100.0 * effect.high,
        )
    if measure.kind == "rank":
        return tell(
            "higher after in {value:.0f} % of pairs ({low:.0f} to {high:.0f})",
            value=100.0 * effect.value,
            low=100.0 * effect.low,
            high=100.0 * effect.high,
        )
    if measure.kind == "ratio":
        return _ratio_text(effect)
    return _difference_text(effect, measure.unit)


def _ratio_text(effect: Effect) -> str:
    if math.isinf(effect.high):
        return tell("at least {low:.2g} times as often", low=effect.low)
    return tell(
        "{value:.2g} times as often ({low:.2g} to {high:.2g})", value=effect.value, low=effect.low, high=effect.high
    )


def _difference_text(effect: Effect, unit: str) -> str:
    if math.isinf(effect.low) or math.isinf(effect.high):
        return tell("{value:+.1f} {unit} (one end is open)", value=effect.value, unit=unit)
    return tell(
        "{value:+.1f} {unit} ({low:+.1f} to {high:+.1f})",
        value=effect.value,
        unit=unit,
        low=effect.low,
        high=effect.high,
    )


def margin_text(measure: Measure) -> str:
    """The smallest change that would matter, in words."""
    margin = measure.margin or 0.0
    if measure.kind == "share":
        return tell("{margin:.0f} percentage points", margin=100.0 * margin)
    if measure.kind == "rank":
        return tell("a quarter of all pairs of readings")
    if measure.kind == "ratio":
        return tell("a factor of {margin:g}", margin=margin)
    return tell("{margin:.1f} {unit}", margin=margin, unit=measure.unit)


def item_text(measure: Measure, state: ItemState) -> str:
    """Why the state is what it is, and for 'cannot tell' what would tell."""
    if measure.kind == "state":
        return _state_text(measure, state)
    if len({*measure.words}) > 1:
        return tell("The readings are in different units and cannot be set side by side.")
    if measure.effect is None:
        return tell("There are too few readings on one side: log at least four on either.")
    if state == "no change seen":
        return tell("No change that matters: one by {margin} or more is excluded.", margin=margin_text(measure))
    if state == "cannot tell":
        return _cannot_tell(measure, measure.effect)
    return tell("The interval excludes no change, all comparisons of these jobs allowed for.")


def _state_text(measure: Measure, state: ItemState) -> str:
    if state == "cannot tell":
        return tell("One of the two states cannot be judged.")
    return tell("Each as it was read last; a state that is read has no interval.")


def _cannot_tell(measure: Measure, effect: Effect) -> str:
    times = times_needed(measure, effect)
    if measure.kind == "ratio" and not any(measure.numbers) and measure.at_most is not None:
        most = max(measure.at_most)
        return tell("None was seen in either job; up to {most:.1f} an hour are not excluded.", most=most)
    none = {"rank": 0.5, "ratio": 1.0}.get(measure.kind, 0.0)
    alone = not effect.low <= none <= effect.high
    unsure = tell("A change by {margin} is not excluded, and none is shown.", margin=margin_text(measure))
    if alone:
        unsure = tell(
            "By itself this would show a change; with all comparisons of these jobs allowed for it does not."
        )
    if times is None:
        return unsure
    more = tell_many(
        "About {n} time as many readings on either side would tell.",
        "About {n} times as many readings on either side would tell.",
        times,
    )
    return f"{unsure} {more}"


def times_needed(measure: Measure, effect: Effect) -> int | None:
    """How many times as many readings would make the interval as narrow as the margin; None if that is not known."""
    if not measure.margin or math.isinf(effect.low) or math.isinf(effect.high) or math.isnan(effect.value):
        return None
    half, margin = (effect.high - effect.low) / 2.0, measure.margin
    if measure.kind == "ratio":
        if effect.low <= 0.0:
            return None
        half, margin = math.log(effect.high / effect.low) / 2.0, math.log(margin)
    times = math.ceil((half / margin) ** 2)
    return max(times, 2) if times <= MOST_TIMES else None
