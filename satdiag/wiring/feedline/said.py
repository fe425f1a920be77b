"""The sentences on a sweep: the verdict, then what it rests on, what limits it and what to make of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from satdiag.findings import Interval
from satdiag.wiring.feedline.cable import ANY_VELOCITY, Range
from satdiag.wiring.feedline.distance import PLANE_SD_M
from satdiag.wiring.feedline.ends import End, Place
from satdiag.wiring.feedline.kinds import WHOLE
from satdiag.wiring.feedline.reflection import gamma_of_return_loss, return_loss_db, vswr
from satdiag.wiring.feedline.setup import Setup

HIDES_DB = 3.0
"""From this one-way loss on an open end looks like a fair match (VSWR 3) at the near end."""
_BROKEN = {
    "open": "It is open there",
    "short": "It is shorted there",
    "step": "Part of the wave passes there",
    "unknown": "This sweep does not show whether it is open or shorted there",
}


_LIKE = {"open": ", as from an open end", "short": ", as from a short", "step": "", "unknown": ""}
_ALSO = {
    "open": "An open port of the antenna or a broken antenna looks the same",
    "short": "A short in the antenna looks the same",
    "step": "A broken antenna may look the same",
    "unknown": "A broken antenna looks the same",
}
_NO_FAULT = (
    "With the feed off a sound amplifier does that, and so does any antenna outside its band: this shows no fault."
)


@dataclass(frozen=True)
class Scene:
    """What the sentences speak of. `loss` is one way, over `loss_length_m` at `loss_mhz`."""

    setup: Setup
    end: End
    fault: Place | None
    places: tuple[Place, ...]
    range_m: float
    width_m: float
    smeared_m: tuple[Interval, ...]
    hidden_db: float | None
    loss: Range | None
    loss_mhz: float
    loss_length_m: float | None
    end_return_loss_db: float | None
    end_return_loss_db_90: Interval | None


def metres(value: float) -> str:
    """'3.20 m'."""
    return f"{value:.2f} m"


def between(ends: Interval) -> str:
    """'3.14 to 3.26 m'."""
    return f"{ends[0]:.2f} to {ends[1]:.2f} m"


def place_words(one: Place) -> str:
    """'3.20 m (3.14 to 3.26 m)', or the range alone where the velocity factor is not known."""
    middle, ends = one.distance.middle_m, between(one.distance.interval_m)
    return f"between {ends.replace(' to ', ' and ')}" if middle is None else f"at {metres(middle)} ({ends})"


def chance(value: float | None) -> str:
    """'97 %', never 0 or 100."""
    whole = round(100.0 * (value or 0.0))
    return "under 1 %" if whole < 1 else "over 99 %" if whole > 99 else f"{whole} %"


def verdict_text(scene: Scene) -> str:
    """One or two sentences on where the lead ends, and one on a fault that shows elsewhere than at its end."""
    fault, end = scene.fault, scene.end
    if fault is None or fault is end.at or fault is end.most:
        return _end_text(scene)
    return (
        f"{_end_text(scene)} But a fault shows on the way: {place_words(fault)} part of the wave comes back, a "
        f"return loss of {_fault_db(fault)}."
    )


def _fault_db(fault: Place) -> str:
    return f"{return_loss_db(max(fault.corrected.middle, 1e-6)):.0f} dB"


def _end_text(scene: Scene) -> str:
    end, at = scene.end, scene.end.at
    expected = scene.setup.expected_length_m
    if end.why == "beyond-range" and expected is not None:
        return (
            f"Cannot tell where the lead ends: the frequency step of this sweep reaches {metres(scene.range_m)}, and "
            f"the antenna is expected at {metres(expected)}. Sweep with more points or a smaller span."
        )
    if end.why == "unplugged":
        return (
            "Cannot tell where the lead ends: all of the wave comes back right where the lead should begin. It is "
            "not plugged in, a calibration standard is still on, or its first plug is open or shorted."
        )
    if end.why == "nothing":
        return (
            "No clear end: no reflection stands out. A well matched antenna behind a lossy lead looks like this, and "
            f"so does a lead longer than the sweep reaches.{_hidden(scene)}"
        )
    if end.why == "partial":
        worst = max(real(scene.places), key=lambda one: one.corrected.middle)
        expected_words = f" near the antenna's place, {metres(expected)}," if expected is not None else ""
        return (
            f"No clear end: no reflection stands out{expected_words} and none sends most of the wave back. The "
            f"strongest is {place_words(worst)}.{_hidden(scene)}"
        )
    if end.why == "coarse" and expected is not None:
        return (
            f"Cannot tell: the span of this sweep resolves {metres(scene.width_m)} and the lead is "
            f"{metres(expected)} long. Sweep a wider span."
        )
    if end.why == "no-length":
        return _without_length(scene)
    assert at is not None
    if end.most is not None:
        return (
            f"Most of the wave comes back {place_words(end.most)}: a broken place or a very bad joint. Some passes "
            f"and comes back {place_words(at)}, where the antenna is expected, {metres(expected or 0.0)} "
            f"({chance(end.p_at)} sure)."
        )
    if end.why == "between":
        return (
            f"Cannot tell: the lead ends {place_words(at)} and the antenna is expected at {metres(expected or 0.0)}; "
            f"the chance that it ends before the antenna is {chance(end.p_before)}, at it {chance(end.p_at)}, beyond "
            f"{chance(end.p_beyond)}. A closer velocity factor would decide it."
        )
    return _judged_text(scene, at, metres(expected or 0.0))


def _hidden(scene: Scene) -> str:
    if scene.hidden_db is None:
        return ""
    return (
        f" At the antenna's place a return loss better than {scene.hidden_db:.0f} dB would not stand out of this "
        "sweep's noise."
    )


def _without_length(scene: Scene) -> str:
    at = scene.end.at
    if at is not None:
        return (
            f"The lead ends {place_words(at)}. {_BROKEN[at.kind]}. State the expected length, and it is said whether "
            "that is the antenna."
        )
    found = real(scene.places)
    worst = max(found, key=lambda one: one.corrected.middle)
    return (
        f"No place sends most of the wave back; the strongest reflection is {place_words(worst)}. State the expected "
        "length, and it is said whether that is the antenna."
    )


def _judged_text(scene: Scene, at: Place, expected: str) -> str:
    where, end = place_words(at), scene.end
    if end.state == "before":
        return (
            f"The lead ends {where}, before the antenna at {expected} ({chance(end.p_before)} sure). "
            f"{_BROKEN[at.kind]}.{_other_velocity(scene, at)}"
        )
    if end.state == "beyond":
        return (
            f"The lead ends {where}, beyond the antenna's place at {expected} ({chance(end.p_beyond)} sure): the "
            "lead is longer than stated, another cable than stated, or goes somewhere else."
            f"{_other_velocity(scene, at)}"
        )
    text = f"The lead reaches the antenna: it ends {where}, expected at {expected} ({chance(end.p_at)} sure)."
    if at.corrected.low >= WHOLE:
        return (
            f"{text} Most of the wave comes back there{_LIKE[at.kind]}. {_NO_FAULT} {_ALSO[at.kind]}; a sweep cannot "
            "tell these apart."
        )
    if at.corrected.high >= WHOLE:
        return (
            f"{text} From {100 * at.corrected.low:.0f} to {100 * at.corrected.high:.0f} % of the wave comes back "
            f"there. {_NO_FAULT}"
        )
    return text


def _other_velocity(scene: Scene, at: Place) -> str:
    """The velocity factor that would put the end at the antenna, where some cable has it."""
    setup = scene.setup
    if setup.velocity is None or setup.expected_length_m is None:
        return ""
    needed = (setup.expected_length_m + setup.reference_plane_m) / (at.distance.usual_m + setup.reference_plane_m)
    velocity = setup.velocity * needed
    if not ANY_VELOCITY[0] <= velocity <= ANY_VELOCITY[1]:
        return ""
    return f" A velocity factor of {velocity:.2f} would put it at the antenna: be sure of the cable."


def real(places: Sequence[Place]) -> list[Place]:
    """The reflections that are no echo and no skirt."""
    return [one for one in places if one.peak.role == "reflection"]


def sentences(scene: Scene) -> tuple[str, ...]:
    """What the verdict rests on and what limits it."""
    parts = (_uncertainty(scene), _joints(scene), _range(scene), _loss(scene), _antenna(scene), _water(scene))
    return tuple(part for part in parts if part)


def _uncertainty(scene: Scene) -> str:
    setup = scene.setup
    low, high = setup.velocity_range
    if setup.velocity is None:
        return (
            "Neither the velocity factor nor the class of cable is known: distances are given for any from "
            f"{low:g} to {high:g}, and as delays. State --vf or --cable to narrow them."
        )
    farthest = max((one.distance.usual_m for one in real(scene.places)), default=setup.expected_length_m or 1.0)
    half = abs(farthest + setup.reference_plane_m) * (high - low) / (2.0 * setup.velocity)
    source = "as stated" if setup.velocity_from == "stated" else "that of the class of cable"
    return (
        f"The velocity factor, {source}, is {setup.velocity:.3g} (from {low:.3g} to {high:.3g}): that makes "
        f"{1000 * half:.0f} mm either way at {metres(farthest)}. The plane of calibration adds about "
        f"{1645 * PLANE_SD_M:.0f} mm, the transform itself a few millimetres at most."
    )


def _joints(scene: Scene) -> str:
    fault = scene.fault
    if fault is None or fault is scene.end.at:
        return ""
    near = [
        joint for joint in scene.setup.joints_m if abs(joint - fault.distance.usual_m) <= max(0.15, scene.width_m)
    ]
    at_joint = f" That is the joint stated at {metres(near[0])}." if near else ""
    return (
        f"On the way a reflection stands {place_words(fault)}, with a return loss of {_fault_db(fault)} once the "
        f"cable's loss is taken off: a bad plug or joint, a crushed or a wet place.{at_joint}"
    )


def _range(scene: Scene) -> str:
    return (
        f"This sweep reads distances up to {metres(scene.range_m)} and tells two places apart from "
        f"{metres(scene.width_m)} on. A reflection from farther away folds back: it would show "
        f"{metres(scene.range_m + scene.setup.reference_plane_m)} nearer than it is, and that cannot be seen here."
    )


def _loss(scene: Scene) -> str:
    if scene.loss is None or scene.loss_length_m is None or scene.loss.middle < HIDES_DB:
        return ""
    low, middle, high = scene.loss
    name = f"of {scene.setup.cable}" if scene.setup.cable else "of a cable of which nothing is known"
    looks = 2.0 * middle
    ratio = vswr(gamma_of_return_loss(looks))
    return (
        f"A lossy cable hides faults of the antenna: {metres(scene.loss_length_m)} {name} lose {middle:.1f} dB one "
        f"way at {scene.loss_mhz:g} MHz ({low:.1f} to {high:.1f}), so an open end there would show a return loss of "
        f"{looks:.0f} dB at the receiver's end, VSWR {ratio:.2f}, which looks "
        f"{'fine' if ratio <= 1.5 else 'better than it is'}."
    )


def _antenna(scene: Scene) -> str:
    if scene.end_return_loss_db_90 is None or scene.end.state != "at":
        return ""
    low, high = scene.end_return_loss_db_90
    if scene.end_return_loss_db is None:
        return (
            f"The antenna has a return loss of {low:.0f} to {high:.0f} dB in the band of the service: what the place "
            "in front of it lets through is not known more closely."
        )
    return (
        f"The antenna has a return loss of {scene.end_return_loss_db:.0f} dB in the band of the "
        f"service once the cable's loss is taken off ({low:.0f} to {high:.0f} dB)."
    )


def _water(scene: Scene) -> str:
    if not scene.smeared_m:
        return ""
    where = " and ".join(f"from {a:.1f} to {b:.1f} m" for a, b in scene.smeared_m)
    return (
        f"Low reflections are smeared {where} instead of standing at single places: possibly water in the cable. "
        "Compare after a dry day, and open the lowest plug."
    )
