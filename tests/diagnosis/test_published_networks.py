"""Networks of other people, with the inference of this project: car start, sprinkler, alarm, the rest of Asia.

Inputs and answers stand side by side. Where a printed page was not looked at it says 'from memory', and the answer
was recomputed by enumeration from the inputs.
"""

from itertools import product

import numpy as np
import pytest

from satdiag.diagnosis import inference
from satdiag.diagnosis.worth import saving
from tests.diagnosis.test_inference import loose_model
from tests.references import diagnosis as reference


class Network:
    """Nodes in the order of causes: name -> (parents, P(yes | parents) by their values)."""

    def __init__(self, nodes):
        self.names = list(nodes)
        self.worlds = list(product((True, False), repeat=len(nodes)))
        weights = []
        for world in self.worlds:
            value = dict(zip(self.names, world, strict=True))
            chances = [table[tuple(value[one] for one in parents)] for parents, table in nodes.values()]
            weights.append(np.prod([p if value[n] else 1 - p for n, p in zip(self.names, chances, strict=True)]))
        with np.errstate(divide="ignore"):
            self.log_joint = np.log(np.array(weights))

    def column(self, name):
        return np.array([world[self.names.index(name)] for world in self.worlds])

    def posterior(self, **evidence):
        """Given yes (True), no (False), or a pair of likelihoods for yes and no."""
        pairs = {n: {True: (1.0, 0.0), False: (0.0, 1.0)}.get(seen, seen) for n, seen in evidence.items()}
        with np.errstate(divide="ignore"):
            terms = {name: np.log(np.where(self.column(name), *pair)) for name, pair in pairs.items()}
        return inference.posterior(loose_model(*terms), None, self.log_joint, terms), terms

    def chance(self, name, **evidence):
        return float(self.posterior(**evidence)[0].p[self.column(name)].sum())


def root(p):
    return (), {(): p}


# Jensen & Nielsen, 'Bayesian Networks and Decision Graphs' (2007), chapter 2, the reduced car-start problem. The
# answers 0.58062625, 0.29318635 and, with the fuel meter at half, 0.80434963 are published.
CAR = Network(
    {
        "fuel": root(0.98),
        "clean": root(0.96),
        "start": (
            ("fuel", "clean"),
            {(True, True): 0.99, (True, False): 0.01, (False, True): 0.0, (False, False): 0.0},
        ),
    }
)
METER = {"half": (0.60, 0.001), "empty": (0.01, 0.998)}  # P(meter | fuel yes, no)


@pytest.mark.parametrize(
    ("meter", "no_fuel", "dirty"),
    [(None, 0.29318635, 0.58062625), ("half", 0.000691, 0.80434963), ("empty", 0.976413, 0.058041)],
)
def test_the_car_that_does_not_start(meter, no_fuel, dirty):
    term = {} if meter is None else {"fuel": METER[meter]}
    assert 1 - CAR.chance("fuel", start=False, **term) == pytest.approx(no_fuel, abs=6e-7)
    assert 1 - CAR.chance("clean", start=False, **term) == pytest.approx(dirty, abs=6e-7)


def test_how_often_the_car_does_not_start():
    assert np.exp(CAR.posterior(start=False)[0].log_evidence) == pytest.approx(0.068216, abs=1e-9)


# Murphy, 'A Brief Introduction to Graphical Models and Bayesian Networks' (1998; from memory).
SPRINKLER = Network(
    {
        "cloudy": root(0.5),
        "sprinkler": (("cloudy",), {(True,): 0.1, (False,): 0.5}),
        "rain": (("cloudy",), {(True,): 0.8, (False,): 0.2}),
        "wet": (
            ("sprinkler", "rain"),
            {(True, True): 0.99, (True, False): 0.9, (False, True): 0.9, (False, False): 0.0},
        ),
    }
)
# Another version in common use (from memory): rain first, the grass wet by either.
GRASS = Network(
    {
        "rain": root(0.2),
        "sprinkler": (("rain",), {(True,): 0.01, (False,): 0.4}),
        "wet": (
            ("sprinkler", "rain"),
            {(True, True): 0.99, (True, False): 0.9, (False, True): 0.8, (False, False): 0.0},
        ),
    }
)


