"""The diagnosis in words: how many of a hundred, how strong each reading is, and what would change the conclusion."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from satdiag.diagnosis.asked import Answered, Asked
from satdiag.diagnosis.inference import LIKELIER_THAN_NOT, NAMES, Posterior, leaders, posterior
from satdiag.diagnosis.model import Model
from satdiag.diagnosis.plan import Bench
from satdiag.diagnosis.space import Flags, Floats, Space
from satdiag.diagnosis.titles import TITLES
from satdiag.diagnosis.wording import AS_GOOD_AS_SURE
from satdiag.findings import Explanation
from satdiag.language import mark, parted, tell, translated
from satdiag.vocabulary import CLASS_OF, FAULTS

SCALE = ((3.0, mark("slight")), (7.0, mark("moderate")), (13.0, mark("strong")), (20.0, mark("very strong")))
"""Words for weights of evidence by their size in decibans (judgement; a deciban is a tenth of the log10 odds)."""

DECISIVE = mark("decisive")

SCALE_TEXT = mark(
    "Strengths: below 3 decibans slight, 3 to 7 moderate, 7 to 13 strong, 13 to 20 very strong, above 20 decisive. "
    "Ten decibans make the odds ten times as high."
)
LEAST_OF_HUNDRED = 3
LEAST_OF_REST = 5
LEAST_OVERLAP = 0.01
MOST_NAMED = 3
MOST_MINDS = 3
LIKELY_ENOUGH = 0.01
MOST_ASKED = 6
"""So many answers are asked of the analysis: each draws the evidence anew."""

NOT_PAID = ("not-activated", "account-lapsed", "partial-package")
NOT_HERE = ("sky", "service")
KIND_TEXT = {
    "works": mark("It works."),
    "not-yet": mark(
        "Not working yet: nothing is broken and nothing is missing from the account; the channels need time."
    ),
    "not-paid": mark(
        "Not paid for: the equipment does its work; what is missing is in the account with the provider."
    ),
    "not-sent": mark(
        "Paid for, and not delivered: the equipment does its work; the provider has to send or to correct something."
    ),
    "not-here": mark(
        "Not at this place: the equipment may well be sound; where the vehicle stands the signal is missing."
    ),
    "broken": mark("Broken, or wrongly fitted or set: something in the vehicle has to be mended."),
    "unknown": mark("Whether it is broken, not paid for or only not working yet cannot be told from this log."),
}
"""The kinds of 'it does not play', in so many words."""

KIND_TEXT_UNPROVED = {
    "works": mark("It works, as far as the log tells."),
    "not-yet": mark(
        "Most likely not working yet: as far as the log tells, nothing is broken and nothing is missing from the "
        "account; the channels need time."
    ),
    "not-paid": mark(
        "Most likely not paid for: as far as the log tells, the equipment does its work, and what is missing is in "
        "the account with the provider."
    ),
    "not-sent": mark(
        "Most likely paid for, and not delivered: as far as the log tells, the equipment does its work, and the "
        "provider has to send or to correct something."
    ),
    "not-here": mark(
        "Most likely not at this place: the equipment may well be sound; as far as the log tells, the signal is "
        "missing where the vehicle stands."
    ),
    "broken": mark(
        "Most likely broken, or wrongly fitted or set: as far as the log tells, something in the vehicle has to be "
        "mended."
    ),
    "unknown": KIND_TEXT["unknown"],
}
"""The same, where the kind is likelier than any other and not as good as sure."""

KIND_TEXT_AND_BROKEN = {
    "not-paid": mark(
        "Most likely two things at once: something is missing in the account with the provider, and something in the "
        "vehicle has to be mended."
    ),
    "not-sent": mark(
        "Most likely two things at once: the provider has to send or to correct something, and something in the "
        "vehicle has to be mended."
    ),
    "not-here": mark(
        "Most likely two things at once: where the vehicle stands the signal is missing, and something in the "
        "vehicle has to be mended."
    ),
}
"""The same, where a fault in the vehicle is likely besides: of the equipment nothing good is said then."""


def strength(weight_db: float) -> str:
    """A weight of evidence in a word."""
    size = abs(weight_db)
    return translated(next((word for limit, word in SCALE if size < limit), DECISIVE))


def kind_of(state: str, fault: str | None) -> str:
    """Works, not working yet, not paid for, not delivered, not at this place, broken, or unknown."""
    if state == "works":
        return "works"
    if state == "filling":
        return "not-yet"
    if state == "cannot-tell" or fault is None:
        return "unknown"
    if fault in NOT_PAID:
        return "not-paid"
    class_ = CLASS_OF.get(fault)
    if class_ == "subscription":
        return "not-sent"
    return "not-here" if class_ in NOT_HERE else "broken"


def kind_if_likely(kind: str, belief: Posterior) -> str:
    """A kind that is likelier than not, else 'unknown': a class may lead whose faults are of several kinds."""
    return kind if _chance_of(kind, belief) >= LIKELIER_THAN_NOT else "unknown"


def kind_text(kind: str, belief: Posterior) -> str:
    """A kind in so many words: no guess is said as a fact, and no equipment called sound that is likely broken."""
    if kind in KIND_TEXT_AND_BROKEN and _chance_of_both(kind, "broken", belief) >= LIKELIER_THAN_NOT:
        return translated(KIND_TEXT_AND_BROKEN[kind])
    proved = _chance_of(kind, belief) >= AS_GOOD_AS_SURE
    return translated((KIND_TEXT if proved else KIND_TEXT_UNPROVED)[kind])


def _chance_of(kind: str, belief: Posterior) -> float:
    if kind == "unknown":
        return 1.0
    if kind in ("works", "not-yet"):
        return belief.probability_of("none")
    return float(belief.p[_holds(kind, belief)].sum())


def _chance_of_both(one: str, other: str, belief: Posterior) -> float:
    return float(belief.p[_holds(one, belief) & _holds(other, belief)].sum())


def _holds(kind: str, belief: Posterior) -> Flags:
    """The hypotheses with a fault of a kind."""
    of_kind = [kind_of("fault", fault) == kind for fault in FAULTS]
    return np.asarray(belief.space.holds[:, of_kind].any(axis=1))


def of_hundred(belief: Posterior, prior: Floats | None = None) -> str:
    """'Out of 100 vehicles with these same readings, about 47 would have ..., 30 ..., and 20 nothing wrong.'

    `prior` (hypotheses,): logarithms of what was believed before; faults that nothing seen made likelier are then not
    named one by one. Those that have none of what is named are counted at the end.
    """
    chances = _chances(belief.space, belief.p)
    before = dict.fromkeys(chances, 0.0) if prior is None else _chances(belief.space, np.exp(prior))
    ends = ("none", "other")
    ranked = sorted(chances, key=lambda name: -chances[name])
    worth = [name for name in ranked if name in ends or name == ranked[0] or chances[name] > before[name]]
    shown = [name for name in worth if round(100 * chances[name]) >= LEAST_OF_HUNDRED][:MOST_NAMED]
    if "other" not in shown and round(100 * chances["other"]) >= LEAST_OF_HUNDRED:
        shown.append("other")
    parts = [_have(name, min(round(100 * chances[name]), 99)) for name in shown]  # never all of them
    named = np.any([belief.space.mask_of(name) for name in shown], axis=0)
    rest = float(belief.p[~named].sum())
    if round(100 * rest) >= LEAST_OF_REST:
        parts.append(tell("about {number} would have another cause", number=round(100 * rest)))
    overlap = sum(chances[name] for name in shown) + rest - 1
    several = f" {tell('Some would have more than one.')}" if overlap > LEAST_OVERLAP else ""
    return tell("Out of 100 vehicles with these same readings, {parts}.", parts=_listed(parts)) + several


def _chances(space: Space, p: Floats) -> dict[str, float]:
    """The chance of each fault, of 'none' and of 'other'."""
    return {name: float(p[space.mask_of(name)].sum()) for name in NAMES}


def _have(name: str, number: int) -> str:
    if name == "none":
        return tell("about {number} would have nothing wrong", number=number)
    return tell("about {number} would have this: {title}", number=number, title=translated(TITLES[name]))


def _listed(parts: Sequence[str]) -> str:
    if len(parts) == 1:
        return parts[0]
    return tell("{first}; and {last}", first=parted(parts[:-1]), last=parts[-1])


@dataclass(frozen=True, eq=False)
class Case:
    """What is explained: the posterior, what it was made of, what can be tested, and the analysis to be asked."""

    model: Model
    whole: Posterior
    prior: Floats
    terms: Mapping[str, Floats]
    say: Mapping[str, str]
    bench: Bench
    asked: Asked | None = None


def explanation(case: Case, state: str, fault: str | None) -> Explanation:
    """The words for a case whose verdict is known."""
    kind = kind_if_likely(kind_of(state, fault), case.whole)
    return Explanation(
        kind=kind,  # type: ignore[arg-type]
        kind_text=kind_text(kind, case.whole),
        of_hundred=of_hundred(case.whole, case.prior),
        scale=translated(SCALE_TEXT),
        change_mind=tuple(change_mind(case)),
    )


def change_mind(case: Case) -> list[str]:
    """What would make another fault lead: readings that carry it all alone, and answers that would turn it."""
    lead = case.whole.top()[1]
    said = [*_carried_by(case, lead), *_turned_by(case, lead)]
    if not said:
        said.append(tell("No single reading, left out or added, would make another cause likelier than not."))
    return said[: 2 * MOST_MINDS]


def _carried_by(case: Case, lead: str) -> list[str]:
    """Readings without which another fault would lead: worth looking at twice."""
    found = []
    for name in case.terms:
        rest = {other: term for other, term in case.terms.items() if other != name}
        belief = posterior(case.model, case.whole.space, case.prior, rest)
        other = belief.top()[1]
        if other != lead:
            found.append(_without(translated(case.say[name]), other, belief.probability_of(other)))
    return found[:MOST_MINDS]


def _without(reading: str, fault: str, chance: float) -> str:
    if chance < LIKELIER_THAN_NOT:
        return tell("Were this reading wrong: {reading}; then the cause could not be told any more.", reading=reading)
    title = translated(TITLES[fault])
    return tell("Were this reading wrong: {reading}; then most likely {title}.", reading=reading, title=title)


def _turned_by(case: Case, lead: str) -> list[str]:
    """Answers of tests not done yet that would make another fault likelier than not, the likeliest first.

    Found by what they add to the evidence of now; where an answer is a row of the log, what it would come to is
    asked of the analysis with that row.
    """
    found, asked = [], 0
    for turn in sorted(_turns(case, lead), key=lambda one: -one.chance):
        after = None if case.asked is None or asked >= MOST_ASKED else case.asked.told([turn.answer])
        asked += after is not None
        fault = turn.fault if after is None else after.top()[1]
        if fault == lead:
            continue
        if after is None or after.probability_of(fault) >= LIKELIER_THAN_NOT:
            found.append(_turned(turn.say, fault))
        elif case.whole.probability_of(lead) >= LIKELIER_THAN_NOT:
            found.append(_turned_to_nothing(turn.say))
        if len(found) == MOST_MINDS:
            break
    return found


class _Turn(NamedTuple):
    """An answer: how likely it is, its item and state, its words, and the fault that it would make the likeliest."""

    chance: float
    answer: Answered
    say: str
    fault: str


def _turns(case: Case, lead: str) -> Iterator[_Turn]:
    """The answers that would turn it, were all else to stay as it is."""
    space = case.whole.space
    for test in case.bench.tests():
        option = case.bench.option(test, case.whole)
        joint = case.whole.p[:, None] * option.table
        chance = joint.sum(axis=0)
        after = (joint / np.maximum(chance, 1e-300)).T
        for k, fault in enumerate(NAMES[place] for place in leaders(space, after)[1]):
            likely = float(after[k, space.mask_of(fault)].sum()) >= LIKELIER_THAN_NOT
            if fault != lead and likely and chance[k] >= LIKELY_ENOUGH:
                yield _Turn(float(chance[k]), (test.item, option.states[k]), option.say[k], fault)


def _turned(answer: str, fault: str) -> str:
    title = translated(TITLES[fault])
    said = translated(answer)
    if said == title:
        return tell("Should a test show this: {answer}; then that is most likely the cause.", answer=said)
    return tell("Should a test show this: {answer}; then most likely {title}.", answer=said, title=title)


def _turned_to_nothing(answer: str) -> str:
    return tell(
        "Should a test show this: {answer}; then the cause could not be told any more.", answer=translated(answer)
    )
