"""Worlds drawn at random: the same bytes again, everything in them, rows that a log accepts, answers to every test.

Physics is checked against values printed in, or computed from, ITU-R P.681 and P.2109. The rest proves the generator
against what it says of itself; simulated data prove nothing about real vehicles.
"""

from __future__ import annotations

import hashlib
import math
import tomllib
from collections import Counter
from functools import cache
from importlib import resources
from random import Random

import pytest

from satdiag.job import build_job
from satdiag.opening import open_job
from satdiag.rows import Row
from satdiag.simulate.worlds import DRAW_SETTINGS, known_tests, make_world, worlds
from satdiag.simulate.worlds import plan as planning
from satdiag.simulate.worlds.causes import CHANGES, KINDS, Extra, draw_cause, kind_weights
from satdiag.simulate.worlds.roads import ROADS, Drive, entry_loss_db
from satdiag.simulate.worlds.settings import TIERS
from satdiag.simulate.worlds.slips import SIBLINGS, wrong_number
from satdiag.vocabulary import CLASS_OF, FAULTS

SET = [(name, number) for name in ("tune", "calibrate") for number in range(16)]
SLIPS_FROM = 40


def job_of(made):
    """A world's job, read and checked as any other."""
    documents = {name: data for name, data in made.files().items() if name != "observations.csv"}
    return build_job(documents, [Row(*texts) for texts in made.rows])


@cache
def drawn(setting, count=3000):
    """Many plans of a setting, unplayed: they cost next to nothing."""
    draw, shares = DRAW_SETTINGS[setting], planning.share_table(DRAW_SETTINGS[setting])
    return [planning.draw_plan(Random(f"many/{setting}/{number}"), draw, shares) for number in range(count)]


def digest(seed, setting):
    total = hashlib.sha256()
    for files, truth in worlds(8, seed, setting):
        for name in sorted(files):
            total.update(name.encode() + b"\0" + files[name])
        total.update(repr(truth).encode())
    return total.hexdigest()


def test_the_same_seed_gives_the_same_bytes_and_another_one_others():
    assert digest(3, "tune") == digest(3, "tune")
    assert len({digest(3, "tune"), digest(4, "tune"), digest(3, "calibrate")}) == 3


def test_a_world_does_not_depend_on_those_before_it():
    alone = make_world("tune", 3, 7).files()
    among = [files for files, _ in worlds(3, 3, "tune", start=5)][2]
    assert alone == among


@pytest.mark.parametrize("setting", ["tune", "calibrate", "final", "later", "unseen", "afresh", "untried", "unmet"])
def test_every_fault_nothing_and_something_else_occur_in_each_tier(setting):
    seen = {tier: Counter() for tier in TIERS}
    for plan in drawn(setting):
        seen[plan.tier].update(plan.names or ("other" if plan.other else "none",))
    for tier in TIERS:
        assert set(seen[tier]) == {*FAULTS, "none", "other"}


def test_faults_and_classes_are_those_of_the_log():
    assert set(planning.NAMES_OF_FAULTS) == set(FAULTS)
    assert {fault: planning.class_named(fault) for fault in FAULTS} == CLASS_OF
    assert set(planning.FIRST_TO_NAME) == {*FAULTS, "other"}
    assert {fault for pair in planning.PAIRS for fault in pair} <= set(FAULTS)


def test_settings_differ_in_what_they_say_they_differ_in():
    told = list(DRAW_SETTINGS.values())
    assert len(told) == 8
    for field in ("severity", "copied", "readout_off_db", "misread", "looks_away", "prevalence_seed"):
        assert len({getattr(setting, field) for setting in told}) == len(told)
    tables = [planning.share_table(setting)["complaint"] for setting in told]
    factors = [tables[0][fault] / tables[1][fault] for fault in FAULTS]
    assert max(factors) > 2.0 > 0.5 > min(factors)
    for table in tables:  # a common factor may bring the sum down; among faults a factor of 3 against one of 1/3 is 9
        moved = [table[f] / (planning.SHARES[f][1] / 1000) for f in FAULTS if planning.SHARES[f][1] >= 18]
        assert 3.0 < max(moved) / min(moved) < 9.01


