"""Lines out of bytes: the same whatever the pieces, against two references; bounded."""

import io
import random
import tracemalloc

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from satdiag.recorder.framing import Frame, LineFramer
from tests.recorder.line_fuzz import framing_case, reference_frames
from tests.steps import steps

EVERYDAY_CASES = 40_000
LONG_CASES = 400_000


def frames_of(pieces, line_end=None, limit=4096):
    """All frames of these pieces with what was left at the end, and how many bytes were dropped."""
    framer = LineFramer(line_end, limit)
    frames = [frame for piece in pieces for frame in framer.feed(piece)]
    return frames + framer.flush(), framer.dropped_bytes


def whole(*lines):
    return [Frame(line) for line in lines]


def test_line_feeds_and_carriage_returns_end_a_line_together_or_the_feed_alone():
    assert frames_of([b"one\r\ntwo\nthree\r\r\n\n\rfour\n"])[0] == whole(b"one", b"two", b"three\r", b"", b"\rfour")


def test_a_carriage_return_at_the_end_of_a_piece_waits_for_its_line_feed():
    assert frames_of([b"one\r", b"\ntwo\r", b"x\n"])[0] == whole(b"one", b"two\rx")


def test_a_profile_may_name_another_line_end():
    assert frames_of([b"a\rb\n\r"], b"\r")[0] == whole(b"a", b"b\n")
    assert frames_of([b"a\nb\r", b"\nc\r\n"], b"\r\n")[0] == whole(b"a\nb", b"c")
    assert frames_of([b"a\r\n"], b"\n")[0] == whole(b"a\r")


def test_what_is_left_is_half_a_line_and_the_framer_begins_afresh():
    framer = LineFramer()
    assert framer.feed(b"whole\nhal") == whole(b"whole")
    assert framer.flush() == [Frame(b"hal", "half")]
    assert framer.flush() == []
    assert framer.feed(b"f\n") == whole(b"f")


def test_a_line_of_just_the_limit_is_whole_whatever_ends_it():
    for end in (b"\n", b"\r\n"):
        for pieces in ([b"12345678" + end], [b"12345678", end], [bytes([byte]) for byte in b"12345678" + end]):
            assert frames_of(pieces, limit=8) == (whole(b"12345678"), 0)


def test_a_longer_line_gives_one_overlong_frame_at_once_and_the_next_line_is_sound():
    framer = LineFramer(limit=8)
    assert framer.feed(b"123456789") == [Frame(b"12345678", "overlong")]
    assert framer.feed(b"abc" * 100) == []
    assert framer.feed(b"\r\nnext\n") == whole(b"next")
    assert framer.dropped_bytes == 1 + 300
    assert framer.flush() == []


def test_an_overlong_line_without_end_is_no_half_line():
    assert frames_of([b"123456789"], limit=8) == ([Frame(b"12345678", "overlong")], 1)
    assert frames_of([b"12345678\r"], limit=8) == ([Frame(b"12345678", "overlong")], 1)


def test_nul_and_bytes_that_are_no_text_pass_unchanged():
    noise = bytes(byte for byte in range(256) if byte not in b"\r\n")
    assert frames_of([noise + b"\n" + b"\x00\n"])[0] == whole(noise, b"\x00")


@pytest.mark.parametrize(("line_end", "limit"), [(b"", 10), (None, 0)])
def test_a_framer_needs_a_line_end_and_room(line_end, limit):
    with pytest.raises(ValueError, match="line"):
        LineFramer(line_end, limit)


_BYTES = st.lists(st.sampled_from([b"\r", b"\n", b"a", b"\x00", b"\xff", b"bb", b"\r\n"]), max_size=40).map(b"".join)


@given(st.lists(_BYTES, max_size=12), st.sampled_from([None, b"\n", b"\r", b"\r\n", b"aab"]), st.integers(1, 9))
@settings(max_examples=400, deadline=None)
def test_the_frames_do_not_depend_on_the_pieces(pieces, line_end, limit):
    data = b"".join(pieces)
    expected = reference_frames(data, line_end, limit)
    assert frames_of(pieces, line_end, limit) == expected
    assert frames_of([bytes([byte]) for byte in data], line_end, limit) == expected


@given(_BYTES)
@settings(max_examples=200, deadline=None)
def test_the_standard_library_finds_the_same_lines(data):
    # io.TextIOWrapper with newline="\r", "\n" or "\r\n" ends lines at exactly that; latin-1 keeps every byte.
    for end in ("\n", "\r", "\r\n"):
        lines = list(io.TextIOWrapper(io.BytesIO(data), encoding="latin-1", newline=end))
        expected = [
            Frame(line.removesuffix(end).encode("latin-1"), "" if line.endswith(end) else "half") for line in lines
        ]
        assert frames_of([data], end.encode())[0] == expected


def _many(count, seed):
    rng = random.Random(seed)
    for number in range(count):
        pieces, line_end, limit = framing_case(rng)
        found = frames_of(pieces, line_end, limit)
        assert found == reference_frames(b"".join(pieces), line_end, limit), (number, pieces, line_end, limit)
    return count


def test_forty_thousand_made_up_streams():
    assert _many(EVERYDAY_CASES, 1) == EVERYDAY_CASES


@pytest.mark.long
@pytest.mark.timeout(1200)
def test_four_hundred_thousand_made_up_streams():
    assert _many(LONG_CASES, 2) == LONG_CASES


@pytest.mark.parametrize("piece", [1000, 4096, 65536])
def test_ten_megabytes_without_a_line_end_take_no_memory(piece):
    chunk, framer, found = b"\xa5" * piece, LineFramer(), []
    tracemalloc.start()
    try:
        for _ in range(10_000_000 // piece):
            found += framer.feed(chunk)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert found == [Frame(b"\xa5" * 4096, "overlong")]
    assert framer.dropped_bytes == 10_000_000 // piece * piece - 4096
    assert peak < 10 * piece + 50_000
    assert framer.feed(b"\nok\n") == whole(b"ok")


def _looked_at(line, total, piece):
    """How many bytes are gone through for so many: at each piece what was held, and the piece."""
    data, framer, found = line * (total // len(line)), LineFramer(), 0
    for at in range(0, len(data), piece):
        found += len(framer._rest) + piece
        framer.feed(data[at : at + piece])
    return found


@pytest.mark.parametrize("line", [b"x" * 4000 + b"\n", b"x" * 100_000, b"\n", b"signal any 11.2 dB\r\n"])
def test_work_grows_with_the_bytes_and_no_faster(line):
    short, long = _looked_at(line, 300_000, 100), _looked_at(line, 1_200_000, 100)
    assert long < 5 * short  # linear: 4; quadratic: 16


def test_a_line_is_cut_in_a_few_steps_however_many_come_at_once():
    """`scripts/benchmark.py record` measures how quick it is."""
    line = b"signal satellite:east 11.2 dB\r\n"
    assert steps(lambda: LineFramer().feed(line * 1000)) < 5 * 1000  # measured: 2 lines of Python a line
