"""The exposure clock, sentence by sentence, then as a whole against a slow and simple second implementation.

The rules are this project's own definition of its log; there is no outside standard to check them against.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from satdiag.entitlement.estimate import estimate_entitlement
from satdiag.exposure import era_start_s, exposure_clock
from satdiag.vocabulary import AWAKE_HOLD_S, RECEIVED_HOLD_S, RESET_DEAD_S
from tests.helpers import make_job

FLOOR = "[receiver]\nlevel_floor = 2.0\n"
MIN = 60.0


def clock_of(rows_text, sheet_text=""):
    return exposure_clock(make_job(rows_text, sheet_text))


def bounds(rows_text, sheet_text=""):
    """Both bounds at the last row, in seconds."""
    clock = clock_of(rows_text, sheet_text)
    return clock.exposure_s, clock.exposure_max_s


# --- origin ------------------------------------------------------------------------------------------------------


def test_origin_is_the_first_confirmed():
    clock = clock_of("""
        0:00 power receiver awake
        2:00 account service submitted
        5:00 account service confirmed
        9:00 power receiver awake
    """)
    assert (clock.origin_s, clock.origin) == (5 * MIN, "confirmed")
    assert clock.exposure_s == 4 * MIN


def test_origin_is_the_first_row_when_no_confirmation_is_logged():
    clock = clock_of("""
        0:00 note - start
        3:00 power receiver awake
        5:00 account service submitted
        9:00 power receiver awake
    """)
    assert (clock.origin_s, clock.origin) == (0, "first-row")
    assert (clock.exposure_s, clock.exposure_max_s) == (6 * MIN, 9 * MIN)


def test_origin_is_zero_in_an_empty_log():
    clock = clock_of("")
    assert (clock.origin, clock.basis) == ("first-row", "awake")
    assert (clock.exposure_s, clock.exposure_max_s, clock.since_resend_s) == (0, 0, None)


@pytest.mark.parametrize("later", ["confirmed", "resend-confirmed", "resend-requested"])
def test_later_confirmation_or_resend_never_resets_it_but_opens_a_round(later):
    clock = clock_of(f"""
        0:00 account service confirmed
        0:00 power receiver awake
        6:00 account service {later}
        10:00 power receiver awake
    """)
    assert clock.origin_s == 0
    assert clock.exposure_s == 10 * MIN
    assert clock.rounds_s == (6 * MIN,)
    assert clock.since_resend_s == 4 * MIN


def test_round_starts_when_the_resend_is_confirmed_not_when_it_was_asked_for():
    clock = clock_of("""
        0:00 account service confirmed
        0:00 power receiver awake
        6:00 account service resend-requested
        8:00 account service resend-confirmed
        10:00 power receiver awake
    """)
    assert clock.since_resend_s == 2 * MIN


def test_no_round_no_time_since_a_resend():
    clock = clock_of("""
        0:00 account service confirmed
        0:00 power receiver awake
        9:00 power receiver awake
    """)
    assert clock.since_resend_s is None


def test_resend_in_the_first_row_of_a_job_without_confirmation_opens_a_round():
    clock = clock_of("""
        0:00 account service resend-confirmed
        1:00 power receiver awake
        9:00 power receiver awake
    """)
    assert clock.origin == "first-row"
    assert clock.since_resend_s == 8 * MIN


@pytest.mark.parametrize("stop", ["rejected", "lapsed"])
def test_rejected_or_lapsed_stops_it_until_the_next_confirmation(stop):
    rows = f"""
        0:00 account service confirmed
        0:00 power receiver awake
        5:00 account service {stop}
        8:00 account service submitted
        9:00 account service resend-confirmed
        10:00 power receiver awake
    """
    assert bounds(rows) == (5 * MIN, 5 * MIN)
    more = "12:00 account service confirmed\n20:00 power receiver awake"
    clock = clock_of(f"{rows}\n{more}")
    assert clock.origin_s == 0
    assert (clock.exposure_s, clock.exposure_max_s) == (13 * MIN, 13 * MIN)


@pytest.mark.parametrize("account", ["none", "submitted", "resend-requested"])
def test_no_other_account_event_stops_it(account):
    rows = f"""
        0:00 account service confirmed
        0:00 power receiver awake
        5:00 account service {account}
        10:00 power receiver awake
    """
    assert bounds(rows) == (10 * MIN, 10 * MIN)


# --- swap --------------------------------------------------------------------------------------------------------

SWAPPED = """
    0:00 account service confirmed
    0:00 power receiver awake
    10:00 power receiver awake
    12:00 swap receiver better
    15:00 power receiver awake
    20:00 power receiver awake