def test_workshops_see_different_faults_and_kinds_of_them():
    """Each within the factors of a setting; the worlds of a set come from many of them. Our own numbers only."""
    setting = DRAW_SETTINGS["afresh"]
    shops = [setting.of_shop(shop) for shop in range(setting.shops)]
    shares = [planning.share_table(shop)["complaint"]["ring-broken"] for shop in shops]
    assert max(shares) / min(shares) > 3.0
    weights = [kind_weights("receiver-defective", shop.kinds_seed) for shop in shops]
    restarts = [each[-1] / sum(each) for each in weights]
    assert max(restarts) / min(restarts) > 3.0
    came_from = {make_world("afresh", 5, number).plan.kinds_seed for number in range(8)}
    assert len(came_from) > 3
    assert came_from <= {shop.kinds_seed for shop in shops}


def test_times_pairs_and_two_places():
    whens = Counter(trouble.when for plan in drawn("tune") for trouble in plan.troubles)
    assert set(whens) == {"steady", "began", "mended", "comes-and-goes"}
    counts = Counter(len(plan.troubles) for plan in drawn("tune"))
    assert counts[2] > 100
    assert counts[3] >= 3
    for plan in drawn("tune"):
        assert len(set(plan.names) & set(planning.AT_A_PLACE)) <= 1
        assert len(set(plan.names)) == len(plan.names)


@pytest.mark.parametrize(("setting", "number"), SET)
def test_a_job_passes_the_check_and_holds_its_truth_apart(setting, number, tmp_path):
    made = make_world(setting, 11, number)
    job = open_job(made.write(tmp_path / "job"))
    assert len(job.rows) >= 6
    assert "truth.toml" not in job.documents
    truth = made.truth
    assert truth.fault in (truth.present or ("none",))
    assert (truth.state in ("works", "filling")) == (not truth.present)
    assert truth.class_ == planning.class_named(truth.fault)
    if truth.state == "filling":
        assert set(truth.entitled) > made.person.world.authorised
    assert job.sheet.reason == truth.reason


@pytest.mark.parametrize("tier", TIERS)
@pytest.mark.parametrize("number", [0, 5])
def test_every_test_of_the_diagnosis_has_an_answer_that_the_log_accepts(tier, number):
    text = resources.files("satdiag.diagnosis").joinpath("faults.toml").read_text("utf-8")
    made = make_world("tune", 21, number, tier)
    wanted = set(tomllib.loads(text)["test"])
    assert wanted <= set(known_tests())
    before = len(made.rows)
    for test in known_tests():
        rows = made.answer(test)
        assert rows
        before += len(rows)
        assert len(made.rows) == before
    job_of(made)
    assert "horizon.csv" in made.files()
    again = make_world("tune", 21, number, tier)
    for test in known_tests():
        again.answer(test)
    assert again.files() == made.files()


def forced(fault, severity, tier="rich", reason="complaint", seed=0):
    """A world with one fault from the first second to the last, and a dual lead where that is its matter."""
    from satdiag.simulate.worlds.made import play
    from satdiag.simulate.worlds.plan import Plan, Trouble

    plan = Plan(reason, tier, (Trouble(fault, severity),), dual_lead=fault == "feed-swapped", slow_person=0.7)
    return play(DRAW_SETTINGS["tune"], seed, 0, plan, f"forced/{fault}/{severity}/{seed}")


