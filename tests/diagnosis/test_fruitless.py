"""Tests that can show nothing as things stand are not offered: a plan that counts on them promises too much.

Jobs made by hand; what each test leaves in the log is the vocabulary's.
"""

import pytest

from satdiag.analysis import _known
from satdiag.diagnosis.evidence import collect
from satdiag.diagnosis.fruitless import _looks_left, fruitless
from satdiag.diagnosis.model import load_model
from satdiag.diagnosis.plan import Bench
from satdiag.signal.estimate import estimate_signal
from satdiag.sky.estimate import estimate_sky
from tests.helpers import make_job
from tests.wiring.rings import TOML

LINEUP = "1,Demo 1,Rock,all\n2,Demo 2,Rock,all\n90,Demo Open,Info,open"
LISTED = "0:00 place vehicle open-sky\n0:10 listing source yes\n"


def offered(rows, lineup=LINEUP, **documents):
    """The names of all tests that can be done after these rows."""
    job = make_job(rows, lineup=lineup, **documents)
    sky = estimate_sky(job)
    known, model = _known(job, sky, estimate_signal(job, sky)), load_model()
    seen = collect(known)
    bench = Bench(model, tuple(one.item for one in seen), False, None, barred=fruitless(known, model, seen))
    return {test.name for test in bench.tests()}


def test_positions_that_could_not_be_judged_are_not_asked_for_again():
    told = "".join(f"3:0{place} ring position:{name} {place}\n" for place, name in enumerate(("a", "b")))
    ring = {"documents": {"ring.toml": TOML.encode()}}
    assert "read-positions" in offered(LISTED, **ring)
    assert "read-positions" not in offered(LISTED + told, **ring)
    moved = LISTED + told + "9:00 listing source no\n9:30 listing source yes\n"
    assert "read-positions" in offered(moved, **ring)  # the head unit has the receiver otherwise than it had then


def test_positions_are_not_asked_for_where_no_order_is_written():
    unwanted = TOML.replace(next(line for line in TOML.splitlines() if line.startswith("wanted")), "")
    plugged = {"documents": {"ring.toml": unwanted.encode()}}
    assert "read-positions" not in offered(LISTED)
    assert "read-positions" in offered(LISTED, **plugged)  # of an open ring, the plugs tell where it may be broken
    assert "read-positions" not in offered(LISTED + "1:00 ring bus closed\n", **plugged)


def test_all_channels_are_gone_through_again_once_the_account_is_confirmed():
    """Looks of before say nothing of the package; where all were looked at since, nothing is left to look at."""
    looks = "1:00 channel 1 refused\n1:20 channel 2 refused\n"
    assert "check-channels" not in offered(LISTED + looks)
    confirmed = LISTED + looks + "5:00 account service confirmed\n"
    assert "check-channels" in offered(confirmed)
    assert "check-channels" not in offered(confirmed + looks.replace("1:", "6:"))


def test_an_open_channel_is_asked_for_where_one_is_known():
    assert "play-open-channel" in offered(LISTED)
    assert "play-open-channel" not in offered(LISTED, lineup=LINEUP.rsplit("\n", 1)[0])
    assert "play-open-channel" not in offered(LISTED, lineup=None)


def test_where_the_source_is_not_offered_no_channel_can_be_selected():
    on_channels = {"play-open-channel", "time-changes"}
    assert on_channels <= offered(LISTED)
    assert not offered(LISTED + "1:00 listing source no\n") & {*on_channels, "listen", "check-channels", "ask-resend"}


@pytest.mark.parametrize(
    ("rows", "is_offered"),
    [
        ("1:00 channel 1 authorised", False),
        ("1:00 channel 1 refused", True),
        ("0:30 account service confirmed\n1:00 channel 1 refused", True),
        ("0:30 account service none\n1:00 channel 1 refused", False),
        ("0:30 account service lapsed\n1:00 channel 1 refused", False),
    ],
)
def test_a_resend_is_asked_for_where_channels_are_refused_and_there_may_be_something_to_send(rows, is_offered):
    assert ("ask-resend" in offered(LISTED + rows)) is is_offered


def test_levels_read_path_by_path_are_not_read_once_more_for_all_paths():
    rows = "".join(f"{minute}:00 lock satellite yes\n{minute}:05 lock repeater no\n" for minute in range(1, 5))
    before, after = offered(LISTED), offered(LISTED + rows)
    assert {"read-levels", "check-satellites"} <= before
    assert not {"read-levels", "check-satellites"} & after


def test_what_was_read_at_another_place_does_not_count():
    rows = "1:00 bias voltage unreadable\n"
    assert "measure-bias" in offered(LISTED + rows)  # nobody has tried to read the current yet
    rows += "1:10 bias current unreadable\n"
    assert "measure-bias" not in offered(LISTED + rows)
    assert "measure-bias" in offered(LISTED + rows + "5:00 place vehicle street\n")


def test_where_a_channel_was_judged_nobody_is_sent_to_see_whether_the_source_is_offered():
    place = "0:00 place vehicle open-sky\n"
    assert "check-listing" in offered(place)
    assert "check-listing" not in offered(place + "1:00 channel 1 refused\n")
    assert "check-listing" in offered(place + "1:00 channel 1 unreadable\n")
    gone = place + "1:00 channel 1 refused\n2:00 ring bus closed\n3:00 ring bus open\n"
    assert "check-listing" in offered(gone)  # what was heard before the ring opened says nothing of now


def test_nothing_is_read_from_a_receiver_that_is_silent_on_the_ring():
    readouts = {"read-levels", "check-satellites", "noise-rise"}
    ring = LISTED + "1:00 ring bus closed\n"
    assert readouts <= offered(ring)
    assert readouts <= offered(ring + "1:10 ring node:receiver present\n")
    assert not readouts & offered(ring + "1:10 ring node:receiver absent\n")
    assert readouts <= offered(ring + "1:10 ring node:receiver absent\n5:00 ring node:receiver present\n")


def test_after_a_resend_that_brought_channels_those_not_seen_since_are_looked_at_again():
    confirmed = LISTED + "0:20 account service confirmed\n"
    lineup = "".join(f"{n},Demo {n},Rock,all\n" for n in range(1, 6))
    before = "".join(f"1:{n}0 channel {n} refused\n" for n in range(1, 6)) + "2:00 account service resend-requested\n"
    came = "".join(f"20:{n}0 channel {n} authorised\n" for n in range(1, 4))
    known = _known_of(confirmed + before + came, lineup)
    assert _looks_left(known, ("refused-pattern",))
    rest = "".join(f"21:{n}0 channel {n} refused\n" for n in (4, 5))
    assert not _looks_left(_known_of(confirmed + before + came + rest, lineup), ("refused-pattern",))


def _known_of(rows, lineup):
    job = make_job(rows, lineup=lineup)
    sky = estimate_sky(job)
    return _known(job, sky, estimate_signal(job, sky))
