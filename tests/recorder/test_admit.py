"""The gate: what passes is legal, alone and together with all that passed before; what does not says why."""

import random
from datetime import timedelta, timezone

import pytest

from satdiag.recorder.admit import Admission, Visits
from satdiag.recorder.heard import Moment, Reading
from satdiag.rows import Row, check_rows, parse_time_us
from tests.helpers import BASE, make_job
from tests.steps import steps

AT_NS = round(BASE.timestamp()) * 10**9
HOUR_NS = 3600 * 10**9
PAUSE_H = 4  # the log's contract: a visit is a stretch without a pause longer than 4 h


def admit(gate, *texts, after_h=0.0, source="serial:x", id="r1-1", own=False, **more):
    """One reading through the gate, `after_h` hours after the base time."""
    at = Moment(AT_NS + round(after_h * HOUR_NS), 0)
    return gate.row(Reading(*texts, **more), source, at, 12.5, "r1", id, own)


def test_a_reading_becomes_a_row_with_the_moment_it_was_heard():
    gate = Admission()
    row = gate.row(
        Reading("signal", "satellite:east", "+1.28E+01", "dB", note="by the way"),
        source="serial:bench-lines",
        at=Moment(AT_NS + 123_456_789, 5),
        elapsed_s=0.1234567,
        run="r1",
        id="r1-7",
    )
    assert row == Row(
        time="2031-05-03T14:00:00.123456Z",
        kind="signal",
        subject="satellite:east",
        value="+1.28E+01",
        unit="dB",
        source="serial:bench-lines",
        note="by the way",
        run="r1",
        elapsed_s="0.123457",
        id="r1-7",
    )
    assert row.raw is None


def test_a_reading_with_its_own_time_keeps_it_and_has_no_run():
    row = admit(Admission(), "lock", "any", "yes", time="2031-05-03T08:00:00.5-05:00")
    assert (row.time, row.run, row.elapsed_s, row.id) == ("2031-05-03T08:00:00.5-05:00", "", "", "r1-1")
    row = admit(Admission(), "lock", "any", "yes", time="2031-05-03T08:00:00Z", run="r1.r4", elapsed_s="7.5")
    assert (row.run, row.elapsed_s) == ("r1.r4", "7.5")


def test_a_time_without_offset_needs_naive_times():
    reading = ("lock", "any", "yes")
    assert "has no offset" in admit(Admission(), *reading, time="2031-05-03T08:00:00")
    local = Admission(timezone(timedelta(hours=-5)))
    assert admit(local, *reading, time="2031-05-03T08:00:00").time == "2031-05-03T08:00:00"
    assert "is not a time" in admit(local, *reading, time="yesterday")


@pytest.mark.parametrize(
    ("texts", "why"),
    [
        (("colour", "any", "red"), "'colour' is not a kind of observation"),
        (("signal", "moon", "1", "dB"), "'moon' is not a subject of 'signal'"),
        (("channel", "031", "refused"), "'031' is not a subject of 'channel'"),
        (("lock", "any", "maybe"), "'maybe' is not a state of lock"),
        (("lock", "any", "yes", "dB"), "'dB' is not a unit of lock any"),
        (("supply", "receiver", "12.8"), "supply receiver needs a unit, and none is given"),
        (("supply", "receiver", "12.8", "mV"), "'mV' is not a unit of supply receiver"),
        (("bias", "current", "unreadable", "mA"), "stands beside 'unreadable'"),
        (("signal", "any", "120", "percent"), "'120' is above 100"),
        (("signal", "any", "2.5", "bars/5"), "'2.5' is not a whole number"),
        (("supply", "receiver", "1e308", "V"), "is above"),
        (("note", "x", "a\x00b"), "stands in it"),
        (("note", "x", "a\ud800b"), "stands in it"),
        (("site", "vehicle", "moon"), "is not the name of a [[site]]"),
        (("withdraw", "row", "r1-9"), "'r1-9' is not the id of any row"),
        (("clock", "recorder", "3", "s"), "'clock' is written by the recorder alone"),
        (("gap", "gnss", "lost"), "'gap' is written by the recorder alone"),
    ],
)
def test_what_may_not_be_logged_says_why(texts, why):
    found = admit(Admission(ids={"r1-1"}, sites={"yard"}), *texts)
    assert isinstance(found, str)
    assert why in found