@pytest.mark.parametrize("fault", FAULTS)
def test_each_fault_holds_and_its_own_test_shows_it_when_bad(fault):
    """The one test that the trade has for a fault (common practice, no source) shows it in most vehicles."""
    shows = {
        "antenna-open": ("measure-bias", ("bias", "current"), lambda v: float(v) < 8),
        "antenna-short": ("measure-bias", ("bias", "current"), lambda v: float(v) > 120),
        "antenna-weak": ("swap-antenna", ("swap", "antenna"), lambda v: v == "better"),
        "feed-swapped": ("swap-antenna", ("swap", "antenna"), lambda v: v == "better"),
        "feed-lossy": ("swap-lead", ("swap", "lead"), lambda v: v == "better"),
        "ring-broken": ("check-ring", ("ring", "bus"), lambda v: v == "open"),
        "ring-order": ("read-positions", ("ring", "position:receiver"), lambda v: v != "3"),
        "node-unpowered": ("check-node", ("ring", "node:receiver"), lambda v: v == "absent"),
        "not-configured": ("read-configuration", ("configuration", "readback"), lambda v: v == "differs"),
        "not-activated": ("check-account", ("account", "service"), lambda v: v != "confirmed"),
        "account-lapsed": ("check-account", ("account", "service"), lambda v: v == "lapsed"),
        "id-mismatch": ("compare-identifier", ("identity", "receiver-id"), lambda v: v == "mismatch"),
        "indoors": ("move-outdoors", ("swap", "place"), lambda v: v == "better"),
        "interference": ("move-outdoors", ("swap", "place"), lambda v: v == "better"),
        "obstructed": ("move-outdoors", ("swap", "place"), lambda v: v in ("better", "same")),
        "receiver-defective": ("swap-receiver", ("swap", "receiver"), lambda v: v == "better"),
        "feed-absent": ("measure-bias", ("bias", "voltage"), lambda v: float(v) < 1),
        "supply-dropout": ("measure-supply", ("supply", "receiver-minimum"), lambda v: float(v) < 7.5),
    }
    test, key, wanted = shows.get(fault, ("read-levels", None, None))
    right = 0
    for seed in range(4):
        made = forced(fault, 0.9, seed=seed)
        assert made.truth.fault == fault
        rows = made.answer(test)
        if key is None:
            right += 1
            continue
        values = [r[3] for r in rows if r[1] == key[0] and r[2].startswith(key[1]) and r[3] != "unreadable"]
        right += bool(values) and any(wanted(value) for value in values)
    assert right >= (2 if fault == "ring-order" else 3)


@pytest.mark.parametrize(("fault", "comes"), [("entitlement-not-received", True), ("id-mismatch", False)])
def test_a_resend_brings_what_was_not_passed_on_and_nothing_to_another_receiver(fault, comes):
    """The provider's queue: an order that was lost is given anew; one for another receiver goes there again."""
    made = forced(fault, 0.9)
    rows = made.answer("ask-resend")
    assert ("account", "service", "resend-requested") in [row[1:4] for row in rows]
    looks = [row[3] for row in rows if row[1] == "channel"]
    assert looks
    assert (looks.count("authorised") >= 3) is comes
    assert (fault in made.truth.present) is not comes


def test_what_was_never_activated_cannot_be_sent_again():
    made = forced("not-activated", 0.9)
    rows = made.answer("ask-resend")
    assert {row[1] for row in rows} == {"account"}
    assert "resend-requested" not in {row[3] for row in rows}
    assert made.truth.present == ("not-activated",)


@pytest.mark.parametrize("what", ["antenna", "lead"])
def test_a_part_that_was_tried_is_read_with_and_goes_back(what):
    """An open lead, and a known-good antenna with a lead of its own, or a lead: locks in between, none after."""
    from dataclasses import replace

    made = forced("antenna-open", 0.9)
    cause = next(iter(made.person.world.carried.values())).cause
    made.person.world.carry(replace(cause, kind="lead"))
    made.person.setting = replace(made.person.setting, put_back=1.0, wrong_entry=0.0, copied=0.0)
    for _ in range(8):  # three judgements in a hundred miss the difference
        rows = made.answer(f"swap-{what}")
        tries = [place for place, row in enumerate(rows) if row[1] == "swap"]
        if rows[tries[0]][3] == "better":
            break
    assert [rows[place][3] for place in tries] == ["better", "worse"]
    assert rows[tries[1]][6] == "old part back in"
    between, after = rows[tries[0] : tries[1]], rows[tries[1] :]
    locked = [{r[3] for r in part if r[1] == "lock" and r[2].startswith("satellite")} for part in (between, after)]
    assert "yes" in locked[0]
    assert locked[1] == {"no"}
    assert made.person.world.lent is None


