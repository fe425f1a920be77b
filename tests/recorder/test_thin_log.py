"""The thinned log against the whole one: the same clock, from few rows, however the log came about.

The reference is `exposure_clock` over every row, which has tests of its own.
"""

import random
from functools import cache
from itertools import count
from pathlib import Path
from types import MappingProxyType

import pytest

from satdiag.entitlement.channels import checks_by_channel, history_of
from satdiag.exposure import exposure_clock
from satdiag.job import HEADER, Job
from satdiag.opening import open_job
from satdiag.recorder.clock import time_text
from satdiag.recorder.thin_log import Exposure, ThinLog
from satdiag.recorder.thinning import RECENT_S, REPEAT_S
from satdiag.rows import Row
from satdiag.sheet import parse_sheet
from satdiag.vocabulary import AWAKE_HOLD_S, RECEIVED_HOLD_S
from tests.helpers import make_rows

SAMPLES = sorted(path for path in (Path(__file__).parents[2] / "sample_logs").iterdir() if path.is_dir())
SHEET = parse_sheet('[job]\nid = "test-job"\n[receiver]\nlevel_scale = "dB"\nlevel_floor = 2.0\n')
START_NS = 1_935_583_200 * 10**9
WITHIN_S = 1e-5


@cache
def opened(folder):
    """A sample log, read once for all tests."""
    return open_job(folder)


def whole(rows, sheet=SHEET):
    """A job of rows that are sound."""
    return Job(sheet, HEADER, tuple(rows), MappingProxyType({}))


def exposure_of(rows, sheet=SHEET):
    """What the whole log says."""
    clock = exposure_clock(whole(rows, sheet))
    return Exposure(clock.exposure_s, clock.exposure_max_s)


def thinned(rows, sheet=SHEET, batch=7, **more):
    """The rows, taken a few at a time."""
    thin = ThinLog(sheet, **more)
    for start in range(0, len(rows), batch):
        thin.add(rows[start : start + batch])
    return thin


def assert_same(thin, rows, sheet=SHEET, within_s=WITHIN_S):
    """The lower bound is that of the whole log, the upper one not below it."""
    found, expected = thin.exposure(), exposure_of(rows, sheet)
    assert found.lower_s == pytest.approx(expected.lower_s, abs=within_s)
    assert found.upper_s >= expected.upper_s - within_s


class Run:
    """Makes rows of one recorder run. `step_s`: how far its wall clock leads."""

    def __init__(self, name="r1"):
        self.name, self.step_s, self._number = name, 0.0, count(1)

    def row(self, t_s, words, source="serial:bench-lines", span_s=""):
        kind, subject, value, *unit = words.split()
        t_us = round(t_s * 1e6)
        wall = time_text(START_NS + (t_us + round(self.step_s * 1e6)) * 1000)
        elapsed = f"{t_us / 1e6:.6f}"
        identifier = f"{self.name}-{next(self._number)}"
        return Row(wall, kind, subject, value, "".join(unit), source, "", span_s, self.name, elapsed, identifier)


def test_the_steps_of_thinning_are_shorter_than_the_hold_times():
    assert REPEAT_S < RECEIVED_HOLD_S < AWAKE_HOLD_S


# --- sample logs -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("folder", SAMPLES, ids=lambda path: path.name)
def test_sample_logs_at_several_cut_times(folder):
    job, taken = opened(folder), 0
    thin = ThinLog(job.sheet)
    for part in (0.3, 0.7, 1.0):
        cut = round(part * len(job.rows))
        thin.add(job.rows[taken:cut])
        taken = cut
        assert_same(thin, job.rows[:cut], job.sheet)


@pytest.mark.parametrize("folder", SAMPLES, ids=lambda path: path.name)
def test_a_job_that_is_taken_up_again(folder):
    job = opened(folder)
    half = len(job.rows) // 2
    thin = ThinLog.of_job(whole(job.rows[:half], job.sheet))
    thin.add(job.rows[half:])
    assert_same(thin, job.rows, job.sheet)


