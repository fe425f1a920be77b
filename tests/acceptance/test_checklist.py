"""The checklist: the latest row decides, an old proof is none of now, and no claim goes beyond its rows."""

import json

import pytest

from satdiag.acceptance.checklist import checklist
from satdiag.acceptance.checklist_document import STATES
from satdiag.acceptance.checklist_items import SECTIONS
from satdiag.language import speaking
from tests.acceptance.light_findings import light_findings
from tests.helpers import make_job

LINEUP = """
    5,Preview,,open
    31,Example,music,music
"""


def walk(rows_text, sheet="", lineup=None):
    """The checklist of a small job."""
    job = make_job(rows_text, sheet, lineup)
    return checklist(job, light_findings(job))


def item(found, key):
    """One item by its key."""
    return next(one for one in found.items if one.key == key)


def state(rows_text, key, **more):
    """State of one item and whether it was seen earlier only."""
    one = item(walk(rows_text, **more), key)
    return one.state, one.earlier


def test_six_sections_with_every_question_once_in_order():
    assert [key for key, _, _ in SECTIONS] == ["install", "ring", "configuration", "feed", "reception", "activation"]
    assert all(4 <= len(steps) <= 8 for _, _, steps in SECTIONS)
    steps = [step for _, _, part in SECTIONS for step in part]
    asked = [step.question for step in steps if step.question]
    assert asked == sorted(asked)
    assert set(asked) == set(range(1, 11))
    assert len({step.key for step in steps}) == len(steps)
    assert all(text.endswith(".") for step in steps for text in (step.why, step.how, step.caution) if text)


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("battery", ("exhaust gas kills", "charger", "door open or not")),
        ("disconnect", ("vehicle's manual", "Local codes")),
        ("safety-wiring", ("yellow", "do not probe", "Local codes")),
        ("tap", ("airbags, brakes, engine", "never feed back")),
        ("bias", ("Never bring 12 V to its centre conductor", "1 A")),
        ("changes", ("Not while driving",)),
        ("fibres", ("Do not look into a fibre",)),
        ("refresh", ("exhaust gas kills",)),
    ],
)
def test_cautions_stand_at_their_steps(key, words):
    caution = item(walk("0:00 note - a"), key).caution
    assert all(word in caution for word in words)


def test_an_empty_log_proves_nothing():
    found = walk("")
    assert found.counts["proved"] == found.counts["contradicted"] == found.counts["partly"] == 0
    assert found.next == "other-sources"
    assert sum(found.counts.values()) == len(found.items)
    assert set(found.counts) == set(STATES)
    document = json.loads(json.dumps(found.to_dict()))
    assert (document["schema"], document["as_of"]) == (1, None)


RING = [
    ("0:00 ring bus closed", "proved", False),
    ("0:00 ring bus open", "contradicted", False),
    ("0:00 ring bus open\n1:00 ring bus closed", "proved", False),
    ("0:00 ring bus closed\n1:00 ring bus open", "contradicted", False),
    ("0:00 ring bus open\n1:00 audio output playing", "proved", False),
    ("0:00 audio output playing\n1:00 ring bus open", "contradicted", False),
    ("0:00 ring bus closed\n5:00:00 note - back", "partly", True),
    ("0:00 ring bus open\n5:00:00 note - back", "missing", True),
    ("0:00 ring bus unreadable", "missing", False),
    ("0:00 ring bus closed\n1:00 swap receiver same\n2:00 note - z", "partly", True),
    ("0:00 ring other-sources working", "missing", False),
]


@pytest.mark.parametrize(("rows", "expected", "earlier"), RING)
def test_the_latest_row_decides_and_an_old_one_is_no_proof(rows, expected, earlier):
    assert state(rows, "ring-closed") == (expected, earlier)


def test_an_earlier_proof_says_so():
    one = item(walk("0:00 ring bus closed\n5:00:00 note - back"), "ring-closed")
    assert one.text.startswith("Earlier, before the last visit")
    assert (one.seen, one.at, one.rows) == ("optical ring: closed", "2031-05-03T14:00:00Z", ("row 1",))


