"""What a verdict speaks of, and remarks on lost channels, slow changes and absent sound."""

from __future__ import annotations

from dataclasses import dataclass

from satdiag.diagnosis.estimate import Belief
from satdiag.diagnosis.space import EXPLANATION
from satdiag.findings import DiagnosisFindings, EntitlementFindings, TuningFindings
from satdiag.job import Job
from satdiag.language import mark, tell, tell_many

CANNOT_TELL_BELOW = 0.5
LAPSED = "account-lapsed"

# Judgements.
FEWEST_ARRIVALS = 5  # channels that came, before minutes are said
FEWEST_SILENT = 3  # changes given up, none of which came to sound, before 'it works' is not said any more
SURELY_SLOW = 0.9
ACCOUNT_STOPPED = {
    "rejected": mark("was refused by the provider"),
    "lapsed": mark("has ended"),
    "none": mark("does not exist"),
}
"""What the log says of an account that gives nothing, by its last `account` row."""


@dataclass(frozen=True)
class Case:
    """What the sentences speak of. `stopped`: what the log's last word on the account is, if it gives nothing."""

    belief: Belief
    diagnosis: DiagnosisFindings
    entitlement: EntitlementFindings
    tuning: TuningFindings
    stopped: str | None

    @property
    def lost(self) -> int:
        """Expected channels that played before and are refused now."""
        return sum(one.reason == "lost" for one in self.entitlement.channels)

    @property
    def awaited(self) -> list[float]:
        """The chance that it comes, of every refused channel that did not play before."""
        waiting = (one for one in self.entitlement.channels if one.state == "refused" and one.reason != "lost")
        return [one.p_will_come for one in waiting if one.p_will_come is not None]

    @property
    def looks_dead(self) -> bool:
        """True if the account more likely than not gives nothing now."""
        return self.stopped is not None or (self.entitlement.p_account_dead or 0.0) >= CANNOT_TELL_BELOW

    @property
    def arrived(self) -> int:
        """Channels that play and came in while somebody watched."""
        steps = self.entitlement.steps
        return max((self.entitlement.authorised or 0) - (steps.held if steps else 0), 0)

    @property
    def is_silent(self) -> bool:
        """True if several changes were given up, and none ever came to sound."""
        audio = self.tuning.audio_s
        return self.tuning.stop is None and audio is not None and audio.timed_out >= FEWEST_SILENT


def second_faults(case: Case) -> list[str]:
    """Other faults than the leading one that are likelier than not, the likeliest first."""
    chances = case.diagnosis.faults
    likely = [one for one, p in chances.items() if p >= CANNOT_TELL_BELOW]
    return sorted({*likely} - {case.belief.fault, EXPLANATION}, key=lambda one: -chances[one])


def is_cut_down(case: Case) -> bool:
    """True if the account seems to have ended, and yet some channels still play."""
    return case.belief.fault == LAPSED and bool(case.entitlement.authorised)


def stopped_account(job: Job) -> str | None:
    """What the log's last word on the account is, if that gives nothing; else None."""
    account = job.select("account")["value"]
    return ACCOUNT_STOPPED.get(str(account.iloc[-1])) if len(account) else None


def lost_channels(number: int) -> str:
    """'3 channels that played before are refused now'."""
    return tell_many(
        "{n} channel that played before is refused now", "{n} channels that played before are refused now", number
    )


def no_sound(tuning: TuningFindings) -> str:
    """That no timed change came to sound."""
    number = tuning.audio_s.timed_out if tuning.audio_s else 0
    return tell("none of the timed channel changes came to sound ({number} given up)", number=number)


def leaves_silent(tuning: TuningFindings) -> bool:
    """True if changes were given up and none came to sound."""
    return tuning.audio_s is not None and tuning.stop is None and tuning.audio_s.timed_out > 0


def is_slow(tuning: TuningFindings) -> bool:
    """True if the channel changes that came to sound are slow."""
    if tuning.audio_s is None or tuning.stop is None:
        return False
    return _surely_slow(tuning) or tuning.stop.state == "slow"


def _surely_slow(tuning: TuningFindings) -> bool:
    median = tuning.audio_s.median if tuning.audio_s else None
    return median is not None and (tuning.p_slow or 0.0) >= SURELY_SLOW


def slow_changes(tuning: TuningFindings) -> str:
    """What is slow about the channel changes, or that some came to no sound; empty if nothing is."""
    if leaves_silent(tuning):
        return no_sound(tuning)
    audio, stop = tuning.audio_s, tuning.stop
    if audio is None or stop is None or not is_slow(tuning):
        return ""
    if _surely_slow(tuning):
        return tell(
            "channel changes are slow: half of them take {median:.1f} s or more to sound", median=audio.median
        )
    return tell(
        "channel changes are slow: {beyond} of {all} took more than {line:.1f} s to sound",
        beyond=stop.beyond,
        all=audio.n,
        line=stop.line_s,
    )