# float() takes all but the last two; the log takes none of them.
@pytest.mark.parametrize("text", ["1_000", "nan", "inf", "1e400", "\u0661\u0662", " 1", "1\n", "0x10", "1,5"])
def test_what_is_no_number_of_the_log_is_refused(text):
    assert isinstance(admit(Admission(), "supply", "receiver", text, "V"), str)


def test_known_names_pass():
    gate = Admission(sites={"yard"}, ids={"r1-1"})
    assert isinstance(admit(gate, "site", "vehicle", "yard"), Row)
    assert isinstance(admit(gate, "withdraw", "row", "r1-1"), Row)


def test_the_recorder_itself_and_a_log_played_back_may_say_gaps_and_steps():
    gate = Admission()
    assert isinstance(admit(gate, "gap", "serial:x", "lost", span_s="3.000", source="recorder", own=True), Row)
    assert isinstance(admit(gate, "clock", "recorder", "3600", "s", source="replay", own=True), Row)


# --- one unit a path within a visit -----------------------------------------------------------------------------


def test_a_path_keeps_its_unit_within_a_visit():
    gate = Admission()
    assert isinstance(admit(gate, "signal", "any", "11", "dB"), Row)
    assert admit(gate, "signal", "any", "60", "percent", after_h=1) == (
        "any was in dB before and is in percent here, within one visit"
    )
    assert isinstance(admit(gate, "signal", "repeater", "60", "percent", after_h=1), Row)
    assert isinstance(admit(gate, "signal", "any", "unreadable", after_h=1), Row)


def test_after_a_pause_a_new_visit_begins_and_a_refused_row_does_not_fill_the_pause():
    gate = Admission()
    admit(gate, "signal", "any", "11", "dB")
    assert isinstance(admit(gate, "signal", "any", "60", "percent", after_h=PAUSE_H), str)
    assert isinstance(admit(gate, "signal", "any", "60", "percent", after_h=PAUSE_H + 0.001), Row)


def test_any_row_bridges_a_pause():
    gate = Admission()
    admit(gate, "signal", "any", "11", "dB")
    admit(gate, "note", "x", "still here", after_h=3)
    assert isinstance(admit(gate, "signal", "any", "60", "percent", after_h=6), str)


def test_a_late_row_may_not_make_one_visit_of_two_that_do_not_go_together():
    gate = Admission()
    admit(gate, "signal", "any", "11", "dB")
    admit(gate, "signal", "any", "60", "percent", after_h=6)
    why = admit(gate, "note", "x", "in between", time="2031-05-03T17:00:00Z")
    assert why == "at its time any is in dB and in percent, and it would make one visit of both"
    assert isinstance(admit(gate, "note", "x", "earlier", time="2031-05-03T15:00:00Z"), Row)


def test_a_job_brings_its_units_with_it_but_not_those_of_withdrawn_rows():
    job = make_job("""
        0:00    signal any 11 dB
        0:01    signal repeater 3 bars/5 id=n1
        0:02    withdraw row n1 id=n2
        9:00:00 signal satellite 60 percent
    """)
    gate = Admission.of_job(job, {"n1", "n2"})
    assert isinstance(admit(gate, "signal", "any", "60", "percent", after_h=1), str)
    assert isinstance(admit(gate, "signal", "repeater", "60", "percent", after_h=1), Row)
    assert isinstance(admit(gate, "signal", "any", "60", "percent", after_h=10), Row)
    assert isinstance(admit(gate, "signal", "satellite", "6", "dB", after_h=10), str)
    assert isinstance(admit(gate, "withdraw", "row", "n2", after_h=10), Row)


