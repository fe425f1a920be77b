"""What the verdict says of an answer to come is tried: the row is appended to the log, and all is analysed anew."""

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

import satdiag
from satdiag import analysis
from satdiag.diagnosis import asked, estimate
from satdiag.diagnosis.asked import known_after
from satdiag.diagnosis.estimate import weigh
from satdiag.diagnosis.inference import LIKELIER_THAN_NOT
from satdiag.diagnosis.model import load_model
from satdiag.diagnosis.titles import TITLES
from satdiag.rows import Row
from tests.diagnosis.test_explanations_are_true import known_of

SAMPLES = Path(satdiag.__file__).parent.parent / "sample_logs"
EVERY = [(folder.name, 1.0) for folder in sorted(SAMPLES.iterdir())]
BEGUN = [
    ("antenna-short", 0.3),
    ("receiver-defective", 0.6),
    ("resend-due", 0.5),
    ("ring-order", 0.6),
    ("supply-dropout", 0.3),
]
"""Logs of which only so much is there yet."""

WRITTEN = {
    "listing": "listing source: offered=yes not-offered=no",
    "ring": "ring bus: closed=closed open=open",
    "node": "ring node:receiver: answers=present silent=absent",
    "other-sources": "ring other-sources: working=working lost=lost",
    "configuration": "configuration readback: matches=matches differs=differs",
    "audio": "audio output: playing=playing broken=broken muted=muted",
    "identity": "identity receiver-id: match=match mismatch=mismatch",
    "account": "account service: confirmed=confirmed resent=resend-confirmed submitted=submitted none=none "
    "rejected=rejected lapsed=lapsed",
    "swap-antenna": "swap antenna: same=same better=better worse=worse",
    "swap-lead": "swap lead: same=same better=better worse=worse",
    "swap-receiver": "swap receiver: same=same better=better worse=worse",
    "swap-place": "swap place: same=same better=better worse=worse",
    "open-channel": "channel OPEN: plays=authorised silent=refused",
}
"""How a person writes an answer down: kind, subject, and the value for each state of the item."""

STALE = ("check-listing", "play-open-channel", "swap-receiver", "check-account")
BEGINS = "Should a test show this: "


@cache
def job_of(name, part):
    job = satdiag.open_job(SAMPLES / name)
    return job if part == 1.0 else job.only(np.arange(int(part * len(job.rows))))


def with_answer(job, item, state):
    """The job with the answer as its next row, a minute later; None where it is no single row."""
    head, _, words = WRITTEN.get(item, "").partition(": ")
    value = dict(word.split("=") for word in words.split()).get(state)
    opened = [str(channel.channel) for channel in job.lineup or () if channel.is_open]
    if value is None or ("OPEN" in head and not opened):
        return None
    kind, subject = head.replace("OPEN", opened[0] if opened else "").split()
    looks = job.select("channel")["value"].tolist()
    if value == "refused" and looks and looks[-1] == "no-signal":
        value = "no-signal"
    at = np.datetime_as_string(job.instant(job.end_s) + np.timedelta64(60, "s"), unit="us")
    return replace(job, rows=(*job.rows, Row(f"{at}Z", kind, subject, value)))


def said_of_answers(found):
    """Each answer in the sentences of what would change the verdict: item, state, and what would be said then."""
    told = [text.removeprefix(BEGINS) for text in found.diagnosis.explanation.change_mind if text.startswith(BEGINS)]
    for item in load_model().items.values():
        for state, say in zip(item.states, item.say, strict=True):
            yield from (
                (item.name, state, text.removeprefix(f"{say}; ")) for text in told if text.startswith(f"{say}; ")
            )


def words_of(found):
    """How the sentences name what a verdict says: the fault that leads, or that none can be told."""
    if found.verdict.probability < LIKELIER_THAN_NOT:
        return "then the cause could not be told any more."
    return f"then most likely {TITLES[found.verdict.fault]}."


@pytest.mark.parametrize(("name", "part"), [*EVERY, *BEGUN])
def test_an_answer_that_comes_next_leads_to_what_was_said(name, part):
    job = job_of(name, part)
    found = satdiag.analyse(job)
    for item, state, told in said_of_answers(found):
        if (after := with_answer(job, item, state)) is not None:
            assert told == words_of(satdiag.analyse(after)), (item, state)
    for step in found.diagnosis.plan[:1]:
        item = next(test.item for test in load_model().tests if test.name == step.test)
        for answer in step.answers:
            if (after := with_answer(job, item, answer.state)) is None:
                continue
            verdict = satdiag.analyse(after).verdict
            assert answer.fault == verdict.fault, (item, answer.state)
            assert answer.probability == pytest.approx(verdict.probability, abs=1e-6)


def test_what_is_tried_is_not_nothing():
    """The samples hold sentences of all three shapes, and plans that begin with an answer which makes rows stale."""
    found = [satdiag.analyse(job_of(*one)) for one in [("ring-broken-open", 1.0), *BEGUN]]
    told = [one for each in found for one in said_of_answers(each)]
    assert {"swap-receiver", "ring", "node"} & {item for item, _, _ in told} >= {"swap-receiver", "ring"}
    assert any(text.startswith("then most likely ") for _, _, text in told)
    assert any(text.startswith("then the cause could not") for _, _, text in told)
    assert any(each.diagnosis.plan and each.diagnosis.plan[0].test in STALE for each in found)


ASKED = [
    ("listing", "not-offered"),
    ("open-channel", "silent"),
    ("swap-receiver", "better"),
    ("swap-antenna", "same"),
    ("ring", "open"),
    ("account", "submitted"),
    ("identity", "mismatch"),
]


@pytest.mark.parametrize(("item", "state"), ASKED)
@pytest.mark.parametrize("name", ["antenna-weak", "resend-due"])
def test_what_is_asked_of_the_evidence_is_what_the_whole_analysis_finds(name, item, state):
    """Only some of the estimators are run again for an answer: the others must find what they found."""
    job = job_of(name, 1.0)
    quick, whole = weigh(known_after(known_of(job), (item, state))), weigh(known_of(with_answer(job, item, state)))
    assert quick.whole.space is whole.whole.space
    assert quick.whole.p == pytest.approx(whole.whole.p, abs=1e-9)


@pytest.mark.parametrize("aim", analysis.AIMS)
@pytest.mark.parametrize("name", ["supply-dropout", "antenna-short", "complete", "filling"])
def test_few_answers_are_asked_in_earnest(name, aim, monkeypatch):
    counted = []
    monkeypatch.setattr(asked, "known_after", lambda *given: (counted.append(given), known_after(*given))[1])
    satdiag.analyse(job_of(name, 1.0), aim=aim)
    assert len(counted) <= 12
    assert counted or name != "supply-dropout"


def test_in_a_very_long_log_answers_are_reckoned_without_drawing_evidence_anew(monkeypatch):
    counted = []
    monkeypatch.setattr(asked, "known_after", lambda *given: counted.append(given))
    monkeypatch.setattr(estimate, "REDRAWN_UP_TO", len(job_of("supply-dropout", 1.0).rows) - 1)
    found = satdiag.analyse(job_of("supply-dropout", 1.0))
    assert counted == []
    assert any(said_of_answers(found))


def test_an_answer_of_several_rows_is_not_asked():
    known = known_of(job_of("feed-lossy", 1.0))
    assert known_after(known, ("noise-rise", "none")) is None
    assert known_after(known, ("listing", "at-times")) is None
