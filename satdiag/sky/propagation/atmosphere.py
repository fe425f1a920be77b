"""Why rain, gas and cloud cannot explain a loss near 2.3 GHz: upper bounds for any site and elevation.

The bounds need no weather map: a cloudburst over the whole way through the rain, wet air, and more cloud water than
the maps of ITU-R P.840 show for all but 0.1 % of the year at a hot and wet coast. Each is larger than the figure that
the site's own statistics give, so what is left to say is 'no more than'. Not held in them: water, ice or snow on the
antenna itself, which is a real cause of loss (from memory), and scintillation (see `SCINTILLATION_NOTE`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from satdiag.language import mark, tell
from satdiag.sky.propagation.standing import Floats, Source, within

MODEL = mark("rain, gas and cloud")
GAS = Source(mark("ITU-R P.676: gas, taken once from a reference implementation"), "recommendation")
SOURCES = (
    Source(mark("ITU-R P.838-3: rain"), "recommendation"),
    GAS,
    Source(mark("ITU-R P.840-6: cloud"), "recommendation"),
    Source(mark("rain rate, rain height and cloud water at their worst"), "judgement, no source"),
)

CLOUDBURST_MM_H = 100.0
"""Judgement, no source. The rate passed 0.01 % of the year is 26 to 78 mm/h at three sites, 25 to 48 N (P.837)."""
RAIN_HEIGHT_KM = 5.0
"""Judgement, no source. P.839 gives 2.5 to 4.6 km at the same three sites."""
CLOUD_WATER_KG_M2 = 4.0
"""Judgement, no source. P.840's maps exceed 1.4 to 3.5 kg/m2 during 0.1 % of the year at the same three sites."""
ZENITH_GAS_DB = 0.038
"""ITU-R P.676, line by line, at 2.3 GHz from sea level: 0.0360 dB with 7.5 g/m3 of vapour, 0.0378 dB with 25 g/m3."""

LOWEST_ELEVATION_DEG = 5.0
SCINTILLATION_NOTE = (
    "the scintillation method of ITU-R P.618 is meant for higher bands (from memory: 7 to 14 GHz); carried to 2.3 GHz"
    " it adds fades under 0.7 dB at 20 deg for 53 minutes of a year"
)

# ITU-R P.838-3, Tables 1 to 4: a, b, c of the bell curves in log10(f), then slope and offset.
_K_H = ((-5.33980, -0.35351, -0.23789, -0.94158), (-0.10008, 1.2697, 0.86036, 0.64552))
_K_H_WIDTH, _K_H_LINE = (1.13098, 0.454, 0.15354, 0.16817), (-0.18961, 0.71147)
_K_V = ((-3.80595, -3.44965, -0.39902, 0.50167), (0.56934, -0.22911, 0.73042, 1.07319))
_K_V_WIDTH, _K_V_LINE = (0.81061, 0.51059, 0.11899, 0.27195), (-0.16398, 0.63297)
_A_H = ((-0.14318, 0.29591, 0.32177, -5.37610, 16.1721), (1.82442, 0.77564, 0.63773, -0.96230, -3.29980))
_A_H_WIDTH, _A_H_LINE = (-0.55187, 0.19822, 0.13164, 1.47828, 3.4399), (0.67849, -1.95537)
_A_V = ((-0.07771, 0.56727, -0.20238, -48.2991, 48.5833), (2.3384, 0.95545, 1.1452, 0.791669, 0.791459))
_A_V_WIDTH, _A_V_LINE = (-0.76284, 0.54039, 0.26809, 0.116226, 0.116479), (-0.053739, 0.83433)


def _bells(
    log_f: Floats, bells: tuple[tuple[float, ...], ...], widths: tuple[float, ...], line: tuple[float, float]
) -> Floats:
    heights, centres = bells
    total = line[0] * log_f + line[1]
    for height, centre, width in zip(heights, centres, widths, strict=True):
        total = total + height * np.exp(-(((log_f - centre) / width) ** 2))
    return np.asarray(total)


