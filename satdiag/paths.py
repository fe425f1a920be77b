"""The paths of the signal as people read them: 'satellite:east' of a log is 'satellite east', 'any' is 'any path'."""

from __future__ import annotations

from satdiag.language import tell


def path_words(path: str) -> str:
    """A path in a table or a legend: 'satellite east', 'satellite', 'repeater', 'any path'."""
    kind, _, name = path.partition(":")
    if kind == "satellite":
        return tell("satellite {name}", name=name) if name else tell("satellite")
    return tell("repeater") if kind == "repeater" else tell("any path")


def the_path(path: str) -> str:
    """A path in a sentence: "the satellite 'east'", 'the satellite', 'the repeater', 'whatever path'."""
    kind, _, name = path.partition(":")
    if kind == "satellite":
        return the_satellite(name) if name else tell("the satellite")
    return tell("the repeater") if kind == "repeater" else tell("whatever path")


def the_satellite(name: str) -> str:
    """A satellite in a sentence: one that is called 'east' without more would be read as a direction."""
    return tell("the satellite '{name}'", name=name)
