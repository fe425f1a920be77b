"""What was received: each rule by a small job, and all of them against a slow count, cell by cell."""

import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from satdiag.language import LANGUAGES, speaking
from satdiag.signal.estimate import estimate_signal
from satdiag.signal.pieces import LAST_READING_S
from satdiag.vocabulary import RECEIVED_HOLD_S, RESET_DEAD_S
from tests.helpers import make_job

FLOOR = "[receiver]\nlevel_floor = 0.0\n"


def signal_of(rows, sheet=""):
    return estimate_signal(make_job(rows, sheet))


def east_of(rows, sheet=FLOOR):
    return signal_of(rows, sheet).paths["satellite:east"]


def levels(values, step_s=10, unit="dB", path="satellite:east", start_s=0):
    """One level row every `step_s`."""
    return "\n".join(
        f"{(start_s + n * step_s) // 60}:{(start_s + n * step_s) % 60:02d} signal {path} {value} {unit}"
        for n, value in enumerate(values)
    )


# --- shares ------------------------------------------------------------------------------------------------------


def test_clear_shadowed_blocked():
    east = east_of(levels([12, 12, 12, 12, 5, 5, 0, 12, 12, 12]))
    assert east.unit == "dB"
    assert east.clear_level == 12.0
    assert (east.share.clear, east.share.shadowed, east.share.blocked) == pytest.approx((0.7, 0.2, 0.1))
    for part in ("clear", "shadowed", "blocked"):
        low, high = getattr(east.share_90, part)
        assert 0.0 <= low <= getattr(east.share, part) <= high <= 1.0
    assert east.observed_s == pytest.approx(100.0)


def test_lock_decides_over_level():
    rows = """
        0:00 signal satellite:east 12 dB
        0:00 lock satellite:east yes
        0:30 lock satellite:east no
        0:40 lock satellite:east yes
        1:00 power receiver awake
    """
    east = east_of(rows, "")
    assert east.share.blocked == pytest.approx(10 / 60)
    assert east.share.clear == pytest.approx(50 / 60)
    assert east.dropouts_per_h == pytest.approx(60.0)
    assert east.mean_dropout_s == pytest.approx(10.0)
    assert east.dropouts_per_h_90[0] <= 60.0 <= east.dropouts_per_h_90[1]
    assert east.mean_dropout_s_90[0] <= 10.0 <= east.mean_dropout_s_90[1]


def test_lock_without_level_knows_blocked_alone():
    found = signal_of(
        "0:00 lock repeater yes\n1:00 lock repeater no\n1:30 lock repeater yes\n2:00 power receiver awake"
    )
    repeater = found.paths["repeater"]
    assert repeater.share.blocked == pytest.approx(30 / 135)  # the last reading speaks as long as readings are apart
    assert (repeater.share.clear, repeater.share.shadowed) == (None, None)
    assert (repeater.unit, repeater.clear_level) == (None, None)
    assert "not clear from shadowed" in found.could_not[0]
    assert {stretch.state for stretch in found.timeline} == {"received", "blocked"}


def test_a_level_in_db_without_a_floor_proves_nothing():
    found = signal_of(levels([12, 11, 3, 12]))
    east = found.paths["satellite:east"]
    assert east.share is None
    assert east.dropouts_per_h is None
    assert east.clear_level == 12.0
    assert "do not tell received from noise" in found.could_not[0]
    assert found.any_path_share is None
    assert found.timeline == ()


@pytest.mark.parametrize(("unit", "values"), [("percent", [80, 75, 30, 0]), ("bars/5", [4, 4, 2, 0])])
def test_an_ordinal_scale_has_its_floor_and_is_never_compared_in_db(unit, values):
    found = signal_of(levels(values, unit=unit))
    east = found.paths["satellite:east"]
    assert (east.share.clear, east.share.shadowed, east.share.blocked) == pytest.approx((0.5, 0.25, 0.25))
    assert (east.expected_level, east.deficit, east.deficit_90, east.deficit_db) == (None,) * 4
    assert "only be put in order" in found.could_not[0]