@pytest.mark.parametrize(
    ("network", "name", "given", "answer"),
    [
        (SPRINKLER, "wet", {}, 0.647100),
        (SPRINKLER, "sprinkler", {"wet": True}, 0.429764),
        (SPRINKLER, "rain", {"wet": True}, 0.707928),
        (SPRINKLER, "sprinkler", {"wet": True, "rain": True}, 0.194499),  # rain explains the wet grass away
        (SPRINKLER, "cloudy", {"wet": True}, 0.575800),
        (GRASS, "wet", {}, 0.448380),
        (GRASS, "rain", {"wet": True}, 891 / 2491),
        (GRASS, "sprinkler", {"wet": True}, 0.646728),
        (GRASS, "sprinkler", {"wet": True, "rain": True}, 0.012346),
    ],
)
def test_the_sprinkler(network, name, given, answer):
    assert network.chance(name, **given) == pytest.approx(answer, abs=6e-7)


# Pearl's burglary alarm as in Russell & Norvig, 'Artificial Intelligence' (from memory).
ALARM = Network(
    {
        "burglary": root(0.001),
        "earthquake": root(0.002),
        "alarm": (
            ("burglary", "earthquake"),
            {(True, True): 0.95, (True, False): 0.94, (False, True): 0.29, (False, False): 0.001},
        ),
        "john": (("alarm",), {(True,): 0.9, (False,): 0.05}),
        "mary": (("alarm",), {(True,): 0.7, (False,): 0.01}),
    }
)


@pytest.mark.parametrize(
    ("name", "given", "answer"),
    [
        ("burglary", {"john": True, "mary": True}, 0.284172),
        ("earthquake", {"john": True, "mary": True}, 0.176067),
        ("burglary", {"john": True}, 0.016284),
        ("burglary", {"alarm": True}, 0.373551),
        ("burglary", {"alarm": True, "earthquake": True}, 0.003268),
    ],
)
def test_the_burglary_alarm(name, given, answer):
    assert ALARM.chance(name, **given) == pytest.approx(answer, abs=6e-7)


def asia(smoke=0.5):
    """Lauritzen & Spiegelhalter (1988); `smoke`: how many smoke."""
    table = reference.ASIA
    return Network(
        {
            "asia": root(table["asia"]),
            "smoke": root(smoke),
            "tub": (("asia",), {(k,): p for k, p in table["tub"].items()}),
            "lung": (("smoke",), {(k,): p for k, p in table["lung"].items()}),
            "bronc": (("smoke",), {(k,): p for k, p in table["bronc"].items()}),
            "either": (("tub", "lung"), {pair: float(any(pair)) for pair in product((True, False), repeat=2)}),
            "xray": (("either",), {(k,): p for k, p in table["xray"].items()}),
            "dysp": (("bronc", "either"), dict(table["dysp"])),
        }
    )


@pytest.mark.parametrize(
    ("given", "answers"),  # hand enumeration, equal to pgmpy 1.1.2 to 1e-9
    [
        ({"asia": True, "dysp": True, "smoke": True}, {"tub": 0.072760, "lung": 0.145519, "either": 0.211003}),
        ({"asia": True, "dysp": True, "xray": False}, {"smoke": 0.604512, "tub": 0.002249, "either": 0.004672}),
        ({"asia": True, "dysp": True, "smoke": True, "xray": False}, {"lung": 0.003861, "bronc": 0.921596}),
        ({"dysp": True}, {"smoke": 0.633997, "tub": 0.018845, "lung": 0.102759, "xray": 0.162098}),
        ({"xray": True}, {"smoke": 0.687754, "lung": 0.488711, "bronc": 0.506326, "dysp": 0.640766}),
    ],
)
def test_what_else_is_known_of_the_asia_network(given, answers):
    network = asia()
    for name, answer in answers.items():
        assert network.chance(name, **given) == pytest.approx(answer, abs=6e-7)


