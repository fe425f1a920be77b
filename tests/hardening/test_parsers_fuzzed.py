"""Every parser under hypothesis, the runner of the long runs, and what the long runs have found so far.

Everyday: a few plans of changes for each parser. Long: so many as `python scripts/fuzz.py` tries by itself.
"""

import json
import os
import random
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from satdiag.acceptance.record import Record, parse_record, rates_of
from satdiag.csv_text import header_problems
from satdiag.errors import BadInput, Problem, SatdiagError
from satdiag.mapping import parse_map
from satdiag.recorder.profile import parse_profile
from satdiag.recorder.profile_pattern import compile_pattern
from satdiag.report.record_check import verify_record
from satdiag.ring_file import parse_ring
from satdiag.sheet import line_of_key, parse_sheet, zone_named
from satdiag.sky.constellation import parse_constellation
from satdiag.sky.elements import parse_elements
from satdiag.touchstone import parse_touchstone
from satdiag.user_folder import parse_learned
from tests.hardening import fuzz_engine
from tests.hardening.fuzz_all import PARSERS
from tests.hardening.fuzz_changes import JSON, MOST_NUMBER, TABLE, TEXT, Change, changed
from tests.hardening.fuzz_engine import Parser, judged
from tests.hardening.fuzz_files import as_file, confirmed, records
from tests.references.look_angles import TLE
from tests.steps import steps

ROOT = Path(__file__).resolve().parents[2]
EVERYDAY, MANY = 15, 3_000
DEAR = {"analysis": 0.04, "command-line": 0.2, "acceptance-record": 0.3, "http": 0.3, "job-file": 0.5, "nmea": 0.5}
"""Where one input takes long: this share of the others' number."""

NUMBER = st.integers(0, MOST_NUMBER)


@pytest.mark.parametrize("count", [EVERYDAY, pytest.param(MANY, marks=[pytest.mark.long, pytest.mark.timeout(3600)])])
@pytest.mark.parametrize("name", PARSERS)
def test_changed_inputs_are_read_or_refused_in_words(name, count):
    parser = PARSERS[name]
    seeds = list(parser.seeds())
    plans = st.lists(
        st.builds(Change, st.sampled_from(list(parser.operators)), NUMBER, NUMBER), min_size=1, max_size=4
    )

    @settings(
        max_examples=max(int(count * DEAR.get(name, 1.0)), 2),
        deadline=None,
        database=None,
        derandomize=count == EVERYDAY,
        suppress_health_check=list(HealthCheck),
    )
    @given(st.sampled_from(seeds), plans, st.booleans())
    def try_it(seed, plan, mended):
        data = changed(seed, plan, parser.operators)
        if mended and parser.mend is not None:
            data = parser.mend(data)
        found = judged(parser, data)
        assert not found.is_failure, f"{found} {plan}"

    try_it()


@pytest.mark.parametrize("name", [name for name in PARSERS if name not in ("command-line", "analysis")])
def test_some_sound_input_of_each_parser_is_read(name):
    """Without that the parser would not be reached at all."""
    assert any(judged(PARSERS[name], seed).kind == "value" for seed in PARSERS[name].seeds()), name


# --- the engine itself -------------------------------------------------------------------------------------------


def _parser(read, **more):
    return Parser("demo", lambda: [b"one,two\n1,2\n"], read, TABLE, **more)


def _raising(error):
    def read(_):
        raise error

    return read


def _spending(_):
    until = time.process_time() + 0.05
    while time.process_time() < until:
        pass
    return "late"


def _never_ending(_):
    while True:  # a reader that swallows whatever comes is broken off all the same
        with suppress(Exception):
            sum(range(1000))


@pytest.mark.parametrize(
    ("read", "more", "kind"),
    [
        (lambda _: "fine", {}, "value"),
        (_raising(SatdiagError("No. Write it otherwise.")), {}, "refused"),
        (_raising(BadInput([Problem("f", "it is odd", "Mend it.")])), {}, "refused"),
        (_raising(SatdiagError("")), {}, "words"),
        (_raising(BadInput([Problem("f", "", "Mend it.")])), {}, "words"),
        (_raising(SatdiagError("a \x1b[31m red word")), {}, "words"),
        (_raising(SatdiagError("x" * 10_000)), {}, "words"),
        (_raising(KeyError("name")), {}, "crash"),
        (_raising(RecursionError()), {}, "crash"),
        (_raising(AssertionError()), {}, "crash"),
        (_spending, {"slow_s": 1e-5}, "slow"),
    ],
)
def test_the_engine_tells_what_is_a_failure(read, more, kind):
    assert judged(_parser(read, **more), b"").kind == kind