def rain_db_per_km(
    rate_mm_h: ArrayLike, frequency_ghz: ArrayLike, elevation_deg: ArrayLike, tilt_deg: float = 45.0
) -> Floats:
    """Specific attenuation of rain, k R^alpha (ITU-R P.838-3), 1 to 1000 GHz; a tilt of 45 deg is circular."""
    rate = within(rate_mm_h, 0.0, 1000.0, mark("a rain rate of"), MODEL, "mm/h")
    log_f = np.log10(within(frequency_ghz, 1.0, 1000.0, mark("a frequency of"), MODEL, "GHz"))
    elevation = np.radians(within(elevation_deg, 0.0, 90.0, mark("an elevation of"), MODEL, "deg"))
    k_h, k_v = 10 ** _bells(log_f, _K_H, _K_H_WIDTH, _K_H_LINE), 10 ** _bells(log_f, _K_V, _K_V_WIDTH, _K_V_LINE)
    a_h, a_v = _bells(log_f, _A_H, _A_H_WIDTH, _A_H_LINE), _bells(log_f, _A_V, _A_V_WIDTH, _A_V_LINE)
    turn = np.cos(elevation) ** 2 * np.cos(2.0 * np.radians(tilt_deg))
    k = (k_h + k_v + (k_h - k_v) * turn) / 2.0
    alpha = (k_h * a_h + k_v * a_v + (k_h * a_h - k_v * a_v) * turn) / (2.0 * k)
    return np.asarray(k * rate**alpha)


def cloud_db_per_km(frequency_ghz: ArrayLike, temperature_c: float = 0.0) -> Floats:
    """Attenuation of cloud, (dB/km) for each g/m3, so dB for each kg/m2 overhead (ITU-R P.840-6, 1 to 200 GHz)."""
    f = within(frequency_ghz, 1.0, 200.0, mark("a frequency of"), MODEL, "GHz")
    theta = 300.0 / (temperature_c + 273.15) - 1.0
    static = 77.66 + 103.3 * theta
    first, second = 0.0671 * static, 3.52
    relax = 20.20 - 146.0 * theta + 316.0 * theta**2
    relax_2 = 39.8 * relax
    lossless = (static - first) / (1.0 + (f / relax) ** 2) + (first - second) / (1.0 + (f / relax_2) ** 2) + second
    lossy = f * (static - first) / (relax * (1.0 + (f / relax) ** 2))
    lossy = lossy + f * (first - second) / (relax_2 * (1.0 + (f / relax_2) ** 2))
    return np.asarray(0.819 * f / (lossy * (1.0 + ((2.0 + lossless) / lossy) ** 2)))


@dataclass(frozen=True)
class Weather:
    """The most that each can take from a path, dB; arrays of the arguments' common shape."""

    gas_db: Floats
    cloud_db: Floats
    rain_db: Floats

    @property
    def total_db(self) -> Floats:
        """All three at once."""
        return self.gas_db + self.cloud_db + self.rain_db


def worst_weather(elevation_deg: ArrayLike, frequency_ghz: ArrayLike) -> Weather:
    """Upper bounds at 5 to 90 deg and 2 to 3 GHz. Raises OutsideDomain.

    Every path is taken as its height over the sine of the elevation, which overstates it near the horizon.
    """
    elevation = within(elevation_deg, LOWEST_ELEVATION_DEG, 90.0, mark("an elevation of"), MODEL, "deg")
    frequency = within(frequency_ghz, 2.0, 3.0, mark("a frequency of"), MODEL, "GHz")
    slant = 1.0 / np.sin(np.radians(elevation))
    # From 2 to 3 GHz the zenith gas moves by 0.0015 dB only: P.676, line by line, 0.0355 to 0.0370 dB.
    return Weather(
        gas_db=np.asarray(ZENITH_GAS_DB * slant * np.ones_like(frequency)),
        cloud_db=np.asarray(CLOUD_WATER_KG_M2 * cloud_db_per_km(frequency) * slant),
        rain_db=np.asarray(rain_db_per_km(CLOUDBURST_MM_H, frequency, elevation) * RAIN_HEIGHT_KM * slant),
    )


def weather_text(elevation_deg: float, frequency_ghz: float) -> str:
    """One sentence with the number: what the weather on the way can take at most. Raises OutsideDomain."""
    most = worst_weather(elevation_deg, frequency_ghz)
    total = np.ceil(float(most.total_db) * 10.0) / 10.0
    return tell(
        "Rain, gas and cloud on the way take no more than {total:.1f} dB at {elevation:.0f}° and "
        "{frequency:.2f} GHz, even in a cloudburst of {rain:.0f} mm/h: weather in the sky does not "
        "explain a larger loss; water, ice or snow on the antenna can.",
        total=total,
        elevation=elevation_deg,
        frequency=frequency_ghz,
        rain=CLOUDBURST_MM_H,
    )
