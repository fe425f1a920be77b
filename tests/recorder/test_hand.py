"""What a person types while recording: what it means, what is said when it means nothing, what stands after it."""

import random
import re
from importlib.resources import files

import pytest

from satdiag.job import HEADER, build_job, with_rows
from satdiag.recorder.desk import Desk
from satdiag.recorder.hand import HandEntry
from satdiag.recorder.hand_help import TO_ENTER, natural_subject
from satdiag.recorder.heard import Line, Moment, Reading
from satdiag.recorder.loop import ByHand
from satdiag.rows import Row
from satdiag.tuning.attempts import tuning_attempts
from satdiag.vocabulary import KINDS, TABLE, entries_of, entry_of
from tests.helpers import make_job, time_text

SITES = """
[[site]]
name = "yard"
latitude_deg = 41.2
longitude_deg = -96.1

[[site]]
name = "north yard #2"
latitude_deg = 41.3
longitude_deg = -96.1

[receiver]
level_scale = "bars/5"
"""
SITE_NAMES = ("yard", "north yard #2")
LINEUP = """
    2,Demo two,music,open
    5,Demo five,music,music
    31,Demo talk,talk,music
    40,Demo news,news,music
"""


@pytest.fixture
def job():
    return make_job("0:00 account service confirmed id=before", SITES, LINEUP)


@pytest.fixture
def hand(job):
    return HandEntry.of_job(job)


def texts(entered):
    """Readings as 'kind subject value unit', with the remark behind a '#'."""
    assert entered.ok, entered.say
    return [
        " ".join(part for part in (r.kind, r.subject, r.value, r.unit) if part) + (f" # {r.note}" if r.note else "")
        for r in entered.readings
    ]


def written(hand, text, ids):
    """Enter a line and commit it under these ids."""
    readings = texts(hand.enter(text))
    assert len(readings) == len(ids)
    hand.committed(ids)
    return readings


# --- what is promised in the documentation -------------------------------------------------------------------------


def promised():
    """The lines in the table 'Typing while it records', in their order."""
    text = files("satdiag").joinpath("docs/record.md").read_text("utf-8")
    table = text.split("## Typing while it records")[1].split("\n## ")[0]
    first_cells = [line.split(" | ")[0] for line in table.splitlines() if line.startswith("| `")]
    return [typed for cell in first_cells for typed in re.findall(r"`([^`]+)`", cell)]


def test_every_line_of_the_documentation_is_taken_and_makes_rows_that_a_job_takes(job, hand):
    lines = promised()
    assert len(lines) >= 13
    desk, rows = Desk(job, "r1", Moment(0, 0)), []
    for number, text in enumerate(lines):
        entered = hand.enter(text)
        assert entered.ok, (text, entered.say)
        assert bool(entered.readings) != text.startswith("help"), text
        if entered.readings:
            at = Moment(1_935_000_000_000_000_000 + number * 10**9, number * 10**9)
            taken = desk.take(ByHand(), [Line(at, text.encode(), entered.readings)])
            assert not taken.why, (text, taken.why)
            hand.committed(taken.ids)
            rows += taken.batch.rows
    assert len(with_rows(job, rows).rows) == 1 + len(rows)


