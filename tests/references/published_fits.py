"""Published fits of interval-censored data and of mixtures with a share that never comes.

CHICKWEED: the data are in chickweed.csv. FITS there are maximum-likelihood fits by surpyval 0.25
(`fit(xl=, xr=, n=, lfp=True)`), which the tests repeat. R's drc (`drm(count ~ start + end, type = "event")`) gives a
share of .200 with a standard error of .028 (from memory).

MICE: Hoel and Walburg, Statistical analysis of survival experiments, J. National Cancer Institute 49 (1972), the data
that lifelines carries (144 mice, each seen once: with a tumour by then or without). BOTULINUM: Montville, Interaction
of pH and NaCl on culture density of Clostridium botulinum 62A, Applied and Environmental Microbiology 46 (1983).
DIABETES: Borch-Johnsen, Andersen and Deckert, The effect of proteinuria on relative mortality in type 1 diabetes
mellitus, Diabetologia 28 (1985). COSMESIS: see cosmesis_chemotherapy.csv and entitlement_values.py.

WITHOUT_A_CURE: lifelines 0.30.3, `fit_interval_censoring`, which the tests repeat. GROUPED: rows from the tests of
lifelines 0.30.3, where the same numbers come from R.

Step curves of half-open intervals: greenwood 0.8.0 `Turnbull` and lifelines 0.30.3 `npmle` with left ends moved by
1e-7 agree to four decimals; computed in a separate program.

MEEKER: 4156 integrated circuits, 28 failed within 1370 h, the data that surpyval carries; Meeker, Limited failure
population life tests, Technometrics 29 (1987). The fit is surpyval's; the paper prints a share of .00674, and 3.34
and 2.02 for the parameters of log time (from memory).

PROFILES, EXPECTATION_MAXIMISATION: computed in a separate program with numpy 2.4.6 and scipy 1.17.1.
"""

import math

INF = math.inf

# 90 % profile interval of the share on the canonical set (a fall of 2.7055 / 2)
PROFILES = {"exponential": (0.63582, 0.92918), "weibull": (0.63097, 0.91824)}
# Share and tau of the exponential on the canonical set by expectation-maximisation.
EXPECTATION_MAXIMISATION = (0.807085, 126.70508)

# family: (share, scale in h, shape in natural form, log-likelihood)
CHICKWEED_FITS = {
    "log-normal": (0.200051, math.exp(5.273129), 0.105619, -193.621018),
    "weibull": (0.200000, 205.1137, 8.77728, -197.752765),
}
CHICKWEED_SHARE, CHICKWEED_SHARE_ERROR = 0.200, 0.028
CHICKWEED_STEP_LOG_LIKELIHOOD = -173.366792

# The row of the 46 women with radiotherapy alone that textbooks print otherwise (Klein and Moeschberger, Survival
# Analysis, 2nd ed. 2003, and data packages made from it); the fits below are to theirs, the step curve is the same.
IN_TEXTBOOK = {(19, 26): (18, 26)}

# data: {family: (scale, shape in natural form, log-likelihood)}
WITHOUT_A_CURE = {
    "mice": {
        "exponential": (1131.551759, None, -89.369978),
        "weibull": (813.815034, 3.224876, -83.004419),
        "log-normal": (math.exp(6.572138), 0.405127, -83.590234),
    },
    "mice ce": {
        "exponential": (1765.656740, None, -54.661418),
        "weibull": (1038.072249, 2.040795, -54.058508),
        "log-normal": (math.exp(6.815319), 0.735664, -54.030339),
    },
    "mice ge": {
        "weibull": (705.724633, 2.011476, -26.261518),
        "log-normal": (math.exp(6.399010), 0.464665, -26.122845),
    },
    "cosmesis radiotherapy": {
        "exponential": (61.445801, None, -64.727616),
        "weibull": (57.524495, 1.120409, -64.592139),
        "log-normal": (math.exp(3.749894), 1.308651, -64.586933),
    },
}
# Here lifelines returns a scale of 1 and 13 times log(1e-25); the maximum is elsewhere.
MICE_GE_EXPONENTIAL = (608.4233, None, -26.664457)

