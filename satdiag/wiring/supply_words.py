"""What the supply's rows say, in sentences: what they show, and what they cannot show."""

from __future__ import annotations

from satdiag.findings import LoadDrop, RestartTie, RestingVoltage, SupplyFindings
from satdiag.wiring.supply_codes import CODES

BRIEF_S = 0.04
"""The deepest part of a start lasts 15 to 40 ms (test-source manual)."""

NOTHING_V = 1.0
"""Below it there is no supply (judgement, no source)."""

_CHARGES = {
    "full": "full",
    "three-quarters": "charged to three quarters at least",
    "half": "charged to half at least",
    "low": "charged to less than half",
    "discharged": "discharged",
}


def supply_sentences(found: SupplyFindings) -> tuple[str, ...]:
    """A paragraph for each thing; none where nothing was measured and nothing restarted."""
    parts = [
        _code(found),
        _dips(found),
        _over(found),
        _tie(found.tie) if found.tie else "",
        _sampling(found),
        _drop(found.load_drop) if found.load_drop else "",
        _rest(found.resting) if found.resting else "",
    ]
    return tuple(part for part in parts if part)


def _code(found: SupplyFindings) -> str:
    if found.minimum_v is None:
        return ""
    low_v, high_v = CODES[found.code_needed]
    wanted = f"supply code {found.code_needed} of ISO 16750-2 ({low_v:g} V to {high_v:g} V)"
    held = found.minimum_v >= low_v and (found.maximum_v or 0.0) <= high_v
    if held:
        tighter = f"; code {found.code}, tighter, held too" if found.code not in (found.code_needed, None) else ""
        return f"Every voltage read kept within {wanted}{tighter}."
    left = f"code {found.code} held" if found.code else "no code held"
    return f"Not every voltage read kept within {wanted}: {left}."


def _dips(found: SupplyFindings) -> str:
    if not found.dip_count:
        return ""
    lowest_v = min(dip.extreme_v for dip in found.dips)
    was = "was" if found.dip_count == 1 else "were"
    below = f"{_counted(found.dip_count, 'dip')} below {CODES['D'][0]:g} V"
    said = f"{below} {was} seen, the deepest to {lowest_v:g} V."
    said += " That is as good as no supply at all." if lowest_v < NOTHING_V else ""
    starts = sum(dip.shape == "cranking" for dip in found.dips)
    if starts:
        said += f" {_counted(starts, 'dip')} {'looks' if starts == 1 else 'look'} like the start of an engine: "
        said += "charging followed."
    brief = sum(dip.shape == "contact" for dip in found.dips)
    if brief:
        said += f" {_counted(brief, 'dip')} {'was' if brief == 1 else 'were'} over too soon for a start, as with a "
        said += "contact that opens."
    return said


def _over(found: SupplyFindings) -> str:
    if not found.over_count:
        return ""
    highest_v = max(one.extreme_v for one in found.over_voltages)
    times = "once" if found.over_count == 1 else f"{found.over_count} times"
    return f"The supply rose above {CODES['D'][1]:g} V {times}, to {highest_v:g} V at most."


def _tie(tie: RestartTie) -> str:
    whole = f"{tie.tied} of {_counted(tie.restarts, 'restart')}"
    chance = f"{tie.expected:.2g} would by chance"
    if tie.standing == "tied":
        return (
            f"{whole} fell into a dip or within 2 s of one, where {chance}: so many or more would come about by "
            f"chance with probability {_chance(tie.p_chance)}. That points to the supply."
        )
    if tie.standing == "not-tied":
        whole = f"{tie.clear} of {_counted(tie.restarts, 'restart')}"
        return f"Just before {whole} the supply was seen sound: look for another cause."
    return (
        f"{whole} fell into a dip that was seen or within 2 s of one, where {chance}: too little to tell whether the "
        "supply restarts the receiver."
    )


def _sampling(found: SupplyFindings) -> str:
    """What readings so far apart can and cannot see."""
    if not found.readings and not found.minimum_rows:
        return ""
    if found.interval_s is not None and found.interval_s <= BRIEF_S:
        return ""
    if found.readings == 1:
        said = "The supply was read once: what it did before and after is not seen"
    else:
        every = "" if found.interval_s is None else f", {_time(found.interval_s)} apart in the middle"
        said = f"The supply was read {_times(found.readings)}{every}: a dip between two readings is not seen"
    if found.minimum_rows:
        count = _counted(found.minimum_rows, "lowest value")
        return f"{said}, except that the {count} noted {'tells' if found.minimum_rows == 1 else 'tell'} how deep."
    return (
        f"{said}; the deepest part of a start lasts 15 to 40 ms. Read 100 times a second, or note the lowest value "
        "of a meter that holds it."
    )


def _drop(drop: LoadDrop) -> str:
    low, high = drop.drop_v_90
    said = f"From asleep to awake the supply falls by {drop.drop_v:.2f} V ({low:.2f} to {high:.2f})"
    if drop.resistance_mohm is None or drop.resistance_mohm_90 is None:
        return said + "; with awake_a in job.toml this gives a resistance."
    low, high = drop.resistance_mohm_90
    return (
        f"{said}: at {drop.current_a:g} A that is {drop.resistance_mohm:.0f} mohm ({low:.0f} to {high:.0f}) of "
        "battery, wires and contacts together."
    )


def _rest(rest: RestingVoltage) -> str:
    hours = (
        f"After {rest.rested_s / 3600.0:.1f} h off, as far as the log knows, the battery read {rest.voltage_v:g} V"
    )
    if rest.charge is None:
        return f"{hours}: more than a battery at rest shows, so a charger is on it or its charge has not settled."
    return f"{hours}: {_CHARGES[rest.charge]} (lead-acid, 25 degrees)."


def _chance(probability: float) -> str:
    return f"{probability:.2g}" if probability >= 0.001 else "under 0.001"


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun}" + ("" if number == 1 else "s")


def _times(number: int) -> str:
    return {0: "at no instant", 2: "twice"}.get(number, f"{number} times")


def _time(seconds: float) -> str:
    if seconds < 1.0:
        return f"{seconds * 1000.0:.0f} ms"
    return f"{seconds:.0f} s" if seconds < 90.0 else f"{seconds / 60.0:.0f} min"
