"""Numbers as foreign logs write them, against the decimal module of the standard library."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from satdiag.mapping.number_text import plain_number, scaled
from satdiag.rows import parse_number


@pytest.mark.parametrize(
    ("text", "decimal", "thousands", "wanted"),
    [
        ("11,20", ",", "", "11.20"),
        ("-0,5", ",", "", "-0.5"),
        (",5", ",", "", ".5"),
        ("5,", ",", "", "5."),
        ("1,5e-3", ",", "", "1.5e-3"),
        ("12.5", ".", "", "12.5"),
        ("1.234.567,8", ",", ".", "1234567.8"),
        ("1,234", ".", ",", "1234"),
        ("1234,5", ",", ".", "1234.5"),
        ("1'234.5", ".", "'", "1234.5"),
        ("1 234,5", ",", " ", "1234.5"),
        ("1\u00a0234\u202f567,5", ",", " ", "1234567.5"),
        ("-12", ",", ".", "-12"),
    ],
)
def test_numbers(text, decimal, thousands, wanted):
    assert plain_number(text, decimal, thousands) == wanted


@pytest.mark.parametrize(
    ("text", "decimal", "thousands"),
    [
        *(
            (text, ".", "")
            for text in ("", ".", "-", "e5", "nan", "inf", "-inf", "NaN", "1_000", "0x10", "١٢", "１２")
        ),
        *((text, ".", "") for text in ("1,5", "1,234", "1 234", "12 dB", "1.2.3", "--5", "1e", "1e1234", "\u22125")),
        *((text, ",", "") for text in ("1.5", "1.234", "1.234,5", "1,2,3")),
        *((text, ",", ".") for text in ("1.23", "1.2345", "12.34,5", ".123", "1..234", "1234.567", "0,123.456")),
        ("9" * 61, ".", ""),
    ],
)
def test_what_is_no_number(text, decimal, thousands):
    assert plain_number(text, decimal, thousands) is None


@given(number=st.decimals(-(10**9), 10**9, places=4), decimal=st.sampled_from(".,"), grouped=st.booleans())
def test_every_digit_is_kept(number, decimal, grouped):
    text = f"{number:{',' if grouped else ''}f}"
    other = {".": ",", ",": "."}[decimal]
    text = text.translate(str.maketrans(".,", decimal + other))
    found = plain_number(text, decimal, other)
    assert found == f"{number:f}"
    assert parse_number(found) == float(number)


@given(
    number=st.decimals(-(10**6), 10**6, places=3),
    scale=st.decimals(-1000, 1000, places=3).filter(bool),
    offset=st.decimals(-1000, 1000, places=2),
)
def test_scale_and_offset_are_exact(number, scale, offset):
    found = scaled(f"{number:f}", scale, offset)
    assert Decimal(found) == number * scale + offset
    assert parse_number(found) is not None


def test_a_power_of_ten_moves_the_point_alone():
    assert scaled("0.0340", Decimal(1000), Decimal(0)) == "34.0"
    assert scaled("12.50", Decimal(1), Decimal(0)) == "12.50"
    assert scaled("12800", Decimal("0.001"), Decimal(0)) == "12.800"
    assert scaled("300.00", Decimal(1), Decimal("-273.15")) == "26.85"
    assert scaled("1e-300", Decimal(10), Decimal(0)) == "1E-299"
