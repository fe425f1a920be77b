"""Hand-made jobs and findings for the report's tests: one with everything in it, one in which nothing is known.

The numbers are chosen to look like a job; they come from no estimator and prove nothing but the report.
"""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta

from satdiag import findings as f
from satdiag.job import Job, build_job
from satdiag.rows import Row

RECEIVER_ID = "DEMO0000A7"
START = datetime(2031, 5, 3, 13, 40, tzinfo=UTC)
MINUTES = 62

SHEET = f"""
[job]
id = "demo-0007"
opened = 2031-05-03T13:40:00Z
reason = "just-installed"
vehicle = "demo saloon, roof antenna, pre-wired"
technician = "Robin Example"

[[site]]
name = "yard"
latitude_deg = 41.2
longitude_deg = -96.1
height_m = 300.0
timezone = "America/Chicago"

[receiver]
id = "{RECEIVER_ID}"
level_scale = "dB"

[service]
constellation = "demo-pair"
package = "music"
"""

BARE_SHEET = '[job]\nid = "bare"\n'

CATEGORIES = ("music", "talk", "sport", "news")


def at(seconds: float) -> str:
    """An instant that many seconds into the job, as the log and the findings write it."""
    moment = START + timedelta(seconds=seconds)
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _level(path: str, seconds: float) -> float:
    deep = 5.0 if path.endswith("west") and 900 < seconds < 1500 else 0.0
    lost = 11.0 if path.endswith("west") and 2400 < seconds < 2700 else 0.0
    return round(max(0.2, 12.0 - deep - lost + 0.7 * math.sin(seconds / 37.0) + 0.3 * math.cos(seconds / 11.0)), 1)


def level_rows(step_s: int = 10, minutes: int = MINUTES) -> list[Row]:
    """Levels of two satellites and a repeater."""
    rows = []
    for second in range(0, minutes * 60, step_s):
        for path in ("satellite:east", "satellite:west"):
            rows.append(Row(at(second), "signal", path, str(_level(path, second)), "dB", "serial:demo"))
    return rows


def full_job(*extra: Row, sheet: str = SHEET, lineup: str | None = None, levels: list[Row] | None = None) -> Job:
    """A job with levels, events, a withdrawn row and a line-up."""
    rows = [
        Row(at(0), "power", "receiver", "awake", source="page"),
        Row(at(5), "place", "vehicle", "street", source="page"),
        Row(at(60), "account", "service", "confirmed", source="page", note="by telephone"),
        Row(at(70), "channel", "31", "refused", source="page", id="wrong-one"),
        Row(at(80), "withdraw", "row", "wrong-one", source="page"),
        Row(at(2400), "reset", "receiver", "seen", source="page"),
        Row(at(2500), "note", "identifier", f"screen shows {RECEIVER_ID}", source="page"),
        *(levels if levels is not None else level_rows()),
        *extra,
    ]
    header = "time,kind,subject,value,unit,source,note,id"
    names = lineup if lineup is not None else _lineup()
    return build_job({"job.toml": sheet.encode(), "lineup.csv": names.encode()}, rows, header)


def _lineup() -> str:
    lines = ["channel,name,category,packages"]
    lines += [f"{number},Example {number},{CATEGORIES[number % 4]},music all" for number in range(1, 143)]
    return "\n".join(lines) + "\n"


def bare_job(*rows: Row, sheet: str = BARE_SHEET) -> Job:
    """A job of which next to nothing is known."""
    return build_job({"job.toml": sheet.encode()}, rows)


