"""Lines read again with a mended profile: afterwards the log is what the mended profile would have recorded."""

import random
import subprocess
import sys
from dataclasses import replace

import pytest

from satdiag.analysis import analyse
from satdiag.errors import BadInput, SatdiagError, StoreProblem
from satdiag.job import build_job, with_rows
from satdiag.opening import add_rows, open_job
from satdiag.recorder.clock import Clock
from satdiag.recorder.desk import Desk, next_run
from satdiag.recorder.heard import Line, Moment, SourceEnded
from satdiag.recorder.loop import Recorder
from satdiag.recorder.profile import parse_profile
from satdiag.recorder.raw_lines import decode_document, document_name
from satdiag.recorder.reread import reread, write
from satdiag.recorder.serial_source import NEVER_READ, SerialSource
from satdiag.rows import Row
from satdiag.store import check_job_file, read_job_file
from tests.helpers import make_job
from tests.recorder.devices import PtyDevice, until
from tests.recorder.recording import new_job_file
from tests.recorder.scripted import Scripted, SetClock

READINGS = """
[[reading]]
kind = "bias"
subject = "current"
value = {field = "number"}
unit = "mA"
when = {field = "word", is = "mA"}

[[reading]]
kind = "lock"
subject = "any"
value = {field = "number", words = {"1" = "yes", "0" = "no"}}
when = {field = "word", is = "lock"}
"""
LEVELS = """
[[reading]]
kind = "signal"
subject = "any"
value = {field = "number"}
unit = "dB"
"""
TEXT = '[[reading]]\nkind = {field = "word"}\nsubject = {field = "number"}\nvalue = {field = "value"}\n'


def profile(readings=READINGS, names='["word", "number"]', name="my-meter", line=""):
    """A line profile, parsed from TOML."""
    head = f'name = "{name}"\nkind = "bench"\n[line]\npart = "words"\nnames = {names}\n{line}\n'
    return parse_profile(head + readings, "my-meter.toml")


AS_IT_CAME = profile()
SCALED = profile(READINGS.replace('unit = "mA"', 'unit = "mA"\nscale = 1000'))
TURNED = profile(READINGS.replace('"1" = "yes", "0" = "no"', '"1" = "no", "0" = "yes"'))
LEVEL_DB = profile(LEVELS)
LEVEL_PERCENT = profile(LEVELS.replace('"dB"', '"percent"'))


def script(read_with, *texts):
    """What a source hands over that reads these lines with that profile, and then ends."""
    lines = [(text.encode(), *read_with.read_line(text.encode())) for text in texts]
    return [*lines, SourceEnded]


def record(place, *said, typed=()):
    """Record into a job file until every source has ended; `said` are (source name, script)."""
    clock = SetClock()
    sources = [Scripted(clock, name) for name, _ in said]
    for source, (_, items) in zip(sources, said, strict=True):
        source.script.extend(items)
    recorder = Recorder(place, sources, clock)
    recorder.start()
    try:
        assert until(lambda: recorder.sources_ended)
        for text in typed:
            assert recorder.enter(text).ok, recorder.answer
    finally:
        summary = recorder.stop()
    assert summary.error is None
    return read_job_file(place)


@pytest.fixture
def place(tmp_path):
    return new_job_file(tmp_path / "job.satjob")


def read_again(place, used, write_it=True):
    """Read all lines of a job file again, and write what comes of it."""
    job = open_job(place)
    found = reread(job, lambda source: used)
    if write_it and found.changes:
        write(place, found, job)
        assert check_job_file(place) == []
    return found


def said(job, *more):
    """What counts in a job, row by row."""
    log = job.log[["kind", "subject", "value", "unit", *more]]
    return [tuple(row) for row in log.astype(str).to_numpy()]


def ids_of(job, kind="bias"):
    return [row.id for row in job.rows if row.kind == kind]


# --- a mended profile ---------------------------------------------------------------------------------------------