def test_severity_makes_it_worse_and_nothing_is_left_after_mending():
    """More loss for more severity, and a mended vehicle is the one it was (our own model, no source)."""
    made = forced("antenna-weak", 0.5)
    world = made.person.world
    well = {"antenna": world.well["antenna"], "bias_load": world.well["bias_load"]}
    cause = next(iter(world.carried.values())).cause
    levels = []
    for severity in (0.1, 0.4, 0.7, 1.0):
        world.carry(type(cause)(cause.fault, severity, "element", cause.a, cause.b, cause.node))
        levels.append(world.base_db[0])
    assert levels == sorted(levels, reverse=True)
    world.mend("antenna-weak")
    assert {name: getattr(world.setup, name) for name in well} == well


def test_any_two_causes_leave_a_vehicle_that_goes_on():
    """Every cause on top of every other: the vehicle can be solved, and lives on for some seconds."""
    world = forced("antenna-weak", 0.5, tier="sparse").person.world
    for one in CHANGES:
        for two in CHANGES:
            for fault in (one, two):
                world.carry(draw_cause(Random(f"{one}/{two}"), fault, 0.6))
            world.advance(2)
            assert isinstance(world.extra, Extra)
            for fault in (one, two):
                world.mend(fault)


def test_kinds_come_as_often_as_their_setting_says():
    """Within four standard deviations; without a seed, as often as the list has the word. Our own numbers only."""
    for kinds_seed, weights in ((None, (1, 1, 1, 1, 1)), (506, kind_weights("receiver-defective", 506))):
        rng, words = Random("kinds"), KINDS["receiver-defective"]
        drawn = [draw_cause(rng, "receiver-defective", 0.5, kinds_seed).kind for _ in range(2000)]
        for word in set(words):
            share = sum(weight for one, weight in zip(words, weights, strict=True) if one == word) / sum(weights)
            assert abs(drawn.count(word) / 2000 - share) < 4 * math.sqrt(share * (1 - share) / 2000)


@pytest.mark.long
def test_wrong_entries_come_as_often_as_stated():
    """The share of slips lies within four standard deviations of the stated one."""
    for setting in ("tune", "calibrate"):
        stated = DRAW_SETTINGS[setting].wrong_entry
        made = [make_world(setting, 31, number) for number in range(400)]
        rows = sum(one.person.could_slip for one in made)
        wrong = sum(one.person.wrong for one in made)
        assert abs(wrong - stated * rows) < 4 * math.sqrt(stated * rows)


def test_wrong_entries_come_about_as_often_as_stated():
    made = [make_world("tune", 31, number) for number in range(SLIPS_FROM)]
    rows = sum(one.person.could_slip for one in made)
    wrong = sum(one.person.wrong for one in made)
    assert abs(wrong - rows / 200) < 4 * math.sqrt(rows / 200)
    assert made[0].truth.could_be_wrong == made[0].person.could_slip


NUMBERS = [("5.03", "V"), ("42", "mA"), ("3", "bars/5"), ("10", "bars/10"), ("100", "percent"), ("7", "percent")]


@pytest.mark.parametrize(
    ("text", "unit"), [*NUMBERS, ("0.0", "dB"), ("0", "percent"), ("-1.5", "dB"), ("88.2", "dB-Hz")]
)
def test_a_wrong_number_is_another_number_of_its_unit(text, unit):
    for seed in range(200):
        wrong = wrong_number(text, unit, Random(seed))
        assert float(wrong) != float(text)
        assert unit != "percent" or float(wrong) <= 100
        assert not unit.startswith("bars") or (wrong.isdigit() and int(wrong) <= int(unit[5:]))


