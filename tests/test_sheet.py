"""job.toml: every key read, unknown stays unknown, the lines of its errors."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from satdiag.errors import BadInput
from satdiag.lead_keys import Feedline
from satdiag.sheet import KEYS, REQUIRED, Receiver, Supply, line_of_key, parse_sheet

FULL = """\
[job]
id = "demo-0007"
opened = 2031-05-03T08:40:00-05:00
reason = "complaint"
vehicle = "demo saloon"
technician = "A"
naive_times = "-05:00"

[[site]]
name = "yard"
latitude_deg = 41.2
longitude_deg = -96.1
height_m = 300
timezone = "America/Chicago"

[[site]]
name = "road"
latitude_deg = -41
longitude_deg = 96

[receiver]
id = "DEMO0000A7"
second_hand = true
antenna_lead = "dual"
adaptor = "combiner"
level_scale = "bars/5"
level_floor = 1
noise_bandwidth_hz = 4.0e6
bias_nominal_v = 5.0
bias_normal_ma = [15, 80]
bias_series_ohm = 10
bias_learnt_v = [4.6]
bias_learnt_ma = [41, 42.5]
antenna_gain_dbic = [2, 4.5]
noise_temperature_k = 250

[feed]
gain_db = [25, 30]
noise_figure_db = 0.8
lead_loss_db = 6
receiver_noise_db = 6.5
antenna_k = [60, 150]

[feedline]
velocity_factor = 0.66
velocity_factor_range = [0.65, 0.67]
cable = "rg-174"
expected_length_m = 4
reference_plane_m = 0.1
joints_m = [2.5, 1]

[supply]
code = "B"
awake_a = 6
battery_ah = 60.5

[service]
constellation = "demo-pair"
package = "music"
"""


def test_every_key_is_read():
    sheet = parse_sheet(FULL)
    assert sheet.id == "demo-0007"
    assert sheet.opened == datetime(2031, 5, 3, 13, 40, tzinfo=UTC)
    assert (sheet.reason, sheet.vehicle, sheet.technician) == ("complaint", "demo saloon", "A")
    assert sheet.naive_times.utcoffset(None) == timedelta(hours=-5)
    assert [(site.name, site.latitude_deg, site.height_m) for site in sheet.sites] == [
        ("yard", 41.2, 300),
        ("road", -41, 0),
    ]
    assert sheet.sites[0].timezone == "America/Chicago"
    feed = (5.0, (15.0, 80.0), 10.0, (4.6,), (41.0, 42.5))
    link = ((2.0, 4.5), (250.0, 250.0))
    assert sheet.receiver == Receiver("DEMO0000A7", True, "dual", "combiner", "bars/5", 1, 4.0e6, *feed, *link)
    assert sheet.feed == {
        "gain_db": (25.0, 30.0),
        "noise_figure_db": (0.8, 0.8),
        "lead_loss_db": (6.0, 6.0),
        "receiver_noise_db": (6.5, 6.5),
        "antenna_k": (60.0, 150.0),
    }
    assert sheet.supply == Supply("B", 6, 60.5)
    assert sheet.feedline == Feedline(0.66, (0.65, 0.67), "rg-174", 4.0, 0.1, (1.0, 2.5))
    assert (sheet.constellation, sheet.package) == ("demo-pair", "music")
    written = {(table, key) for table, keys in KEYS.items() for key in keys}
    assert all(f"{key} = " in FULL for _, key in written)


def test_what_is_left_out_is_unknown():
    sheet = parse_sheet('[job]\nid = "x"\n')
    assert sheet.receiver == Receiver()
    assert sheet.receiver.masked_id == "unknown"
    assert (sheet.reason, sheet.opened, sheet.constellation, sheet.sites) == ("unknown", None, None, ())
    assert sheet.receiver.second_hand is None


def test_an_instant_without_an_offset_takes_that_of_the_sheet():
    sheet = parse_sheet('[job]\nid = "x"\nopened = 2031-05-03T08:40:00\nnaive_times = "-05:00"\n')
    assert sheet.opened == datetime(2031, 5, 3, 13, 40, tzinfo=UTC)


def test_the_receivers_identifier_is_masked():
    assert Receiver("DEMO0000A7").masked_id == "•••••••0A7"
    assert "DEMO" not in Receiver("DEMO0000A7").masked_id
    assert Receiver("A7").masked_id.startswith("•••")


@pytest.mark.parametrize(
    ("receiver", "unit", "floor"),
    [
        (Receiver(), "percent", 0.0),
        (Receiver(), "bars/5", 0.0),
        (Receiver(), "dB", None),
        (Receiver(), "dB-Hz", None),
        (Receiver(level_scale="dB", level_floor=2.0), "dB", 2.0),
        (Receiver(level_scale="dB", level_floor=2.0), "bars/5", 0.0),
        (Receiver(level_floor=2.0), "dB-Hz", 2.0),
    ],
)
def test_the_reading_that_means_no_signal(receiver, unit, floor):
    assert receiver.floor_of(unit) == floor


@pytest.mark.parametrize("text", ["a/b", "..", "", "con", "NUL.txt", "a.", "a b", "-x", "ä", "x" * 101])
def test_an_id_must_be_safe_as_a_file_name_on_every_system(text):
    with pytest.raises(BadInput, match="file-name safe"):
        parse_sheet(f'[job]\nid = "{text}"\n')


def test_lines_of_keys_in_repeated_tables():
    assert line_of_key(FULL, "site", "name", 0) == 10
    assert line_of_key(FULL, "site", "name", 1) == 17
    assert line_of_key(FULL, "site", "timezone", 1) == 16
    assert line_of_key(FULL, "receiver") == 21
    assert line_of_key(FULL, "nothing") is None


def test_all_problems_are_told_at_once():
    text = FULL.replace("41.2", "412").replace("dual", "triple").replace('"road"', '""')
    with pytest.raises(BadInput) as caught:
        parse_sheet(text)
    assert [(problem.line, problem.column) for problem in caught.value.problems] == [
        (11, "latitude_deg"),
        (24, "antenna_lead"),
    ]
    with pytest.raises(BadInput, match="used twice"):
        parse_sheet(FULL.replace('"road"', '"yard"'))


def test_a_required_key_is_not_advised_away():
    with pytest.raises(BadInput) as caught:
        parse_sheet("[job]\nid = 7\n")
    assert "leave the key out" not in str(caught.value)
    assert REQUIRED["job"] == ("id",)


TOML = st.recursive(
    st.one_of(
        st.text(max_size=5).map(repr),
        st.integers().map(str),
        st.floats().map(str),
        st.sampled_from(
            ["true", "1979-05-27", "07:32:00", "1979-05-27T07:32:00", "0001-01-01T00:00:00+23:59", '"""a\nb"""']
        ),
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=2).map(lambda parts: "[" + ", ".join(parts) + "]"),
        inner.map(lambda part: "{a = " + part + "}"),
    ),
    max_leaves=3,
)


@settings(max_examples=300, deadline=None)
@given(st.sampled_from([(table, key) for table, keys in KEYS.items() for key in keys]), TOML)
def test_any_value_of_any_key_is_taken_or_refused(where, value):
    table, key = where
    head = "[[site]]" if table == "site" else f"[{table}]"
    before = '[job]\nid = "x"\n' if table != "job" else ""
    message = None
    try:
        parse_sheet(f"{before}{head}\n{key} = {value}\n")
    except BadInput as error:
        message = str(error)
    assert message is None or message.startswith("job.toml")