def test_a_wrong_scale_is_mended_at_the_time_each_line_was_heard(place):
    before = record(place, ("serial:my-meter", script(AS_IT_CAME, "mA 0.031", "mA 0.032", "lock 1", "mA 0.033")))
    assert analyse(before).wiring.bias.current_ma == pytest.approx(0.032)
    found = read_again(place, SCALED)
    assert (found.lines, found.same, found.run, len(found.changes)) == (4, 1, "r2", 3)
    after = open_job(place)
    assert [row[2] for row in said(after)] == ["31", "32", "yes", "33"]
    assert analyse(after).wiring.bias.current_ma == pytest.approx(32)
    for column in ("time", "at", "t_s", "run", "elapsed_s", "source"):
        assert before.log[column].astype(str).tolist() == after.log[column].astype(str).tolist()
    assert after.rows[: len(before.rows)] == before.rows  # nothing is erased
    taken_back = [row for row in after.rows if row.kind == "withdraw"]
    assert [row.value for row in taken_back] == ids_of(before)
    assert {(row.source, row.note) for row in taken_back} == {("reread", "read again in r2")}
    assert [row.id for row in after.rows[len(before.rows) :]] == [f"r2-{n}" for n in range(1, 7)]


def test_looking_writes_nothing_and_a_second_reading_changes_nothing(place):
    record(place, ("serial:my-meter", script(AS_IT_CAME, "mA 0.031", "lock 1", "what is this")))
    old = place.read_bytes()
    assert len(read_again(place, SCALED, write_it=False).changes) == 1
    assert place.read_bytes() == old
    assert read_again(place, AS_IT_CAME).changes == ()
    assert place.read_bytes() == old
    assert len(read_again(place, SCALED).changes) == 1
    new = place.read_bytes()
    assert new != old
    again = read_again(place, SCALED)
    assert (again.changes, again.rows, again.same, again.not_understood) == ((), (), 3, 1)
    assert place.read_bytes() == new


def test_one_reading_after_another_each_stands_for_the_line_it_was_made_of(place):
    record(place, ("serial:my-meter", script(AS_IT_CAME, "mA 0.5", "lock 1", "mA 0.25")))
    kept = said(open_job(place))
    scaled = [("bias", "current", "500", "mA"), kept[1], ("bias", "current", "250", "mA")]
    turned = [kept[0], ("lock", "any", "no", ""), kept[2]]
    for used, expected in [(SCALED, scaled), (TURNED, turned), (AS_IT_CAME, kept), (TURNED, turned)]:
        read_again(place, used)
        assert said(open_job(place)) == expected
        assert read_again(place, used).changes == ()
    job = open_job(place)
    assert [(line.n, line.of) for line in decode_document("raw-r2.jsonl", job.documents["raw-r2.jsonl"])] == [
        (1, ("raw-r1.jsonl", 1)),
        (2, ("raw-r1.jsonl", 3)),
    ]
    assert [line.of[1] for line in decode_document("raw-r5.jsonl", job.documents["raw-r5.jsonl"])] == [2]
    later = record(place, ("serial:my-meter", script(AS_IT_CAME, "mA 0.125")))
    assert later.rows[-1].run == "r6"
    assert said(later)[-1] == ("bias", "current", "0.125", "mA")


def test_a_line_that_was_not_understood_becomes_a_row(place):
    few = profile(READINGS.replace('"1" = "yes", "0" = "no"', '"1" = "yes"'))
    before = record(place, ("serial:my-meter", script(few, "lock 0", "mA 31", "hello")), typed=["lock any yes"])
    assert said(before) == [("bias", "current", "31", "mA"), ("lock", "any", "yes", "")]
    found = read_again(place, AS_IT_CAME)
    assert (found.same, found.not_understood) == (2, 1)
    (change,) = found.changes
    assert (change.lost, [row.value for row in change.gained], change.line.data) == ((), ["no"], b"lock 0")
    assert said(open_job(place))[0] == ("lock", "any", "no", "")
    (line,) = decode_document("raw-r2.jsonl", open_job(place).documents["raw-r2.jsonl"])
    assert (line.rows, line.of, line.why) == (("r2-1",), ("raw-r1.jsonl", 1), "")


def test_a_line_that_is_not_understood_any_more_loses_its_row_and_says_why(place):
    record(place, ("serial:my-meter", script(AS_IT_CAME, "lock 0", "lock 1")))
    found = read_again(place, profile(READINGS.replace('"1" = "yes", "0" = "no"', '"1" = "yes"')))
    (change,) = found.changes
    assert change.gained == ()
    assert "'0'" in change.why
    assert [row[2] for row in said(open_job(place))] == ["yes"]
    (line,) = decode_document("raw-r2.jsonl", open_job(place).documents["raw-r2.jsonl"])
    assert (line.rows, line.why) == ((), change.why)


