"""Published Kaplan-Meier estimates of one small data set.

Remission times in weeks of the 21 leukaemia patients treated with 6-mercaptopurine: Freireich et al., Blood 21 (1963)
699-716, tabulated in Cox and Oakes, Analysis of Survival Data (1984), table 1.1, and used in most textbooks since.
The estimates are those printed in the textbooks, to the digits given there, and are written here from memory; the
tests compute the same data set with lifelines besides, which ships it as `load_leukemia` (Rx = 0).
"""

REMISSION_WEEKS = (6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35)
RELAPSED = (1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0)

# Weeks -> share still in remission just after (from memory, agrees with lifelines 0.30.3).
SURVIVAL = {6: 0.857, 7: 0.807, 10: 0.753, 13: 0.690, 16: 0.627, 22: 0.538, 23: 0.448}

MEDIAN_WEEKS = 23  # from memory, agrees with lifelines 0.30.3
