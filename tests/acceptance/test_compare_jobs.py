"""Two jobs compared: what is said in whole, and of each measure."""

import json
import re

import jsonschema
import pytest

import satdiag
from satdiag.acceptance import compare, compare_schema
from satdiag.acceptance.compare_document import Item
from satdiag.acceptance.compare_verdict import moved_by
from satdiag.acceptance.visits import visit_of
from satdiag.errors import SatdiagError
from satdiag.findings import instant_text
from satdiag.language import speaking
from satdiag.report.compare import comparison_html
from satdiag.vocabulary import FAULTS
from tests.helpers import make_job

SHEET = '[receiver]\nid = "DEMO12345"\nbias_nominal_v = 5.0\nbias_normal_ma = [15, 80]\n'


def lines(level, lock, current, minutes=40, start_h=0):
    """A visit under open sky: levels that wander by a few tenths, locks, the antenna's feed, the sound."""
    said = ("power receiver awake", "place vehicle open-sky", "listing source yes")
    rows = [f"{start_h}:00:00 {text}" for text in said]
    for number in range(minutes):
        clock, wander = f"{start_h}:{number:02d}:10", ((number * 7) % 5 - 2) / 10
        rows += [
            f"{clock} signal satellite:east {level + wander:.1f} dB",
            f"{clock} lock satellite:east {lock}",
            f"{clock} bias current {current + wander:.1f} mA",
            f"{clock} bias voltage {5.0 + wander / 20:.2f} V",
        ]
    return "\n".join(rows)


@pytest.fixture(scope="module")
def broken():
    job = make_job(lines(0.5, "no", 0.5), SHEET)
    return job, satdiag.analyse(job)


@pytest.fixture(scope="module")
def mended():
    job = make_job(lines(11.0, "yes", 38.0), SHEET)
    return job, satdiag.analyse(job)


def item(found, name):
    return next(one for one in found.items if one.name == name)


def test_a_fault_that_is_gone_with_what_it_moved_is_repaired(broken, mended):
    found = compare(*broken, *mended)
    assert found.state == "repaired", found.text
    level = item(found, "level")
    assert level.effect == pytest.approx(10.5, abs=0.05)  # as the logs were made
    assert level.effect_90[0] < level.effect < level.effect_90[1]
    assert (level.state, level.p_holm < 0.05) == ("better", True)
    assert item(found, "feed-current").state == "changed"
    assert found.faults[0].fault == "antenna-open"
    assert found.faults[0].state == "gone"


def test_the_way_back_is_worse(broken, mended):
    found = compare(*mended, *broken)
    assert found.state == "worse"
    assert item(found, "level").state == "worse"


@pytest.mark.parametrize("which", ["broken", "mended"])
def test_a_job_with_itself_is_never_repaired(which, request):
    job, findings = request.getfixturevalue(which)
    found = compare(job, findings, job, findings)
    assert found.state in ("no change seen", "cannot tell")
    assert {one.state for one in found.items} <= {"no change seen", "cannot tell"}
    assert "same job" in found.warnings[0]
    assert item(found, "level").state == "no change seen"  # forty readings a side exclude 3 dB


def test_another_receiver_proves_no_repair(broken, mended):
    other = make_job(lines(11.0, "yes", 38.0), SHEET.replace("DEMO12345", "DEMO99999"))
    found = compare(*broken, other, satdiag.analyse(other))
    assert found.state == "better, not repaired"
    assert any("two receivers" in text for text in found.warnings)
    assert found.to_log


def test_too_few_readings_tell_nothing_and_say_what_would(broken):
    short = make_job(lines(11.0, "yes", 38.0, minutes=1), SHEET)
    found = compare(*broken, short, satdiag.analyse(short))
    level = item(found, "level")
    assert (level.state, level.effect) == ("cannot tell", None)
    assert "too few readings" in level.text


