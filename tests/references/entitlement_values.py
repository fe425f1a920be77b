"""Check values for the entitlement room.

FAMILY_SURVIVAL, FAMILY_QUANTILES, RESIDUALS, CAROUSEL_MOMENTS: closed forms evaluated with numpy 2.4.6 and scipy
1.17.1 in a separate program; the carousel's moments were confirmed there by 4 million draws (mean 183.3195, variance
18615.40 at P = 300 s, q = 0.9).

CANONICAL: 20 channels checked every 60 s up to 600 s. FITS are maximum-likelihood fits by surpyval 0.25
(`fit(xl=, xr=, lfp=True)`), which the tests repeat. GRID are posterior figures of a separate program: midpoint
grid of 256 scale x 64 shape x 192 pi cells, the priors of `Priors()`; halving that grid moved them by less than 3e-4.

LAST_ARRIVAL, ORDER_STATISTICS: closed forms and numerical inversion with scipy 1.17.1 in a separate program.

COSMESIS_RADIOTHERAPY: time to cosmetic deterioration, months, 46 women with radiotherapy alone, intervals (L, R] as
printed in Finkelstein and Wolfe, A semiparametric model for regression analysis of interval-censored failure time
data, Biometrics 41 (1985). The non-parametric masses are those commonly printed for it (.0463 .0334 .0887 .0708 .0926
.0818 .1209 .4656); the six-digit ones and the log-likelihood were computed with greenwood 0.8.0 `Turnbull`, lifelines
0.30.3 `npmle` (left ends moved by 1e-7) and surpyval 0.25 (`turnbull_estimator="Kaplan-Meier"`), which agree.

CLOSED_AND_HALF_OPEN: ten rows from the tests of lifelines 0.30.3 (npmle, checked there against the R package
icenReg). With closed intervals the masses are .16667 .33333 .125 .375; with half-open ones they differ.
"""

import math

INF = math.inf

# (family, scale_s, shape in natural form, t_s, S)
FAMILY_SURVIVAL = (
    ("exponential", 300.0, None, 100.0, 0.7165313106),
    ("weibull", 300.0, 1.3, 100.0, 0.7868315996),
    ("log-normal", math.exp(5.0), 0.8, 100.0, 0.6891834930),
    ("carousel", 300.0, 0.9, 100.0, 0.7),
    ("carousel", 300.0, 0.9, 300.0, 0.1),
    ("carousel", 300.0, 0.9, 450.0, 0.055),
    ("carousel", 300.0, 0.9, 900.0, 0.001),
)
# (family, scale_s, shape, exposure_s, p, residual wait at probability p)
RESIDUALS = (
    ("carousel", 300.0, 0.9, 0.0, 0.5, 166.6667),
    ("carousel", 300.0, 0.9, 0.0, 0.9, 300.0),
    ("carousel", 300.0, 0.9, 0.0, 0.99, 600.0),
    ("carousel", 300.0, 0.9, 450.0, 0.5, 91.6667),
    ("carousel", 300.0, 0.9, 450.0, 0.9, 300.0),
    ("weibull", 300.0, 1.3, 600.0, 0.5, 126.1278),
    ("weibull", 300.0, 1.3, 600.0, 0.9, 397.0094),
)
CAROUSEL_MEAN_S, CAROUSEL_VARIANCE_S2 = 183.3333, 18611.111
# Awake in windows of 120 s, P = 300 s, q = 1: survival after 300 s of exposure (simulated .2899).
CAROUSEL_WINDOWS_SURVIVAL = 0.288

