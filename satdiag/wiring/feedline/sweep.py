"""A reflection sweep: the file read into a network of the library scikit-rf, at 50 ohm, and what it is fit for."""

from __future__ import annotations

import importlib.util
import io
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from satdiag.errors import MissingPart, bad_input
from satdiag.language import tell, tell_many
from satdiag.touchstone import Touchstone, parse_touchstone

LINE_OHM = 50.0
FEWEST_POINTS = 32
"""With fewer points the window alone blurs a tenth of the range (judgement, no source)."""
GRID_TOLERANCE = 0.02
"""A point farther off an even grid than this share of a step turns the phase by 7 degrees at the end of the range."""
LOUD = 1.5
"""No passive lead reflects more than 1; beyond this it is the calibration (judgement, no source)."""
NEEDS = 'Reading a reflection sweep needs scikit-rf, which is not installed here. Run: pip install "satdiag[rf]"'

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]


@dataclass(frozen=True, eq=False)
class Sweep:
    """S11 against frequency at 50 ohm. `step_hz` is None where the grid is not even; `network` is scikit-rf's own."""

    file: str
    frequency_hz: Array
    s: Complex
    step_hz: float | None
    resistance_ohm: float
    network: Any

    @property
    def span_hz(self) -> float:
        """From the first to the last frequency."""
        return float(self.frequency_hz[-1] - self.frequency_hz[0])

    @property
    def unfit(self) -> str | None:
        """Why no distances follow from this sweep, or None."""
        points = len(self.frequency_hz)
        if points < FEWEST_POINTS:
            return tell_many(
                "the sweep has {n} point; distances need {fewest} or more",
                "the sweep has {n} points; distances need {fewest} or more",
                points,
                fewest=FEWEST_POINTS,
            )
        if self.step_hz is None:
            return tell(
                "the frequencies are not evenly spaced (a logarithmic or segmented sweep); distances need even steps"
            )
        return None

    @property
    def cautions(self) -> tuple[str, ...]:
        """What is odd about the sweep as a whole."""
        said = []
        if self.resistance_ohm != LINE_OHM:
            said.append(
                tell(
                    "the file refers to {stated:g} ohm; it was converted to {line:g} ohm",
                    stated=self.resistance_ohm,
                    line=LINE_OHM,
                )
            )
        largest = float(np.abs(self.s).max())
        if largest > LOUD:
            said.append(
                tell(
                    "the sweep reflects up to {share:.3g} of the wave, more than any lead can: calibrate again, and "
                    "see that no feed or transmitter was on",
                    share=largest,
                )
            )
        return tuple(said)


def scikit_rf_is_there() -> bool:
    """True if the optional library is installed."""
    return importlib.util.find_spec("skrf") is not None


def read_sweep(data: bytes, file: str) -> Sweep:
    """A sweep from the bytes of a one-port Touchstone file. Raises BadInput, MissingPart."""
    text = parse_touchstone(data, file)
    if not scikit_rf_is_there():
        raise MissingPart(NEEDS)
    network = _network(text, file)
    frequency = np.asarray(text.frequencies_hz(), dtype=np.float64)
    return Sweep(
        file=file,
        frequency_hz=frequency,
        s=np.asarray(network.s[:, 0, 0], dtype=np.complex128),
        step_hz=_even_step(frequency),
        resistance_ohm=text.resistance_ohm,
        network=network,
    )


def _network(text: Touchstone, file: str) -> Any:
    """scikit-rf's network of the text, renormalised to 50 ohm. Raises BadInput where no reflection follows."""
    import skrf

    stream = io.StringIO(text.plain_text())
    stream.name = "sweep.ts"
    try:
        with np.errstate(all="ignore"):
            network = skrf.Network(stream)
            if text.resistance_ohm != LINE_OHM:
                network.renormalize(LINE_OHM)
        sound = bool(np.isfinite(network.s).all()) and len(network.s) == len(text.rows)
    except (ValueError, ArithmeticError, np.linalg.LinAlgError):
        sound = False
    if not sound:
        what = f"no reflection follows from these {text.parameter.upper()} parameters"
        raise bad_input(file, what, "Save S parameters of one port.")
    return network


def _even_step(frequency: Array) -> float | None:
    """The step of an even grid; None if a point lies off it."""
    if len(frequency) < 2:
        return None
    step = float(frequency[-1] - frequency[0]) / (len(frequency) - 1)
    even = frequency[0] + step * np.arange(len(frequency))
    worst = float(np.abs(frequency - even).max())
    return step if math.isfinite(step) and worst <= GRID_TOLERANCE * step else None
