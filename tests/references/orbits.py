"""The verification set of SGP4 that ships with the library sgp4: elements and the positions they must give.

SGP4-VER.TLE and tcppver.out belong to Vallado, Crawford, Hujsak and Kelso, "Revisiting Spacetrack Report #3",
AIAA 2006-6753. They are read out of the installed library and not copied.
"""

import itertools
import pkgutil
import re

# Three sets at the end of the file are broken on purpose, among them their checksums.
BROKEN = ("33333", "33334", "33335")


def verification_sets():
    """Catalogue number -> the two lines of each sound element set."""
    lines = pkgutil.get_data("sgp4", "SGP4-VER.TLE").decode("ascii").splitlines()
    pairs = [(first[:69], second[:69]) for first, second in itertools.pairwise(lines) if first[:2] == "1 "]
    return {first[2:7]: (first, second) for first, second in pairs if first[2:7] not in BROKEN}


def verification_positions():
    """Catalogue number -> [(minutes from epoch, (x, y, z) in km, TEME)]."""
    found, rows = {}, []
    for line in pkgutil.get_data("sgp4", "tcppver.out").decode("ascii").splitlines():
        if heading := re.fullmatch(r"(\d+) xx\s*", line):
            rows = found.setdefault(heading[1].zfill(5), [])
        elif line.strip():
            numbers = [float(part) for part in line.split()[:4]]
            rows.append((numbers[0], tuple(numbers[1:])))
    return found


# A low, round orbit invented for these tests; its epoch is that of the high ones in look_angles.py.
LOW_TLE = """\
LOW
1 90020U 26003A   26001.00000000  .00000000  00000-0  00000+0 0    14
2 90020  51.6000 120.0000 0005000  40.0000  10.0000 15.20000000    17
"""