def test_words_that_slip_are_words_of_the_log():
    from satdiag.vocabulary import entries_of

    for kind, words in SIBLINGS.items():
        states = {state for entry in entries_of(kind) for state in entry.states}
        assert set(words) <= states


@pytest.mark.parametrize(
    ("elevation", "efficient", "half", "nine_tenths"),
    [
        (0, False, 15.149, 27.534),
        (20, False, 18.786, 31.679),
        (30, False, 20.752, 33.777),
        (45, True, 38.102, 56.916),
    ],
)
def test_building_entry_loss(elevation, efficient, half, nine_tenths):
    """ITU-R P.2109-2 at 2.33 GHz; values of two other implementations of it (the second: pycraf 2.1.0)."""
    assert entry_loss_db(0.5, elevation, efficient=efficient) == pytest.approx(half, abs=0.002)
    assert entry_loss_db(0.9, elevation, efficient=efficient) == pytest.approx(nine_tenths, abs=0.002)


@pytest.mark.parametrize(
    ("column", "good_m", "bad_m"),
    [(("suburban", 30), 73.85, 18.20), (("rural-wooded", 30), 32.64, 23.68), (("rural-wooded", 45), 70.80, 26.93)],
)
def test_road_states_last_as_long_as_the_recommendation_has_it(column, good_m, bad_m):
    """Means of the truncated log-normal of ITU-R P.681-11, Annex 2, in closed form from its parameters."""
    rng = Random(1)
    for state, mean_m in zip(ROADS[column][:2], (good_m, bad_m), strict=True):
        drawn_m = [state.length_m(rng) for _ in range(30000)]
        assert sum(drawn_m) / len(drawn_m) == pytest.approx(mean_m, rel=0.07)


def test_a_road_is_in_shadow_as_often_as_the_recommendation_has_it():
    """Share of good road of ITU-R P.681-11 for wooded country: 0.580 at 30 degrees, 0.724 at 45."""
    drive = Drive("rural-wooded", (30.0, 45.0), 1.0, 0.0, 12.0)
    rng = Random(4)
    good = [0, 0]
    for _ in range(40000):
        drive.step(rng)
        for path in (0, 1):
            good[path] += not drive.fades[path].bad
    assert good[0] / 40000 == pytest.approx(0.580, abs=0.03)
    assert good[1] / 40000 == pytest.approx(0.724, abs=0.03)


def test_sentences_of_a_navigation_receiver_are_read():
    """A world with them gives a job whose sentences another room reads; roofs cost it satellites."""
    from satdiag.gnss.bulk import read_sky

    made = next(m for m in (make_world("tune", 41, n, "rich") for n in range(60)) if "gnss.nmea" in m.files())
    rows = read_sky(made.files()["gnss.nmea"])
    site = {site.name: site for site in made.person.world.setup.sites}[made.person.world.place.site]
    assert rows.track.timed
    assert rows.track.latitude_deg == pytest.approx(site.latitude_deg, abs=1e-5)
    assert rows.track.longitude_deg == pytest.approx(site.longitude_deg, abs=1e-5)
    assert len(rows.satellites) == 12


def test_a_good_vehicle_beside_a_bad_one_is_better_and_under_one_roof_it_is_not():
    """The same minutes in two logs (our own model): an open lead is the vehicle's own, a roof is over both."""
    shares = {}
    for fault in ("antenna-open", "indoors"):
        made = forced(fault, 0.97)
        rows = made.answer("stand-beside")
        documents, theirs = made.reference()
        other = build_job(documents, [Row(*texts) for texts in theirs])
        job_of(made)
        assert abs(other.end_s - 600) < 60
        locks = [r[3] for r in theirs if r[1] == "lock" and r[2].startswith("satellite")]
        ours = [r[3] for r in rows if r[1] == "lock" and r[2].startswith("satellite")]
        shares[fault] = ours.count("yes") / len(ours), locks.count("yes") / len(locks)
    assert shares["antenna-open"][0] < 0.1 < 0.9 < shares["antenna-open"][1]
    assert max(shares["indoors"]) < 0.2
