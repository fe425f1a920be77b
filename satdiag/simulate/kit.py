"""What a person has with them and how carefully they write: the same draw whatever the fault."""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

from satdiag.simulate.readout import SCALES, Scale


@dataclass(frozen=True)
class Kit:
    """Instruments and habits. Shares are judgements about workshops, nothing measured."""

    scale: Scale
    level_paths: tuple[str, ...]
    lock_paths: tuple[str, ...]
    bias_meter: bool
    noise_readout: bool
    errors_readout: bool
    ring_test: bool
    supply_meter: str  # none | spot | peak
    logs_account: bool
    direct: bool  # a readout at the receiver itself, not through the head unit
    logger_step_s: float | None
    own_lead: bool  # the test antenna comes on its own lead
    spare_receiver: bool
    memory_rows: bool
    identifiers: bool
    run_clock: bool
    page: bool
    misread: float
    diligence: float
    time_style: str
    hand_last: bool
    sheet_has_lineup: bool


def draw_kit(rng: Random) -> Kit:
    """Draw instruments and habits."""
    style = rng.random()
    if style < 0.55:
        paths: tuple[str, ...] = ("satellite:east", "satellite:west", "repeater")
    elif style < 0.9:
        paths = ("satellite", "repeater")
    else:
        paths = ("any",)
    locks = paths if rng.random() < 0.6 else (("any",) if rng.random() < 0.75 else ())
    logger = rng.random() < 0.4
    return Kit(
        scale=rng.choice(SCALES),
        level_paths=paths,
        lock_paths=locks,
        bias_meter=rng.random() < 0.8,
        noise_readout=rng.random() < 0.4,
        errors_readout=rng.random() < 0.25,
        ring_test=rng.random() < 0.75,
        supply_meter=rng.choices(("none", "spot", "peak"), (0.3, 0.35, 0.35))[0],
        logs_account=rng.random() < 0.88,
        direct=logger or rng.random() < 0.3,
        logger_step_s=float(rng.choice((5, 6, 8, 10))) if logger else None,
        own_lead=rng.random() < 0.7,
        spare_receiver=rng.random() < 0.4,
        memory_rows=rng.random() < 0.3,
        identifiers=rng.random() < 0.25,
        run_clock=logger and rng.random() < 0.5,
        page=rng.random() < 0.35,
        misread=rng.uniform(0.008, 0.02),
        diligence=rng.uniform(0.8, 0.97),
        time_style=rng.choices(("utc", "offset", "naive"), (0.5, 0.45, 0.05))[0],
        hand_last=logger and rng.random() < 0.4,
        sheet_has_lineup=rng.random() < 0.88,
    )
