"""Two jobs compared: is what was wrong repaired? The room's second door."""

from __future__ import annotations

import math

import satdiag
from satdiag.acceptance.compare_document import Became, Comparison, FaultChange, Item, ItemState, Side
from satdiag.acceptance.compare_measures import Measure, Seen, lonely_paths, radio_measures
from satdiag.acceptance.compare_verdict import Judged, whole
from satdiag.acceptance.compare_warnings import warnings_of
from satdiag.acceptance.compare_wiring import wiring_measures
from satdiag.acceptance.compare_words import effect_text, item_text, side_text, times_needed, title_of
from satdiag.acceptance.effects import Effect, holm
from satdiag.diagnosis.earlier import GONE_BELOW, PRESENT_AT
from satdiag.diagnosis.titles import TITLES
from satdiag.findings import Findings, instant_text
from satdiag.folder import job_hash
from satdiag.job import Job
from satdiag.language import listed, tell, translated
from satdiag.paths import the_path

ALPHA = 0.05
"""The chance, over all comparisons of two jobs, of seeing any change where there is none (Holm)."""

SHOWN_FROM = 0.10  # a fault is listed if it was that probable in either job
RARE_PER_H = 1.0  # two rates below this do not differ by anything that matters (judgement, no source)


def compare(
    before: Job,
    before_findings: Findings,
    after: Job,
    after_findings: Findings,
    visits: tuple[int, int] | None = None,
) -> Comparison:
    """What changed from one job to the other, item by item and in whole. The findings must be those of the jobs.

    `visits`: which visits the two jobs are, where `visit_of` cut them out of one.
    """
    a, b = Seen(before, before_findings), Seen(after, after_findings)
    measures = [*radio_measures(a, b), *wiring_measures(a, b)]
    items = _items(measures)
    faults = _faults(before_findings, after_findings)
    warnings, other_receiver = warnings_of(a, b)
    judged = whole(items, faults, other_receiver)
    return Comparison(
        satdiag=satdiag.__version__,
        state=judged.state,
        text=judged.text,
        to_log=_to_log(judged, items),
        before=_side(before, before_findings, visits[0] if visits else None),
        after=_side(after, after_findings, visits[1] if visits else None),
        items=tuple(items),
        faults=faults,
        warnings=warnings,
        could_not=_could_not(a, b),
    )


def _side(job: Job, findings: Findings, visit: int | None) -> Side:
    """A job, or a visit: what of the account and the place still held from before is no part of its time."""
    from_ = findings.from_ if visit is None else instant_text(job.instant(job.visits[-1].start_s))
    return Side(job.sheet.id, job_hash(job), from_, findings.to, len(job.rows), findings.verdict.text, visit)


# --- items -------------------------------------------------------------------------------------------------------


def _items(measures: list[Measure]) -> list[Item]:
    tested = [number for number, one in enumerate(measures) if one.effect is not None]
    p_values = [effect.p_value for one in measures if (effect := one.effect) is not None]
    adjusted = dict(zip(tested, holm(p_values), strict=True))
    return [_item(one, adjusted.get(number)) for number, one in enumerate(measures)]


def _item(measure: Measure, p_holm: float | None) -> Item:
    state = state_of(measure, p_holm)
    effect = measure.effect
    return Item(
        name=measure.name,
        path=measure.path,
        title=title_of(measure),
        kind=measure.kind,
        unit=measure.unit,
        before=measure.sides[0],
        after=measure.sides[1],
        before_text=side_text(measure, 0),
        after_text=side_text(measure, 1),
        effect=_finite(effect.value) if effect else None,
        effect_90=(_finite(effect.low), _finite(effect.high)) if effect else None,
        effect_text=effect_text(measure),
        margin=measure.margin,
        n_before=measure.numbers[0],
        n_after=measure.numbers[1],
        n_effective=measure.n_effective,
        p_value=effect.p_value if effect else None,
        p_holm=p_holm,
        state=state,
        text=item_text(measure, state),
        times_needed=times_needed(measure, effect) if effect is not None and state == "cannot tell" else None,
    )


def _finite(number: float) -> float | None:
    return number if math.isfinite(number) else None


def state_of(measure: Measure, p_holm: float | None) -> ItemState:
    """better, worse or changed if no change is excluded; no change seen if all that matters is; else cannot tell."""
    if measure.kind == "state":
        if measure.words[0] == measure.words[1]:
            return "no change seen"
        return "changed" if measure.sides[0] == measure.sides[1] else _way(measure.sides[1] or 0.0, measure.up, 0.5)
    effect = measure.effect
    if effect is None or p_holm is None:
        return "cannot tell"
    if _is_small(measure, effect):
        return "no change seen"
    if p_holm >= ALPHA:
        return "cannot tell"
    return _way(effect.value, measure.up, {"rank": 0.5, "ratio": 1.0}.get(measure.kind, 0.0))


def _way(value: float, up: int, none: float) -> ItemState:
    if up == 0:
        return "changed"
    return "better" if (value > none) == (up > 0) else "worse"


def _is_small(measure: Measure, effect: Effect) -> bool:
    """True if the interval holds no change that matters."""
    margin = measure.margin
    if margin is None:
        return False
    if measure.kind == "ratio":
        rare = measure.at_most is not None and max(measure.at_most) < RARE_PER_H
        return rare or (effect.low > 1.0 / margin and effect.high < margin)
    none = 0.5 if measure.kind == "rank" else 0.0
    return effect.low > none - margin and effect.high < none + margin


# --- faults ------------------------------------------------------------------------------------------------------


def _faults(before: Findings, after: Findings) -> tuple[FaultChange, ...]:
    found = []
    for fault, a in before.diagnosis.faults.items():
        b = after.diagnosis.faults.get(fault, 0.0)
        if max(a, b) >= SHOWN_FROM:
            found.append(FaultChange(fault, translated(TITLES[fault]), a, b, _became(a, b)))
    return tuple(sorted(found, key=lambda one: -max(one.before, one.after)))


def _became(a: float, b: float) -> Became:
    if a >= PRESENT_AT:
        return "still there" if b >= PRESENT_AT else "gone" if b < GONE_BELOW else "less"
    if b >= PRESENT_AT:
        return "new" if a < GONE_BELOW else "more"
    return "never probable"


def _to_log(judged: Judged, items: list[Item]) -> tuple[str, ...]:
    """What would tell, where nothing can be told in whole."""
    if judged.state not in ("cannot tell", "better, not repaired"):
        return ()
    if judged.to_log:
        return judged.to_log
    open_ones = [one for one in items if one.state == "cannot tell" and one.name in judged.wanted]
    longer = [one for one in open_ones if one.times_needed is not None]
    others = [one.title for one in open_ones if one.times_needed is None]
    said = []
    if longer:
        times, titles = max(one.times_needed or 0 for one in longer), listed([one.title for one in longer])
        said.append(tell("Log about {n} times as much in either job of: {titles}.", n=times, titles=titles))
    if others:
        said.append(tell("Log more in both jobs, in the same unit, of: {titles}.", titles=listed(others)))
    return tuple(said) or (tell("Log levels, locks and channel checks in both jobs, at the same place."),)


def _could_not(a: Seen, b: Seen) -> tuple[str, ...]:
    return tuple(
        tell("{path}: only one of the jobs has readings of it.", path=the_path(path)) for path in lonely_paths(a, b)
    )
