"""Which state an item is seen in: small logs, each with the state it must give, and what must give none."""

import pytest

import satdiag
from satdiag.diagnosis.evidence import Known, collect
from satdiag.diagnosis.model import load_model
from satdiag.diagnosis.reception import NONE, STRONG, WEAK, class_of_level
from satdiag.entitlement.estimate import estimate_entitlement
from satdiag.exposure import exposure_clock
from satdiag.sheet import Receiver
from satdiag.signal.estimate import estimate_signal
from satdiag.sky.estimate import estimate_sky
from satdiag.tuning.estimate import estimate_tuning
from satdiag.wiring.estimate import estimate_wiring
from tests.helpers import make_job

LINEUP = (
    "1,One,Rock,music\n2,Two,Rock,music\n3,Three,Rock,music\n40,Game,Sport,all\n41,Match,Sport,all\n90,Window,,open"
)
PACKAGE = '[service]\npackage = "music"\n'


def collected(rows, sheet="", lineup=LINEUP):
    """What is seen of a small job."""
    job = make_job(rows, sheet, lineup=lineup)
    known = Known(
        job,
        estimate_sky(job),
        estimate_signal(job),
        estimate_entitlement(job, exposure_clock(job)),
        estimate_tuning(job),
        estimate_wiring(job),
    )
    return collect(known)


def seen(rows, sheet="", lineup=LINEUP):
    """Item to state of a small job."""
    return {one.item: one.state for one in collected(rows, sheet, lineup)}


MOVED = "0:00 place vehicle open-sky\n1:00 lock any {0}\n2:00 lock any {0}\n5:00 place vehicle street\n"
NOW = "6:00 lock any no\n7:00 lock any no"

