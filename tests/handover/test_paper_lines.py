"""Lines from the paper form become the rows that they were written from, or one clear error each."""

from __future__ import annotations

from collections import defaultdict
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest

from satdiag.errors import BadInput
from satdiag.handover.paper_codes import CHANNEL_MARKS, codes_of
from satdiag.handover.paper_lines import PaperReader, doubts, given_day, given_zone
from satdiag.job import with_rows
from satdiag.opening import open_job
from satdiag.rows import Row, parse_time_us
from satdiag.simulate import make_job, write_job
from tests.handover.jobs import job

DAY = date(2031, 5, 3)
ZONE = ZoneInfo("America/Chicago")
SIGNS = {state: sign for sign, state in CHANNEL_MARKS.items()}


def read(text: str, made=None, day: date | None = DAY, zone=ZONE) -> list[Row]:
    """The rows of a form of the small job."""
    lines = PaperReader(made or job(base=False), day, zone).read(text.split("\n"))
    return [row for line in lines for row in line.rows]


def said(text: str, made=None, day: date | None = DAY, zone=ZONE) -> list[str]:
    """What is wrong with a form, a problem each."""
    with pytest.raises(BadInput) as caught:
        read(text, made, day, zone)
    return [str(problem) for problem in caught.value.problems]


def short(rows: list[Row]) -> list[str]:
    """The rows in few words."""
    return [" ".join(part for part in row[:5] if part) for row in rows]


# --- what the lines mean --------------------------------------------------------------


def test_checks_of_channels_with_ranges_within_the_line_up():
    assert short(read("14:05 31+ 32- 40-45?")) == [
        "2031-05-03T14:05:00-05:00 channel 31 authorised",
        "2031-05-03T14:05:00-05:00 channel 32 refused",
        "2031-05-03T14:05:00-05:00 channel 40 no-signal",
        "2031-05-03T14:05:00-05:00 channel 41 no-signal",
    ]


@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        ("14:10 place open-sky", "place vehicle open-sky"),
        ("14:10 pl 2", "place vehicle street"),
        ("14:10 st 1", "site vehicle yard"),
        ("14:12 level satellite:east 12.1", "signal satellite:east 12.1 dB"),
        ("14:12 ls:east −12.1", "signal satellite:east -12.1 dB"),
        ("14:12 ks:west 1", "lock satellite:west yes"),
        ("14:12 bv 4.9", "bias voltage 4.9 V"),
        ("14:12 current 41", "bias current 41 mA"),
        ("14:12 su 12.6", "supply receiver 12.6 V"),
        ("14:12 rb 1", "ring bus closed"),
        ("14:12 31×", "channel 31 missing"),
        ("14:12 31−", "channel 31 refused"),
        ("14:12 lr unreadable", "signal repeater unreadable"),
        ("14:12 note 31 + 1 – 2 × 3", "note 31 + 1 – 2 × 3"),
        ("9:05 au 1", "audio output playing"),
    ],
)
def test_readings_by_word_and_by_code(line, wanted):
    (row,) = read(line)
    assert short([row])[0].partition(" ")[2] == wanted
    assert row.source == "paper"


def test_every_code_of_the_form_is_understood_with_each_of_its_states():
    made = job(base=False)
    for code in codes_of(made):
        for number, state in enumerate(code.choices, 1):
            for word in (str(number), state):
                (row,) = read(f"14:12 {code.code} {word}", made)
                assert (row.kind, row.subject, row.value) == (code.kind, code.subject, state)
        if not code.choices:
            (row,) = read(f"14:12 {code.code} 3", made)
            assert (row.kind, row.subject, row.value, row.unit) == (code.kind, code.subject, "3", code.unit)


