"""One sound job folder, and every way to spoil it that must give exactly one clear error."""

from __future__ import annotations

from typing import NamedTuple

SHEET = """\
[job]
id = "demo-0007"
reason = "just-installed"

[[site]]
name = "yard"
latitude_deg = 41.2
longitude_deg = -96.1

[receiver]
level_scale = "dB"

[service]
package = "music"
"""
LOG = """\
time,kind,subject,value,unit,source,note,span_s,run,elapsed_s,id
2031-05-03T13:40:00Z,power,receiver,awake,,hand,,,,,a1
2031-05-03T13:41:00Z,signal,satellite:east,11.5,dB,hand,"clear, dry",,r1,60.5,a2
2031-05-03T13:42:00Z,channel,31,refused,,hand,,600,,,a3
2031-05-03T13:43:00Z,withdraw,row,a3,,hand,,,,,a4
2031-05-03T13:44:00Z,signal,satellite:east,11.5,dB,hand,,,r1,240,a5
"""
LINEUP = "channel,name,category,packages\n31,North,music,music talk\n32,South,talk,talk\n"
HORIZON = "azimuth_deg,elevation_deg\n90,12\n180,8.5\n"
OBSTACLES = "azimuth_from_deg,azimuth_to_deg,distance_m,height_m,note\n80,120,12,4,shed\n"
SOUND = {
    "job.toml": SHEET,
    "observations.csv": LOG,
    "lineup.csv": LINEUP,
    "horizon.csv": HORIZON,
    "obstacles.csv": OBSTACLES,
}


class Bad(NamedTuple):
    """How a file is spoiled, and what the one error must name."""

    name: str
    file: str
    old: str
    new: str | bytes
    line: int | None
    column: str | None
    found: str
    allowed: str


def _log(name, old, new, line, column, found, allowed):
    return Bad(name, "observations.csv", old, new, line, column, found, allowed)


def _sheet(name, old, new, line, column, found, allowed):
    return Bad(name, "job.toml", old, new, line, column, found, allowed)


_FIRST = "2031-05-03T13:40:00Z,power,receiver,awake,,hand,,,,,a1"
_HEAD = LOG.partition("\n")[0]

