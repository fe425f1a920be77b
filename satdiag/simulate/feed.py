"""The antenna's direct-current feed: source, series resistance, and what hangs at the far end."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class BiasSource:
    """The receiver's feed: a 5 V rail behind a series resistance, with a current limit."""

    volts: float = 5.0
    series_ohm: float = 8.0  # about 10 ohm is a usual short-circuit protection
    limit_ma: float = 190.0

    def dead(self) -> BiasSource:
        """A receiver that does not feed its antenna at all."""
        return BiasSource(0.0, self.series_ohm, self.limit_ma)


@dataclass(frozen=True)
class BiasLoad:
    """The far end. kind: amplifier (constant current above its minimum voltage), open, short."""

    kind: str = "amplifier"
    amplifier_ma: float = 42.0
    minimum_v: float = 3.2  # below this the amplifier's own regulator drops out
    leak_ohm: float = 60_000.0  # damp connector of an open lead
    short_ohm: float = 1.2
    contact_ohm: float = 0.1  # joints of the lead


@dataclass(frozen=True)
class BiasPoint:
    """What a meter at the receiver's end would see, and whether the amplifier runs."""

    volts: float
    milliamps: float
    amplifier_on: bool


def solve(source: BiasSource, load: BiasLoad) -> BiasPoint:
    """Steady state of the feed."""
    if source.volts < 0.5:
        return BiasPoint(source.volts, 0.0, False)
    if load.kind == "open":
        milliamps = 1000.0 * source.volts / (source.series_ohm + load.leak_ohm)
        return BiasPoint(source.volts - milliamps * source.series_ohm / 1000.0, milliamps, False)
    if load.kind == "short":
        total_ohm = source.series_ohm + load.short_ohm + load.contact_ohm
        milliamps = min(source.limit_ma, 1000.0 * source.volts / total_ohm)
        return BiasPoint(milliamps * (load.short_ohm + load.contact_ohm) / 1000.0, milliamps, False)
    milliamps = min(load.amplifier_ma, source.limit_ma)
    port_v = source.volts - milliamps * source.series_ohm / 1000.0
    far_v = port_v - milliamps * load.contact_ohm / 1000.0
    if far_v >= load.minimum_v:
        return BiasPoint(port_v, milliamps, True)
    # Starved: the regulator hangs at its drop-out and the amplifier does little.
    milliamps = max(0.5, 1000.0 * (source.volts - 2.4) / (source.series_ohm + load.contact_ohm))
    milliamps = min(milliamps, 0.6 * load.amplifier_ma)
    return BiasPoint(source.volts - milliamps * source.series_ohm / 1000.0, milliamps, False)
