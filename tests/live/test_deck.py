"""What the page shows of a job, against the analysis and the vocabulary; and that the recording comes first."""

import re
import threading

import pytest

from satdiag.analysis import analyse
from satdiag.diagnosis.wording import minutes
from satdiag.entitlement.channels import checks_by_channel, history_of
from satdiag.errors import BadInput, StoreWaits
from satdiag.exposure import exposure_clock
from satdiag.findings import EntitlementFindings, Quantiles
from satdiag.live.deck import Deck
from satdiag.live.lineups import Marks
from satdiag.live.pasted import PastedChannel
from satdiag.live.sentence import LATEST_LOOK_S, SOONEST_LOOK_S, _filling, _works, chances_of, now_of
from satdiag.live.state import (
    SHOWN,
    LogView,
    channel_list,
    expectation_of,
    seen_by,
    sheet_values,
    sites_without_height,
)
from satdiag.rows import parse_time_us
from satdiag.sheet import parse_sheet
from satdiag.store import check_job_file, create_job_file, read_job_file
from tests.helpers import make_job, make_rows
from tests.live.rigs import PAGE, new_job, running, tap, until
from tests.recorder.conftest import nothing_is_left  # noqa: F401

FILLING = "\n".join(
    [
        "0:00 power receiver awake",
        "0:05 account service confirmed",
        "0:10 place vehicle open-sky",
        *(f"{minute}:20 lock any yes" for minute in range(7)),
        *(f"1:{n:02d} channel {n} refused" for n in range(1, 21)),
        *(f"3:{n:02d} channel {n} {'authorised' if n <= 6 else 'refused'}" for n in range(1, 21)),
        *(f"6:{n + 20:02d} channel {n} {'authorised' if n <= 12 else 'refused'}" for n in range(1, 21)),
    ]
)
LINEUP = "\n".join(f"{n},Demo {n},music,full" for n in range(1, 21))


@pytest.fixture
def place(tmp_path):
    return new_job(tmp_path / "demo.satjob")


def view_of(rows_text):
    view = LogView(None)
    view.take(row._replace(id=row.id or f"x-{n}") for n, row in enumerate(make_rows(rows_text)))
    return view


# --- the lists ------------------------------------------------------------------------------------------------------


def test_a_channel_shows_what_the_analysis_takes_for_its_last_state():
    """The reference is `history_of`, which the estimators use."""
    rows = """
        0:10 channel 1 refused
        0:20 channel 1 authorised
        0:30 channel 2 missing
        0:40 tune 3 requested
        0:44 tune 3 audio
        0:50 tune 4 requested
        0:55 tune 4 refused
        1:00 channel 5 refused id=a
        1:10 channel 5 authorised id=b
        1:20 withdraw row b
        1:30 tune 6 requested
    """
    job = make_job(rows, lineup=LINEUP)
    clock = exposure_clock(job)
    expected = {n: history_of(n, found, clock).state for n, found in checks_by_channel(job, clock).items()}
    now_us = parse_time_us("2031-05-03T14:02:00Z", None)
    shown = {one["number"]: one for one in channel_list(view_of(rows), expectation_of(job), {}, now_us)}
    assert {n: shown[n]["state"] or "unchecked" for n in expected} == expected
    assert (shown[1]["before"], shown[1]["checked_s_ago"]) == ("refused", 100.0)
    assert (shown[20]["state"], shown[20]["expected"]) == (None, True)


def test_a_swapped_receiver_begins_anew():
    view = view_of("0:10 channel 1 authorised\n0:20 swap receiver worse\n0:30 channel 2 refused")
    checks = view.checks()
    assert checks[1] == ()
    assert checks[2][-1].state == "refused"


def test_without_a_line_up_nobody_knows_what_is_expected():
    job = make_job("0:10 channel 1 authorised")
    assert channel_list(view_of("0:10 channel 1 authorised"), expectation_of(job), {}, 0)[0]["expected"] is None