"""


def test_swap_receiver_starts_a_new_clock():
    clock = clock_of(SWAPPED)
    assert clock.era_start_s == 12 * MIN == era_start_s(make_job(SWAPPED))
    assert (clock.origin_s, clock.origin) == (12 * MIN, "first-row")
    assert clock.exposure_max_s == 8 * MIN


def test_swap_receiver_leaves_the_old_receivers_proofs_behind():
    """The new one is proved awake from 15:00 on; that the old one was at 10:00 says nothing of it."""
    assert clock_of(SWAPPED).exposure_s == 5 * MIN


def test_swap_receiver_takes_the_first_confirmation_after_it_as_origin():
    clock = clock_of(SWAPPED + "22:00 account service confirmed\n25:00 power receiver awake")
    assert (clock.origin_s, clock.origin) == (22 * MIN, "confirmed")
    assert clock.exposure_s == 3 * MIN


def test_swap_receiver_leaves_the_old_receivers_lock_rows_behind():
    clock = clock_of("""
        0:00 lock any yes
        5:00 lock any yes
        6:00 swap receiver same
        7:00 power receiver awake
        9:00 power receiver awake
    """)
    assert clock.basis == "awake"
    assert clock.exposure_s == 2 * MIN


def test_swap_receiver_starts_new_channel_states():
    job = make_job(SWAPPED + "8:00 channel 31 authorised\n9:00 channel 32 refused\n16:00 channel 32 refused")
    found = estimate_entitlement(job, exposure_clock(job))
    states = {channel.channel: channel.state for channel in found.channels}
    assert states == {31: "unchecked", 32: "refused"}


def test_swap_of_another_part_starts_no_new_clock():
    rows = SWAPPED.replace("swap receiver", "swap antenna")
    assert clock_of(rows).era_start_s == 0
    assert bounds(rows) == (20 * MIN, 20 * MIN)


# --- awake -------------------------------------------------------------------------------------------------------

AWAKE_PROOFS = [
    "power receiver awake",
    "lock any yes",
    "signal any 40 percent",
    "signal any 1 bars/5",
    "channel 31 authorised",
    "channel 31 refused",
    "tune 31 requested",
    "tune 31 audio",
    "tune 31 title",
    "tune 31 refused",
    "tune 31 abandoned",
    "audio output playing",
]
NO_AWAKE_PROOFS = [
    "power receiver unreadable",
    "lock any no",
    "lock any unreadable",
    "signal any 0 percent",
    "signal any 11 dB",
    "signal any unreadable",
    "channel 31 missing",
    "channel 31 no-signal",
    "channel 31 authorised span_s=600",
    "tune 31 unreadable",
    "audio output muted",
    "audio output broken",
    "listing source yes",
    "bias current 40 mA",
    "note - awake",
]


def awake_s(proof):
    return exposure_clock(make_job(f"0:00 {proof}\n8:00 {proof}")).awake


@pytest.mark.parametrize("proof", AWAKE_PROOFS)
def test_awake_is_proved_by(proof):
    assert awake_s(proof).tolist() == [[0, 8 * MIN]]


@pytest.mark.parametrize("proof", NO_AWAKE_PROOFS)
def test_awake_is_not_proved_by(proof):
    assert len(awake_s(proof)) == 0


def test_proofs_of_different_kinds_hold_together():
    clock = clock_of("0:00 power receiver awake\n20:00 channel 31 refused\n45:00 tune 31 requested")
    assert clock.awake.tolist() == [[0, 45 * MIN]]


def test_two_proofs_at_most_30_min_apart_count_as_awake_throughout():
    assert AWAKE_HOLD_S == 1800
    assert bounds("0:00 power receiver awake\n30:00 power receiver awake") == (30 * MIN, 30 * MIN)


def test_a_longer_stretch_without_a_contrary_row_counts_in_the_upper_bound_only():
    assert bounds("0:00 power receiver awake\n30:01 power receiver awake") == (0, 30 * MIN + 1)


@pytest.mark.parametrize("state", ["off", "standby"])
def test_off_or_standby_between_breaks_the_hold(state):
    rows = f"0:00 power receiver awake\n4:00 power receiver {state}\n10:00 power receiver awake"
    clock = clock_of(rows)
    assert clock.exposure_s == 0
    assert clock.exposure_max_s == 4 * MIN
    assert clock.asleep.tolist() == [[4 * MIN, 10 * MIN]]


def test_off_lasts_to_the_end_when_no_proof_follows():
    assert bounds("0:00 power receiver awake\n4:00 power receiver off\n50:00 note - end") == (0, 4 * MIN)


def test_off_at_the_instant_of_the_later_proof_does_not_undo_the_stretch_before():
    rows = "0:00 lock any yes\n8:00 lock any yes\n8:00 power receiver off\n9:00 lock any yes"
    assert bounds(rows) == (8 * MIN, 8 * MIN)


@pytest.mark.parametrize("state", ["lost", "silent", "overflow"])
def test_gap_between_breaks_the_hold_and_counts_in_the_upper_bound_only(state):
    rows = f"0:00 power receiver awake\n6:00 gap serial:bench {state} span_s=120\n10:00 power receiver awake"
    assert bounds(rows) == (0, 10 * MIN)


def test_gap_reaches_back_over_its_span():
    rows = """
        0:00 power receiver awake
        3:00 power receiver awake
        5:00 power receiver awake
        8:00 gap page lost span_s=240
        10:00 power receiver awake
    """
    assert bounds(rows) == (3 * MIN, 10 * MIN)


def test_gap_that_ended_at_a_proof_is_not_between_it_and_the_next():
    rows = """
        0:00 power receiver awake
        5:00 gap page lost span_s=240
        5:00 power receiver awake
        9:00 power receiver awake
    """
    assert bounds(rows) == (4 * MIN, 9 * MIN)


def test_short_gap_after_a_long_one_does_not_hide_it():
    rows = """
        0:00 power receiver awake
        10:00 power receiver awake
        20:00 gap page silent span_s=1080
        20:30 gap serial:bench silent span_s=5
        25:00 power receiver awake
    """
    assert bounds(rows) == (0, 25 * MIN)


def test_a_gap_of_one_readout_does_not_stop_what_another_proved_meanwhile():
    rows = """
        0:00 power receiver awake source=serial:a
        6:00 gap serial:b lost span_s=300
        7:00 lock any no source=serial:b
        10:00 power receiver awake source=serial:a
    """
    assert bounds(rows)[1] == 10 * MIN
    assert clock_of(rows).awake.tolist() == [[0, 10 * MIN]]


@pytest.mark.parametrize("subject", ["serial:a", "serial:a/2", "serial:b"])
@pytest.mark.parametrize("source", ["serial:a", "hand", "page"])
def test_a_gap_ends_what_its_own_readout_and_what_a_person_proved(subject, source):
    rows = f"""
        0:00 power receiver awake source={source}
        6:00 gap {subject} lost span_s=300
        10:00 power receiver awake source={source}
    """
    goes_on = source.startswith("serial:") and subject != source
    assert bounds(rows) == (10 * MIN if goes_on else 0, 10 * MIN)


def test_gap_of_the_navigation_source_says_nothing_of_the_receiver():
    rows = "0:00 power receiver awake\n6:00 gap gnss silent span_s=300\n10:00 power receiver awake"
    assert bounds(rows) == (10 * MIN, 10 * MIN)


def test_power_never_logged_is_inferred():
    clock = clock_of("0:00 channel 31 refused\n20:00 channel 31 refused\n40:00 channel 31 authorised")
    assert clock.basis == "awake"
    assert clock.exposure_s == 40 * MIN


def test_a_night_between_visits_adds_nothing_to_the_lower_bound():
    rows = """
        0:00 power receiver awake
        10:00 power receiver awake
        14:00:00 power receiver awake
        14:05:00 power receiver awake
    """
    assert len(make_job(rows).visits) == 2
    assert bounds(rows) == (15 * MIN, (14 * 60 + 5) * MIN)


# --- received ----------------------------------------------------------------------------------------------------

ON = "0:00 power receiver awake\n20:00 power receiver awake\n40:00 power receiver awake\n"


def received(rows_text, sheet_text=""):
    """Both bounds over 40 minutes awake."""
    return bounds(ON + rows_text, sheet_text)


def test_received_is_proved_per_path_by_lock_yes():
    clock = clock_of(ON + "5:00 lock satellite:east yes\n12:00 lock satellite:east yes")
    assert clock.basis == "lock"
    assert clock.proved.tolist() == [[5 * MIN, 12 * MIN]]


def test_two_paths_do_not_prove_each_other():
    assert received("5:00 lock satellite:east yes\n12:00 lock repeater yes")[0] == 0


def test_received_without_a_lock_row_for_that_path_is_proved_by_a_level_above_the_floor():
    rows = "5:00 signal satellite:east 30 percent\n12:00 signal satellite:east 5 percent"
    assert clock_of(ON + rows).basis == "level"
    assert received(rows) == (7 * MIN, 40 * MIN)
    assert received(rows.replace("5 percent", "0 percent"))[0] == 0


def test_level_of_a_path_with_lock_rows_does_not_count():
    rows = "5:00 signal repeater 30 percent\n12:00 signal repeater 30 percent\n13:00 lock repeater no"
    assert received(rows)[0] == 0
    assert received(rows.replace("lock repeater", "lock satellite"))[0] == 7 * MIN


@pytest.mark.parametrize("proof", ["channel 31 authorised", "tune 31 audio", "audio output playing"])
def test_received_is_else_proved_by_authorised_or_audio(proof):
    assert received(f"1:00 lock satellite:east no\n5:00 {proof}\n12:00 {proof}")[0] == 7 * MIN


@pytest.mark.parametrize("row", ["channel 31 refused", "tune 31 requested", "channel 31 authorised span_s=60"])
def test_received_is_not_proved_by(row):
    assert received(f"1:00 lock satellite:east no\n5:00 {row}\n12:00 {row}")[0] == 0


def test_authorised_proves_nothing_where_any_has_lock_rows():
    assert received("1:00 lock any no\n15:00 channel 31 authorised\n20:00 channel 31 authorised")[0] == 0


def test_received_holds_for_10_min():
    assert RECEIVED_HOLD_S == 600
    assert received("5:00 lock any yes\n15:00 lock any yes")[0] == 10 * MIN
    assert received("5:00 lock any yes\n15:01 lock any yes") == (0, 40 * MIN)


def test_received_holds_like_awake_not_over_a_no_nor_over_a_gap():
    assert received("5:00 lock any yes\n7:00 lock any no\n9:00 lock any yes")[0] == 0
    assert received("5:00 lock any yes\n7:00 gap page lost span_s=30\n9:00 lock any yes")[0] == 0


def test_received_holds_only_while_awake():
    rows = "5:00 lock any yes\n7:00 power receiver standby\n9:00 lock any yes\n13:00 lock any yes"
    assert received(rows) == (4 * MIN, 38 * MIN)


def test_any_means_at_least_one_path():
    assert received("5:00 lock any yes\n9:00 lock any yes\n9:00 lock satellite:east no")[0] == 4 * MIN


def test_any_no_overrides():
    rows = "5:00 lock satellite:east yes\n7:00 lock any no\n9:00 lock satellite:east yes"
    assert received(rows)[0] == 0


def test_a_no_for_one_path_says_nothing_of_another():
    rows = """
        5:00 lock satellite:east yes
        6:00 lock satellite:west no
        7:00 lock repeater no
        9:00 lock satellite:east yes
    """
    assert received(rows) == (4 * MIN, 40 * MIN)
    only_no = "5:00 lock satellite:east no\n9:00 lock satellite:east no"
    assert received(only_no + "\n5:00 lock repeater no\n9:00 lock repeater no") == (0, 40 * MIN)


def test_all_paths_denied_count_in_neither_bound():
    rows = "".join(
        f"{minute}:00 lock {path} no\n"
        for minute in (5, 9)
        for path in ("satellite:east", "satellite:west", "repeater")
    )
    assert received(rows) == (0, 36 * MIN)
    assert received("5:00 lock any no\n9:00 lock any no") == (0, 36 * MIN)


def test_a_path_proved_throughout_outweighs_general_denials_inside_it():
    rows = """
        5:00 lock satellite:east yes
        6:00 lock satellite no
        6:00 lock repeater no
        9:00 lock satellite no
        9:00 lock repeater no
        11:00 lock satellite:east yes
    """
    assert received(rows) == (6 * MIN, 40 * MIN)


def test_a_denial_holds_for_10_min_and_not_over_a_yes():
    assert received("5:00 lock any no\n15:01 lock any no") == (0, 40 * MIN)
    assert received("5:00 lock any no\n7:00 lock satellite:east yes\n9:00 lock any no") == (0, 40 * MIN)


def test_no_lock_and_no_level_anywhere_awake_counts():
    clock = clock_of(ON)
    assert clock.basis == "awake"
    assert clock.exposure_s == 40 * MIN


@pytest.mark.parametrize("unit", ["dB", "dB-Hz"])
def test_for_db_scales_without_level_floor_a_level_alone_proves_nothing(unit):
    rows = f"5:00 signal any 11 {unit}\n9:00 signal any 11 {unit}"
    assert clock_of(ON + rows).basis == "awake"
    assert clock_of(rows).exposure_s == 0
    assert clock_of(ON + rows, FLOOR).basis == "level"
    assert received(rows, FLOOR)[0] == 4 * MIN
    assert received(rows.replace(" 11 ", " 2 "), FLOOR)[0] == 0


# --- reset, ring, arrivals ---------------------------------------------------------------------------------------


def test_reset_takes_the_next_30_s_out_of_both_bounds():
    assert RESET_DEAD_S == 30
    assert bounds(ON + "5:00 reset receiver seen") == (40 * MIN - 30, 40 * MIN - 30)


def test_two_resets_close_together_are_not_counted_twice():
    assert bounds(ON + "5:00 reset receiver seen\n5:20 reset receiver seen") == (40 * MIN - 50, 40 * MIN - 50)


def test_reset_keeps_the_entitlements_already_held():
    """The clock goes on from where it stood, and a channel that came before the reset counts as held."""
    job = make_job(ON + "2:00 channel 31 refused\n4:00 channel 31 authorised\n5:00 reset receiver seen")
    clock = exposure_clock(job)
    assert clock.lower_s([4 * MIN, 5 * MIN, 6 * MIN]).tolist() == [4 * MIN, 5 * MIN, 6 * MIN - 30]
    found = estimate_entitlement(job, clock)
    assert [(channel.channel, channel.state) for channel in found.channels] == [(31, "authorised")]


def test_ring_open_counts_in_the_upper_bound_only():
    assert bounds(ON + "10:00 ring bus open\n25:00 ring bus closed") == (25 * MIN, 40 * MIN)
    assert bounds(ON + "10:00 ring bus open") == (10 * MIN, 40 * MIN)


def test_arrival_lies_between_lower_bound_at_last_refused_and_upper_bound_at_first_authorised():
    clock = clock_of("""
        0:00  account service confirmed
        0:00  power receiver awake
        10:00 channel 31 refused
        50:00 channel 31 authorised
        55:00 power receiver awake
    """)
    assert (clock.lower_s(10 * MIN), clock.upper_s(50 * MIN)) == (10 * MIN, 50 * MIN)
    assert clock.lower_s(50 * MIN) == 10 * MIN  # 40 min without a proof are not proved
    assert clock.lower_s(55 * MIN) == 15 * MIN


def test_the_bounds_take_arrays_and_stand_still_outside_the_log():
    clock = clock_of(ON)
    assert clock.lower_s([[-5, 0], [60, 1e9]]).tolist() == [[0, 0], [60, 40 * MIN]]


# --- the whole, against a slow and simple second implementation --------------------------------------------------

CELL_S = 150
CELLS = 40
ROWS = [
    "power receiver awake",
    "power receiver off",
    "power receiver standby",
    "lock any yes",
    "lock any no",
    "lock satellite:east yes",
    "lock satellite:east no",
    "lock satellite:west no",
    "lock satellite:west yes",
    "lock repeater no",
    "lock repeater yes",
    "signal satellite 30 percent",
    "signal satellite 0 percent",
    "signal satellite:east 30 percent",
    "signal satellite:east 0 percent",
    "channel 31 authorised",
    "channel 31 refused",
    "audio output playing",
    "account service confirmed",
    "account service rejected",
    "account service lapsed",
    "account service resend-confirmed",
    "swap receiver same",
    "ring bus open",
    "ring bus closed",
    "gap page lost span_s=300",
    "gap gnss lost span_s=300",
    "note - nothing",
]
some_rows = st.lists(st.tuples(st.integers(0, CELLS - 1), st.sampled_from(ROWS)), max_size=40)


def job_of(drawn):
    """A job from (cell, row) pairs, no two of them equal in time, kind and subject."""
    kept = {(cell, *row.split()[:2]): f"{cell * CELL_S} {row}" for cell, row in drawn}
    return make_job("\n".join(kept.values())), [line.split() for line in kept.values()]


class Slow:
    """Both bounds cell by cell, straight from the wording of the contract."""

    def __init__(self, rows):
        rows = sorted(((float(t), kind, subject, value) for t, kind, subject, value, *_ in rows), key=lambda r: r[0])
        first = rows[0][0] if rows else 0.0
        self.all = [(t - first, kind, subject, value) for t, kind, subject, value in rows]
        self.end = max((row[0] for row in self.all), default=0.0)
        self.start = max(
            (t for t, kind, subject, _ in self.all if (kind, subject) == ("swap", "receiver")), default=0
        )
        self.rows = [row for row in self.all if row[0] >= self.start]
        confirmed = [t for t, kind, _, value in self.rows if (kind, value) == ("account", "confirmed")]
        self.origin = confirmed[0] if confirmed else self.start

    def held(self, yes, no, hold, cell):
        """Is the cell between two neighbouring proofs close enough, with nothing contrary between?"""
        before = [t for t in yes if t <= cell]
        after = [t for t in yes if t > cell]
        if not before or not after:
            return False
        left, right = max(before), min(after)
        gaps = [(t - 300, t) for t, kind, subject, _ in self.all if kind == "gap" and subject != "gnss"]
        broken = any(left <= t < right for t in no) or any(a < right and b > left for a, b in gaps)
        return right - left <= hold and not broken

    def times(self, wanted):
        return [row[0] for row in self.rows if wanted(*row[1:])]

    def paths(self):
        found = {}
        for path in ("any", "satellite", "satellite:east", "satellite:west", "repeater"):
            for kind, yes in (("lock", "yes"), ("signal", "30")):
                rows = [row for row in self.rows if row[1:3] == (kind, path)]
                if rows:
                    found[path] = [[r[0] for r in rows if r[3] == yes], [r[0] for r in rows if r[3] != yes]]
                    break
        heard = self.times(lambda kind, _, value: (kind, value) in (("channel", "authorised"), ("audio", "playing")))
        found.setdefault("any", [heard, []])
        return found

    def awake(self, cell):
        proofs = self.times(
            lambda kind, _, value: (
                (kind, value) in (("power", "awake"), ("lock", "yes"), ("signal", "30"), ("audio", "playing"))
                or kind == "channel"
            )
        )
        off = self.times(lambda kind, _, value: kind == "power" and value != "awake")
        last_off = max((t for t in off if t <= cell), default=None)
        asleep = last_off is not None and not any(last_off < t <= cell for t in proofs)
        return self.held(proofs, off, 1800, cell), not asleep

    def received(self, cell):
        paths = self.paths()
        if not any(row[1] in ("lock", "signal") for row in self.rows):
            return True, True
        proved = any(self.held(yes, no + paths["any"][1], 600, cell) for yes, no in paths.values())
        every_yes = [t for yes, _ in paths.values() for t in yes]
        denied = {name: self.held(no, every_yes, 600, cell) for name, (_, no) in paths.items()}
        named = [denied[name] for name in denied if name.startswith("satellite:")]
        satellites = denied.get("satellite", False) or (len(named) > 1 and all(named))
        return proved, proved or not (denied["any"] or (satellites and denied.get("repeater", False)))

    def counted(self, cell):
        stop, ring_open = False, False
        for t, kind, subject, value in self.all:
            if t > cell:
                break
            if kind == "account" and value in ("rejected", "lapsed", "confirmed"):
                stop = value != "confirmed"
            if (kind, subject) == ("ring", "bus"):
                ring_open = value == "open"
        return cell >= self.origin and not stop, ring_open

    def bounds(self):
        low = high = 0
        for cell in range(0, int(self.end), CELL_S):
            counts, ring_open = self.counted(cell)
            (awake, maybe_awake), (got, maybe_got) = self.awake(cell), self.received(cell)
            low += CELL_S * (counts and awake and got and not ring_open)
            high += CELL_S * (counts and maybe_awake and maybe_got)
        return low, high


@given(some_rows)
def test_both_bounds_agree_with_the_slow_implementation(drawn):
    job, rows = job_of(drawn)
    clock, slow = exposure_clock(job), Slow(rows)
    assert clock.origin_s == slow.origin
    assert (clock.exposure_s, clock.exposure_max_s) == slow.bounds()


@given(some_rows, st.lists(st.integers(0, CELLS - 1), max_size=3))
def test_lower_never_exceeds_upper_nor_upper_the_time_since_the_origin_and_neither_falls(drawn, resets):
    job, _ = job_of(drawn + [(cell, "reset receiver seen") for cell in resets])
    clock = exposure_clock(job)
    t_s = np.linspace(-10, job.end_s + 10, 997)
    low, high = clock.lower_s(t_s), clock.upper_s(t_s)
    assert (low <= high + 1e-9).all()
    assert (np.diff(low) >= 0).all()
    assert (np.diff(high) >= 0).all()
    assert (high <= np.maximum(t_s - clock.origin_s, 0) + 1e-9).all()
    assert low[-1] == pytest.approx(clock.exposure_s)
    assert high[-1] == pytest.approx(clock.exposure_max_s)
