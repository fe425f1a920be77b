"""Does the conductor on the receiver's input fit: which conductor goes where, and does the adaptor pass the feed?

Rules of the trade, common practice, no source. The colour or letter of a connector is never looked at: the same one
is used for several services, and tables of them contradict each other.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from satdiag.findings import AdaptorFindings, AdaptorReason, BiasFindings, NoiseRiseFindings
from satdiag.job import Job
from satdiag.language import mark, tell, translated
from satdiag.wiring.adaptor_combiner import Feeds, look_at_combiner
from satdiag.wiring.adaptor_seen import Seen, look
from satdiag.wiring.bias_leads import reading_text

Conclusion = Literal["fits", "wrong-conductor", "other-service", "cannot-tell"]

OPEN_SKY = "open-sky"
"""Only here does a satellite that is not received say something of the lead: buildings hide it, repeaters do not."""
PLAUSIBLE = ("normal", "low", "high")
"""States of the feed in which some amplifier draws a current."""

_LOCATED = {
    "open-sky": mark("The vehicle stands under an open sky."),
    "street": mark("The vehicle stands in a street."),
    "canopy": mark("The vehicle stands under trees."),
    "indoors": mark("The vehicle stands under a roof."),
    "underground": mark("The vehicle stands underground."),
}
_HEARD = {
    "satellite": {
        "received": mark("The satellite is received."),
        "varying": mark("The satellite comes and goes."),
        "nothing": mark("The satellite is not received."),
    },
    "repeater": {
        "received": mark("A repeater is received."),
        "varying": mark("A repeater comes and goes."),
        "nothing": mark("A repeater is not received."),
    },
}
_DARK = {
    "satellite": mark("The feed reaches one conductor only: the satellite amplifier is dark."),
    "repeater": mark("The feed reaches one conductor only: the repeater amplifier is dark."),
}
_TRIED = {
    ("antenna", "better"): mark("antenna better"),
    ("antenna", "same"): mark("antenna same"),
    ("antenna", "worse"): mark("antenna worse"),
    ("lead", "better"): mark("lead better"),
    ("lead", "same"): mark("lead same"),
    ("lead", "worse"): mark("lead worse"),
    ("receiver", "better"): mark("receiver better"),
    ("receiver", "same"): mark("receiver same"),
    ("receiver", "worse"): mark("receiver worse"),
}


def adaptor_findings(job: Job, bias: BiasFindings | None, rise: NoiseRiseFindings | None) -> AdaptorFindings | None:
    """Does the conductor fit; None where neither path was ever looked at."""
    seen = look(job, bias)
    if seen.satellite.heard is None and seen.repeater.heard is None:
        return None
    receiver = job.sheet.receiver
    combiner = look_at_combiner(job, seen)
    reasons = [*_reception(seen), *_feed(seen, receiver.adaptor, receiver.antenna_lead)]
    reasons += [combiner.reason] if combiner is not None else []
    conclusion, text, also = _conclude(seen, job, rise, combiner.feeds if combiner is not None else None)
    if seen.swaps:
        said = ", ".join(translated(_TRIED.get(swap, " ".join(swap))) for swap in seen.swaps.items())
        reasons.append(AdaptorReason(tell("A known-good part was tried: {results}.", results=said), seen.swap_rows))
    return AdaptorFindings(
        conclusion,
        receiver.antenna_lead,
        receiver.adaptor,
        seen.satellite.heard,
        seen.repeater.heard,
        seen.place,
        text,
        tuple(reasons),
        tuple(map(translated, also)),
    )


# --- reasons -----------------------------------------------------------------------------------------------------


def _reception(seen: Seen) -> list[AdaptorReason]:
    found = []
    for name, path in (("satellite", seen.satellite), ("repeater", seen.repeater)):
        if path.heard is not None:
            found.append(AdaptorReason(translated(_HEARD[name][path.heard]), path.rows))
    if seen.place is not None:
        found.append(AdaptorReason(translated(_LOCATED[seen.place]), seen.place_rows))
    else:
        found.append(AdaptorReason(tell("Where the vehicle stands was not logged, so a roof is not ruled out.")))
    return found


def _feed(seen: Seen, adaptor: str, lead: str) -> list[AdaptorReason]:
    found = []
    for path, one in seen.leads.items():
        found.append(AdaptorReason(reading_text(one), seen.bias_rows[path]))
        if path and one.state == "absent":
            others = [other for name, other in seen.leads.items() if name != path]
            if any(other.state in PLAUSIBLE for other in others):
                found.append(AdaptorReason(translated(_DARK[path]), seen.bias_rows[path]))
    if lead == "single" and adaptor == "combiner":
        what = tell("The job sheet names a combiner on a single lead: one of the two is not right.")
        found.append(AdaptorReason(what))
    return found


# --- conclusion --------------------------------------------------------------------------------------------------

Concluded = tuple[Conclusion, str, tuple[str, ...]]

# Texts are compared below; they are said in the language in use where the conclusion is drawn.
_TERRESTRIAL = mark(
    "The satellite is not received under an open sky though a repeater is: the receiver sits on the terrestrial "
    "conductor."
)
_CROSSED = mark(
    "The satellite is not received under an open sky though a repeater is: the receiver sits on the terrestrial "
    "conductor. See whether the two conductors are exchanged."
)
_OTHER = mark(
    "Neither satellite nor repeater is received, yet an amplifier draws its current: the lead may belong to another "
    "service's antenna. Trace the lead to its antenna."
)
_DEAD_AMPLIFIER = mark("the antenna's amplifier is dead to radio signals though it draws its current")
_OPEN_TO_RF = mark("the lead is open to radio signals though direct current passes")
_DEAD_INPUT = mark("the receiver's input is dead")
_FAR = mark("the terrestrial conductor, with no repeater in reach")
_HIDDEN = mark("something hides the satellites after all")
_ANOTHER = mark("another service's lead")
_BAD_COMBINER = {
    "less": mark(
        "The combiner passes hardly any feed, so neither amplifier works. Try another combiner, or the satellite "
        "conductor alone."
    ),
    "one": mark(
        "The combiner passes the feed to one amplifier only, so the other conductor is dead. Try another combiner, "
        "or the satellite conductor alone."
    ),
}
_FED_AND_DEAF = mark(
    "Nothing is received though the feed reaches two amplifiers through the combiner, so this is hardly another "
    "service's lead: perhaps the combiner passes no radio signals. Try the satellite conductor without it."
)
_OLD_LEAD = mark(
    "A known-good lead in its place is better: the lead itself is at fault, or it is another conductor than it "
    "should be."
)
_EXCHANGED = mark("another service's lead, where leads were exchanged since it worked")


def _conclude(seen: Seen, job: Job, rise: NoiseRiseFindings | None, feeds: Feeds | None) -> Concluded:
    """What was seen of the satellite first, then whether anything but the conductor explains it."""
    receiver = job.sheet.receiver
    if seen.satellite.heard == "received":
        return _satellite_heard(seen, receiver.adaptor)
    doubt = _doubt(seen)
    if doubt is not None:
        return "cannot-tell", *doubt
    if feeds in _BAD_COMBINER:
        return "cannot-tell", translated(_BAD_COMBINER[feeds]), _unless_tried((_DEAD_INPUT, _ANOTHER), seen.swaps)
    if seen.repeater.heard in ("received", "varying"):
        crossed = receiver.antenna_lead == "dual" and receiver.adaptor == "none"
        return "wrong-conductor", translated(_CROSSED if crossed else _TERRESTRIAL), (_HIDDEN,)
    if feeds in ("both", "between") and seen.repeater.heard == "nothing":
        return "cannot-tell", translated(_FED_AND_DEAF), _unless_tried((_DEAD_AMPLIFIER, _DEAD_INPUT), seen.swaps)
    return _nothing_heard(seen, rise, job.sheet.reason == "complaint")


def _unless_tried(failed: tuple[str, ...], swaps: Mapping[str, str]) -> tuple[str, ...]:
    """What may have failed, less what a known-good part tried in its place rules out."""
    ruled_out: set[str] = set()
    if swaps.get("lead") == "better":
        ruled_out |= {_DEAD_AMPLIFIER, _DEAD_INPUT}
    if swaps.get("lead") in ("same", "worse"):
        ruled_out.add(_OPEN_TO_RF)
    if swaps.get("antenna") == "better" or swaps.get("receiver") in ("same", "worse"):
        ruled_out.add(_DEAD_INPUT)
    return tuple(one for one in failed if one not in ruled_out)


def _satellite_heard(seen: Seen, adaptor: str) -> Concluded:
    said = [tell("The satellite is received through this conductor: it is the right one.")]
    if adaptor == "combiner" and seen.repeater.heard == "nothing":
        said.append(
            tell("No repeater is received; near one that would mean that the combiner passes one conductor only.")
        )
    if adaptor == "satellite-only":
        said.append(
            tell("The adaptor leaves the terrestrial conductor out, so repeaters are heard poorly or not at all.")
        )
    return "fits", " ".join(said), ()


def _doubt(seen: Seen) -> tuple[str, tuple[str, ...]] | None:
    """Why a satellite that is not well received says nothing of the conductor, and what else it may be."""
    state = _state(seen)
    if seen.satellite.heard is None:
        return tell("The satellite path was not looked at often enough to tell which conductor it is."), ()
    if seen.satellite.heard == "varying":
        return tell("The satellite comes and goes: the place or the lead may do that, whichever conductor."), ()
    if seen.place != OPEN_SKY:
        return tell("Satellites may be hidden from view here: look again under an open sky."), ()
    if state is not None and state not in PLAUSIBLE:
        return tell("The feed itself is at fault: mend that first, then look which conductor it is."), ()
    if seen.swaps.get("antenna") in ("same", "worse"):
        return tell("A known-good antenna at the receiver changed nothing, so the lead is not the cause."), (
            _DEAD_INPUT,
        )
    if seen.swaps.get("receiver") == "better":
        return tell("Another receiver works on the same lead, so the lead is not the cause."), (_DEAD_INPUT,)
    return None


def _state(seen: Seen) -> str | None:
    """The state of the feed on the conductor that carries the satellite, or on the only one."""
    lead = seen.leads.get("satellite") or seen.leads.get("") or next(iter(seen.leads.values()), None)
    return lead.state if lead and lead.current_ma is not None else None


def _nothing_heard(seen: Seen, rise: NoiseRiseFindings | None, complaint: bool) -> Concluded:
    failed = _unless_tried((_FAR, _DEAD_AMPLIFIER, _OPEN_TO_RF, _DEAD_INPUT), seen.swaps)
    if _state(seen) is None:
        text = tell("Nothing is received, and without a current of the feed it cannot be told what the lead ends in.")
        return "cannot-tell", text, failed
    if seen.swaps.get("lead") == "better":
        return "cannot-tell", translated(_OLD_LEAD), (_FAR, _EXCHANGED) if complaint else (_FAR, _ANOTHER)
    if seen.repeater.heard is None:
        text = tell(
            "No satellite is received, and whether a repeater would be was not looked at: look near a repeater."
        )
        return "cannot-tell", text, failed
    if seen.earlier:
        text = tell(
            "Something was received through this lead earlier, so it is no other service's: look for what failed."
        )
        return "cannot-tell", text, failed
    if complaint:
        text = tell("A lead that worked before the complaint does not change by itself: look first for what failed.")
        return "cannot-tell", text, (*failed, _EXCHANGED)
    if rise is not None and rise.meaning == "none":
        text = tell(
            "Nothing is received and the noise does not rise with the feed: nothing arrives from the antenna."
        )
        return "cannot-tell", text, (*failed, _ANOTHER)
    if rise is not None and rise.meaning in ("as expected", "high"):
        return "other-service", translated(_OTHER), (_FAR,)
    return "other-service", translated(_OTHER), failed