def full_findings() -> f.Findings:
    """Findings with something in every place."""
    return f.Findings(
        satdiag="0.1.0",
        job="demo-0007",
        from_=at(0),
        to=at(MINUTES * 60 - 10),
        visits=1,
        verdict=f.Verdict(
            state="filling",
            as_of=at(MINUTES * 60 - 10),
            class_="none",
            fault="none",
            probability=0.934,
            sure=False,
            text="61 of 142 expected channels play and the others are coming in at a normal pace",
            do_next="leave the receiver awake outdoors and check the channels again in 15 minutes",
            customer="Your radio works. Most channels are still being unlocked over the air; this takes a while.",
        ),
        diagnosis=_diagnosis(),
        sky=f.SkyFindings((_site(),), 10.0),
        signal=_signal(),
        entitlement=_entitlement(),
        tuning=f.TuningFindings(
            f.DelayFindings(1.7, 2.4, 31, 0, (1.5, 2.1)),
            f.DelayFindings(3.0, 9.0, 31, 2, (2.4, None)),
            0.12,
            (0.05, 0.2),
            0.08,
        ),
        wiring=f.WiringFindings(
            f.BiasFindings("normal", 5.02, 41.7),
            f.RingFindings("closed", ("head-unit", "receiver"), ("amplifier",), "working", 95.0),
            f.SupplyFindings("normal", 11.84, 12.6, 1),
            f.FeedlineFindings(2.35),
        ),
        could_not=("no supply row while starting: the dip at the start is not known",),
    )


def _diagnosis() -> f.DiagnosisFindings:
    evidence = (
        f.Evidence("any-path", "good", "none", 11.6, "the receiver is locked nearly all the time"),
        f.Evidence("entitlement", "growing", "none", 13.2, "authorised channels are still growing in number"),
        f.Evidence("one-satellite", "weaker", "obstructed", 4.1, "the west satellite is weaker than the east one"),
        f.Evidence("bias", "normal", "none", 6.4, "the antenna draws a normal current", ("wrong-one",)),
        f.Evidence("resets", "one", "none", -3.2, "the receiver restarted once"),
    )
    return f.DiagnosisFindings(
        faults={"obstructed": 0.041, "supply-dropout": 0.062, "antenna-short": 0.0004, "partial-package": 0.02},
        classes={
            "none": 0.934,
            "sky": 0.045,
            "wiring": 0.063,
            "subscription": 0.02,
            "antenna": 0.001,
            "other": 0.004,
        },
        earlier=(f.Earlier("ring-broken", at(0), at(300), 0.9, "the ring was closed"),),
        evidence=evidence,
        conflict_bits=1.3,
        next_tests=(
            f.NextTest("wait-and-recheck", 11.5, 15, 0.41, "Leave it awake outdoors.", ("garage", "battery")),
            f.NextTest("measure-supply", 0.2, 8, 0.1, "Measure the supply at the receiver.", ("battery",)),
        ),
    )


def _site() -> f.SiteSky:
    azimuths = tuple(float(azimuth) for azimuth in range(0, 360, 2))
    edges = tuple(12.0 + 22.0 * math.exp(-(((azimuth - 232.0) / 18.0) ** 2)) for azimuth in azimuths)
    mask = f.Mask(
        azimuths,
        edges,
        tuple(edge - 4.0 for edge in edges),
        tuple(edge + 5.0 for edge in edges),
        tuple(not 20 < azimuth < 110 for azimuth in azimuths),
    )
    satellites = (
        f.SatelliteSky("east", 154.2, 38.9, 38012.4, 0.97, (0.9, 0.99), "horizon"),
        f.SatelliteSky("west", 217.6, 35.1, 38342.0, 0.46, (0.2, 0.7), "horizon"),
        f.SatelliteSky("third", 68.0, 12.0, 40812.0, 0.08, (0.01, 0.2), "horizon"),
        f.SatelliteSky("sunken", 95.0, -3.0, 42100.0, 0.0, None, "none"),
    )
    return f.SiteSky("yard", satellites, 0.712, (0.64, 0.78), mask, "street")


