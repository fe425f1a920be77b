"""Supply codes of ISO 16750-2, and which of them a supply kept.

Lower and upper limits of codes A to D for 12 V systems: ISO 16750-2:2010, table 1 (function class A inside).
"""

from __future__ import annotations

from satdiag.findings.supply import Code

CODES: dict[Code, tuple[float, float]] = {"A": (6.0, 16.0), "B": (8.0, 16.0), "C": (9.0, 16.0), "D": (10.5, 16.0)}
"""Code -> (lowest, highest) voltage at which a unit of that code must work fully; each row tighter than the last."""

DIP_V = CODES["D"][0]
"""Below the tightest code's limit: a dip."""

OVER_V = CODES["D"][1]
"""Above every code's limit: over-voltage."""

DEFAULT: Code = "C"
"""The code taken where job.toml names none (judgement, no source): the usual one for units in the cabin."""


def code_kept(lowest_v: float | None, highest_v: float | None) -> Code | None:
    """The tightest code whose range holds both; None if none does, or nothing was read."""
    ends = [volts for volts in (lowest_v, highest_v) if volts is not None]
    if not ends:
        return None
    kept = [code for code, (low_v, high_v) in CODES.items() if low_v <= min(ends) and max(ends) <= high_v]
    return kept[-1] if kept else None
