"""What a person of each tier has with them: readouts on every scale, with a floor or without, and instruments."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from random import Random

from satdiag.simulate.kit import Kit
from satdiag.simulate.radio import OWN_BANDWIDTH_DBHZ
from satdiag.simulate.readout import Scale, number
from satdiag.simulate.worlds.settings import DrawSetting


@dataclass(frozen=True)
class Readout(Scale):
    """A readout with a constant error of its own; without a floor it shows what the demodulator makes of noise."""

    off_db: float = 0.0
    has_floor: bool = True

    def read(self, cn_db: float, locked: bool, rng: Random) -> str:
        """Text of one reading."""
        seen = max(-30.0, cn_db) + self.off_db + rng.gauss(0.0, self.error_db)
        if self.unit in ("dB", "dB-Hz"):
            above = OWN_BANDWIDTH_DBHZ if self.unit == "dB-Hz" else 0.0
            if not self.has_floor and not locked:
                return number(above + rng.gauss(-2.0, 1.2) if seen < 0.0 else above + seen - 1.0, self.step)
            least = 60.0 if self.unit == "dB-Hz" else 0.0
            return number(max(least, seen + above) if locked else least, self.step)
        if self.unit == "percent":
            value = 100.0 * (1.0 - math.exp(-max(0.0, seen - 1.0) / 8.0))
            return number(max(0.0, min(100.0, value + (0.0 if self.has_floor else rng.uniform(2.0, 7.0)))), 1.0)
        bars = float(self.unit.split("/")[1])
        return number(max(0.0, min(bars, math.floor((seen - 1.0) * bars / 13.0 + 0.3))), 1.0)


UNITS = (
    ("dB", 0.1, 0.3),
    ("dB", 0.5, 0.3),
    ("dB-Hz", 0.1, 0.3),
    ("percent", 1.0, 0.4),
    ("bars/5", 1.0, 0.4),
    ("bars/10", 1.0, 0.4),
)


def draw_readout(rng: Random, setting: DrawSetting, only_bars: bool = False) -> Readout:
    """A scale; head units show bars or percent."""
    unit, step, error_db = rng.choice(UNITS[3:] if only_bars else UNITS)
    has_floor = unit.startswith("bars") or rng.random() < 0.75
    floor = {"dB": 0.0, "dB-Hz": 60.0}.get(unit) if has_floor else None
    return Readout(unit, floor, step, error_db, rng.gauss(0.0, setting.readout_off_db), has_floor)


def draw_tools(rng: Random, setting: DrawSetting, tier: str, careful: float) -> Kit:
    """Instruments and habits of a tier."""
    paths: tuple[str, ...] = rng.choices(
        (("satellite:east", "satellite:west", "repeater"), ("satellite", "repeater"), ("any",)), (0.5, 0.35, 0.15)
    )[0]
    sparse, rich = tier == "sparse", tier == "rich"
    if sparse:  # a head unit shows one row of bars at best
        paths = ("any",) if rng.random() < 0.4 else ()
    locks = paths if rng.random() < 0.55 else (("any",) if rng.random() < 0.6 else ())
    logger = rich and rng.random() < 0.35
    return Kit(
        scale=draw_readout(rng, setting, only_bars=sparse),
        level_paths=paths,
        lock_paths=() if sparse else locks,
        bias_meter=rng.random() < (0.95 if rich else 0.2) and not sparse,
        noise_readout=rich and rng.random() < 0.6,
        errors_readout=rich and rng.random() < 0.35,
        ring_test=rng.random() < (0.92 if rich else 0.15) and not sparse,
        supply_meter="none"
        if sparse
        else rng.choices(("none", "spot", "peak"), (0.1, 0.4, 0.5) if rich else (0.6, 0.3, 0.1))[0],
        logs_account=rng.random() < {"sparse": 0.3, "typical": 0.7, "rich": 0.85}[tier],
        direct=rich and rng.random() < 0.85,
        logger_step_s=float(rng.choice((6, 10, 15))) if logger else None,
        own_lead=rng.random() < 0.7,
        spare_receiver=rng.random() < (0.5 if rich else 0.1),
        memory_rows=False,
        identifiers=rng.random() < 0.2,
        run_clock=False,
        page=tier == "typical" or (rich and rng.random() < 0.4),
        misread=rng.uniform(*setting.misread),
        diligence=(0.75 + 0.23 * careful) if rich else (0.5 + 0.45 * careful),
        time_style=rng.choices(("utc", "offset", "naive"), (0.5, 0.45, 0.05))[0],
        hand_last=logger and rng.random() < 0.3,
        sheet_has_lineup=rng.random() < {"sparse": 0.6, "typical": 0.88, "rich": 0.92}[tier],
    )


def everything(kit: Kit) -> Kit:
    """The same person with every instrument: what a test may need."""
    paths = kit.level_paths if len(kit.level_paths) > 1 else ("satellite:east", "satellite:west", "repeater")
    return replace(
        kit, level_paths=paths, lock_paths=paths, bias_meter=True, noise_readout=True, errors_readout=True,
        ring_test=True, supply_meter="peak", logs_account=True, direct=True, own_lead=True, spare_receiver=True,
        diligence=1.0,
    )  # fmt: skip
