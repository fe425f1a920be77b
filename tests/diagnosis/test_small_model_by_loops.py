"""The whole reckoning on a small model of its own, against plain loops over sets, kinds and states.

The loops follow the wording at the head of `faults.toml`, in probabilities and without arrays; they prove the code
against that wording, not against the world. No number here is one of the packaged model.
"""

import dataclasses
import math
import tomllib
from itertools import accumulate, combinations, product

import numpy as np
import pytest

from satdiag.diagnosis import inference, quickscore
from satdiag.diagnosis.inference import Posterior, Prior, prior_for
from satdiag.diagnosis.model import LEAST_LEFT, SAME_AGAIN, Fault, Item, build_model
from satdiag.diagnosis.model import Test as Trial
from satdiag.diagnosis.seen import Seen
from satdiag.diagnosis.space import space_of
from satdiag.diagnosis.weighing import combined, is_received, log_terms
from satdiag.sheet import Receiver, Sheet
from satdiag.vocabulary import FAULTS

TOML = """
prior_range = 2.0
likelihood_range = 1.5
error_floor = 0.06
family_correlation = 0.5
family_cap_db = 7.0
tempering = 0.8
family_weight = { air = 0.7, account = 1.4 }
other_share = 0.4
other_prior = [0.1, 0.2, 0.3, 0.4]
other_kinds = { elsewhere = 0.3, anything = 0.7 }
none_factor = [1.0, 0.5, 0.25, 0.75]
second_factor = 0.3
reception_faults = ["indoors", "feed-lossy/constant"]

[can]
meter = "a meter"
ladder = "a ladder"

[fault.indoors]
prior = [0.05, 0.1, 0.15, 0.2]
fix_minutes = 5
action = "Drive out."
customer = "It stands under a roof."
cautions = ["driving", "garage"]

[fault.feed-lossy]
prior = [0.02, 0.04, 0.06, 0.08]
kinds = { constant = 0.5, loose = 0.3, resting = 0.2 }
second_hand_factor = 1.5
new_factor = 0.25
lead_factor = { single = 0.5, dual = 3.0 }
fix_minutes = 40
action = "Clean it."
customer = "A plug is dirty."
cautions = []

[fault.not-activated]
prior = [0.03, 0.06, 0.09, 0.12]
fix_minutes = 20
action = "Have it activated."
customer = "It is not activated."
cautions = []

[fault.antenna-open]
prior = [0.01, 0.02, 0.03, 0.04]
fix_minutes = 30
action = "Plug it in."
customer = "It is not plugged in."
cautions = []

[item.satellite]
family = "air"
what = "the level"
states = ["good", "weak", "none"]
say = ["It is good.", "It is weak.", "There is none."]
healthy = [0.8, 0.15, 0.05]
misread = 0.12
decides = ["antenna-open", "feed-lossy", "indoors"]
given.indoors.p = [0.1, 0.3, 0.6]
given."feed-lossy/constant".p = [0.2, 0.7, 0.1]
given."feed-lossy/loose".p = [0.5, 0.3, 0.2]
given.antenna-open.p = [0.02, 0.08, 0.9]

[item.noise]
family = "air"
what = "the noise"
states = ["low", "high"]
say = ["It is low.", "It is high."]
healthy = [0.9, 0.1]
anew = 0.4
given.antenna-open.p = [0.3, 0.7]
given."other/elsewhere".p = [0.25, 0.75]

[item.channels]
family = "account"
what = "the channels"
states = ["all", "some", "none"]
say = ["All.", "Some.", "None."]
healthy = [0.7, 0.2, 0.1]
through_reception = true
decides = ["indoors"]
given.indoors.p = [0.3, 0.3, 0.4]
given.not-activated.p = [0.05, 0.25, 0.7]
given."feed-lossy/constant".p = [0.4, 0.5, 0.1]
given."feed-lossy/loose".p = [0.6, 0.3, 0.1]
given.other.p = [0.5, 0.25, 0.25]

[item.letter]
family = "paper"
what = "the letter"
states = ["came", "missing"]
say = ["It came.", "It is missing."]
healthy = [0.95, 0.05]

[test.climb]
item = "satellite"
minutes = 12
text = "Climb up and look."
cautions = ["roof"]
repeatable = true
needs = ["ladder", "meter"]
risk_minutes = 2.5

[test.ask]
item = "letter"
minutes = 3
text = "Ask for the letter."
cautions = []
"""
DATA = tomllib.loads(TOML)
SURE = 1e-12
"""The prior of the faults that the small model does not name."""


