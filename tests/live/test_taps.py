"""Taps become rows once, whatever is lost, sent again or sent wrongly."""

import time
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from satdiag.errors import StoreWaits
from satdiag.live.taps import NotATap
from satdiag.rows import parse_time_us
from satdiag.store import check_job_file, read_job_file
from tests.live.rigs import PAGE, new_job, running, tap
from tests.recorder.conftest import nothing_is_left  # noqa: F401


@pytest.fixture
def place(tmp_path):
    return new_job(tmp_path / "demo.satjob")


def rows_of(place):
    return [row for row in read_job_file(place).rows if row.source == "page"]


def test_a_tap_becomes_a_row_that_says_when_and_by_which_clock(place):
    sent = tap("signal", "satellite:east", "11.2", unit="dB", note="by the gate", span_s=2.5)
    with running(place) as deck:
        assert deck.take_taps(PAGE, [sent]).saved == [sent["key"]]
        assert [row.id for row in rows_of(place)] == [f"p-{sent['key']}"]  # read beside the writer: it is committed
    (row,) = rows_of(place)
    told_ms = parse_time_us(row.time, None) / 1000
    assert told_ms == pytest.approx(sent["wall_ms"] + 1500.25, abs=0.002)
    assert row.kind == "signal"
    assert (row.subject, row.value, row.unit, row.span_s) == ("satellite:east", "11.2", "dB", "2.5")
    assert row.note == "by the gate; clock +1500 ms, ±3 ms"
    assert (row.run, row.elapsed_s) == ("r1.0f0e0d0c", "12.345678")
    assert check_job_file(place) == []


@pytest.mark.parametrize(
    ("uncertainty_ms", "said"), [(0, 1), (0.3, 1), (1.0, 1), (1.001, 2), (2.4, 3), (7e6, 7_000_000)]
)
def test_no_clock_is_said_to_be_better_known_than_it_is(place, uncertainty_ms, said):
    sent = tap(uncertainty_ms=uncertainty_ms)
    with running(place) as deck:
        assert deck.take_taps(PAGE, [sent]).saved == [sent["key"]]
        assert deck.take_taps(PAGE, [sent]).saved == [sent["key"]]
    (row,) = rows_of(place)
    assert row.note == f"clock +1500 ms, ±{said} ms"


def test_a_tap_that_is_sent_again_stands_once_also_after_a_restart(place):
    sent = tap()
    with running(place) as deck:
        assert deck.take_taps(PAGE, [sent, sent]).saved == [sent["key"]]
        assert deck.take_taps(PAGE, [sent]).saved == [sent["key"]]
    again = {**sent, "offset_ms": 1498.0, "uncertainty_ms": 9.0}  # the clock was measured anew
    with running(place) as deck:
        assert deck.recorder.run == "r2"
        assert deck.take_taps(PAGE, [again]).saved == [sent["key"]]
        other = deck.take_taps(PAGE, [{**sent, "value": "authorised"}, {**sent, "note": "no"}])
        assert (other.saved, set(other.conflict)) == ([], {sent["key"]})
        assert deck.take_taps(PAGE, [{**sent, "wall_ms": sent["wall_ms"] - 5000}]).conflict == [sent["key"]]
        assert deck.take_taps(PAGE.replace("0f", "aa"), [sent]).conflict == [sent["key"]]
    assert len(rows_of(place)) == 1


def test_a_withdrawal_names_a_tap_of_this_run_or_an_earlier_one(place):
    first, second = tap(), tap("note", "", "wrong vehicle")
    with running(place) as deck:
        deck.take_taps(PAGE, [first])
    with running(place) as deck:
        deck.take_taps(PAGE, [second])
        back = [tap("withdraw", "row", f"p-{one['key']}") for one in (first, second)]
        assert len(deck.take_taps(PAGE, back).saved) == 2
        nothing = deck.take_taps(PAGE, [tap("withdraw", "row", "p-nothing")])
        assert "not the id of any row" in nothing.refused[0]["why"]
    assert check_job_file(place) == []
    assert read_job_file(place).log.empty


