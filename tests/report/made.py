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
            _feed(),
            _ring(),
            _supply(),
            _lead(),
            noise_rise=_rise(),
            adaptor=_adaptor(),
        ),
        could_not=("no supply row while starting: the dip at the start is not known",),
    )


def _ring() -> f.RingFindings:
    positions = (
        f.RingPosition(1, "head-unit.out", "receiver.in", "ring 1", suspect=True),
        f.RingPosition(2, "receiver.out", "head-unit.in", "ring 1"),
        f.RingPosition(3, "amplifier.out", "amplifier.in", "ring 2"),
        f.RingPosition(4, "changer.in", None),
        f.RingPosition(5, None, None),
    )
    return f.RingFindings(
        state="closed",
        nodes_present=("head-unit", "receiver"),
        nodes_absent=("amplifier",),
        other_sources="working",
        open_s=95.0,
        plan="problems",
        plan_problems=("the node amplifier is looped on itself: its output feeds its own input",),
        wanted=("head-unit", "amplifier", "receiver"),
        rings=(("head-unit", "receiver"), ("amplifier",)),
        moves=2,
        blocks=(f.RingBlock("main", "upper", positions),),
        break_=f.RingBreak(
            "located",
            "receiver",
            "head-unit",
            "plugs",
            ("receiver: 0",),
            ("the supply or the transmitter of head-unit", "position 1 of block main"),
            ("Check the supply of head-unit.",),
        ),
        second_ring=("amplifier",),
        second_ring_text="By the plugs as written, amplifier would stand on a second ring.",
        order_reported="as-wanted",
        order_reported_text="The positions that the nodes reported are those of the wanted order.",
        links=(
            f.RingLink("head-unit", "receiver", 3.0, 1, 3.25, 9.75, 0.5, 20.0, "tight"),
            f.RingLink("receiver", "head-unit", None, None, None, None, None, None, None),
        ),
        least_margin_db=9.75,
        least_margin_link="head-unit > receiver",
    )


def _lead() -> f.FeedlineFindings:
    delays = tuple(0.25 * step for step in range(240))
    level = tuple(-62.0 + 50.0 * math.exp(-(((delay - 23.8) / 0.4) ** 2)) for delay in delays)
    return f.FeedlineFindings(
        fault_m=2.35,
        fault_m_90=(2.3, 2.4),
        verdict="The lead ends at 2.35 m (2.30 to 2.40 m), before the antenna at 4.60 m (over 99 % sure).",
        sentences=("This sweep reads distances up to 13.65 m.",),
        reflections=(
            f.Reflection(1.0, (0.98, 1.02), 10.1, 0.05, 0.06, (0.055, 0.065), 26.0, 24.4, "step"),
            f.Reflection(2.35, (2.3, 2.4), 23.8, 0.25, 0.5, (0.4, 0.6), 12.0, 6.0, "open"),
            f.Reflection(2.43, (2.38, 2.48), 24.6, 0.008, 0.016, (0.014, 0.02), 42.0, 36.0, "sidelobe", (2,)),
            f.Reflection(3.7, (3.62, 3.78), 37.5, 0.01, 0.03, (0.02, 0.04), 40.0, 30.5, "ghost", (1, 2)),
        ),
        end="before",
        end_m=2.35,
        end_m_90=(2.3, 2.4),
        p_before=1.0,
        p_at=0.0,
        p_beyond=0.0,
        expected_length_m=4.6,
        expected_margin_m=0.19,
        joints_m=(1.0,),
        velocity_factor=0.66,
        velocity_factor_range=(0.647, 0.673),
        velocity_from="class",
        cable="rg-174",
        range_m=13.65,
        resolution_m=0.068,
        noise_floor_db=-58.0,
        band_mhz=(2320.0, 2345.0),
        band_return_loss_db=12.1,
        band_return_loss_corrected_db=4.6,
        band_return_loss_corrected_db_90=(3.2, 6.5),
        loss_db=3.77,
        loss_db_90=(2.8, 4.5),
        loss_mhz=2332.5,
        loss_length_m=2.35,
        profile=f.LeadProfile(delays, tuple(0.0989 * delay for delay in delays), level),
    )