def test_bars_are_compared_by_rank_and_units_are_not_mixed(broken, mended):
    in_bars = [text.replace(" dB", " bars/5").replace("11.", "5.") for text in lines(11.0, "yes", 38.0).splitlines()]
    whole = "\n".join(text if "bars" not in text else text.replace(text.split()[3], "5") for text in in_bars)
    weak = "\n".join(
        text if "bars" not in text else text.replace(" 5 bars", " 1 bars") for text in whole.splitlines()
    )
    a, b = (make_job(text, SHEET) for text in (weak, whole))
    level = item(compare(a, satdiag.analyse(a), b, satdiag.analyse(b)), "level")
    assert (level.kind, level.effect) == ("rank", 1.0)
    assert level.effect_90[0] > 0.5
    mixed = item(compare(*broken, b, satdiag.analyse(b)), "level")
    assert (mixed.state, mixed.effect) == ("cannot tell", None)
    assert "different units" in mixed.text


@pytest.mark.parametrize(
    ("before", "after", "states"),
    [
        ("antenna-open", "complete", {"cannot tell", "better, not repaired"}),
        ("indoors", "complete", {"cannot tell", "better, not repaired"}),
        ("complete", "antenna-open", {"worse"}),
        ("complete", "complete", {"cannot tell", "no change seen"}),
    ],
)
def test_sample_logs_of_different_vehicles(before, after, states):
    jobs = [satdiag.open_job(f"sample_logs/{name}") for name in (before, after)]
    found = compare(jobs[0], satdiag.analyse(jobs[0]), jobs[1], satdiag.analyse(jobs[1]))
    assert found.state in states
    jsonschema.validate(found.to_dict(), compare_schema())
    json.dumps(found.to_dict(), allow_nan=False)
    if before != after:
        assert any("two receivers" in text for text in found.warnings)


def test_a_small_change_that_is_plain_to_see_is_not_said_to_be_unseen():
    jobs = [make_job(lines(level, "yes", 38.0), SHEET) for level in (11.0, 9.6)]
    found = compare(jobs[0], satdiag.analyse(jobs[0]), jobs[1], satdiag.analyse(jobs[1]))
    level = item(found, "level")
    assert level.effect_90[1] < 0.0 < level.margin
    assert level.text == "No change that matters: one by 3.0 dB or more is excluded."
    assert "no change that matters" in comparison_html((jobs[0], jobs[1]), found)


def test_two_visits_of_one_job_are_compared():
    first, second = lines(0.5, "no", 0.5), lines(11.0, "yes", 38.0, start_h=9)
    job = make_job(f"{first}\n{second}", SHEET)
    assert len(job.visits) == 2
    a, b = visit_of(job, 1), visit_of(job, 2)
    found = compare(a, satdiag.analyse(a), b, satdiag.analyse(b))
    assert found.state == "repaired", found.text
    told = compare(a, satdiag.analyse(a), b, satdiag.analyse(b), (1, 2))
    spans = [[instant_text(job.instant(t)) for t in (one.start_s, one.end_s)] for one in job.visits]
    assert [[side.from_, side.to] for side in (told.before, told.after)] == spans
    assert [side.visit for side in (told.before, told.after)] == [1, 2]
    page = re.sub(r"\s+", " ", comparison_html((a, b), told))
    assert page.count("Comparison of visit 1 with visit 2 of job") == 2
    assert "Before: visit 1 of job" in page
    assert "After: visit 2 of job" in page
    jsonschema.validate(told.to_dict(), compare_schema())
    with pytest.raises(SatdiagError, match="no visit 3"):
        visit_of(job, 3)


def test_every_fault_moves_something_that_is_compared():
    known = {"level", "received", "drop-outs", "channels", "entitled", "change-audio", "change-title", "feed-current"}
    known |= {"feed-voltage", "supply", "supply-dips", "restarts", "listing-source", "audio-output", "ring-bus"}
    known |= {"ring-node-receiver", "ring-other-sources", "configuration-readback", "identity-receiver-id"}
    for fault in FAULTS:
        assert moved_by(fault), fault
        assert {*moved_by(fault)} <= known


@pytest.mark.parametrize("language", ["es", "fr"])
def test_a_comparison_is_said_in_the_language_asked_for(language, broken, mended):
    with speaking(language):
        found = compare(*broken, *mended)
    english = compare(*broken, *mended)
    for one, other in zip(found.items, english.items, strict=True):
        assert isinstance(one, Item)
        assert one.text != other.text
        assert one.title != other.title
        assert one.effect == other.effect
    assert found.text != english.text