@pytest.fixture(scope="module")
def model():
    return build_model(DATA)


def a_prior():
    """Of a complaint; the faults without a table are as good as impossible."""
    named = {name: table["prior"][1] for name, table in DATA["fault"].items()}
    return Prior(dict.fromkeys(FAULTS, SURE) | named, DATA["other_prior"][1], DATA["none_factor"][1], 0.3)


# --- the loops ---------------------------------------------------------------------------------------------------


def kinds_of(fault):
    return DATA["other_kinds"] if fault == "other" else DATA["fault"][fault].get("kinds", {"": 1.0})


def row_of(item, fault, kind, received):
    """P(state) of one fault in one kind; None where it leaves the item as it is, and hides nothing else."""
    table = DATA["item"][item]
    given, healthy = table.get("given", {}), table["healthy"]
    if received and table.get("through_reception") and fault in DATA["reception_faults"]:
        return None
    if received and table.get("through_reception") and f"{fault}/{kind}" in DATA["reception_faults"]:
        return None
    if fault == "other" and kind == "anything":
        share = DATA["other_share"]
        return given["other"]["p"] if "other" in given else [(1 - share) * h + share / len(healthy) for h in healthy]
    if any(name.startswith(f"{fault}/") for name in given):
        return given[f"{fault}/{kind}"]["p"] if f"{fault}/{kind}" in given else None
    if fault == "other":
        return healthy
    return given[fault]["p"] if fault in given else None


def worst_of(healthy, rows):
    """Independent causes, the worst state shows: chances of 'no worse than' multiply, none helps."""
    below = list(accumulate(healthy))
    for row in rows:
        for n, (mine, sound) in enumerate(zip(accumulate(row), accumulate(healthy), strict=True)):
            below[n] *= min(mine / sound, 1.0)
    return [now - before for before, now in zip([0.0, *below], below, strict=False)]


def chances(item, held, received=False, repeats=1):
    """P(state | faults, each in its kind) with all that the file says of wrong readings."""
    table = DATA["item"][item]
    rows = {fault: row_of(item, fault, kind, received) for fault, kind in held}
    rows = {fault: row for fault, row in rows.items() if row is not None}
    deciding = [fault for fault in table.get("decides", []) if fault in rows]
    if "other" in rows or len(rows) == 1:
        plain = next(iter(rows.values()))
    elif deciding:
        plain = rows[deciding[0]]
    else:
        plain = worst_of(table["healthy"], rows.values())
    count = len(table["states"])
    if repeats > 1:
        less = (1 - SAME_AGAIN) * table.get("misread", 0.0) / count
        plain = [max(p - less, LEAST_LEFT * p) for p in plain]
    floor = DATA["error_floor"] / repeats
    told = [(1 - floor) * p + floor / count for p in plain]
    # Each later look shows nothing again, but for the part of it that is left to chance anew.
    anew = table.get("anew", 0.0)
    return [told[0] * (1 - anew + anew * told[0]) ** (repeats - 1), *told[1:]]


