"""The exposure clock at its edges: instants that fall together, and paths without a name. Reckoned by hand."""

from satdiag.exposure import exposure_clock
from tests.helpers import make_job


def test_what_is_seen_at_the_instant_of_a_swap_speaks_of_the_new_receiver():
    """Awake from the swap at 10 min to 20 min: 600 s."""
    clock = exposure_clock(
        make_job("""
            0:00  note x begin
            10:00 swap receiver same
            10:00 power receiver awake
            20:00 power receiver awake
        """)
    )
    assert clock.era_start_s == 600.0
    assert clock.exposure_s == 600.0


def test_satellites_without_a_name_and_the_repeater_denied_count_in_neither_bound():
    """Both denied from 0 to 5 min; nothing is known of the 10 min after."""
    clock = exposure_clock(
        make_job("""
            0:00  lock satellite no
            0:00  lock repeater no
            5:00  lock satellite no
            5:00  lock repeater no
            15:00 power receiver awake
        """)
    )
    assert clock.exposure_s == 0.0
    assert clock.exposure_max_s == 600.0


def test_one_named_satellite_denied_says_nothing_of_another():
    clock = exposure_clock(
        make_job("""
            0:00  lock satellite:east no
            0:00  lock repeater no
            5:00  lock satellite:east no
            5:00  lock repeater no
        """)
    )
    assert clock.exposure_max_s == 300.0


def test_a_gap_that_begins_at_a_proof_is_not_before_it():
    """Awake at 0, 10 and 20 min; the gap from 10 to 15 min breaks the second stretch alone: 600 s."""
    clock = exposure_clock(
        make_job("""
            0:00  power receiver awake
            10:00 power receiver awake
            15:00 gap page lost span_s=300
            20:00 power receiver awake
        """)
    )
    assert clock.exposure_s == 600.0


def test_between_two_gaps_what_was_proved_holds():
    """Gaps from 9 to 10 and from 19 to 20 min; awake at 12 and 18 min: 360 s."""
    clock = exposure_clock(
        make_job("""
            0:00  note x begin
            10:00 gap page lost span_s=60
            12:00 power receiver awake
            18:00 power receiver awake
            20:00 gap page lost span_s=60
        """)
    )
    assert clock.exposure_s == 360.0


def test_a_swap_in_the_first_second_is_one():
    clock = exposure_clock(
        make_job("""
            0:00   power receiver awake
            0:00.5 swap receiver same
            10:00  power receiver awake
        """)
    )
    assert clock.era_start_s == 0.5
    assert clock.exposure_s == 0.0


def test_a_resend_that_was_only_asked_for_opens_a_round():
    clock = exposure_clock(make_job("0:00 power receiver awake\n5:00 account service resend-requested"))
    assert clock.rounds_s == (300.0,)
    assert clock.since_resend_s == 0.0


def test_a_second_navigation_source_says_nothing_of_the_receiver_either():
    clock = exposure_clock(
        make_job("""
            0:00  power receiver awake
            5:00  gap gnss/2 lost span_s=60
            6:00  gap gnss:com3 lost span_s=60
            10:00 power receiver awake
        """)
    )
    assert clock.exposure_s == 600.0


def test_levels_in_two_scales_of_which_one_has_no_known_floor_are_told_apart():
    """A level in dB without `level_floor` says nothing of 'no signal'; bars begin at none. No warning of pandas."""
    rows = ["0:00 power receiver awake", "1:00 signal satellite:east 9 dB", "2:00 signal repeater 3 bars/5"]
    clock = exposure_clock(
        make_job("\n".join([*rows, "3:00 signal satellite:east 9 dB", "4:00 signal repeater 3 bars/5"]))
    )
    assert clock.basis == "level"
    assert clock.exposure_s == 120.0  # of the repeater, from 2 to 4 min
