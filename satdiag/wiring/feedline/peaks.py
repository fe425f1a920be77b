"""Reflections among the peaks of the response: what stands out, what is an echo of others, what the window makes."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from satdiag.wiring.feedline.transform import Response, peak_delay_s

WEAK = 10.0 ** (-26.0 / 20.0)
"""A peak lower than this share of the highest (-26 dB) counts only if confirmed (judgement, no source)."""
FAINT = 10.0 ** (-45.0 / 20.0)
"""Below this share of the highest nothing is looked at (judgement, no source)."""
FALSE_ALARM = 0.01
"""Chance that noise alone brings one peak or more above the floor."""
MOST = 24
"""So many of the highest peaks are looked at."""
SKIRT = 2.0
"""A peak up to this many times what the window's skirt of a higher one gives is taken for that skirt (judgement)."""
ECHO = 3.0
"""A peak up to this many times the expected height of an echo, at its place, is taken for it (judgement)."""
LOSSY_ECHO = 1.5
"""The same where the joint that the wave turned at is taken to lose as much as it can (judgement)."""
MOST_TURN = 0.9
"""A joint that lets something through is taken to reflect no more than this (judgement, no source)."""
PLANE_GAMMA = 0.1
"""Reflection of the analyser's own port after calibration, at most (20 dB; judgement, no source)."""

Role = Literal["reflection", "ghost", "sidelobe"]


@dataclass(frozen=True)
class Peak:
    """One peak. `of` are the indices of the peaks, in order of delay, that it is the ghost or the skirt of."""

    delay_s: float
    gamma: float
    role: Role = "reflection"
    of: tuple[int, ...] = ()


def noise_gamma(found: Response) -> float:
    """Root mean square of the noise's two parts in |Gamma|: from the median of the response, where noise is Rayleigh.

    Reflections take up little of the range, so the median is theirs only on a lead that is wet throughout.
    """
    return float(np.median(found.size)) / math.sqrt(2.0 * math.log(2.0))


def noise_floor(found: Response) -> float:
    """|Gamma| that noise alone passes anywhere in the range with a chance of `FALSE_ALARM`."""
    cells = found.range_s / found.width_s
    return noise_gamma(found) * math.sqrt(2.0 * math.log(cells / FALSE_ALARM))


def find_reflections(found: Response, confirm: Response, share_left: Callable[[float], float]) -> tuple[Peak, ...]:
    """The peaks in order of delay with their roles; `confirm` is the response behind another window.

    `share_left(delay_s)` is how much of a whole reflection comes back from there (1 or less).
    """
    from scipy.signal import find_peaks  # dear to import, and seldom needed

    size = found.size
    highest = float(size.max())
    floor = max(noise_floor(found), FAINT * highest)
    places, _ = find_peaks(size, height=floor)
    highest_first = sorted((int(at) for at in places), key=lambda at: -size[at])[:MOST]
    peaks = [Peak(peak_delay_s(found, at), float(size[at])) for at in sorted(highest_first)]
    peaks = _with_skirts(peaks, found)
    peaks = _with_ghosts(peaks, found, share_left)
    kept = [one.role != "reflection" or one.gamma >= WEAK * highest or _confirmed(one, confirm) for one in peaks]
    return _kept(peaks, kept)


def _skirt(offset_widths: float) -> float:
    """The envelope of a Hann window's response beside its top, in units of the top, at so many 1 / span from it."""
    x = abs(offset_widths)
    return 1.0 if x <= 1.5 else 1.0 / (math.pi * x * (x * x - 1.0))


def _with_skirts(peaks: Sequence[Peak], found: Response) -> list[Peak]:
    """Peaks no higher than the window's skirt of a higher one, with the noise on it."""
    floor = noise_floor(found)
    result = list(peaks)
    for nth in sorted(range(len(peaks)), key=lambda nth: -peaks[nth].gamma):
        one = peaks[nth]
        parents = [
            (other.gamma * _skirt((one.delay_s - other.delay_s) / found.width_s), number)
            for number, other in enumerate(result)
            if other.gamma > one.gamma and other.role == "reflection"
        ]
        expected, number = max(parents, default=(0.0, 0))
        if one.gamma <= SKIRT * expected + (floor if expected > 0.2 * floor else 0.0):
            result[nth] = replace(one, role="sidelobe", of=(number,))
    return result