def test_never_received():
    east = east_of(levels([0, 0, 0, 0]))
    assert (east.share.clear, east.share.shadowed, east.share.blocked) == (0.0, 0.0, 1.0)
    assert east.clear_level is None
    assert (east.dropouts_per_h, east.mean_dropout_s, east.mean_dropout_s_90) == (0.0, None, None)
    assert east.share_90.blocked[1] == 1.0
    assert east.share_90.blocked[0] < 0.7


def test_a_drop_out_at_the_end_counts_its_time_and_has_no_end():
    east = east_of(levels([12] * 3 + [0] * 2 + [12] * 3 + [0] * 4))
    assert east.dropouts_per_h == pytest.approx(2 * 3600 / 120)
    assert east.mean_dropout_s == pytest.approx(60.0)  # 20 s + 40 s blocked, one end seen


def test_nothing_logged():
    found = signal_of("0:00 power receiver awake")
    assert found.paths == {}
    assert found.any_path_share is None
    assert found.could_not == ("no lock and no level rows: what was received is unknown",)
    assert estimate_signal(make_job("")).paths == {}


def test_unreadable_is_unknown_not_blocked():
    east = east_of(levels([12, 12]) + "\n0:20 signal satellite:east unreadable\n" + levels([12, 12], start_s=60))
    assert east.share.clear == 1.0
    assert east.observed_s == pytest.approx(40.0)
    only = signal_of("0:00 signal satellite:east unreadable\n0:10 lock satellite:east unreadable", FLOOR)
    assert only.paths["satellite:east"].share is None
    assert "no reading that could be used" in only.could_not[0]


def test_a_reading_stands_for_the_hold_time_at_most():
    east = east_of("0:00 signal satellite:east 12 dB\n30:00 signal satellite:east 12 dB\n31:00 power receiver awake")
    assert east.observed_s == pytest.approx(RECEIVED_HOLD_S + 60.0)


def test_the_last_reading_speaks_for_a_moment():
    assert east_of("0:00 signal satellite:east 12 dB").observed_s == LAST_READING_S
    assert east_of(levels([12, 12, 12], step_s=2)).observed_s == pytest.approx(6.0)


def test_a_reading_may_cover_the_time_before_it():
    east = east_of("5:00 signal satellite:east 12 dB span_s=120\n6:00 power receiver awake")
    assert east.observed_s == pytest.approx(180.0)


# --- when nothing counts -----------------------------------------------------------------------------------------


def test_sleep_is_not_counted():
    rows = (
        levels([12] * 3) + "\n0:30 power receiver standby\n" + levels([0] * 3, start_s=40) + "\n2:00 lock any yes\n"
    )
    east = east_of(rows + levels([12] * 2, start_s=120))
    assert east.share.blocked == 0.0
    assert east.observed_s == pytest.approx(50.0)


def test_a_restart_is_not_counted():
    rows = levels([12] * 3) + "\n0:30 reset receiver seen\n" + levels([0] * 2, start_s=40)
    east = east_of(rows + "\n" + levels([12] * 3, start_s=60))
    assert RESET_DEAD_S == 30.0
    assert east.share.blocked == 0.0
    assert east.observed_s == pytest.approx(60.0)
    assert east.dropouts_per_h == 0.0


def test_a_gap_is_not_counted_unless_it_is_the_navigation_receivers():
    rows = "0:00 signal satellite:east 12 dB source=serial:a\n2:00 gap {} lost span_s=60\n3:00 power receiver awake"
    assert east_of(rows.format("serial:a")).observed_s == pytest.approx(60.0)
    assert east_of(rows.format("gnss")).observed_s == pytest.approx(180.0)


def test_only_its_own_source_is_deaf_in_a_gap():
    rows = """
        1:30 signal satellite:east 12 dB source={}
        2:00 gap serial:a lost span_s=60
        2:10 power receiver awake
    """
    assert east_of(rows.format("hand")).observed_s == LAST_READING_S
    assert east_of(rows.format("serial:a")).share is None


def test_another_receiver_is_not_counted():
    east = east_of(levels([0] * 6) + "\n1:00 swap receiver better\n" + levels([12] * 6, start_s=60))
    assert east.share.clear == 1.0


def test_what_any_denies_no_path_received():
    east = east_of(levels([12] * 6) + "\n0:20 lock any no\n0:40 lock any yes")
    assert east.share.blocked == pytest.approx(20 / 60)


# --- several visits, several paths -------------------------------------------------------------------------------


