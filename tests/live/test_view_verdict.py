"""The view 'Verdict': every button of every test enters rows that the vocabulary has and that become its evidence.

That each answer makes evidence proves the page against this project's own log contract and diagnosis only.
"""

from __future__ import annotations

import json
import re

import pytest

from satdiag.analysis import analyse, lesson_of
from satdiag.diagnosis.model import load_model
from satdiag.job import HEADER, build_job
from satdiag.language import speaking
from satdiag.live.views import VIEWS, answers, view_of
from satdiag.live.views.answers import entering
from satdiag.live.views.verdict import likelihood_word
from satdiag.opening import open_job
from satdiag.rows import Row
from satdiag.simulate import make_job, write_job
from satdiag.vocabulary import entry_of, unit_allowed
from tests.live.rigs import LINEUP, SHEET

MODEL = load_model()
TESTS = {test.name: test for test in MODEL.tests}
DUAL = SHEET.replace(b"[receiver]\n", b'[receiver]\nantenna_lead = "dual"\n')
VIEW_NAMES = {"now", "channels", "timing", "byhand", "start", *VIEWS}


def row(minute, kind, subject, value, unit="", number=0):
    return Row(
        time=f"2031-05-03T10:{minute:02d}:00Z", kind=kind, subject=subject, value=value, unit=unit, id=f"d{number}"
    )


def job_of(*more, sheet=SHEET, begun=True, lineup=LINEUP):
    """Twenty minutes of a log in which a channel plays, and then these entries, two seconds apart."""
    rows = [row(0, "place", "vehicle", "street", number=1), row(12, "channel", "1", "authorised", number=2)]
    for n, entry in enumerate(more):
        kind, subject, value, unit = entry
        rows.append(
            Row(
                time=f"2031-05-03T10:20:{2 * n:02d}Z", kind=kind, subject=subject, value=value, unit=unit, id=f"p-{n}"
            )
        )
    documents = {"job.toml": sheet, **({"lineup.csv": lineup} if lineup else {})}
    return build_job(documents, rows if begun else [], f"{HEADER},id")


def way_of(name, job=None):
    test = TESTS[name]
    return entering(test, MODEL.items[test.item], job or job_of())


def rows_of(button):
    return [tuple(one[key] for key in ("kind", "subject", "value", "unit")) for one in button["entries"]]


def state_of(name, *entries, **more):
    """The state in which the evidence of a log with these entries has a test's item; None: not seen.

    Asked as learning from a closed job does it: the same evidence as an analysis, without what it takes to weigh it.
    """
    lesson = lesson_of(job_of(*entries, ("finding", "other", "confirmed", ""), **more))
    return lesson.evidence.get(TESTS[name].item)


BUTTONS = [(name, button) for name in TESTS for button in way_of(name)["answers"] if button.get("state")]


def test_every_test_of_the_model_has_a_way_to_be_answered():
    assert set(answers._WAYS) == set(TESTS)
    for name in TESTS:
        way = way_of(name)
        assert way["test"] == name
        assert way["answers"] or way["view"], name
        assert way["view"] in {"", *VIEW_NAMES}


def test_positions_are_entered_where_the_page_asks_for_them_or_it_says_where_else():
    way = way_of("read-positions")  # this job has no ring.toml
    assert way["view"] == "wiring"
    assert "satdiag note JOB ring position:" in way["hint"]


@pytest.mark.parametrize("sheet", [SHEET, DUAL], ids=["single", "dual"])
def test_whatever_is_entered_is_in_the_vocabulary(sheet):
    for name in TESTS:
        for one in way_of(name, job_of(sheet=sheet))["answers"]:
            if "ask" in one:
                asked = one["ask"]
                entry = entry_of(asked["kind"], asked["subject"])
                assert entry is not None, name
                assert (entry.value, unit_allowed(entry, asked["unit"])) == ("number", True)
                continue
            for kind, subject, value, unit in rows_of(one):
                entry = entry_of(kind, subject)
                assert entry is not None, name
                assert value in entry.states, name
                assert unit_allowed(entry, unit), name


@pytest.mark.parametrize(("name", "button"), BUTTONS, ids=[f"{name} {one['label']}" for name, one in BUTTONS])
def test_each_button_makes_evidence_of_the_state_that_it_names(name, button):
    assert state_of(name, *rows_of(button)) == button["state"]


