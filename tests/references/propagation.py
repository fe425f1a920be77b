"""Values that the models of satdiag.sky.propagation and satdiag.sky.link_budget are held to, each with its source.

'Reference implementation' is the Python helper set of an open propagation library (crc-covlib 4.6.2, Communications
Research Centre Canada), which names the Recommendations it codes; no text of a Recommendation itself was read.
"""

# --- ITU-R P.681-11, roadside trees ------------------------------------------------------------------------------

# Frequency factor 1.5 -> 2.3325 GHz: reference implementation.
TREE_FACTOR = 1.274545
TREE_PERCENT = (1.0, 2.0, 5.0, 10.0, 20.0, 30.0, 50.0)
# elevation: fades in dB at 2.3325 GHz. Reference implementation.
TREE_FADES_DB = {
    20.0: (33.011, 28.956, 23.595, 19.540, 15.485, 10.956, 5.250),
    30.0: (27.364, 23.332, 18.000, 13.967, 9.934, 7.029, 3.368),
    40.0: (21.718, 18.061, 13.226, 9.568, 5.911, 4.182, 2.004),
    45.0: (18.895, 15.558, 11.146, 7.809, 4.472, 3.164, 1.516),
    50.0: (16.072, 13.143, 9.272, 6.343, 3.415, 2.416, 1.158),
    60.0: (10.426, 8.579, 6.139, 4.292, 2.446, 1.730, 0.829),
}
# The same at 1.5 GHz for 1, 10, 20, 30, 50 %. Reference implementation.
TREE_FADES_1500_DB = {
    30.0: (21.470, 10.959, 7.794, 5.515, 2.643),
    60.0: (8.180, 3.368, 1.919, 1.358, 0.651),
}
# 2.6 GHz, 10 % of the way, 60 to 90 deg. Reference implementation.
HIGH_TREE_DEG = (60.0, 70.0, 80.0, 85.0, 90.0)
HIGH_TREE_DB = (4.521, 4.160, 3.800, 1.900, 0.0)
# Share of fades that last longer than a distance: (m, per cent). Reference implementation.
TREE_DURATION = ((0.1, 74.18), (0.22, 50.00), (0.5, 24.96), (1.0, 10.64), (2.0, 3.46))

# --- ITU-R P.681-11, streets -------------------------------------------------------------------------------------

# Roadside buildings at 2.3325 GHz: mode 15 m, antenna 1.5 m, front 17.5 m. (elevation, 45 deg, 90 deg), per cent.
# Line of sight: reference implementation.
BLOCKAGE_LINE_OF_SIGHT = ((20, 78.242, 87.143), (30, 57.467, 74.140), (45, 21.630, 44.833), (60, 1.260, 10.553))
# 0.7 Fresnel radii, geometric slope distance: computed apart with numpy. The reference implementation uses another
# slope distance, which it may have misread: its own values follow, for the size of the difference.
BLOCKAGE_CLEAR = ((20, 82.787, 90.272), (30, 62.888, 78.360), (45, 25.594, 49.646), (60, 1.772, 12.954))
BLOCKAGE_OTHER = ((20, 82.522, 90.093), (30, 62.162, 77.806), (45, 24.388, 48.220), (60, 1.497, 11.707))

# Canyon masks, (height, width): ((angle, mask), ...). Reference implementation.
CANYON = {
    (20.0, 20.0): ((10, 19.152), (20, 34.374), (30, 45.000), (45, 54.736), (60, 60.000), (90, 63.435)),
    (12.0, 24.0): ((30, 26.565), (45, 35.264), (90, 45.000)),
}
# Open share of street directions, height = width: (elevation, canyon, crossing of two). The canyon by counting, the
# crossing by sampling the reference implementation every half degree.
OPEN_SHARE = ((20, 0.1165, 0.228), (30, 0.1864, 0.372), (45, 0.3333, 0.661), (60, 0.6667, 1.0))

# --- ITU-R P.681-11, two states ----------------------------------------------------------------------------------