def sets_of(most):
    """Every set with its kinds and its prior, up to a factor."""
    prior = a_prior()
    for size in range(most + 1):
        for chosen in combinations(DATA["fault"], size):
            for kinds in product(*(kinds_of(fault) for fault in chosen)):
                p = (1 - prior.other) * (prior.none_factor if not chosen else 0.3 ** (size - 1))
                for fault in DATA["fault"]:
                    p *= prior.faults[fault] if fault in chosen else 1 - prior.faults[fault]
                for fault, kind in zip(chosen, kinds, strict=True):
                    p *= kinds_of(fault)[kind]
                yield tuple(zip(chosen, kinds, strict=True)), p
    for kind, share in kinds_of("other").items():
        yield (("other", kind),), prior.other * share


def by_loops(seen, most=2):
    """P of each fault, of 'none' and of 'other', given what was seen."""
    received = any(one.item == "satellite" and one.state == "good" for one in seen)
    families = {}
    for one in seen:
        families.setdefault(DATA["item"][one.item]["family"], []).append(one)
    hypotheses = list(sets_of(most))
    weight = [p for _, p in hypotheses]
    for members in families.values():
        own = DATA["family_weight"].get(DATA["item"][members[0].item]["family"], 1.0)
        counts = DATA["tempering"] * own / (1 + (len(members) - 1) * DATA["family_correlation"])
        terms = []
        for held, _ in hypotheses:
            term = 1.0
            for one in members:
                states = DATA["item"][one.item]["states"]
                soft = {one.state: 1.0} if one.soft is None else one.soft
                told = zip(states, chances(one.item, held, received, one.repeats), strict=True)
                term *= sum(p * soft.get(state, 0.0) for state, p in told) ** counts
            terms.append(term)
        least = max(terms) * 10 ** (-DATA["family_cap_db"] / 10)
        weight = [w * max(term, least) for w, term in zip(weight, terms, strict=True)]
    found = dict.fromkeys([*DATA["fault"], "none", "other"], 0.0)
    for (held, _), w in zip(hypotheses, weight, strict=True):
        for name in [fault for fault, _ in held] or ["none"]:
            found[name] += w / sum(weight)
    return found


# --- what the file says is what the model holds -------------------------------------------------------------------


def test_a_model_holds_what_its_file_says(model):
    ranges, counts = ("prior_range", "likelihood_range"), ("error_floor", "family_correlation", "family_cap_db")
    for key in (*ranges, *counts, "tempering", "family_weight"):
        assert getattr(model, key) == DATA[key]
    assert model.kind_range == DATA["prior_range"]  # as that of a prior, where the file says nothing else
    assert build_model(DATA | {"kind_range": 4.0}).kind_range == 4.0
    assert model.can == DATA["can"]
    assert model.reception_faults == {"indoors", "feed-lossy/constant"}
    assert model.other_kinds == DATA["other_kinds"]
    reasons = ("just-installed", "complaint", "check", "unknown")
    assert model.other_prior == dict(zip(reasons, DATA["other_prior"], strict=True))
    assert model.none_factor == dict(zip(reasons, DATA["none_factor"], strict=True))
    assert model.second_factor == 0.3
    assert build_model({key: value for key, value in DATA.items() if key != "second_factor"}).second_factor == 1.0
    assert model.faults["feed-lossy"] == Fault(
        "feed-lossy",
        dict(zip(reasons, [0.02, 0.04, 0.06, 0.08], strict=True)),
        40,
        "Clean it.",
        "A plug is dirty.",
        (),
        1.5,
        {"single": 0.5, "dual": 3.0},
        {"constant": 0.5, "loose": 0.3, "resting": 0.2},
        0.25,
    )
    assert model.faults["indoors"].cautions == ("driving", "garage")
    assert model.tests == (
        Trial("climb", "satellite", 12, "Climb up and look.", ("roof",), True, ("ladder", "meter"), 2.5),
        Trial("ask", "letter", 3, "Ask for the letter.", (), False, (), 0.0),
    )