# --- what a person took back --------------------------------------------------------------------------------------


@pytest.mark.parametrize("used", [AS_IT_CAME, SCALED, TURNED], ids=["the same", "rescaled", "another line mended"])
def test_what_a_person_took_back_is_not_brought_back(place, used):
    job = record(place, ("serial:my-meter", script(AS_IT_CAME, "mA 0.5", "lock 1", "mA 0.25")))
    add_rows(place, [Row(job.rows[0].time, "withdraw", "row", ids_of(job)[0], source="hand")])
    for expected in (used, SCALED, AS_IT_CAME):  # nor by any reading after that one
        found = read_again(place, expected)
        assert found.stay_withdrawn == 1
        currents = [row[2] for row in said(open_job(place)) if row[0] == "bias"]
        assert currents == (["250"] if expected is SCALED else ["0.25"])


def test_what_a_person_took_back_after_a_new_reading_stays_so_too(place):
    record(place, ("serial:my-meter", script(AS_IT_CAME, "mA 0.5")))
    read_again(place, SCALED)
    job = open_job(place)
    add_rows(place, [Row(job.rows[0].time, "withdraw", "row", job.rows[-1].id, source="hand")])
    assert said(open_job(place)) == []
    for used in (SCALED, AS_IT_CAME, SCALED):
        assert read_again(place, used).changes == ()


def test_of_a_line_with_two_readings_the_one_that_was_taken_back_stays_so(place):
    both = READINGS + READINGS.replace('"current"', '"voltage"').replace('"mA"\nwhen', '"V"\nwhen')
    job = record(place, ("serial:my-meter", script(profile(both), "mA 5")))
    current = next(row for row in job.rows if row.subject == "current")
    add_rows(place, [Row(current.time, "withdraw", "row", current.id, source="hand")])
    scaled = profile(both.replace('unit = "V"', 'unit = "V"\nscale = 2'))
    for used, voltage in [(scaled, "10"), (profile(both), "5"), (scaled, "10")]:
        assert read_again(place, used).stay_withdrawn == 1
        assert said(open_job(place)) == [("bias", "voltage", voltage, "V")]


def test_of_two_equal_readings_the_one_that_was_not_taken_back_stays(place):
    twice = profile(READINGS + READINGS)
    job = record(place, ("serial:my-meter", script(twice, "mA 5")))
    first, second = ids_of(job)
    add_rows(place, [Row(job.rows[0].time, "withdraw", "row", first, source="hand")])
    assert read_again(place, twice).changes == ()
    assert read_again(place, AS_IT_CAME).changes == ()
    assert [row.id for row in open_job(place).rows if row.id == second] == [second]
    assert len(said(open_job(place))) == 1


# --- what is never made of a line ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("line", "kind"),
    [("gap serial:my-meter lost", "gap"), ("clock recorder 3 s", "clock"), ("withdraw row r1-1", "withdraw")],
)
def test_what_a_device_may_not_say_is_refused_line_by_line(place, line, kind):
    record(place, ("serial:my-meter", script(AS_IT_CAME, line, "lock any yes")))
    free = profile(
        TEXT + 'unit = {field = "unit"}\n', '["word", "number", "value", "unit"]', line='required = ["word"]'
    )
    found = read_again(place, free)
    assert [(change.line.data, change.gained[0].kind) for change in found.changes] == [(b"lock any yes", "lock")]
    assert found.not_understood == 1
    assert kind not in {row.kind for row in open_job(place).rows}


class Held(Clock):
    """A clock that stands still until `at` is taken away: what comes then comes at the instant of opening."""

    def __init__(self):
        super().__init__()
        self.at = super().now()

    def now(self):
        return self.at or super().now()