def _feed() -> f.BiasFindings:
    learnt = f.LearntNormal(41.3, 0.6, (37.2, 45.4), 4, 3, 1)
    windows = f.FeedWindows(1.0, (4.2, 5.2), 4.9, 5.0, (37.2, 45.4), 150.0, "sheet", "learnt", None, learnt)
    chances = {"normal": 0.997, "high": 0.003, "low": 0.0, "open": 0.0, "short": 0.0, "absent": 0.0, "unknown": 0.0}
    lead = f.LeadFindings(
        path=None,
        state="normal",
        state_p=chances,
        voltage_v=5.02,
        current_ma=41.7,
        antenna_v=4.6,
        n_voltage=3,
        n_current=4,
        windows=windows,
        voltage_v_90=(4.95, 5.09),
        current_ma_90=(40.3, 43.1),
        antenna_v_90=(4.53, 4.67),
        voltage_from="meter",
        current_from="readings",
        text="The feed reads 5.02 V and 41.7 mA: normal.",
    )
    readings = (
        f.FeedReading(at(100), None, 5.01, 41.2, True, True),
        f.FeedReading(at(400), None, None, 41.9, True, False),
        f.FeedReading(at(500), None, 0.0, 0.0, False, False),
    )
    return f.BiasFindings("normal", 5.02, 41.7, None, (4.95, 5.09), (40.3, 43.1), chances, (lead,), readings)


def _rise() -> f.NoiseRiseFindings:
    blocks = tuple(
        f.NoiseBlock(1 + nth // 3, at(1000 + 30 * nth), "off" if nth % 3 == 1 else "on", level, above, 2)
        for nth, (level, above) in enumerate(
            ((34.1, 4.1), (30.0, 0.0), (34.3, 4.3), (33.9, 4.0), (29.9, 0.0), (34.0, 4.1))
        )
    )
    return f.NoiseRiseFindings(
        rise_db=4.1,
        rise_db_90=(3.4, 4.8),
        interval_from="stated scatter",
        drift_removed=True,
        tests=2,
        switchings=4,
        place="street",
        expected_db=14.2,
        expected_db_90=(9.0, 20.9),
        inputs=(
            f.RiseInput("gain_db", "gain of the amplifier", 25.0, 35.0, "dB", "common practice, from memory"),
            f.RiseInput("lead_loss_db", "loss of the lead to the receiver", 6.0, 6.0, "dB", "the user's figure"),
        ),
        meaning="low",
        text="Switching the feed on raises the noise by 4.1 dB (3.4 to 4.8), less than it should.",
        extra_loss_db=12.0,
        extra_loss_db_90=(6.0, None),
        g_over_t_cost_db=2.0,
        g_over_t_cost_db_90=(0.9, None),
        blocks=blocks,
    )


def _adaptor() -> f.AdaptorFindings:
    return f.AdaptorFindings(
        conclusion="wrong-conductor",
        antenna_lead="dual",
        adaptor="none",
        satellite="nothing",
        repeater="received",
        place="open-sky",
        text="The receiver sits on the terrestrial conductor.",
        reasons=(f.AdaptorReason("A repeater is received.", ("wrong-one", "row 3")),),
        also_possible=("something hides the satellites after all",),
    )


def _supply() -> f.SupplyFindings:
    """A night at rest is left out; a start of the engine, a contact that opened, a value held by a meter."""
    volts = [12.6, 12.1, 12.1, 12.0, 7.4, 13.9, *[14.1] * 20]
    points = [f.SupplyPoint(at(60.0 * minute), value) for minute, value in enumerate(volts)]
    points += [f.SupplyPoint(at(1700.0), 9.4, 600.0), f.SupplyPoint(at(1800.0), 16.3)]
    return f.SupplyFindings(
        state="dropouts",
        minimum_v=7.4,
        median_v=14.1,
        resets=2,
        maximum_v=16.3,
        code=None,
        readings=27,
        interval_s=60.0,
        minimum_rows=1,
        charging=True,
        dip_count=3,
        dips=(
            f.SupplyEvent(at(240), at(240), 0.0, 120.0, 7.4, 4.6, "readings", "cranking", 1),
            f.SupplyEvent(at(900.1), at(900.3), 0.2, 0.4, 4.0, 10.1, "readings", "contact"),
            f.SupplyEvent(None, at(1700), 0.0, None, 9.4, None, "minimum"),
        ),
        over_count=1,
        over_voltages=(f.SupplyEvent(at(1800), at(1800), 0.0, None, 16.3, 2.2, "readings"),),
        restarts=(f.Restart(at(241), True), f.Restart(at(2400), False)),
        tie=f.RestartTie(1, 2, 0, 0.01, 0.02, 0.02, "cannot-tell"),
        load_drop=f.LoadDrop(0.5, (0.43, 0.57), 1, 10.0, 50.0, (43.0, 57.0)),
        resting=f.RestingVoltage(at(0), 12.6, 5 * 3600.0, "full"),
        points=tuple(points),
        sentences=("Not every voltage read kept within supply code C.", "3 dips below 10.5 V were seen."),
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
