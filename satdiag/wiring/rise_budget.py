"""What a feed of given figures should show without a job: the noise rise, G/T, and what extra loss does to both."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from satdiag.findings import Interval, RiseInput
from satdiag.language import tell, translated
from satdiag.wiring.cascade import g_over_t_db_k, loss_cost_db, noise_figure_db, noise_rise_db
from satdiag.wiring.expected_rise import GIVEN, JUDGED, Range, expected_rise, interval_90

ANTENNA_DBI: Range = (0.0, 6.0)
"""Gain of a small circularly polarised antenna on a metal roof, dBi (judgement, no source)."""

USUAL_EXTRA_DB = (3.0, 6.0, 10.0, 20.0)
"""Extra losses that are shown where none is asked for."""


@dataclass(frozen=True)
class LossEffect:
    """What so much more loss behind the amplifier does: the rise that remains, and what it costs of G/T."""

    extra_loss_db: float
    rise_db: float
    rise_db_90: Interval
    g_over_t_cost_db: float
    g_over_t_cost_db_90: Interval


@dataclass(frozen=True)
class RiseBudget:
    """The figures of a healthy feed over the ranges of its inputs: medians with 90 % intervals.

    `added_k` is everything behind the antenna at the amplifier's input, as a noise figure `noise_figure_db`.
    """

    inputs: tuple[RiseInput, ...]
    rise_db: float
    rise_db_90: Interval
    added_k: float
    added_k_90: Interval
    noise_figure_db: float
    noise_figure_db_90: Interval
    system_k: float
    system_k_90: Interval
    g_over_t_db_k: float
    g_over_t_db_k_90: Interval
    losses: tuple[LossEffect, ...]


def rise_budget(
    known: Mapping[str, Range],
    place: str | None,
    antenna_dbi: Range | None,
    extra_db: Sequence[float] = USUAL_EXTRA_DB,
) -> RiseBudget:
    """The budget; `known` by the keys of [feed], what is not in it is taken as usual and marked so."""
    expected = expected_rise(known, place)
    chain = expected.chain
    low, high = antenna_dbi or ANTENNA_DBI
    antenna = low + (high - low) * expected.spare
    standing = translated(GIVEN if antenna_dbi else JUDGED)
    gain = RiseInput("antenna_gain_dbi", tell("gain of the antenna itself"), low, high, "dBi", standing)
    losses = tuple(
        LossEffect(extra, *_ranged(noise_rise_db(chain.with_loss(extra))), *_ranged(loss_cost_db(chain, extra)))
        for extra in extra_db
    )
    return RiseBudget(
        (*expected.inputs, gain),
        *_ranged(expected.rise_db),
        *_ranged(chain.added_k),
        *_ranged(noise_figure_db(chain.added_k)),
        *_ranged(chain.system_k),
        *_ranged(g_over_t_db_k(antenna, chain.system_k)),
        losses,
    )


def _ranged(values: NDArray[np.float64]) -> tuple[float, Interval]:
    return float(np.median(values)), interval_90(values)