@pytest.mark.parametrize("part", ["antenna", "lead", "receiver"])
def test_a_swap_makes_the_feed_and_the_lock_earlier(part):
    sheet = "[receiver]\nbias_nominal_v = 5\nbias_normal_ma = [15, 80]\n"
    rows = "0:00 bias voltage 4.6 V\n0:01 bias current 40 mA\n1:00 lock any yes\n"
    assert state(rows, "bias", sheet=sheet) == ("proved", False)
    assert state(rows, "signal-passes", sheet=sheet) == ("proved", False)
    swapped = f"{rows}2:00 swap {part} same"
    assert state(swapped, "bias", sheet=sheet) == ("partly", True)
    assert state(swapped, "signal-passes", sheet=sheet) == ("partly", True)


@pytest.mark.parametrize(("milliamps", "expected"), [(40, "proved"), (0, "contradicted"), (300, "contradicted")])
def test_the_feed(milliamps, expected):
    sheet = "[receiver]\nbias_nominal_v = 5\nbias_normal_ma = [15, 80]\n"
    rows = f"0:00 bias voltage 4.6 V\n0:01 bias current {milliamps} mA"
    assert item(walk(rows, sheet), "bias").state == expected


# --- what is heard -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        ("0:00 tune 5 requested\n0:02 tune 5 audio", "proved"),
        ("0:00 channel 5 authorised\n0:30 audio output playing", "proved"),
        ("0:00 channel 5 authorised", "partly"),
        ("0:00 channel 5 authorised\n9:00 audio output playing", "partly"),
        ("0:00 channel 31 authorised\n0:30 audio output playing", "missing"),
        ("0:00 channel 5 refused", "missing"),
    ],
)
def test_an_open_channel_must_be_heard(rows, expected):
    assert item(walk(rows, lineup=LINEUP), "open-channel").state == expected


def test_an_open_channel_heard_answers_the_first_seven_questions():
    found = walk("0:00 tune 5 requested\n0:02 tune 5 audio", lineup=LINEUP)
    for key in ("ring-closed", "receiver-answers", "listed", "sound", "signal-passes", "open-channel"):
        assert item(found, key).state == "proved"
    for key in ("bias", "noise-rise", "readback", "other-sources", "lock", "satellites"):  # heard, not measured
        assert item(found, key).state == "missing"
    assert found.next == "identity"


def test_without_open_channels_in_the_line_up_it_is_left_to_the_hand():
    assert (
        item(walk("0:00 channel 31 authorised", lineup="31,Example,music,music"), "open-channel").state == "missing"
    )


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        ("0:00 channel 31 authorised\n1:00 lock any yes\n1:10 audio output muted", "contradicted"),
        ("0:00 channel 31 refused\n1:00 lock any yes\n1:10 audio output muted", "missing"),
        ("0:00 channel 31 authorised\n1:00 lock any no\n1:10 audio output muted", "missing"),
        ("0:00 channel 31 authorised\n1:00 lock any yes\n1:10 audio output broken", "missing"),
        (
            "0:00 channel 31 authorised\n1:00 lock any yes\n1:10 audio output muted\n2:00 audio output playing",
            "proved",
        ),
    ],
)
def test_silence_speaks_against_the_sound_only_where_there_should_be_some(rows, expected):
    assert item(walk(rows), "sound").state == expected


# --- supply, reception, account ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        ("0:00 supply receiver 12.5 V", "proved"),
        ("0:00 supply receiver 8.9 V", "contradicted"),
        ("0:00 supply receiver 8.9 V\n1:00 supply receiver 12.5 V", "contradicted"),
        ("0:00 supply receiver 12.5 V\n1:00 supply receiver-minimum 7.6 V", "partly"),
        ("0:00 supply receiver 12.5 V\n0:30 reset receiver seen\n1:00 supply receiver-minimum 7.6 V", "contradicted"),
        ("0:00 supply receiver 16.2 V", "contradicted"),
        ("0:00 supply receiver 8.9 V\n5:00:00 supply receiver 12.5 V", "proved"),
        ("0:00 supply receiver 12.5 V\n5:00:00 note - back", "partly"),
        ("0:00 note - a", "missing"),
    ],
)
def test_the_supply(rows, expected):
    assert item(walk(rows), "supply").state == expected


def test_nothing_else_is_said_of_the_supply_only_where_these_are_all_its_voltages():
    once = item(walk("0:00 supply receiver 12.5 V"), "supply").text
    assert once == "1 voltage read, 12.5 V, within 9 V to 16 V (code C). Nothing else was seen of it."
    again = item(walk("0:00 supply receiver-minimum 7.4 V\n5:00:00 supply receiver 12.5 V"), "supply").text
    assert again == "1 voltage read in this visit, 12.5 V, within 9 V to 16 V (code C)."


