"""The files of a made-up job: sheet, line-up, skyline, and what is true of it."""

from __future__ import annotations

from datetime import datetime
from random import Random

from satdiag.simulate.geometry import DEMO_PAIR, Satellite
from satdiag.simulate.kit import Kit
from satdiag.simulate.places import Place
from satdiag.simulate.setup import Setup

VEHICLES = (
    "demo saloon, roof antenna, pre-wired",
    "demo estate, roof antenna, pre-wired",
    "demo coupe, boot-lid antenna, pre-wired",
    "demo saloon",
)


def instant_text(when: datetime) -> str:
    """A TOML offset date-time in UTC, whole seconds."""
    return when.strftime("%Y-%m-%dT%H:%M:%SZ")


def quoted(text: str) -> str:
    """A TOML basic string."""
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def job_toml(setup: Setup, kit: Kit, job_id: str, opened: datetime, own_constellation: bool, rng: Random) -> str:
    """job.toml; optional keys are there or not as a person would fill a sheet in."""
    lines = [
        "[job]",
        f"id = {quoted(job_id)}",
        f"opened = {instant_text(opened)}",
        f"reason = {quoted(setup.reason)}",
    ]
    lines.append(f"vehicle = {quoted(rng.choice(VEHICLES))}")
    if kit.time_style == "naive":
        hours = setup.sites[0].utc_offset_h
        lines.append(f'naive_times = "{"-" if hours < 0 else "+"}{abs(hours):02d}:00"')
    for site in setup.sites:
        lines += ["", "[[site]]", f"name = {quoted(site.name)}", f"latitude_deg = {site.latitude_deg}"]
        lines += [f"longitude_deg = {site.longitude_deg}", f"height_m = {site.height_m}"]
        lines += [f"timezone = {quoted(site.timezone)}"]
    lines += ["", "[receiver]", *_receiver(setup, kit, rng)]
    lines += [
        "",
        "[service]",
        f"constellation = {quoted('constellation.toml' if own_constellation else 'demo-pair')}",
    ]
    lines.append(f"package = {quoted(_sheet_package(setup, rng))}")
    return "\n".join(lines) + "\n"


def _receiver(setup: Setup, kit: Kit, rng: Random) -> list[str]:
    scale = kit.scale
    lines = [f'id = "DEMO{rng.randrange(16**6):06X}"']
    if setup.second_hand or rng.random() < 0.5:
        lines.append(f"second_hand = {'true' if setup.second_hand else 'false'}")
    lead = "dual" if setup.dual_lead else ("single" if rng.random() < 0.8 else "unknown")
    lines += [f"antenna_lead = {quoted(lead)}", f"adaptor = {quoted(setup.adaptor)}"]
    lines.append(f"level_scale = {quoted(scale.unit)}")
    if scale.floor is not None and rng.random() < 0.85:
        lines.append(f"level_floor = {scale.floor}")
    if scale.unit in ("dB", "dB-Hz") and rng.random() < 0.6:
        lines.append("noise_bandwidth_hz = 4.0e6")
    if kit.bias_meter and rng.random() < 0.8:
        lines += ["bias_nominal_v = 5.0", "bias_normal_ma = [15, 80]"]
    return lines


def _sheet_package(setup: Setup, rng: Random) -> str:
    """The package as the person knows it; blank now and then, where that leaves what should play unchanged."""
    blank = rng.random()
    if setup.steady_fault == "partial-package":
        return "" if blank < 0.4 else setup.package
    if not setup.has_lineup_file:
        return ""
    return "" if setup.package == "all" and blank < 0.25 else setup.package


def horizon_csv(place: Place, rng: Random) -> str:
    """Clinometer readings of the skyline every 15 degrees, a degree or two off."""
    lines = ["azimuth_deg,elevation_deg"]
    for azimuth in range(0, 360, 15):
        lines.append(f"{azimuth},{max(0.0, place.skyline_deg(azimuth) + rng.gauss(0, 1.0)):.0f}")
    return "\n".join(lines) + "\n"


def obstacles_csv(place: Place, rng: Random) -> str:
    """Walls as paced out: distance to a metre, height to half a metre."""
    lines = ["azimuth_from_deg,azimuth_to_deg,distance_m,height_m,note"]
    for wall in place.walls:
        distance = max(3.0, wall.distance_m * rng.gauss(1, 0.04))
        height = max(0.5, wall.height_m * rng.gauss(1, 0.05))
        start, end = wall.azimuth_from_deg % 360, wall.azimuth_to_deg % 360
        lines.append(f"{start:.0f},{end:.0f},{distance:.0f},{round(2 * height) / 2:.1f},{quoted_csv(wall.note)}")
    return "\n".join(lines) + "\n"


def quoted_csv(text: str) -> str:
    """A CSV cell, quoted where it holds a comma."""
    return f'"{text}"' if "," in text else text


def constellation_toml(pair: tuple[Satellite, ...] = DEMO_PAIR) -> str:
    """constellation.toml with the invented pair."""
    lines = [
        'name = "demo-pair"',
        'source = "invented for the demo"',
        "band_mhz = [2320.0, 2345.0]",
        "coverage_min_elevation_deg = 10.0",
    ]
    for satellite in pair:
        lines += [
            "",
            "[[satellite]]",
            f"name = {quoted(satellite.name)}",
            f"longitude_deg = {satellite.longitude_deg}",
        ]
        lines += [
            f"eirp_dbw = {satellite.eirp_dbw}",
            f"frequency_mhz = {satellite.frequency_mhz}",
            'status = "invented"',
        ]
    return "\n".join(lines) + "\n"
