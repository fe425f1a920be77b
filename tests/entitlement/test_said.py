"""The summary in sentences, from findings."""

import re

import pytest

from satdiag.entitlement.estimate import estimate_entitlement
from satdiag.entitlement.said import summary
from satdiag.exposure import exposure_clock
from satdiag.findings import ChannelFinding, EntitlementFindings, Quantiles, SilenceCurve
from tests.helpers import make_job

WAIT = Quantiles(360.0, 60.0, 900.0)
LONG = Quantiles(1320.0, 600.0, 3000.0)


def findings(plays, late, outside=(), **more):
    channels = [ChannelFinding(n, "authorised", 1.0, None, "plays") for n in plays]
    channels += [ChannelFinding(n, "refused", 0.95, WAIT, "late") for n in late]
    channels += [ChannelFinding(n, "refused", 0.0, None, "not-in-package") for n in outside]
    return EntitlementFindings(
        **{
            "expected_from": "package",
            "expected": len(plays) + len(late),
            "authorised": len(plays),
            "channels": tuple(channels),
            "remaining_to_share_s": {"0.5": WAIT, "0.9": LONG},
            "remaining_to_last_s": LONG,
            "exposure_s": 900.0,
            **more,
        }
    )


def said(found):
    outside = {c.channel for c in found.channels if c.reason == "not-in-package"}
    return summary(found, {c.channel for c in found.channels} - outside)


def test_the_whole_of_it():
    found = findings(range(1, 62), range(62, 143), range(200, 220))
    assert said(found) == (
        "Of 142 channels in the package 61 play. Half of the rest should arrive within 6 more minutes awake "
        "outdoors, nearly all within 22 minutes (19 times in 20 within 50 minutes). Channels 200-219 are not in the "
        "package."
    )


def test_a_few_late_channels_are_named():
    text = said(findings(range(1, 31), [31]))
    assert text.startswith(
        "Of 31 channels in the package 30 play. Channel 31 is late but normal: about 22 more minutes"
    )
    assert "Channels 31, 40 are late but normal" in said(findings(range(1, 31), [31, 40]))


def test_all_none_and_one():
    assert said(findings(range(1, 9), [])) == "All 8 channels in the package play."
    assert said(findings([4], [])) == "The one channel in the package plays."
    quiet = SilenceCurve((0.0,), (0.15,))
    quiet_for = {"silence": quiet, "p_account_dead": 0.4, "dead_sure_after_s": 7200.0, "last_look_s": 900.0}
    text = said(findings([], [1, 2], **quiet_for))
    assert text == (
        "Of 2 channels in the package none plays. After 15 minutes awake and receiving the chance that the account "
        "gives nothing is 40 %; if there is still nothing after 2 hours in all, that is 95 % sure."
    )


def test_nothing_is_promised_of_a_rest_that_may_never_come():
    channels = tuple(ChannelFinding(n, "refused", 0.02, None, "cannot-tell") for n in range(10, 20))
    plays = tuple(ChannelFinding(n, "authorised", 1.0, None, "plays") for n in range(1, 10))
    found = findings(range(1, 10), [])
    found = EntitlementFindings(**{**found.__dict__, "expected": 19, "channels": plays + channels})
    assert said(found) == "Of 19 channels in the package 9 play."


@pytest.mark.parametrize("channels", [1, 300])
def test_the_numbers_in_the_text_are_those_of_the_findings(channels):
    # Once 1 channel that is checked once, once 300 channels that are checked a hundred times.
    rows = ["0:00 account service confirmed", *(f"{m}:00 lock any yes" for m in range(101))]
    looks = range(1, 101) if channels > 1 else [30]
    for minute in looks:
        here = min(channels, channels * minute // 60)
        rows += [
            f"{minute}:00 channel {n} {'authorised' if n <= here else 'refused'}" for n in range(1, channels + 1)
        ]
    job = make_job("\n".join(rows))
    found = estimate_entitlement(job, exposure_clock(job))
    assert found.expected == channels
    numbers = [int(text) for text in re.findall(r"(?<![\d.])\d+(?![\d.%])", found.text)]
    assert channels == 1 or found.authorised in numbers
    assert found.text.endswith(".")


def test_silence_is_said_of_the_last_look_and_nothing_where_no_listening_is_proved():
    quiet = {"silence": SilenceCurve((0.0,), (0.15,)), "p_account_dead": 0.22, "dead_sure_after_s": 7200.0}
    old = said(findings([], [1, 2], **quiet, last_look_s=120.0, exposure_s=36_000.0))
    assert "After 2 minutes awake and receiving" in old
    assert "nobody has looked in the 10 hours of listening since: look again now." in old
    assert "95 %" not in old
    none = said(findings([], [1, 2], **quiet, last_look_s=0.0, exposure_s=0.0))
    assert none.endswith("No listening before the last look is proved, so that says nothing of the account yet.")


def test_what_is_only_inferred_is_said_so():
    late = findings(range(1, 13), [])
    inferred = tuple(ChannelFinding(n, "refused", 0.01, None, "not-in-package") for n in range(13, 20))
    found = EntitlementFindings(**{**late.__dict__, "expected": 19, "channels": late.channels + inferred})
    text = summary(found, set(range(1, 20)))
    assert text.endswith("Channels 13-19 are most likely outside the account, though the line-up has them in it.")


def test_from_a_few_arrivals_no_time_is_told():
    assert said(findings([1, 2, 3], range(4, 20))).endswith("How long the rest takes cannot be told from so few.")
