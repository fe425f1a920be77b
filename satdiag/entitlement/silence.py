"""Nothing has come: is the account dead, or is it only early? The answer as a function of the time listened."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from satdiag.entitlement.families import Array, all_families
from satdiag.entitlement.fill_in import Rows
from satdiag.entitlement.grid import Priors, first_look
from satdiag.entitlement.posterior import COARSE, Start

SURE = 0.95
NODES = 49
LONGEST_S = 24 * 3600.0


@dataclass(frozen=True)
class Silence:
    """P(the account gives nothing | all channels refused after so much listening); `sure_after_s`: from when 95 %.

    `sure_after_s` is None where a day of listening would not make it sure.
    """

    exposure_s: Array
    p_dead: Array
    sure_after_s: float | None


def silence(channels: int, now_s: float, priors: Priors, starts: Sequence[Start], p_dead: float) -> Silence:
    """The curve for an account of so many channels, all refused at each look.

    `p_dead`: the chance beforehand. At each time all readings are averaged as in the posterior: each family, one by
    one or all in one message, each time at which sending may have begun.
    """
    exposure_s = np.concatenate([[0.0], np.geomspace(30.0, LONGEST_S, NODES - 1)])
    own = _p_silent(channels, exposure_s, priors)
    weight = np.array([start.weight for start in starts])
    shifted = [np.interp(exposure_s - start.at_s, exposure_s, own, left=1.0) for start in starts]
    chance = p_dead / (p_dead + (1.0 - p_dead) * (weight @ shifted) / weight.sum())
    sure_s: float | None = None
    if chance[-1] >= SURE:
        sure_s = float(np.interp(SURE, chance, exposure_s))
    end_s = max(1.2 * (LONGEST_S if sure_s is None else sure_s), 1.1 * now_s, 600.0)
    shown_s = np.append(exposure_s[exposure_s < min(end_s, LONGEST_S)], min(end_s, LONGEST_S))
    return Silence(shown_s, np.interp(shown_s, exposure_s, chance), sure_s)


def _p_silent(channels: int, exposure_s: Array, priors: Priors) -> Array:
    """P(all refused at each exposure | the account lives and sends from the start), averaged over all readings."""
    total = np.zeros(len(exposure_s))
    families = all_families()
    nothing = Rows(np.zeros(0), np.zeros(0), np.zeros(0))
    for family in families:
        prior = first_look(family, nothing, priors, cells=COARSE)
        come, scale, shape = prior.points()
        mass = prior.mass.reshape(len(come), -1)
        survival = family.survival(exposure_s[:, None], scale, shape)
        one_by_one = (1.0 - come[:, None] + come[:, None] * survival[:, None, :]) ** channels
        total += family.weight * (np.sum(mass * one_by_one, axis=(1, 2)) + survival @ mass.sum(axis=0)) / 2.0
    return total / sum(family.weight for family in families)