@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX")
def test_lines_that_are_not_whole_are_never_read(tmp_path, place):
    """'mA 31' cut to 'mA 3' would look sound, and so would the beginning of a line that never ended."""
    nothing = profile(READINGS.replace('is = "mA"', 'is = "volts"').replace('is = "lock"', 'is = "locked"'))
    clock = Held()
    with PtyDevice(tmp_path) as device:
        recorder = Recorder(place, [SerialSource(device.where, nothing, clock, "serial:my-meter")])
        recorder.start()
        try:
            runner = recorder.runners[0]
            assert until(lambda: runner.heard.state in ("open", "listening"))
            device.say(b"mA 1\n")
            assert until(lambda: runner.heard.lines == 1)
            clock.at = None
            device.say(b"mA 2\nmA 3" + b" " * 5000 + b"\nmA 4\nmA 5")
            assert until(lambda: runner.heard.lines == 4)
        finally:
            recorder.stop()
    heard = list(decode_document("raw-r1.jsonl", open_job(place).documents["raw-r1.jsonl"]))
    assert [line.data.strip() for line in heard] == [b"mA 1", b"mA 2", b"mA 3", b"mA 4", b"mA 5"]
    found = read_again(place, AS_IT_CAME)
    assert (found.lines, found.not_whole) == (2, 3)
    assert [row[2] for row in said(open_job(place))] == ["2", "4"]
    assert AS_IT_CAME.read_line(heard[2].data).readings  # it would be read, were it not for how it came


# --- units, times, order -------------------------------------------------------------------------------------------


def test_another_unit_within_the_visit_is_mended_as_the_old_rows_are_withdrawn(place):
    record(place, ("serial:my-meter", script(LEVEL_DB, "level 60", "level 61", "level 62")))
    assert len(read_again(place, LEVEL_PERCENT).changes) == 3
    assert [row[2:] for row in said(open_job(place))] == [("60", "percent"), ("61", "percent"), ("62", "percent")]


def test_what_the_job_could_not_hold_is_refused_and_nothing_is_written(place):
    job = record(place, ("serial:my-meter", script(LEVEL_DB, "level 60", "level 61")), typed=["signal any 59 dB"])
    old = place.read_bytes()
    with pytest.raises(
        BadInput, match=r"raw-r1\.jsonl, line 1.*any was in dB before and is in percent here"
    ) as error:
        read_again(place, LEVEL_PERCENT)
    assert "Withdraw the rows that are in the other unit first" in str(error.value)
    assert place.read_bytes() == old
    by_hand = next(row for row in job.rows if row.source == "hand")
    add_rows(place, [Row(by_hand.time, "withdraw", "row", by_hand.id, source="hand")])
    assert len(read_again(place, LEVEL_PERCENT).changes) == 2  # the way that the message names


def test_a_line_refused_for_its_unit_holds_nothing_up(place):
    """The device changed its unit within the visit: the second line was kept and not taken, and stays so."""
    units = LEVELS.replace('"dB"', '{field = "unit"}')
    used = profile(units, '["word", "number", "unit"]')
    record(place, ("serial:my-meter", script(used, "level 11 dB", "level 60 percent", "level 12 dB")))
    found = read_again(place, used)
    assert (found.changes, found.not_understood) == ((), 1)
    scaled = profile(units.replace('"signal"', '"signal"\nscale = 2'), '["word", "number", "unit"]')
    for _ in range(2):
        read_again(place, scaled)
        assert [row[2:] for row in said(open_job(place))] == [("22", "dB"), ("24", "dB")]


TIMED = '["at", "kind", "subject", "value"]'
OWN_TIME = TEXT.replace("word", "kind").replace("number", "subject") + 'time = {field = "at"}\n'
WORDS = OWN_TIME.replace('{field = "value"}', '{field = "value", words = {"1" = "yes", "0" = "no"%s}}')
FEW, ALL = profile(WORDS % "", TIMED), profile(WORDS % ', "on" = "yes"', TIMED)


def test_lines_with_their_own_time_keep_it(place):
    lines = ["2031-05-03T08:00:00-05:00 lock any 1", "2031-05-03T08:00:01-05:00 lock any on"]
    record(place, ("serial:my-meter", script(FEW, *lines)))
    read_again(place, ALL)
    rows = open_job(place).rows
    assert [(row.time, row.value, row.run, row.elapsed_s) for row in rows] == [
        ("2031-05-03T08:00:00-05:00", "yes", "", ""),
        ("2031-05-03T08:00:01-05:00", "yes", "", ""),
    ]
    heard = profile(WORDS.replace('time = {field = "at"}\n', "") % "", TIMED)  # mended: the device's clock is wrong
    read_again(place, heard)
    lines = list(decode_document("raw-r1.jsonl", open_job(place).documents["raw-r1.jsonl"]))
    job = open_job(place)
    assert said(job, "run", "elapsed_s") == [("lock", "any", "yes", "", "r1", str(float(lines[0].elapsed_s)))]
    assert job.rows[-2].time == lines[0].time or job.rows[-1].time == lines[0].time