# Share of the good state, mean length of a good and a bad event in m. Closed form coded apart; the good length of
# 'urban' at 45 deg was also drawn: 132.47 m from 4 million draws.
TWO_STATES = {
    "urban": {
        20: (0.2317, 21.07, 69.86),
        30: (0.4701, 36.27, 40.88),
        45: (0.7289, 132.34, 49.22),
        60: (0.9069, 92.62, 9.51),
        70: (0.9948, 3614.24, 18.90),
    },
    "suburban": {
        20: (0.4453, 23.92, 29.80),
        30: (0.8023, 73.85, 18.20),
        45: (0.9733, 536.59, 14.73),
        60: (0.9265, 130.93, 10.39),
        70: (0.9948, 3614.24, 18.90),
    },
    "village": {
        20: (0.5553, 36.86, 29.52),
        30: (0.7240, 35.86, 13.67),
        45: (0.8753, 75.40, 10.74),
        60: (0.9020, 127.07, 13.81),
        70: (0.9664, 176.22, 6.12),
    },
    "rural-wooded": {
        20: (0.4883, 26.08, 27.33),
        30: (0.5796, 32.64, 23.68),
        45: (0.7244, 70.80, 26.93),
        60: (0.7547, 54.53, 17.72),
        70: (0.9423, 182.77, 11.19),
    },
    "residential": {
        20: (0.8897, 98.91, 12.26),
        30: (0.8972, 105.98, 12.15),
        60: (0.4965, 68.41, 69.37),
        70: (0.6540, 105.45, 55.78),
    },
}
# (direct, spread, scatter), probability below -10, -5, -3 and 0 dB. scipy's ncx2 in a 120-point Gauss-Hermite rule;
# 4 million draws agree to 3e-4.
LOO_DB = (-10.0, -5.0, -3.0, 0.0)
LOO = (
    ((-1.8225, 1.1797, -14.6573), (0.000762, 0.055114, 0.241029, 0.843061)),
    ((-15.4844, 4.0458, -16.3635), (0.787815, 0.987792, 0.997775, 0.999888)),
    ((-0.7018, 0.9927, -14.1865), (0.000084, 0.012885, 0.088880, 0.642864)),
)

# --- ITU-R P.681-11, two satellites ------------------------------------------------------------------------------

# (p1, p2, correlation, both out): exact arithmetic. The reference implementation has p1 where the second root needs
# p2, and gives 0.1722 for the third row.
JOINT = (
    (0.3, 0.2, 0.0, 0.0600),
    (0.3, 0.2, 0.2, 0.09666),
    (0.3, 0.2, 0.5, 0.15165),
    (0.3, 0.2, -0.3, 0.00501),
    (0.2, 0.2, 0.5, 0.1200),
    (0.2, 0.2, 1.0, 0.2000),
)
# Height = width = 20 m, 200 m long. (elevations): correlation by azimuth difference. Reference implementation.
STREET_TURN_DEG = (0, 10, 20, 30, 45, 60, 90)
STREET_CORRELATION = {
    (30.0, 30.0): (1.0000, 0.6349, 0.2698, -0.0953, -0.2414, -0.2414, -0.2414),
    (30.0, 45.0): (0.6862, 0.6862, 0.4725, 0.1672, -0.2907, -0.3518, -0.3518),
    (25.0, 60.0): (0.2933, 0.2933, 0.2933, 0.2933, 0.2933, -0.1541, -0.6016),
}

# --- ITU-R P.2109-2 ----------------------------------------------------------------------------------------------

# (GHz, share, elevation, building, dB): rows of the reference implementation's validation table.
ENTRY = (
    (4.243333333, 0.5, 0.0, "traditional", 16.0284902425),
    (4.243333333, 0.5, 30.0, "traditional", 21.8790153176),
    (4.243333333, 0.41666666833, 45.0, "thermally-efficient", 36.1386525528),
    (0.08, 1e-8, 0.0, "traditional", -2.9681362521),
)
# 2.33 GHz, elevation: dB not exceeded in 10, 50, 90 % of places. Reference implementation and pycraf 2.1.0.
ENTRY_2330 = {
    "traditional": {
        0: (5.804, 15.149, 27.534),
        20: (7.662, 18.786, 31.679),
        30: (8.970, 20.752, 33.777),
        45: (11.343, 23.801, 36.938),
    },
    "thermally-efficient": {
        0: (16.596, 30.560, 47.781),
        20: (17.727, 33.500, 51.741),
        30: (18.631, 35.252, 53.793),
        45: (20.464, 38.102, 56.916),
    },
}

# --- weather -----------------------------------------------------------------------------------------------------

