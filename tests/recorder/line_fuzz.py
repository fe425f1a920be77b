"""Made-up streams, lines and line profiles from a seeded generator, quick enough for a hundred thousand at a time."""

import json

from satdiag.recorder.framing import Frame
from satdiag.recorder.profile_keys import TABLES

_ALPHABET = [b"\r", b"\n", b"\r\n", b"a", b"\x00", b"\xff", b"bc", b" ", b"\n\n", b"\r\r\n"]
_ENDS = [None, None, b"\n", b"\r", b"\r\n", b"aa", b"\x00\xff\x00"]


def reference_frames(data, line_end, limit):
    """The frames of a whole stream and the bytes dropped, in the plainest way: split, then cut."""
    *lines, rest = data.split(b"\n" if line_end is None else line_end)
    if line_end is None:
        lines = [line.removesuffix(b"\r") for line in lines]
    frames = [Frame(line[:limit], "overlong" if len(line) > limit else "") for line in lines]
    if rest:
        frames.append(Frame(rest[:limit], "overlong" if len(rest) > limit else "half"))
    return frames, sum(max(len(line) - limit, 0) for line in [*lines, rest])


def framing_case(rng):
    """Pieces of a stream, a line end and a limit."""
    words = rng.choices(_ALPHABET, k=rng.randrange(30))
    data = b"".join(words)
    pieces, at = [], 0
    while at < len(data):
        size = rng.choice((1, 1, 2, 3, 7, 40))
        pieces.append(data[at : at + size])
        at += size
    return pieces, rng.choice(_ENDS), rng.randrange(1, 8)


# --- lines ------------------------------------------------------------------------------------------------------

SAMPLES = {
    "bench-lines": [
        b"signal satellite:east 11.2 dB",
        b"lock any yes",
        b"bias current -- mA",
        b"; warm",
        b"channel 31 refused",
    ],
    "json-lines": [
        b'{"kind": "signal", "subject": "any", "value": 11.2, "unit": "dB"}',
        b'{"kind": "lock", "subject": "any", "value": null, "note": "x"}',
        b'{"kind": "supply", "subject": "receiver", "value": "1E1", "unit": "V", "time": "2031-05-03T14:00:00Z"}',
    ],
    "volt-amp-meter": [b"U=12.81V I=0.412A", b"U=--V I=-0.1A"],
    "polled-meter": [b"+1.28100E+01", b"9.9E37", b"-0"],
}
_PIECES = [
    *(b"\x00", b"\xff", b"\xc3\x28", b"\xed\xa0\x80", b"\xf4\x90\x80\x80", b"\r", b"\t", b" ", b"", b"\x1c", b"\x85"),
    *(b"\xd9\xa1", b"1_000", b"nan", b"NaN", b"Infinity", b"-inf", b"1e400", b"1e999", b"0x10"),
    *(b"1,5", b"--", b"\xe2\x88\x921", b"[" * 900, b"9" * 4400, b'{"a":' * 300, b"clock", b"gap", b"withdraw"),
    *(b"{", b"}", b"[", b"]", b'"', b"\\", b"\\ud800", b"\\u0000", b"null", b"true", b":", b","),
    *(b";", b"=", b"V", b"A", b"U=", b"I=", b"e", b"E+", b".", b"+", b"unreadable"),
]  # fmt: skip


def made_up_line(rng, name):
    """A line that may or may not be one of the profile's: a sound one, a damaged one, or noise."""
    dice = rng.random()
    if dice < 0.15:
        return rng.randbytes(rng.randrange(60))
    line = bytearray(rng.choice(SAMPLES.get(name) or SAMPLES[rng.choice(list(SAMPLES))]))
    if dice > 0.9:
        return bytes(line)
    for _ in range(rng.randrange(1, 4)):
        at = rng.randrange(len(line) + 1)
        line[at : at + rng.choice((0, 0, 1, 3, 12))] = rng.choice(_PIECES)
    return bytes(line)


# --- profiles ---------------------------------------------------------------------------------------------------

