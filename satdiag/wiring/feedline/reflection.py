"""Reflection in its usual forms: |Gamma|, return loss, VSWR, mismatch loss (definitions of the trade)."""

from __future__ import annotations

import math


def gamma_of_return_loss(return_loss_db: float) -> float:
    """|Gamma| of a return loss in dB."""
    return float(10.0 ** (-return_loss_db / 20.0))


def return_loss_db(gamma: float) -> float:
    """Return loss in dB of a |Gamma| above nought."""
    return -20.0 * math.log10(gamma)


def gamma_of_vswr(vswr: float) -> float:
    """|Gamma| of a voltage standing wave ratio."""
    return (vswr - 1.0) / (vswr + 1.0)


def vswr(gamma: float) -> float:
    """Voltage standing wave ratio of a |Gamma|; infinite where all comes back."""
    return math.inf if gamma >= 1.0 else (1.0 + gamma) / (1.0 - gamma)


def mismatch_loss_db(gamma: float) -> float:
    """What is lost because |Gamma| of the wave came back, in dB."""
    return -10.0 * math.log10(1.0 - gamma * gamma)