@pytest.mark.parametrize(
    ("rows", "channel"),
    [
        ("0:10 tune 7 requested", 7),
        ("0:10 tune 7 requested\n0:12 tune 7 audio", 7),
        ("0:10 tune 7 requested\n0:12 tune 7 audio\n0:13 tune 7 title", None),
        ("0:10 tune 7 requested\n0:12 tune 7 refused", None),
        ("0:10 tune 7 requested\n0:12 tune 7 abandoned", None),
        ("0:10 tune 7 requested\n0:12 tune 8 requested", 8),
        ("0:10 tune 7 requested\n0:12 power receiver off", None),
        ("0:10 tune 7 requested id=a\n0:12 withdraw row a", None),
        ("0:10 tune 7 requested\n0:12 tune 7 refused id=a\n0:20 withdraw row a", 7),
    ],
)
def test_the_open_channel_change(rows, channel):
    attempt = view_of(rows).attempt()
    assert (attempt and attempt["channel"]) == channel
    if channel == 7:
        assert attempt["since_ms"] == parse_time_us("2031-05-03T14:00:10Z", None) / 1000


def test_entries_are_what_people_said_and_what_is_rare():
    view = view_of(
        """
        0:01 signal any 9 dB source=serial:bench
        0:02 signal any 9 dB source=page
        0:03 channel 3 refused source=serial:bench id=c
        0:04 gap serial:bench lost source=recorder
        0:05 note x "two words" source=hand
        0:06 withdraw row c
        """
    )
    told = [(one["words"], one["withdrawn"]) for one in view.entries()]
    assert told == [
        ("note: two words", False),
        ("gap serial:bench: connection lost", False),
        ("channel 3: refused", True),
        ("level any: 9 dB", False),
    ]
    assert view.rows == 6
    assert view.shown == 5
    view.take(make_rows("\n".join(f"{n}:00 note x n{n} source=page" for n in range(SHOWN + 5))))
    assert len(view.entries()) == SHOWN


# --- the sentence ---------------------------------------------------------------------------------------------------


def test_the_sentence_while_it_fills_in_says_what_the_findings_hold():
    job = make_job(FILLING, '[receiver]\nlevel_scale = "dB"\n[service]\npackage = "full"\n', LINEUP)
    findings = analyse(job)
    assert findings.verdict.state == "filling"
    now, entitlement = now_of(findings), findings.entitlement
    assert now.sentence.startswith("Still filling in: 12 of 20. About ")
    assert now.sentence.replace(" more", "").endswith(
        f" About {minutes(entitlement.remaining_to_last_s.median)} awake, outdoors."
    )
    rest = entitlement.remaining_to_last_s
    assert now.told[0].startswith("The last channel comes after ")
    assert f"to {minutes(rest.p95)} more awake" in now.told[0]
    assert now.what_to_do
    assert [call.what for call in now.calls] == ["look", "half", "stop"]
    assert SOONEST_LOOK_S <= now.calls[0].in_s <= LATEST_LOOK_S
    chances = chances_of(findings)
    for channel in entitlement.channels:
        told = chances[channel.channel]
        assert told.chance == pytest.approx(channel.p_will_come, abs=5e-4)
        assert (told.wait_s is None) == (channel.remaining_s is None)


def entitled(**more):
    return EntitlementFindings(
        expected=142, **{"authorised": 61, "remaining_to_last_s": Quantiles(540, 130, 1500), **more}
    )


@pytest.mark.parametrize(
    ("entitlement", "sentence", "span"),
    [
        (
            entitled(),
            "Still filling in: 61 of 142. About 9 more minutes awake, outdoors.",
            "The last channel comes after 2 to 25 minutes more awake, outdoors (90 % sure).",
        ),
        (
            entitled(remaining_to_last_s=Quantiles(20, 0, 7200)),
            "Still filling in: 61 of 142. Look now.",
            "The last channel comes after 0 minutes to 2.0 hours more awake, outdoors (90 % sure).",
        ),
        (entitled(authorised=0), "How long it still takes cannot be told yet: 0 of 142 play.", ""),
        (entitled(authorised=4, arrival_events=4), "How long it still takes cannot be told yet: 4 of 142 play.", ""),
        (entitled(remaining_to_last_s=None), "How long it still takes cannot be told yet: 61 of 142 play.", ""),
    ],
)
def test_a_time_is_told_with_its_range_and_only_from_five_channels_on(entitlement, sentence, span):
    assert _filling(entitlement) == (sentence, span)


def test_without_a_line_up_all_that_were_seen_play():
    found = EntitlementFindings(expected=28, authorised=28, expected_from="seen")
    assert _works(found) == "It works: all 28 seen so far play."


def test_a_height_that_nobody_said_is_unknown():
    text = '[job]\nid = "demo"\n' + "".join(
        f'[[site]]\nname = "{name}"\nlatitude_deg = 1\nlongitude_deg = 2\n{more}'
        for name, more in (("a", ""), ("b", "height_m = 0\n"))
    )
    told = sheet_values(parse_sheet(text), sites_without_height(text))
    assert [site["height_m"] for site in told["site"]] == [None, 0.0]


