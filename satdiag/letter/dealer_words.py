"""Words of the dealer's letter: short cautions, scales, and what a state of a measurement is called."""

from __future__ import annotations

from satdiag.language import mark

STATES = {
    "works": mark("It works."),
    "filling": mark("Nothing is wrong so far: channels are still coming in."),
    "explained": mark("Nothing to repair."),
    "fault": "",
    "cannot-tell": mark("The log does not tell yet."),
}

SEEMS_EXPLAINED = mark("As it seems, nothing to repair.")
"""Of 'explained' where it is less than very likely."""

CAUTIONS = {
    "airbag": mark(
        "Antenna leads run beside airbag and belt wiring: make it safe by the maker's steps before you unplug."
    ),
    "feed": mark(
        "Switch the receiver off before you plug or unplug the antenna lead; never bring 12 V to its centre."
    ),
    "sweep": mark("Never connect an analyser to a lead that carries the feed."),
    "battery": mark("A long wait with the ignition on drains the battery: put a charger on, in a ventilated place."),
    "tap": mark(
        "A tap on a fuse needs a small fuse of its own, and none from airbag, brake, engine or light circuits."
    ),
    "garage": mark("Never run the engine in a closed garage: exhaust gas kills."),
    "roof": mark("Use a steady platform at the roof, and keep off it when it is wet, icy or stormy."),
    "driving": mark("Never watch a screen or time channel changes while you drive."),
    "fibre": mark(
        "Do not look into open fibres; power the bus down before you move a plug, and bend no fibre sharply."
    ),
}
"""By the keys of the longer ones in the report. Common practice, no source."""

RULES = mark("Local codes, the vehicle maker's instructions and the practice of licensed trades come first.")

STRENGTHS = {
    "slight": mark("slight"),
    "moderate": mark("moderate"),
    "strong": mark("strong"),
    "very strong": mark("very strong"),
    "decisive": mark("decisive"),
}

STRENGTH_SCALE = mark(
    "How strong a reading is, by how much it moves the odds on its own: up to 2 times slight, up to 5 times "
    "moderate, "
    "up to 20 times strong, up to 100 times very strong, more decisive."
)

PROBABILITY_SCALE = mark(
    "A probability of 70 % means: of 100 vehicles with these same readings, about 70 have this cause."
)

BIAS = {
    "normal": mark("normal"),
    "open": mark("open: no current flows"),
    "short": mark("shorted"),
    "low": mark("less current than normal"),
    "high": mark("more current than normal"),
    "absent": mark("neither voltage nor current"),
}

SUPPLY = {"normal": mark("in order"), "low": mark("too low"), "dropouts": mark("drops out")}
