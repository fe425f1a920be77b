"""An invented line-up: plain category words, invented channel names, three packages."""

from __future__ import annotations

from dataclasses import replace
from random import Random

from satdiag.simulate.setup import Channel

MUSIC = ("Rock", "Jazz", "Classical", "Country", "Folk", "Dance")
WORDS = ("News", "Talk", "Sport", "Comedy", "Weather", "Traffic")
FIRST = (
    "Slow", "Amber", "North", "Paper", "Quiet", "Copper", "Winding", "Salt", "Linen", "Second",
    "Hollow", "Bright", "Dusty", "Early", "Plain", "Tin", "Long", "Cedar", "Open", "Blue",
)  # fmt: skip
SECOND = (
    "River", "Lantern", "Meadow", "Ferry", "Orchard", "Kettle", "Harbour", "Ladder", "Gate", "Window",
    "Causeway", "Barn", "Signal", "Bench", "Lamp", "Mill", "Field", "Bridge", "Stair", "Well",
)  # fmt: skip


def make_lineup(rng: Random, size: int) -> list[Channel]:
    """`size` channels in numeric order: about two thirds music, the rest spoken; one to three open ones."""
    names = [f"{first} {second}" for first in FIRST for second in SECOND]
    rng.shuffle(names)
    categories = sorted(
        (rng.choice(MUSIC) if rng.random() < 0.64 else rng.choice(WORDS) for _ in range(size)),
        key=lambda word: (MUSIC + WORDS).index(word),
    )
    numbers = sorted(rng.sample(range(2, 2 + 2 * size), size))
    channels = [
        Channel(number, name, category, ("music", "all") if category in MUSIC else ("all",))
        for number, name, category in zip(numbers, names, categories, strict=False)
    ]
    for place in rng.sample(range(size), rng.randint(1, 3)):
        channels[place] = replace(channels[place], packages=("open",))
    return channels


def age(rng: Random, channels: list[Channel]) -> list[Channel]:
    """A line-up that is a little out of date: a channel gone, a package not written down."""
    out = channels[:]
    for place in rng.sample(range(len(out)), rng.randint(1, 2)):
        if not out[place].is_open:
            out[place] = replace(out[place], shown=False) if rng.random() < 0.5 else replace(out[place], known=False)
    return out


def csv_text(channels: list[Channel]) -> str:
    """lineup.csv."""
    lines = ["channel,name,category,packages"]
    for channel in channels:
        packages = " ".join(channel.packages) if channel.known else ""
        lines.append(f"{channel.number},{channel.name},{channel.category},{packages}")
    return "\n".join(lines) + "\n"