CANONICAL_STEP_S = 60.0
CANONICAL_END_S = 600.0
CANONICAL_COUNTS = (5, 4, 3, 2, 1, 1, 0, 0, 0, 0)
CANONICAL_UNSEEN = 4
# family: (pi, scale, shape in natural form, log-likelihood)
FITS = {
    "exponential": (0.807085, 126.70508, None, -37.304873),
    "weibull": (0.800483, 133.99326, 1.336197, -36.755967),
    "log-normal": (0.812166, math.exp(4.571317), 0.841059, -37.282230),
}
CAROUSEL_FIT = (0.805862, 90.0, 0.526901, -37.140863)  # a grid search: the likelihood has kinks
SATURATED_LOG_LIKELIHOOD = -36.094970
# family: (mean of pi, 5 % and 95 % of pi, P(still coming), P(all done), log evidence)
GRID = {
    "exponential": (0.78982, 0.6271, 0.9268, 0.09402, 0.74624, -41.0967),
    "weibull": (0.79157, 0.6269, 0.9346, 0.10362, 0.76320, -41.4264),
    "log-normal": (0.80742, 0.6383, 0.9544, 0.19079, 0.57600, -41.8603),
    "carousel": (0.78635, 0.6249, 0.9213, 0.07492, 0.78920, -41.3025),
}
# family: (median, 90 %) of the wait for the last, given that more comes, s
GRID_LAST_S = {
    "exponential": (162.3, 551.0),
    "weibull": (251.8, 1155.9),
    "log-normal": (436.5, 2385.2),
    "carousel": (147.5, 506.8),
}
MODEL_WEIGHTS = (0.3334, 0.2398, 0.1554, 0.2714)
AVERAGE_P_STILL_COMING = 0.10617
EXPONENTIAL_TAU_90_S = (86.275, 240.100)  # direct integration: 20 001 points in log tau, 2000 in pi

# pi = .8, exponential tau = 300 s, exposure 600 s
P_STILL_COMING = 0.3512143557
LAST_OF_TEN = {"nothing_more": 0.013213, "median": 497.159, "q90": 1053.557}
LAST_OF_TEN_GIVEN_ANY = {"median": 502.700, "q90": 1057.742}
# 150 channels that all come, exponential tau = 300 s: (share, mean, median, 90 %) of the time to that share, s
ORDER_STATISTICS = (
    (0.5, 206.947, 205.955, 238.745),
    (0.9, 681.885, 678.374, 776.162),
    (1.0, 1677.354, 1613.837, 2178.406),
)
# carousel, last of N: (P, q, N, mean, median, 90 %), s
CAROUSEL_LAST = (
    (300.0, 1.0, 6, 257.143, 267.27, 294.78),
    (300.0, 0.9, 6, 371.98, 296.97, 575.34),
    (300.0, 0.9, 60, 663.19, 595.05, 874.86),
    (300.0, 0.5, 60, 2042.68, 1958.94, 2761.05),
)

COSMESIS_RADIOTHERAPY = (
    *((45, INF), (6, 10), (0, 7), (46, INF), (46, INF), (7, 16), (17, INF), (7, 14), (37, 44), (0, 8)),
    *((4, 11), (15, INF), (11, 15), (22, INF), (46, INF), (46, INF), (25, 37), (46, INF), (26, 40), (46, INF)),
    *((27, 34), (36, 44), (46, INF), (36, 48), (37, INF), (40, INF), (17, 25), (46, INF), (11, 18), (38, INF)),
    *((5, 12), (37, INF), (0, 5), (18, INF), (24, INF), (36, INF), (5, 11), (19, 35), (17, 25), (24, INF)),
    *((32, INF), (33, INF), (19, 26), (37, INF), (34, INF), (36, INF)),
)
COSMESIS_MASSES = {
    (4, 5): 0.046347,
    (6, 7): 0.033363,
    (7, 8): 0.088667,
    (11, 12): 0.070753,
    (24, 25): 0.092646,
    (33, 34): 0.081786,
    (38, 40): 0.120880,
    (46, 48): 0.465558,
}
COSMESIS_LOG_LIKELIHOOD = -58.060022

CLOSED_AND_HALF_OPEN = tuple(
    zip(
        (1, 8, 8, 7, 7, 17, 37, 46, 46, 45),
        (7, 8, 10, 16, 14, INF, 44, INF, INF, INF),
        strict=True,
    )
)
HALF_OPEN_MASSES = {(1, 7): 0.1, (8, 8): 0.2, (8, 10): 0.2, (37, 44): 0.125, (46, INF): 0.375}
HALF_OPEN_LOG_LIKELIHOOD = -13.069119

# lifelines 0.30.3, WeibullFitter().fit_interval_censoring(load_diabetes()): lambda_, rho_, log_likelihood_
DIABETES_WEIBULL = (18.856488, 2.823493, -2028.566111)