def test_what_a_file_leaves_out_is_plain(model):
    fault, item = model.faults["indoors"], model.items["letter"]
    assert (fault.second_hand_factor, fault.new_factor, fault.lead_factor, fault.kinds) == (1.0, 1.0, {}, {})
    assert (item.through_reception, item.misread, item.anew, item.decides, item.given) == (False, 0.0, 0.0, (), {})
    assert list(item.other) == pytest.approx([0.3 * 0.95 + 0.7 * (0.6 * 0.95 + 0.2), 0.3 * 0.05 + 0.7 * 0.23])
    bare = {key: table for key, table in DATA.items() if key != "other_kinds"}
    assert build_model(bare).other_kinds == {}
    assert list(build_model(bare).items["letter"].other) == pytest.approx([0.6 * 0.95 + 0.2, 0.6 * 0.05 + 0.2])


def test_what_is_made_by_hand_needs_no_more_than_its_names():
    assert Fault("x", {}, 1.0, "", "", ()) == Fault("x", {}, 1.0, "", "", (), 1.0, {}, {}, 1.0)
    assert Trial("x", "y", 1.0, "", ()) == Trial("x", "y", 1.0, "", (), False, (), 0.0)
    item = Item("x", "x", "x", ("a", "b"), ("", ""), np.array([0.5, 0.5]), {}, ())
    assert (item.through_reception, item.other, item.by_kind) == (False, None, {})
    assert (item.misread, item.anew) == (0.0, 0.0)


def test_items_hold_their_rows_kind_by_kind(model):
    """And their mean over the kinds, for where kinds are not told apart."""
    item = model.items["satellite"]
    assert (item.family, item.what, item.states) == ("air", "the level", ("good", "weak", "none"))
    assert item.say == ("It is good.", "It is weak.", "There is none.")
    assert (item.misread, item.decides) == (0.12, ("antenna-open", "feed-lossy", "indoors"))
    assert set(item.given) == {"indoors", "feed-lossy", "antenna-open"}
    assert list(item.given["feed-lossy"]) == pytest.approx([0.41, 0.47, 0.12])  # 0.5, 0.3 and 0.2 of three rows
    assert list(item.by_kind["feed-lossy", "resting"]) == [0.8, 0.15, 0.05]
    assert model.items["channels"].through_reception
    assert list(model.items["channels"].by_kind["other", "anything"]) == [0.5, 0.25, 0.25]


# --- the reckoning ------------------------------------------------------------------------------------------------

CASES = {
    "one plain reading": [Seen("noise", "high")],
    "a weak level": [Seen("satellite", "weak")],
    "read three times alike": [Seen("satellite", "none", repeats=3)],
    "one family": [Seen("satellite", "weak"), Seen("noise", "high")],
    "looked at in vain": [Seen("noise", "low", repeats=3)],
    "received well": [Seen("satellite", "good"), Seen("channels", "some")],
    "received weakly": [Seen("satellite", "weak"), Seen("channels", "some")],
    "told in part": [Seen("channels", "none", soft={"none": 1.0, "some": 0.4}), Seen("letter", "missing")],
    "all of them": [
        Seen("satellite", "none", repeats=2),
        Seen("noise", "low", repeats=4),
        Seen("channels", "none"),
        Seen("letter", "came", repeats=5),
    ],
}


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("most", [1, 2])
def test_the_posterior_is_that_of_the_loops(model, case, most):
    space, seen, prior = model.space(most), CASES[case], a_prior()
    found = inference.posterior(model, space, prior.log(space), log_terms(model, space, seen))
    for name, expected in by_loops(seen, most).items():
        assert found.probability_of(name) == pytest.approx(expected, abs=1e-9)


def test_the_cap_and_the_tempering_are_felt(model):
    """The cases above would say the same without them otherwise."""
    space, seen, prior = model.space(), CASES["all of them"], a_prior()
    found = inference.posterior(model, space, prior.log(space), log_terms(model, space, seen)).p
    for change in ({"family_cap_db": 1e3}, {"tempering": 1.0}, {"family_correlation": 0.0}, {"family_weight": {}}):
        other = dataclasses.replace(model, **change)
        moved = inference.posterior(other, space, prior.log(space), log_terms(other, space, seen)).p
        assert np.abs(moved - found).max() > 0.01


