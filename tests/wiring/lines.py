"""Sweeps of made-up lines for the tests of the antenna lead, computed with scikit-rf. Our own model of a line."""

from __future__ import annotations

import numpy as np
import skrf
from skrf.media import DefinedGammaZ0

from satdiag.wiring.feedline.cable import CLASSES
from satdiag.wiring.feedline.sweep import Sweep, read_sweep

LIGHT_M_PER_S = 299_792_458.0
USUAL = skrf.Frequency(0.1, 3.0, 401, "GHz")
HARMONIC = skrf.Frequency(0.0075, 3.0, 400, "GHz")
"""Every frequency a multiple of the step."""


def line_of(cable=None, fit=0, velocity=0.66, grid=USUAL):
    """A 50 ohm line with the loss of one fit of a class; without a class it loses nothing."""
    loss = 0.0 if cable is None else CLASSES[cable].fits[fit].db_per_m(grid.f / 1e6) / (20.0 / np.log(10.0))
    return DefinedGammaZ0(grid, z0=50, gamma=loss + 2j * np.pi * grid.f / (velocity * LIGHT_M_PER_S))


def noisy(network, down_db, rng):
    """The network with complex Gaussian noise at each point, so far below a whole reflection."""
    found = network.copy()
    noise = rng.standard_normal(found.s.shape) + 1j * rng.standard_normal(found.s.shape)
    found.s = found.s + 10 ** (-down_db / 20) * noise / np.sqrt(2.0)
    return found


def text_of(network, unit="Hz", scale=1.0) -> bytes:
    """The sweep as Touchstone text with every digit."""
    rows = zip((network.f / scale).tolist(), network.s[:, 0, 0].tolist(), strict=True)
    lines = [f"# {unit} S RI R 50", *(f"{f!r} {s.real!r} {s.imag!r}" for f, s in rows)]
    return ("\n".join(lines) + "\n").encode()


def sweep_of(network) -> Sweep:
    """The sweep read back from its own text."""
    return read_sweep(text_of(network), "made.s1p")


def two_faults(grid=USUAL, cable="rg-174", fit=1):
    """0.25 pF at 1.0 m and an open end at 3.2 m."""
    media = line_of(cable, fit, grid=grid)
    return media.line(1.0, "m") ** media.shunt_capacitor(0.25e-12) ** media.line(2.2, "m") ** media.open()


def wet(rng, dry_m=1.0, wet_m=1.5, load=0.3, grid=HARMONIC):
    """A lead with small uneven reflections every 25 mm over a stretch of it, a partly reflecting end behind."""
    media = line_of("rg-174", 1, grid=grid)
    found = media.line(dry_m, "m")
    for farad in rng.uniform(-0.05e-12, 0.1e-12, int(wet_m / 0.025)):
        found = found ** media.shunt_capacitor(farad) ** media.line(0.025, "m")
    return found ** media.line(1.0, "m") ** media.load(load)
