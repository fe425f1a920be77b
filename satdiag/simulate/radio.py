"""From the antenna to the demodulator: gain, noise cascade, C/N0, and the noise a receiver would read.

Every stage is a gain and a noise temperature; faults of the radio path are stages with other numbers.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from satdiag.simulate.geometry import Look, free_space_loss_db

ROOM_K = 290.0  # physical temperature of passive parts
BOLTZMANN_DBW = -228.599
OWN_BANDWIDTH_HZ = 4.0e6  # one carrier of the invented system
OWN_BANDWIDTH_DBHZ = 10.0 * math.log10(OWN_BANDWIDTH_HZ)


@dataclass(frozen=True)
class Antenna:
    """Roof antenna: element and the amplifier right behind it."""

    peak_gain_dbic: float = 3.5  # a small patch; best at 60 deg elevation
    element_loss_db: float = 0.0  # corroded or cracked element, ahead of the amplifier
    amplifier_gain_db: float = 28.0  # 25-35 dB is usual for such amplifiers
    amplifier_noise_db: float = 0.9
    amplifier_ma: float = 42.0  # supply current of a healthy amplifier
    repeater_gain_db: float = 0.0  # of the terrestrial element, relative to the reference level
    ripple_db: tuple[float, float] = (0.0, 0.0)  # body and roof-rail ripple towards the two satellites


@dataclass(frozen=True)
class Lead:
    """The coaxial lead with its connectors, and what it is plugged to."""

    loss_db: float = 5.5  # 4-6 m of thin coax at 2.3 GHz
    fault_loss_db: float = 0.0  # corroded connector, crushed cable
    conductor: str = "right"  # right | terrestrial-only | other-service
    loose: bool = False  # a contact that opens and closes by itself


@dataclass(frozen=True)
class FrontEnd:
    """The receiver's input."""

    noise_db: float = 6.0
    dead_loss_db: float = 0.0  # a broken input stage passes almost nothing


@dataclass(frozen=True)
class Chain:
    """Everything between sky and demodulator, as it is at this moment."""

    antenna: Antenna
    lead: Lead
    front_end: FrontEnd
    amplifier_on: bool
    rf_open_db: float = 0.0  # a lead or element that is open still leaks a little

    def healthy(self, what: str) -> Chain:
        """The same chain with a known-good part put in: antenna, lead or receiver."""
        if what == "antenna":
            return replace(self, antenna=Antenna(ripple_db=self.antenna.ripple_db))
        if what == "lead":
            return replace(self, lead=Lead())
        return replace(self, front_end=FrontEnd())


def noise_k(noise_db: float) -> float:
    """Noise temperature of a noise figure [K]."""
    return 290.0 * (math.pow(10.0, noise_db / 10.0) - 1.0)


def _passive(loss_db: float) -> tuple[float, float]:
    """Gain (linear) and noise temperature [K] of a passive loss at room temperature."""
    return 10.0 ** (-loss_db / 10.0), ROOM_K * (10.0 ** (loss_db / 10.0) - 1.0)


def _stages(chain: Chain) -> list[tuple[float, float]]:
    """Gain and noise temperature of each stage ahead of the receiver, sky side first."""
    antenna, lead = chain.antenna, chain.lead
    # An amplifier without supply is about 25 dB of isolation, nothing else.
    amplifier = (
        (10.0 ** (antenna.amplifier_gain_db / 10.0), noise_k(antenna.amplifier_noise_db))
        if chain.amplifier_on
        else _passive(25.0)
    )
    return [
        _passive(antenna.element_loss_db),
        amplifier,
        _passive(lead.loss_db + lead.fault_loss_db + chain.rf_open_db),
    ]


def system_k(chain: Chain, sky_k: float) -> float:
    """System noise temperature at the antenna terminal [K] (Friis)."""
    total, gain = sky_k, 1.0
    for stage_gain, stage_k in _stages(chain):
        total += stage_k / gain
        gain *= stage_gain
    front_k = noise_k(chain.front_end.noise_db + chain.front_end.dead_loss_db)
    return total + front_k / gain


def receiver_noise_db(chain: Chain, sky_k: float, interference_db: float) -> float:
    """Noise power at the receiver's input, relative to 290 K [dB]: what a noise or gain-control readout follows.

    `interference_db` is how far a strong neighbour lifts the noise at the antenna above the system's own.
    """
    own = system_k(chain, sky_k)
    level = sky_k + own * (10.0 ** (interference_db / 10.0) - 1.0)
    for stage_gain, stage_k in _stages(chain):
        level = (level + stage_k) * stage_gain
    front_k = noise_k(chain.front_end.noise_db)
    level = level * 10.0 ** (-chain.front_end.dead_loss_db / 10.0) + front_k
    return 10.0 * math.log10(level / ROOM_K)


def antenna_gain_dbic(antenna: Antenna, elevation_deg: float) -> float:
    """Gain towards an elevation [dBic]: flat near 60 deg, about 5 dB down at 10 deg, worse below."""
    gain = antenna.peak_gain_dbic - 5.0 * ((60.0 - elevation_deg) / 50.0) ** 2
    if elevation_deg < 8.0:  # the roof's own edge and the clutter of the horizon
        gain -= 0.8 * (8.0 - elevation_deg)
    return gain


def satellite_cn0_dbhz(look: Look, chain: Chain, sky_k: float, interference_db: float, ripple_db: float) -> float:
    """C/N0 of a satellite in the clear [dB-Hz]; -inf below the horizon."""
    if look.elevation_deg <= 0.0:
        return -math.inf
    power_dbw = look.eirp_dbw - free_space_loss_db(look.range_km, look.frequency_mhz)
    power_dbw += antenna_gain_dbic(chain.antenna, look.elevation_deg) + ripple_db
    # A vertical whip sees a high circularly polarised satellite some 16 dB down; another service's
    # antenna has a filter in the way.
    power_dbw -= {"right": 0.0, "terrestrial-only": 16.0, "other-service": 45.0}[chain.lead.conductor]
    noise_dbw = BOLTZMANN_DBW + 10.0 * math.log10(system_k(chain, sky_k)) + interference_db
    return power_dbw - noise_dbw


def repeater_cn0_dbhz(reference_dbhz: float, chain: Chain, sky_k: float, interference_db: float) -> float:
    """C/N0 of the terrestrial path [dB-Hz]; `reference_dbhz` is what a healthy installation would have here."""
    worse = system_k(chain, sky_k) / system_k(Chain(Antenna(), Lead(), FrontEnd(), True), 100.0)
    wrong = 45.0 if chain.lead.conductor == "other-service" else 0.0
    return reference_dbhz + chain.antenna.repeater_gain_db - 10.0 * math.log10(worse) - interference_db - wrong
