"""What to do next, in the words of the verdict."""

from __future__ import annotations

from satdiag.diagnosis.estimate import Belief
from satdiag.diagnosis.model import Model
from satdiag.diagnosis.remarks import FEWEST_ARRIVALS, Case, is_slow, leaves_silent
from satdiag.diagnosis.wording import minutes, whole_minutes
from satdiag.findings import DiagnosisFindings, EntitlementFindings, Quantiles, SkyFindings
from satdiag.job import Job
from satdiag.language import mark, tell, tell_many, translated
from satdiag.wiring.battery import budget_of_wait

ASK_ACCOUNT = mark(
    "Ask the provider whether the account is active for this receiver, and have it activated or renewed."
)
ASK_LOST = mark(
    "Ask the provider why channels that played before are refused now: whether the account or the package was "
    "changed."
)
TIME_MORE = mark(
    "Time some more channel changes under open sky, to channels that play. If they stay slow, look at the signal "
    "level and the antenna lead."
)
FIND_SOUND = mark(
    "Tune to a channel that plays and wait for its sound. If none comes, check the volume, the source and the way of "
    "the sound."
)
USUAL_WAIT_S = 900.0


def next_step(state: str, case: Case, model: Model, kept_back: bool) -> str:
    """One or two sentences. `kept_back`: no fault stands out, and yet 'it works' is not said."""
    belief, diagnosis = case.belief, case.diagnosis
    if kept_back:
        return translated(_ask(case))
    if state == "works" and (is_slow(case.tuning) or leaves_silent(case.tuning)):
        return translated(FIND_SOUND if leaves_silent(case.tuning) else TIME_MORE)
    if state == "works":
        return tell("Nothing. Switch off and on once and listen to two channels as a last check.")
    if state == "filling":
        wait = tell(
            "Leave the receiver awake outdoors for {wait} more and check the channels again. Use a charger for a "
            "long wait, and never run the engine in a closed garage.",
            wait=minutes(_advised_wait(case).median),
        )
        return f"{wait} {translated(ASK_LOST)}" if case.lost else wait
    if state in ("fault", "explained") and (belief.sure or not (diagnosis.next_tests or diagnosis.odd_reading)):
        return translated(model.faults[belief.fault].action)
    if state == "fault" and belief.class_ == "subscription" and case.lost:
        return translated(ASK_LOST)
    return _look_further(belief, diagnosis, case.entitlement, model)


def _ask(case: Case) -> str:
    if case.stopped:
        return ASK_ACCOUNT
    if case.lost:
        return ASK_LOST
    return FIND_SOUND if case.is_silent and not case.looks_dead else ASK_ACCOUNT


def _look_further(
    belief: Belief, diagnosis: DiagnosisFindings, entitlement: EntitlementFindings, model: Model
) -> str:
    some_play = entitlement.authorised and not entitlement.refused and not entitlement.complete
    if belief.class_ == "none" and some_play and entitlement.expected:
        return tell_many(
            "Check the one expected channel too that nobody has looked at yet.",
            "Check the {n} expected channels too that nobody has looked at yet.",
            entitlement.expected - (entitlement.checked or 0),
        )
    if diagnosis.odd_reading is not None:
        odd = diagnosis.odd_reading.text
        return tell("Look again at this first, for it fits badly with the rest: {odd}.", odd=odd)
    if diagnosis.next_tests:
        return diagnosis.next_tests[0].text
    if belief.fault in model.faults:
        return translated(model.faults[belief.fault].action)
    return tell("Write down levels, locks, a few channel checks and the place, and look again.")


def gain_of_moving(state: str, belief: Belief, sky: SkyFindings | None) -> str:
    """What moving outdoors is expected to gain, with its range, where the fault is a roof, a building or a tree."""
    if state != "fault" or sky is None or sky.elsewhere is None:
        return ""
    told = [move.text for move in sky.elsewhere.moves if move.fault == belief.fault and move.gain_db is not None]
    return " " + tell("By models of such places, {gain}.", gain=told[0]) if told else ""


def battery_for_waiting(state: str, case: Case, job: Job) -> str:
    """What the wait that is advised takes from the vehicle's battery."""
    if state != "filling":
        return ""
    said_s = 60.0 * whole_minutes(_advised_wait(case).median)  # as the sentence before it says
    return f" {budget_of_wait(Quantiles(said_s, said_s, said_s), job.sheet.supply).text}"


def _advised_wait(case: Case) -> Quantiles:
    """How long to wait before looking again: until the last channel, or the usual quarter of an hour."""
    remaining = case.entitlement.remaining_to_last_s if case.arrived >= FEWEST_ARRIVALS else None
    return remaining or Quantiles(USUAL_WAIT_S, USUAL_WAIT_S, USUAL_WAIT_S)
