"""The scales on which receivers show their levels."""

from __future__ import annotations

import math
from dataclasses import dataclass
from random import Random

from satdiag.simulate.radio import OWN_BANDWIDTH_DBHZ


@dataclass(frozen=True)
class Scale:
    """A readout: unit word of the log, the reading without signal, and the resolution.

    dB and dB-Hz are estimated from a locked demodulator, so they stand at their floor without lock;
    percent and bars follow the power in the channel and creep up a little before lock.
    """

    unit: str
    floor: float | None
    step: float
    error_db: float = 0.3

    def read(self, cn_db: float, locked: bool, rng: Random) -> str:
        """Text of one reading."""
        seen = max(-40.0, cn_db) + rng.gauss(0.0, self.error_db)
        if self.unit == "dB":
            value = max(0.0, seen) if locked else 0.0
        elif self.unit == "dB-Hz":
            value = max(60.0, seen + OWN_BANDWIDTH_DBHZ) if locked else 60.0
        elif self.unit == "percent":
            value = 0.0 if seen < 1.5 else 100.0 * (1.0 - math.exp(-(seen - 1.0) / 8.0))
        else:
            bars = int(self.unit.split("/")[1])
            value = max(0.0, min(float(bars), math.floor((seen - 1.0) * bars / 13.0 + 0.3)))
        return number(value, self.step)


def number(value: float, step: float) -> str:
    """A number rounded to a step and written without needless digits after the step's own."""
    rounded = round(value / step) * step
    digits = max(0, -math.floor(math.log10(step) + 1e-9)) if step < 1 else 0
    if step == 0.5:
        digits = 1
    text = f"{rounded:.{digits}f}"
    return text[1:] if text.startswith("-") and float(text) == 0.0 else text


SCALES = (
    Scale("dB", 0.0, 0.1),
    Scale("dB", 0.0, 0.5),
    Scale("dB-Hz", 60.0, 0.1),
    Scale("percent", None, 1.0, 0.4),
    Scale("bars/5", None, 1.0, 0.4),
    Scale("bars/8", None, 1.0, 0.4),
)