def test_kinds_and_their_shares_are_told(model):
    assert model.shares == {"feed-lossy": DATA["fault"]["feed-lossy"]["kinds"], "other": DATA["other_kinds"]}
    assert list(dataclasses.replace(model, other_kinds={}).shares) == ["feed-lossy"]


def test_no_term_adds_nothing(model):
    assert combined(model, {}) == 0.0


@pytest.mark.parametrize("repeats", [1, 2, 5])
@pytest.mark.parametrize("received", [False, True])
@pytest.mark.parametrize("item", DATA["item"])
def test_every_row_of_every_item_is_that_of_the_loops(model, item, received, repeats):
    space = model.space()
    table = np.exp(model.log_likelihood(item, space, repeats, received))
    for held, _ in sets_of(2):
        mask = np.array([one == {fault for fault, _ in held} for one in space.hypotheses])
        for fault, kind in held:
            mask &= space.of_kind.get((fault, kind), True)
        assert mask.sum() == 1
        assert table[mask][0] == pytest.approx(chances(item, held, received, repeats), abs=1e-12)


def test_said_once_and_not_received_is_what_is_meant_where_nothing_else_is_said(model):
    space = model.space()
    for item in ("satellite", "channels"):
        plain = model.log_likelihood(item, space)
        assert (plain == model.log_likelihood(item, space, 1, False)).all()
        assert np.exp(plain) == pytest.approx(model.items[item].under(space, DATA["error_floor"]))
    assert not model.log_likelihood("channels", space).flags.writeable


@pytest.mark.parametrize(
    ("item", "state", "is_so"),
    [
        ("satellite", "good", True),
        ("repeater", "good", True),
        ("satellite", "weak", False),
        ("letter", "good", False),
    ],
)
def test_received_is_a_path_that_is_good(item, state, is_so):
    assert is_received([Seen("noise", "low"), Seen(item, state)]) is is_so


def test_what_cannot_touch_an_item_is_gone_from_all_of_it(model):
    """A fault with all its kinds; a kind alone leaves the rest of its fault, and 'other' stays."""
    item = model.items["channels"]
    whole = item.without({"indoors", "feed-lossy"})
    assert set(whole.given) == {"not-activated"}
    assert set(whole.by_kind) == {("other", "elsewhere"), ("other", "anything")}
    assert whole.decides == ()
    part = item.without({"feed-lossy/loose"})
    assert set(part.given) == set(item.given)
    assert part.decides == item.decides
    for kind, row in item.by_kind.items():
        expected = item.healthy if kind == ("feed-lossy", "loose") else row
        assert (part.by_kind[kind] == expected).all()


# --- priors, shares, sets -----------------------------------------------------------------------------------------


def whole_model(model):
    """The small one with every fault of the list in it."""
    rest = {name: Fault(name, dict.fromkeys(model.other_prior, 0.01), 1.0, "", "", ()) for name in FAULTS}
    return dataclasses.replace(model, faults=rest | dict(model.faults))


@pytest.mark.parametrize(
    ("receiver", "factor"),
    [
        (Receiver(), 1.0),
        (Receiver(second_hand=True), 1.5),
        (Receiver(second_hand=False), 0.25),
        (Receiver(antenna_lead="single"), 0.5),
        (Receiver(antenna_lead="dual", second_hand=True), 4.5),
    ],
)
def test_what_the_sheet_says_of_the_parts_moves_the_odds(model, receiver, factor):
    """Odds of 0.06 / 0.94 on a check; a fault without such factors stays, 'other' and 'none' are those of a check."""
    found = prior_for(whole_model(model), Sheet("x", reason="check", receiver=receiver))
    p = found.faults["feed-lossy"]
    assert p / (1 - p) == pytest.approx(factor * 0.06 / 0.94)
    assert found.faults["indoors"] == pytest.approx(0.15)
    assert (found.other, found.none_factor) == (0.3, 0.25)


