"""The noise-rise test: how far the noise rises when the antenna is powered, beside how far it should."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from satdiag.findings import BiasFindings, Interval, NoiseBlock, NoiseRiseFindings, instant_text
from satdiag.job import Job
from satdiag.language import mark, tell, translated
from satdiag.wiring.cascade import extra_loss_db, loss_cost_db
from satdiag.wiring.expected_rise import Expected, expected_rise
from satdiag.wiring.learnt import part_swaps
from satdiag.wiring.meter import student_95
from satdiag.wiring.noise_blocks import Block, noise_blocks

Floats = NDArray[np.float64]
Meaning = Literal["none", "low", "as expected", "high", "cannot tell"]
OpenInterval = tuple[float, float | None]

# Judgement, no source. The scatter of one block of a readout (standard deviation), worth as much as two blocks to
# spare; with so many to spare the blocks speak for themselves.
SCATTER_DB = 0.5
SCATTER_WORTH = 2
ENOUGH_TO_SPARE = 3

NOTHING_DB, MAY_BE_NOTHING_DB = 1.5, 3.0
"""A rise below the first with 95 %, or below the second where it may be nought, is none (judgement, no source)."""
TOO_WIDE_DB = 3.0
"""A rise not known to so many dB says nothing: within 3 dB counts as the same (common practice, no source)."""


class Fit(NamedTuple):
    """The rise with its standard error, on how many degrees of freedom, and what these rest on."""

    rise_db: float
    error_db: float
    freedom: int
    source: Literal["blocks", "stated scatter"]
    drift_removed: bool

    @property
    def interval(self) -> Interval:
        """90 % interval by Student's distribution."""
        half = student_95(self.freedom) * self.error_db
        return self.rise_db - half, self.rise_db + half


def fit_rise(blocks: Sequence[Block]) -> Fit:
    """The rise over tests with both on and off, by least squares; each test has a level of its own.

    A test with three blocks or more has a straight drift of its own as well, which is so taken out. A block counts
    once, however many readings it has. The scatter is the blocks' own where three or more are to spare, else they
    are pooled with a stated one; rounding is in it.
    """
    tests = sorted({block.test for block in blocks})
    counts = {test: sum(block.test == test for block in blocks) for test in tests}
    drifting = [test for test in tests if counts[test] >= 3]
    times = {test: float(np.mean([block.t_s for block in blocks if block.test == test])) for test in tests}
    columns = [[float(block.on) for block in blocks]]
    columns += [[float(block.test == test) for block in blocks] for test in tests]
    columns += [[(block.t_s - times[test]) * (block.test == test) / 60.0 for block in blocks] for test in drifting]
    design, levels = np.array(columns).T, np.array([block.noise_db for block in blocks])
    solved, _, rank, _ = np.linalg.lstsq(design, levels, rcond=None)
    spare = len(blocks) - int(rank)
    squares = float(((levels - design @ solved) ** 2).sum())
    rounding = max(block.step_db for block in blocks) ** 2 / 12.0
    if spare >= ENOUGH_TO_SPARE:
        freedom, variance, source = spare, squares / spare + rounding, "blocks"
    else:
        freedom, source = spare + SCATTER_WORTH, "stated scatter"
        variance = (squares + SCATTER_WORTH * SCATTER_DB**2) / freedom + rounding
    share = float(np.linalg.pinv(design.T @ design)[0, 0])
    return Fit(
        float(solved[0]),
        math.sqrt(variance * share),
        freedom,
        "blocks" if source == "blocks" else "stated scatter",
        bool(drifting),
    )


def noise_rise_findings(
    job: Job, bias: BiasFindings | None = None
) -> tuple[NoiseRiseFindings | None, tuple[str, ...]]:
    """The noise-rise tests with the parts that are in now, and what could not be told. None where none was made.

    `bias`: what the feed itself was found to do, for the sentence on a rise that is not there.
    """
    found = noise_blocks(job)
    if not found.blocks:
        return None, found.refused
    blocks, said = _latest_tests(job, found.blocks)
    place = _place(job, blocks[-1].t_s)
    fit = fit_rise(blocks)
    expected = expected_rise(job.sheet.feed, place)
    meaning = meaning_of(fit, expected)
    extra, cost = _extra(fit, expected) if meaning in ("low", "none") else (None, None)
    said_of = _sentences(fit, expected, meaning, extra, cost, fed_state(bias))
    return NoiseRiseFindings(
        fit.rise_db,
        fit.interval,
        fit.source,
        fit.drift_removed,
        len({block.test for block in blocks}),
        sum(one.test == other.test for one, other in pairwise(blocks)),
        place,
        expected.middle_db,
        expected.interval,
        expected.inputs,
        meaning,
        " ".join([*said_of, *_cautions(job, blocks, fit, place)]),
        extra.middle if extra else None,
        extra.interval if extra else None,
        cost.middle if cost else None,
        cost.interval if cost else None,
        tuple(_as_found(job, block, blocks) for block in blocks),
    ), (*found.refused, *said)


