"""The live receiver's lines: the same each time, all of them lawful observations, and true to the physics."""

from __future__ import annotations

import csv
import io
from itertools import pairwise

import pytest

from satdiag.rows import Row, check_row
from satdiag.simulate import make_job, scenarios
from satdiag.simulate.device import Device
from satdiag.vocabulary import UNREADABLE

TIME = "2031-05-03T14:00:00Z"


def said(scenario: str, seed: int, span_s: float) -> list[tuple[float, list[str]]]:
    """All lines but remarks of the first `span_s` seconds, as words."""
    lines = Device(scenario, seed).lines_until(span_s)
    return [(at_s, line.split(" ")) for at_s, line in lines if not line.startswith(";")]


def values(lines, *start: str) -> list[str]:
    """The values of all lines of a kind and subject."""
    return [words[2] for _, words in lines if words[:2] == list(start)]


def row_of(words: list[str]) -> Row:
    """What a reader of the line makes of it."""
    kind, subject, value, *unit = words
    return Row(TIME, kind, subject, UNREADABLE if value == "--" else value, *unit)


@pytest.mark.parametrize("scenario", scenarios())
def test_every_line_is_a_lawful_observation(scenario):
    lines = said(scenario, 4, 500.0)
    for line in {tuple(words) for _, words in lines}:
        assert len(line) in (3, 4), line
        assert all(word.isascii() and word.isprintable() for word in line)
        assert list(check_row(row_of(list(line)), None, ())) == [], line
    units = {(words[1], words[3]) for _, words in lines if words[0] == "signal" and len(words) == 4}
    assert len(units) == len({path for path, _ in units}), "a path keeps its unit"
    times = [at_s for at_s, _ in lines]
    assert times == sorted(times)


def test_the_same_seed_says_the_same_however_it_is_asked():
    at_once = Device("foliage", 2).lines_until(500.0)
    bit_by_bit, device = [], Device("foliage", 2)
    for step in range(5001):
        bit_by_bit += device.lines_until(step / 10)
    assert bit_by_bit == at_once
    assert device.lines_until(10.0) == []  # what was said is not said again
    assert Device("foliage", 3).lines_until(500.0) != at_once
    assert Device("indoors", 2).lines_until(500.0) != at_once


def test_how_often_what_is_said():
    lines = said("complete", 1, 599.9)
    for path in ("satellite:east", "satellite:west", "repeater"):
        assert len(values(lines, "signal", path)) == 300
        assert len(values(lines, "lock", path)) == 300
    assert values(lines, "power", "receiver") == ["awake"] * 10
    assert len(values(lines, "supply", "receiver")) == 60
    assert len(values(lines, "bias", "voltage")) == len(values(lines, "bias", "current")) == 60
    assert len(values(lines, "supply", "receiver-minimum")) == 10
    assert sum(words[0] == "channel" for _, words in lines) == 150
    assert {words[0] for _, words in lines} == {"power", "signal", "lock", "supply", "bias", "channel"}
    assert 0 < sum(words[2] == "--" for _, words in lines) < 20
    assert lines[0][1] == ["power", "receiver", "awake"]


def test_it_is_the_world_of_the_job_folder():
    """Channels are those of the line-up file, and the scale that of the sheet, of the same scenario and seed."""
    for seed in range(4):
        job = make_job("antenna-open", seed)
        lines = said("antenna-open", seed, 600.0)
        scale = {words[3] for _, words in lines if words[0] == "signal" and len(words) == 4}
        assert f'level_scale = "{scale.pop()}"' in job.files["job.toml"].decode()
        if "lineup.csv" in job.files:
            table = csv.DictReader(io.StringIO(job.files["lineup.csv"].decode()))
            assert {row["channel"] for row in table} == {words[1] for _, words in lines if words[0] == "channel"}


@pytest.mark.parametrize("seed", range(3))
def test_antenna_open(seed):
    """No current, the full voltage, no satellite. 5 V over 4 kohm of damp at least: 1.25 mA, and a meter's error."""
    lines = said("antenna-open", seed, 900.0)
    currents = [float(text) for text in values(lines, "bias", "current")]
    assert max(currents) < 2.5
    assert min(float(text) for text in values(lines, "bias", "voltage")) > 4.8
    assert set(values(lines, "lock", "satellite:east") + values(lines, "lock", "satellite:west")) == {"no"}


@pytest.mark.parametrize("seed", range(3))
def test_antenna_short_and_feed_absent(seed):
    short = said("antenna-short", seed, 300.0)
    assert min(float(text) for text in values(short, "bias", "current")) > 140.0
    assert max(float(text) for text in values(short, "bias", "voltage")) < 1.2
    absent = said("feed-absent", seed, 300.0)
    assert max(float(text) for text in values(absent, "bias", "voltage")) < 0.3
    assert "yes" not in values(absent, "lock", "satellite:east")


def test_a_healthy_feed_obeys_ohm():
    """U = E - I R of the source, within the meter's errors (0.02 V, 1.5 % of the current: four times each)."""
    device = Device("complete", 5)
    source = device.world.setup.bias_source
    lines = [(at_s, line.split(" ")) for at_s, line in device.lines_until(600.0)]
    pairs = zip(values(lines, "bias", "voltage"), values(lines, "bias", "current"), strict=True)
    for volts, milliamps in pairs:
        assert float(volts) == pytest.approx(source.volts - float(milliamps) / 1000 * source.series_ohm, abs=0.12)
        assert 20.0 < float(milliamps) < 70.0