def test_every_state_of_the_vocabulary_can_be_entered_with_and_without_its_subject(hand):
    stand_in = {"CHANNEL": "31", "FAULT": "antenna-open"}
    for entry in TABLE:
        for template in entry.subjects if entry.kind not in ("gap", "clock") else ():
            subject = stand_in.get(template, template.replace("NAME", "east").replace("PATH", "repeater"))
            for state in entry.states:
                assert texts(hand.enter(f"{entry.kind} {subject} {state}")) == [f"{entry.kind} {subject} {state}"]
                if natural_subject(entry.kind) == subject:
                    assert texts(hand.enter(f"{entry.kind} {state}")) == [f"{entry.kind} {subject} {state}"]


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("channel 31 refused", "channel 31 refused"),
        ("Channel 31 Refused", "channel 31 refused"),
        ("channel 7 missing # not in the list", "channel 7 missing # not in the list"),
        ("tune 31", "tune 31 requested"),
        ("tune 31 abandoned", "tune 31 abandoned"),
        ("audio playing", "audio output playing"),
        ("heading 120", "heading vehicle 120 deg"),
        ("heading 120 deg", "heading vehicle 120 deg"),
        ("supply 12.6", "supply receiver 12.6 V"),
        ("supply receiver-minimum 9.8 v", "supply receiver-minimum 9.8 V"),
        ("bias current 34.5", "bias current 34.5 mA"),
        ("configuration differs", "configuration readback differs"),
        ("signal any 3 bars/5  # low sun", "signal any 3 bars/5 # low sun"),
        ("signal any 3", "signal any 3 bars/5"),
        ("signal satellite:East 11.2 db", "signal satellite:East 11.2 dB"),
        ("signal any unreadable", "signal any unreadable"),
        ("errors any 0", "errors any 0 percent"),
        ("finding none confirmed", "finding none confirmed"),
        ("site yard", "site vehicle yard"),
        ("site north yard #2", "site vehicle north yard #2"),
        ("site vehicle north yard #2 # muddy", "site vehicle north yard #2 # muddy"),
        ("note  the second # from the left", "note the second # from the left"),
        ("withdraw r1-7", "withdraw row r1-7"),
        ("withdraw row r1-7", "withdraw row r1-7"),
    ],
)
def test_what_a_line_means(hand, typed, meant):
    assert texts(hand.enter(typed)) == [meant]


def test_a_note_is_free_text_and_has_no_subject(hand):
    assert hand.enter("note the customer drove off").readings == (Reading("note", "", "the customer drove off"),)


@pytest.mark.parametrize(
    ("typed", "channels"),
    [
        ("channels 2-31 authorised", "2 5 31"),
        ("channels 2 - 31 authorised", "2 5 31"),
        ("channels 3-5 refused", "5"),
        ("channels 2,5,9-40 refused", "2 5 31 40"),
        ("channels 40, 7 refused", "7 40"),  # a number by itself is meant, listed or not
        ("channels 5,2-5 refused", "2 5"),
        ("channels 0-9999999 missing", "2 5 31 40"),
        ("channel 2-5 no-signal", "2 5"),
    ],
)
def test_a_range_means_the_channels_of_the_line_up(hand, typed, channels):
    readings = hand.enter(typed).readings
    assert " ".join(reading.subject for reading in readings) == channels
    assert {(reading.kind, reading.value) for reading in readings} == {("channel", typed.split()[-1])}


def test_without_a_line_up_a_range_means_every_number_and_at_most_500():
    hand = HandEntry()
    assert [int(r.subject) for r in hand.enter("channels 2-501 authorised").readings] == list(range(2, 502))
    for typed in ("channels 1-501 authorised", "channels 1-300,400-700 authorised", "channels 0-9999999 refused"):
        entered = hand.enter(typed)
        assert (entered.ok, entered.readings) == (False, ())
        assert "more than 500" in entered.say
    assert "501" not in HandEntry(range(501)).enter("channels 0-499 refused").say
    assert "more than 500" in HandEntry(range(501)).enter("channels 0-500 refused").say


# --- what cannot be taken ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("chanel 31 refused", "Did you mean 'channel'"),
        ("channel 31 authorized", "Did you mean 'authorised'"),
        ("channel 31", "channel 31 refused"),
        ("channel refused", "needs channel numbers"),
        ("channels , refused", "No channel number"),
        ("channel 031 refused", "leading zeros"),
        ("channel 10000000 refused", "9999999"),
        ("channels 40-2 refused", "Write 2-40"),
        ("channels 6-30 refused", "lists no channel from 6 to 30"),
        ("tune", "needs a subject"),
        ("tune x", "CHANNEL"),
        ("audio", "Open one first: tune 31"),
        ("title now", "stands alone"),
        ("withdraw", "Nothing typed in this run"),
        ("power awke", "Did you mean 'awake'"),
        ("power", "off, standby, awake"),
        ("power awake now", "'now' is too much"),
        ("supply reciever 12.6", "Did you mean 'receiver'"),
        ("supply 12,6", "decimal point"),
        ("supply 12.6 A", "Allowed: V"),
        ("signal 3", "satellite:NAME"),
        ("signal any 6", "above 5"),
        ("signal any 2.5", "whole number"),
        ("signal any 3 dbx", "bars/N"),
        ("signal any unreadable dB", "blank"),
        ("heading 361", "above 360"),
        ("site yrad", "Did you mean 'yard'"),
        ("site", "yard, north yard #2"),
        ("finding antena-open confirmed", "Did you mean 'antenna-open'"),
        ("note", "needs words"),
        ("note bell \x07", "character"),
        ("gap gnss lost", "the recorder alone"),
        ("clock recorder 3 s", "the recorder alone"),
        ("# low sun", "remark needs an observation"),
        ("help chanel", "Did you mean 'channel'"),
    ],
)
def test_what_cannot_be_taken_is_said_in_plain_words(hand, typed, said):
    entered = hand.enter(typed)
    assert (entered.readings, entered.ok) == ((), False)
    assert said in entered.say
    assert "\n" not in entered.say


