"""The eight ways of drawing worlds, and the three tiers of what a person looks at.

Tuning, calibration and the judgements (`final`, `later`, `unseen`, `afresh`, `untried` and `unmet`, each written
after the one before was judged) differ in seeds and in nearly every number below, so that a diagnosis which only
learned the habits of one world shows it on the next. Every number is a judgement: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

TIERS = ("sparse", "typical", "rich")


@dataclass(frozen=True)
class DrawSetting:
    """How worlds are drawn.

    `severity` are the two shapes of a beta distribution from hardly there (0) to as bad as it gets (1).
    `copied` is the chance that a reading is copied from the one before instead of read afresh, `readout_off_db` the
    spread of a readout's own constant error, which all of a log's levels share. `wrong_entry` is the chance that a
    row holds a slip of the pen. `looks_away` is how strongly people leave off looking at what seems right: missing,
    and not at random. `prevalence_seed` draws the factor between 1/3 and 3 on every fault's share. `related` is how
    often a second fault is one that goes with the first. `gives_up` is the chance, after each thing that a trouble
    calls for, that the person leaves it at that: missing, and not at random either. `put_back` is the share of trials
    of a known-good part in which the old part's return is a row of its own and everything is read again. `kinds_seed`
    draws the factor between 1/3 and 3 on how often each kind of a fault comes; without one all words of a list alike.
    `shops`: every world comes from one of so many workshops, each with factors of its own; 0: one workshop for all.
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
    related: float = 0.75
    gives_up: float = 0.0
    put_back: float = 0.0
    kinds_seed: int | None = None
    shops: int = 0

    def of_shop(self, shop: int) -> DrawSetting:
        """The setting as it is in one of its workshops, counted from 0."""
        kinds_seed = None if self.kinds_seed is None else 1000 * self.kinds_seed + shop
        return replace(self, prevalence_seed=1000 * self.prevalence_seed + shop, kinds_seed=kinds_seed, shops=0)


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
            put_back=0.35,
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
            put_back=0.5,
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
        DrawSetting(
            name="later",
            severity=(1.45, 1.15),
            copied=0.15,
            readout_off_db=0.55,
            wrong_entry=1 / 165,
            misread=(0.008, 0.032),
            swapped_labels=0.03,
            looks_away=0.67,
            prevalence_seed=404,
            several=0.15,
            midway=(0.07, 0.08, 0.12),
            other=0.025,
            related=0.5,
            gives_up=0.08,
            put_back=0.45,
        ),
        # Faults of every severity alike, more slips of the pen, fewer copied readings, readouts further off, people
        # who give up sooner and seldom write down that the old part is back.
        DrawSetting(
            name="unseen",
            severity=(1.1, 1.1),
            copied=0.03,
            readout_off_db=1.1,
            wrong_entry=1 / 120,
            misread=(0.005, 0.028),
            swapped_labels=0.05,
            looks_away=0.70,
            prevalence_seed=505,
            several=0.14,
            midway=(0.09, 0.07, 0.11),
            other=0.035,
            related=0.5,
            gives_up=0.12,
            put_back=0.25,
            kinds_seed=506,
        ),
        # Vehicles of sixty workshops, each with its own faults and kinds of them; faults rather severe, many copied
        # readings, people who look away less and mostly write down that the old part is back.
        DrawSetting(
            name="afresh",
            severity=(1.35, 0.95),
            copied=0.18,
            readout_off_db=0.75,
            wrong_entry=1 / 150,
            misread=(0.007, 0.022),
            swapped_labels=0.045,
            looks_away=0.55,
            prevalence_seed=606,
            several=0.13,
            midway=(0.08, 0.09, 0.09),
            other=0.045,
            related=0.6,
            gives_up=0.05,
            put_back=0.6,
            kinds_seed=607,
            shops=60,
        ),
        # Vehicles of ninety workshops; faults rather slight, readouts far off, people who seldom give up but often
        # look away, more that comes and goes, fewer second faults that go with the first.
        DrawSetting(
            name="untried",
            severity=(1.2, 1.35),
            copied=0.08,
            readout_off_db=0.95,
            wrong_entry=1 / 175,
            misread=(0.006, 0.026),
            swapped_labels=0.035,
            looks_away=0.72,
            prevalence_seed=707,
            several=0.11,
            midway=(0.07, 0.08, 0.11),
            other=0.03,
            related=0.45,
            gives_up=0.03,
            put_back=0.4,
            kinds_seed=708,
            shops=90,
        ),
        # Vehicles of a hundred and ten workshops; faults of every size, people who copy and slip more, who give up
        # more often and look away less, fewer things that come and go.
        DrawSetting(
            name="unmet",
            severity=(1.4, 1.1),
            copied=0.13,
            readout_off_db=0.65,
            wrong_entry=1 / 230,
            misread=(0.009, 0.02),
            swapped_labels=0.028,
            looks_away=0.58,
            prevalence_seed=809,
            several=0.13,
            midway=(0.05, 0.06, 0.08),
            other=0.036,
            related=0.55,
            gives_up=0.07,
            put_back=0.55,
            kinds_seed=810,
            shops=110,
        ),
    )
}
