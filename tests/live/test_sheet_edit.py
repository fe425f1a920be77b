"""Changes to job.toml: what was asked for, read back with tomllib, and not a byte of any other line."""

import tomllib
from datetime import UTC, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from satdiag.cli.sheet_form import sheet_text
from satdiag.errors import BadInput
from satdiag.live.sheet_edit import edited
from satdiag.sheet import KEYS, parse_sheet

SHEET = """\
# demo sheet
[job]
id = "demo-7"                      # the job # its name
opened = 2031-05-03T13:40:00Z
vehicle = "demo # saloon"          # in your own words

[[site]]   # where
name = "yard"
latitude_deg = 41.2
longitude_deg = -96.1

[[site]]
name = 'road'
latitude_deg = 1
longitude_deg = 2
height_m = 3

[receiver]
id = "DEMO0000A7"
# antenna_lead = "single"          # single | dual | unknown
bias_normal_ma = [
  15, # low
  80,
] # learnt
# the end of it

# what was ordered
[service]
package = "music"
"""


def difference(before, after):
    """The lines that only one of two texts has."""
    old, new = before.splitlines(), after.splitlines()
    return [line for line in old if line not in new], [line for line in new if line not in old]


@pytest.mark.parametrize(
    ("changes", "gone", "come", "words"),
    [
        (
            {"receiver.antenna_lead": "dual"},
            [],
            ['antenna_lead = "dual"'],
            ["receiver.antenna_lead: unknown -> dual"],
        ),
        (
            {"job.vehicle": 'a "b" \\ c'},
            ['vehicle = "demo # saloon"          # in your own words'],
            [r'vehicle = "a \"b\" \\ c"           # in your own words'],
            [r'job.vehicle: demo # saloon -> a "b" \ c'],
        ),
        (
            {"job.vehicle": "a vehicle with quite a long name"},
            ['vehicle = "demo # saloon"          # in your own words'],
            ['vehicle = "a vehicle with quite a long name" # in your own words'],
            ["job.vehicle: demo # saloon -> a vehicle with quite a long name"],
        ),
        (
            {"receiver.bias_normal_ma": [10, 60.5]},
            ["bias_normal_ma = [", "  15, # low", "  80,", "] # learnt"],
            ["bias_normal_ma = [10, 60.5] # learnt"],
            ["receiver.bias_normal_ma: [15, 80] -> [10, 60.5]"],
        ),
        ({"service.package": None}, ['package = "music"'], [], ["service.package: music -> unknown"]),
        (
            {"job.vehicle": None},
            ['vehicle = "demo # saloon"          # in your own words'],
            ["# in your own words"],
            ["job.vehicle: demo # saloon -> unknown"],
        ),
        (
            {"receiver.id": "DEMO0000B9"},
            ['id = "DEMO0000A7"'],
            ['id = "DEMO0000B9"'],
            ["receiver.id: •••••••0A7 -> •••••••0B9"],
        ),
        ({"receiver.second_hand": True}, [], ["second_hand = true"], ["receiver.second_hand: unknown -> true"]),
        (
            {"site": {"name": "road", "longitude_deg": -2.5, "height_m": None}},
            ["longitude_deg = 2", "height_m = 3"],
            ["longitude_deg = -2.5"],
            ["site.longitude_deg: 2 -> -2.5", "site.height_m: 3 -> unknown"],
        ),
    ],
)
def test_a_change_touches_its_own_line_alone(changes, gone, come, words):
    made = edited(SHEET, changes)
    assert difference(SHEET, made.text) == (gone, come)
    assert list(made.words) == words
    kept = [line for line in made.text.splitlines() if line not in come]
    assert kept == [line for line in SHEET.splitlines() if line not in gone]


def test_where_new_keys_and_sites_go():
    made = edited(SHEET, {
        "receiver.antenna_lead": "dual", "receiver.level_floor": 0, "job.technician": "A",
        "site": {"name": "roof", "latitude_deg": 3, "longitude_deg": 4},
    }).text  # fmt: skip
    lines = made.splitlines()
    assert lines[lines.index('antenna_lead = "dual"') - 1].startswith('# antenna_lead = "single"')
    assert lines[lines.index("level_floor = 0") - 1] == "] # learnt"
    assert lines[lines.index('technician = "A"') - 1].startswith("vehicle")
    at = lines.index('name = "roof"')
    assert lines[at - 3 : at + 5] == [
        "height_m = 3", "", "[[site]]", 'name = "roof"', "latitude_deg = 3", "longitude_deg = 4", "", "[receiver]",
    ]  # fmt: skip