def test_two_readings_of_the_asia_network_that_contradict_each_other():
    network = asia()
    found, terms = network.posterior(xray=True, dysp=False)
    bits = inference.conflict_bits(network.log_joint, terms, found.log_evidence)
    assert bits == pytest.approx(0.650846, abs=2e-6)


def test_soft_evidence_is_a_likelihood_and_no_posterior():
    """Jeffrey's rule with P'(xray) = 0.8 is virtual evidence of ratio 32.268 (Chan & Darwiche 2005), not of 4."""
    network = asia()
    assert network.chance("xray", xray=(0.8, 0.2)) == pytest.approx(0.331483, abs=6e-7)
    ratio = 32.268008
    assert network.chance("xray", xray=(ratio, 1.0)) == pytest.approx(0.8, abs=1e-7)
    assert network.chance("lung", xray=(ratio, 1.0)) == pytest.approx(0.391216, abs=6e-7)


@pytest.mark.parametrize(
    ("smoke", "lung"), [(0.1, 0.241322), (0.3, 0.386880), (0.5, 0.488711), (0.7, 0.563947), (0.9, 0.621802)]
)
def test_a_chance_as_one_prior_moves(smoke, lung):
    """A ratio of two lines in the prior (van der Gaag's sensitivity functions); points by enumeration."""
    assert asia(smoke).chance("lung", xray=True) == pytest.approx(lung, abs=6e-7)


def test_widgets_by_decibans():
    """Jaynes, 'Probability Theory' (2003), chapter 4 (from memory): a machine makes 1/3 bad, or 1/6."""
    lines = np.log(np.array([[1 / 3, 1 / 6], [2 / 3, 5 / 6]]))  # a bad one, a good one
    prior = np.log(np.array([1 / 11, 10 / 11]))
    terms = {"bad": 5 * lines[0], "good": 7 * lines[1]}
    found = inference.posterior(loose_model(*terms), None, prior, terms)
    assert found.p[0] == pytest.approx(0.401588, abs=6e-7)
    assert inference.decibans(found.p[0]) == pytest.approx(-1.732201, abs=1e-6)
    for bad, chance in ((1, 0.166667), (2, 0.285714), (3, 0.444444), (5, 0.761905)):
        one = {"bad": bad * lines[0]}
        assert inference.posterior(loose_model("bad"), None, prior, one).p[0] == pytest.approx(chance, abs=6e-7)


def test_the_screening_in_natural_frequencies():
    """Gigerenzer & Hoffrage 1995 (from memory): 1 in 100 has it; 80 % of these test positive, 9.6 % of the rest."""
    prior, term = np.log(np.array([0.01, 0.99])), {"test": np.log(np.array([0.80, 0.096]))}
    found = inference.posterior(loose_model("test"), None, prior, term)
    assert found.p[0] == pytest.approx(0.077640, abs=6e-7)
    weight = inference.weight_of("test", np.array([True, False]), loose_model("test"), _Spaceless(found), prior, term)
    assert weight == pytest.approx(9.208, abs=6e-4)
    assert inference.decibans(found.p[0]) == pytest.approx(-10.748, abs=6e-4)


class _Spaceless:
    """A posterior over nothing but its own hypotheses."""

    def __init__(self, found):
        self.p, self.space = found.p, None


def test_the_value_of_one_test_and_of_the_truth():
    """Own example, exact by enumeration: three causes, three actions, a yes/no test; no test beats the truth."""
    p, plus = np.array([0.6, 0.3, 0.1]), np.array([0.9, 0.2, 0.5])
    loss = np.array([[0.0, 40.0, 40.0], [25.0, 0.0, 25.0], [60.0, 60.0, 0.0]])
    assert (loss @ p).min() == pytest.approx(16.0)
    assert saving(loss, p[:, None] * np.column_stack([plus, 1 - plus])) == pytest.approx(8.85)
    assert saving(loss, np.diag(p)) == pytest.approx(16.0)