@pytest.mark.skipif(not hasattr(__import__("signal"), "setitimer"), reason="no alarm on this system")
def test_the_engine_breaks_off_what_does_not_end(monkeypatch):
    monkeypatch.setattr(fuzz_engine, "HANG_S", {"ITIMER_PROF": 0.2, "ITIMER_REAL": 0.4})
    assert judged(_parser(lambda _: time.sleep(60) or "late"), b"").kind == "slow"
    assert judged(_parser(_never_ending), b"").kind == "slow"


def test_a_defect_is_found_and_made_small():
    """A reader that fails at a zero byte: a short run finds it, and one change is enough to show it."""

    def read(data):
        if b"\0" in data:
            raise ValueError("zero")
        return "fine"

    found = fuzz_engine.run(_parser(read), seed=3, inputs=600)
    assert found.broke
    assert all(len(plan) <= 2 and b"\0" in data for _, plan, data in found.failures.values())


def test_the_same_seed_gives_the_same_inputs():
    runs = []
    for _ in range(2):
        seen = []
        fuzz_engine.run(_parser(lambda data, seen=seen: seen.append(data) or str(len(data))), seed=5, inputs=200)
        runs.append(seen)
    assert runs[0] == runs[1]
    assert len(set(runs[0])) > 120


def test_every_operator_changes_something():
    rng = random.Random(1)
    texts = {"text": b"a = 1\nb, c\n", "table": b"a,b\n1,2\n3,4\n", "json": b'{"a": {"b": [1, 2]},\n"c": "x"}'}
    for names, data in ((TEXT, texts["text"]), (TABLE, texts["table"]), (JSON, texts["json"])):
        for name in names:
            plans = [(Change(name, rng.randrange(MOST_NUMBER), rng.randrange(MOST_NUMBER)),) for _ in range(40)]
            assert any(changed(data, plan, names) != data for plan in plans), name


def test_the_runner_prints_a_line_for_each_parser(tmp_path):
    command = [sys.executable, str(ROOT / "scripts" / "fuzz.py"), "--inputs", "30", "--parser", "touchstone"]
    told = subprocess.run(
        [*command, "--parser", "learned"],
        capture_output=True,
        text=True,
        timeout=120,
        cwd=tmp_path,
        check=False,
        env={**os.environ, "PYTHONUTF8": "1"},
    )
    assert told.returncode == 0, told.stdout + told.stderr
    assert told.stdout.splitlines()[0].split()[:2] == ["parser", "inputs"]
    assert [line.split()[:2] for line in told.stdout.splitlines()[1:3]] == [["touchstone", "30"], ["learned", "30"]]
    assert told.stdout.splitlines()[-1].startswith("2 parsers, 60 inputs")


# --- found by long runs ------------------------------------------------------------------------------------------


def _told(read):
    with pytest.raises(SatdiagError) as caught:
        read()
    return str(caught.value)


def test_of_a_thousand_nodes_of_a_ring_a_message_names_the_first():
    nodes = "".join(f'[[node]]\nname = "n{number}"\n' for number in range(1000))
    told = _told(
        lambda: parse_ring('[ring]\nwanted = ["n1", "nowhere"]\n' + nodes + '[[direct]]\nfrom = "x"\nto = "n1"\n')
    )
    assert "Nodes: n0, n1, n2" in told
    assert "n19 and 980 more." in told
    assert len(told) < 1000


def test_a_name_from_the_input_is_shown_cut_short_and_without_marks_that_cannot_be_seen():
    long = "x" * 50_000
    told = _told(lambda: parse_sheet(f'[job]\nid = "a"\n{long} = 1\n"\\u202e" = 2\n'))
    assert len(told) < 1000
    assert all(line.isprintable() for line in told.split("\n"))
    told = _told(lambda: header_problems("f.csv", ["time", f"ti\x1b[31m{long}"], ["time"], []))
    assert len(told) < 400
    assert told.isprintable()
    told = _told(lambda: parse_touchstone(b"[Version] 2.0\n[Num\x1b[31mber] 3\n", "f.s1p"))
    assert told.isprintable()
    told = _told(lambda: parse_constellation('name = "a"\n"' + long + '" = 1\n'))
    assert len(told) < 3000


def test_a_time_zone_of_a_thousand_parts_is_no_time_zone():
    told = _told(
        lambda: parse_sheet(
            '[job]\nid = "a"\n[[site]]\nname = "x"\nlatitude_deg = 1\nlongitude_deg = 1\ntimezone = "'
            + "a/" * 4000
            + '"'
        )
    )
    assert "is not an IANA time zone" in told
    for name in ("a/" * 4000, "", "\0", "/etc/passwd", "../UTC", "Nowhere/Demo"):
        with pytest.raises(ValueError, match=r".*"):
            zone_named(name)
    assert str(zone_named("America/St_Johns")) == "America/St_Johns"


