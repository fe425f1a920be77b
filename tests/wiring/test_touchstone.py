"""Touchstone text of a one-port: what is read, and one clear error for each way it can be wrong."""

import math
from contextlib import suppress

import numpy as np
import pytest
import skrf
from hypothesis import given
from hypothesis import strategies as st

from satdiag.errors import BadInput
from satdiag.touchstone import MAX_BYTES, parse_touchstone
from satdiag.wiring.feedline.sweep import LINE_OHM, read_sweep
from tests.wiring.lines import line_of, sweep_of, text_of

V2 = "[Version] 2.0\n# MHz S RI R 50\n[Number of Ports] 1\n"
ROWS = "100 0.5 0\n200 0.4 0.1\n"

# what stands in the file: the line of the error, words of it
MALFORMED = {
    b"": (1, "the option line '#' is missing"),
    b"# MHz S RI R 50\n": (2, "there are no numbers"),
    b"# MHz S RI R 50\n1 0 0\n\0": (3, "zero byte"),
    "# MHz S RI R 50\n1 0 0\n".encode("utf-16"): (1, "UTF-16"),
    b"100 0.5 0\n": (1, "before the option line"),
    b"# THz S RI R 50\n1 0 0\n": (1, "'thz' in the option line is not known"),
    b"# MHz GHz S RI\n1 0 0\n": (1, "says its unit twice"),
    b"# MHz H RI R 50\n1 0 0\n": (1, "parameter H is for two ports"),
    b"# MHz S RI R\n1 0 0\n": (1, "R has no number"),
    b"# MHz S RI R fifty\n1 0 0\n": (1, "'fifty', not a number of ohms"),
    b"# MHz S RI R 0\n1 0 0\n": (1, "'0', not a number of ohms"),
    b"# MHz S RI R 50 75\n1 0 0\n": (1, "more than one resistance"),
    b"# MHz S RI R 50\n1 0,5 0\n": (2, "'0,5' has a decimal comma"),
    b"# MHz S RI R 50\n1 zero 0\n": (2, "'zero' is not a number"),
    b"# MHz S RI R 50\n1 1_0 0\n": (2, "'1_0' is not a number"),
    b"# MHz S RI R 50\n! a\n1 nan 0\n": (3, "'nan' is no measured value"),
    b"# MHz S RI R 50\n1 0 -inf\n": (2, "'-inf' is no measured value"),
    b"# MHz S RI R 50\n1 1e999 0\n": (2, "'1e999' is too large"),
    b"# MHz S RI R 50\n1 0 0\n2 0\n": (3, "has 2 numbers, not 3"),
    b"# MHz S RI R 50\n1\n": (2, "has 1 number, not 3"),
    b"# MHz S RI R 50\n1 0 0 1 1 1 1 0 0\n": (2, "9 numbers: this is a sweep of two ports"),
    b"# MHz S RI R 50\n1 0 0 4\n": (2, "has 4 numbers, not 3"),
    b"# MHz S RI R 50\n2 0 0\n1 0 0\n": (3, "the frequency 1 does not rise"),
    b"# MHz S RI R 50\n2 0 0\n2 0 0\n": (3, "does not rise"),
    b"# MHz S RI R 50\n-2 0 0\n": (2, "is negative"),
    b"#\n100e6 0.5 0\n": (2, "beyond any sweep"),
    b"# MHz S MA R 50\n100 -12 0\n": (2, "the magnitude -12 is negative"),
    b"# MHz S DB R 50\n100 900 0\n": (2, "900 dB is no reflection"),
    b"# MHz S RI R 50\n1 1e300 0\n": (2, "1e+300 is no reflection"),
    b"[Number of Ports] 1\n# MHz S RI R 50\n1 0 0\n": (1, "needs [Version] 2.0"),
    b"[Version] 3.0\n# MHz S RI R 50\n1 0 0\n": (1, "version '3.0' is not known"),
    b"# MHz S RI R 50\n[Version] 2.0\n1 0 0\n": (2, "[Version] is not the first line"),
    b"[Version 2.0\n": (1, "the bracket does not close"),
    V2.replace("1\n", "2\n").encode(): (3, "'2' ports, not one"),
    (V2 + ROWS).encode(): (4, "before [Network Data]"),
    (V2 + "[Network Data]\n" + ROWS).encode(): (7, "[End] is missing"),
    (V2 + "[Number of Frequencies] 3\n[Network Data]\n" + ROWS + "[End]").encode(): (8, "says '3' and 2 are there"),
    (V2 + "[Network Data]\n" + ROWS + "[End]\n300 0 0\n").encode(): (8, "something follows [End]"),
    (V2 + "[Network Data]\n[Network Data]\n" + ROWS + "[End]\n").encode(): (5, "stands twice"),
    (V2 + "[Reference] 50 50\n[Network Data]\n" + ROWS + "[End]\n").encode(): (4, "more than one number"),
    (V2 + "[Reference]\n[Network Data]\n" + ROWS + "[End]\n").encode(): (4, "[Reference] has no number"),
    (V2 + "[Mixed-Mode Order] D2,3\n").encode(): (4, "does not belong to a one-port"),
    (V2 + "[Colour] red\n").encode(): (4, "keyword [Colour] is not known"),
    b"[Version] 2.0\n# MHz S RI R 50\n[Network Data]\n1 0 0\n[End]\n": (6, "[Number of Ports] is missing"),
    (V2 + "[Begin Information]\n[Network Data]\n" + ROWS + "[End]\n").encode(): (4, "no [End Information]"),
}