def test_visits_are_pooled_by_time_and_a_night_is_nothing():
    east = east_of(levels([12] * 10) + "\n" + levels([0] * 30, start_s=10 * 3600))
    assert east.share.blocked == pytest.approx(0.75)
    assert east.dropouts_per_h == 0.0
    assert east.observed_s == pytest.approx(400.0)


def test_units_are_not_mixed():
    rows = levels([12, 12, 12, 4]) + "\n" + levels([90] * 8 + [50] * 2, unit="percent", start_s=10 * 3600)
    east = east_of(rows, "[receiver]\nlevel_scale = 'dB'\nlevel_floor = 0.0\n")
    assert (east.unit, east.clear_level) == ("percent", 90.0)
    assert east.share.shadowed == pytest.approx((10 + 20) / 140)


def test_paths_together():
    rows = []
    for n in range(120):
        gone = n % 20 in (10, 11)
        rows.append(f"{n // 60}:{n % 60:02d} lock satellite:east {'no' if gone else 'yes'}")
        rows.append(f"{n // 60}:{n % 60:02d} lock repeater {'no' if gone or n % 20 == 5 else 'yes'}")
    found = signal_of("\n".join(rows))
    assert found.any_path_share == pytest.approx(0.9)
    assert found.any_path_share_90[0] <= 0.9 <= found.any_path_share_90[1]
    assert found.together_share == pytest.approx(0.5)
    assert found.together_share_90[0] < 0.5 < found.together_share_90[1]


def test_one_path_alone_has_no_together():
    found = signal_of(levels([12, 0, 12, 0, 12]), FLOOR)
    assert found.together_share is None
    assert found.together_share_90 is None
    assert found.any_path_share == pytest.approx(0.6)


def test_the_timeline_is_the_pieces_of_one_state():
    found = signal_of(levels([12, 12, 5, 0, 12, 12]), FLOOR)
    told = [(stretch.from_[14:19], stretch.to[14:19], stretch.state) for stretch in found.timeline]
    assert told == [
        ("00:00", "00:20", "clear"),
        ("00:20", "00:30", "shadowed"),
        ("00:30", "00:40", "blocked"),
        ("00:40", "00:50", "clear"),
    ]


def test_an_expected_level_needs_what_no_job_states():
    sheet = FLOOR + 'noise_bandwidth_hz = 4e6\n[service]\nconstellation = "demo-pair"\n'
    found = signal_of("0:00 place vehicle open-sky\n" + levels([12, 12, 12, 12]), sheet)
    east = found.paths["satellite:east"]
    assert (east.expected_level, east.deficit, east.deficit_90, east.deficit_db) == (None,) * 4
    assert (east.expected_from, east.level_here) == (None, None)
    assert "no earlier level under an open sky to compare with" in found.could_not[0]
    assert "missing the satellite's distance" in found.could_not[0]
    assert "too few levels" in signal_of(levels([12, 12]), FLOOR).could_not[0]


def test_the_same_job_gives_the_same_findings():
    rows = levels([12, 12, 5, 0, 12, 12])
    assert signal_of(rows, FLOOR) == signal_of(rows, FLOOR)


# --- a slow count ------------------------------------------------------------------------------------------------

CELL_S = 0.5

events = st.lists(
    st.tuples(
        st.integers(0, 1500),
        st.sampled_from(
            [
                "level 12",
                "level 4",
                "level 0",
                "level ?",
                "lock yes",
                "lock no",
                "lock ?",
                "off",
                "awake",
                "reset",
                "gap",
            ]
        ),
    ),
    min_size=1,
    max_size=25,
    unique_by=lambda event: event,
)


def _row(at_s, what):
    clock = f"{at_s // 60}:{at_s % 60:02d}"
    word, _, value = what.partition(" ")
    value = "unreadable" if value == "?" else value
    if word == "level":
        return f"{clock} signal satellite:east {value} {'' if value == 'unreadable' else 'dB'} source=serial:a"
    if word == "lock":
        return f"{clock} lock satellite:east {value} source=serial:a"
    if word == "reset":
        return f"{clock} reset receiver seen"
    if word == "gap":
        return f"{clock} gap serial:a silent span_s=30"
    return f"{clock} power receiver {word}"