@pytest.mark.parametrize("folder", SAMPLES, ids=lambda path: path.name)
def test_channels_and_levels_are_those_of_the_whole_log(folder):
    job = opened(folder)
    clock = exposure_clock(job)
    checks = checks_by_channel(job, clock)
    states = [history_of(channel, seen, clock).state for channel, seen in checks.items()]
    for thin in (thinned(job.rows, job.sheet), ThinLog.of_job(job)):
        counts = thin.channels()
        assert counts == (states.count("authorised"), states.count("refused"), len(states) - sum(counts[:2]))
        latest = job.select("signal", readable=False).drop_duplicates("subject", keep="last")
        expected = {row.subject: (row.value, row.unit) for row in latest.itertuples()}
        assert {level.path: (level.value, level.unit) for level in thin.levels()} == expected


# --- dense logs --------------------------------------------------------------------------------------------------


def dense_log(seed, hours, per_s=20):
    """Several readouts, each about once a second, with reception coming and going every few minutes."""
    chance, run = random.Random(seed), Run()
    rows = [run.row(0.0, "account service confirmed", "hand")]
    heard = {"satellite:east": True, "satellite:west": True, "repeater": False}
    awake, change_s, t_s = True, 30.0, 0.0
    while t_s < hours * 3600:
        t_s += chance.expovariate(per_s)
        if t_s > change_s:
            change_s = t_s + chance.expovariate(1 / 400)
            path = chance.choice(list(heard))
            heard[path] = not heard[path]
            awake = chance.random() < 0.8
            if chance.random() < 0.2:
                rows.append(run.row(t_s, "reset receiver seen"))
            if chance.random() < 0.15:
                span_s = chance.uniform(1, 60)
                rows.append(run.row(t_s + 0.01, "gap serial:volt-amp-meter lost", "recorder", f"{span_s:.3f}"))
            t_s += 0.02
        path, kind = chance.choice(list(heard)), chance.random()
        if kind < 0.35:
            rows.append(run.row(t_s, f"lock {path} {'yes' if heard[path] and awake else 'no'}"))
        elif kind < 0.7:
            level = chance.gauss(11 if heard[path] and awake else 1, 0.4)
            rows.append(run.row(t_s, f"signal {path} {level:.1f} dB"))
        elif kind < 0.8:
            rows.append(run.row(t_s, f"supply receiver {chance.gauss(12.6, 0.1):.2f} V"))
        elif kind < 0.9:
            rows.append(run.row(t_s, f"power receiver {'awake' if awake else 'standby'}"))
        else:
            state = "authorised" if chance.random() < t_s / 7200 else "refused"
            rows.append(run.row(t_s, f"channel {chance.randint(1, 150)} {state if awake else 'no-signal'}"))
    return rows


@pytest.mark.parametrize("hours", [0.75, pytest.param(2, marks=pytest.mark.long)])
def test_twenty_rows_a_second_are_kept_in_a_few(hours):
    rows = dense_log(seed=7, hours=hours)
    assert len(rows) > 65_000 * hours
    third, thin = len(rows) // 3, ThinLog(SHEET)
    thin.add(rows[:third])
    assert_same(thin, rows[:third])
    thin.add(rows[third:])
    assert_same(thin, rows)
    recent = sum(float(row.elapsed_s) >= float(rows[-1].elapsed_s) - RECENT_S for row in rows)
    assert recent <= len(thin) < recent + 1500 * hours
    assert thin.exposure().lower_s > 600


def test_a_day_of_a_steady_readout_is_bounded():
    run = Run()
    words = [
        "power receiver awake",
        "lock any yes",
        "lock satellite:east yes",
        "lock repeater no",
        "signal satellite:east 11.2 dB",
        "signal repeater 0.4 dB",
        "supply receiver 12.6 V",
        "channel 31 authorised",
    ]
    rows = [run.row(2.0 * n, words[n % len(words)]) for n in range(43_200)]
    thin = thinned(rows, batch=500)
    streams, recent = len(words) - 1, RECENT_S / 2.0
    assert len(thin) <= recent + 2 + streams * (86_400 / (REPEAT_S - 16) + 2)
    assert thin.exposure() == pytest.approx(exposure_of(rows))


# --- any log -----------------------------------------------------------------------------------------------------

