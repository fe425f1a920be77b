"""Hand-written jobs in which the first thing one would think of is wrong, each with the reason beside it.

Rules of the trade: common practice, no source. No job here was made by the simulator.
"""

import pytest

import satdiag
from tests.helpers import make_job

LINEUP = "\n".join(f"{channel},Demo {channel},Rock,all" for channel in range(1, 21)) + "\n90,Window,,open"
SERVICE = '[service]\npackage = "all"\n'


def every(minutes, rows):
    """The rows at each of these minutes."""
    return [f"{minute}:{k:02d} {row}" for minute in minutes for k, row in enumerate(rows)]


def checks(at_minute, seen, channels=range(1, 21)):
    """One channel every two seconds."""
    return [f"{at_minute + 2 * k // 60}:{2 * k % 60:02d} channel {c} {seen}" for k, c in enumerate(channels)]


JOBS = {
    # A garage takes 10 to 40 dB: levels at the floor say 'antenna'. But the feed carries its normal current, noise
    # rises when it is switched on, and the same antenna received well in the yard half an hour before.
    "indoor levels with a perfect antenna": (
        [
            "0:00 place vehicle open-sky",
            *every(range(1, 11), ["signal satellite:east 12.4 dB", "signal satellite:west 11.8 dB", "lock any yes"]),
            "15:00 place vehicle indoors",
            *every(range(16, 30), ["signal satellite:east 0.8 dB", "signal satellite:west 0.6 dB", "lock any no"]),
            "30:00 bias voltage 4.7 V",
            "30:05 bias current 38 mA",
            "31:00 feed bias off",
            "31:10 noise receiver 2.0 dB",
            "31:40 feed bias on",
            "31:50 noise receiver 16.0 dB",
        ],
        "",
        "sky",
        "indoors",
    ),
    # Levels and locks are perfect, so 'the radio works, wait a little longer'. But after an hour of listening not one
    # subscribed channel has come while the open one plays: the messages go elsewhere or were never sent.
    "a dead account under a perfect signal": (
        [
            "0:00 place vehicle open-sky",
            "0:10 account service confirmed",
            "0:20 identity receiver-id mismatch",
            *every(
                range(1, 66, 3), ["signal satellite:east 12.5 dB", "signal satellite:west 12.0 dB", "lock any yes"]
            ),
            "10:00 channel 90 authorised",
            *checks(62, "refused"),
            "64:30 channel 90 authorised",
        ],
        "",
        "subscription",
        "id-mismatch",
    ),
    # In town the repeater carries every channel, so 'it works'. Out of town it would be silent: no satellite at all
    # is received under an open sky, on a dual lead, with a normal current: the receiver sits on the other conductor.
    "a dual lead on the repeater's conductor in town": (
        [
            "0:00 place vehicle open-sky",
            *every(
                range(1, 21),
                ["signal satellite:east 0.4 dB", "signal satellite:west 0.5 dB", "signal repeater 15.0 dB"],
            ),
            *every(range(1, 21), ["lock satellite no", "lock repeater yes"]),
            "21:00 bias voltage 4.7 V",
            "21:05 bias current 40 mA",
            *checks(22, "authorised", range(1, 9)),
        ],
        '[receiver]\nantenna_lead = "dual"\n',
        "wiring",
        "feed-swapped",
    ),
    # On the warm bench all is well, so 'no fault found'. On cold mornings the ring was open and took every source
    # with it, and nothing was repaired in between: at the last row, a cold start again, it is open.
    "a ring that opens only when cold": (
        [
            "0:00 ring bus open",
            "0:30 ring other-sources lost",
            "20:00 ring bus closed",
            "20:30 ring other-sources working",
            "21:00 audio output playing",
            "600:00 ring bus open",
            "600:30 ring other-sources lost",
            "615:00 ring bus closed",
            "616:00 ring other-sources working",
            "1300:00 ring bus open",
            "1300:30 ring other-sources lost",
        ],
        "",
        "wiring",
        "ring-broken",
    ),
    # No current flows into the antenna, so 'antenna lead open'. But there is no voltage either: the receiver does not
    # feed it, and a known-good antenna at the receiver changes nothing.
    "a feed that is missing at the receiver, read as an open antenna": (
        [
            "0:00 place vehicle open-sky",
            *every(range(1, 11), ["signal satellite:east 0.3 dB", "lock any no"]),
            "11:00 bias voltage 0.1 V",
            "11:10 bias current 0 mA",
            "13:00 swap antenna same",
            "14:00 ring node:receiver present",
        ],
        "",
        "receiver",
        "feed-absent",
    ),
    # Channels are refused, so 'the account'. But nothing has been confirmed yet: refused before the confirmation is
    # what every receiver shows, and the provider's answer is still out.
    "refused before anything was confirmed": (
        [
            "0:00 place vehicle open-sky",
            *every(range(1, 10), ["lock any yes"]),
            *checks(10, "refused"),
            "12:00 account service submitted",
            *every(range(13, 20), ["lock any yes"]),
        ],
        "",
        None,
        None,
    ),
    # Whole categories are refused, so 'wait'. They are not in the booked package and never come; what is booked
    # plays.
    "channels outside the package": (
        [
            "0:00 place vehicle open-sky",
            "0:10 account service confirmed",
            *every(range(1, 60, 3), ["lock any yes"]),
            *checks(30, "authorised", range(1, 13)),
            *checks(58, "authorised", range(1, 13)),
            *checks(59, "refused", range(30, 38)),
        ],
        "",
        "subscription",
        "partial-package",
    ),
}
SPORT = "\n".join(f"{channel},Demo {channel},Sport,sport" for channel in range(30, 38))
SMALL = "\n".join(f"{channel},Demo {channel},Rock,all" for channel in range(1, 13)) + "\n" + SPORT


@pytest.mark.parametrize("name", JOBS)
def test_the_first_thing_one_would_think_of_is_not_what_leads(name):
    rows, sheet, class_, fault = JOBS[name]
    job = make_job("\n".join(rows), sheet + SERVICE, SMALL if name == "channels outside the package" else LINEUP)
    told = satdiag.analyse(job)
    if class_ is None:
        assert told.verdict.state in ("cannot-tell", "filling")
        assert not told.verdict.sure
        assert max(told.diagnosis.faults[one] for one in ("account-lapsed", "id-mismatch")) < 0.5
    else:
        assert (told.verdict.class_, told.verdict.fault) == (class_, fault)
        assert told.verdict.probability > 0.5