CASES = [
    (MOVED.format("yes") + NOW, "elsewhere", "better"),
    (MOVED.format("no") + NOW, "elsewhere", "no-better"),
    ("1:00 listing source no", "listing", "not-offered"),
    ("1:00 listing source no\n2:00 listing source yes", "listing", "once"),
    ("1:00 listing source yes", "listing", "offered"),
    (
        "1:00 configuration readback:radio matches\n2:00 configuration readback:gateway differs",
        "configuration",
        "differs",
    ),
    ("1:00 configuration readback differs\n2:00 configuration readback matches", "configuration", "matches"),
    ("1:00 ring bus open", "ring", "open"),
    ("1:00 ring bus open\n9:00 ring bus closed", "ring", "once"),
    ("1:00 ring bus closed\n9:00 ring bus closed", "ring", "closed"),
    (
        "1:00 ring bus open\n5:00 configuration readback differs\n6:00 configuration readback matches\n"
        "9:00 ring bus closed",
        "ring",
        "closed",
    ),
    ("1:00 ring node:receiver absent", "node", "silent"),
    ("1:00 ring node:receiver present\n1:10 ring node:changer absent", "other-nodes", "some-silent"),
    ("1:00 ring other-sources lost", "other-sources", "lost"),
    ("1:00 identity receiver-id mismatch", "identity", "mismatch"),
    ("1:00 account service submitted\n2:00 account service rejected", "account", "rejected"),
    ("1:00 account service confirmed\n9:00 account service resend-confirmed", "account", "resent"),
    ("1:00 place vehicle underground", "place", "indoors"),
    ("1:00 swap antenna better", "swap-antenna", "better"),
    ("1:00 bias voltage 5.0 V\n1:05 bias current 1 mA", "bias", "open"),
    ("1:00 bias voltage 4.8 V\n1:05 bias current 40 mA", "bias", "normal"),
    ("1:00 bias current 41 mA\n1:05 bias current 0 mA\n1:10 bias current 40 mA", "feed-watched", "jumps"),
    ("1:00 bias current 41 mA\n1:05 bias current 42 mA\n1:10 bias current 40 mA", "feed-watched", "steady"),
    ("1:00 reset receiver seen\n5:00 reset receiver seen", "resets", "several"),
    ("1:00 power receiver awake\n20:00 power receiver awake", "resets", "none"),
    ("1:00 supply receiver 12.6 V\n2:00 supply receiver-minimum 7.1 V", "supply", "low"),
    ("1:00 supply receiver 12.6 V", "supply", "normal"),
    ("1:00 errors satellite 0.2 percent", "errors", "few"),
    ("1:00 errors satellite 4 percent", "errors", "some"),
    ("1:00 errors satellite 40 percent", "errors", "many"),
    ("1:00 channel 1 missing\n1:05 channel 2 missing\n1:10 channel 3 authorised", "listed-channels", "some-missing"),
    ("1:00 channel 1 missing\n1:05 channel 2 refused\n1:10 channel 3 authorised", "listed-channels", "all"),
    ("1:00 lock any yes\n2:00 lock any yes\n3:00 lock any yes", "any-path", "good"),
    ("1:00 lock satellite no\n2:00 lock satellite no\n3:00 lock satellite no", "satellite", "none"),
    (
        "1:00 lock repeater yes\n1:01 lock satellite no\n2:00 lock repeater yes\n2:01 lock satellite no",
        "satellite-beside",
        "none",
    ),
    (
        "1:00 lock satellite:a yes\n1:01 lock satellite:b no\n2:00 lock satellite:a yes\n2:01 lock satellite:b no",
        "one-satellite",
        "one-missing",
    ),
    ("1:00 signal any 20 percent\n2:00 signal any 30 percent\n3:00 signal any 25 percent", "any-path", "weak"),
    (
        "1:00 signal any 80 percent\n2:00 signal any 0 percent\n3:00 signal any 75 percent\n"
        "4:00 signal any 0 percent",
        "any-path",
        "varying",
    ),
    (
        "1:00 feed bias off\n1:10 noise receiver 50 dB\n1:20 feed bias on\n1:30 noise receiver 63 dB",
        "noise-rise",
        "normal",
    ),
    (
        "1:00 feed bias off\n1:10 noise receiver 50 dB\n1:20 feed bias on\n1:30 noise receiver 50.4 dB",
        "noise-rise",
        "none",
    ),
    ("1:00 noise receiver 50 dB\n2:00 noise receiver 50 dB\n3:00 noise receiver 50.5 dB", "noise", "steady"),
    ("1:00 noise receiver 50 dB\n2:00 noise receiver 50 dB\n3:00 noise receiver 59 dB", "noise", "raised"),
    ("1:00 power receiver awake", "power", "awake"),
    ("1:00 power receiver off\n2:00 listing source no", "power", "off"),
    ("1:00 power receiver off\n2:00 listing source no\n3:00 power receiver awake", "power", "awake"),
    (
        "0:30 power receiver awake\n1:00 account service confirmed\n2:00 channel 1 refused\n2:10 channel 2 refused\n"
        "3:00 account service resend-requested\n9:00 channel 1 authorised\n9:10 channel 2 authorised",
        "resend",
        "came",
    ),
    (
        "0:30 power receiver awake\n1:00 account service confirmed\n2:00 channel 1 refused\n2:10 lock any yes\n"
        "3:00 account service resend-requested\n20:00 lock any yes\n20:05 power receiver awake\n"
        "20:10 channel 1 refused",
        "resend",
        "nothing",
    ),
    ("1:00 channel 90 authorised", "open-channel", "plays"),
    ("1:00 channel 90 no-signal", "open-channel", "silent"),
    ("1:00 channel 1 authorised\n1:05 audio output muted", "audio", "muted"),
    ("1:00 channel 1 no-signal\n1:05 channel 2 no-signal\n1:10 channel 3 no-signal", "unjudgeable", "many"),
]


@pytest.mark.parametrize(("rows", "item", "state"), CASES)
def test_item_is_seen_in_its_state(rows, item, state):
    found = seen(rows)
    assert found[item] == state
    assert state in load_model().items[item].states


def test_every_item_of_the_model_can_be_seen_and_every_seen_item_is_in_the_model():
    elsewhere = (
        "repeater swap-lead swap-receiver swap-place entitlement refused-pattern elevation sky-view change-time "
        "restarts-tied refused-running "
        "entitlement-running beside deficit together fading repeats-at turns-with ring-plan ring-positions lead"
    )
    covered = {item for _, item, _ in CASES} | set(elsewhere.split())
    assert covered == set(load_model().items)


