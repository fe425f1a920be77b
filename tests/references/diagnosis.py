"""Published answers for exact inference, weights of evidence and the value of information.

Each constant names its source. 'from memory' marks a value whose printed page was not looked at; all of them were
recomputed here from the inputs that stand beside them.
"""

# Lauritzen & Spiegelhalter (1988), J. R. Statist. Soc. B 50, the 'Asia' network.
ASIA = {
    "asia": 0.01,
    "smoke": 0.5,
    "tub": {True: 0.05, False: 0.01},
    "lung": {True: 0.1, False: 0.01},
    "bronc": {True: 0.6, False: 0.3},
    "xray": {True: 0.98, False: 0.05},
    "dysp": {(True, True): 0.9, (True, False): 0.8, (False, True): 0.7, (False, False): 0.1},
}
# Evidence, P(evidence), marginals. The second row's P, lung and bronc are the published gRain output
# (0.004501375, 0.09952515, 0.8114021); the others are hand enumeration, equal to pgmpy 1.1.2 to 1e-9.
ASIA_ANSWERS = [
    ({}, 1.0, {"tub": 0.010400, "lung": 0.055000, "bronc": 0.450000, "xray": 0.110290, "dysp": 0.435971}),
    (
        {"asia": True, "dysp": True},
        0.004501375,
        {"smoke": 0.625920, "tub": 0.087751, "lung": 0.099525, "bronc": 0.811402, "xray": 0.219539},
    ),
    ({"asia": True, "dysp": True, "xray": True}, 0.000988227, {"tub": 0.391712, "lung": 0.444271, "bronc": 0.628822}),
    ({"xray": True, "dysp": True}, 0.070670104, {"smoke": 0.785610, "lung": 0.621253, "tub": 0.113933}),
]
# Conflict in bits (Jensen, Chamberlain, Nordahl, Jensen 1991) on the same network, by hand enumeration.
ASIA_CONFLICT_BITS = [
    ({"asia": True, "dysp": True}, -0.046135),
    ({"asia": True, "xray": False, "dysp": True}, 0.142873),
    ({"xray": True, "dysp": True}, -0.555567),
]

# The same network: 'never smoked, positive X-ray, no shortness of breath', by hand enumeration.
ASIA_ODD_BITS = 0.689466
# The same network with virtual evidence (0.8, 0.2) for a positive X-ray; lung also by pgmpy 1.1.2.
ASIA_VIRTUAL = {"lung": 0.162826, "tub": 0.030789}

# Ten alike items with a likelihood ratio of 4, prior 0.05: correlation, effective number n / (1 + (n - 1) rho) (Kish
# 1965, 'Survey Sampling', the design effect; from memory), probability by plain arithmetic.
REPEATS = [(0.0, 10.0, 0.999982), (0.5, 1.818182, 0.395583), (0.9, 1.098901, 0.194499), (1.0, 1.0, 0.173913)]

# Three faults and three yes/no findings, own example, exact by enumeration of all eight sets. Priors, leaks, and for
# each finding the chance that each fault causes it; then findings (None: not looked at), P(findings), P(each fault).
QMR_PRIORS, QMR_LEAKS = (0.01, 0.02, 0.05), (0.01, 0.02, 0.05)
QMR_CAUSES = ((0.8, 0.0, 0.3), (0.5, 0.9, 0.0), (0.0, 0.6, 0.7))
QMR_ANSWERS = [
    ((1, 1, 0), 0.00409066, (0.913037, 0.037091, 0.043617)),
    ((1, 0, None), 0.02754885, (0.140599, 0.002037, 0.538380)),
    ((1, 1, 1), 0.00101168, (0.436319, 0.440049, 0.609902)),
    ((0, 0, 0), 0.86047123, (0.001009, 0.000816, 0.010932)),
    ((None, None, 1), 0.09425100, (0.010000, 0.134386, 0.381121)),
]

# Russell & Norvig, 'Artificial Intelligence', noisy-OR example (from memory): P(no fever | cold, flu, malaria).
FEVER_INHIBITORS = {"cold": 0.6, "flu": 0.2, "malaria": 0.1}
NO_FEVER = {
    (): 1.0,
    ("malaria",): 0.1,
    ("flu",): 0.2,
    ("flu", "malaria"): 0.02,
    ("cold",): 0.6,
    ("cold", "malaria"): 0.06,
    ("cold", "flu"): 0.12,
    ("cold", "flu", "malaria"): 0.012,
}

# Good (1950), 10 log10 of the odds: probability at so many decibans.
DECIBANS = {1: 0.557312, 3: 0.666139, 5: 0.759747, 10: 0.909091, 13: 0.952273, 20: 0.990099, 30: 0.999001}

# Own example, exact by enumeration: prior, three items, posterior, leave-one-out weights of hypothesis 3 in dB.
FOUR_PRIOR = (0.90, 0.05, 0.03, 0.02)
FOUR_ITEMS = ((0.05, 0.80, 0.30, 0.10), (0.02, 0.10, 0.70, 0.10), (0.9, 0.3, 0.3, 0.8))
FOUR_POSTERIOR = (0.199507, 0.295567, 0.465517, 0.039409)
FOUR_WEIGHTS_DB = (4.262188, 12.418356, -1.517683)

# The oil wildcatter (Raiffa 1968; Shenoy 1992; from memory): gains, seismic test, its value and perfect information.
WILDCATTER_PRIOR = (0.5, 0.3, 0.2)
WILDCATTER_DRILL = (-70.0, 50.0, 200.0)
WILDCATTER_SEISMIC = ((0.6, 0.3, 0.1), (0.3, 0.4, 0.4), (0.1, 0.3, 0.5))
WILDCATTER_EVSI, WILDCATTER_EVPI = 12.5, 35.0

# Five causes, the cost to look at each and to mend it: own example, exact by enumeration of all 120 orders. Then what
# handing the vehicle on costs, the least expected cost with that way out, and how many causes are looked at before.
REPAIR_P = (0.35, 0.25, 0.20, 0.15, 0.05)
REPAIR_LOOK = (10.0, 4.0, 2.0, 6.0, 1.0)
REPAIR_MEND = (40.0, 15.0, 0.0, 60.0, 5.0)
REPAIR_CALLS = [(20.0, 18.00, 1), (60.0, 37.75, 4), (150.0, 38.65, 5)]
