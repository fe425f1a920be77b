"""Nothing that a device or a file can hold gets past the profile as anything but a reading, a why, or a BadInput.

Everyday: 60 000 made-up lines through the packaged profiles and 3 000 made-up profiles with three lines each from a
seeded generator, beside 40 000 streams in test_framing.py (more than 100 000 inputs in all), and 1 000 examples by
hypothesis. Long: 800 000 lines, 30 000 profiles, 400 000 streams.
"""

import json
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from satdiag.errors import BadInput
from satdiag.recorder.admit import Admission
from satdiag.recorder.heard import Moment, Reading
from satdiag.recorder.profile import load_profile, packaged_profiles, parse_profile
from satdiag.rows import Row, check_rows
from tests.recorder.line_fuzz import SAMPLES, made_up_line, made_up_profile

PROFILES = {name: load_profile(name) for name in packaged_profiles()}
AT = Moment(1_935_000_000_000_000_000, 0)


def look(profile, data):
    """Read a line and check all that must hold whatever it is; returns what was understood."""
    found = profile.read_line(data)
    assert isinstance(found.why, str)
    assert found.why.isprintable()
    for reading in found.readings:
        assert type(reading) is Reading
        assert all(type(text) is str for text in reading)
        assert reading.value
        assert reading.value != "unreadable" or not reading.unit
    return found


def lines_through_packaged(count, seed):
    """So many made-up lines; what passes the gate as well must be legal together. Returns how they ended."""
    rng = random.Random(seed)
    ended = {"row": 0, "refused": 0, "why": 0, "nothing": 0}
    rows = []
    gate = Admission()
    for number in range(count):
        name = rng.choice(list(PROFILES))
        found = look(PROFILES[name], made_up_line(rng, name))
        ended["why" if found.why else "nothing"] += not found.readings
        for reading in found.readings:
            row = gate.row(reading, "serial:x", AT._replace(wall_ns=AT.wall_ns + number), 1.0, "r1", f"r1-{number}")
            ended["row" if isinstance(row, Row) else "refused"] += 1
            if isinstance(row, Row):
                rows.append(row._replace(id=""))
    assert check_rows("x", rows, range(len(rows)), None, ()) == []
    return ended


def made_up_profiles(count, seed):
    """So many made-up profiles, each sound one with three lines. Returns how many were sound."""
    rng = random.Random(seed)
    sound, told = 0, []
    for _ in range(count):
        text = made_up_profile(rng)
        try:
            profile = parse_profile(text, "made-up.toml")
        except BadInput as error:
            told += [problem.what and problem.mend and problem.file for problem in error.problems] or [""]
            continue
        sound += 1
        assert profile.kind == "bench" or profile.poll is None
        for _ in range(3):
            look(profile, made_up_line(rng, None))
    assert all(told)
    return sound


def test_made_up_lines_through_every_packaged_profile():
    ended = lines_through_packaged(60_000, 11)
    assert min(ended.values()) > 500, ended


def test_made_up_profiles():
    assert 900 < made_up_profiles(3_000, 12) < 2_700


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_ten_times_as_many():
    assert min(lines_through_packaged(800_000, 13).values()) > 5_000
    assert made_up_profiles(30_000, 14) > 9_000


_NOISE = st.one_of(st.binary(max_size=80), st.text(max_size=40).map(lambda text: text.encode("utf-8", "replace")))


@given(st.sampled_from(sorted(PROFILES)), _NOISE)
@settings(max_examples=500, deadline=None)
def test_noise_through_every_packaged_profile(name, data):
    look(PROFILES[name], data)


@given(st.text(max_size=200))
@settings(max_examples=300, deadline=None)
def test_any_text_as_a_profile_is_bad_input(text):
    with pytest.raises(BadInput):
        parse_profile(text, "x")


@given(
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.integers() | st.text(),
        lambda more: (
            st.lists(more) | st.dictionaries(st.sampled_from(["kind", "subject", "value", "unit", "x"]), more)
        ),
        max_leaves=8,
    )
)
@settings(max_examples=200, deadline=None)
def test_any_json_through_json_lines(value):
    look(PROFILES["json-lines"], json.dumps(value).encode())


@pytest.mark.parametrize("name", sorted(PROFILES))
def test_no_line_of_the_greatest_length_is_searched_without_an_end(name):
    """What grows with more than the square of the length takes longer than the limit that pytest sets for a test."""
    for piece in (b"U=1V ", b"[", b'{"a":', b"9", b" ", b"--", b"\\", b'"', *SAMPLES[name]):
        look(PROFILES[name], (piece * 4096)[:4096])
