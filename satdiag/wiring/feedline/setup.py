"""What is known of the lead before the sweep is read: velocity factor with its range, cable, lengths, band."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from satdiag.lead_keys import Feedline
from satdiag.wiring.feedline.cable import ANY_VELOCITY, CLASSES, VELOCITY_SPREAD

Origin = Literal["stated", "class", "unknown"]


@dataclass(frozen=True)
class Setup:
    """`velocity` is None where neither a velocity factor nor a class of cable was stated; its range is always there.

    Lengths count from the receiver's end of the lead, `reference_plane_m` beyond the plane of calibration. `band_mhz`
    is the band of the service.
    """

    velocity: float | None
    velocity_range: tuple[float, float]
    velocity_from: Origin
    cable: str | None = None
    expected_length_m: float | None = None
    reference_plane_m: float = 0.0
    joints_m: tuple[float, ...] = ()
    band_mhz: tuple[float, float] | None = None

    @property
    def usual_velocity(self) -> float:
        """The velocity factor, or the middle of its range."""
        return self.velocity if self.velocity is not None else 0.5 * sum(self.velocity_range)


def setup_of(lead: Feedline, band_mhz: tuple[float, float] | None = None) -> Setup:
    """The setup that the job sheet or the options of a command say.

    A stated velocity factor without a range is taken to be good to 2 % (judgement, no source); without one the class
    of cable says it; without that it may be anything from 0.66 to 0.85.
    """
    rest = Setup(
        velocity=None,
        velocity_range=ANY_VELOCITY,
        velocity_from="unknown",
        cable=lead.cable,
        expected_length_m=lead.expected_length_m,
        reference_plane_m=lead.reference_plane_m,
        joints_m=lead.joints_m,
        band_mhz=band_mhz,
    )
    stated, ends = lead.velocity_factor, lead.velocity_factor_range
    if stated is not None or ends is not None:
        middle = stated if stated is not None else 0.5 * (ends or ANY_VELOCITY)[0] + 0.5 * (ends or ANY_VELOCITY)[1]
        around = (middle * (1 - VELOCITY_SPREAD), min(1.0, middle * (1 + VELOCITY_SPREAD)))
        return replace(rest, velocity=middle, velocity_range=ends or around, velocity_from="stated")
    if lead.cable is not None:
        low, usual, high = CLASSES[lead.cable].velocity
        return replace(rest, velocity=usual, velocity_range=(low, high), velocity_from="class")
    return rest