def test_filling_fills():
    """Refused channels become authorised, none the other way round, and the reception was good from the start."""
    device = Device("filling", 3)
    lines = [(at_s, line.split(" ")) for at_s, line in device.lines_until(5400.0)]
    seen: dict[str, list[str]] = {}
    for _, words in lines:
        if words[0] == "channel":
            seen.setdefault(words[1], []).append(words[2])
    came = [states for states in seen.values() if states[0] == "refused" and states[-1] == "authorised"]
    assert len(came) >= 10
    for states in seen.values():
        judged = [state for state in states if state in ("authorised", "refused")]
        assert judged == sorted(judged, reverse=True), "refused comes before authorised"
    first = {tuple(states).index("authorised") for states in came}
    assert len(first) >= 3, "not all at once"
    entitled = {str(number) for number in device.world.setup.entitled()}
    assert {number for number, states in seen.items() if states in came} <= entitled


def test_what_is_never_authorised():
    for scenario, seed in (("wrong-id", 1), ("resend-due", 1), ("not-activated", 2), ("account-lapsed", 1)):
        device = Device(scenario, seed)
        opened = {str(channel.number) for channel in device.world.setup.lineup if channel.is_open}
        lines = [line.split(" ") for _, line in device.lines_until(3600.0)]
        plays = {words[1] for words in lines if words[0] == "channel" and words[2] == "authorised"}
        assert plays == opened, scenario


def test_indoors_there_is_no_lock():
    """Under 20 dB of roof and more: some 17 dB of C/N in the open become less than the 4 dB that a lock takes."""
    deep = []
    for seed in range(8):
        device = Device("indoors", seed)
        if min(device.world.place.roof_db) < 20.0:
            continue
        deep.append(seed)
        lines = [(at_s, line.split(" ")) for at_s, line in device.lines_until(300.0)]
        assert {words[2] for _, words in lines if words[0] == "lock"} == {"no"}
        assert {words[2] for _, words in lines if words[0] == "channel"} <= {"no-signal", "missing"}
        assert values(lines, "power", "receiver")[0] == "awake"  # it is not that it sleeps
    assert len(deep) >= 4


def test_without_power_nothing_is_said():
    assert Device("node-unpowered", 1).lines_until(3600.0) == []


def test_a_dark_ring_puts_it_to_standby():
    """From the break on (9 to 20 minutes): standby, no reception, while the meters go on. Nobody mends it."""
    lines = said("ring-broken", 1, 3600.0)
    broken_s = next(at_s for at_s, words in lines if words == ["power", "receiver", "standby"])
    assert 500.0 < broken_s < 1201.0
    before = {words[0] for at_s, words in lines if at_s < broken_s}
    after = {words[0] for at_s, words in lines if at_s > broken_s}
    assert before >= {"signal", "lock", "channel"}
    assert after == {"power", "supply", "bias"}
    powers = [at_s for at_s, words in lines if at_s > broken_s and words[0] == "power"]
    assert all(59.0 < later - at_s < 61.0 for at_s, later in pairwise(powers))


def test_resets_follow_from_the_supply():
    """Each restart is said, then standby until it has booted (14 to 30 s), and the peak meter held a deep dip."""
    lines = said("supply-dropout", 1, 7200.0)
    resets = [at_s for at_s, words in lines if words == ["reset", "receiver", "seen"]]
    assert len(resets) >= 5
    minima = [(at_s, float(words[2])) for at_s, words in lines if words[1] == "receiver-minimum"]
    for at_s in resets:
        assert next(volts for later_s, volts in minima if later_s > at_s) < 6.3
        woken_s = next(t for t, words in lines if t > at_s and words == ["power", "receiver", "awake"])
        assert woken_s - at_s > 13.0
        assert not [words for t, words in lines if at_s < t < woken_s and words[0] in ("signal", "lock", "channel")]
    assert min(float(text) for text in values(lines, "supply", "receiver")) > 11.0  # a dip is over in no time


def test_both_conductors_of_a_dual_lead_are_measured():
    found = set()
    for seed in range(8):
        device = Device("feed-swapped", seed)
        setup = device.world.setup
        lines = [(at_s, line.split(" ")) for at_s, line in device.lines_until(60.0)]
        subjects = {words[1] for _, words in lines if words[0] == "bias"}
        both = setup.dual_lead and setup.adaptor == "none"
        paths = (":satellite", ":repeater") if both else ("",)
        assert subjects == {what + path for what in ("voltage", "current") for path in paths}
        found.add(both)
    assert found == {True, False}


def test_remarks_say_that_it_is_made_up_and_what_became_of_the_account():
    device = Device("complete", 1)
    assert device.account == "account confirmed at the provider just now"
    remarks = [line for _, line in device.lines_until(200.0) if line.startswith(";")]
    assert remarks[0] == "; simulated receiver: made-up data, nothing was measured"
    assert remarks[1] == "; account confirmed at the provider just now"
    assert remarks[-1] == "; account confirmed at the provider 3 minutes ago"
    assert device.world.account.state == "confirmed"
    answers = {Device("not-activated", seed).account for seed in range(8)}
    assert answers == {"", "account rejected by the provider just now"}
    assert {Device("wrong-id", seed).account[-9:] for seed in range(8)} == {" just now", "hours ago"}
    assert Device("foliage", 2).account in ("", "account confirmed at the provider just now")


def test_the_world_goes_on_after_the_planned_end():
    device = Device("filling", 1)
    end_s = device.world.setup.duration_s
    device.lines_until(end_s)
    later = device.lines_until(end_s + 3600.0)
    assert sum(line.startswith("signal") for _, line in later) == 3 * 1800


def test_an_unknown_scenario_is_refused():
    with pytest.raises(ValueError, match="there is no scenario 'no-such'"):
        Device("no-such", 0)