def test_timed_channel_changes_of_one_minute_follow_one_another():
    rows = read("14:20 tn 31 sound 2.4 title 5.1\n14:20 tune 32 sound 1\n14:20:40 tn 40 title 2")
    assert [(row.time[11:23], row.subject, row.value) for row in rows] == [
        ("14:20:00-05:", "31", "requested"),
        ("14:20:02.400", "31", "audio"),
        ("14:20:05.100", "31", "title"),
        ("14:20:07-05:", "32", "requested"),
        ("14:20:08-05:", "32", "audio"),
        ("14:20:40-05:", "40", "requested"),
        ("14:20:42-05:", "40", "title"),
    ]
    (problem,) = said("14:20 tn 31 sound 50\n14:20 tn 32 sound 20\n14:20 tn 40 sound 1")
    assert problem.startswith("paper, line 3: the changes of 14:20 take longer than that minute")


def test_day_and_zone_may_change_on_the_way():
    rows = read("23:59 31+\ndate 2031-05-04\n00:05 31+\nzone +02:00\n00:06 32+", day=DAY)
    assert [row.time for row in rows] == [
        "2031-05-03T23:59:00-05:00",
        "2031-05-04T00:05:00-05:00",
        "2031-05-04T00:06:00+02:00",
    ]


# --- what is refused --------------------------------------------------------------


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("31+", "'31+' is not a time of day"),
        ("25:00 31+", "'25:00' is not a time of day"),
        ("14:05", "nothing stands behind 14:05"),
        ("14:05 31+ 32", "'32' is no check of a channel"),
        ("14:05 31+ 31-", "channel 31 stands twice"),
        ("14:05 50-60+", "The line-up lists no channel from 50 to 60"),
        ("14:05 place moon", "'moon' is not a state of place"),
        ("14:05 pl 9", "'9' is not a state of place"),
        ("14:05 st 2", "'2' is no site of the job sheet"),
        ("14:05 level satellite:east eleven", "'eleven' is not a number"),
        ("14:05 nonsense 3", "'nonsense' cannot be entered"),
        ("14:05 tn 31 sound", "a word or a time is missing"),
        ("14:05 tn 31 sound 700", "not a number of seconds"),
        ("14:05 tn 31 sound 1 sound 2", "stands twice"),
        ("14:05 audio", "none is open"),
        ("14:05 help", "says nothing that was seen"),
        ("date 3.5.2031", "is not a date"),
        ("zone Nowhere/Else", "is no time zone"),
        ("14:05 withdraw nothing-1", "not the id of any row"),
    ],
)
def test_a_wrong_line_is_one_error_with_its_number(line, words):
    (problem,) = said(f"14:00 31+\n{line}")
    assert problem.startswith("paper, line 2")
    assert words in problem


def test_all_wrong_lines_are_told_at_once():
    assert [problem.partition(":")[0] for problem in said("x\n14:00 31+\ny\n14:99 31+")] == [
        "paper, line 1",
        "paper, line 3",
        "paper, line 4",
    ]


def test_without_day_or_zone_nothing_is_guessed():
    assert "no date is known" in said("14:05 31+", day=None)[0]
    assert "no time zone is known" in said("14:05 31+", zone=None)[0]


def test_an_hour_that_came_twice_or_never_is_refused():
    """United States: second Sunday of March and first Sunday of November (15 U.S.C. 260a)."""
    assert "came twice" in said("01:30 31+", day=date(2031, 11, 2))[0]
    assert "was skipped" in said("02:30 31+", day=date(2031, 3, 9))[0]
    assert read("zone -06:00\n01:30 31+", day=date(2031, 11, 2))[0].time == "2031-11-02T01:30:00-06:00"


def test_one_thing_cannot_be_two_at_one_time():
    (problem,) = said("14:05 31+\n14:06 31-\n14:05 31-")
    assert problem.startswith("paper, line 3: channel 31 was authorised at this time before")


def test_a_unit_that_clashes_with_the_log_is_an_error_of_the_line():
    made = job(Row("2031-05-03T14:00:00-05:00", "signal", "repeater", "5", "bars/5", "hand"), base=False)
    (problem,) = said("14:05 31+\n14:06 lr 4.2", made)
    assert problem.startswith("paper, line 2")
    assert "bars/5" in problem
    (earlier,) = said("13:00 31+\n13:30 lr 4.2", made)
    assert earlier.startswith("paper, line 1")
    assert "clash with what is logged" in earlier


