"""The antenna lead's figures beside scikit-rf on the same sweep, measured in the same run.

The sweep is a made-up lead (five metres, open at its end) as a Touchstone file. `sweep read`: up to the one-way loss
at each frequency; ours checks every line and has scikit-rf read what is left, theirs is scikit-rf alone, and the
losses of both are compared. `lead examined`: ours says where the lead ends, what it loses and how sure that is; the
floor is what scikit-rf has for it, the reading, a window and the inverse transform. Times are the least processor
time of several turns in which both are run, one after the other.
"""

import importlib.util
import tempfile
import time
from pathlib import Path

SIZES = (401, 10_001)
METRES, CABLE = 5.0, "rg-174"
TURNS, MOST_S = 15, 6.0


def least_s(*works):
    """The least processor time of each piece of work; the pieces take turns."""
    spent, began = [[] for _ in works], time.perf_counter()
    for turn in range(TURNS):
        if turn > 2 and time.perf_counter() - began > MOST_S:
            break
        for kept, work in zip(spent, works, strict=True):
            at = time.process_time()
            work()
            kept.append(time.process_time() - at)
    return [min(kept) for kept in spent]


def made(points):
    """The text of a sweep of a lead with the loss of the cable's fit."""
    import numpy as np
    import skrf
    from skrf.media import DefinedGammaZ0

    from satdiag.wiring.feedline.cable import CLASSES, LIGHT_M_PER_S

    grid, cable = skrf.Frequency(0.1, 3.0, points, "GHz"), CLASSES[CABLE]
    neper = cable.fits[0].db_per_m(grid.f / 1e6) * np.log(10.0) / 20.0
    media = DefinedGammaZ0(grid, z0=50, gamma=neper + 2j * np.pi * grid.f / (cable.velocity[1] * LIGHT_M_PER_S))
    s = (media.line(METRES, "m") ** media.open()).s[:, 0, 0]
    rows = [f"{f!r} {one.real!r} {one.imag!r}" for f, one in zip(grid.f.tolist(), s.tolist(), strict=True)]
    return "\n".join(["! a made-up lead", "# Hz S RI R 50", *rows, ""])


def figures(points):
    """For one size: (what, ours s, theirs s) of each figure. RuntimeError where the two do not say the same."""
    import numpy as np
    import skrf

    from satdiag.lead_keys import Feedline
    from satdiag.wiring.feedline import examine, read_sweep, setup_of

    text, setup = made(points), setup_of(Feedline(cable=CABLE, expected_length_m=METRES))
    with tempfile.TemporaryDirectory(prefix="satdiag-cable-") as folder:
        place = Path(folder) / "sweep.s1p"
        place.write_text(text, "ascii")

        def ours():
            return -10.0 * np.log10(np.abs(read_sweep(place.read_bytes(), place.name).s))

        def theirs():
            return skrf.Network(str(place)).s_db[:, 0, 0] / -2.0

        def our_look():
            return examine(read_sweep(place.read_bytes(), place.name), setup)

        def their_look():
            return skrf.Network(str(place)).windowed().s_time_db

        if np.abs(ours() - theirs()).max() > 1e-9:
            raise RuntimeError("satdiag and scikit-rf do not say the same of a sweep")
        if abs((our_look().end_m or 0.0) - METRES) > 0.1:
            raise RuntimeError("the end of the made-up lead was not found")
        yield "sweep read", *least_s(ours, theirs)
        yield "lead examined", *least_s(our_look, their_look)


def lines(quick=False, say=print):
    """Figures for `benchmark.py all`; none, and why, where scikit-rf is not installed."""
    from bench_figures import Line

    if importlib.util.find_spec("skrf") is None:
        say("no figures of the lead: scikit-rf is not in the environment (extra `rf`)")
        return
    floors = {
        "sweep read": "scikit-rf, same file, nothing checked",
        "lead examined": "scikit-rf: read, window, inverse transform",
    }
    for points in SIZES[:1] if quick else SIZES:
        for what, own_s, other_s in figures(points):
            yield Line(what, f"{points:,} points", "s", own_s, other_s, floors[what])