WORDS = (
    "power receiver awake",
    "power receiver standby",
    "power receiver off",
    "power receiver unreadable",
    "lock any yes",
    "lock any no",
    "lock satellite:east yes",
    "lock satellite:east no",
    "lock satellite:west no",
    "lock repeater no",
    "lock repeater yes",
    "signal repeater 9 dB",
    "signal repeater 2 dB",
    "signal any 9 dB",
    "signal any 1.5 dB",
    "signal satellite 9 dB",
    "signal satellite 0 dB",
    "channel 5 authorised",
    "channel 5 refused",
    "channel 6 authorised",
    "channel 6 missing",
    "tune 5 requested",
    "tune 5 audio",
    "audio output playing",
    "audio output muted",
    "ring bus open",
    "ring bus closed",
    "reset receiver seen",
    "account service confirmed",
    "account service rejected",
    "account service resend-confirmed",
    "swap receiver same",
    "swap lead better",
    "note - words",
)


def any_log(seed, rows_wanted=400, rare=True, mean_step_s=25.0):
    """Whatever may be in a log, in stretches in which a few rows repeat each other, with gaps that reach back."""
    chance, run = random.Random(seed), Run()
    frequent = [words for words in WORDS if words.split()[0] not in ("account", "swap", "ring", "reset", "note")]
    rows, t_s, using = [], 0.0, ["note - begin"]
    while len(rows) < rows_wanted:
        if chance.random() < 0.04:
            using = chance.sample(frequent, chance.randint(1, 5))
            mean_s = chance.choice([0.2, 1.0, 1.0]) * mean_step_s
        if not rows:
            mean_s = mean_step_s
        t_s += chance.choice([0.0, round(chance.expovariate(1 / mean_s), 3)])
        if chance.random() < 0.02:
            span_s = round(chance.expovariate(1 / 40), 3)
            span_s = min(span_s, RECENT_S - 1)
            rows.append(
                run.row(
                    t_s,
                    f"gap {chance.choice(['serial:bench-lines', 'serial:other', 'gnss', 'x'])} silent",
                    span_s=str(span_s),
                )
            )
        elif rare and chance.random() < 0.03:
            rows.append(run.row(t_s, chance.choice(WORDS), chance.choice(["serial:bench-lines", "serial:other"])))
        else:
            source = chance.choice(["serial:bench-lines", "serial:bench-lines", "serial:other", "hand"])
            span_s = "30" if chance.random() < 0.03 else ""
            rows.append(run.row(t_s, chance.choice(using), source, span_s))
    return rows


def assert_same_all_along(rows, seed, at_once=200, **more):
    """However many rows are taken at a time, and after each time."""
    chance, thin, taken = random.Random(seed), ThinLog(SHEET, **more), 0
    while taken < len(rows):
        until = min(len(rows), taken + chance.randint(1, at_once))
        thin.add(rows[taken:until])
        taken = until
        assert_same(thin, rows[:taken])
    return thin


@pytest.mark.parametrize("seed", range(10))
def test_any_log_gives_the_bounds_of_the_whole_log(seed):
    assert_same_all_along(any_log(seed), seed)


@pytest.mark.long
@pytest.mark.parametrize("mean_step_s", [2.0, 8.0, 25.0, 80.0])
@pytest.mark.parametrize("seed", range(100, 150))
def test_any_log_at_length(seed, mean_step_s):
    assert_same_all_along(any_log(seed, 1000, mean_step_s=mean_step_s), seed)


@pytest.mark.parametrize("seed", range(20, 25))
def test_rows_that_come_late(seed):
    chance = random.Random(seed)
    rows = any_log(seed, mean_step_s=8.0)
    late_s = [float(row.elapsed_s) + chance.uniform(0, 100) for row in rows]
    rows = [rows[n] for n in sorted(range(len(rows)), key=late_s.__getitem__)]
    assert_same_all_along([row for row in rows if row.kind != "gap"], seed)


@pytest.mark.parametrize("seed", range(40, 46))
def test_rows_from_hand_withdrawn_at_any_time_and_others_soon(seed):
    chance, run, found = random.Random(seed), Run("w"), []
    rows = any_log(seed, mean_step_s=8.0)
    for row in rows:
        found.append(row)
        t_s = float(row.elapsed_s)
        able = [old for old in found if old.id and (old.source == "hand" or t_s - float(old.elapsed_s) < 100)]
        if able and chance.random() < 0.08:
            taken_back = run.row(t_s, f"withdraw row {chance.choice(able).id}", "hand")
            found.append(taken_back._replace(run="r1"))
    assert_same_all_along(found, seed)