def test_tables_that_are_not_there_are_made():
    made = edited('[job]\nid = "x"', {"service.package": "music", "receiver.adaptor": "none", "site": {
        "name": "a", "latitude_deg": 1.5, "longitude_deg": 2}})  # fmt: skip
    assert made.text == (
        '[job]\nid = "x"\n\n[[site]]\nname = "a"\nlatitude_deg = 1.5\nlongitude_deg = 2\n\n[service]\n'
        'package = "music"\n\n[receiver]\nadaptor = "none"\n'
    )
    assert made.words[2:] == (
        "site.name: unknown -> a", "site.latitude_deg: unknown -> 1.5", "site.longitude_deg: unknown -> 2",
    )  # fmt: skip


def test_a_sheet_as_satdiag_new_writes_it_is_filled_in_place():
    blank = sheet_text({("job", "id"): "demo-7"}, [], datetime(2031, 5, 3, tzinfo=UTC))
    site = {"name": "yard", "latitude_deg": 1.5, "longitude_deg": 2}
    made = edited(
        blank, {"site": site, "job.technician": "A", "receiver.adaptor": "none", "service.package": "music"}
    )
    lines = made.text.splitlines()
    for line, before in [('technician = "A"', "# technician ="), ('adaptor = "none"', "# adaptor ="),
                         ('package = "music"', "# package ="), ("[[site]]", "")]:  # fmt: skip
        assert lines[lines.index(line) - 1].startswith(before)
    assert difference(blank, made.text)[0] == []
    assert parse_sheet(made.text).sites[0].latitude_deg == 1.5


def test_what_is_so_already_changes_nothing():
    same = {"service.package": "music", "receiver.level_scale": None, "site": {"name": "yard", "latitude_deg": 41.2}}
    assert edited(SHEET, same) == (SHEET, ())
    assert edited('[job]\nid = "x"\n', {"service.package": None}) == ('[job]\nid = "x"\n', ())


@pytest.mark.parametrize("value", [45, 45.0])
def test_an_equal_number_is_no_change_however_it_is_written(value):
    """ECMA-262 has one kind of number: `JSON.stringify(45.0)` is '45'."""
    text = SHEET.replace("latitude_deg = 41.2", "latitude_deg = 45.0").replace("15, # low", "15.0, # low")
    same = {"site": {"name": "yard", "latitude_deg": value, "longitude_deg": -96.1}}
    assert edited(text, same) == (text, ())
    assert edited(text, {"receiver.bias_normal_ma": [15, 80.0]}) == (text, ())
    assert edited(text, {"receiver.bias_normal_ma": [15, 81.0]}).words == (
        "receiver.bias_normal_ma: [15.0, 80] -> [15, 81.0]",
    )


def test_true_is_not_one():
    """`True == 1` in Python; in a sheet the one is no number and the other no flag."""
    text = edited(SHEET, {"receiver.second_hand": True, "receiver.level_floor": 1}).text
    assert edited(text, {"receiver.second_hand": True, "receiver.level_floor": 1.0}).words == ()
    for wrong in ({"receiver.second_hand": 1}, {"receiver.level_floor": True}):
        with pytest.raises(BadInput, match="is not"):
            edited(text, wrong)


def test_line_ends_of_either_kind_stay():
    text = SHEET.replace("\n", "\r\n")
    made = edited(
        text, {"receiver.adaptor": "none", "service.package": "all", "receiver.bias_normal_ma": [1, 2]}
    ).text
    assert made.count("\n") == made.count("\r\n")
    assert parse_sheet(made).package == "all"


def test_a_key_may_go_and_come_again_without_end():
    text = SHEET
    for _ in range(3):
        text = edited(edited(text, {"job.vehicle": None}).text, {"job.vehicle": "demo"}).text
    assert len(text.splitlines()) == len(SHEET.splitlines()) + 1, "the comment stands on a line of its own now"