def test_a_level_without_a_unit_is_refused_where_the_sheet_names_none():
    assert "level_scale" in HandEntry().enter("signal any 3").say
    assert "names no site" in HandEntry().enter("site yard").say


def test_an_empty_line_means_nothing(hand):
    assert hand.enter("  ") == ((), "", True)


def test_there_is_help_on_every_word_that_can_be_typed(hand):
    assert hand.enter("help").ok
    assert all(kind in hand.enter("help").say for kind in TO_ENTER if kind in KINDS)
    for word in TO_ENTER:
        entered = hand.enter(f"help {word}")
        assert entered.ok, word
        assert word in entered.say
        for entry in entries_of(word) if word not in ("note", "withdraw") else ():
            assert all(text in entered.say for text in (*entry.subjects, *entry.states, *entry.units))


# --- an open channel change ----------------------------------------------------------------------------------------


def test_bare_marks_stamp_the_open_channel_change(hand):
    assert texts(hand.enter("tune 31")) == ["tune 31 requested"]
    assert texts(hand.enter("audio # faint")) == ["tune 31 audio # faint"]
    assert "already" in hand.enter("audio").say
    assert texts(hand.enter("title")) == ["tune 31 title"]
    assert not hand.enter("refused").ok
    hand.enter("tune 5")
    entered = hand.enter("tune 40")
    assert "5 was open" in entered.say
    assert texts(hand.enter("refused")) == ["tune 40 refused"]
    assert hand.open_channel is None


@pytest.mark.parametrize("text", ["power off", "power standby", "swap receiver better"])
def test_what_ends_the_wait_in_the_analysis_ends_it_here(hand, text):
    hand.enter("tune 31")
    hand.enter(text)
    assert not hand.enter("title").ok


def test_a_refused_entry_changes_nothing(hand):
    written(hand, "tune 31", ["r1-1"])
    assert hand.enter("title").ok
    hand.refused()
    assert texts(hand.enter("title")) == ["tune 31 title"]
    hand.refused()
    assert hand.enter("tune 5").ok
    hand.refused()
    assert hand.open_channel == 31
    hand.refused()  # nothing waits: what is written stays
    assert hand.open_channel == 31
    assert texts(hand.enter("withdraw")) == ["withdraw row r1-1"]
    assert hand.open_channel is None
    hand.refused()
    assert hand.open_channel == 31


def test_marks_typed_here_mean_to_the_analysis_what_they_mean_here():
    """Random words, the rows they make, and `tuning_attempts` of those: no stray mark, and the same one left open."""
    rng = random.Random(20310503)
    words = ["audio", "title", "refused", "abandoned", "power off", "power awake", "withdraw", "withdraw"]
    open_ones = 0
    for _ in range(60):
        hand, rows = HandEntry(), []
        for number in range(rng.randrange(1, 25)):
            entered = hand.enter(rng.choice([*words, f"tune {rng.randrange(3)}"]))
            made = [
                Row(time_text(number), r.kind, r.subject, r.value, r.unit, id=f"r1-{len(rows) + n}")
                for n, r in enumerate(entered.readings)
            ]
            if made and rng.random() < 0.2:
                hand.refused()
            elif made:
                rows += made
                hand.committed([row.id for row in made])
        rows.append(Row(time_text(100), "note", "", "the end"))
        attempts = tuning_attempts(build_job({"job.toml": b'[job]\nid = "demo"\n'}, rows, HEADER + ",id"))
        left = [attempt.channel for attempt in (*attempts.timed, *attempts.refused) if attempt.ended_by == "last-row"]
        assert attempts.stray_marks == 0
        assert left == ([] if hand.open_channel is None else [hand.open_channel])
        open_ones += len(left)
    assert 5 < open_ones < 55


