"""Figures for the antenna's feed that were worked out apart from this project, with where they come from.

Noise figures: the definition T = 290 (10^(NF/10) - 1). Rise, cascade and G/T: an independent computation with numpy
of the formulas in `satdiag docs feed`; antenna 3 dBi, 100 K, receiver noise figure 6 dB, everything passive at 290 K.
`CASCADE_FORMULA`: the documented formula of a navigation receiver's maker for noise figures in decibels. `OHM`: Ohm's
law. The windows are common practice, no source.
"""

# Noise figure dB, noise temperature K.
NOISE_K = ((0.5, 35.39), (0.8, 58.66), (1.0, 75.09), (2.0, 169.62), (6.0, 864.51), (10.0, 2610.0))

# First stage's noise figure and gain, second stage's noise figure, noise figure of both, dB.
CASCADE_FORMULA = (2.0, 15.0, 10.0, 2.717)

# Lead's loss dB -> added noise K, the same as noise figure dB, Tsys K, G/T dB/K; amplifier 28 dB, 0.8 dB.
BUDGET = {
    3.0: (61.85, 0.840, 161.85, -19.09),
    6.0: (65.48, 0.884, 165.48, -19.19),
    10.0: (76.49, 1.017, 176.49, -19.47),
    16.0: (131.04, 1.619, 231.04, -20.64),
    20.0: (241.17, 2.628, 341.17, -22.33),
    26.0: (786.64, 5.697, 886.64, -26.48),
}
WITHOUT_AMPLIFIER = (6.0, 4306.2, 12.00, 4406.0, -33.44)

# Extra loss beyond 6 dB -> cost in G/T, dB.
COST_DB = {10.0: 1.45, 20.0: 7.29}
# A combiner of 3.5 dB behind the amplifier.
COMBINER_COST_DB = 0.231

# Amplifier's gain dB -> rise dB at the losses of the lead.
LOSSES_DB = (1, 3, 6, 10, 16, 20, 30)
RISE_DB = {
    20: (10.69, 8.90, 6.42, 3.71, 1.27, 0.55, 0.06),
    25: (15.48, 13.55, 10.74, 7.26, 3.19, 1.56, 0.18),
    28: (18.43, 16.47, 13.56, 9.84, 5.01, 2.71, 0.36),
    30: (20.41, 18.44, 15.50, 11.68, 6.48, 3.75, 0.56),
    35: (25.39, 23.40, 20.42, 16.48, 10.76, 7.28, 1.57),
}
# Amplifier 28 dB, lead 6 dB: antenna's temperature K -> rise dB; receiver's noise figure dB -> rise dB.
RISE_OF_ANTENNA = ((20, 10.69), (50, 12.00), (100, 13.56), (150, 14.71), (290, 16.88))
RISE_OF_RECEIVER = ((3, 16.47), (6, 13.56), (8, 11.67), (10, 9.84), (12, 8.10))

# 5 V behind 10 ohm: current mA, voltage at the antenna V.
OHM = ((5, 4.95), (35, 4.65), (60, 4.40), (150, 3.50))
