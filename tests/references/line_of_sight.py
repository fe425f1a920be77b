"""Line-of-sight probability by elevation, 3GPP TR 38.811 (ETSI TR 138 811) Table 6.6.1-1, per cent.

As quoted by the NTN channel model of an open network simulator (Simu5G); the report itself was not read.
"""

ELEVATION_DEG = (10, 20, 30, 40, 50, 60, 70, 80, 90)
URBAN_PERCENT = (24.6, 38.6, 49.3, 61.3, 72.6, 80.5, 91.9, 96.8, 99.2)
SUBURBAN_RURAL_PERCENT = (78.2, 86.9, 91.9, 92.9, 93.5, 94.0, 94.9, 95.2, 99.8)
