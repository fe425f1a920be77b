"""What the explanations promise, done: wrong readings planted and named, figures moved by hand, answers given."""

import copy
import re
import tomllib
from importlib.resources import files

import pytest

import satdiag
from satdiag.diagnosis import inference
from satdiag.diagnosis.estimate import NO_SURPRISE, SURPRISE, diagnose, weigh
from satdiag.diagnosis.evidence import Known
from satdiag.diagnosis.explain import of_hundred
from satdiag.diagnosis.inference import scale_odds
from satdiag.diagnosis.model import build_model, load_model
from satdiag.diagnosis.repairs import repairs
from satdiag.diagnosis.titles import TITLES
from satdiag.diagnosis.worth import losses, perfect_saving, saving
from satdiag.entitlement.estimate import estimate_entitlement
from satdiag.exposure import exposure_clock
from satdiag.signal.estimate import estimate_signal
from satdiag.sky.estimate import estimate_sky
from satdiag.tuning.estimate import estimate_tuning
from satdiag.vocabulary import REASONS
from satdiag.wiring.estimate import estimate_wiring
from tests.diagnosis.test_hard_jobs import GOOD, JOBS
from tests.diagnosis.test_verdict import belief_in
from tests.diagnosis.test_where_the_naive_reading_is_wrong import LINEUP, SERVICE, checks, every
from tests.helpers import make_job

SOUND = {
    "place": ["0:00 place vehicle open-sky"],
    "account": ["0:10 account service confirmed"],
    "identity": ["0:20 identity receiver-id match"],
    "listing": ["0:30 listing source yes"],
    "configuration": ["0:40 configuration readback matches"],
    "ring": ["0:50 ring bus closed"],
    "node": ["0:52 ring node:receiver present"],
    "other-sources": ["0:54 ring other-sources working"],
    "levels": every(range(1, 61), GOOD),
    "bias": ["20:00 bias voltage 4.8 V", "20:05 bias current 41 mA"],
    "supply": ["21:00 supply receiver 12.7 V", "21:30 supply receiver-minimum 12.2 V"],
    "noise-rise": [
        "22:00 feed bias off",
        "22:10 noise receiver 3.0 dB",
        "22:40 feed bias on",
        "22:50 noise receiver 15.5 dB",
    ],
    "channels": checks(50, "authorised"),
    "open-channel": ["53:00 channel 90 authorised"],
    "audio": ["54:00 audio output playing"],
    "errors": ["55:00 errors satellite:east 0.3 percent"],
    "swap-antenna": ["56:00 swap antenna same"],
}
# What somebody might have misread or written wrongly, in place of the rows of the same name.
WRONG = [
    ("bias", ["20:00 bias voltage 5.0 V", "20:05 bias current 0 mA"], True),
    ("bias", ["20:00 bias voltage 0.2 V", "20:05 bias current 190 mA"], True),
    ("identity", ["0:20 identity receiver-id mismatch"], True),
    ("configuration", ["0:40 configuration readback differs"], True),
    ("account", ["0:10 account service confirmed", "59:00 account service lapsed"], True),
    ("errors", ["55:00 errors satellite:east 40 percent"], True),
    ("place", ["0:00 place vehicle indoors"], True),
    # What comes with nothing wrong a little more often than one time in fifty is the oddest, and not named yet.
    ("listing", ["59:30 listing source no"], False),
    ("open-channel", ["53:00 channel 90 refused"], False),
    ("audio", ["54:00 audio output muted"], False),
    ("supply", ["21:00 supply receiver 7.1 V", "21:30 supply receiver-minimum 7.0 V"], False),
    ("ring", ["59:40 ring bus open"], False),
    ("node", ["59:42 ring node:receiver absent"], False),
    ("noise-rise", [*SOUND["noise-rise"][:3], "22:50 noise receiver 3.1 dB"], False),
    ("swap-antenna", ["56:00 swap antenna better"], False),
]


def known_of(job):
    """A job with what the estimators find in it."""
    sky = estimate_sky(job)
    return Known(
        job=job,
        sky=sky,
        signal=estimate_signal(job, sky),
        entitlement=estimate_entitlement(job, exposure_clock(job)),
        tuning=estimate_tuning(job),
        wiring=estimate_wiring(job),
    )


