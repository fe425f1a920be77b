"""Facts of the trade as checks of the whole analysis. Each is `common practice, no source`."""

import pytest

import satdiag
from tests.helpers import make_job

JUST_FITTED = 'reason = "just-installed"\n[service]\npackage = "music"\n'
LINEUP = "\n".join(
    [
        *(f"{number},Tune {number},Rock,music all" for number in range(1, 13)),
        *(f"{number},Game {number},Sport,all" for number in range(40, 48)),
        "90,Window,Preview,open",
    ]
)


def checks(at, channels, state, step_s=4):
    """Check rows, one channel every few seconds from `at` seconds on."""
    return [f"{clock(at + step_s * n)} channel {channel} {state}" for n, channel in enumerate(channels)]


def clock(seconds):
    """Seconds as m:ss."""
    return f"{int(seconds) // 60}:{int(seconds) % 60:02d}"


def locked(until_s):
    """The receiver awake and locked, looked at every two minutes."""
    rows = ["0:00 power receiver awake", "0:02 place vehicle open-sky", "0:03 listing source yes"]
    return [*rows, *(f"{clock(at)} lock any yes" for at in range(5, until_s, 120))]


def analysed(rows, sheet=JUST_FITTED, lineup=LINEUP):
    """The findings of a small job."""
    return satdiag.analyse(make_job("\n".join(rows), sheet, lineup=lineup))


def test_before_about_five_minutes_it_is_too_early_to_judge():
    """About 5 min after the confirmation the first channels play (common practice, no source)."""
    rows = ["0:01 account service confirmed", *locked(180), *checks(60, range(1, 13), "refused")]
    found = analysed(rows)
    assert found.verdict.state != "fault" or not found.verdict.sure
    assert found.entitlement.p_account_dead < 0.5
    assert "entitlement:early" in [f"{one.item}:{one.state}" for one in found.diagnosis.evidence]


def test_the_longer_nothing_comes_the_likelier_the_account_is_dead():
    """The number of channels grows the longer the receiver stays awake (common practice, no source)."""
    dead = []
    for minutes in (4, 15, 60, 180):
        rows = ["0:01 account service confirmed", *locked(minutes * 60)]
        rows += checks(minutes * 60 - 55, range(1, 13), "refused")
        dead.append(analysed(rows).entitlement.p_account_dead)
    assert dead == sorted(dead)
    assert dead[0] < 0.5 < dead[-1]


def test_a_growing_number_of_channels_is_no_fault():
    """Just after activation few channels play and the number grows (common practice, no source)."""
    rows = ["0:01 account service confirmed", *locked(900), *checks(60, range(1, 13), "refused")]
    rows += checks(400, range(1, 5), "authorised") + checks(430, range(5, 13), "refused")
    rows += checks(800, range(1, 9), "authorised") + checks(840, range(9, 13), "refused")
    found = analysed(rows)
    assert (found.verdict.state, found.verdict.class_) == ("filling", "none")
    assert found.entitlement.authorised == 8


def test_basic_packages_leave_out_whole_categories():
    """Sport and talk are typically not in a basic package (common practice, no source)."""
    rows = ["0:01 account service confirmed", *locked(2400)]
    rows += checks(2000, range(1, 13), "authorised") + checks(2100, range(40, 48), "refused")
    found = analysed(rows, JUST_FITTED.replace("just-installed", "complaint"))
    assert (found.verdict.state, found.verdict.fault) == ("explained", "partial-package")
    reasons = {channel.channel: channel.reason for channel in found.entitlement.channels}
    assert all(reasons[number] == "not-in-package" for number in range(40, 48))


def test_a_channel_change_takes_one_and_a_half_to_two_seconds_and_titles_come_later():
    """1.5-2 s to audio with a good signal; the title later than the audio (common practice, no source)."""
    rows = ["0:01 account service confirmed", *locked(900)]
    for number in range(1, 13):
        at = 300 + 20 * number
        rows += [
            f"{clock(at)} tune {number} requested",
            f"{clock(at + 1)}.{5 + number % 4} tune {number} audio",
            f"{clock(at + 4)} tune {number} title",
        ]
    tuning = analysed(rows).tuning
    assert tuning.p_slow < 0.05
    assert 1.5 <= tuning.audio_s.median <= 2.0
    assert tuning.title_s.median > tuning.audio_s.median


def test_a_refused_channel_never_gives_audio():
    """A refused channel answers with a notice (common practice, no source)."""
    rows = ["0:01 account service confirmed", *locked(600)]
    for number in range(1, 5):
        at = 300 + 20 * number
        rows += [f"{clock(at)} tune {number} requested", f"{clock(at + 2)} tune {number} refused"]
    found = analysed(rows)
    assert found.tuning.audio_s is None or found.tuning.audio_s.n == 0
    assert found.entitlement.refused == 4


@pytest.mark.parametrize("reason", ["just-installed", "complaint", "unknown"])
def test_a_source_that_is_not_offered_and_equipment_that_differs_is_configuration(reason):
    """Read the stored equipment back after writing it (common practice, no source)."""
    rows = ["0:00 power receiver awake", "1:00 listing source no", "3:00 configuration readback differs"]
    rows += ["4:00 ring bus closed", "4:30 ring node:receiver present", "5:00 ring other-sources working"]
    found = analysed(rows, JUST_FITTED.replace("just-installed", reason))
    assert (found.verdict.class_, found.verdict.fault) == ("configuration", "not-configured")


def test_a_receiver_from_a_donor_vehicle_may_belong_to_another_account():
    """Taking a receiver from a donor vehicle is usual (common practice, no source)."""
    rows = ["0:01 account service confirmed", *locked(3600), *checks(3500, range(1, 13), "refused")]
    new, used = (
        analysed(rows, JUST_FITTED + f"[receiver]\nsecond_hand = {flag}\n").diagnosis.faults["id-mismatch"]
        for flag in ("false", "true")
    )
    assert used > new
