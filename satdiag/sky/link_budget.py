"""The link budget of one path, line by line, and the level to expect of it under an open sky.

Free-space loss as in ITU-R P.525, thermal noise from Boltzmann's constant (exact since the SI of 2019), the noise of
antenna, lead and amplifier in the textbook cascade. Every line says where its number comes from. Whatever a job does
not state (the antenna's gain, the receiver's noise) is a range marked as a judgement, and widens the result.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from satdiag.language import mark
from satdiag.sky.propagation.standing import Floats, Source, within

SPEED_OF_LIGHT_M_S = 299_792_458.0
BOLTZMANN_J_K = 1.380649e-23
BOLTZMANN_DB = 10.0 * math.log10(BOLTZMANN_J_K)
REFERENCE_K = 290.0

P525 = Source(mark("ITU-R P.525: free-space loss"), "recommendation")
CASCADE = Source(mark("noise of an antenna, a lossy lead and an amplifier in a row"), "textbook")
THERMAL = Source(mark("thermal noise k T B"), "textbook")
SUM = Source(mark("sum of the lines above"), "definition")
GIVEN = Source(mark("stated for this job"), "the user's figure")


def free_space_loss_db(range_km: ArrayLike, frequency_hz: ArrayLike) -> Floats:
    """20 log10(4 pi d f / c) (ITU-R P.525), dB; arguments broadcast."""
    distance_m = within(range_km, 1e-3, 1e9, mark("a distance of"), mark("free space"), "km") * 1000.0
    frequency = within(frequency_hz, 1e6, 1e12, mark("a frequency of"), mark("free space"), "Hz")
    return np.asarray(20.0 * np.log10(4.0 * np.pi * distance_m * frequency / SPEED_OF_LIGHT_M_S))


def flux_density_dbw_m2(eirp_dbw: ArrayLike, range_km: ArrayLike) -> Floats:
    """Power through a square metre at the receiver, EIRP - 10 log10(4 pi d^2), dBW/m2 (textbook)."""
    distance_m = within(range_km, 1e-3, 1e9, mark("a distance of"), mark("free space"), "km") * 1000.0
    return np.asarray(np.asarray(eirp_dbw) - 10.0 * np.log10(4.0 * np.pi * distance_m**2))


def noise_dbw(temperature_k: ArrayLike, bandwidth_hz: ArrayLike) -> Floats:
    """Thermal noise k T B, dBW."""
    return np.asarray(BOLTZMANN_DB + 10.0 * np.log10(np.asarray(temperature_k) * np.asarray(bandwidth_hz)))


def receiver_temperature_k(noise_figure_db: ArrayLike) -> Floats:
    """Noise temperature of an amplifier with this noise figure, 290 (10^(NF/10) - 1), K (textbook)."""
    return np.asarray(REFERENCE_K * (10 ** (np.asarray(noise_figure_db, dtype=float) / 10.0) - 1.0))


def system_temperature_k(antenna_k: ArrayLike, feed_loss_db: ArrayLike, noise_figure_db: ArrayLike) -> Floats:
    """Noise temperature at the amplifier's input: Ta / L + 290 (1 - 1/L) + Trx, K (textbook)."""
    passed = 10 ** (-np.asarray(feed_loss_db, dtype=float) / 10.0)
    lead = REFERENCE_K * (1.0 - passed)
    return np.asarray(np.asarray(antenna_k) * passed + lead + receiver_temperature_k(noise_figure_db))


def noise_rise_db(
    clear_antenna_k: ArrayLike, noise_figure_db: ArrayLike, blocked_antenna_k: ArrayLike = REFERENCE_K
) -> Floats:
    """How much the noise grows when the antenna sees a building instead of the sky, dB; C/N falls by that as well."""
    receiver = receiver_temperature_k(noise_figure_db)
    clear, blocked = np.asarray(clear_antenna_k, dtype=float), np.asarray(blocked_antenna_k, dtype=float)
    return np.asarray(10.0 * np.log10((blocked + receiver) / (clear + receiver)))


@dataclass(frozen=True)
class Line:
    """One line of a budget."""

    label: str
    value: float
    unit: str
    source: Source


@dataclass(frozen=True)
class Inputs:
    """What goes into a budget. `sources` names where a figure comes from, by its field's name; else the user.

    `system_k`: the noise temperature of the whole system, where it is known as one figure; the antenna's, the lead's
    and the amplifier's noise then count no more.
    """

    eirp_dbw: float
    range_km: float
    frequency_hz: float
    antenna_gain_dbic: float
    feed_loss_db: float
    antenna_k: float
    noise_figure_db: float
    other_losses_db: float = 0.0
    bandwidth_hz: float | None = None
    needed_cn_db: float | None = None
    sources: Mapping[str, Source] | None = None
    system_k: float | None = None

    def source_of(self, name: str) -> Source:
        """Where an input comes from."""
        return (self.sources or {}).get(name, GIVEN)