def job_with(rows, sheet=""):
    return make_job("\n".join(rows), 'reason = "just-installed"\n' + sheet + SERVICE, LINEUP)


def hard(name, more=(), without=""):
    """A hard job, with rows added, or without those that hold a text."""
    rows, _, reason, sheet, lineup, _ = JOBS[name]
    kept = [row for row in rows if not without or without not in row]
    service = SERVICE + ('constellation = "demo-pair"\n' if "[[site]]" in sheet else "")
    return make_job("\n".join([*kept, *more]), f'reason = "{reason}"\n{sheet}{service}', lineup)


def test_a_sound_job_holds_no_odd_reading():
    assert satdiag.analyse(job_with([row for rows in SOUND.values() for row in rows])).diagnosis.odd_reading is None


@pytest.mark.parametrize(("item", "rows", "is_named"), WRONG)
def test_the_one_wrong_reading_of_a_sound_job_is_the_oddest(item, rows, is_named):
    weighed = weigh(known_of(job_with([row for part in {**SOUND, item: rows}.values() for row in part])))
    odd = inference.odd_ones(weighed.model, weighed.whole, weighed.log_prior, weighed.terms)
    oddest, second = sorted(odd, key=lambda one: one.chance)[:2]
    assert oddest.item == item
    assert oddest.chance < NO_SURPRISE < second.chance
    named = diagnose(weighed)[0].odd_reading
    assert is_named == (oddest.chance < SURPRISE) == (named is not None)
    assert named is None or named.item == item


def test_where_items_disagree_and_none_is_a_surprise_none_is_asked_for_again():
    """A roof in a town with a repeater: rare together, and no reading of it wrong."""
    found = satdiag.analyse(hard("a town with a repeater, under a roof")).diagnosis
    assert found.conflict_bits > 2
    assert found.odd_reading is None


# --- figures moved by hand ---------------------------------------------------------------------------------------


def test_the_figures_that_matter_move_the_chance_as_told():
    """Priors to three digits. A row moved in the file moves its other states, too: rows agree less closely."""
    known = known_of(hard("restarts on a sound supply"))
    base = weigh(known)
    found, belief, _ = diagnose(base)
    seen = {one.item: one for one in base.seen}
    compared = 0
    for swing in found.swings:
        if swing.what == "kind" or (swing.what != "prior" and seen[swing.what].soft is not None):
            continue
        ranged = (1 / 3, 3) if swing.what == "prior" else (1 / 2, 2)
        state = None if swing.what == "prior" else seen[swing.what].state
        ends = [weigh(known, moved(swing.what, swing.of, state, factor)).whole for factor in ranged]
        chances = sorted(end.probability_of(belief.fault) for end in ends)
        assert chances == pytest.approx([swing.low, swing.high], abs=5e-4 if swing.what == "prior" else 0.03)
        assert swing.changes_lead == any(end.top() != base.whole.top() for end in ends)
        compared += 1
    assert compared >= 4


def moved(what, of, state, factor):
    """The packaged model with the odds of one prior, or of one state in the rows of one fault, multiplied."""
    data = copy.deepcopy(tomllib.loads(files("satdiag.diagnosis").joinpath("faults.toml").read_text("utf-8")))
    at = REASONS.index("complaint")
    if what == "prior" and of == "none":
        data["none_factor"][at] *= factor
    elif what == "prior":
        prior = data["other_prior"] if of == "other" else data["fault"][of]["prior"]
        prior[at] = scale_odds(prior[at], factor)
    else:
        item = data["item"][what]
        place = item["states"].index(state)
        rows = [row["p"] for name, row in item["given"].items() if name.partition("/")[0] == of]
        rows = [item["healthy"]] if of == "none" else rows
        if not rows:
            item["given"][of] = {"p": list(item["healthy"]), "why": "as with nothing wrong"}
            rows = [item["given"][of]["p"]]
        for row in rows:
            new = scale_odds(row[place], factor)
            others = (1 - new) / (1 - row[place])
            row[:] = [new if k == place else p * others for k, p in enumerate(row)]
    return build_model(data)


# --- what would change the mind ----------------------------------------------------------------------------------