@pytest.mark.parametrize(("volts", "expected"), [(12.2, "proved"), (12.1, "contradicted"), (13.4, "proved")])
def test_the_battery(volts, expected):
    assert item(walk(f"0:00 supply receiver {volts} V"), "battery").state == expected


def test_a_channel_that_was_tuned_to_is_in_the_list():
    one = item(walk("0:00 tune 31 requested\n0:02 tune 31 audio", lineup=LINEUP), "channels-listed")
    assert (one.state, one.seen) == ("proved", "channel 31: sound heard")


def test_a_lock_must_hold_five_minutes():
    rows = [f"{minute}:00 lock any yes" for minute in range(6)]
    assert state("\n".join(rows), "lock") == ("proved", False)
    assert state("\n".join(rows[:5]), "lock") == ("partly", False)
    broken = "\n".join([*rows[:3], "2:30 lock any no", *rows[3:]])
    assert state(broken, "lock") == ("partly", False)
    assert state("0:00 lock any no", "lock") == ("contradicted", False)
    assert state("\n".join([*rows, "6:00 place vehicle street", "7:00 place vehicle indoors"]), "lock")[1]


@pytest.mark.parametrize(
    ("place", "expected"), [("open-sky", "contradicted"), ("indoors", "partly"), (None, "partly")]
)
def test_a_poor_level_speaks_against_nothing_unless_the_sky_is_open(place, expected):
    rows = [f"0:00 place vehicle {place}"] if place else []
    rows += [f"{minute}:00 signal satellite 1.0 dB" for minute in range(1, 6)]
    assert item(walk("\n".join(rows)), "satellites").state == expected


def test_a_few_readings_prove_little():
    rows = [f"{minute}:00 signal satellite 14.0 dB" for minute in range(1, 6)]
    assert item(walk("\n".join(rows)), "satellites").state == "proved"
    assert item(walk("\n".join(rows[:2])), "satellites").state == "partly"


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        ("0:00 account service confirmed", "proved"),
        ("0:00 account service submitted", "partly"),
        ("0:00 account service confirmed\n1:00 account service lapsed", "contradicted"),
        ("0:00 account service confirmed\n9:00:00 note - back", "proved"),
        ("0:00 account service confirmed\n1:00 swap receiver better", "missing"),
    ],
)
def test_the_account_holds_until_the_receiver_is_exchanged(rows, expected):
    assert item(walk(rows), "account").state == expected


@pytest.mark.parametrize(
    ("sheet", "key", "expected"),
    [
        ("second_hand = false", "second-hand", "does-not-apply"),
        ("second_hand = true", "second-hand", "missing"),
        ('antenna_lead = "single"\nadaptor = "none"', "adaptor", "does-not-apply"),
        ('antenna_lead = "dual"\nadaptor = "combiner"', "adaptor", "partly"),
        ('antenna_lead = "dual"', "lead", "proved"),
        ('id = "DEMO0000A7"', "number", "proved"),
    ],
)
def test_what_the_sheet_settles(sheet, key, expected):
    found = walk("0:00 note - a", f"[receiver]\n{sheet}\n")
    assert item(found, key).state == expected
    assert "DEMO0000A7" not in json.dumps(found.to_dict())


@pytest.mark.parametrize(
    ("language", "ring", "tuned", "supply"),
    [
        ("en", "optical ring: closed", "channel 31: sound heard", "supply: 12.4 V"),
        ("es", "anillo óptico: cerrado", "canal 31: se oyó el sonido", "alimentación eléctrica: 12,4 V"),
        ("fr", "anneau optique\u202f: fermé", "canal 31\u202f: son entendu", "alimentation électrique\u202f: 12,4 V"),
    ],
)
def test_the_entry_that_a_step_rests_on_is_named_in_the_language_in_use(language, ring, tuned, supply):
    with speaking(language):
        found = walk("0:00 ring bus closed\n0:05 supply receiver 12.4 V")
        heard = walk("0:00 tune 31 requested\n0:02 tune 31 audio")
    assert item(found, "ring-closed").seen == ring
    assert item(found, "supply").seen == supply
    assert item(heard, "sound").seen == tuned


def test_one_minute_is_said_to_be_one():
    lock = item(walk("0:00 lock any yes\n1:00 lock any yes\n1:01 lock any no"), "lock")
    assert lock.text == "A lock is noted, for 1 minute at a stretch at most; 5 are asked for."