@pytest.mark.parametrize(
    ("ends", "begins"),
    [("ring bus open", "ring bus closed"), ("account service lapsed", "account service confirmed")],
)
def test_two_sources_that_say_different_things(ends, begins):
    run = Run()
    rows = [run.row(10.0 * n, "power receiver awake", "serial:x") for n in range(400)]
    said = ((0, begins, "a"), (805, ends, "a"), (905, begins, "b"), (955, ends, "a"), (1005, ends, "a"))
    rows += [run.row(t_s, words, f"serial:{source}") for t_s, words, source in said]
    rows.sort(key=lambda row: float(row.elapsed_s))
    assert_same(thinned(rows), rows)
    assert exposure_of(rows).lower_s == pytest.approx(855)


def test_nothing_rests_on_a_row_from_hand():
    run = Run()
    rows = [run.row(10.0 * n, "power receiver awake", "hand") for n in range(20)]
    rows.append(run.row(1000, "power receiver awake"))
    thin = thinned(rows)
    rows += [run.row(1001, f"withdraw row {rows[n].id}", "hand") for n in (0, 1, 19)]
    thin.add(rows[-3:])
    assert_same(thin, rows)
    assert thin.exposure().lower_s == pytest.approx(980)


def test_nothing_rests_on_a_channel_marked_from_memory():
    run = Run()
    rows = [run.row(t_s, "channel 5 authorised", span_s=span_s) for t_s, span_s in ((0, ""), (100, ""), (200, "60"))]
    rows.append(run.row(1000, "note - words"))
    thin = thinned(rows)
    assert_same(thin, rows)
    assert thin.exposure().lower_s == pytest.approx(100)


def test_a_clock_that_is_set_and_a_second_run():
    first, second, rows = Run("r1"), Run("r2"), [make_rows("0:00 account service confirmed")[0]]
    for n in range(2000):
        first.step_s = 0.0 if n < 600 else 95.25
        rows.append(first.row(2.0 * n, "power receiver awake"))
    second.step_s = 4800.0
    rows += [second.row(2.0 * n, "power receiver awake") for n in range(700)]
    thin = thinned(rows, batch=100)
    assert_same(thin, rows, within_s=2e-3)  # the run's start is kept to the millisecond
    assert len(thin) < 400


@pytest.mark.parametrize(("source", "lost_s"), [("serial:bench-lines", 39 * 60), ("serial:other", 0)])
def test_a_gap_that_is_written_piece_by_piece_keeps_few_rows(source, lost_s):
    run = Run()
    rows = [run.row(0.5 * n, "lock any yes") for n in range(20_000)]
    pieces = [run.row(3000.0 + 60 * n, f"gap {source} lost", "recorder", "60.000") for n in range(1, 40)]
    rows = sorted([*rows, *pieces], key=lambda row: float(row.elapsed_s))
    thin = thinned(rows)
    assert_same(thin, rows)
    assert thin.exposure().lower_s == pytest.approx(20_000 * 0.5 - 0.5 - lost_s, abs=1)
    assert len(thin) < RECENT_S * 2 + len(pieces) + 10_000 / REPEAT_S + 20


# --- logs that cannot be thinned ---------------------------------------------------------------------------------


def flickering_log(seed, hours, mean_step_s=1.0):
    """A level that crosses its floor all the time."""
    chance, run, t_s = random.Random(seed), Run(), 0.0
    rows = [run.row(0.0, "account service confirmed", "hand")]
    while t_s < hours * 3600:
        t_s += chance.expovariate(1 / mean_step_s)
        rows.append(run.row(t_s, f"signal satellite:east {chance.gauss(2.4, 1):.1f} dB"))
        if chance.random() < 0.01:
            rows.append(
                run.row(t_s, chance.choice(["power receiver awake", "lock repeater no", "lock repeater yes"]))
            )
    return rows


def test_a_level_that_flickers_for_hours_is_folded():
    rows = flickering_log(seed=3, hours=8, mean_step_s=4.0)
    thin = assert_same_all_along(rows, 3, at_once=1500, fold_over=1200)
    assert len(rows) > 7000
    assert len(thin) < 1200 + 2 * AWAKE_HOLD_S / 4.0
    assert thin.exposure().lower_s > 600
    swap = make_rows("0:00 swap receiver same")[0]._replace(time=rows[-1].time)
    thin.add([swap])
    assert thin.exposure().lower_s == exposure_of([*rows, swap]).lower_s == 0