def _count(happened):
    """Seconds received and blocked, walking the job in cells of half a second: a second implementation."""
    last = {}
    for at_s, what in happened:  # of two readings at one instant the later row stands
        word = what.split()[0]
        key = "power" if word in ("off", "awake") else word
        last[at_s, key] = what
    rows = sorted((at_s, what) for (at_s, _), what in last.items())
    end_s = max(at_s for at_s, _ in rows)
    has_lock = any(what in ("lock yes", "lock no") for _, what in rows)
    proofs = [at_s for at_s, what in rows if what in ("awake", "lock yes", "level 12", "level 4")]
    deaf, lost = [], []
    for at_s, what in rows:
        if what == "off":
            deaf.append((at_s, min([p for p in proofs if p > at_s], default=end_s)))
        elif what == "reset":
            deaf.append((at_s, at_s + RESET_DEAD_S))
        elif what == "gap":
            lost.append((at_s - 30, at_s))
    kind = "lock" if has_lock else "level"
    read = [
        (at_s, what)
        for at_s, what in rows
        if what.startswith(kind)
        and not any(a <= at_s < b for a, b in deaf)
        and not any(a < at_s < b for a, b in lost)
    ]
    received = blocked = 0.0
    for number, (at_s, what) in enumerate(read):
        if number + 1 < len(read):
            until = min(read[number + 1][0], at_s + RECEIVED_HOLD_S)
        else:
            spacing = np.diff([t for t, _ in read])
            usual = float(np.median(spacing)) if len(spacing) else LAST_READING_S
            until = max(min(end_s, at_s + RECEIVED_HOLD_S), at_s + min(usual, LAST_READING_S))
        cell = float(at_s)
        while cell < until and not any(a <= cell < b and a >= at_s for a, b in deaf + lost):
            received += CELL_S * (what in ("lock yes", "level 12", "level 4"))
            blocked += CELL_S * (what in ("lock no", "level 0"))
            cell += CELL_S
    return received, blocked


@settings(max_examples=80, deadline=None)
@given(events)
def test_shares_against_a_slow_count(happened):
    job = make_job("\n".join(_row(*event) for event in happened), FLOOR)
    path = estimate_signal(job).paths.get("satellite:east")
    received, blocked = _count(happened)
    if path is None or path.share is None:
        assert received + blocked == 0.0
    else:
        assert path.observed_s == pytest.approx(received + blocked, abs=1.0)
        assert path.share.blocked == pytest.approx(blocked / (received + blocked), abs=0.02)


def test_a_state_that_never_changed_has_an_interval_with_a_reservation():
    rows = "\n".join(f"0:{t // 60:02d}:{t % 60:02d} lock satellite:east yes" for t in range(0, 1200, 10))
    said = " ".join(signal_of(rows).could_not)
    assert "never changed in 20 minutes" in said
    assert "ten minutes" in said
    short = "\n".join(f"0:{t // 60:02d}:{t % 60:02d} lock satellite:east yes" for t in range(0, 300, 10))
    assert "never changed" not in " ".join(signal_of(short).could_not)


# --- in words ----------------------------------------------------------------------------------------------------

WORDS = {
    "en": ("whatever path, the repeater and the satellite 'east': the state", "whatever path: locks"),
    "es": ("la vía que sea, el repetidor terrestre y el satélite «east»: el estado", "la vía que sea: los enganches"),
    "fr": (
        "n'importe quelle voie, le répéteur terrestre et le satellite «\u202feast\u202f»\u202f: l'état",
        "n'importe quelle voie\u202f: des verrouillages",
    ),
}


@pytest.mark.parametrize("language", LANGUAGES)
def test_paths_are_named_in_words_and_what_is_true_of_several_is_said_once(language):
    times = [f"0:{t // 60:02d}:{t % 60:02d}" for t in range(0, 1200, 10)]
    rows = [f"{at} signal {path} 4 bars/5" for path in ("repeater", "satellite:east") for at in times]
    rows += [f"{at} lock any yes" for at in times]
    with speaking(language):
        said = signal_of("\n".join(rows)).could_not
    assert not [text for text in said if re.search(r"\b(?:any|repeater|satellite):", text)]
    for words in WORDS[language]:
        assert len([text for text in said if text.startswith(words)]) == 1, (words, said)
