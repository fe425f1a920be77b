"""What was tried, what came and went, what is over: hand-written jobs, each with the reason for what it must give.

The values are by hand from the texts of the log's kinds; how much a reading may be off is our own judgement.
"""

import pytest

from satdiag.diagnosis.estimate import weigh
from satdiag.diagnosis.evidence import Known, collect
from satdiag.entitlement.estimate import estimate_entitlement
from satdiag.exposure import exposure_clock
from satdiag.signal.estimate import estimate_signal
from satdiag.sky.estimate import estimate_sky
from satdiag.tuning.estimate import estimate_tuning
from satdiag.wiring.estimate import estimate_wiring
from tests.helpers import make_job

SITES = "".join(
    f'[[site]]\nname = "{name}"\nlatitude_deg = 33.0\nlongitude_deg = -100.0\nheight_m = 100.0\ntimezone = "UTC"\n'
    for name in ("lane", "yard")
)


def known_of(rows):
    job = make_job("\n".join(rows), SITES)
    return Known(
        job,
        estimate_sky(job),
        estimate_signal(job),
        estimate_entitlement(job, exposure_clock(job)),
        estimate_tuning(job),
        estimate_wiring(job),
    )


def seen(rows):
    """Item to what was seen, of a small job."""
    return {one.item: one for one in collect(known_of(rows))}


def clock(t_s):
    return f"{t_s // 3600}:{t_s // 60 % 60:02d}:{t_s % 60:02d}"


def levels(start_s, level_db, count=10):
    """Levels of one satellite, one every half minute, with its lock."""
    rows = []
    for number in range(count):
        at = clock(start_s + 30 * number)
        rows += [f"{at} lock satellite yes", f"{at} signal satellite {level_db + 0.2 * (number % 3):.1f} dB"]
    return rows


def silent(start_s, count=6):
    """No lock, one look every half minute."""
    return [f"{clock(start_s + 30 * number)} lock satellite no" for number in range(count)]


def channels(start_s, state, count=4):
    return [f"{clock(start_s + 30 * number)} channel {1 + number} {state}" for number in range(count)]


OPEN_SKY = ["0:00:00 place vehicle open-sky"]


def tried(before, said, after, part="antenna"):
    return seen([*OPEN_SKY, *before, f"0:10:00 swap {part} {said}", *after])[f"swap-{part}"]


# --- a known-good part ---------------------------------------------------------------------------------------------


def test_a_word_without_levels_counts_as_it_stands():
    found = tried([], "better", [])
    assert (found.state, found.soft) == ("better", None)


@pytest.mark.parametrize("part", ["antenna", "lead"])
def test_levels_that_rose_bear_the_word_out(part):
    """From 6 to 14 dB at the same spot: what a good part gains in place of a bad one."""
    found = tried(levels(1, 6.0), "better", levels(601, 14.0), part)
    assert found.state == "better"
    assert found.soft["same"] < 0.01


def test_levels_that_rose_overrule_a_word_that_says_they_did_not():
    """Levels do not rise by 8 dB at the same spot for no reason; a hasty look is wrong more often."""
    assert tried(levels(1, 6.0), "same", levels(601, 14.0)).state == "better"


def test_levels_that_stayed_alike_speak_in_part_only():
    """The log does not say when the old part was put back: it may be the old one again that was read."""
    found = tried(levels(1, 6.0), "better", levels(601, 6.0))
    assert found.state == "better"
    assert 0.02 < found.soft["same"] < 0.3
    assert tried(levels(1, 14.0), "same", levels(601, 14.0)).soft["better"] < 0.05


def test_reception_that_began_with_the_part_tells_as_much_as_a_level():
    """Nothing before, a lock after: no level is needed to see that the part made the difference."""
    assert tried(silent(1), "same", levels(601, 14.0)).state == "better"
    assert tried(levels(1, 14.0), "same", silent(601)).state == "worse"


def test_levels_after_the_vehicle_was_moved_say_nothing_of_the_part():
    """Another place has another sky."""
    moved = ["0:10:30 place vehicle street", *levels(661, 14.0)]
    assert tried(levels(1, 6.0), "same", moved).soft is None


def test_a_receiver_that_receives_where_the_old_one_did_not_was_the_fault():
    found = tried(silent(1), "better", levels(601, 14.0), "receiver")
    assert found.soft["same"] < 0.01