def test_the_prior_shares_a_fault_out_over_its_kinds(model):
    space = model.space()
    log_p = a_prior().log(space)
    lossy = {kind: space.of_kind["feed-lossy", kind] for kind in ("constant", "loose", "resting")}
    alone = np.array([one == {"feed-lossy"} for one in space.hypotheses])
    p = {kind: math.exp(float(log_p[alone & mask][0])) for kind, mask in lossy.items()}
    assert p["loose"] / p["constant"] == pytest.approx(0.6)
    assert p["resting"] / p["constant"] == pytest.approx(0.4)
    assert np.exp(log_p).sum() == pytest.approx(1.0)
    assert np.exp(log_p[space.outside]).tolist() == pytest.approx([0.3 / 0.7 * np.exp(log_p[-1]), np.exp(log_p[-1])])


def test_a_space_knows_where_each_kind_is(model):
    space = model.space(1)
    assert set(space.of_kind) == {
        ("feed-lossy", "constant"), ("feed-lossy", "loose"), ("feed-lossy", "resting"),
        ("other", "elsewhere"), ("other", "anything"),
    }  # fmt: skip
    assert len(space.hypotheses) == 1 + len(FAULTS) + 2 + 2  # two more of the lossy feed, two of 'other'
    for (fault, _), mask in space.of_kind.items():
        assert mask.sum() == 1
        assert space.hypotheses[int(mask.argmax())] == {fault}
    assert (space.other, space.outside) == (len(space.hypotheses) - 2, slice(space.other, None))
    assert np.flatnonzero(space.mask_of("none")).tolist() == [0]
    assert np.flatnonzero(space.mask_of("other")).tolist() == [space.other, space.other + 1]
    one_only = dataclasses.replace(model, other_kinds={}).space(1)
    assert one_only.hypotheses.count(frozenset(["other"])) == 1


def test_all_of_what_is_outside_is_always_reckoned_with(model):
    space = model.space()
    p = np.zeros(len(space.hypotheses))
    p[space.index_of("indoors")] = 1.0
    kept = Posterior(space, p, 0.0).likely(0.5)
    assert [space.hypotheses[one] for one in np.flatnonzero(kept)] == [
        frozenset(), {"indoors"}, {"other"}, {"other"},
    ]  # fmt: skip
    found = Posterior(space, np.full(len(p), 1 / len(p)), 0.0)
    assert found.classes()["other"] == pytest.approx(2 / len(p))
    assert found.classes()["none"] == pytest.approx(1 / len(p))


# --- who leads, at the very boundary -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("chances_of", "top"),
    [
        # One half is as likely as not: the vehicle is mended first.
        ({("account-lapsed", "foliage"): 0.5, ("account-lapsed",): 0.5}, ("sky", "foliage")),
        ({("partial-package", "not-activated"): 0.5, ("partial-package",): 0.5}, ("subscription", "not-activated")),
    ],
)
def test_one_half_is_as_likely_as_not(chances_of, top):
    space = space_of()
    p = np.zeros(len(space.hypotheses))
    for faults, chance in chances_of.items():
        p[space.index_of(*faults)] = chance
    assert Posterior(space, p, 0.0).top() == top


def test_pairs_of_a_plain_space_are_reckoned_by_the_sums_too(model):
    """Two faults that show in two states, in all sets and in pairs: the difference is what a third one adds."""
    seen = [Seen("noise", "high"), Seen("letter", "came"), Seen("elsewhere", "fine")]
    prior = dataclasses.replace(a_prior(), other=0.0)
    pairs = quickscore.truncated(model, space_of(), prior, seen)
    exact = quickscore.marginals(model, prior, seen)
    assert exact["antenna-open"] > 2 * prior.faults["antenna-open"]
    assert quickscore.left_out(model, space_of(), prior, seen) == pytest.approx(
        abs(exact["antenna-open"] - pairs["antenna-open"]), rel=1e-9
    )
