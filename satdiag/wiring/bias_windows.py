"""What a voltage and a current of the antenna's feed mean: the windows, the words, and the state of both together.

The windows are those of a 5 V feed for one amplifier behind a series resistance of some 10 ohm (common practice, no
source; navigation receivers document feeds of 3 to 5.5 V, 60 mA allowed, limits near 300 mA). They scale with the
job sheet's `bias_nominal_v` and `bias_normal_ma`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from satdiag.sheet import Receiver

State = Literal["normal", "open", "short", "low", "high", "absent"]
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
    low_ma, high_ma = receiver.bias_normal_ma or NORMAL_MA
    nominal_v = receiver.bias_nominal_v or None
    lowest_v, highest_v = (nominal_v, nominal_v) if nominal_v else USUAL_NOMINAL_V
    return BiasWindows(
        no_voltage_v=NO_VOLTAGE * nominal_v if nominal_v else NO_VOLTAGE_V,
        normal_v=(NORMAL_FROM * lowest_v, NORMAL_TO * highest_v),
        unloaded_v=UNLOADED_FROM * nominal_v if nominal_v else None,
        no_current_ma=NO_CURRENT * low_ma,
        normal_ma=(low_ma, high_ma),
        limit_ma=LIMIT * high_ma,
    )


@dataclass(frozen=True)
class Judgement:
    """The state, or None; and a sentence where voltage and current disagree or one of them alone does not tell."""

    state: State | None
    doubt: str | None = None


_NO_METER_FITS = "voltage and current of the feed fit no state together: measure both again"
_PULLED_DOWN = "the feed has hardly any voltage yet carries a current: taken as a short that is limited"
_LOW_BUT_DRAWS = "the feed's voltage is low though its current is normal: the current was believed"
_OVER = "the feed's voltage is above its window: the current was believed; is the nominal voltage right?"
_NO_VOLTMETER = "only the feed's current was measured: an open lead and a missing feed look alike in it"
_NO_AMMETER_NONE = "only the feed's voltage was measured: a short and a missing feed look alike in it"
_NO_AMMETER_FULL = "only the feed's voltage was measured: it does not tell whether a current flows"

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