def test_a_line_read_again_does_not_override_what_stands_behind_it(place):
    """Of two rows with equal time, kind and subject the later counts: a new row is no later than its line."""
    at = "2031-05-03T14:00:00Z"
    lines = [f"{at} lock any on", f"{at} lock any 0", f"{at} bias any 3"]
    job = record(place, ("serial:my-meter", script(FEW, *lines)))
    assert [row[2] for row in said(job)] == ["no"]
    found = read_again(place, ALL)
    assert (found.changes, found.overridden) == ((), 1)
    assert [row[2] for row in said(open_job(place))] == ["no"]
    later = [f"{at} lock any 0", f"{at} lock any on"]
    record(place, ("serial:my-meter", script(FEW, *later)))
    assert read_again(place, ALL).overridden == 1
    assert [row[2] for row in said(open_job(place))] == ["yes"]


def test_lines_that_become_rows_one_reading_after_another_keep_their_order(place):
    at = "2031-05-03T14:00:00Z"
    record(place, ("serial:my-meter", script(profile(), f"{at} lock any on", f"{at} lock any 0", "mA 31")))
    assert len(read_again(place, FEW).changes) == 2  # the second line, and the third that is none of these
    assert read_again(place, ALL).overridden == 1
    assert [row[2] for row in said(open_job(place))] == ["no"]


def test_what_withdraws_a_row_still_belongs_to_the_visit(place):
    """14:00 and 20:00 are one visit by what stands at 17:00: a level in another unit cannot be held there."""
    lines = [f"2031-05-03T{hour}:00:00Z {text}" for hour, text in ((14, "11 dB"), (17, "0 dB"), (20, "60 percent"))]
    rule = LEVELS + 'time = {field = "at"}\n'
    kinds = rule.replace('"dB"\n', '{field = "unit"}\nabsent = ["0"]\n')
    names = '["at", "number", "unit"]'
    first, mended = profile(rule, names), profile(kinds, names)
    record(place, ("serial:my-meter", script(first, *lines[:2])))
    record(place, ("serial:my-meter", script(profile(), lines[2])))
    found = read_again(place, mended)
    assert ([change.line.data.decode() for change in found.changes], found.not_understood) == ([lines[1]], 1)
    assert [row[2:] for row in said(open_job(place))] == [("11", "dB")]


def test_a_row_by_which_a_person_overrides_a_line_goes_on_to_count(place):
    job = record(place, ("serial:my-meter", script(AS_IT_CAME, "lock 1")))
    first = job.rows[0]
    add_rows(place, [first._replace(value="unreadable", source="hand", id="", note="the cable was off")])
    assert [row[2] for row in said(open_job(place))] == ["unreadable"]
    found = read_again(place, TURNED)
    assert (len(found.changes), found.overridden) == (1, 1)
    assert [row[2] for row in said(open_job(place))] == ["unreadable"]
    assert read_again(place, TURNED).changes == ()


# --- several sources, and files that are not to be written --------------------------------------------------------


def test_two_sources_with_one_profile_are_told_apart(place):
    record(
        place,
        ("serial:my-meter", script(AS_IT_CAME, "mA 0.5")),
        ("serial:my-meter/2", script(AS_IT_CAME, "mA 0.25")),
    )
    job = open_job(place)
    found = reread(job, lambda source: SCALED if source.endswith("/2") else None)
    assert (found.lines, found.left) == (1, ("serial:my-meter",))
    write(place, found, job)
    counts = {(row[4], row[2]) for row in said(open_job(place), "source")}
    assert counts == {("serial:my-meter", "0.5"), ("serial:my-meter/2", "250")}
    read_again(place, SCALED)
    counts = {(row[4], row[2]) for row in said(open_job(place), "source")}
    assert counts == {("serial:my-meter", "500"), ("serial:my-meter/2", "250")}


def test_the_words_by_which_a_line_is_known_as_not_whole_stand_in_files():
    """They are what old job files hold: another wording would have those lines read."""
    assert {
        "the port was opened while it was being sent: its beginning may be missing",
        "it is too long for a line: is the speed right?",
        "its end never came",
    } <= NEVER_READ


def test_a_job_without_raw_lines_says_so():
    with pytest.raises(SatdiagError, match="no lines as they were received"):
        reread(make_job("0:00 lock any yes"), lambda source: AS_IT_CAME)