def test_without_an_answer_the_log_tells_nothing_of_any_test_that_has_buttons():
    seen = {one.item for one in analyse(job_of()).diagnosis.evidence}
    assert not seen & {TESTS[name].item for name, _ in BUTTONS}


def test_a_restart_tapped_twice_is_several():
    again = next(one for one in way_of("watch-restarts")["answers"] if one["again"])
    assert state_of("watch-restarts", *rows_of(again), *rows_of(again)) == "several"


@pytest.mark.parametrize(
    ("name", "numbers", "state"),
    [
        ("measure-bias", ("5.0", "25"), "normal"),
        ("measure-bias", ("5.0", "0"), "open"),
        ("measure-bias", ("0.2", "120"), "short"),
        ("measure-bias", ("0", "0"), "absent"),
        ("measure-supply", ("12.5", "10.1"), "normal"),
        ("measure-supply", ("12.5", "4.0"), "low"),
    ],
)
def test_numbers_that_are_asked_for_make_evidence(name, numbers, state):
    asked = [one["ask"] for one in way_of(name)["answers"]]
    entries = [(a["kind"], a["subject"], n, a["unit"]) for a, n in zip(asked, numbers, strict=True)]
    assert state_of(name, *entries) == state


def test_both_leads_of_a_dual_antenna_are_asked_for():
    asked = [one["ask"] for one in way_of("measure-bias", job_of(sheet=DUAL))["answers"]]
    assert [one["subject"] for one in asked] == [
        "voltage:satellite",
        "current:satellite",
        "voltage:repeater",
        "current:repeater",
    ]
    entries = [("bias", a["subject"], "5.0" if a["unit"] == "V" else "0", a["unit"]) for a in asked]
    assert state_of("measure-bias", *entries, sheet=DUAL) == "open"


@pytest.mark.parametrize(("on_db", "state"), [("-60", "none"), ("-40", "normal")])
def test_the_noise_with_the_feed_off_and_on_makes_evidence(on_db, state):
    entries = []
    for _ in range(3):
        for one, value in zip(way_of("noise-rise")["answers"], ("", "-60", "", on_db), strict=True):
            if "ask" in one:
                asked = one["ask"]
                entries.append((asked["kind"], asked["subject"], value, asked["unit"]))
            else:
                entries += rows_of(one)
    assert state_of("noise-rise", *entries) == state


def test_without_a_channel_that_needs_no_account_the_list_of_channels_is_named():
    way = way_of("play-open-channel", job_of(lineup=None))
    assert (way["answers"], way["view"]) == ([], "channels")


# --- what the page is told ------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A function that makes a scenario's job, all rows or some, with its findings."""
    place = tmp_path_factory.mktemp("jobs")

    def make(scenario, keep=lambda rows: rows):
        if not (place / scenario).exists():
            write_job(make_job(scenario, 1), place / scenario)
        job = open_job(place / scenario)
        job = build_job(job.documents, keep(job.rows), job.header)
        return job, analyse(job)

    return make


@pytest.fixture(scope="module")
def open_lead(made):
    return made("antenna-open", lambda rows: [one for one in rows if one.kind not in ("bias", "swap")])


def test_bars_stand_in_order_of_probability_and_nothing_is_lost(open_lead):
    job, findings = open_lead
    for causes, chances in zip(
        view_of("verdict", job, findings)["causes"],
        (findings.diagnosis.classes, findings.diagnosis.faults),
        strict=True,
    ):
        shares = [one["share"] for one in causes["shown"]]
        assert shares == sorted(shares, reverse=True)
        assert all(
            one["share"] == pytest.approx(chances.get(one["key"], one["share"]), abs=1e-4) for one in causes["shown"]
        )
        assert min(shares) >= 0.01
        names = {*chances, "none", "other"}
        assert len(causes["shown"]) + len(causes["folded"]) == len(names)


