"""The three ways of drawing worlds, and the three tiers of what a person looks at.

Tuning, calibration and the final judgement differ in seeds and in every number below, so that a diagnosis which only
learned one world's habits shows it on the next. Every number is a judgement: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

TIERS = ("sparse", "typical", "rich")


@dataclass(frozen=True)
class DrawSetting:
    """How worlds are drawn.

    `severity` are the two shapes of a beta distribution from hardly there (0) to as bad as it gets (1).
    `copied` is the chance that a reading is copied from the one before instead of read afresh, `readout_off_db` the
    spread of a readout's own constant error, which all of a log's levels share. `wrong_entry` is the chance that a
    row holds a slip of the pen. `looks_away` is how strongly people leave off looking at what seems right: missing,
    and not at random. `prevalence_seed` draws the factor between 1/3 and 3 on every fault's share.
    """

    name: str
    severity: tuple[float, float]
    copied: float
    readout_off_db: float
    wrong_entry: float
    misread: tuple[float, float]
    swapped_labels: float
    looks_away: float
    prevalence_seed: int
    several: float  # share of faulty vehicles with a second fault, a tenth of it with a third
    midway: tuple[float, float, float]  # shares: began midway, mended midway, comes and goes
    other: float  # share of worlds with something that is in no list


DRAW_SETTINGS = {
    setting.name: setting
    for setting in (
        DrawSetting(
            name="tune",
            severity=(1.6, 1.3),
            copied=0.06,
            readout_off_db=0.4,
            wrong_entry=1 / 200,
            misread=(0.006, 0.02),
            swapped_labels=0.04,
            looks_away=0.60,
            prevalence_seed=101,
            several=0.10,
            midway=(0.08, 0.07, 0.08),
            other=0.035,
        ),
        DrawSetting(
            name="calibrate",
            severity=(1.3, 1.5),
            copied=0.12,
            readout_off_db=0.7,
            wrong_entry=1 / 140,
            misread=(0.01, 0.03),
            swapped_labels=0.06,
            looks_away=0.75,
            prevalence_seed=202,
            several=0.13,
            midway=(0.06, 0.09, 0.10),
            other=0.03,
        ),
        DrawSetting(
            name="final",
            severity=(1.9, 1.7),
            copied=0.09,
            readout_off_db=0.9,
            wrong_entry=1 / 200,
            misread=(0.004, 0.025),
            swapped_labels=0.05,
            looks_away=0.45,
            prevalence_seed=303,
            several=0.12,
            midway=(0.10, 0.06, 0.07),
            other=0.04,
        ),
    )
}
