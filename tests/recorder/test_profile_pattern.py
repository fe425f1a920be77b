"""Patterns that cannot take long are taken; those that can are refused, with what to write instead."""

import inspect
import random
import sys

import pytest

from satdiag.recorder.profile_pattern import MAX_CHARACTERS, compile_pattern

# "Evil" patterns from the page on regular expression denial of service of the OWASP Foundation (from memory).
OWASP = [r"(a+)+", r"([a-zA-Z]+)*", r"(a|aa)+", r"(a|a?)+", r"(.*a){11}"]


@pytest.mark.parametrize(
    "text",
    [
        *OWASP,
        r"(a*)*b",
        r"(?:\d+)+x",
        r"(?:\w|\dx?)+!",
        r"(?:a?){50}a{50}",
        "a?" * 30 + "a" * 30,
        r"(?P<a>.*),(?P<b>.*),(?P<c>.*)",
        r"\s*(?P<a>.*\S)\s*!",
        r"(?i)(?:ab|AB)+!",
        r"(?:[^b]|cd?)+!",
        r"(?>(?:a+)+)b",
        r"(?:a+)++b",
    ],
)
def test_patterns_that_try_too_much_are_refused(text):
    with pytest.raises(ValueError, match=r"too many ways|may be empty"):
        compile_pattern(text)


@pytest.mark.parametrize(
    ("text", "what"),
    [
        (r"(?P<a>a)(?P=a)", "refers back"),
        (r"(a)\1", "refers back"),
        (r"(?=a)b", "looks ahead"),
        (r"(?<!a)b", "looks ahead or behind"),
        (r"(a)?(?(1)b|c)", "took part"),
        (r"a(?i:b)", "flags"),
        (r"(?u)a", "no regular expression"),
        (r"(?P<a>", "no regular expression"),
        (r"(?P<a>x)(?P<a>y)", "no regular expression"),
        (r"[[a]", "not clear"),
        (r"a{99999999999}", "counts too far"),
        (r"(?:(?:a?){1000}){1000}", "may be empty"),
        ("a" * 1001, "longer than"),
    ],
)
def test_other_patterns_are_refused_with_the_reason(text, what):
    with pytest.raises(ValueError, match=what):
        compile_pattern(text)


@pytest.mark.parametrize(
    ("text", "line", "groups"),
    [
        (r"U=(?P<u>[\d.]+)V\s+I=(?P<i>[\d.]+)A", "U=12.8V  I=0.4A", {"u": "12.8", "i": "0.4"}),
        (r"(?P<ip>(?:\d{1,3}\.){3}\d{1,3})", "10.0.0.255", {"ip": "10.0.0.255"}),
        (r"(?P<a>[^,]*),(?P<b>[^,]*),(?P<c>.*)", "x,,z,y", {"a": "x", "b": "", "c": "z,y"}),
        (r"(?P<head>.*?): (?P<rest>.*)", "a: b: c", {"head": "a", "rest": "b: c"}),
        (r"(?i)sig (?P<v>[+-]?\d+(?:\.\d+)?)( db)?", "SIG -7.5 dB", {"v": "-7.5"}),
        (r"(?:yes|no|y)(?P<v>\d*)", "y7", {"v": "7"}),
        (r"(?:(?P<k>[a-z]+)=\d+;)*", "a=1;b=22;", {"k": "b"}),
    ],
)
def test_patterns_that_a_device_needs_are_taken(text, line, groups):
    found = compile_pattern(text).fullmatch(line)
    assert found
    assert found.groupdict() == groups


@pytest.mark.parametrize("room", [90, 150, 200])
def test_a_pattern_nested_too_deeply_for_the_stack_is_refused(room):
    before = sys.getrecursionlimit()
    sys.setrecursionlimit(len(inspect.stack(0)) + room)
    try:
        with pytest.raises(ValueError, match="nested too deeply"):
            compile_pattern("(?:" * 140 + "a" + "){2}" * 140)
    finally:
        sys.setrecursionlimit(before)


def test_digits_are_ascii_digits():
    assert compile_pattern(r"\d+").fullmatch("12")
    assert not compile_pattern(r"\d+").fullmatch("١٢")  # Arabic-Indic digits one and two


_ATOMS = ["a", "b", r"\d", r"\w", ".", "[^a]", "[a-c]", " ", r"\s", "=", "[^=]", "é", "[à-ü]"]
_HOW_OFTEN = ["", "", "", "*", "+", "?", "{2}", "{0,3}", "{1,40}", "*?", "++"]


def _made_up(rng, depth):
    pieces = []
    for _ in range(rng.randrange(1, 5)):
        if depth and rng.random() < 0.35:
            inner = "|".join(_made_up(rng, depth - 1) for _ in range(rng.choice((1, 1, 2))))
            pieces.append(f"(?:{inner})" + rng.choice(_HOW_OFTEN))
        else:
            pieces.append(rng.choice(_ATOMS) + rng.choice(_HOW_OFTEN))
    return "".join(pieces)


def _hard_lines(rng):
    """Lines of the greatest length that nearly match: one character or a short piece over and over, a misfit last."""
    for _ in range(6):
        piece = "".join(rng.choices("ab1 =éc", k=rng.randrange(1, 4)))
        yield (piece * MAX_CHARACTERS)[: MAX_CHARACTERS - 1] + rng.choice("!\u4e00a")


def test_no_pattern_that_was_taken_searches_any_line_without_an_end():
    """One of nested repeats would take longer than the age of the earth, and not end before pytest's limit."""
    rng = random.Random(5)
    taken = refused = 0
    for _ in range(1500):
        text = _made_up(rng, 2)
        try:
            pattern = compile_pattern(text)
        except ValueError:
            refused += 1
            continue
        taken += 1
        for line in _hard_lines(rng):
            pattern.fullmatch(line)
    assert taken > 300
    assert refused > 300