def _with_ghosts(peaks: Sequence[Peak], found: Response, share_left: Callable[[float], float]) -> list[Peak]:
    """Peaks where the wave went to and fro between earlier reflections, no higher than that would give."""
    result = list(peaks)
    left = [max(share_left(one.delay_s), 1e-3) for one in peaks]
    for number, one in enumerate(peaks):
        if one.role != "reflection":
            continue
        earlier = [nth for nth in range(number) if result[nth].role != "sidelobe"]
        echoes = [
            (parents, most)
            for parents, delay, most in _echoes(result, earlier, left)
            if abs(delay - one.delay_s) <= found.width_s and one.gamma <= most
        ]
        if echoes:
            parents, _ = max(echoes, key=lambda pair: pair[1])
            result[number] = replace(one, role="ghost", of=parents)
    return result


def _echoes(
    peaks: Sequence[Peak], earlier: Sequence[int], left: Sequence[float]
) -> list[tuple[tuple[int, ...], float, float]]:
    """(parents, delay, most |Gamma|) of every path out to a, back to j, out to b, with j before both.

    Height in heights R as measured: R_a * R_j * R_b / left(j)^2, twice where a and b differ. R_a and R_b passed
    the joint j four times in all and the echo passes it twice, so the height is divided by what passes there and
    back. With its own reflection G that is 1 - G^2 of a joint that loses nothing and (1 - G)^2 of a series resistance
    (transmission line theory). The port of the analyser counts as a j at nought. An echo may itself be the b.
    """
    found: list[tuple[tuple[int, ...], float, float]] = []
    for a, b in itertools.combinations_with_replacement(earlier, 2):
        first, second = peaks[a], peaks[b]
        if first.role == "ghost":
            continue
        behind = second.of if second.role == "ghost" else (b,)
        together = first.gamma * second.gamma * (1.0 if a == b else 2.0)
        parents = tuple(sorted({a, *behind}))
        found.append((parents, first.delay_s + second.delay_s, ECHO * together * PLANE_GAMMA))
        for j in earlier:
            turn = peaks[j]
            if turn.role == "reflection" and turn.delay_s < min(first.delay_s, second.delay_s):
                own = min(turn.gamma / left[j], MOST_TURN)
                height = together * own / left[j]
                most = height * max(ECHO / (1.0 - own**2), LOSSY_ECHO / (1.0 - own) ** 2)
                found.append((tuple(sorted({j, *parents})), first.delay_s + second.delay_s - turn.delay_s, most))
    return found


def _confirmed(one: Peak, confirm: Response) -> bool:
    """True if the other window shows a peak of about the same height at the same place."""
    near = np.abs(confirm.delay_s - one.delay_s) <= 0.5 * confirm.width_s
    size = confirm.size
    inside = np.flatnonzero(near)
    if not len(inside):
        return False
    top = int(inside[size[inside].argmax()])
    is_top = 0 < top < len(size) - 1 and size[top] >= size[top - 1] and size[top] >= size[top + 1]
    return bool(is_top and 0.7 <= size[top] / one.gamma <= 1.4)


def _kept(peaks: Sequence[Peak], keep: Sequence[bool]) -> tuple[Peak, ...]:
    """The peaks to keep, with what they refer to numbered anew; a reference to a dropped peak drops its owner too."""
    left = list(keep)
    for number, one in enumerate(peaks):
        left[number] = left[number] and all(left[parent] for parent in one.of if parent < number)
    for number, one in enumerate(peaks):
        left[number] = left[number] and all(left[parent] for parent in one.of)
    numbers = {old: new for new, old in enumerate(n for n, wanted in enumerate(left) if wanted)}
    return tuple(
        replace(one, of=tuple(numbers[parent] for parent in one.of))
        for number, one in enumerate(peaks)
        if left[number]
    )
