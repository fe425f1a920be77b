"""What the verdict on a sweep rests on and what limits it, in sentences; and what to make of it."""

from __future__ import annotations

from satdiag.language import tell
from satdiag.wiring.chained import chained
from satdiag.wiring.feedline.distance import PLANE_SD_M
from satdiag.wiring.feedline.reflection import gamma_of_return_loss, vswr
from satdiag.wiring.feedline.said import Scene, loss_words, metres, place_words, real

HIDES_DB = 3.0
"""From this one-way loss on an open end looks like a fair match (VSWR 3) at the near end."""


def sentences(scene: Scene) -> tuple[str, ...]:
    """What the verdict rests on and what limits it."""
    parts = (_uncertainty(scene), _joints(scene), _range(scene), _loss(scene), _antenna(scene), _water(scene))
    return tuple(part for part in parts if part)


def _uncertainty(scene: Scene) -> str:
    setup = scene.setup
    low, high = setup.velocity_range
    if setup.velocity is None:
        return tell(
            "Neither the velocity factor nor the class of cable is known: distances are given for any from {low:g} "
            "to {high:g}, and as delays. State --vf or --cable to narrow them.",
            low=low,
            high=high,
        )
    farthest = max((one.distance.usual_m for one in real(scene.places)), default=setup.expected_length_m or 1.0)
    half = abs(farthest + setup.reference_plane_m) * (high - low) / (2.0 * setup.velocity)
    values = {
        "velocity": setup.velocity,
        "low": low,
        "high": high,
        "half": 1000 * half,
        "farthest": farthest,
        "plane": 1645 * PLANE_SD_M,
    }
    if setup.velocity_from == "stated":
        return tell(
            "The velocity factor, as stated, is {velocity:.3g} (from {low:.3g} to {high:.3g}): that makes {half:.0f} "
            "mm either way at {farthest:.2f} m. The plane of calibration adds about {plane:.0f} mm, the transform "
            "itself a few millimetres at most.",
            **values,
        )
    return tell(
        "The velocity factor, that of the class of cable, is {velocity:.3g} (from {low:.3g} to {high:.3g}): that "
        "makes {half:.0f} mm either way at {farthest:.2f} m. The plane of calibration adds about {plane:.0f} mm, "
        "the transform itself a few millimetres at most.",
        **values,
    )


def _joints(scene: Scene) -> str:
    fault = scene.fault
    if fault is None or fault is scene.end.at:
        return ""
    said = tell(
        "On the way a reflection stands {place}, with a return loss of {loss} once the cable's loss is taken off: a "
        "bad plug or joint, a crushed or a wet place.",
        place=place_words(fault),
        loss=loss_words(fault),
    )
    near = [
        joint for joint in scene.setup.joints_m if abs(joint - fault.distance.usual_m) <= max(0.15, scene.width_m)
    ]
    return f"{said} {tell('That is the joint stated at {place}.', place=metres(near[0]))}" if near else said


def _range(scene: Scene) -> str:
    return tell(
        "This sweep reads distances up to {reach} and tells two places apart from {width} on. A reflection from "
        "farther away folds back: it would show {nearer} nearer than it is, and that cannot be seen here.",
        reach=metres(scene.range_m),
        width=metres(scene.width_m),
        nearer=metres(scene.range_m + scene.setup.reference_plane_m),
    )


def _loss(scene: Scene) -> str:
    if scene.loss is None or scene.loss_length_m is None or scene.loss.middle < HIDES_DB:
        return ""
    low, middle, high = scene.loss
    looks = 2.0 * middle
    ratio = vswr(gamma_of_return_loss(looks))
    cable = scene.setup.cable
    length = metres(scene.loss_length_m)
    values: dict[str, object] = {"loss": middle, "mhz": scene.loss_mhz, "low": low, "high": high}
    values |= {"looks": looks, "ratio": ratio}
    values["lead"] = (
        tell("{length} of {cable}", length=length, cable=cable)
        if cable
        else tell("{length} of a cable of which nothing is known", length=length)
    )
    if ratio <= 1.5:
        return tell(
            "A lossy cable hides faults of the antenna: {lead} lose {loss:.1f} dB one way at {mhz:g} MHz ({low:.1f} "
            "to {high:.1f}), so an open end there would show a return loss of {looks:.0f} dB at the receiver's end, "
            "VSWR {ratio:.2f}, which looks fine.",
            **values,
        )
    return tell(
        "A lossy cable hides faults of the antenna: {lead} lose {loss:.1f} dB one way at {mhz:g} MHz ({low:.1f} to "
        "{high:.1f}), so an open end there would show a return loss of {looks:.0f} dB at the receiver's end, VSWR "
        "{ratio:.2f}, which looks better than it is.",
        **values,
    )


def _antenna(scene: Scene) -> str:
    if scene.end_return_loss_db_90 is None or scene.end.state != "at":
        return ""
    low, high = scene.end_return_loss_db_90
    if scene.end_return_loss_db is None:
        return tell(
            "The antenna has a return loss of {low:.0f} to {high:.0f} dB in the band of the service: what the place "
            "in front of it lets through is not known more closely.",
            low=low,
            high=high,
        )
    return tell(
        "The antenna has a return loss of {loss:.0f} dB in the band of the service once the cable's loss is taken "
        "off ({low:.0f} to {high:.0f} dB).",
        loss=scene.end_return_loss_db,
        low=low,
        high=high,
    )


def _water(scene: Scene) -> str:
    if not scene.smeared_m:
        return ""
    where = chained(tell("from {a:.1f} to {b:.1f} m", a=a, b=b) for a, b in scene.smeared_m)
    return tell(
        "Low reflections are smeared {places} instead of standing at single places: possibly water in the cable. "
        "Compare after a dry day, and open the lowest plug.",
        places=where,
    )