def test_what_was_not_tried_is_not_there():
    assert seen("1:00 note anything hello") == {}
    assert "bias" not in seen("1:00 bias current unreadable")
    assert "audio" not in seen("1:00 audio output muted")  # a refused channel is silent by right


def test_refused_channels_outside_the_package_are_told_from_others():
    outside = "1:00 channel 1 authorised\n1:05 channel 40 refused\n1:10 channel 41 refused"
    assert seen(outside, PACKAGE)["refused-pattern"] == "outside-package"
    assert seen("1:05 channel 40 refused\n1:10 channel 41 refused", PACKAGE)["refused-pattern"] == "outside-package"
    assert seen("1:00 channel 1 authorised\n1:05 channel 2 refused", PACKAGE)["refused-pattern"] == "scattered"
    assert seen("1:00 channel 1 authorised", PACKAGE)["refused-pattern"] == "none"
    categories = "1:00 channel 1 authorised\n1:02 channel 2 authorised\n1:04 channel 3 authorised\n"
    categories += "1:06 channel 40 refused\n1:10 channel 41 refused"
    assert seen(categories)["refused-pattern"] == "whole-categories"


def test_entitlement_goes_from_early_to_nothing_to_complete():
    head = "0:00 account service confirmed\n0:01 lock any yes\n"
    late = "".join(f"{minute}:01 lock any yes\n" for minute in range(5, 125, 5))
    refused = "{0}:10 channel 1 refused\n{0}:14 channel 2 refused\n{0}:18 channel 3 refused\n"
    assert seen(head + refused.format(2), PACKAGE)["entitlement"] == "early"
    assert seen(head + late + refused.format(119), PACKAGE)["entitlement"] == "nothing"
    assert (
        seen(head + late + refused.format(119).replace("refused", "authorised"), PACKAGE)["entitlement"] == "complete"
    )


def test_a_stray_misreading_does_not_make_a_dead_account_alive():
    rows = ["0:00 account service confirmed"]
    rows += [f"{minute}:01 lock any yes" for minute in range(0, 60, 4)]
    rows += [f"{minute}:{10 + n} channel {n} refused" for minute in range(1, 57, 5) for n in (1, 2, 3)]
    rows.append("30:40 channel 2 authorised")
    assert seen("\n".join(rows), PACKAGE)["entitlement"] == "nothing"


def test_what_was_heard_before_the_ring_opened_says_nothing_of_now():
    before = "1:00 listing source yes\n1:05 channel 90 authorised\n1:10 audio output playing\n"
    found = seen(before + "9:00 listing source no\n9:10 ring bus open")
    assert "audio" not in found
    assert "open-channel" not in found
    assert found["ring"] == "open"


def test_what_another_receiver_did_says_nothing_of_this_one():
    before = "1:00 reset receiver seen\n2:00 reset receiver seen\n3:00 channel 90 no-signal\n"
    after = "9:00 swap receiver same\n10:00 power receiver awake\n30:00 power receiver awake"
    assert seen(before)["resets"] == "several"
    found = seen(before + after)
    assert found["resets"] == "none"
    assert "open-channel" not in found


def test_one_channel_of_many_is_not_all_of_them():
    """One of four expected channels looked at: nothing is called complete, and no radio is called working."""
    rows = "1:00 lock any yes\n2:00 lock any yes\n3:00 channel 1 authorised"
    assert "entitlement" not in seen(rows)
    verdict = satdiag.analyse(make_job(rows, lineup=LINEUP)).verdict
    assert verdict.state == "cannot-tell"
    assert "nobody has looked at" in verdict.do_next
    assert "All the channels" not in verdict.customer


def test_reception_since_the_vehicle_was_moved_counts():
    rows = "0:00 place vehicle indoors\n" + "".join(f"{m}:00 lock any no\n" for m in range(1, 9))
    rows += "10:00 place vehicle open-sky\n" + "".join(f"{m}:00 lock any yes\n" for m in range(11, 15))
    assert seen(rows)["any-path"] == "good"


