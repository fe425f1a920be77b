"""What the supply's rows say, in sentences: what they show, and what they cannot show."""

from __future__ import annotations

from satdiag.findings import LoadDrop, RestartTie, RestingVoltage, SupplyFindings
from satdiag.language import in_figures, mark, tell, tell_many, translated
from satdiag.wiring.supply_codes import CODES

BRIEF_S = 0.04
"""The deepest part of a start lasts 15 to 40 ms (test-source manual)."""

NOTHING_V = 1.0
"""Below it there is no supply (judgement, no source)."""

_CHARGES = {
    "full": mark("full"),
    "three-quarters": mark("charged to three quarters at least"),
    "half": mark("charged to half at least"),
    "low": mark("charged to less than half"),
    "discharged": mark("discharged"),
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
    values: dict[str, object] = {"wanted": found.code_needed, "low": low_v, "high": high_v, "code": found.code}
    held = found.minimum_v >= low_v and (found.maximum_v or 0.0) <= high_v
    if held and found.code in (found.code_needed, None):
        return tell(
            "Every voltage read kept within supply code {wanted} of ISO 16750-2 ({low:g} V to {high:g} V).", **values
        )
    if held:
        return tell(
            "Every voltage read kept within supply code {wanted} of ISO 16750-2 ({low:g} V to {high:g} V); code "
            "{code}, tighter, held too.",
            **values,
        )
    if found.code:
        return tell(
            "Not every voltage read kept within supply code {wanted} of ISO 16750-2 ({low:g} V to {high:g} V): code "
            "{code} held.",
            **values,
        )
    return tell(
        "Not every voltage read kept within supply code {wanted} of ISO 16750-2 ({low:g} V to {high:g} V): no code "
        "held.",
        **values,
    )


def _dips(found: SupplyFindings) -> str:
    if not found.dip_count:
        return ""
    lowest_v = min(dip.extreme_v for dip in found.dips)
    said = [
        tell_many(
            "{n} dip below {limit:g} V was seen, the deepest to {lowest:g} V.",
            "{n} dips below {limit:g} V were seen, the deepest to {lowest:g} V.",
            found.dip_count,
            limit=CODES["D"][0],
            lowest=lowest_v,
        )
    ]
    if lowest_v < NOTHING_V:
        said.append(tell("That is as good as no supply at all."))
    if starts := sum(dip.shape == "cranking" for dip in found.dips):
        said.append(
            tell_many(
                "{n} dip looks like the start of an engine: charging followed.",
                "{n} dips look like the start of an engine: charging followed.",
                starts,
            )
        )
    if brief := sum(dip.shape == "contact" for dip in found.dips):
        said.append(
            tell_many(
                "{n} dip was over too soon for a start, as with a contact that opens.",
                "{n} dips were over too soon for a start, as with a contact that opens.",
                brief,
            )
        )
    return " ".join(said)


def _over(found: SupplyFindings) -> str:
    if not found.over_count:
        return ""
    return tell_many(
        "The supply rose above {limit:g} V once, to {highest:g} V at most.",
        "The supply rose above {limit:g} V {n} times, to {highest:g} V at most.",
        found.over_count,
        limit=CODES["D"][1],
        highest=max(one.extreme_v for one in found.over_voltages),
    )


def _tie(tie: RestartTie) -> str:
    values: dict[str, object] = {
        "tied": tie.tied,
        "clear": tie.clear,
        "expected": tie.expected,
        "chance": _chance(tie.p_chance),
    }
    if tie.standing == "tied":
        return tell_many(
            "{tied} of {n} restart fell into a dip or within 2 s of one, where {expected:.2g} would by chance: so "
            "many or more would come about by chance with probability {chance}. That points to the supply.",
            "{tied} of {n} restarts fell into a dip or within 2 s of one, where {expected:.2g} would by chance: so "
            "many or more would come about by chance with probability {chance}. That points to the supply.",
            tie.restarts,
            **values,
        )
    if tie.standing == "not-tied":
        return tell_many(
            "Just before {clear} of {n} restart the supply was seen sound: look for another cause.",
            "Just before {clear} of {n} restarts the supply was seen sound: look for another cause.",
            tie.restarts,
            **values,
        )
    return tell_many(
        "{tied} of {n} restart fell into a dip that was seen or within 2 s of one, where {expected:.2g} would by "
        "chance: too little to tell whether the supply restarts the receiver.",
        "{tied} of {n} restarts fell into a dip that was seen or within 2 s of one, where {expected:.2g} would by "
        "chance: too little to tell whether the supply restarts the receiver.",
        tie.restarts,
        **values,
    )


def _sampling(found: SupplyFindings) -> str:
    """What readings so far apart can and cannot see."""
    if not found.readings and not found.minimum_rows:
        return ""
    if found.interval_s is not None and found.interval_s <= BRIEF_S:
        return ""
    said = _read(found)
    if found.minimum_rows:
        return tell_many(
            "{said}, except that the {n} lowest value noted tells how deep.",
            "{said}, except that the {n} lowest values noted tell how deep.",
            found.minimum_rows,
            said=said,
        )
    return tell(
        "{said}; the deepest part of a start lasts 15 to 40 ms. Read 100 times a second, or note the lowest value "
        "of a meter that holds it.",
        said=said,
    )


def _read(found: SupplyFindings) -> str:
    """How often the supply was read, without the end of the sentence."""
    if found.readings == 1:
        return tell("The supply was read once: what it did before and after is not seen")
    times = {0: tell("at no instant"), 2: tell("twice")}.get(found.readings, tell("{n} times", n=found.readings))
    if found.interval_s is None:
        return tell("The supply was read {times}: a dip between two readings is not seen", times=times)
    return tell(
        "The supply was read {times}, {apart} apart in the middle: a dip between two readings is not seen",
        times=times,
        apart=_time(found.interval_s),
    )


def _drop(drop: LoadDrop) -> str:
    low, high = drop.drop_v_90
    values: dict[str, object] = {"volts": drop.drop_v, "low_v": low, "high_v": high}
    if drop.resistance_mohm is None or drop.resistance_mohm_90 is None:
        return tell(
            "From asleep to awake the supply falls by {volts:.2f} V ({low_v:.2f} to {high_v:.2f}); with awake_a in "
            "job.toml this gives a resistance.",
            **values,
        )
    low, high = drop.resistance_mohm_90
    return tell(
        "From asleep to awake the supply falls by {volts:.2f} V ({low_v:.2f} to {high_v:.2f}): at {current:g} A that "
        "is {mohm:.0f} mohm ({low:.0f} to {high:.0f}) of battery, wires and contacts together.",
        current=drop.current_a,
        mohm=drop.resistance_mohm,
        low=low,
        high=high,
        **values,
    )


def _rest(rest: RestingVoltage) -> str:
    values: dict[str, object] = {"hours": rest.rested_s / 3600.0, "volts": rest.voltage_v}
    if rest.charge is None:
        return tell(
            "After {hours:.1f} h off, as far as the log knows, the battery read {volts:g} V: more than a battery at "
            "rest shows, so a charger is on it or its charge has not settled.",
            **values,
        )
    return tell(
        "After {hours:.1f} h off, as far as the log knows, the battery read {volts:g} V: {charge} (lead-acid, 25 "
        "degrees).",
        charge=translated(_CHARGES[rest.charge]),
        **values,
    )


def _chance(probability: float) -> str:
    if probability < 0.001:
        return tell("under {least:g}", least=0.001)
    return in_figures(f"{probability:.2g}")


def _time(seconds: float) -> str:
    if seconds < 1.0:
        return f"{seconds * 1000.0:.0f} ms"
    return f"{seconds:.0f} s" if seconds < 90.0 else f"{seconds / 60.0:.0f} min"