@pytest.mark.parametrize(
    ("changes", "key", "what"),
    [
        ({"job.id": "y"}, "job.id", "cannot be changed"),
        ({"job.opened": None}, "job.opened", "cannot be changed"),
        ({"receiver.colour": 1}, "receiver.colour", "no key"),
        ({"truth.fault": 1}, "truth.fault", "no key"),
        ({"receiver": {}}, "receiver", "no key"),
        ({"receiver.antenna_lead": "triple"}, "receiver.antenna_lead", "not one of"),
        ({"receiver.level_floor": float("nan")}, "receiver.level_floor", "not a number"),
        ({"receiver.level_floor": True}, "receiver.level_floor", "not a number"),
        ({"receiver.bias_normal_ma": [80, 15]}, "receiver.bias_normal_ma", "rise"),
        ({"job.vehicle": "a\ud800"}, "job.vehicle", "half a character"),
        ({"job.vehicle": ["a"]}, "job.vehicle", "not text"),
        ({"service.package": "open"}, "service.package", "package word"),
        ({"site": "yard"}, "site", "no name"),
        ({"site": {"name": ""}}, "site", "no name"),
        ({"site": {"name": "new", "latitude_deg": 1}}, "site.longitude_deg", "missing"),
        ({"site": {"name": "yard", "latitude_deg": None}}, "site.latitude_deg", "missing"),
        ({"site": {"name": "yard", "latitude_deg": 91}}, "site.latitude_deg", "outside"),
        ({"site": {"name": "yard", "colour": 91}}, "site", "no key of a site"),
    ],
)
def test_a_wrong_change_is_named_by_its_key(changes, key, what):
    with pytest.raises(BadInput, match=what) as caught:
        edited(SHEET, changes)
    assert [problem.column for problem in caught.value.problems] == [key]


def test_several_wrong_changes_are_told_at_once_and_what_keys_say_together():
    with pytest.raises(BadInput) as caught:
        edited(SHEET, {"job.id": "y", "receiver.adaptor": 3})
    assert [problem.column for problem in caught.value.problems] == ["job.id", "receiver.adaptor"]
    naive = '[job]\nid = "x"\nopened = 2031-05-03T13:40:00\nnaive_times = "Z"\n'
    with pytest.raises(BadInput, match="no offset") as caught:
        edited(naive, {"job.naive_times": None})
    assert [problem.column for problem in caught.value.problems] == ["job.naive_times"]


@pytest.mark.parametrize(
    "text",
    ['job.id = "x"\nreceiver.adaptor = "none"\n', 'receiver = {adaptor = "none"}\n[job]\nid = "x"\n',
     '[job]\nid = "x"\nvehicle = """' + "\n" * 300 + '"""\n'],
)  # fmt: skip
def test_a_rare_way_of_writing_is_refused_and_said(text):
    with pytest.raises(BadInput, match="by hand"):
        edited(text, {"receiver.adaptor": "combiner"})


def test_the_receiver_is_masked_wherever_it_stands_in_the_words():
    made = edited(SHEET, {"receiver.id": "NEWDEMO99", "job.vehicle": "DEMO0000A7 out, NEWDEMO99 in\x1b\n"})
    assert "DEMO0000A7" not in str(made.words)
    assert "NEWDEMO99" not in str(made.words)
    assert all(word.isprintable() for word in made.words)
    assert tomllib.loads(made.text)["job"]["vehicle"] == "DEMO0000A7 out, NEWDEMO99 in\x1b\n"


VALUES = {
    "job.vehicle": st.text(), "job.technician": st.text(), "receiver.id": st.text(),
    "receiver.level_floor": st.floats(-1e12, 1e12) | st.integers(-(10**12), 10**12),
    "receiver.second_hand": st.booleans(), "receiver.antenna_lead": st.sampled_from(["single", "dual"]),
    "receiver.bias_normal_ma": st.tuples(st.floats(0, 1), st.floats(2, 1e9)).map(list),
    "service.constellation": st.text(),
}  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(st.fixed_dictionaries({}, optional={key: values | st.none() for key, values in VALUES.items()}))
def test_any_values_are_read_back_and_the_way_back_gives_the_same_sheet(changes):
    made = edited(SHEET, changes).text
    data, was = tomllib.loads(made), tomllib.loads(SHEET)
    for name, value in changes.items():
        table, key = name.split(".")
        assert data[table].get(key) == value
    back = {name: was[name.split(".")[0]].get(name.split(".")[1]) for name in changes}
    assert tomllib.loads(edited(made, back).text) == was
    assert set(KEYS) >= set(data)