@dataclass(frozen=True)
class Budget:
    """A budget: its lines in the order they are added up, and the results. C/N needs a bandwidth, a margin a need."""

    lines: tuple[Line, ...]
    system_k: float
    g_over_t_db_k: float
    free_space_db: float
    carrier_dbw: float
    flux_dbw_m2: float
    cn0_db_hz: float
    cn_db: float | None
    margin_db: float | None


def link_budget(inputs: Inputs) -> Budget:
    """C/N0 = EIRP - free-space loss - other losses + G/T - k, and what follows. Raises OutsideDomain."""
    _check(inputs)
    free_space = float(free_space_loss_db(inputs.range_km, inputs.frequency_hz))
    system_k = inputs.system_k
    if system_k is None:
        system_k = float(system_temperature_k(inputs.antenna_k, inputs.feed_loss_db, inputs.noise_figure_db))
    gain = inputs.antenna_gain_dbic - inputs.feed_loss_db
    g_over_t = gain - 10.0 * math.log10(system_k)
    carrier = inputs.eirp_dbw - free_space - inputs.other_losses_db + gain
    cn0 = carrier - 10.0 * math.log10(system_k) - BOLTZMANN_DB
    cn = None if inputs.bandwidth_hz is None else cn0 - 10.0 * math.log10(inputs.bandwidth_hz)
    margin = None if cn is None or inputs.needed_cn_db is None else cn - inputs.needed_cn_db
    flux = float(flux_density_dbw_m2(inputs.eirp_dbw, inputs.range_km))
    results = (
        Line("flux density at the antenna", flux, "dBW/m²", SUM),
        Line("noise temperature of the system", system_k, "K", CASCADE),
        Line("gain over noise temperature, G/T", g_over_t, "dB/K", CASCADE),
        Line("carrier at the amplifier", carrier, "dBW", SUM),
        Line("thermal noise per hertz and kelvin", BOLTZMANN_DB, "dBW/K/Hz", THERMAL),
        Line("carrier to noise density, C/N0", cn0, "dB-Hz", SUM),
    )
    lines = (*_input_lines(inputs, free_space), *results, *_ratio_lines(inputs, cn, margin))
    return Budget(lines, system_k, g_over_t, free_space, carrier, flux, cn0, cn, margin)


def _check(inputs: Inputs) -> None:
    model = mark("link budget")
    within(inputs.eirp_dbw, -50.0, 120.0, mark("an EIRP of"), model, "dBW")
    within(inputs.antenna_gain_dbic, -40.0, 60.0, mark("an antenna gain of"), model, "dBic")
    within(inputs.feed_loss_db, 0.0, 60.0, mark("a lead's loss of"), model, "dB")
    within(inputs.antenna_k, 2.7, 10_000.0, mark("an antenna temperature of"), model, "K")
    within(inputs.noise_figure_db, 0.0, 30.0, mark("a noise figure of"), model, "dB")
    within(inputs.other_losses_db, 0.0, 200.0, mark("other losses of"), model, "dB")
    if inputs.system_k is not None:
        within(inputs.system_k, 2.7, 100_000.0, mark("a system temperature of"), model, "K")
    if inputs.bandwidth_hz is not None:
        within(inputs.bandwidth_hz, 1.0, 1e10, mark("a bandwidth of"), model, "Hz")


def _input_lines(inputs: Inputs, free_space_db: float) -> tuple[Line, ...]:
    return (
        Line("radiated power, EIRP", inputs.eirp_dbw, "dBW", inputs.source_of("eirp_dbw")),
        Line("distance", inputs.range_km, "km", inputs.source_of("range_km")),
        Line("frequency", inputs.frequency_hz / 1e6, "MHz", inputs.source_of("frequency_hz")),
        Line("free-space loss", -free_space_db, "dB", P525),
        Line("other losses", -inputs.other_losses_db, "dB", inputs.source_of("other_losses_db")),
        Line("antenna gain", inputs.antenna_gain_dbic, "dBic", inputs.source_of("antenna_gain_dbic")),
        Line("loss before the amplifier", -inputs.feed_loss_db, "dB", inputs.source_of("feed_loss_db")),
        Line("noise seen by the antenna", inputs.antenna_k, "K", inputs.source_of("antenna_k")),
        Line("noise figure of the amplifier", inputs.noise_figure_db, "dB", inputs.source_of("noise_figure_db")),
    )


def _ratio_lines(inputs: Inputs, cn_db: float | None, margin_db: float | None) -> tuple[Line, ...]:
    if inputs.bandwidth_hz is None or cn_db is None:
        return ()
    found = [
        Line("noise bandwidth", inputs.bandwidth_hz / 1e6, "MHz", inputs.source_of("bandwidth_hz")),
        Line("carrier to noise, C/N", cn_db, "dB", SUM),
    ]
    if inputs.needed_cn_db is not None and margin_db is not None:
        found.append(Line("C/N that is needed", inputs.needed_cn_db, "dB", inputs.source_of("needed_cn_db")))
        found.append(Line("margin", margin_db, "dB", SUM))
    return tuple(found)