def test_folding_keeps_the_account_and_what_came_from_hand():
    rows, run = flickering_log(seed=4, hours=3, mean_step_s=4.0), Run("more")
    for t_s, value in ((600, "submitted"), (700, "rejected"), (3000, "confirmed"), (5000, "lapsed"), (5100, "none")):
        rows.append(run.row(t_s, f"account service {value}")._replace(run="r1"))
    rows += [run.row(100.0 * n, "lock repeater yes", "hand")._replace(run="r1") for n in range(20, 40)]
    rows.sort(key=lambda row: float(row.elapsed_s))
    thin = assert_same_all_along(rows, 4, at_once=400, fold_over=300)
    by_hand = [row for row in rows if row.source == "hand" and row.kind == "lock"]
    taken_back = [run.row(10_900, f"withdraw row {row.id}", "hand")._replace(run="r1") for row in by_hand]
    thin.add(taken_back)
    assert thin.exposure().lower_s <= exposure_of([*rows, *taken_back]).lower_s < exposure_of(rows).lower_s


@pytest.mark.parametrize("seed", range(60, 64))
def test_folding_changes_nothing(seed):
    rows = [row._replace(source="serial:x") for row in any_log(seed, 900) if row.kind != "gap"]
    # A path that is named for the first time after folding changes what the folded rows came to, so name all first.
    paths = [Run("p").row(0.0, words)._replace(run="r1") for words in WORDS if words.split()[0] in ("lock", "signal")]
    rows = [*{(row.kind, row.subject): row for row in paths}.values(), *rows]
    thin = assert_same_all_along(rows, seed, fold_over=100)
    assert len(thin) < len(thinned(rows))


def test_what_becomes_known_of_folded_time_only_makes_the_lower_bound_smaller():
    rows = flickering_log(seed=5, hours=4, mean_step_s=4.0)
    for n, words in ((2500, "power receiver off"), (2500, "lock any no"), (1000, "account service rejected")):
        thin = thinned(rows, fold_over=800)
        late = Run("late").row(float(rows[n].elapsed_s), words)._replace(run="r1")
        thin.add([late])
        assert thin.exposure().lower_s <= exposure_of([*rows, late]).lower_s
    thin = thinned(rows, fold_over=800)
    lock = Run("late").row(4 * 3600.0 + 10, "lock satellite:east yes")._replace(run="r1")
    thin.add([lock])
    assert thin.exposure().lower_s <= exposure_of([*rows, lock]).lower_s


def test_a_copy_does_not_change():
    rows = any_log(seed=1, mean_step_s=25.0)
    thin = thinned(rows[:200])
    twin, before = thin.copy(), (thin.exposure(), thin.channels(), thin.levels(), len(thin))
    thin.add(rows[200:])
    assert (twin.exposure(), twin.channels(), twin.levels(), len(twin)) == before
    assert thin.exposure() != before[0]
    assert_same(twin, rows[:200])


# --- channels and levels -----------------------------------------------------------------------------------------


def test_withdrawn_checks_and_levels_do_not_count():
    run = Run()
    rows = [
        run.row(1, "channel 31 refused", "hand"),
        run.row(2, "channel 31 authorised", "hand"),
        run.row(3, "channel 40 authorised", "hand"),
        run.row(4, "signal any 7 dB", "hand"),
        run.row(5, "signal any 70 dB", "hand"),
    ]
    thin = thinned(rows)
    assert thin.channels() == (2, 0, 0)
    thin.add([run.row(6, f"withdraw row {rows[n].id}", "hand") for n in (1, 2, 4)])
    assert thin.channels() == (0, 1, 0)
    assert [(level.path, level.value, level.elapsed_s) for level in thin.levels()] == [("any", "7", "4.000000")]


def test_a_swapped_receiver_has_no_channel_states_yet():
    run = Run()
    thin = thinned([run.row(1, "channel 31 refused"), run.row(2, "channel 32 authorised")])
    swap = run.row(3, "swap receiver better", "hand")
    thin.add([swap])
    assert thin.channels() == (0, 0, 2)
    thin.add([run.row(4, "tune 31 audio")])
    assert thin.channels() == (1, 0, 1)
    thin.add([run.row(5, f"withdraw row {swap.id}", "hand")])
    assert thin.channels() == (2, 0, 0)