def test_who_looks_on_sees_no_folder_in_the_trouble_of_a_source():
    state = {"sheet": {"site": []}, "entries": [], "could_not": [], "store_trouble": ""}
    source = {"name": "replay", "state": "lost", "trouble": "/home/demo person/log.txt: no such file", "age_s": None}
    told = seen_by({**state, "sources": [source]}, "watch")["sources"]
    assert told == [{**source, "trouble": "log.txt: no such file"}]
    assert seen_by({**state, "sources": [source]}, "write")["sources"] == [source]


def test_the_sentence_when_all_play_and_when_nothing_is_known():
    all_play = FILLING + "".join(f"\n40:{n:02d} channel {n} authorised" for n in range(1, 21))
    works = now_of(analyse(make_job(all_play, '[service]\npackage = "full"\n', LINEUP)))
    assert works.sentence == "It works: 20 of 20 channels play."
    assert works.calls == ()
    plays = f"{FILLING}\n40:00 channel 1 authorised"
    found = analyse(make_job(plays, '[service]\npackage = "full"\n', LINEUP.splitlines()[0]))
    assert now_of(found).sentence == "It works: 1 of 1 channel plays."
    empty = now_of(analyse(make_job("")))
    assert re.match(r"[A-Z].*\.$", empty.sentence)
    assert empty.calls == ()


# --- the deck -------------------------------------------------------------------------------------------------------


def test_what_was_there_before_and_what_comes_is_counted_once(tmp_path):
    place = tmp_path / "demo.satjob"
    create_job_file(place, make_job(FILLING, '[service]\npackage = "full"\n', LINEUP))
    before = len(read_job_file(place).rows)
    with running(place) as deck:
        assert deck.state(None)["rows"] == before
        deck.take_taps(PAGE, [tap("channel", "13", "authorised")])
        state = deck.state("watch")
    assert state["rows"] == before + 1 == len(read_job_file(place).rows)
    assert {one["number"]: one for one in state["channels"]}[13]["before"] == "refused"


def test_the_analysis_runs_beside_the_recording_and_says_its_age(tmp_path):
    place = tmp_path / "demo.satjob"
    create_job_file(place, make_job(FILLING, '[service]\npackage = "full"\n', LINEUP))
    with running(place, analyse_every_s=0.1) as deck:
        first = until(lambda: (state := deck.state(None))["analysis_age_s"] is not None and state)
        assert first["now"]["sentence"].startswith("Still filling in: 12 of 20.")
        assert {one["number"]: one for one in first["channels"]}[14]["chance"] is not None
        deck.take_taps(PAGE, [tap("note", "", "demo")])
        until(lambda: deck.state(None)["analysis_age_s"] > 0)


def test_the_analysis_waits_while_rows_are_waiting(place, monkeypatch):
    from satdiag.store import LiveFile

    append, full = LiveFile.append, [True]

    def reluctant(self, rows, parts=()):
        if full[0]:
            raise StoreWaits("the medium is full")
        append(self, rows, parts)

    with running(place, analyse_every_s=0.05) as deck:
        deck.take_taps(PAGE, [tap()])
        until(lambda: deck.state(None)["analysis_age_s"] is not None)
        monkeypatch.setattr(LiveFile, "append", reluctant)
        deck._taps.take(PAGE, [tap()], wait_s=0.1)
        until(lambda: deck.state(None)["store_trouble"])
        waits, is_behind = [], deck._analyst._is_behind
        monkeypatch.setattr(deck._analyst, "_is_behind", lambda: waits.append(is_behind()) or waits[-1])
        deck._analyst.refresh()
        until(lambda: waits)  # so none is under way that began before
        at_s = deck._analyst.latest.at_s
        until(lambda: len(waits) > 3)
        assert all(waits)
        assert deck._analyst.latest.at_s == at_s
        full[0] = False
        until(lambda: deck._analyst.latest.at_s > at_s)


def test_an_analysis_that_fails_is_said_and_the_recording_goes_on(place, monkeypatch):
    def broken(job):
        raise ZeroDivisionError("demo")

    monkeypatch.setattr("satdiag.kept.analyse_here", broken)
    with running(place, analyse_every_s=0.05) as deck:
        deck.take_taps(PAGE, [tap()])
        until(lambda: any("ZeroDivisionError" in text for text in deck.state(None)["could_not"]))
        assert len(deck.take_taps(PAGE, [tap()]).saved) == 1