@pytest.mark.parametrize("data", MALFORMED, ids=[words for _, words in MALFORMED.values()])
def test_each_way_to_be_wrong_has_one_error_with_its_line(data):
    line, words = MALFORMED[data]
    with pytest.raises(BadInput) as caught:
        read_sweep(data, "lead.s1p")
    (problem,) = caught.value.problems
    assert (problem.file, problem.line) == ("lead.s1p", line)
    assert words in problem.what
    assert problem.mend.endswith((".", "50", "1"))


def test_a_huge_file_is_refused():
    with pytest.raises(BadInput, match="larger than 20 MB"):
        parse_touchstone(b" " * (MAX_BYTES + 1), "lead.s1p")


@given(st.binary(max_size=200) | st.text("#! \n[]0.5-eMHzSRIDBA/Vrsion2", max_size=120).map(str.encode))
def test_whatever_stands_there_only_bad_input_comes_out(data):
    with suppress(BadInput):
        assert parse_touchstone(data, "lead.s1p").rows


def test_defaults_of_the_option_line():
    # Touchstone 1.1: a bare '#' means GHz, S, MA, R 50. '0.5 90' is then 0.5j.
    found = read_sweep(b"#\n1 0.5 90\n2 0.25 0\n", "lead.s1p")
    assert found.frequency_hz == pytest.approx([1e9, 2e9])
    assert found.s == pytest.approx([0.5j, 0.25])
    part = parse_touchstone(b"# r 75 MHz\n1 0.5 90\n", "lead.s1p")
    assert (part.unit, part.parameter, part.form, part.resistance_ohm) == ("mhz", "s", "ma", 75.0)


def test_only_the_first_option_line_counts():
    assert parse_touchstone(b"# MHz S RI R 50\n# GHz S DB R 75\n1 0.5 0\n", "lead.s1p").unit == "mhz"


def test_decibels_read_as_the_reference_does():
    # Row '2332500000 -20 45' in DB: magnitude 0.1 (scikit-rf 2.2.0).
    found = read_sweep(b"# Hz S DB R 50\n2332500000 -20 45\n", "lead.s1p")
    assert abs(found.s[0]) == pytest.approx(0.1)
    assert np.angle(found.s[0], deg=True) == pytest.approx(45.0)


@pytest.mark.parametrize(
    "data",
    [
        b"! made\n# MHz S RI R 50\n100 0.5 0 ! first\n\n  200\t4e-1 .1\n",
        b"\xef\xbb\xbf# MHz S RI R 50\r\n100 0.5 0\r\n200 0.4 0.1\r\n",
        b"! 20 \xb0C\n# mhz s ri r 50\n100 0.5 0\n200 0.4 0.1",
        b"# MHz S RI R 50\r100 0.5 0\r200 0.4 0.1\r",
        (V2 + "[Number of Frequencies] 2\n[Network Data]\n" + ROWS + "[End]\n").encode(),
        (V2 + "[Begin Information]\nany words 1 2\n[End Information]\n[Network Data]\n" + ROWS + "[End]\n").encode(),
    ],
    ids=["comments", "BOM and CRLF", "Latin-1", "CR", "version 2", "information"],
)
def test_however_it_is_written_it_is_the_same_sweep(data):
    found = read_sweep(data, "lead.s1p")
    assert found.frequency_hz == pytest.approx([1e8, 2e8])
    assert found.s == pytest.approx([0.5, 0.4 + 0.1j])