BAD = [
    # a bad value in each column
    _log("time", "13:40:00Z", "13:61:00Z", 2, "time", "13:61:00Z", "like 2031-05-03T13:40:00Z"),
    _log(
        "time by hand", "2031-05-03T13:40:00Z", "3.5.2031 13:40", 2, "time", "3.5.2031", "like 2031-05-03T13:40:00Z"
    ),
    _log("time blank", "2031-05-03T13:40:00Z,power", ",power", 2, "time", "''", "like 2031-05-03T13:40:00Z"),
    _log("naive time", "13:40:00Z", "13:40:00", 2, "time", "no offset", "naive_times"),
    _log("kind", "power", "powr", 2, "kind", "'powr'", "power, supply, signal"),
    _log("subject", "power,receiver", "power,vehicle", 2, "subject", "'vehicle'", "Allowed: receiver"),
    _log("channel", "channel,31", "channel,031", 4, "subject", "'031'", "without leading zeros"),
    _log("state", "awake", "awaken", 2, "value", "'awaken'", "off, standby, awake or unreadable"),
    _log(
        "number",
        'satellite:east,11.5,dB,hand,"',
        'satellite:east,eleven,dB,hand,"',
        3,
        "value",
        "'eleven'",
        "a number",
    ),
    _log("decimal comma", '11.5,dB,hand,"', '"11,5",dB,hand,"', 3, "value", "'11,5'", "no comma"),
    _log("not finite", '11.5,dB,hand,"', '1e999,dB,hand,"', 3, "value", "'1e999'", "a number"),
    _log("unit", '11.5,dB,hand,"', '11.5,dBm,hand,"', 3, "unit", "'dBm'", "dB, dB-Hz, percent, bars/N"),
    _log("unit of a state", "awake,,hand", "awake,V,hand", 2, "unit", "'V'", "a blank unit"),
    _log("percent", '11.5,dB,hand,"', '101,percent,hand,"', 3, "value", "'101'", "above 100"),
    _log("bars", '11.5,dB,hand,"', '2.5,bars/5,hand,"', 3, "value", "'2.5'", "whole number"),
    _log("too many bars", '11.5,dB,hand,"', '6,bars/5,hand,"', 3, "value", "'6'", "above 5"),
    _log("unreadable with unit", '11.5,dB,hand,"', 'unreadable,dB,hand,"', 3, "unit", "'dB'", "blank"),
    _log("source", "awake,,hand", "awake,,by hand", 2, "source", "'by hand'", "serial:bench"),
    _log("note", "clear, dry", "clear\x07 dry", 3, "note", r"'\x07'", "Take it out"),
    _log("span_s", ",600,,,a3", ",-600,,,a3", 4, "span_s", "'-600'", "seconds from 0"),
    _log("run", ",r1,240,", ",r 1,240,", 6, "run", "'r 1'", "letters, digits"),
    _log("elapsed_s", ",r1,240,", ",r1,4min,", 6, "elapsed_s", "'4min'", "seconds from 0"),
    _log("elapsed_s without run", ",r1,240,", ",,240,", 6, "run", "without a run", "Name the recorder run"),
    _log("id", ",,,,,a1", ",,,,,a 1", 2, "id", "'a 1'", "letters, digits"),
    # more than one row
    _log("duplicate id", "240,a5", "240,a1", 6, "id", "'a1' was used before, in line 2", "an id of its own"),
    _log("withdraw of unknown id", "withdraw,row,a3", "withdraw,row,b9", 5, "value", "'b9'", "id of the row"),
    _log("withdraw of nothing", "withdraw,row,a3", "withdraw,row,", 5, "value", "''", "the id of another row"),
    _log("two units on one path", "11.5,dB,hand,,", "11.5,dB-Hz,hand,,", 6, "unit", "dB-Hz", "one unit a path"),
    _log("site", "power,receiver,awake", "site,vehicle,depot", 2, "value", "'depot'", "a site's name from job.toml"),
    # shape
    _log(
        "short row",
        _FIRST,
        "2031-05-03T13:40:00Z,power,receiver,awake",
        2,
        None,
        "too short: 4 fields, not 11",
        "blank ones too",
    ),
    _log("long row", _FIRST, _FIRST + ",,", 2, None, "too long: 13 fields, not 11", "in quotes"),
    _log("comma in a note", '"clear, dry"', "clear, dry", 3, None, "too long: 12 fields", "in quotes"),
    _log("repeated header", _FIRST, _FIRST + "\n" + _HEAD, 3, None, "header stands here again", "Take the line out"),
    _log("empty line", _FIRST, _FIRST + "\n", 3, None, "the line is empty", "Take it out"),
    _log("semicolons", LOG, LOG.replace(",", ";"), 1, None, "separated by ';'", "','"),
    _log("tabs", LOG, LOG.replace(",", "\t"), 1, None, "separated by tabs", "','"),
    _log(
        "unclosed quote",
        '"clear, dry"',
        '"clear, dry',
        3,
        None,
        "a quote is opened and not closed",
        'Close it with "',
    ),
    _log(
        "text after a quote", '"clear, dry"', '"clear" dry', 3, None, "a quote is opened and not closed", 'twice ("")'
    ),
    _log("carriage returns", LOG, LOG.replace("\n", "\r"), 1, None, "lone carriage return", "LF or CRLF"),
    _log(
        "column order",
        "value,unit,source",
        "unit,value,source",
        1,
        None,
        "in another order",
        "time,kind,subject,value,unit",
    ),
    _log("optional order", "run,elapsed_s", "elapsed_s,run", 1, None, "in another order", "span_s,run,elapsed_s,id"),
    _log(
        "unknown column",
        "source,note,span_s",
        "source,note,seconds",
        1,
        "seconds",
        "not a known column",
        "optionally any of span_s",
    ),
    _log("column missing", "unit,source", "source", 1, "unit", "is missing", "time,kind,subject,value,unit"),
    _log("column twice", "run,elapsed_s", "run,run", 1, "run", "stands twice", "time,kind"),
    _log("no header", _HEAD + "\n", "", 1, None, "not the header", "time,kind"),
    _log("empty file", LOG, "", 1, None, "the file is empty", "time,kind"),
    _log("not UTF-8", LOG, LOG.encode().replace(b"clear", b"cl\xe9ar"), 3, None, "0xe9", "UTF-8"),
    # job.toml
    _sheet("no id", 'id = "demo-0007"\n', "", 1, "id", "'id' is missing", "Add it"),
    _sheet("bad id", "demo-0007", "demo/0007", 2, "id", "'demo/0007'", "letters, digits"),
    _sheet("bad reason", "just-installed", "because", 3, "reason", "'because'", "just-installed, complaint"),
    _sheet("latitude", "41.2", "412", 7, "latitude_deg", "412", "-90 .. 90"),
    _sheet("longitude", "-96.1", '"96W"', 8, "longitude_deg", "'96W'", "not a number"),
    _sheet("huge number", "-96.1", "9" * 400, 8, "longitude_deg", "999", "-180 .. 180"),
    _sheet("zone", "-96.1", '-96.1\ntimezone = "Nowhere/Here"', 9, "timezone", "'Nowhere/Here'", "America/Chicago"),
    _sheet("scale", '"dB"', '"dBm"', 11, "level_scale", "'dBm'", "dB, dB-Hz, percent or bars/N"),
    _sheet("unknown key", "level_scale", "levelscale", 11, "levelscale", "unknown key", "level_scale"),
    _sheet("unknown table", "[service]", "[services]", 13, None, "unknown table", "service"),
    _sheet("site not repeated", "[[site]]", "[site]", 1, None, "'site' is not a table", "[[site]]"),
    _sheet("not TOML", 'level_scale = "dB"', "level_scale = dB", 11, None, "not valid TOML", 'in "quotes"'),
    _sheet("package", '"music"', '"sport"', 14, "package", "'sport'", "music, talk"),
    _sheet("package word", '"music"', '"Music"', 14, "package", "'Music'", "small letters"),
    _sheet(
        "opened", 'reason = "just-installed"', "opened = 2031-05-03T13:40:00", 3, "opened", "no offset", "naive_times"
    ),
    _sheet(
        "opened in year 1",
        'reason = "just-installed"',
        "opened = 0001-01-01T00:00:00+05:00",
        3,
        "opened",
        "0001",
        "year",
    ),
    # the tables
    Bad(
        "channel twice", "lineup.csv", "32,South", "31,South", 3, "channel", "stands in line 2", "one line a channel"
    ),
    Bad("channel number", "lineup.csv", "32,South", "32b,South", 3, "channel", "'32b'", "0..9999999"),
    Bad("package list", "lineup.csv", "music talk", "music;talk", 2, "packages", "'music;talk'", "single blanks"),
    Bad("lineup short", "lineup.csv", ",talk,talk", "", 3, None, "too short: 2 fields, not 4", "every column"),
    Bad("elevation", "horizon.csv", "8.5", "98.5", 3, "elevation_deg", "'98.5'", "-10 .. 90"),
    Bad("azimuth", "horizon.csv", "180,", "south,", 3, "azimuth_deg", "'south'", "from 0 to 360"),
    Bad("distance", "obstacles.csv", ",12,", ",0,", 2, "distance_m", "'0'", "0.01"),
    Bad(
        "obstacles header", "obstacles.csv", "height_m", "height", 1, "height_m", "is missing", "distance_m,height_m"
    ),
]


def spoiled(bad: Bad) -> dict[str, bytes]:
    """The files of the folder with one of them spoiled."""
    files = {name: text.encode() for name, text in SOUND.items()}
    assert SOUND[bad.file].count(bad.old) >= 1, bad.name
    files[bad.file] = bad.new if isinstance(bad.new, bytes) else SOUND[bad.file].replace(bad.old, bad.new, 1).encode()
    return files


def write(files: dict[str, bytes], folder):
    """Write files as they are into a new folder."""
    folder.mkdir()
    for name, data in files.items():
        (folder / name).write_bytes(data)
    return folder