def test_two_satellites_without_a_name_are_told_apart_from_two_of_one_name():
    satellite = "[[satellite]]\nlongitude_deg = -90\n"
    told = _told(lambda: parse_constellation(f'name = "a"\n{satellite}{satellite}'))
    assert told.count("'name' is missing") == 2
    assert "stands twice" not in told


@pytest.mark.parametrize(
    ("text", "file"),
    [
        ("[" * 100_000 + "]" * 100_000, "elements.omm"),
        ('{"EPOCH": ' + "1" * 5000 + "}", "elements.omm"),
        (TLE.replace("1.00273791", "0.00000000"), "elements.tle"),
    ],
)
def test_elements_that_are_none(text, file):
    assert _told(lambda: parse_elements(text, file)).startswith(file)


def test_the_work_for_a_message_of_blank_lines_grows_with_them_and_no_faster():
    done = [
        steps(lambda n=n: _told(lambda: parse_elements("\n" * n + "EPOCH", "elements.omm"))) for n in (5_000, 10_000)
    ]
    assert done[1] < 2.1 * done[0]
    for text in ("\n" * 100_000 + "EPOCH", "A = " + "[" * 300_000 + " ]x", "EPOCH = 1" + " " * 300_000 + "x"):
        _told(lambda text=text: parse_elements(text, "elements.omm"))


def test_half_a_character_is_no_text_of_a_kept_file():
    """RFC 8259, 8.2: a text with an unpaired surrogate is not interoperable; it cannot be written again as UTF-8."""
    assert "not readable as JSON" in _told(lambda: parse_learned('{"job": "\\ud800"}', "x.json"))


def test_the_work_for_thousands_of_wrong_tables_grows_with_them_and_no_faster():
    """Each message looked for its line through the whole text once: 25 s of CPU time for what takes less than one."""

    def wrong(count):
        head = '[time]\ncolumns = "t"\nformat = "iso"\n'
        assert "... and" in _told(lambda: parse_map(head + '[[row]]\nkind = "x"\nodd = 1\n' * count))

    assert steps(lambda: wrong(400)) < 2.2 * steps(lambda: wrong(200))
    wrong(2000)


def test_a_header_of_a_hundred_thousand_columns_is_refused():
    header = ["c"] * 100_000
    assert "stands twice" in _told(lambda: header_problems("f.csv", ["time", *header], ["time"], []))


def test_the_line_of_a_key_is_that_of_its_own_table():
    text = '[job]\nid = "a"\n[[site]]\nname = "x"\n[[site]]\n"name" = "y"\nlatitude_deg=1\n[job.more]\nid = 3\n'
    assert line_of_key(text, "job", "id") == 2
    assert line_of_key(text, "site", "name", 1) == 6
    assert line_of_key(text, "site", "latitude_deg", 1) == 7
    assert line_of_key(text, "site", "longitude_deg", 1) == 5, "the head of the table where the key is missing"
    assert line_of_key(text, "site", None, 2) is None
    assert line_of_key(text, "receiver", "id") is None


def test_a_wrong_profile_is_told_without_ado_and_in_words():
    """Thousands of wrong tables, each looked up in the whole text; a pattern whose error quotes a tab."""

    def wrong(count):
        text = 'name = "x"\nkind = "bench"\nabout = "x"\n' + "[[reading]]\nodd = 1\n" * count
        assert "... and" in _told(lambda: parse_profile(text, "p.toml"))

    assert steps(lambda: wrong(400)) < 2.2 * steps(lambda: wrong(200))
    wrong(5000)
    with pytest.raises(ValueError, match="is no regular expression") as caught:
        compile_pattern("(?P<a\t>x)")
    assert str(caught.value).isprintable()


def _changed_record(change):
    from tests.hardening.fuzz_files import BLOCK

    page = records()[0]
    found = BLOCK.search(page)
    data = json.loads(found[2])
    change(data)
    return page[: found.start(2)] + json.dumps(data).encode() + page[found.end(2) :]


@pytest.mark.parametrize(
    "change",
    [
        lambda data: data.update(said=[one for one in data["said"] if one["name"] != "made"]),
        lambda data: data["said"][0].update(name={}),
        lambda data: data["said"][0].update(text=None),
        lambda data: data["rows"][0].update(title=[]),
        lambda data: data["acceptance"].update(alpha=10**400),
        lambda data: data["acceptance"].pop("state"),
    ],
)
def test_a_record_that_lacks_what_its_page_shows_does_not_belong(change):
    assert not verify_record(as_file("record.html", _changed_record(change)), confirmed()).belongs


def test_an_error_rate_beyond_all_numbers_is_no_error_rate():
    from tests.hardening.fuzz_files import BLOCK

    record = parse_record(BLOCK.search(records()[0])[2].decode())
    assert isinstance(record, Record)
    record.acceptance["alpha"] = 10**400
    with pytest.raises(ValueError, match="error rates"):
        rates_of(record)
