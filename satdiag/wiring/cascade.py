"""Noise of antenna, amplifier, lead and receiver in a row: temperatures, G/T, and what switching the amplifier adds.

Textbook formulas (Friis 1944 for the row of stages): a noise figure is a temperature above 290 K; a line of loss L at
temperature Tp adds Tp (L - 1) at its input; a stage counts divided by the gain ahead of it. All gains, losses and
noise figures in dB, temperatures in K; arrays broadcast.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

REFERENCE_K = 290.0
"""The temperature that noise figures are defined at, and that a lead in a vehicle is taken to have."""

BEYOND_DB = 60.0
"""More extra loss than this is no loss to be told from nothing arriving at all (judgement, no source)."""


def ratio(decibels: ArrayLike) -> Floats:
    """10^(dB/10)."""
    return np.asarray(10.0 ** (np.asarray(decibels, dtype=float) / 10.0))


def decibels(power_ratio: ArrayLike) -> Floats:
    """10 log10 of a ratio of powers; -inf for 0."""
    with np.errstate(divide="ignore"):
        return np.asarray(10.0 * np.log10(np.asarray(power_ratio, dtype=float)))


def noise_temperature_k(noise_figure_db: ArrayLike) -> Floats:
    """290 (10^(NF/10) - 1), K: the definition of a noise figure."""
    return np.asarray(REFERENCE_K * (ratio(noise_figure_db) - 1.0))


def noise_figure_db(temperature_k: ArrayLike) -> Floats:
    """10 log10(1 + T/290), dB: the definition turned round."""
    return decibels(1.0 + np.asarray(temperature_k, dtype=float) / REFERENCE_K)


class Stage(NamedTuple):
    """One stage: gain in dB (negative for a loss) and noise temperature at its input in K."""

    gain_db: ArrayLike
    temperature_k: ArrayLike


def amplifier(gain_db: ArrayLike, figure_db: ArrayLike) -> Stage:
    """An amplifier, or a receiver, by its gain and noise figure."""
    return Stage(gain_db, noise_temperature_k(figure_db))


def line(loss_db: ArrayLike, physical_k: ArrayLike = REFERENCE_K) -> Stage:
    """A lossy line at a temperature: gain 1/L, noise Tp (L - 1) at its input."""
    loss = np.asarray(loss_db, dtype=float)
    return Stage(-loss, np.asarray(physical_k) * (ratio(loss) - 1.0))


def cascade_k(*stages: Stage) -> Floats:
    """Noise temperature of stages in a row at the first one's input: T1 + T2/G1 + T3/(G1 G2) + ..., K (Friis)."""
    total: Floats = np.asarray(0.0)
    gain: Floats = np.asarray(1.0)
    for stage in stages:
        total = total + np.asarray(stage.temperature_k) / gain
        gain = gain * ratio(stage.gain_db)
    return total


def g_over_t_db_k(antenna_gain_dbi: ArrayLike, system_k: ArrayLike) -> Floats:
    """G - 10 log10(Tsys), dB/K."""
    return np.asarray(np.asarray(antenna_gain_dbi, dtype=float) - decibels(system_k))


@dataclass(frozen=True)
class Chain:
    """Antenna, amplifier, lead and receiver. Each field a number or an array of one shape.

    `load_k` is what the receiver's end of the lead sees while the amplifier has no supply: taken as a matched load
    at 290 K, which an amplifier without supply is only nearly.
    """

    gain_db: ArrayLike
    noise_figure_db: ArrayLike
    lead_loss_db: ArrayLike
    receiver_noise_db: ArrayLike
    antenna_k: ArrayLike
    lead_k: float = REFERENCE_K
    load_k: float = REFERENCE_K

    @property
    def added_k(self) -> Floats:
        """Noise temperature of everything behind the antenna, at the amplifier's input."""
        return cascade_k(
            amplifier(self.gain_db, self.noise_figure_db),
            line(self.lead_loss_db, self.lead_k),
            amplifier(0.0, self.receiver_noise_db),
        )

    @property
    def system_k(self) -> Floats:
        """Tsys: the antenna's noise and what is added behind it."""
        return np.asarray(np.asarray(self.antenna_k, dtype=float) + self.added_k)

    def with_loss(self, extra_db: ArrayLike) -> Chain:
        """The chain with that much more loss behind the amplifier."""
        return replace(self, lead_loss_db=np.asarray(self.lead_loss_db) + np.asarray(extra_db))


def noise_rise_db(chain: Chain) -> Floats:
    """How far the receiver's noise rises when the amplifier is switched on, dB.

    on = (Tant + Tamp) G/L + Tp (1 - 1/L) + Trx; off = Tload + Trx; rise = 10 log10(on/off). Derived from the row of
    stages above, taken at the receiver's input.
    """
    passed = 1.0 / ratio(chain.lead_loss_db)
    receiver = noise_temperature_k(chain.receiver_noise_db)
    on = _amplified_k(chain) * passed + chain.lead_k * (1.0 - passed) + receiver
    return decibels(on / (chain.load_k + receiver))


def extra_loss_db(chain: Chain, rise_db: ArrayLike) -> Floats:
    """The loss behind the amplifier, beyond the chain's own, that makes the rise what it is, dB.

    The formula of the rise solved for L. Negative: less loss than the chain has. Infinite where the rise is no more
    than what the warm lead alone would give, or so little more that it makes no difference.
    """
    receiver = noise_temperature_k(chain.receiver_noise_db)
    remains = ratio(rise_db) * (chain.load_k + receiver) - receiver - chain.lead_k
    with np.errstate(divide="ignore", invalid="ignore"):
        loss = np.where(remains > 0.0, (_amplified_k(chain) - chain.lead_k) / remains, np.inf)
    extra = decibels(loss) - np.asarray(chain.lead_loss_db)
    return np.asarray(np.where(extra > BEYOND_DB, np.inf, extra))


def loss_cost_db(chain: Chain, extra_db: ArrayLike) -> Floats:
    """What that much extra loss behind the amplifier costs of G/T, dB: 10 log10(Tsys with it / Tsys without)."""
    return decibels(chain.with_loss(extra_db).system_k / chain.system_k)


def _amplified_k(chain: Chain) -> Floats:
    """Noise at the amplifier's output."""
    antenna = np.asarray(chain.antenna_k, dtype=float)
    return np.asarray((antenna + noise_temperature_k(chain.noise_figure_db)) * ratio(chain.gain_db))