THREE_RESTARTS = tuple(f"{minute}:00 reset receiver seen" for minute in (1242, 1243, 1244))
# A job; rows left out or rows added; and the fault that the explanation names for that case.
CHANGES = [
    ("a second-hand receiver on the old owner's account", " account ", (), "account-lapsed"),
    ("silent loudspeakers", "other-sources", (), "audio-path"),
    ("restarts on a sound supply", " reset ", (), "none"),
    ("a town with a repeater, under a roof", "", ("40:00 swap lead better",), "feed-swapped"),
    ("a strong emission at one place", "", ("50:00 swap place same",), "feed-lossy"),
    ("yesterday in the garage", "", THREE_RESTARTS, "supply-dropout"),
]


@pytest.mark.parametrize(("name", "without", "more", "fault"), CHANGES)
def test_what_would_change_the_mind_changes_it(name, without, more, fault):
    before, after = satdiag.analyse(hard(name)), satdiag.analyse(hard(name, more, without))
    begins = "Should a test show this: " if more else "Were this reading wrong: "
    told = [text for text in before.diagnosis.explanation.change_mind if text.startswith(begins)]
    assert any(text.endswith(f"then most likely {TITLES[fault]}.") for text in told)
    assert before.verdict.fault != fault
    assert after.verdict.fault == fault


@pytest.mark.parametrize(
    ("name", "without"),
    [
        ("a drive under trees with a good antenna", "place vehicle canopy"),
        ("a town with a repeater, under a roof", "place"),
    ],
)
def test_a_lead_of_less_than_half_is_not_called_likely(name, without):
    told = satdiag.analyse(hard(name)).diagnosis.explanation.change_mind
    assert any(text.endswith("then the cause could not be told any more.") for text in told)
    rest = satdiag.analyse(hard(name, without=without)).diagnosis
    assert max(rest.classes.values()) < 0.5


# --- counts and values -------------------------------------------------------------------------------------------


def test_the_hundred_vehicles_add_up():
    """Who has none of what is named is counted at the end; where pairs make it more than a hundred, that is said."""
    rest = of_hundred(belief_in(antenna_open=0.40, receiver_defective=0.20, none=0.15, indoors=0.13, foliage=0.12))
    assert "and about 25 would have another cause." in rest
    for text in (rest, of_hundred(belief_in(antenna_open=0.5, indoors=0.47, none=0.03))):
        assert sum(map(int, re.findall(r"about (\d+)", text))) == 100
        assert "more than one" not in text
    pairs = of_hundred(belief_in(antenna_open__indoors=0.3, antenna_open=0.4, foliage=0.3))
    assert [int(number) for number in re.findall(r"about (\d+)", pairs)] == [70, 30, 30]
    assert pairs.endswith("Some would have more than one.")


def test_what_nothing_seen_speaks_for_is_not_counted_by_name():
    told = satdiag.analyse(hard("a drive under trees with a good antenna")).diagnosis
    assert told.faults["partial-package"] > 0.03  # as often as such vehicles come anyway
    assert "package" not in told.explanation.of_hundred


def test_a_package_that_leaves_channels_out_is_no_repair_unless_it_leads():
    model = load_model()
    torn = belief_in(partial_package=0.3, antenna_open=0.4, receiver_defective=0.3)
    assert [one.fault for one in repairs(model, torn)] == ["antenna-open", "receiver-defective"]
    assert repairs(model, belief_in(partial_package=0.8, antenna_open=0.2))[0].fault == "partial-package"


@pytest.mark.parametrize("name", ["a town with a repeater, and no word of the place", "restarts on a sound supply"])
def test_no_test_is_worth_less_than_nothing_or_more_than_the_truth(name):
    """EVSI lies between 0 and EVPI (Raiffa 1968)."""
    weighed = weigh(known_of(hard(name)))
    bench, whole = diagnose(weighed)[2].bench, weighed.whole
    loss = losses(weighed.model, whole.space)
    most = perfect_saving(loss, whole)
    worths = [saving(loss, whole.p[:, None] * bench.option(test, whole).table) for test in bench.tests()]
    assert len(worths) > 10
    assert -1e-9 <= min(worths) <= max(worths) <= most + 1e-9