# (ends, counts, (rho, lambda) from R with their printed precision, log-likelihood by lifelines)
GROUPED = (
    (
        ((0.1, 30.1, 60.1, 90.1, 120.1, 150.1, 180.1, 210.1), (30.0, 60.0, 90.0, 120.0, 150.0, 180.0, 210.0, INF)),
        (15, 17, 19, 26, 19, 43, 20, 15356),
        (1.272946, 7646.68, 1e-3),
        -1192.756335,
    ),
    (
        (
            (0.1, 30.0, 60.0, 90.0, 120.0, 150.0, 180.0, 210.0, 240.0),
            (30.0, 60.0, 90.0, 120.0, 150.0, 180.0, 210.0, 240.0, INF),
        ),
        (2, 5, 1, 9, 6, 6, 5, 2, 2645),
        (1.215, 8270.88, 1e-2),
        -265.204470,
    ),
)

# data: (log-likelihood, {interval: mass})
STEP_CURVES = {
    "mice": (
        -77.835133,
        {
            (371.0, 381.0): 0.1429,
            (475.0, 477.0): 0.0794,
            (508.0, 515.0): 0.0278,
            (648.0, 650.0): 0.0833,
            (677.0, 679.0): 0.1667,
            (695.0, 698.0): 0.0294,
            (777.0, 779.0): 0.1629,
            (817.0, 839.0): 0.0077,
            (886.0, 888.0): 0.1333,
            (986.0, 1008.0): 0.1667,
        },
    ),
    "botulinum": (
        -31.914338,
        {(0.0, 1.0): 0.44, (2.0, 2.0): 0.16, (3.0, 3.0): 0.04, (7.0, 7.0): 0.04, (85.0, INF): 0.32},
    ),
    "cosmesis chemotherapy": (
        -67.087662,
        {
            (4.0, 5.0): 0.0424,
            (5.0, 8.0): 0.0424,
            (11.0, 12.0): 0.0673,
            (16.0, 17.0): 0.1453,
            (18.0, 19.0): 0.1138,
            (19.0, 20.0): 0.1288,
            (24.0, 25.0): 0.1302,
            (34.0, 34.0): 0.1007,
            (35.0, 36.0): 0.1215,
            (48.0, 48.0): 0.1076,
        },
    ),
    "six rows": (-5.059562, {(0.0, 1.0): 0.234889, (2.0, 3.0): 0.338945, (5.0, 6.0): 0.426167}),
}
STEP_LOG_LIKELIHOODS = {"diabetes": -1966.546883, "mice ce": -51.097731, "mice ge": -24.038936}
# The same data with closed intervals, as lifelines has them.
CLOSED_LOG_LIKELIHOODS = {"diabetes": -1961.053048, "cosmesis radiotherapy": -54.272819}
COSMESIS_CLOSED_POINTS = (5.0, 7.0, 11.0, 25.0, 34.0, 37.0, 40.0)
# Six rows from the tests of lifelines 0.30.3, checked there against the R package icenReg for closed intervals.
SIX_ROWS = ((0.0, 4.0, 2.0, 0.0, 2.0, 5.0), (1.0, 6.0, 6.0, 3.0, 4.0, 7.0))

MEEKER_SHARE, MEEKER_SCALE_H, MEEKER_SHAPE = 0.0067444, 28.367, 0.49598
MEEKER_LOG_LIKELIHOOD = -293.032888

# carousel of P = 300 s and q = 1, awake in windows of W s, the phase drawn afresh in each: mean exposure needed, s
WINDOW_MEANS_S = {30.0: 285.0, 60.0: 270.0, 120.0: 240.0, 300.0: 150.0}
# messages of b blocks, each lost with probability e, that must come in one pass: expected passes
PASSES = ((1, 0.1, 1.11111), (10, 0.1, 2.86797), (10, 0.3, 35.40133), (100, 0.01, 2.73200))
# P = 1, q = (1 - e)^b: mean wait and 90 % quantile
BLOCK_WAITS = (
    (0.01, 1, 0.5101, 0.9091),
    (0.01, 10, 0.6057, 0.9952),
    (0.05, 10, 1.1702, 2.6329),
    (0.1, 10, 2.3680, 5.4212),
)
# 150 channels that all come, exponential tau = 300 s: (rank, mean, median, 90 %) of its time, s
RANKS = (
    (75, 206.947, 205.955, 238.745),
    (135, 681.885, 678.374, 776.162),
    (143, 899.497, 892.694, 1039.353),
    (149, 1377.354, 1348.526, 1692.160),
    (150, 1677.354, 1613.837, 2178.406),
)
# canonical set, exponential: time from now to 95 % of the final set, s, and the chance that it is reached
MOST_OF_THE_FINAL_SET = {0.8: 54.4, 0.9: 212.2, 0.95: 367.5}
ALREADY_THERE = 0.7466