def _signal() -> f.SignalFindings:
    end = MINUTES * 60 - 10
    timeline = (
        f.Stretch("satellite:east", at(0), at(end), "clear"),
        f.Stretch("satellite:west", at(0), at(900), "clear"),
        f.Stretch("satellite:west", at(900), at(1500), "shadowed"),
        f.Stretch("satellite:west", at(1500), at(2400), "clear"),
        f.Stretch("satellite:west", at(2400), at(2700), "blocked"),
        f.Stretch("satellite:west", at(2700), at(end), "clear"),
        f.Stretch("repeater", at(600), at(2000), "received"),
    )
    share = f.Share(0.76, 0.16, 0.08)
    ends = f.ShareIntervals((0.6, 0.9), (0.05, 0.3), (0.02, 0.2))
    return f.SignalFindings(
        paths={
            "satellite:east": f.PathSignal(
                "dB", 12.1, 13.0, 0.9, (0.2, 1.6), 0.9, f.Share(1.0, 0.0, 0.0), None, 0.0, None, observed_s=end
            ),
            "satellite:west": f.PathSignal(
                "dB", 11.9, 12.8, 0.9, (0.3, 1.5), 0.9, share, ends, 1.0, 300.0, (0.1, 4.2), (60.0, 900.0), end
            ),
            "repeater": f.PathSignal(
                None, None, None, None, None, None, f.Share(None, None, 0.62), None, None, None, observed_s=1400.0
            ),
        },
        any_path_share=0.996,
        together_share=0.1,
        any_path_share_90=(0.98, 0.999),
        timeline=timeline,
    )


def _entitlement() -> f.EntitlementFindings:
    times = tuple(60.0 * minute for minute in range(91))
    median = tuple(142 * (1 - math.exp(-time / 3000.0)) for time in times)
    seen_s = (0.0, 600.0, 1500.0, 2700.0, 3540.0)
    return f.EntitlementFindings(
        exposure_s=3540.0,
        exposure_max_s=3800.0,
        exposure_since_resend_s=1200.0,
        exposure_origin="confirmed",
        exposure_basis="lock",
        awake_s=3700.0,
        expected_from="package",
        expected=142,
        checked=142,
        authorised=61,
        refused=76,
        beyond_package=(150,),
        entitled_fraction=0.93,
        entitled_fraction_90=(0.84, 0.98),
        p_all_expected=0.7,
        p_account_dead=0.02,
        time_to_first_s=f.Quantiles(40, 10, 90),
        time_to_share_s={"0.5": f.Quantiles(2400, 2000, 2900), "0.9": None, "1.0": None},
        remaining_to_last_s=f.Quantiles(1800, 700, 4500),
        complete=False,
        channels=tuple(_channel(number) for number in range(1, 143)),
        curve=f.FillCurve(
            times,
            median,
            tuple(value * 0.86 for value in median),
            tuple(min(142.0, value * 1.12 + 3) for value in median),
            seen_s,
            (1.0, 20.0, 38.0, 52.0, 61.0),
            (12.0, 34.0, 49.0, 61.0, 66.0),
        ),
        arrival_events=60,
    )


def _channel(number: int) -> f.ChannelFinding:
    if number <= 61:
        return f.ChannelFinding(number, "authorised", 1.0, None, "plays")
    if number <= 130:
        return f.ChannelFinding(number, "refused", 0.934, f.Quantiles(900, 120, 3600), "late")
    if number <= 137:
        return f.ChannelFinding(number, "refused", 0.004, None, "not-in-package")
    odd = (("missing", "not-listed"), ("no-signal", "cannot-tell"), ("unchecked", "cannot-tell"))
    state, reason = odd[number % 3]
    return f.ChannelFinding(number, state, None, None, reason)  # type: ignore[arg-type]


def empty_findings() -> f.Findings:
    """Findings in which everything is unknown."""
    return f.Findings(
        satdiag="0.1.0",
        job="bare",
        from_=None,
        to=None,
        visits=0,
        verdict=f.Verdict("cannot-tell", None, None, None, None, False, "", ""),
        diagnosis=f.DiagnosisFindings({}, {}, (), (), 0.0, ()),
        sky=f.SkyFindings(could_not=("no position: look angles not computed",)),
        signal=f.SignalFindings(could_not=("no level and no lock was logged",)),
        entitlement=f.EntitlementFindings(could_not=("no channel was checked",)),
        tuning=f.TuningFindings(could_not=("no channel change was timed",)),
        wiring=f.WiringFindings(could_not=("no bias, ring or supply row",)),
        could_not=("the log is empty",),
    )