@pytest.mark.parametrize(
    ("number", "unit", "receiver", "grade"),
    [
        (0, "percent", Receiver(), NONE),
        (30, "percent", Receiver(), WEAK),
        (90, "percent", Receiver(), STRONG),
        (0, "bars/5", Receiver(), NONE),
        (2, "bars/5", Receiver(), WEAK),
        (3, "bars/5", Receiver(), STRONG),
        (1.0, "dB", Receiver(), NONE),
        (6.0, "dB", Receiver(), WEAK),
        (12.0, "dB", Receiver(), STRONG),
        (76.0, "dB-Hz", Receiver(noise_bandwidth_hz=4e6), STRONG),
        (72.0, "dB-Hz", Receiver(noise_bandwidth_hz=4e6), WEAK),
        (60.0, "dB-Hz", Receiver(level_floor=60.0, level_scale="dB-Hz"), NONE),
    ],
)
def test_levels_are_graded_by_their_scale(number, unit, receiver, grade):
    assert class_of_level(number, unit, receiver) == grade


def test_looks_before_the_confirmation_are_left_out_and_the_reading_says_so():
    early = "".join(f"0:0{n} channel {n} refused\n" for n in (1, 2, 3))
    confirmed = "0:30 account service confirmed\n"

    def but(rows):
        return next(one.but for one in collected(rows) if one.item == "refused-pattern")

    assert but(confirmed + "1:00 channel 40 authorised") == ""
    assert but(early + "1:00 channel 40 authorised") == ""  # no confirmation: all looks count
    some = but(early + confirmed + "1:00 channel 1 authorised\n1:01 channel 40 authorised")
    assert some == "2 channels looked at only before the confirmation do not count"
    found = satdiag.analyse(make_job(early + confirmed + "1:00 channel 40 authorised", lineup=LINEUP)).diagnosis
    said = next(one.text for one in found.evidence if one.item == "refused-pattern")
    assert said == ("no channel is refused (3 channels looked at only before the confirmation do not count)")


OFF = "1:00 power receiver off\n"


@pytest.mark.parametrize(
    "rows",
    [
        OFF,
        OFF + "2:00 note anything goodbye",
        OFF + "2:00 listing source yes",
        OFF + "2:00 channel 1 no-signal\n3:00 channel 1 refused",
        OFF + "2:00 listing source no\n3:00 lock any yes",
        "1:00 power receiver standby\n2:00 listing source no",
        "1:00 power receiver off\n2:00 listing source no\n3:00 swap receiver same",
    ],
)
def test_a_receiver_that_was_switched_off_or_lives_is_not_called_off(rows):
    """Everything is switched off in the end, and what is received or shown takes a receiver that is on."""
    assert seen("0:30 power receiver awake\n" + OFF + "2:00 listing source no")["power"] == "off"
    assert "power" not in seen(rows)


def test_a_receiver_that_is_off_is_called_unpowered_rather_than_not_entered():
    rows = "1:00 power receiver {}\n2:00 listing source no\n3:00 ring other-sources working"
    on, off = (satdiag.analyse(make_job(rows.format(word))).diagnosis.faults for word in ("awake", "off"))
    assert on["not-configured"] > 3 * on["node-unpowered"]
    assert off["node-unpowered"] > 3 * off["not-configured"]


def test_noise_that_was_read_at_one_place_only_may_be_raised_there_all_along():
    """A strong transmitter near one place raises the readout for as long as the vehicle stands there."""
    steady = "{0}:10 noise receiver 50 dB\n{0}:20 noise receiver 50 dB\n{0}:30 noise receiver 50.5 dB\n"
    here = "0:00 place vehicle open-sky\n" + steady.format(1)
    (alone,) = (one for one in collected(here) if one.item == "noise")
    assert alone.state == "steady"
    assert alone.soft is not None
    assert 0.5 <= alone.soft["raised"] < alone.soft["steady"]
    (both,) = (
        one for one in collected(here + "4:00 place vehicle street\n" + steady.format(5)) if one.item == "noise"
    )
    assert both.state == "steady"
    assert both.soft is None
