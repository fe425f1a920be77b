"""The example: every row of bench-log.csv as worked out by hand, and the documentation says the same."""

from importlib.resources import files

from satdiag.cli.docs_cmd import topic_text
from satdiag.mapping import check_made, convert, parse_map
from satdiag.mapping.keys import markdown_table
from satdiag.rows import parse_time_us

EXAMPLE = files("satdiag.mapping") / "example"
CSV = (EXAMPLE / "bench-log.csv").read_bytes()
MAP = (EXAMPLE / "bench-log.toml").read_text(encoding="utf-8")

# On 3 May Toronto is on daylight time, UTC-4 (Ontario, Time Act, R.S.O. 1990, c. T.9, s. 2; from memory).
BY_HAND = """
13:40:00     5    signal   satellite:east  11.2        dB
13:40:00     5.2  signal   satellite:west  8.75        dB
13:40:00     5.3  lock     satellite:east  yes
13:40:00     5.4  lock     satellite:west  yes
13:40:00     5.5  supply   receiver        12.80       V
13:40:00     5.6  bias     current         34.5        mA
13:40:30.25  6    signal   satellite:east  11.4        dB
13:40:30.25  6.2  signal   satellite:west  unreadable
13:40:30.25  6.3  lock     satellite:east  yes
13:40:30.25  6.4  lock     satellite:west  no
13:40:30.25  6.5  supply   receiver        12.79       V
13:40:30.25  6.6  bias     current         34.4        mA
13:41:00     7    signal   satellite:east  0.0         dB
13:41:00     7.2  signal   satellite:west  8.8         dB
13:41:00     7.3  lock     satellite:east  no
13:41:00     7.4  lock     satellite:west  yes
13:41:00     7.5  supply   receiver        unreadable
13:42:10     9    channel  31              authorised
13:42:25     10   channel  104             refused
13:43:00     11   reset    receiver        seen
13:45:00     14   signal   satellite:east  11.1        dB
13:45:00     14.2 signal   satellite:west  8.6         dB
13:45:00     14.3 lock     satellite:east  no
13:45:00     14.4 lock     satellite:west  no
13:45:00     14.5 supply   receiver        13.90       V
13:45:00     14.6 bias     current         -0.2        mA
"""
NOTES = {
    "i1-5": "roof antenna; hall door open",
    "i1-7": 'east lead pulled "on purpose"',
    "i1-11": "after the charger",
}


def test_every_row_of_the_example():
    made = convert(CSV, "bench-log.csv", parse_map(MAP, "bench-log.toml"), "i1")
    assert check_made(made, "bench-log.csv", (), None, ()) == []
    wanted = [line.split() for line in BY_HAND.strip().splitlines()]
    assert len(made.rows) == len(wanted)
    for row, (clock, number, kind, subject, value, *unit) in zip(made.rows, wanted, strict=True):
        assert parse_time_us(row.time, None) == parse_time_us(f"2031-05-03T{clock}Z", None)
        assert row.time.endswith("-04:00")
        assert row[1:6] == (kind, subject, value, unit[0] if unit else "", "import")
        assert row.id == f"i1-{number}"
        assert row.note == NOTES.get(row.id, "")
    assert (made.lines, made.silent) == (8, 1)
    assert (made.skipped.blank, made.skipped.remarks, made.skipped.headers) == (1, 1, 0)
    assert made.unused == ()


def test_the_documentation_shows_the_example_and_the_keys_as_they_are():
    text = topic_text("import")
    assert f"```\n{CSV.decode()}```" in text
    assert f"```toml\n{MAP}```" in text
    assert markdown_table() in text