def test_a_level_that_was_taken_back_binds_no_unit(place):
    """One path keeps one unit within a visit, of the rows that stand."""
    first = tap("signal", "any", "9", unit="dB")
    with running(place) as deck:
        assert deck.take_taps(PAGE, [first]).saved
        refused = deck.take_taps(PAGE, [tap("signal", "any", "40", unit="percent")]).refused
        assert "within one visit" in refused[0]["why"]
        back = [tap("withdraw", "row", f"p-{first['key']}"), tap("signal", "any", "40", unit="percent")]
        assert len(deck.take_taps(PAGE, back).saved) == 2
    assert check_job_file(place) == []


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"kind": "gap", "subject": "hand", "value": "lost"}, "by the recorder alone"),
        ({"kind": "clock", "subject": "recorder", "value": "3", "unit": "s"}, "by the recorder alone"),
        ({"kind": "weather"}, "not a kind"),
        ({"value": "perhaps"}, "not a state"),
        ({"subject": "031"}, "not a subject"),
        ({"value": 3}, "must be text"),
        ({"note": "x" * 2001}, "longer than"),
        ({"note": "bell \x07"}, "stands in it"),
        ({"mono_ms": -1}, "cannot be below"),
        ({"mono_ms": True}, "must be a number"),
        ({"wall_ms": float("nan")}, "must be a number"),
        ({"span_s": -3}, "not a number of seconds"),
        ({"extra": 1}, "has no 'extra'"),
        ({"offset_ms": 1500.25 + 3_600_000}, "ahead of this computer's clock"),
        ({"wall_ms": 0}, "more than 7 days back"),
        ({"kind": "site", "subject": "vehicle", "value": "nowhere"}, "not the name of a"),
    ],
)
def test_what_cannot_stand_in_the_log_is_refused_and_the_others_are_taken(place, change, why):
    good, bad = tap(), tap(**change)
    with running(place) as deck:
        answer = deck.take_taps(PAGE, [bad, good])
        assert answer.saved == [good["key"]]
        assert answer.refused[0]["key"] == bad["key"]
        assert why in answer.refused[0]["why"]
        mended = {**tap(), "key": bad["key"]}
        assert deck.take_taps(PAGE, [mended]).saved == [bad["key"]]  # a refused key was not used up
    assert len(rows_of(place)) == 2


@pytest.mark.parametrize(
    ("page", "taps"),
    [
        ("0f0e0d0c", [tap()]),
        (None, [tap()]),
        (PAGE, []),
        (PAGE, [tap() for _ in range(51)]),
        (PAGE, [tap(), 7]),
        (PAGE, [tap(key="p-1")]),
        (PAGE, [tap(key="0f0e0d0c-1111-1222-8333-444455556666")]),
    ],
)
def test_what_is_no_list_of_taps_changes_nothing(place, page, taps):
    with running(place) as deck, pytest.raises(NotATap):
        deck.take_taps(page, taps)
    assert rows_of(place) == []


def test_nothing_is_acknowledged_before_the_medium_takes_it(place, monkeypatch):
    """The store refuses for a while, as a full disk does: the tap is held, in no list, and saved later, once."""
    from satdiag.store import LiveFile

    append, full = LiveFile.append, [True]

    def reluctant(self, rows, parts=()):
        if full[0]:
            raise StoreWaits("the medium is full")
        append(self, rows, parts)

    monkeypatch.setattr(LiveFile, "append", reluctant)
    sent = tap()
    with running(place) as deck:
        first = deck._taps.take(PAGE, [sent], wait_s=0.3)
        again = deck._taps.take(PAGE, [sent, {**sent, "value": "missing"}], wait_s=0.1)
        assert (first.saved, first.refused, first.conflict) == ([], [], [])
        assert (again.saved, again.conflict) == ([], [sent["key"]])
        assert "full" in deck.state(None)["store_trouble"]
        assert rows_of(place) == []
        full[0] = False
        assert deck.take_taps(PAGE, [sent]).saved == [sent["key"]]
    assert len(rows_of(place)) == 1


def test_a_tap_for_which_there_is_no_room_was_never_there(place, monkeypatch):
    sent = tap()
    with running(place) as deck:
        put = deck.recorder.writer.put
        monkeypatch.setattr(deck.recorder.writer, "put", lambda batch, wait_s: False)
        assert deck._taps.take(PAGE, [sent], wait_s=0.1).saved == []
        assert f"p-{sent['key']}" not in deck.recorder.desk.ids
        monkeypatch.setattr(deck.recorder.writer, "put", put)
        assert deck.take_taps(PAGE, [sent]).saved == [sent["key"]]
    assert len(rows_of(place)) == 1


ODD = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=20), st.lists(st.integers(), max_size=2)
)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.dictionaries(st.sampled_from([*tap(), "unit", "note", "span_s", "x"]), ODD, max_size=4))
def test_no_odd_tap_breaks_anything(shared_deck, changes):
    sent = {**tap(), **changes}
    try:
        answer = shared_deck.take_taps(PAGE, [sent])
    except NotATap:
        return
    assert len(answer.saved) + len(answer.refused) + len(answer.conflict) == 1


@pytest.fixture
def shared_deck(place):
    with running(place) as deck:
        yield deck
    assert check_job_file(place) == []


def test_the_time_of_a_row_is_utc_whatever_the_offset(place):
    """The wall clock of Python's own datetime as the outside reference."""
    sent = tap(wall_ms=time.time() * 1000 + 3_600_000, offset_ms=-3_600_000.0)
    with running(place) as deck:
        deck.take_taps(PAGE, [sent])
    assert rows_of(place)[0].note == "clock -3600000 ms, ±3 ms"
    told = datetime.fromisoformat(rows_of(place)[0].time)
    expected = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=sent["wall_ms"] - 3_600_000)
    assert abs((told - expected).total_seconds()) < 1e-3
