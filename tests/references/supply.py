"""Figures on supply and battery from outside the project, each with its source."""

# ISO 16750-2:2010, table 1: lowest and highest supply voltage of a 12 V system by code.
ISO_CODES = {"A": (6.0, 16.0), "B": (8.0, 16.0), "C": (9.0, 16.0), "D": (10.5, 16.0)}

# Older starter pulse for 12 V systems (a test source's manual): Vs for 15 to 40 ms, then Va for 0.5 to 20 s.
STARTER_VS_V = (-4.0, -7.0)
STARTER_VA_V = (-2.5, -6.0)
STARTER_FIRST_S = (0.015, 0.040)
STARTER_PLATEAU_S = (0.5, 20.0)

# Current A, hours -> Ah, per cent of 60 Ah, Wh at 12.5 V. Arithmetic; the currents are invented.
BUDGET = [(0.5, 0.5, 0.83, 6.25), (1, 1, 1.67, 12.5), (2, 2, 3.33, 25), (6, 6, 10.0, 75), (10, 10, 16.7, 125)]

# Lead-acid at 25 degrees, after at least 4 h at rest (a published table of resting voltages).
RESTING = [(12.8, "full"), (12.6, "full"), (12.4, "three-quarters"), (12.2, "half"), (12.0, "discharged")]