def _as_found(job: Job, block: Block, blocks: Sequence[Block]) -> NoiseBlock:
    at = instant_text(job.instant(block.t_s)) or ""
    off_db = float(np.mean([one.noise_db for one in blocks if one.test == block.test and not one.on]))
    return NoiseBlock(block.test, at, "on" if block.on else "off", block.noise_db, block.noise_db - off_db, block.n)


# --- which tests -------------------------------------------------------------------------------------------------


def _latest_tests(job: Job, blocks: Sequence[Block]) -> tuple[list[Block], list[str]]:
    """The tests since the last swap of a part, at the kind of place of the last of them; blocks in order of time."""
    said = []
    swaps = part_swaps(job)["t_s"].to_numpy(dtype=float)
    since_s = float(swaps[-1]) if len(swaps) else -math.inf
    kept = [block for block in blocks if block.t_s >= since_s]
    if not kept:
        said.append(
            tell("the noise-rise test was not repeated after the last swap of a part: it speaks of the one before")
        )
        kept = list(blocks)
    last = max(kept, key=lambda block: block.t_s)
    place = _place(job, last.t_s)
    same = [block for block in kept if _place(job, block.t_s) == place]
    if len(same) < len(kept):
        said.append(tell("noise-rise tests at another kind of place were left out: walls and trees change the rise"))
    numbers = {test: number for number, test in enumerate(sorted({block.test for block in same}), 1)}
    renumbered = [block._replace(test=numbers[block.test]) for block in same]
    return sorted(renumbered, key=lambda block: (block.test, block.t_s)), said


def _place(job: Job, t_s: float) -> str | None:
    """What a person called the place then, within the same visit."""
    visit = next(visit for visit in job.visits if visit.start_s <= t_s <= visit.end_s)
    rows = job.select("place", "vehicle")
    rows = rows[((rows["t_s"] <= t_s) & (rows["t_s"] >= visit.start_s)).to_numpy()]
    return str(rows["value"].iloc[-1]) if len(rows) else None


# --- what it means -----------------------------------------------------------------------------------------------


def meaning_of(fit: Fit, expected: Expected) -> Meaning:
    """The measured rise beside the expected one, both with their ranges; of healthy feeds 1 in 20 is called odd."""
    low, high = fit.interval
    if high < 0.0:
        return "cannot tell"
    apart = _measured(fit, expected) - expected.rise_db
    below, above = np.quantile(apart, [0.025, 0.975])
    if above < 0.0:
        return "none" if high < (MAY_BE_NOTHING_DB if low <= 0.0 else NOTHING_DB) else "low"
    if below > 0.0:
        return "high"
    return "as expected" if (high - low) / 2.0 <= TOO_WIDE_DB else "cannot tell"


def _measured(fit: Fit, expected: Expected) -> Floats:
    """The measured rise at the even points: Student's distribution around the fit."""
    from scipy.special import stdtrit

    return np.asarray(fit.rise_db + fit.error_db * stdtrit(float(fit.freedom), expected.spare))


class Ranged(NamedTuple):
    """A middle, None where that is without bound, and a 90 % interval whose upper end may be open."""

    middle: float | None
    interval: OpenInterval


def _extra(fit: Fit, expected: Expected) -> tuple[Ranged, Ranged]:
    """The extra loss behind the amplifier that would explain the rise, and what it costs of G/T."""
    extra = np.maximum(extra_loss_db(expected.chain, _measured(fit, expected)), 0.0)
    cost = np.where(np.isinf(extra), np.inf, loss_cost_db(expected.chain, np.where(np.isinf(extra), 0.0, extra)))
    return _ranged(extra), _ranged(cost)


def _ranged(values: Floats) -> Ranged:
    low, middle, high = (float(end) for end in np.quantile(values, [0.05, 0.5, 0.95], method="inverted_cdf"))
    return Ranged(None if math.isinf(middle) else middle, (low, None if math.isinf(high) else high))


