"""What a voltage and a current of the antenna's feed mean: the windows, the words, and the state of both together.

The windows are those of a 5 V feed for one amplifier behind a series resistance of some 10 ohm (common practice, no
source; navigation receivers document feeds of 3 to 5.5 V, 60 mA allowed, limits near 300 mA). They scale with the
job sheet's `bias_nominal_v` and `bias_normal_ma`, and narrow to what was learnt of the vehicle.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

from satdiag.findings import LearntNormal
from satdiag.language import mark
from satdiag.sheet import Receiver
from satdiag.wiring.meter import Estimate, chance_below

State = Literal["normal", "open", "short", "low", "high", "absent"]
STATES: tuple[State, ...] = ("normal", "open", "short", "low", "high", "absent")
VoltageWord = Literal["none", "drooping", "loaded", "full", "over"]
CurrentWord = Literal["none", "low", "normal", "high", "limit"]

# As shares of the nominal voltage: 1, 4.2, 4.9 and 5.2 V of 5 V (common practice, no source).
NO_VOLTAGE = 0.20
NORMAL_FROM = 0.84
UNLOADED_FROM = 0.98
NORMAL_TO = 1.04

# A feed whose nominal voltage is unknown may be any of these (documented range of navigation antenna feeds).
USUAL_NOMINAL_V = (3.0, 5.5)
NO_VOLTAGE_V = 1.0  # NO_VOLTAGE of the commonest nominal, 5 V

NORMAL_MA = (15.0, 80.0)  # one amplifier (common practice, no source)
# 5 mA beside 15 mA, and 150 mA beside 80 mA (common practice, no source).
NO_CURRENT = 1.0 / 3.0
LIMIT = 150.0 / 80.0

# Through a combiner two amplifiers may draw together; a receiver's documented supply of 200 mA is then the limit
# (common practice, no source; the 200 mA are documented for navigation receivers).
COMBINED_MA = (15.0, 160.0)
COMBINED_LIMIT_MA = 200.0


@dataclass(frozen=True)
class BiasWindows:
    """Where each word begins and ends. `unloaded_v` is None where the nominal voltage is unknown."""

    no_voltage_v: float
    normal_v: tuple[float, float]
    unloaded_v: float | None
    no_current_ma: float
    normal_ma: tuple[float, float]
    limit_ma: float

    def voltage_word(self, volts: float) -> VoltageWord:
        """none; drooping: below the normal window; loaded: a current pulls it down; full; over: above the window."""
        if volts < self.no_voltage_v:
            return "none"
        if volts < self.normal_v[0]:
            return "drooping"
        if volts > self.normal_v[1]:
            return "over"
        return "loaded" if self.unloaded_v is not None and volts < self.unloaded_v else "full"

    def current_word(self, milliamps: float) -> CurrentWord:
        """none, low, normal, high, or limit: what a short draws."""
        if milliamps < self.no_current_ma:
            return "none"
        if milliamps < self.normal_ma[0]:
            return "low"
        if milliamps <= self.normal_ma[1]:
            return "normal"
        return "high" if milliamps <= self.limit_ma else "limit"


def bias_windows(receiver: Receiver) -> BiasWindows:
    """The windows for a receiver, from its job sheet where that says more than common practice does."""
    combined = receiver.adaptor == "combiner" and receiver.bias_normal_ma is None
    low_ma, high_ma = COMBINED_MA if combined else receiver.bias_normal_ma or NORMAL_MA
    nominal_v = receiver.bias_nominal_v or None
    lowest_v, highest_v = (nominal_v, nominal_v) if nominal_v else USUAL_NOMINAL_V
    return BiasWindows(
        no_voltage_v=NO_VOLTAGE * nominal_v if nominal_v else NO_VOLTAGE_V,
        normal_v=(NORMAL_FROM * lowest_v, NORMAL_TO * highest_v),
        unloaded_v=UNLOADED_FROM * nominal_v if nominal_v else None,
        no_current_ma=NO_CURRENT * low_ma,
        normal_ma=(low_ma, high_ma),
        limit_ma=COMBINED_LIMIT_MA if combined else LIMIT * high_ma,
    )


def narrowed(windows: BiasWindows, volts: LearntNormal | None, milliamps: LearntNormal | None) -> BiasWindows:
    """The windows with what was learnt: the normal current, and the lowest normal voltage.

    The upper end of the voltage stays: without a load it rises to the nominal one. What was learnt never widens a
    window; the limits of 'none' and of a short stay as well.
    """
    if milliamps is not None:
        low, high = windows.normal_ma
        windows = replace(
            windows, normal_ma=(max(low, milliamps.window[0]), min(high, max(milliamps.window[1], low)))
        )
    if volts is not None:
        lowest = max(windows.normal_v[0], min(volts.window[0], windows.unloaded_v or math.inf))
        windows = replace(windows, normal_v=(lowest, windows.normal_v[1]))
    return windows


@dataclass(frozen=True)
class Judgement:
    """The state, or None; and a sentence where voltage and current disagree or one of them alone does not tell.

    The sentence stands as it was marked: whoever says it calls `translated`.
    """

    state: State | None
    doubt: str | None = None


_NO_METER_FITS = mark("voltage and current of the feed fit no state together: measure both again")
_PULLED_DOWN = mark("the feed has hardly any voltage yet carries a current: taken as a short that is limited")
_LOW_BUT_DRAWS = mark("the feed's voltage is low though its current is normal: the current was believed")
_OVER = mark("the feed's voltage is above its window: the current was believed; is the nominal voltage right?")
_NO_VOLTMETER = mark("only the feed's current was measured: an open lead and a missing feed look alike in it")
_NO_AMMETER_NONE = mark("only the feed's voltage was measured: a short and a missing feed look alike in it")
_NO_AMMETER_FULL = mark("only the feed's voltage was measured: it does not tell whether a current flows")

_PLAIN: dict[CurrentWord, Judgement] = {
    "none": Judgement("open"),
    "low": Judgement("low"),
    "normal": Judgement("normal"),
    "high": Judgement("high"),
    "limit": Judgement("short"),
}
_BOTH: dict[VoltageWord, dict[CurrentWord, Judgement]] = {
    "none": {
        "none": Judgement("absent"),
        "low": Judgement("short", _PULLED_DOWN),
        "normal": Judgement("short", _PULLED_DOWN),
        "high": Judgement("short"),
        "limit": Judgement("short"),
    },
    "drooping": {
        **_PLAIN,
        "none": Judgement(None, _NO_METER_FITS),
        "normal": Judgement("normal", _LOW_BUT_DRAWS),
    },
    "loaded": _PLAIN,
    "full": _PLAIN,
    "over": {word: Judgement(judged.state, _OVER) for word, judged in _PLAIN.items()},
}
_VOLTAGE_ONLY: dict[VoltageWord, Judgement] = {
    "none": Judgement(None, _NO_AMMETER_NONE),
    "drooping": Judgement("high"),  # it takes more than the normal current to pull it so low
    "loaded": Judgement("normal"),
    "full": Judgement(None, _NO_AMMETER_FULL),
    "over": Judgement(None, _NO_AMMETER_FULL),
}


def judge(voltage: VoltageWord | None, current: CurrentWord | None) -> Judgement:
    """The state of the feed from what was measured; None: not measured.

    `open` means that no current flows and that the feed is not known to be missing.
    """
    if current is None:
        return Judgement(None) if voltage is None else _VOLTAGE_ONLY[voltage]
    if voltage is None:
        return Judgement("open", _NO_VOLTMETER) if current == "none" else _PLAIN[current]
    return _BOTH[voltage][current]


# --- with the reading's error ------------------------------------------------------------------------------------


def state_chances(windows: BiasWindows, volts: Estimate | None, milliamps: Estimate | None) -> dict[str, float]:
    """How probable each state is given how far the readings may be off, all true values alike before (flat prior).

    'unknown' is what `judge` leaves open. Errors of voltage and current are taken as independent and normal.
    """
    found = dict.fromkeys([*STATES, "unknown"], 0.0)
    for voltage, p_voltage in _voltage_chances(windows, volts).items():
        for current, p_current in _current_chances(windows, milliamps).items():
            found[judge(voltage, current).state or "unknown"] += p_voltage * p_current
    return found


def _voltage_chances(windows: BiasWindows, found: Estimate | None) -> Mapping[VoltageWord | None, float]:
    if found is None:
        return {None: 1.0}
    drooping, over = windows.normal_v
    loaded = windows.unloaded_v if windows.unloaded_v is not None else drooping
    edges = (windows.no_voltage_v, drooping, loaded, over, math.inf)
    return dict(zip(("none", "drooping", "loaded", "full", "over"), _between(edges, found), strict=True))


def _current_chances(windows: BiasWindows, found: Estimate | None) -> Mapping[CurrentWord | None, float]:
    if found is None:
        return {None: 1.0}
    edges = (windows.no_current_ma, *windows.normal_ma, windows.limit_ma, math.inf)
    return dict(zip(("none", "low", "normal", "high", "limit"), _between(edges, found), strict=True))


def _between(edges: tuple[float, ...], found: Estimate) -> list[float]:
    """The chance of each stretch that ends at an edge; edges rise."""
    below = [0.0, *(chance_below(edge, found) for edge in edges)]
    return [max(0.0, after - before) for before, after in pairwise(below)]