_VALUES = [
    *("bench", "vehicle", "words", "json", "pattern", "delimited", "any", "cr", "utf-8", "latin-1", "even"),
    *("signal", "satellite", "dB", "11.2", "", "a", "1", "7", ";", "\t", "--", "\u0661"),
    *("[", "(?P<a>.*)", "(?P<a>a+)+b", "(?P<a>[0-9]+) (?P<b>.*)"),
    *(0, 1, 2, 8, 9600, -1, 10**30, 1.5, 0.001, 1e308, -1e-300, True, False),
    *([], ["a", "b"], ["--", ""], ["a", "a"], [1], {}, {"field": "a", "is": "x"}, {"x": 1}),
    *({"field": "a"}, {"field": 1}, {"field": "b", "words": {"1": "yes", "0": "no"}}),
    *({"field": "a", "is": ["1", "2"]}, {"field": True}, {"field": "a.b"}, {"field": "a.1"}, [["a"]], [{}]),
]  # fmt: skip
_SOUND = [
    {"part": "words", "names": ["a", "b", "c"]},
    {"part": "words"},
    {"part": "delimited", "separator": ";", "quote": '"', "names": ["a", "b"]},
    {"part": "delimited"},
    {"part": "json"},
    {"part": "pattern", "pattern": ["(?P<a>[a-z]*) ?(?P<b>.*)", "(?P<b>[+-].*)"]},
]
_READINGS = [
    {"kind": "signal", "subject": "any", "value": {"field": "a"}, "unit": "dB"},
    {"kind": {"field": "a"}, "subject": {"field": "b"}, "value": {"field": "b"}, "unit": {"field": "a"}},
    {"kind": "note", "subject": "x", "value": {"field": "b"}, "when": {"field": "a", "is": "lock"}},
    {"kind": "lock", "subject": "any", "value": {"field": "b", "words": {"1": "yes", "any": "no"}}},
    {"kind": "supply", "subject": "receiver", "value": {"field": "b"}, "unit": "V", "scale": 0.001, "decimals": 2},
    {
        "kind": "bias",
        "subject": "current",
        "value": {"field": "a"},
        "unit": "mA",
        "decimal_comma": True,
        "offset": -3,
    },
]


def _toml(value):
    """A value as TOML: JSON is nearly that, but for tables in braces."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(key)} = {_toml(each)}" for key, each in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    return json.dumps(value)


def _numbered(value):
    """The same with numbers for the names of fields."""
    if isinstance(value, dict):
        return {
            key: {"a": "1", "b": "2"}.get(each, each) if key == "field" else _numbered(each)
            for key, each in value.items()
        }
    return value


def made_up_profile(rng):
    """The text of a line profile: sound, with some keys wrong, or damaged as text."""
    line = dict(rng.choice(_SOUND))
    readings = [dict(rng.choice(_READINGS)) for _ in range(rng.randrange(1, 4))]
    if line["part"] in ("words", "delimited") and "names" not in line:
        readings = [_numbered(reading) for reading in readings]
    tables = {"": {"name": "made-up", "kind": "bench"}, "port": {"encoding": "latin-1"}, "line": line}
    dice = rng.random()
    if dice > 0.4:
        for _ in range(rng.randrange(1, 3)):
            name = rng.choice(("", "port", "poll", "line", "reading"))
            table = rng.choice(readings) if name == "reading" else tables.setdefault(name, {})
            table[rng.choice([*TABLES[name], "odd"])] = rng.choice(_VALUES)
    parts = [(f"[{name}]" if name else "", table) for name, table in tables.items()]
    parts += [("[[reading]]", reading) for reading in readings]
    lines = []
    for head, table in parts:
        lines += [head, *(f"{key} = {_toml(value)}" for key, value in table.items())]
    text = "\n".join(lines) + "\n"
    if dice > 0.9:
        at = rng.randrange(len(text))
        text = (
            text[:at]
            + rng.choice(("", '"', "[", "=", "\x00", "\n", "[" * 3000, "9" * 5000, "\ud800", "é"))
            + text[at + 1 :]
        )
    return text