def test_a_gain_by_another_antenna_points_at_antenna_or_lead_and_not_at_the_place():
    """The sky did not change: level lost before the swap was lost in the old antenna or its lead."""
    rows = [*OPEN_SKY, *levels(1, 6.0), "0:10:00 swap antenna same", *levels(601, 14.0)]
    with_levels, bare = (weigh(known_of(one)).whole for one in (rows, [*rows[:21], rows[21]]))
    assert with_levels.probability_of("antenna-weak") > bare.probability_of("antenna-weak")


# --- what came and went --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rows", "state"),
    [
        (channels(0, "authorised"), "few"),
        (channels(0, "no-signal"), "many"),
        (channels(0, "no-signal") + channels(300, "authorised"), "once"),
        (channels(0, "no-signal") + channels(300, "authorised") + channels(600, "no-signal"), "at-times"),
        (
            [row for turn in (0, 600) for row in channels(turn, "no-signal") + channels(turn + 300, "authorised")],
            "at-times",
        ),
    ],
)
def test_channels_tell_whether_reception_comes_and_goes(rows, state):
    assert seen(sorted(rows))["unjudgeable"].state == state


def test_a_single_channel_without_signal_may_be_a_slip_of_the_pen():
    rows = [*channels(0, "authorised", 12), "0:06:10 channel 3 no-signal", *channels(400, "authorised", 8)]
    assert seen(rows)["unjudgeable"].state == "few"


def test_what_was_measured_before_channels_played_again_is_over():
    """An open feed and dead satellites cannot be of now, if channels play since: the trouble ended."""
    bad = [*silent(0), "0:03:10 bias voltage 5.0 V", "0:03:11 bias current 0 mA", *channels(200, "no-signal")]
    assert {item: seen(bad)[item].state for item in ("satellite", "bias")} == {"satellite": "none", "bias": "open"}
    over = seen(bad + channels(600, "authorised"))
    assert over["satellite"].state == "recovered"
    assert "bias" not in over
    again = seen([*bad, *channels(600, "authorised"), *silent(800)])
    assert again["satellite"].state == "none"


def test_a_level_that_only_noise_makes_is_no_reception():
    """A readout without a floor shows a few per cent of nothing: so it reads whenever the lamp says no lock."""
    rows = []
    for number, level in enumerate((6, 7, 5, 6, 7)):
        rows.append(f"0:{number:02d}:00 lock satellite no")
        rows += [f"0:{number:02d}:01 signal satellite {level} percent"]
        rows += [f"0:{number:02d}:30 signal satellite {level} percent"]
    assert seen(rows)["satellite"].state == "none"


def test_a_lamp_for_all_paths_is_heard_where_levels_show_nothing():
    """Levels read at bad moments, a lamp that lights up now and then: something does come and go."""
    rows = [f"0:{2 * number:02d}:00 signal satellite 0 dB" for number in range(5)]
    rows += [f"0:{2 * number + 1:02d}:00 lock any {'yes' if number % 2 else 'no'}" for number in range(6)]
    assert seen(sorted(rows))["any-path"].state == "varying"


def test_the_same_spot_before_and_after_a_drive_is_not_another_place():
    """It was driven to a yard and back, and read only where it stands: nothing was compared with elsewhere."""
    here = ["0:00:00 site vehicle lane", "0:00:01 place vehicle open-sky", *silent(10)]
    there = ["0:10:00 site vehicle yard", "0:10:01 place vehicle open-sky"]
    back = ["0:20:00 site vehicle lane", "0:20:01 place vehicle open-sky", *silent(1210)]
    assert "elsewhere" not in seen(here + there + back)
    assert seen(here + there + levels(610, 14.0) + back)["elsewhere"].state == "better"


def test_a_satellite_that_fades_is_told_from_a_steady_one():
    """Trees along a road: 14 dB and 6 dB by turns, always locked; no word on reception alone tells that."""
    steady = levels(0, 14.0, 40)
    fades = [row for turn in range(10) for row in levels(120 * turn, 14.0 if turn % 2 else 5.0, 4)]
    assert seen(OPEN_SKY + steady)["fading"].state == "steady"
    assert seen(OPEN_SKY + fades)["fading"].state == "fades"