def test_a_new_reading_of_a_line_that_is_not_there_is_named(place):
    record(place, ("serial:my-meter", script(AS_IT_CAME, "mA 0.5")))
    read_again(place, SCALED)
    job = open_job(place)
    bare = replace(job, documents={name: job.documents[name] for name in ("job.toml", "raw-r2.jsonl")})
    with pytest.raises(BadInput, match=r"raw-r2\.jsonl.*line 1 in 'raw-r1\.jsonl', which is not there"):
        reread(bare, lambda source: SCALED)


def test_a_file_that_changed_since_it_was_read_is_not_written(place):
    record(place, ("serial:my-meter", script(AS_IT_CAME, "mA 0.5")))
    job = open_job(place)
    found = reread(job, lambda source: SCALED)
    add_rows(place, [Row(job.rows[0].time, "withdraw", "row", job.rows[0].id, source="hand")])
    old = place.read_bytes()
    with pytest.raises(StoreProblem, match=r"changed since it was read.*again"):
        write(place, found, job)
    assert place.read_bytes() == old


def test_a_file_that_is_being_recorded_is_looked_at_and_not_written(place):
    record(place, ("serial:my-meter", script(AS_IT_CAME, "mA 0.5")))
    recorder = Recorder(place, [])
    recorder.start()
    try:
        assert len(read_again(place, SCALED, write_it=False).changes) == 1
        with pytest.raises(StoreProblem, match="being recorded into"):
            read_again(place, SCALED)
    finally:
        recorder.stop()
    assert len(read_again(place, SCALED).changes) == 1


def test_a_run_that_was_cut_off_is_still_known_after_a_new_reading(place):
    """The recording that comes next must write down from when on nothing was heard."""
    record(place, ("serial:my-meter", script(AS_IT_CAME, "mA 0.5")))
    code = (
        "import os, sys\n"
        "from satdiag.rows import Row\n"
        "from satdiag.store import open_live\n"
        "live = open_live(sys.argv[1])\n"
        "live.begin('r2', '2021-05-03T14:00:00Z')\n"
        "more = {'source': 'serial:my-meter', 'run': 'r2', 'elapsed_s': '1', 'id': 'r2-1'}\n"
        "live.append([Row('2021-05-03T14:00:01Z', 'lock', 'any', 'yes', **more)])\n"
        "os._exit(1)\n"
    )
    assert subprocess.run([sys.executable, "-c", code, str(place)], check=False).returncode == 1
    job = open_job(place)
    write(place, reread(job, lambda source: SCALED), job)
    assert [problem.what.partition(",")[0] for problem in check_job_file(place)] == ["the recording of run r2"]
    after = record(place, ("serial:my-meter", script(AS_IT_CAME, "mA 0.5")))
    assert [row.note for row in after.rows if row.kind == "gap"] == ["the run r2 ended without closing"]


# --- all or nothing ------------------------------------------------------------------------------------------------