def test_a_comment_is_never_read_as_data():
    # The library takes a comment that begins like this for impedances of a field solver, and fails or warns.
    data = b"! Gamma corrected on the bench\n! Port Impedance 75 0\n# MHz S RI R 50\n1 0.2 0\n2 0.2 0\n"
    assert read_sweep(data, "lead.s1p").s == pytest.approx([0.2, 0.2])


@pytest.mark.parametrize(
    ("parameter", "value"), [("Z RI", "2 0"), ("Y RI", "0.5 0"), ("Z MA", "2 0"), ("Y DB", "-6.0205999 0")]
)
@pytest.mark.parametrize("ohm", [50, 75])
def test_version_1_holds_impedance_over_the_reference(parameter, value, ohm):
    # Twice the reference reflects a third of itself, by definition; against 50 ohm then (2 R - 50) / (2 R + 50).
    # The library reads version 1 admittance as if it were divided the other way round.
    found = read_sweep(f"# MHz {parameter} R {ohm}\n1 {value}\n2 {value}\n".encode(), "lead.s1p")
    assert found.s == pytest.approx([(2 * ohm - LINE_OHM) / (2 * ohm + LINE_OHM)] * 2, abs=1e-7)


def test_version_2_holds_siemens_and_its_own_reference():
    text = "[Version] 2.0\n# MHz Y RI\n[Number of Ports] 1\n[Reference]\n75\n[Network Data]\n100 0.01 0\n[End]\n"
    assert parse_touchstone(text.encode(), "lead.ts").resistance_ohm == 75.0
    assert read_sweep(text.encode(), "lead.ts").s[0] == pytest.approx((100 - 50) / (100 + 50))


def test_another_reference_is_converted_and_said():
    # A load of 75 ohm measured against 75 reflects nothing; against 50 it reflects 25 / 125.
    found = read_sweep(b"# MHz S RI R 75\n1 0 0\n2 0 0\n", "lead.s1p")
    assert found.s == pytest.approx([0.2, 0.2])
    assert any("75 ohm" in text for text in found.cautions)


def test_reading_back_what_the_library_wrote(tmp_path):
    media = line_of("rg-174")
    network = media.line(3.2, "m") ** media.open()
    network.write_touchstone("made", dir=str(tmp_path), form="ri")
    found = read_sweep((tmp_path / "made.s1p").read_bytes(), "made.s1p")
    assert found.s == pytest.approx(network.s[:, 0, 0], abs=1e-12)
    assert found.unfit is None
    assert found.frequency_hz == pytest.approx(network.f)


def test_a_library_sample_of_measured_data_is_read():
    from pathlib import Path

    place = Path(skrf.__file__).parent / "data" / "ring slot measured.s1p"
    found = read_sweep(place.read_bytes(), place.name)
    assert found.s == pytest.approx(skrf.Network(str(place)).s[:, 0, 0])


def test_more_than_everything_is_warned_of():
    found = read_sweep(b"# MHz S RI R 50\n1 1.6 0\n2 0.1 0\n", "lead.s1p")
    assert any("reflects up to 1.6" in text for text in found.cautions)
    assert not read_sweep(b"# MHz S RI R 50\n1 1.4 0\n2 0.1 0\n", "lead.s1p").cautions


def test_uneven_or_few_points_give_no_distances():
    media = line_of()
    even = sweep_of(media.line(3.2, "m") ** media.open())
    assert even.step_hz == pytest.approx(7.25e6)
    few = text_of(media.line(3.2, "m") ** media.open()).splitlines()[:20]
    assert "19 points" in (read_sweep(b"\n".join(few), "lead.s1p").unfit or "")
    rows = "".join(f"{math.exp(4.6 + 0.02 * step)!r} 0.5 0\n" for step in range(100))
    assert "evenly" in (read_sweep(f"# MHz S RI R 50\n{rows}".encode(), "lead.s1p").unfit or "")


def test_frequencies_rounded_by_the_analyser_are_even():
    media = line_of()
    network = media.line(3.2, "m") ** media.open()
    rows = zip(network.f.tolist(), network.s[:, 0, 0].tolist(), strict=True)
    text = "# GHz S RI R 50\n" + "".join(f"{f / 1e9:.5f} {s.real!r} {s.imag!r}\n" for f, s in rows)
    assert read_sweep(text.encode(), "lead.s1p").unfit is None