_NONE = mark(
    "That is next to nothing: where the feed's current is normal, the amplifier is dead to radio signals, the lead "
    "is open to them though direct current passes, or the receiver's input is dead."
)
_NONE_THOUGH_FED = mark(
    "That is next to nothing though the amplifier draws its current: the amplifier is dead to radio signals, the "
    "lead is open to them though direct current passes, or the receiver's input is dead."
)
_NOT_FED = {
    "absent": mark(
        "That is next to nothing, as it must be: no feed reaches the amplifier. Mend the feed first, then test again."
    ),
    "open": mark(
        "That is next to nothing, as it must be: no current of the feed reaches the amplifier. Mend the feed first, "
        "then test again."
    ),
    "short": mark(
        "That is next to nothing, as it must be: the feed is shorted, so the amplifier is not powered. Mend the feed "
        "first, then test again."
    ),
}
_FINE = mark("Amplifier and lead are healthy as far as this test can see, whatever the sky.")
_HIGH = mark(
    "That is more than any healthy antenna gives: a strong transmitter near by, or an amplifier that oscillates."
)
_DOWNWARDS = mark(
    "The readout falls when the antenna is powered: perhaps it counts gain, not noise. Turn its sign, log it again."
)
_WIDE = mark("The rise is not known well enough to tell: switch the feed off and on several times more.")


def _sentences(
    fit: Fit, expected: Expected, meaning: Meaning, extra: Ranged | None, cost: Ranged | None, state: str | None
) -> list[str]:
    low, high = fit.interval
    should = expected.interval
    said = [
        tell(
            "Switching the feed on raises the noise by {rise:.1f} dB ({low:.1f} to {high:.1f}); a healthy antenna "
            "should give {least:.1f} to {most:.1f} dB.",
            rise=fit.rise_db,
            low=low,
            high=high,
            least=should[0],
            most=should[1],
        )
    ]
    if meaning == "low" and extra is not None and cost is not None:
        return [*said, *_low(extra, cost)]
    if meaning == "cannot tell":
        return [*said, translated(_DOWNWARDS if high < 0.0 else _WIDE)]
    return [*said, translated({"none": _none(state), "as expected": _FINE, "high": _HIGH}[meaning])]


def fed_state(bias: BiasFindings | None) -> str | None:
    """The state of the feed where all leads agree on it, else None."""
    states = {lead.state for lead in bias.leads} if bias is not None else set()
    return states.pop() if len(states) == 1 else None


def _none(state: str | None) -> str:
    """Why the noise does not rise, as far as the state of the feed tells."""
    if state in _NOT_FED:
        return _NOT_FED[state]
    return _NONE_THOUGH_FED if state in ("normal", "low", "high") else _NONE


def _low(extra: Ranged, cost: Ranged) -> list[str]:
    return [
        tell(
            "That is less than it should be: a further loss of {loss} in lead or connectors would explain it, or an "
            "amplifier with that much less gain.",
            loss=_span(extra),
        ),
        tell(
            "Behind a healthy amplifier such a loss costs {cost} of G/T: a small cost goes unnoticed under an open "
            "sky and shows first under trees.",
            cost=_span(cost),
        ),
    ]


def _span(found: Ranged) -> str:
    low, high = found.interval
    if found.middle is None or high is None:
        return tell("{low:.1f} dB or more", low=low)
    return tell("{middle:.1f} dB ({low:.1f} to {high:.1f})", middle=found.middle, low=low, high=high)


def _cautions(job: Job, blocks: Sequence[Block], fit: Fit, place: str | None) -> list[str]:
    said = []
    if fit.source == "stated scatter":
        said.append(
            tell(
                "With so few switchings the interval rests on a scatter of {scatter:g} dB that the readout is taken "
                "to have (judgement, no source).",
                scatter=SCATTER_DB,
            )
        )
    if not fit.drift_removed:
        said.append(tell("A drift of the readout is not taken out: switch off, on and off again."))
    if place is None:
        said.append(tell("The place was not logged; walls near by would raise the rise."))
    if _repeater_heard(job, blocks):
        said.append(tell("A repeater was received during the test: its power may be part of the rise."))
    return said


def _repeater_heard(job: Job, blocks: Sequence[Block]) -> bool:
    begin, end = min(block.t_s for block in blocks) - 60.0, max(block.t_s for block in blocks) + 60.0
    lock = job.select("lock", "repeater")
    inside = ((lock["t_s"] >= begin) & (lock["t_s"] <= end) & (lock["value"] == "yes")).to_numpy(dtype=bool)
    return bool(inside.any())