KILLED = """
import os, shutil, signal, sqlite3, sys
from pathlib import Path
import satdiag.store.connect as connect
from satdiag.opening import open_job
from satdiag.recorder.profile import load_profile
from satdiag.recorder.reread import reread, write
from satdiag.store import check_job_file

folder = Path(sys.argv[1])
place, first = folder / "job.satjob", folder / "first.bin"
first.write_bytes(place.read_bytes())
used = load_profile(str(folder / "scaled.toml"))
really = sqlite3.connect


def content(job):
    return job.rows, dict(job.documents)


def attempt(last):
    job = open_job(place)
    found = reread(job, lambda source: used)
    left = iter(range(last))

    def count(statement):
        if next(left, None) is None:
            os.kill(os.getpid(), signal.SIGKILL)

    def watched(*words, **more):
        connection = really(*words, **more)
        connection.set_trace_callback(count)
        return connection

    connect.sqlite3.connect = watched
    write(place, found, job)
    os._exit(0)


before = content(open_job(place))
outcomes = []
for last in range(1000):
    place.write_bytes(first.read_bytes())
    child = os.fork()
    if not child:
        attempt(last)
    done = os.waitpid(child, 0)[1] == 0
    now = content(open_job(place))
    assert check_job_file(place) == []
    assert not done or now != before
    outcomes.append("nothing" if now == before else "all")
    assert now == before or (len(now[0]), sorted(now[1])) == (60, ["job.toml", "raw-r1.jsonl", "raw-r2.jsonl"])
    if done:
        break
print(len(outcomes), *dict.fromkeys(outcomes))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="kill -9 is a POSIX signal")
def test_killed_before_any_statement_all_of_it_is_there_or_nothing(tmp_path, place):
    """The process that writes is killed (SIGKILL) before its 1st, 2nd, 3rd, ... SQL statement, until it is done."""
    record(place, ("serial:my-meter", script(AS_IT_CAME, *(f"mA 0.{n}" for n in range(10, 30)))))
    scaled = READINGS.replace('unit = "mA"', 'unit = "mA"\nscale = 1000')
    head = 'name = "my-meter"\nkind = "bench"\n[line]\npart = "words"\nnames = ["word", "number"]\n'
    (tmp_path / "scaled.toml").write_text(head + scaled)
    found = subprocess.run([sys.executable, "-c", KILLED, str(tmp_path)], capture_output=True, text=True, check=False)
    assert found.returncode == 0, found.stderr
    kills, *outcomes = found.stdout.split()
    assert int(kills) > 15
    assert outcomes == ["nothing", "all"]


# --- the rule as a whole -------------------------------------------------------------------------------------------

MANY = [
    profile(text, '["at", "word", "number"]')
    for text in (
        READINGS,
        READINGS.replace('unit = "mA"', 'unit = "mA"\nscale = 1000'),
        READINGS.replace('"1" = "yes", "0" = "no"', '"1" = "no"'),
        READINGS.replace('"any"', '"satellite"'),
        READINGS.replace("[[reading]]", '[[reading]]\ntime = {field = "at"}'),
        READINGS.replace("[[reading]]", '[[reading]]\ntime = {field = "at"}').replace('"1" = "yes", ', ""),
        READINGS.replace('is = "mA"', 'is = ["mA", "A"]'),
        READINGS + READINGS.replace('"current"', '"voltage"').replace('"mA"\nwhen', '"V"\nwhen'),
    )
]
SHEET = {"job.toml": b'[job]\nid = "x"\n'}
START = Moment(1_935_583_200 * 10**9, 10**9)


def heard_lines(draw, count):
    """Lines of a device whose own clock ticks in whole seconds, so that many are of the same second."""
    return [
        f"2031-05-03T14:00:{draw.randrange(3):02}Z {draw.choice(['mA', 'lock', 'A', 'other'])} {draw.choice('01 2')}"
        for _ in range(count)
    ]


def recorded(used, runs):
    """The job that the recorder makes with a profile of these lines, run by run, each with its source."""
    job = build_job(SHEET, [])
    for number, lines in enumerate(runs):
        start = Moment(START.wall_ns + number * 10**12, START.mono_ns)
        desk = Desk(job, next_run(job), start)
        rows, raw = [], b""
        for n, (source, text) in enumerate(lines):
            at = Moment(start.wall_ns + n * 10**7, start.mono_ns + n * 10**7)
            line = Line(at, text.encode(), *used.read_line(text.encode()))
            batch = desk.take(Scripted(None, source), [line]).batch
            rows, raw = [*rows, *batch.rows], raw + batch.parts[0][1]
        job = with_rows(replace(job, documents={**job.documents, document_name(desk.run): raw}), rows)
    return job


def effective(job):
    log = job.log[["at", "kind", "subject", "value", "unit", "source", "run", "elapsed_s"]].astype(str)
    return sorted(map(tuple, log.to_numpy()))


@pytest.mark.parametrize("seed", range(25))
def test_after_any_readings_the_log_is_what_the_last_profile_would_have_recorded(seed):
    draw = random.Random(seed)
    sources = ["serial:my-meter", "serial:my-meter/2"]
    runs = [[(draw.choice(sources), text) for text in heard_lines(draw, 12)] for _ in range(draw.choice([1, 2]))]
    job = recorded(draw.choice(MANY), runs)
    for _ in range(5):
        used = draw.choice(MANY)
        found = reread(job, lambda source, used=used: used)
        documents = {**job.documents, document_name(found.run): found.document()} if found.changes else job.documents
        job = with_rows(replace(job, documents=documents), found.rows)
        assert effective(job) == effective(recorded(used, runs))
        assert reread(job, lambda source, used=used: used).changes == ()