def test_a_job_brings_its_offset_and_its_sites():
    job = make_job(
        "0:00 power receiver awake",
        'naive_times = "-05:00"\n[[site]]\nname = "yard"\nlatitude_deg = 1.0\nlongitude_deg = 2.0\n',
    )
    gate = Admission.of_job(job, ())
    assert isinstance(admit(gate, "site", "vehicle", "yard", time="2031-05-03T08:00:00"), Row)


def test_the_gate_lets_through_just_what_the_check_of_all_rows_would_take():
    rng = random.Random(8)
    let_through = refused = 0
    for _ in range(150):
        gate, rows = Admission(), []
        for number in range(25):
            path = rng.choice(("any", "repeater"))
            texts = rng.choice((("signal", path, "3", rng.choice(("dB", "percent"))), ("lock", path, "yes")))
            after_h = rng.choice((0, 1, 2, 3, 5, 8, 9, 13, 20)) + rng.choice((0, 0, 0.5, 1e-9))
            found = admit(gate, *texts, after_h=after_h, id=f"r1-{number}")
            at = Moment(AT_NS + round(after_h * HOUR_NS), 0)
            alone = Admission().row(Reading(*texts), "serial:x", at, 12.5, "r1", f"r1-{number}")
            legal = not check_rows("x", [*rows, alone], range(len(rows) + 1), None, ())
            assert isinstance(found, Row) == legal
            if legal:
                rows.append(found)
            let_through, refused = let_through + legal, refused + (not legal)
    assert let_through > 1000
    assert refused > 300


def test_the_rows_of_a_job_make_the_visits_that_they_make_one_by_one():
    rng = random.Random(3)
    said = ("signal any 1 dB", "signal repeater 3 bars/5", "lock any yes", "signal any unreadable")
    for count in (0, 1, *[60] * 12):
        hours = [rng.choice((0, 1, 4, 8.5, 12.4999, 12.5, 30)) + rng.choice((0, 1e-9, 0.25)) for _ in range(count)]
        job = make_job("\n".join(f"{hour * 3600:.6f} {rng.choice(said)}" for hour in hours))
        one_by_one, at_once = Visits(), Visits.of_rows(job.observations)
        for row in job.rows:
            level = (row.subject, row.unit) if row.kind == "signal" and row.unit else ()
            assert one_by_one.add(parse_time_us(row.time, None), *level) == ""
        assert vars(at_once) == vars(one_by_one)


def test_visits_are_few_however_many_rows_come():
    visits, rng = Visits(), random.Random(2)
    times = [day * 86_400_000_000 + second * 1_000_000 for day in range(3) for second in range(0, 20_000, 7)]
    rng.shuffle(times)
    assert all(visits.add(each) == "" for each in times)
    assert len(visits._starts) == 3


def test_each_row_is_as_little_work_as_the_first():
    """`scripts/benchmark.py record` measures how quick it is."""
    gate = Admission()
    readings = [
        Reading("signal", "satellite:east", "11.2", "dB"),
        Reading("lock", "any", "yes"),
        Reading("bias", "current", "34.5", "mA"),
        Reading("channel", "31", "refused"),
    ]

    def bring(numbers):
        for number in numbers:
            at = Moment(AT_NS + number * 1_000_000, number * 1_000_000)
            assert isinstance(
                gate.row(readings[number % 4], "serial:x", at, number / 1000, "r1", f"r1-{number}"), Row
            )

    parse_time_us.cache_clear()  # what other tests have parsed is no work any more
    bring(range(4))  # the words of the vocabulary are got ready once
    few = steps(lambda: bring(range(4, 404)))
    bring(range(404, 20_000))
    late = steps(lambda: bring(range(20_000, 20_400)))
    assert few < 400 * 300  # measured: 132 lines of Python a row
    assert late < 1.05 * few