# ITU-R P.838-3 by itur 0.4.0: (GHz, elevation, tilt, k, alpha).
RAIN = (
    (1.0, 30.0, 45.0, 2.8345032965178754e-05, 0.9093953660534237),
    (2.3325, 30.0, 45.0, 1.245241812163866e-4, 1.0411423595616431),
    (2.3325, 30.0, 0.0, 1.1996047274731738e-4, 1.0842869990673656),
    (2.6, 45.0, 90.0, 1.5140783532262145e-4, 1.0469218103079685),
    (10.0, 30.0, 45.0, 0.011729429146503366, 1.2371441004955788),
    (20.0, 30.0, 0.0, 0.0922012362413428, 1.0473875601938003),
)
# ITU-R P.840 by itur 0.4.0 at 0 degrees Celsius: (GHz, dB/km for each g/m3).
CLOUD = (
    (1.5, 0.0021033439842611575),
    (2.3325, 0.005084265829308496),
    (10.0, 0.09255038228522226),
    (30.0, 0.770833923796623),
)
# ITU-R P.676 line by line by itur 0.4.0, sea level, 2.3325 GHz, 7.5 g/m3: (elevation, dB).
GAS = ((5.0, 0.38748913692184433), (10.0, 0.20389798989230987), (20.0, 0.10492718342588818), (90.0, 0.0360421563166))
# P.618 by itur 0.4.0, exceeded 0.01 % of the year at 2.3325 GHz:
# (latitude, longitude, elevation, gas, cloud, rain), dB.
SITES = (
    (25.8, -80.2, 20.0, 0.1082, 0.0339, 0.0848),
    (25.8, -80.2, 30.0, 0.0740, 0.0232, 0.0557),
    (25.8, -80.2, 45.0, 0.0523, 0.0164, 0.0393),
    (40.0, -75.0, 20.0, 0.1084, 0.0302, 0.0442),
    (40.0, -75.0, 30.0, 0.0741, 0.0207, 0.0313),
    (40.0, -75.0, 45.0, 0.0524, 0.0146, 0.0230),
    (47.6, -122.3, 20.0, 0.1048, 0.0145, 0.0205),
    (47.6, -122.3, 30.0, 0.0717, 0.0099, 0.0147),
    (47.6, -122.3, 45.0, 0.0507, 0.0070, 0.0109),
)

# --- foliage -----------------------------------------------------------------------------------------------------

# Woodland with 0.37 dB/m and at most 34.1 dB: (m, dB). Arithmetic of the printed formula, coded apart.
WOODLAND = ((2.0, 0.73), (5.0, 1.80), (10.0, 3.51), (20.0, 6.65), (50.0, 14.28))
# The slanted path, 2332.5 MHz: (m, deg, dB). From memory.
SLANT_WOODLAND = (
    (5.0, 30.0, 9.12),
    (10.0, 30.0, 10.85),
    (20.0, 30.0, 12.90),
    (50.0, 30.0, 16.22),
    (10.0, 20.0, 10.63),
)
# 10 m at 2.3325 GHz by the two older fits, dB. From memory.
OLDER_FITS = (5.72, 8.15)

# --- link budget -------------------------------------------------------------------------------------------------

# Free-space loss at 2332.5 MHz: (km, dB), and at 38 000 km: (MHz, dB). Arithmetic of 4 pi d f / c with exact c.
FREE_SPACE = ((35_786, 190.8785), (37_000, 191.1683), (38_000, 191.3999), (40_000, 191.8454), (47_687, 193.3722))
FREE_SPACE_38000 = ((2320.0, 191.3532), (2345.0, 191.4463))
# k 290 K B: (Hz, dBm). -174 dBm/Hz is the figure that textbooks print.
THERMAL = ((1.0, -173.9752), (1e3, -143.975), (4e6, -107.955), (12.5e6, -103.006), (25e6, -99.996))
# Noise figure in dB and temperature in K: textbook relation.
RECEIVER_K = ((0.8, 58.66), (1.0, 75.09), (1.5, 119.64), (2.0, 169.62))
# Noise grows from the open sky to a wall of 290 K with 1 dB of noise figure: (antenna K, dB).
NOISE_RISE = ((50.0, 4.65), (100.0, 3.19), (150.0, 2.10))
# A budget worked by hand with example settings: 66 dBW, 38 000 km, 2332.5 MHz, 0.5 dB, 3.0 dBic, 0.3 dB, 100 K, 1 dB.
WORKED = {
    "system_k": 187.770,
    "g_over_t_db_k": -20.036,
    "free_space_db": 191.400,
    "carrier_dbw": -123.200,
    "flux_dbw_m2": -96.588,
    "cn0_db_hz": 82.663,
    "cn_db": 16.642,
}
# The same with another EIRP and distance: (dBW, km, C/N0).
WORKED_CN0 = (
    (60.0, 38_000.0, 76.663),
    (68.0, 38_000.0, 84.663),
    (60.0, 47_687.0, 74.691),
    (66.0, 47_687.0, 80.691),
)
