"""One wrong reading, a fault that comes and goes, and what was over before the last row: small logs made by hand.

Rules of the trade: common practice, no source. No log here was made by the simulator.
"""

import dataclasses

import pytest

import satdiag
from satdiag.diagnosis.evidence import Known, collect
from satdiag.entitlement.estimate import estimate_entitlement
from satdiag.exposure import exposure_clock
from satdiag.findings import (
    EntitlementFindings,
    RestartTie,
    SignalFindings,
    SkyFindings,
    SupplyEvent,
    SupplyFindings,
    TuningFindings,
    WiringFindings,
)
from tests.helpers import make_job

LINEUP = "\n".join(f"{channel},Demo {channel},{'Rock' if channel < 11 else 'Sport'},all" for channel in range(1, 21))
PACKAGE = '[service]\npackage = "all"\n'


def seen(rows, sheet=PACKAGE, **parts):
    """Item to what was seen of it."""
    job = make_job(rows, sheet, LINEUP)
    known = Known(
        job,
        SkyFindings(),
        SignalFindings(),
        estimate_entitlement(job, exposure_clock(job)),
        TuningFindings(None, None, None, None, None),
        WiringFindings(),
    )
    return {one.item: one for one in collect(dataclasses.replace(known, **parts))}


def checks(refused, at_minute=30, channels=range(1, 21)):
    """One channel every two seconds, some of them refused."""
    return "\n".join(
        f"{at_minute + 2 * k // 60}:{2 * k % 60:02d} channel {c} {'refused' if c in refused else 'authorised'}"
        for k, c in enumerate(channels)
    )


def test_one_misread_channel_is_not_a_pattern():
    one, many = seen(checks({7}))["refused-pattern"], seen(checks({2, 5, 7, 12, 15, 19}))["refused-pattern"]
    assert (one.state, many.state) == ("none", "scattered")
    assert one.soft["scattered"] > 1e-3  # it may be the first of several all the same
    assert many.soft["none"] < 1e-4


def test_one_misread_channel_does_not_make_an_account_incomplete():
    found = seen("0:00 account service confirmed\n0:10 lock any yes\n" + checks({7}))["entitlement"]
    assert found.state == "complete"
    assert found.soft is not None
    assert seen("0:00 account service confirmed\n0:10 lock any yes\n" + checks(set(range(1, 15))))[
        "entitlement"
    ].state not in ("complete",)


def test_a_category_with_one_misread_channel_is_still_whole():
    assert seen(checks(set(range(11, 21)) - {14}))["refused-pattern"].state == "whole-categories"


def test_refusals_mean_more_where_the_channels_came_long_ago():
    complaint = 'reason = "complaint"\n' + PACKAGE
    assert "refused-running" in seen(checks(set(range(1, 21))), complaint)
    assert "refused-pattern" in seen(checks(set(range(1, 21))))
    activated = "0:00 account service submitted\n2:00 account service confirmed\n"
    assert "refused-pattern" in seen(activated + checks(set(range(1, 21))), complaint)


@pytest.mark.parametrize(
    ("rows", "state"),
    [
        ("0:00 ring bus open\n5:00 ring bus closed\n9:00 ring bus open\n15:00 ring bus closed", "at-times"),
        ("0:00 ring bus open\n5:00 ring bus closed", "once"),
        ("0:00 ring bus open\n5:00 swap receiver same\n9:00 ring bus closed", "closed"),
        ("0:00 ring bus closed\n9:00 ring bus open", "open"),
        ("0:00 ring bus open\n5:00 audio output playing", "once"),  # an open ring passes no sound
        ("0:00 ring bus open\n5:00 audio output playing\n9:00 ring bus open\n12:00 audio output playing", "at-times"),
        ("0:00 ring bus closed\n5:00 audio output playing", "closed"),
    ],
)
def test_a_ring_that_comes_and_goes(rows, state):
    assert seen(rows)["ring"].state == state


@pytest.mark.parametrize(
    ("rows", "state"),
    [
        ("5:00 channel 1 authorised\n6:00 channel 2 authorised", "lost"),  # shown, and not heard
        ("5:00 channel 1 authorised\n6:00 audio output playing", "once"),
        ("5:00 ring other-sources working", "once"),
    ],
)
def test_only_sound_proves_that_other_sources_sound_again(rows, state):
    assert seen("0:00 ring other-sources lost\n" + rows)["other-sources"].state == state


def test_channels_that_are_seen_to_come_on_did_not_come_long_ago():
    complaint = 'reason = "complaint"\n' + PACKAGE
    rows = checks(set(range(1, 21))) + "\n"
    later = "".join(f"{40 + n}:00 channel {n} authorised\n" for n in range(1, 9))
    assert "refused-running" in seen(rows + later.splitlines()[0], complaint)  # one may be misread
    found = seen(rows + later, complaint)
    assert "refused-pattern" in found
    assert found["entitlement"].state == "growing"