def test_the_first_step_carries_its_cautions_its_time_and_what_each_answer_means(open_lead):
    step = view_of("verdict", *open_lead)["plan"]["steps"][0]
    assert step["test"] == "measure-bias"
    assert [one["head"] for one in step["cautions"]] == ["Airbag and belt wiring", "Antenna feed"]
    assert all(len(one["text"]) > 100 for one in step["cautions"])
    assert step["minutes"] == "Takes 6 minutes."
    assert re.fullmatch(r"Saves about \d+ minutes of work on average\.", step["worth"])
    open_ = next(one for one in step["also"] if "draws no current" in one["text"])
    assert re.fullmatch(r"Chance \d+.%\. Then most likely: antenna lead open, \d+.%\.", open_["means"])


def test_every_piece_of_evidence_stands_on_one_side_and_names_its_rows(open_lead):
    job, findings = open_lead
    told = view_of("verdict", job, findings)
    items = [one["item"] for side in ("for", "against", "slight") for one in told[side]]
    assert sorted(items) == sorted(one.item for one in findings.diagnosis.evidence)
    weights = {one.item: one.weight_db for one in findings.diagnosis.evidence}
    assert all(weights[one["item"]] > 0 for one in told["for"])
    assert all(weights[one["item"]] < 0 for one in told["against"])
    rows = next(one for one in told["for"] if one["item"] == "satellite")["rows"]
    for one in rows:
        row = job.rows[int(one["id"].removeprefix("row ")) - 1]
        assert one["at"]
        assert one["words"].split()[0] in ("level", "lock")
        assert row.kind in ("signal", "lock")


def test_words_that_are_somebodys_own_are_not_shown():
    job = job_of(("note", "", "Demo owner, Demo Street", ""))
    from satdiag.live.views.reasons import Rows

    assert Rows(job).told(["p-0", "d1", "not there"]) == [
        {"id": "p-0", "at": "10:20:00", "words": ""},
        {"id": "d1", "at": "10:00:00", "words": "place: street"},
        {"id": "not there", "at": "", "words": ""},
    ]


def test_entries_from_pages_that_are_worked_in_are_named():
    job = job_of(("ring", "bus", "closed", ""))
    assert view_of("verdict", job, analyse(job))["counted"] == ["p-0"]


def test_a_wait_is_marked_as_one_and_has_no_button(made):
    told = made("filling", lambda rows: [one for one in rows[: int(0.35 * len(rows))] if one.kind != "withdraw"])
    step = view_of("verdict", *told)["plan"]["steps"][0]
    assert (step["test"], step["wait"], step["answers"], step["view"]) == ("wait-and-recheck", True, [], "channels")
    assert [one["text"] for one in step["also"]] == [
        "More channels play after the wait.",
        "No more channels play after the wait.",
    ]


def test_a_fault_that_is_gone_is_told(made):
    told = view_of("verdict", *made("ring-broken"))
    assert len(told["earlier"]) == 1
    assert told["earlier"][0].startswith("Optical ring open (97\u202f%), from 12 June 2031, ")
    assert told["repairs"] == []


@pytest.mark.parametrize(
    ("p", "word"),
    [
        (1.0, "almost certain"),
        (0.99, "almost certain"),
        (0.9, "very likely"),
        (0.7, "likely"),
        (0.5, "possible"),
        (0.1, "unlikely"),
        (0.01, "very unlikely"),
    ],
)  # the words above 'possible' are those that the customer's letter explains
def test_a_probability_in_a_word(p, word):
    assert likelihood_word(p) == word


@pytest.mark.parametrize("language", ["es", "fr"])
def test_it_is_said_in_the_language_in_use(open_lead, language):
    job, findings = open_lead
    with speaking(language):
        told = view_of("verdict", job, findings)
    english = view_of("verdict", job, findings)
    assert json.loads(json.dumps(told)) == told
    for get in (
        lambda one: one["plan"]["steps"][0]["minutes"],
        lambda one: one["plan"]["steps"][0]["answers"][0]["ask"]["label"],
        lambda one: one["plan"]["others"][0]["answers"][0]["label"],
        lambda one: one["causes"][0]["title"],
        lambda one: one["head"]["sure"],
    ):
        assert get(told) != get(english)


def test_an_empty_log_has_a_view_too():
    job = job_of(begun=False, lineup=None)
    told = view_of("verdict", job, analyse(job))
    assert told["head"]["state"] == "cannot-tell"
    assert told["counted"] == []
    assert told["could_not"][0] == "No observations: nothing can be judged."
