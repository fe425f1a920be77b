"""Does the current of one input fit two amplifiers behind a combiner? Common practice, no source."""

from __future__ import annotations

from typing import Literal, NamedTuple

from satdiag.findings import AdaptorReason, LeadFindings
from satdiag.job import Job
from satdiag.language import mark, tell, translated
from satdiag.wiring.adaptor_seen import Seen

Feeds = Literal["short", "unknown", "less", "one", "between", "both", "more"]
"""What the combiner feeds, by the current through it beside the currents of the conductors one by one."""

_WORDS = {
    "less": mark(
        "{ma:.0f} mA through the combiner is less than either amplifier draws by itself: hardly any feed passes."
    ),
    "one": mark("{ma:.0f} mA through the combiner is what one amplifier draws: it passes the feed to one port only."),
    "between": mark("{ma:.0f} mA through the combiner lies between one amplifier and both, as it should."),
    "both": mark("{ma:.0f} mA through the combiner is what both amplifiers draw together: it feeds both."),
    "more": mark(
        "{ma:.0f} mA through the combiner is more than both amplifiers draw together: something else is fed too."
    ),
}


class CombinerSeen(NamedTuple):
    """What a combiner feeds, and the reason for saying so."""

    feeds: Feeds
    reason: AdaptorReason


def look_at_combiner(job: Job, seen: Seen) -> CombinerSeen | None:
    """None where the job sheet names no combiner, or no current through it was measured."""
    lead = seen.leads.get("")
    if job.sheet.receiver.adaptor != "combiner" or lead is None or lead.current_ma is None:
        return None
    feeds, what = _feeds(lead, sorted(_currents_apart(job).values()))
    return CombinerSeen(feeds, AdaptorReason(what, seen.bias_rows[""]))


def _currents_apart(job: Job) -> dict[str, float]:
    """The latest current of each conductor, where they were measured one by one, mA."""
    rows = job.select("bias")
    rows = rows[rows["subject"].str.startswith("current:").to_numpy(dtype=bool)]
    flowing = rows[(rows["number"] > 0).to_numpy()].drop_duplicates("subject", keep="last")
    return {str(name): float(number) for name, number in zip(flowing["subject"], flowing["number"], strict=True)}


def _feeds(lead: LeadFindings, single_ma: list[float]) -> tuple[Feeds, str]:
    if lead.state == "short":
        return "short", tell(
            "The feed is shorted: a combiner that passes direct current to a grounded port would do that."
        )
    if len(single_ma) < 2:
        return "unknown", tell(
            "The current through the combiner must lie between that of one amplifier and that of both: measure each "
            "conductor by itself to know these."
        )
    feeds = _by_current(lead.current_ma_90 or (0.0, 0.0), single_ma)
    return feeds, translated(_WORDS[feeds]).format(ma=lead.current_ma or 0.0)


def _by_current(
    measured_ma: tuple[float, float], single_ma: list[float]
) -> Literal["less", "one", "between", "both", "more"]:
    low, high = measured_ma
    one, both = single_ma[0], sum(single_ma)
    off = 0.1 * both  # amplifiers draw a little less behind more resistance (judgement, no source)
    if high < one - off:
        return "less"
    if low > both + off:
        return "more"
    if low > both - off:
        return "both"
    return "one" if any(low - off < each < high + off for each in single_ma) else "between"