# --- taking back ---------------------------------------------------------------------------------------------------


def test_withdraw_takes_the_last_entry_back_and_then_the_one_before(hand):
    written(hand, "power awake", ["r1-1"])
    written(hand, "channels 2-5 refused", ["r1-4", "r1-5"])
    assert written(hand, "withdraw # wrong car", ["r1-6", "r1-7"]) == [
        "withdraw row r1-4 # wrong car",
        "withdraw row r1-5 # wrong car",
    ]
    assert written(hand, "withdraw", ["r1-8"]) == ["withdraw row r1-1"]
    assert not hand.enter("withdraw").ok
    written(hand, "power off", ["r1-9"])
    assert texts(hand.enter("withdraw")) == ["withdraw row r1-9"]


def test_an_entry_that_is_not_written_yet_cannot_be_taken_back_and_nothing_before_it_either(hand):
    written(hand, "power awake", ["r1-1"])
    hand.enter("power off")
    hand.enter("place indoors")
    assert "not written yet" in hand.enter("withdraw").say
    hand.committed(["r1-2"])  # in the order in which they were entered
    assert "place indoors" in hand.enter("withdraw").say
    hand.committed(["r1-3"])
    assert texts(hand.enter("withdraw")) == ["withdraw row r1-3"]
    assert texts(hand.enter("withdraw")) == ["withdraw row r1-2"]


def test_a_refused_withdrawal_leaves_the_entry_as_the_one_to_take_back(hand):
    written(hand, "power awake", ["r1-1"])
    hand.enter("withdraw")
    hand.refused()
    assert texts(hand.enter("withdraw")) == ["withdraw row r1-1"]


def test_rows_withdrawn_by_id_are_not_taken_back_again(hand):
    written(hand, "channels 2-5 refused", ["r1-1", "r1-2"])
    written(hand, "withdraw r1-2", ["r1-3"])
    assert texts(hand.enter("withdraw")) == ["withdraw row r1-1"]


def test_taking_a_mark_back_opens_the_channel_change_again(hand):
    written(hand, "tune 31", ["r1-1"])
    written(hand, "abandoned", ["r1-2"])
    written(hand, "withdraw", ["r1-3"])
    assert texts(hand.enter("audio")) == ["tune 31 audio"]


# --- completion ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "choices"),
    [
        ("ch", "channel channels"),
        ("CH", "channel channels"),
        ("ab", "abandoned"),
        ("gap", ""),
        ("cl", ""),
        ("channel ", "2 5 31 40"),
        ("tune 3", "31"),
        ("channels 2-5 a", "authorised"),
        ("channel 31 ", "authorised refused missing no-signal unreadable"),
        ("signal ", "satellite satellite: repeater any"),
        ("signal any 3 ba", "bars/5 bars/"),
        ("bias current:", "current:satellite current:repeater"),
        ("power a", "awake"),
        ("audio ", "output playing muted broken unreadable"),
        ("heading 120 ", "deg"),
        ("heading 120 deg ", ""),
        ("finding antenna-", "antenna-open antenna-short antenna-weak"),
        ("help wi", "withdraw"),
        ("site y", "yard"),
        ("note p", ""),
        ("power awake # p", ""),
    ],
)
def test_completions_come_from_the_vocabulary_and_the_job(hand, typed, choices):
    assert hand.complete(typed) == tuple(choices.split())


def test_a_site_with_blanks_is_completed_from_where_the_word_stands(hand):
    assert hand.complete("site n") == ("north yard #2",)
    assert hand.complete("site vehicle north y") == ("yard #2",)
    assert set(hand.complete("site ")) == {"yard", "north yard #2", "vehicle", "unreadable"}


def test_every_subject_and_state_of_the_vocabulary_is_offered(hand):
    for entry in TABLE:
        if entry.kind in ("gap", "clock", "note", "withdraw"):
            continue
        offered = hand.complete(f"{entry.kind} ")
        for subject in entry.subjects:
            if subject not in ("CHANNEL", "FAULT") and ":" not in subject:
                assert subject in offered
                assert set(entry.states) <= set(hand.complete(f"{entry.kind} {subject} "))
        known = {"unreadable", *SITE_NAMES, *(state for entry in entries_of(entry.kind) for state in entry.states)}
        assert all(entry_of(entry.kind, word) or word.endswith(":") or word in known for word in offered)