def test_sound_that_comes_and_goes():
    head = "0:00 channel 1 authorised\n"
    rows = "1:00 audio output muted\n3:00 audio output playing\n5:00 audio output muted\n8:00 audio output playing"
    assert seen(head + rows)["audio"].state == "at-times"
    assert seen(head + "1:00 audio output playing")["audio"].state == "playing"


def test_one_comparison_of_the_identifier_that_was_missed():
    missed = seen(
        "0:00 identity receiver-id mismatch\n2:00 identity receiver-id match\n4:00 identity receiver-id mismatch"
    )
    assert missed["identity"].state == "mismatch"
    assert 0.0 < missed["identity"].soft["match"] < 0.1
    slip = seen(
        "0:00 identity receiver-id match\n2:00 identity receiver-id mismatch\n4:00 identity receiver-id match"
    )
    assert slip["identity"].soft["mismatch"] < 2 * slip["identity"].soft["match"]
    mended = seen(
        "0:00 identity receiver-id mismatch\n2:00 account service confirmed\n4:00 identity receiver-id match"
    )
    assert (mended["identity"].state, mended["identity"].soft) == ("match", None)


LEVELS = "{0}:00 signal satellite:east {1} dB\n{0}:30 lock satellite:east {2}\n"


def reception(*received):
    rows = "".join(LEVELS.format(n, *((12, "yes") if good else (0.3, "no"))) for n, good in enumerate(received))
    return seen(rows)["satellite"].state


def test_reception_that_ended_is_told_from_reception_that_comes_and_goes():
    assert reception(*[True] * 4, *[False] * 4) == "none"
    assert reception(*[False] * 4, *[True] * 4) == "recovered"
    assert reception(*[True, False] * 4) == "varying"
    assert reception(*[True] * 8) == "good"


def test_a_path_by_itself_counts_once():
    """'Any path' is the best of the others: where they were read apart it would count the same readings again."""
    apart = seen("0:00 signal satellite:east 12 dB\n0:00 signal repeater 0.2 dB\n0:05 lock any yes")
    assert {"satellite", "repeater"} <= set(apart)
    assert "any-path" not in apart
    assert "any-path" in seen("0:05 lock any yes")


def dip(shape):
    return SupplyEvent(None, "2031-05-03T14:00:00Z", 0.1, 2.0, 5.0, 7.0, "readings", shape)


@pytest.mark.parametrize(
    ("minimum", "dips", "code", "state"),
    [
        (12.3, (), "C", "normal"),
        (8.0, (), "C", "low"),
        (8.2, (), "B", "normal"),  # code B is 8 to 16 V (ISO 16750-2)
        (5.0, (dip("contact"),), "C", "dips"),
        (8.2, (dip("cranking"),), "B", "normal"),
    ],
)
def test_the_supply_by_its_dips_and_by_what_the_receiver_is_made_for(minimum, dips, code, state):
    supply = SupplyFindings("normal", minimum, 12.5, 0, code_needed=code, readings=9, dips=dips)
    assert seen("0:00 note any hello", wiring=WiringFindings(supply=supply))["supply"].state == state


@pytest.mark.parametrize(("standing", "state"), [("tied", "tied"), ("not-tied", "apart"), ("cannot-tell", None)])
def test_restarts_beside_dips(standing, state):
    tie = RestartTie(3, 3, 0, 0.01, 0.03, 1e-6, standing)
    supply = SupplyFindings("dropouts", 5.0, 12.5, 3, tie=tie)
    found = seen("0:00 note any hello", wiring=WiringFindings(supply=supply))
    assert (found["restarts-tied"].state if "restarts-tied" in found else None) == state


def test_a_loose_contact_of_the_supply_is_not_called_sound():
    """Restarts, each in a dip of a tenth of a second, and nothing else wrong."""
    rows = ["0:00 power receiver awake", "0:10 place vehicle open-sky"]
    for minute in (3, 9, 15, 21):
        rows += [f"{minute}:00 supply receiver 12.4 V", f"{minute}:01 supply receiver 3.1 V"]
        rows += [f"{minute}:01.5 supply receiver 12.4 V", f"{minute}:03 reset receiver seen"]
    told = satdiag.analyse(make_job("\n".join(rows), PACKAGE, LINEUP))
    assert told.verdict.fault == "supply-dropout"
    assert told.diagnosis.classes["none"] < 0.15


def test_no_findings_no_evidence_of_the_account():
    assert "entitlement" not in seen("0:00 note any hello", entitlement=EntitlementFindings())
