"""Values to check the antenna lead against, with where each comes from.

The lossy lines were computed with the library scikit-rf 2.2.0 outside this project, from
`DefinedGammaZ0(gamma = alpha + 2j pi f / (VF c))`, 0.1 to 3 GHz, 401 points, VF 0.66, Hann window; they prove our
reading of the transform, not that a real cable behaves so.
"""

# (a in dB/m/sqrt(MHz), b in dB/m/MHz): fits published per 100 ft in an open line calculator's table, over 30.48.
RG_174 = ((0.025520, 2.8527e-4), (0.022656, 4.4488e-5), (0.028478, 9.7966e-5))

# class, fit number: dB/m at 1000 MHz, dB/m at 2332.5 MHz, dB over 5 m at 2332.5 MHz (numpy 2.4.6).
LOSSES = {
    ("rg-174", 0): (1.092, 1.898, 9.49),
    ("rg-174", 1): (0.761, 1.198, 5.99),
    ("rg-174", 2): (0.999, 1.604, 8.02),
    ("rg-58", 0): (0.706, 1.310, 6.55),
    ("rg-58", 1): (0.487, 0.868, 4.34),
    ("rg-316", 0): (0.946, 1.539, 7.69),
    ("195-type", 0): (0.386, 0.601, 3.00),
    ("240-type", 0): (0.263, 0.414, 2.07),
}

# VSWR: |Gamma|, return loss dB, mismatch loss dB (definitions; numpy 2.4.6).
STANDING_WAVES = {
    1.05: (0.0244, 32.26, 0.003),
    1.10: (0.0476, 26.44, 0.010),
    1.20: (0.0909, 20.83, 0.036),
    1.50: (0.2000, 13.98, 0.177),
    2.00: (0.3333, 9.54, 0.512),
    2.50: (0.4286, 7.36, 0.881),
    3.00: (0.5000, 6.02, 1.249),
    5.00: (0.6667, 3.52, 2.553),
    10.0: (0.8182, 1.74, 4.807),
}
RETURN_LOSS_VSWR = {10: 1.925, 15: 1.433, 20: 1.222, 25: 1.119, 30: 1.065}

# velocity factor: range, half of it, 1 / span, width of a reflection behind a Hann window, in metres.
RANGES = {
    0.66: (13.646, 6.823, 0.0341, 0.068),
    0.76: (15.713, 7.857, 0.0393, 0.079),
    0.84: (17.367, 8.684, 0.0434, 0.087),
}

# An open end at 3.2 m without loss: length of the transform, bin m, peak's bin m, top of the log-parabola m.
OPEN_AT_3_2 = ((401, 0.03403, 3.1987, 3.2001), (4096, 0.00333, 3.2015, 3.2000), (8192, 0.00167, 3.1999, 3.2000))

# window: width at half height m, highest sidelobe beyond 0.16 m, dB.
WINDOWS = {
    "boxcar": (0.0410, -24.7),
    "hamming": (0.0614, -43.2),
    "hann": (0.0677, -51.8),
    ("kaiser", 6): (0.0664, -53.5),
    "blackman": (0.0781, -62.1),
}

# Height of an open end at 3.2 m: (class, fit number, velocity factor): |Gamma|.
OPEN_HEIGHTS = {
    ("rg-174", 0, 0.66): 0.358,
    ("rg-174", 1, 0.66): 0.502,
    ("rg-58", 0, 0.66): 0.501,
    ("rg-316", 0, 0.695): 0.420,
    ("195-type", 0, 0.76): 0.705,
    ("240-type", 0, 0.84): 0.786,
}
# Return loss of the load in dB: height at 3.2 m of the first RG-174.
LOAD_HEIGHTS = {0: 0.358, 10: 0.113, 15: 0.064, 20: 0.036}
# 0.25 pF at 1.0 m and an open end at 3.2 m of the second RG-174, noise 50 dB down: place m, |Gamma|.
TWO_FAULTS = ((1.0005, 0.048), (3.2012, 0.500))
GHOST = (5.40, 0.018)