def test_the_job_file_is_never_opened_but_through_sqlite(place):
    """Closing a plain open of the file drops SQLite's locks (https://sqlite.org/howtocorrupt.html, 2.2).

    Python's own audit events (PEP 578) tell every file that is opened from Python.
    """
    import sys

    opened, on = [], [True]

    def hook(event, arguments):
        if on[0] and event == "open" and str(arguments[0]).endswith(place.name):
            opened.append(arguments)

    sys.addaudithook(hook)
    try:
        with running(place, analyse_every_s=0.05) as deck:
            deck.take_taps(PAGE, [tap()])
            until(lambda: deck.state(None)["analysis_age_s"] is not None)
            deck.change_sheet({"job.vehicle": "demo bus"})
            deck.set_lineup([PastedChannel(1, "Demo One", "")], Marks())
    finally:
        on[0] = False
    assert opened == []


def test_a_change_of_the_sheet_leaves_a_note_and_a_wrong_one_leaves_nothing(place):
    with running(place) as deck:
        deck.change_sheet({"job.vehicle": "demo bus"})
        with pytest.raises(BadInput):
            deck.change_sheet({"receiver.antenna_lead": "triple"})
        with pytest.raises(BadInput):
            deck.set_lineup([PastedChannel(1, "Demo One", ""), PastedChannel(1, "Demo Again", "")], Marks())
        deck.change_sheet({"job.vehicle": "demo bus"})
        assert deck.state(None)["sheet"]["job.vehicle"] == "demo bus"
        assert len(deck.take_taps(PAGE, [tap()]).saved) == 1
    job = read_job_file(place)
    notes = [row.value for row in job.rows if row.kind == "note"]
    assert notes == ["sheet: job.vehicle: demo van -> demo bus"]
    assert len(job.lineup) == 5
    assert check_job_file(place) == []


def test_a_document_waits_for_the_medium_and_is_written_when_it_can_be(place, monkeypatch):
    from satdiag.live import deck as deck_module
    from satdiag.store import LiveFile

    replace, full = LiveFile.replace_documents, [True]

    def reluctant(self, *arguments):
        if full[0]:
            raise StoreWaits("the medium is full")
        replace(self, *arguments)

    monkeypatch.setattr(LiveFile, "replace_documents", reluctant)
    monkeypatch.setattr(deck_module, "CHANGE_WAIT_S", 0.2)
    with running(place) as deck:
        with pytest.raises(StoreWaits):
            deck.change_sheet({"job.vehicle": "demo bus"})
        full[0] = False
        until(lambda: read_job_file(place).sheet.vehicle == "demo bus")
        assert len(deck.take_taps(PAGE, [tap()]).saved) == 1
        deck.tick()
        assert deck.state(None)["sheet"]["job.vehicle"] == "demo bus"
    assert [row.value for row in read_job_file(place).rows if row.kind == "note"] == [
        "sheet: job.vehicle: demo van -> demo bus"
    ]
    assert check_job_file(place) == []


def test_many_at_once_each_see_their_own(place):
    """Eight pages tap at the same time, each with the same eight taps again and again."""
    with running(place) as deck:
        sent = [tap("note", "", f"demo {n}") for n in range(8)]
        found = []

        def page():
            found.extend(deck.take_taps(PAGE, sent).saved)
            deck.state("write")

        threads = [threading.Thread(target=page) for _ in range(8)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert sorted(found) == sorted([one["key"] for one in sent] * 8)
    assert len(read_job_file(place).rows) == 8


def test_a_deck_that_cannot_start_leaves_nothing(tmp_path):
    with pytest.raises(Exception, match="no file there"):
        Deck(tmp_path / "nothing.satjob").start()


def test_who_may_only_watch_sees_no_folders():
    said = [
        "demo: /home/demo user/jobs/van.satjob: the medium is full",
        r"C:\demo jobs\van.satjob is locked",
        "3 km/h",
    ]
    state = {"sheet": {"site": []}, "entries": [], "could_not": said, "store_trouble": said[0], "sources": []}
    seen = seen_by(state, "watch")
    assert seen["could_not"] == ["demo: van.satjob: the medium is full", "van.satjob is locked", "3 km/h"]
    assert seen["store_trouble"] == "demo: van.satjob: the medium is full"
    assert seen_by(state, "write")["could_not"] == said