# --- doubts --------------------------------------------------------------


def test_a_far_day_and_a_form_entered_twice_are_pointed_out():
    made = job()
    near = PaperReader(made, DAY, ZONE).read(["14:05 31+"])
    assert doubts(made, near) == []
    far = PaperReader(made, date(2032, 5, 3), ZONE).read(["14:05 31+"])
    assert doubts(made, far)[0].startswith("Is the date right? The rest of the job is 366 days away")
    again = with_rows(made, [row for line in near for row in line.rows])
    assert doubts(again, PaperReader(again, DAY, ZONE).read(["14:05 31+"]))[0].startswith(
        "Was this form typed in before?"
    )


def test_ids_are_new_ones():
    made = job(Row("2031-05-03T14:00:00-05:00", "channel", "31", "refused", source="paper", id="paper-2"), base=False)
    assert [row.id for row in read("14:05 31+ 32+ 40+", made)] == ["paper-1", "paper-3", "paper-4"]


def test_options_are_checked():
    assert given_day("2031-05-03") == DAY
    assert given_zone("America/Chicago").utcoffset(datetime(2031, 7, 1)).total_seconds() == -5 * 3600
    with pytest.raises(BadInput, match="--date: 'today' is not a date"):
        given_day("today")
    with pytest.raises(BadInput, match="--zone: 'here' is no time zone"):
        given_zone("here")


# --- there and back --------------------------------------------------------------


def on_paper(rows: list[Row], zone: ZoneInfo, with_seconds: bool) -> list[str]:
    """Checks of channels as a person would write them down: a line for each time, a date line for each day."""
    lines: list[str] = []
    marks: dict[str, dict[str, str]] = defaultdict(dict)
    for row in sorted(rows, key=lambda row: parse_time_us(row.time, None)):
        wall = datetime.fromisoformat(row.time).astimezone(UTC).astimezone(zone)
        clock = f"{wall:%H:%M:%S}" if with_seconds else f"{wall:%H:%M}"
        marks[f"{wall:%Y-%m-%d} {clock}"][row.subject] = SIGNS[row.value]
    day = ""
    for moment, checks in marks.items():
        if moment[:10] != day:
            day = moment[:10]
            lines.append(f"date {day}")
        lines.append(f"{moment[11:]} {' '.join(number + sign for number, sign in checks.items())}")
    return lines


def last_states(rows: list[Row]) -> dict[str, str]:
    """What each channel was seen as last."""
    ordered = sorted(rows, key=lambda row: parse_time_us(row.time, None))
    return {row.subject: row.value for row in ordered if row.kind == "channel" and row.value in SIGNS}


@pytest.mark.parametrize("with_seconds", [True, False])
@pytest.mark.parametrize("scenario", ["filling", "partial-package", "not-activated"])
def test_a_made_up_visit_written_on_paper_and_typed_in_again_has_the_same_channels(tmp_path, scenario, with_seconds):
    """Made-up visits: this proves the way there and back, nothing about people's handwriting."""
    write_job(make_job(scenario, 4711), tmp_path / "visit")
    visit = open_job(tmp_path / "visit")
    seen = [row for row in visit.rows if row.kind == "channel" and row.value in SIGNS]
    assert len(seen) > 20
    blank = with_rows(job(sheet=visit.documents["job.toml"].decode(), lineup=None, base=False), [])
    lines = PaperReader(blank, None, ZONE).read(on_paper(seen, ZONE, with_seconds))
    typed = [row for line in lines for row in line.rows]
    assert last_states(typed) == last_states(seen)
    with_rows(blank, typed)
    if with_seconds:
        exact = {(parse_time_us(row.time[:19] + row.time[-6:], None), row.subject, row.value) for row in seen}
        assert {(parse_time_us(row.time, None), row.subject, row.value) for row in typed} <= exact
